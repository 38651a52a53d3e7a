//! What pointer and keys do on the scan.

use egui::{Key, Modifiers, PointerButton, Pos2, Response, Ui, Vec2};

use super::marks::Sight;
use super::{ScanBench, areas, calling, coat, handles, marks};
use crate::document::{Edit, Strip};
use crate::measure::geometry::{Area, Field, Point, StripShape};
use crate::measure::strip::Role;
use crate::window::request::{Chosen, Part, Request, Scene, Thing};

/// Share of its field that a key makes an area wider or narrower by.
const SIZED: f64 = 0.04;

/// What the pointer drags.
#[derive(Clone, Debug)]
pub(super) enum Drag {
    Pan,
    Part {
        thing: Thing,
        part: Part,
        shape: StripShape,
        from: Point,
    },
    Area {
        strip: usize,
        part: Part,
        shape: StripShape,
        area: Area,
        from: Point,
    },
    Draw {
        from: Point,
    },
}

impl ScanBench {
    pub(super) fn pointer(
        &mut self,
        ui: &Ui,
        response: &Response,
        sight: &Sight<'_>,
        scene: &Scene<'_>,
        asks: &mut Vec<Request>,
    ) {
        let hovered = response
            .hover_pos()
            .and_then(|at| marks::under(sight, scene, at));
        if let Some((Thing::Strip(strip), part)) = hovered
            && let Some(shape) = scene.shape(strip)
            && let Some(field) = part.field()
        {
            match shape.fields[field] {
                Field::Step(step) => asks.push(Request::Spot((strip, step + 1))),
                Field::Margin => asks.push(Request::Spot((strip, 0))),
                Field::Ignored => {}
            }
        }
        let crosshair = self.drawing || self.pointing;
        let cursor = match (crosshair, hovered.map(|(_, part)| part)) {
            (true, _) => egui::CursorIcon::Crosshair,
            (_, Some(Part::Area(_))) => egui::CursorIcon::Move,
            (_, Some(Part::Corner(_) | Part::Side(_) | Part::Border(_) | Part::AreaCorner(..))) => {
                egui::CursorIcon::Grab
            }
            _ => egui::CursorIcon::Default,
        };
        response.clone().on_hover_cursor(cursor);
        if self.pointing && response.clicked() {
            response.request_focus();
            let too = ui.input(|input| input.modifiers.shift);
            let pointed = response
                .interact_pointer_pos()
                .and_then(|at| coat::pointed_at(sight, scene, at, too));
            if let Some(edit) = pointed {
                asks.push(Request::edit(edit));
                self.pointing = false;
            }
            return;
        }
        if response.clicked() || response.secondary_clicked() {
            response.request_focus();
            let chosen = hovered.map(|(thing, part)| Chosen { thing, part });
            asks.push(Request::Choose(chosen));
        }
        if response.drag_started() {
            let middle = ui.input(|input| input.pointer.button_down(PointerButton::Middle));
            let origin = ui.input(|input| input.pointer.press_origin());
            self.drag = origin.map(|origin| self.begin_drag(sight, origin, middle, scene, asks));
        }
        self.drag_on(response, sight, scene, asks);
    }

    fn begin_drag(
        &self,
        sight: &Sight<'_>,
        origin: Pos2,
        middle: bool,
        scene: &Scene<'_>,
        asks: &mut Vec<Request>,
    ) -> Drag {
        let from = sight.on_scan(origin);
        if self.drawing && !middle {
            return Drag::Draw { from };
        }
        let under = marks::under(sight, scene, origin);
        let Some((thing, part)) =
            under.filter(|(_, part)| !middle && !matches!(part, Part::Field(_)))
        else {
            return Drag::Pan;
        };
        let Some(shape) = scene.outline(thing).filter(|_| can_move(scene, thing)) else {
            return Drag::Pan;
        };
        let shape = shape.clone();
        let drag = match (thing, part) {
            (Thing::Strip(strip), Part::Area(field) | Part::AreaCorner(field, _)) => {
                let area = areas::area_of(scene, sight.raster, strip, &shape, field);
                area.map_or(Drag::Pan, |area| Drag::Area {
                    strip,
                    part,
                    shape,
                    area,
                    from,
                })
            }
            _ => Drag::Part {
                thing,
                part,
                shape,
                from,
            },
        };
        asks.push(Request::Choose(Some(Chosen { thing, part })));
        drag
    }

