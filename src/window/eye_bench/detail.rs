//! A step as a whole, with the part of it that is sampled: to be put on the same detail where
//! strips carry a picture.

use egui::{Key, Modifiers, Rect, Sense, Stroke, TextureHandle, TextureOptions, Ui, Vec2};

use crate::document::Edit;
use crate::measure::geometry::{Area, Field, Point, StripShape};
use crate::window::command::Command;
use crate::window::request::{Part, Request, Scene};
use crate::window::scan::areas;
use crate::window::scan::marks::{Sight, paint_area};
use crate::window::scan::view::View;
use crate::window::shelf::Opened;
use crate::window::shell::explained;

/// Height of the picture, points.
const HEIGHT: f32 = 88.0;
/// Most pixels of the picture either way.
const MOST: usize = 480;
/// How near the pointer must come to a corner, points.
const REACH: f32 = 9.0;
/// Share of the field that a key moves or sizes by.
const KEY: f64 = 0.04;

/// What is dragged: the strip, the part, its area and the pointer's place when it was gripped.
type Grip = (usize, Part, StripShape, Area, Point);

/// What is remembered between frames.
#[derive(Default)]
pub(super) struct Details {
    grip: Option<Grip>,
    pictures: Vec<(Shown, TextureHandle)>,
    fresh: Vec<(Shown, TextureHandle)>,
}

/// Everything that a picture depends on.
#[derive(Clone, PartialEq)]
struct Shown {
    corners: [Point; 4],
    hash: String,
}

impl Details {
    /// Lets go of pictures that the last frame didn't show.
    pub(super) fn sweep(&mut self) {
        self.pictures = std::mem::take(&mut self.fresh);
    }

    /// The picture of one step, with its sampled area.
    pub(super) fn ui(
        &mut self,
        ui: &mut Ui,
        scene: &Scene<'_>,
        opened: &Opened,
        (strip, step): (usize, usize),
        asks: &mut Vec<Request>,
    ) {
        let Some(shape) = scene.shape(strip) else {
            return;
        };
        let Some(field) = shape.field_of_step(step) else {
            return;
        };
        let size = Vec2::new(ui.available_width(), HEIGHT);
        let (place, response) = ui.allocate_exact_size(size, Sense::click_and_drag());
        let name = format!("Sampled area of {}, step {}", scene.name(strip), step + 1);
        response.widget_info(|| egui::WidgetInfo::labeled(egui::Role::Canvas, true, &name));
        let corners = shape.field_corners(field);
        let view = View::around(place, &corners);
        let painter = ui.painter_at(place);
        painter.rect_filled(place, 0.0, scene.theme.surround);
        let key = Shown {
            corners,
            hash: opened.hash.clone(),
        };
        self.picture(ui, place, &view, key, opened, scene);
        let sight = Sight {
            place,
            view: &view,
            scan: shape.scan,
            raster: &opened.raster,
        };
        let held = self.grip.as_ref().map_or(Part::Whole, |grip| grip.1);
        paint_area(&painter, &sight, (strip, shape, field), held, scene);
        if response.has_focus() {
            let stroke = Stroke::new(2.0, scene.theme.accent);
            painter.rect_stroke(place, 0.0, stroke, egui::StrokeKind::Inside);
        }
        let Some(area) = areas::area_of(scene, &opened.raster, strip, shape, field) else {
            return;
        };
        if response.clicked() || response.drag_started() {
            response.request_focus();
        }
        if response.drag_started()
            && let Some(origin) = ui.input(|input| input.pointer.press_origin())
        {
            let corner = shape
                .area_corners(field, &area)
                .iter()
                .position(|&corner| sight.on_screen(corner).distance(origin) <= REACH);
            let part = corner.map_or(Part::Area(field), |corner| Part::AreaCorner(field, corner));
            self.grip = Some((strip, part, shape.clone(), area, sight.on_scan(origin)));
        }
        if let Some((of, part, shape, area, from)) = &self.grip
            && response.dragged()
            && *of == strip
            && let Some(pointer) = response.interact_pointer_pos()
        {
            let area = areas::moved(shape, area, *part, *from, sight.on_scan(pointer));
            asks.push(Request::edit(Edit::PlaceArea { strip, area }));
        }
        if response.drag_stopped() {
            self.grip = None;
        }
        if response.has_focus() {
            keys(ui, &response, strip, &area, asks);
        }
        response.on_hover_text("The part of the step that is sampled. Put it on the same detail on both strips where they carry a picture. Drag it or a corner; with the keyboard, arrows move it and Alt with arrows sizes it.");
        if scene.placed(strip, Field::Step(step)).is_some() {
            let button = ui.small_button("Back to automatic");
            if explained(ui, button, Command::FreeArea).clicked() {
                let field = Field::Step(step);
                asks.push(Request::edit(Edit::FreeArea { strip, field }));
            }
        }
    }

