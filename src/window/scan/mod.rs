//! The bench with the scans.

pub mod handles;
mod loupe;
mod marks;
pub mod pyramid;
mod side;
mod tiles;
pub mod view;

use egui::{
    Key, Modifiers, PointerButton, Pos2, Rect, Response, Sense, Stroke, StrokeKind, Ui, Vec2,
};

use super::request::{Chosen, Part, Request, Scene};
use super::shelf::{Shelf, Standing};
use crate::document::{Edit, Strip};
use crate::measure::finding::Place;
use crate::measure::geometry::{Field, Point, StripShape};
use crate::measure::strip::Role;
use loupe::Loupe;
use tiles::Tiles;
use view::View;

/// What this bench remembers between frames.
#[derive(Default)]
pub struct ScanBench {
    /// The scan in sight.
    pub scan: usize,
    view: View,
    tiles: Tiles,
    /// Whether the magnifier is out.
    pub magnifier: bool,
    /// Whether the next drag draws a strip.
    pub drawing: bool,
    drag: Option<Drag>,
    loupe: Loupe,
    /// A place to be shown once the size of the place is known.
    to_show: Option<Vec<Point>>,
    place: Option<Rect>,
}

/// What the pointer drags.
#[derive(Clone, Debug)]
enum Drag {
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
    /// Brings the whole scan into sight.
    pub fn fit(&mut self) {
        self.view.fit();
    }

    /// Another session: forget the old one's pictures.
    pub fn clear(&mut self) {
        *self = Self {
            magnifier: self.magnifier,
            ..Self::default()
        };
    }

    /// Closer or farther, about the middle.
    pub fn zoom(&mut self, by: f32) {
        if let Some(place) = self.place {
            self.view.zoom(place, place.center(), by);
        }
    }

    /// One pixel of the scan on one pixel of the screen.
    pub fn actual_pixels(&mut self, pixels_per_point: f32) {
        if let Some(place) = self.place {
            self.view
                .set_scale(place, place.center(), 1.0 / pixels_per_point);
        }
    }

    /// Shows where a finding belongs.
    pub fn show(&mut self, place: &Place, scene: &Scene<'_>) {
        let shape = place.strip.and_then(|strip| scene.shape(strip));
        if let Some(scan) = place.scan.or(shape.map(|shape| shape.scan)) {
            self.scan = scan;
        }
        let field = shape.zip(place.step).and_then(|(shape, step)| {
            let wanted = step.checked_sub(1).map_or(Field::Margin, Field::Step);
            let field = shape.fields.iter().position(|&field| field == wanted)?;
            Some(shape.field_corners(field).to_vec())
        });
        let area = if place.area.is_empty() {
            None
        } else {
            Some(place.area.clone())
        };
        self.to_show = area.or(field).or(shape.map(|shape| shape.corners.to_vec()));
        if self.to_show.is_none() {
            self.view.fit();
        }
    }

    /// The whole bench.
    pub fn ui(&mut self, ui: &mut Ui, scene: &Scene<'_>, shelf: &Shelf, asks: &mut Vec<Request>) {
        self.scan = self.scan.min(scene.session.scans.len().saturating_sub(1));
        if let Some(shape) = scene.chosen.and_then(|chosen| scene.shape(chosen.strip))
            && self.drag.is_none()
            && scene.session.scans.len() > 1
            && self.to_show.is_some()
        {
            self.scan = shape.scan;
        }
        side::ui(ui, scene, asks);
        egui::CentralPanel::no_frame().show(ui, |ui| {
            self.tools_ui(ui, scene, asks);
            self.canvas_ui(ui, scene, shelf, asks);
        });
    }

    fn tools_ui(&mut self, ui: &mut Ui, scene: &Scene<'_>, asks: &mut Vec<Request>) {
        use super::command::Command;
        egui::Frame::new()
            .fill(scene.theme.panel)
            .inner_margin(8)
            .show(ui, |ui| {
                ui.horizontal_wrapped(|ui| {
                    for command in [
                        Command::Fit,
                        Command::ActualPixels,
                        Command::ZoomIn,
                        Command::ZoomOut,
                    ] {
                        super::shell::command_button(ui, command, true, asks);
                    }
                    ui.separator();
                    for (command, on) in [
                        (Command::Magnifier, self.magnifier),
                        (Command::DrawStrip, self.drawing),
                    ] {
                        let button = ui.selectable_label(on, command.label());
                        if button.on_hover_text(command.explanation()).clicked() {
                            asks.push(Request::Command(command));
                        }
                    }
                    if scene.session.scans.len() > 1 {
                        ui.separator();
                        for (index, scan) in scene.session.scans.iter().enumerate() {
                            let name = scan.path.file_name().unwrap_or_default().to_string_lossy();
                            if ui.selectable_label(self.scan == index, name).clicked() {
                                self.scan = index;
                                self.view.fit();
                            }
                        }
                    }
                });
            });
    }