    fn drag_on(
        &mut self,
        response: &Response,
        sight: &Sight<'_>,
        scene: &Scene<'_>,
        asks: &mut Vec<Request>,
    ) {
        let at = response
            .interact_pointer_pos()
            .map(|pointer| sight.on_scan(pointer));
        match (&self.drag, at) {
            (Some(Drag::Pan), _) => self.view.pan(response.drag_delta()),
            (
                Some(Drag::Part {
                    thing,
                    part,
                    shape,
                    from,
                }),
                Some(to),
            ) => {
                let shape = handles::moved(shape, *part, *from, to);
                asks.push(Request::Edit(calling::outlined(scene, *thing, shape)));
            }
            (
                Some(Drag::Area {
                    strip,
                    part,
                    shape,
                    area,
                    from,
                }),
                Some(to),
            ) => {
                let area = areas::moved(shape, area, *part, *from, to);
                let strip = *strip;
                asks.push(Request::edit(Edit::PlaceArea { strip, area }));
            }
            (Some(Drag::Draw { from }), Some(to)) if response.drag_stopped() => {
                if let Some(edit) = draw_edit(scene, self.scan, *from, to) {
                    asks.push(Request::Edit(edit));
                    self.drawing = false;
                }
            }
            _ => {}
        }
        if response.drag_stopped() {
            self.drag = None;
        }
    }

    /// Arrow keys move the chosen part; comma and full stop walk from part to part.
    pub(super) fn keys(
        &mut self,
        ui: &Ui,
        response: &Response,
        sight: &Sight<'_>,
        scene: &Scene<'_>,
        asks: &mut Vec<Request>,
    ) {
        if !response.has_focus() {
            return;
        }
        ui.memory_mut(|memory| {
            let filter = egui::EventFilter {
                horizontal_arrows: true,
                vertical_arrows: true,
                ..egui::EventFilter::default()
            };
            memory.set_focus_lock_filter(response.id, filter);
        });
        let pressed = |modifiers: Modifiers, key: Key| {
            ui.input_mut(|input| input.consume_key(modifiers, key))
        };
        let (mut by, mut size) = (Vec2::ZERO, Vec2::ZERO);
        for (key, way) in [
            (Key::ArrowLeft, Vec2::LEFT),
            (Key::ArrowRight, Vec2::RIGHT),
            (Key::ArrowUp, Vec2::UP),
            (Key::ArrowDown, Vec2::DOWN),
        ] {
            if pressed(Modifiers::ALT, key) {
                size += way;
            } else if pressed(Modifiers::SHIFT, key) {
                by += way * 10.0;
            } else if pressed(Modifiers::NONE, key) {
                by += way;
            }
        }
        let walk = i64::from(pressed(Modifiers::NONE, Key::Period))
            - i64::from(pressed(Modifiers::NONE, Key::Comma));
        let next = i64::from(pressed(Modifiers::NONE, Key::PageDown))
            - i64::from(pressed(Modifiers::NONE, Key::PageUp));
        if next != 0 {
            self.next_thing(next, scene, asks);
        }
        if self.drawing && pressed(Modifiers::NONE, Key::Enter) {
            self.draw_in_the_middle(sight, scene, asks);
            return;
        }
        if scene.chosen.is_some() && pressed(Modifiers::NONE, Key::Escape) {
            asks.push(Request::Choose(None));
        }
        let Some((chosen, shape)) = scene.held() else {
            if by != Vec2::ZERO {
                self.view.pan(-by * 24.0);
            }
            return;
        };
        if walk != 0 {
            let mut parts = handles::parts(shape);
            if let Thing::Strip(_) = chosen.thing {
                parts.extend(handles::area_parts(shape));
            }
            let now = parts
                .iter()
                .position(|&part| part == chosen.part)
                .unwrap_or(0) as i64;
            let part = parts[(now + walk).rem_euclid(parts.len() as i64) as usize];
            asks.push(Request::Choose(Some(Chosen { part, ..chosen })));
        }
        if !can_move(scene, chosen.thing) {
            return;
        }
        let pixel = f64::from((1.0 / self.view.scale).max(1.0));
        let to = |from: Point| {
            let (dx, dy) = (f64::from(by.x), f64::from(by.y));
            Point::new(from.x + dx * pixel, from.y + dy * pixel)
        };
        if let Some((strip, field)) = areas::open_field(scene) {
            let Some(area) = areas::area_of(scene, sight.raster, strip, shape, field) else {
                return;
            };
            let moved = if by != Vec2::ZERO {
                let part = match chosen.part {
                    Part::AreaCorner(..) => chosen.part,
                    _ => Part::Area(field),
                };
                let from = shape.area_corners(field, &area)[0];
                areas::moved(shape, &area, part, from, to(from))
            } else if size != Vec2::ZERO {
                let (along, across) = (-f64::from(size.y), f64::from(size.x));
                areas::resized(&area, SIZED * along, SIZED * across)
            } else {
                return;
            };
            asks.push(Request::edit(Edit::PlaceArea { strip, area: moved }));
        } else if by != Vec2::ZERO && chosen.part.field().is_none() {
            let from = handles::hold(shape, chosen.part);
            let shape = handles::moved(shape, chosen.part, from, to(from));
            asks.push(Request::Edit(calling::outlined(scene, chosen.thing, shape)));
        }
    }