    fn picture(
        &mut self,
        ui: &Ui,
        place: Rect,
        view: &View,
        key: Shown,
        opened: &Opened,
        scene: &Scene<'_>,
    ) {
        let bounds = |of: fn(&Point) -> f64| {
            let values = key.corners.iter().map(of);
            let low = values.clone().fold(f64::MAX, f64::min).max(0.0).floor();
            (low, values.fold(0.0, f64::max).max(low + 1.0).ceil())
        };
        let (x, y) = (bounds(|corner| corner.x), bounds(|corner| corner.y));
        let mut level = 0;
        let long = (x.1 - x.0).max(y.1 - y.0) as usize;
        while long >> level > MOST && level + 1 < opened.pyramid.levels() {
            level += 1;
        }
        let at = |value: f64| value as usize >> level;
        let (left, top) = (at(x.0), at(y.0));
        let (wide, high) = (at(x.1).max(left + 1) - left, at(y.1).max(top + 1) - top);
        let known = self
            .pictures
            .iter()
            .chain(&self.fresh)
            .find(|(known, _)| *known == key);
        let texture = match known {
            Some((_, texture)) => texture.clone(),
            None => {
                let picture = opened.pyramid.cut(level, left, top, wide, high);
                if picture.size.contains(&0) {
                    return;
                }
                ui.ctx()
                    .load_texture("step", picture, TextureOptions::LINEAR)
            }
        };
        let [wide, high] = texture.size();
        let back = |value: usize| (value << level) as f64;
        let rect = Rect::from_min_max(
            view.on_screen(place, Point::new(back(left), back(top))),
            view.on_screen(place, Point::new(back(left + wide), back(top + high))),
        );
        let whole = Rect::from_min_max(egui::Pos2::ZERO, egui::Pos2::new(1.0, 1.0));
        ui.painter_at(place)
            .image(texture.id(), rect, whole, scene.theme.tint);
        self.fresh.push((key, texture));
    }
}

/// Arrows move the area as it is seen along the strip and across; with Alt they size it.
fn keys(ui: &Ui, response: &egui::Response, strip: usize, area: &Area, asks: &mut Vec<Request>) {
    ui.memory_mut(|memory| {
        let filter = egui::EventFilter {
            horizontal_arrows: true,
            vertical_arrows: true,
            ..egui::EventFilter::default()
        };
        memory.set_focus_lock_filter(response.id, filter);
    });
    let mut area = *area;
    let mut changed = false;
    for (key, along, across) in [
        (Key::ArrowUp, -KEY, 0.0),
        (Key::ArrowDown, KEY, 0.0),
        (Key::ArrowLeft, 0.0, -KEY),
        (Key::ArrowRight, 0.0, KEY),
    ] {
        let pressed = |modifiers| ui.input_mut(|input| input.consume_key(modifiers, key));
        if pressed(Modifiers::ALT) {
            area = areas::resized(&area, -along, across);
            changed = true;
        } else if pressed(Modifiers::NONE) {
            area = areas::shifted_by(&area, along, across);
            changed = true;
        }
    }
    if ui.input_mut(|input| input.consume_key(Modifiers::NONE, Key::Backspace)) {
        let field = area.field;
        asks.push(Request::edit(Edit::FreeArea { strip, field }));
    } else if changed {
        asks.push(Request::edit(Edit::PlaceArea { strip, area }));
    }
}
