//! The bench with the scans.

pub mod areas;
pub mod calling;
mod coat;
mod hand;
pub mod handles;
mod loupe;
pub mod marks;
mod notices;
pub mod pyramid;
mod side;
mod tiles;
pub mod view;

use egui::{Rect, Response, Sense, Stroke, StrokeKind, Ui};

use super::request::{Request, Scene};
use super::shelf::{Shelf, Standing};
use super::shell::{icon_button, toggle_button};
use crate::measure::finding::Place;
use crate::measure::geometry::{Field, Point, StripShape};
use hand::Drag;
use loupe::Loupe;
use marks::Sight;
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
    /// Whether the next click points at unexposed coat.
    pub pointing: bool,
    /// A reading of a strip that is being considered.
    considered: Option<StripShape>,
    drag: Option<Drag>,
    loupe: Loupe,
    /// A place to be shown once the size of the place is known.
    to_show: Option<Vec<Point>>,
    place: Option<Rect>,
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
        if let Some((_, shape)) = scene.held()
            && self.drag.is_none()
            && scene.session.scans.len() > 1
            && self.to_show.is_some()
        {
            self.scan = shape.scan;
        }
        self.considered = None;
        if scene.out.1 {
            let beside = side::Beside {
                scan: self.scan,
                pointing: self.pointing,
            };
            self.considered = side::ui(ui, scene, beside, asks);
        }
        let ground = egui::Frame::new().fill(scene.theme.panel);
        egui::CentralPanel::no_frame().frame(ground).show(ui, |ui| {
            ui.spacing_mut().item_spacing.y = 0.0;
            self.tools_ui(ui, scene, asks);
            self.canvas_ui(ui, scene, shelf, asks);
        });
    }

    fn tools_ui(&mut self, ui: &mut Ui, scene: &Scene<'_>, asks: &mut Vec<Request>) {
        use super::command::Command;
        egui::Frame::new()
            .fill(scene.theme.panel)
            .inner_margin(scene.room.bar())
            .show(ui, |ui| {
                ui.set_min_width(ui.available_width());
                ui.spacing_mut().item_spacing.x = 4.0;
                ui.horizontal_wrapped(|ui| {
                    for command in [
                        Command::Fit,
                        Command::ActualPixels,
                        Command::ZoomIn,
                        Command::ZoomOut,
                    ] {
                        icon_button(ui, command, true, asks);
                    }
                    ui.separator();
                    for (command, on) in [
                        (Command::Magnifier, self.magnifier),
                        (Command::DrawStrip, self.drawing),
                        (Command::StripColumn, scene.out.1),
                    ] {
                        toggle_button(ui, command, on, scene.room, asks);
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
            notices::waiting_ui(ui, place, self.scan, &shelf.standing(scan), scene, asks);
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
        let view = self.view;
        let sight = Sight {
            place,
            view: &view,
            scan: self.scan,
            raster: &opened.raster,
        };
        marks::paint(&painter, &sight, scene);
        if let Some(shape) = self.considered.as_ref().filter(|s| s.scan == self.scan) {
            coat::paint_considered(&painter, &sight, shape, scene);
        }
        self.pointer(ui, &response, &sight, scene, asks);
        self.keys(ui, &response, &sight, scene, asks);
        response.context_menu(|ui| side::saying_ui(ui, scene, asks));
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
            notices::changed_ui(ui, place, self.scan, scene, asks);
        }
        if self.magnifier {
            // Without the pointer it looks at what is chosen.
            let held = || {
                let (chosen, shape) = scene.held()?;
                (shape.scan == self.scan).then(|| handles::hold(shape, chosen.part))
            };
            let pointer = response.hover_pos().map(|at| self.view.on_scan(place, at));
            let pointer = pointer.or_else(held);
            let looked_at = pointer.map(|at| self.view.on_screen(place, at));
            let at = (pointer, looked_at);
            self.loupe.ui(ui, place, at, opened, self.scan, scene);
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
}

/// Words on a plate above a field, no wider than it.
pub fn label(painter: &egui::Painter, field: Rect, words: &str, theme: &super::theme::Theme) {
    marks::chip_above(painter, field, words, theme);
}