    /// Draws a strip over the middle of what is in sight, to be moved from there.
    fn draw_in_the_middle(
        &mut self,
        sight: &Sight<'_>,
        scene: &Scene<'_>,
        asks: &mut Vec<Request>,
    ) {
        let middle = sight
            .place
            .shrink2(sight.place.size() * Vec2::new(0.42, 0.25));
        let (from, to) = (sight.on_scan(middle.min), sight.on_scan(middle.max));
        let Some(edits) = draw_edit(scene, self.scan, from, to) else {
            return;
        };
        let drawn = edits.iter().find_map(|edit| match edit {
            Edit::SetShape { strip, .. } | Edit::AddStrip { at: strip, .. } => Some(*strip),
            _ => None,
        });
        asks.push(Request::Edit(edits));
        asks.push(Request::Choose(drawn.map(Chosen::strip)));
        self.drawing = false;
    }

    /// Chooses the next thing on any scan, and shows that scan.
    fn next_thing(&mut self, by: i64, scene: &Scene<'_>, asks: &mut Vec<Request>) {
        let scans = scene.session.scans.len();
        let all: Vec<(usize, Thing)> = (0..scans)
            .flat_map(|scan| {
                scene
                    .things(scan)
                    .into_iter()
                    .map(move |thing| (scan, thing))
            })
            .collect();
        if all.is_empty() {
            return;
        }
        let now = scene.chosen.and_then(|chosen| {
            let at = all.iter().position(|(_, thing)| *thing == chosen.thing)?;
            i64::try_from(at).ok()
        });
        let from = now.unwrap_or(if by > 0 { -1 } else { 0 });
        let (scan, thing) = all[(from + by).rem_euclid(all.len() as i64) as usize];
        self.scan = scan;
        let part = Part::Whole;
        asks.push(Request::Choose(Some(Chosen { thing, part })));
    }
}

/// Whether a thing's outline is the session's to change.
fn can_move(scene: &Scene<'_>, thing: Thing) -> bool {
    match thing {
        Thing::Strip(strip) => strip < scene.session.strips.len(),
        Thing::Wedge(_) => scene.session.wedge.is_some(),
        Thing::Spare(_) => false,
    }
}

/// What drawing an outline changes: the first strip that wasn't found gets it, or a new one.
fn draw_edit(scene: &Scene<'_>, scan: usize, from: Point, to: Point) -> Option<Vec<Edit>> {
    let strips = &scene.session.strips;
    let lost = (0..strips.len()).find(|&strip| scene.shape(strip).is_none());
    let steps = lost.and_then(|strip| Some(strips[strip].exposure.as_ref()?.series.steps()));
    let shape = handles::drawn(scan, from, to, steps)?;
    if let Some(strip) = lost {
        return Some(vec![Edit::SetShape {
            strip,
            shape: Some(shape),
        }]);
    }
    let has_paper = strips.iter().any(|strip| strip.role == Role::Reference);
    let role = if has_paper {
        Role::Coupon
    } else {
        Role::Reference
    };
    let taken = |name: &String| strips.iter().any(|strip| strip.name == *name);
    let name = (1..)
        .map(|number| format!("strip {number}"))
        .find(|name| !taken(name))?;
    let strip = Strip {
        shape: Some(shape),
        ..Strip::new(name, role)
    };
    Some(vec![Edit::AddStrip {
        at: strips.len(),
        strip,
    }])
}
