//! What pointer and keys do on the scan.

use egui::{Key, Modifiers, PointerButton, Pos2, Rect, Response, Ui, Vec2};

use super::{ScanBench, handles, marks};
use crate::document::{Edit, Strip};
use crate::measure::geometry::{Field, Point, StripShape};
use crate::measure::strip::Role;
use crate::window::request::{Chosen, Part, Request, Scene};

/// What the pointer drags.
#[derive(Clone, Debug)]
pub(super) enum Drag {
    Pan,
    Part {
        strip: usize,
        part: Part,
        shape: StripShape,
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
        place: Rect,
        scene: &Scene<'_>,
        asks: &mut Vec<Request>,
    ) {
        let hovered = response
            .hover_pos()
            .and_then(|at| marks::under(place, &self.view, self.scan, scene, at));
        if let Some((strip, Part::Field(field))) = hovered
            && let Some(shape) = scene.shape(strip)
        {
            match shape.fields[field] {
                Field::Step(step) => asks.push(Request::Spot((strip, step + 1))),
                Field::Margin => asks.push(Request::Spot((strip, 0))),
                Field::Ignored => {}
            }
        }
        let cursor = match (self.drawing, hovered.map(|(_, part)| part)) {
            (true, _) => egui::CursorIcon::Crosshair,
            (_, Some(Part::Corner(_) | Part::Side(_) | Part::Border(_))) => egui::CursorIcon::Grab,
            _ => egui::CursorIcon::Default,
        };
        response.clone().on_hover_cursor(cursor);
        if response.clicked() {
            response.request_focus();
            let chosen = hovered.map(|(strip, part)| Chosen { strip, part });
            asks.push(Request::Choose(chosen));
        }
        if response.drag_started() {
            let middle = ui.input(|input| input.pointer.button_down(PointerButton::Middle));
            let origin = ui.input(|input| input.pointer.press_origin());
            self.drag = origin.map(|origin| self.begin_drag(place, origin, middle, scene, asks));
        }
        self.drag_on(response, place, scene, asks);
    }

    fn begin_drag(
        &self,
        place: Rect,
        origin: Pos2,
        middle: bool,
        scene: &Scene<'_>,
        asks: &mut Vec<Request>,
    ) -> Drag {
        let from = self.view.on_scan(place, origin);
        if self.drawing && !middle {
            return Drag::Draw { from };
        }
        let under = marks::under(place, &self.view, self.scan, scene, origin);
        let Some((strip, part)) =
            under.filter(|(_, part)| !middle && !matches!(part, Part::Field(_)))
        else {
            return Drag::Pan;
        };
        let Some(shape) = scene
            .shape(strip)
            .filter(|_| !scene.session.strips.is_empty())
        else {
            return Drag::Pan;
        };
        asks.push(Request::Choose(Some(Chosen { strip, part })));
        Drag::Part {
            strip,
            part,
            shape: shape.clone(),
            from,
        }
    }

    fn drag_on(
        &mut self,
        response: &Response,
        place: Rect,
        scene: &Scene<'_>,
        asks: &mut Vec<Request>,
    ) {
        let pointer = response.interact_pointer_pos();
        match (&self.drag, pointer) {
            (Some(Drag::Pan), _) => self.view.pan(response.drag_delta()),
            (
                Some(Drag::Part {
                    strip,
                    part,
                    shape,
                    from,
                }),
                Some(at),
            ) => {
                let to = self.view.on_scan(place, at);
                let shape = handles::moved(shape, *part, *from, to);
                asks.push(Request::edit(Edit::SetShape {
                    strip: *strip,
                    shape: Some(shape),
                }));
            }
            (Some(Drag::Draw { from }), Some(at)) if response.drag_stopped() => {
                let to = self.view.on_scan(place, at);
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
        let mut by = Vec2::ZERO;
        for (key, way) in [
            (Key::ArrowLeft, Vec2::LEFT),
            (Key::ArrowRight, Vec2::RIGHT),
            (Key::ArrowUp, Vec2::UP),
            (Key::ArrowDown, Vec2::DOWN),
        ] {
            if pressed(Modifiers::SHIFT, key) {
                by += way * 10.0;
            } else if pressed(Modifiers::NONE, key) {
                by += way;
            }
        }
        let walk = i64::from(pressed(Modifiers::NONE, Key::Period))
            - i64::from(pressed(Modifiers::NONE, Key::Comma));
        let next = i64::from(pressed(Modifiers::NONE, Key::PageDown))
            - i64::from(pressed(Modifiers::NONE, Key::PageUp));
        if next != 0 && scene.strips() > 0 {
            let count = scene.strips() as i64;
            let now = scene.chosen.map_or(-1, |chosen| chosen.strip as i64);
            let strip = (now + next).rem_euclid(count) as usize;
            asks.push(Request::Choose(Some(Chosen {
                strip,
                part: Part::Whole,
            })));
        }
        let Some(chosen) = scene.chosen else {
            if by != Vec2::ZERO {
                self.view.pan(-by * 24.0);
            }
            return;
        };
        let Some(shape) = scene.shape(chosen.strip) else {
            return;
        };
        if walk != 0 {
            let parts = handles::parts(shape);
            let now = parts
                .iter()
                .position(|&part| part == chosen.part)
                .unwrap_or(0) as i64;
            let part = parts[(now + walk).rem_euclid(parts.len() as i64) as usize];
            asks.push(Request::Choose(Some(Chosen { part, ..chosen })));
        }
        if by != Vec2::ZERO
            && !scene.session.strips.is_empty()
            && !matches!(chosen.part, Part::Field(_))
        {
            let from = handles::hold(shape, chosen.part);
            let pixel = (1.0 / self.view.scale).max(1.0);
            let to = Point::new(
                from.x + f64::from(by.x * pixel),
                from.y + f64::from(by.y * pixel),
            );
            let shape = Some(handles::moved(shape, chosen.part, from, to));
            asks.push(Request::edit(Edit::SetShape {
                strip: chosen.strip,
                shape,
            }));
        }
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