    fn canvas_ui(
        &mut self,
        ui: &mut Ui,
        scene: &Scene<'_>,
        shelf: &Shelf,
        asks: &mut Vec<Request>,
    ) {
        let (place, response) =
            ui.allocate_exact_size(ui.available_size(), Sense::click_and_drag());
        self.place = Some(place);
        let painter = ui.painter_at(place);
        painter.rect_filled(place, 0.0, scene.theme.surround);
        let Some(scan) = scene.session.scans.get(self.scan) else {
            return;
        };
        let name = scan
            .path
            .file_name()
            .unwrap_or_default()
            .to_string_lossy()
            .into_owned();
        response.widget_info(|| {
            egui::WidgetInfo::labeled(egui::Role::Canvas, true, format!("Scan {name}"))
        });
        let Some(opened) = shelf.opened(scan) else {
            waiting_ui(ui, place, self.scan, &shelf.standing(scan), scene, asks);
            return;
        };
        let (width, height) = opened.pyramid.size(0);
        self.view.follow(place, width, height);
        if let Some(area) = self.to_show.take() {
            self.view.show(place, &area);
        }
        self.look_around(ui, &response, place);
        let pyramid = (self.scan, &*opened.pyramid);
        if self
            .tiles
            .draw(&painter, place, &self.view, pyramid, scene.theme.tint)
        {
            ui.ctx().request_repaint();
        }
        marks::paint(&painter, place, &self.view, self.scan, scene);
        self.pointer(ui, &response, place, scene, asks);
        self.keys(ui, &response, scene, asks);
        if response.has_focus() {
            painter.rect_stroke(
                place,
                0.0,
                Stroke::new(2.0, scene.theme.accent),
                StrokeKind::Inside,
            );
        }
        if let Some(Drag::Draw { from }) = &self.drag
            && let Some(pointer) = response.interact_pointer_pos()
        {
            let rect = Rect::from_two_pos(self.view.on_screen(place, *from), pointer);
            painter.rect_stroke(
                rect,
                0.0,
                Stroke::new(2.0, scene.theme.accent),
                StrokeKind::Middle,
            );
        }
        if shelf.standing(scan) == Standing::Changed {
            changed_ui(ui, place, self.scan, scene, asks);
        }
        if self.magnifier {
            let pointer = response.hover_pos().map(|at| self.view.on_scan(place, at));
            self.loupe.ui(ui, place, pointer, opened, self.scan, scene);
        }
    }

    fn look_around(&mut self, ui: &Ui, response: &Response, place: Rect) {
        if !response.contains_pointer() {
            return;
        }
        let Some(pointer) = response.hover_pos() else {
            return;
        };
        let (scroll, pinch) = ui.input(|input| (input.smooth_scroll_delta(), input.zoom_delta()));
        if pinch != 1.0 {
            self.view.zoom(place, pointer, pinch);
        } else if scroll.y != 0.0 {
            self.view.zoom(place, pointer, (scroll.y / 240.0).exp());
        }
    }

    fn pointer(
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
    fn keys(&mut self, ui: &Ui, response: &Response, scene: &Scene<'_>, asks: &mut Vec<Request>) {
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

fn waiting_ui(
    ui: &mut Ui,
    place: Rect,
    scan: usize,
    standing: &Standing,
    scene: &Scene<'_>,
    asks: &mut Vec<Request>,
) {
    let card = Rect::from_center_size(place.center(), Vec2::new(360.0, 160.0));
    ui.scope_builder(egui::UiBuilder::new().max_rect(card), |ui| {
        super::shell::card(ui, scene.theme, |ui| match standing {
            Standing::Reading(share) => {
                ui.label("Reading the scan");
                ui.add(egui::ProgressBar::new(*share).desired_width(320.0))
                    .accessible_name("Reading the scan");
                if ui.button("Call it off").clicked() {
                    asks.push(Request::CancelReading);
                }
            }
            Standing::Missing(why) => {
                ui.label(why);
                ui.horizontal(|ui| {
                    if ui.button("Find the file…").clicked() {
                        asks.push(Request::Locate(scan));
                    }
                    if ui.button("Read it again").clicked() {
                        asks.push(Request::ReadAgain(scan));
                    }
                });
            }
            Standing::Ready | Standing::Changed => {}
        });
    });
}

fn changed_ui(ui: &mut Ui, place: Rect, scan: usize, scene: &Scene<'_>, asks: &mut Vec<Request>) {
    let card = Rect::from_min_size(place.min + Vec2::splat(16.0), Vec2::new(400.0, 120.0));
    ui.scope_builder(egui::UiBuilder::new().max_rect(card), |ui| {
        super::shell::card(ui, scene.theme, |ui| {
            ui.label("This file is not the one that the session was made with. It is not measured until you say so.");
            ui.horizontal(|ui| {
                if ui.button("Measure this file").clicked() {
                    asks.push(Request::TakeChanged(scan));
                }
                if ui.button("Find the file…").clicked() {
                    asks.push(Request::Locate(scan));
                }
            });
        });
    });
}

/// Words on a plate over any tone.
pub fn label(painter: &egui::Painter, at: Pos2, words: &str, theme: &super::theme::Theme) {
    marks::chip(painter, at, words, theme.line, theme);
}
