//! The tone preview: paper print and coating side by side, and the slider.

use std::sync::Arc;

use egui::{Color32, ColorImage, Rect, RichText, Sense, TextureHandle, TextureOptions, Ui, Vec2};

use super::printing;
use super::work::Work;
use crate::document::report::words::plain;
use crate::document::report::{closest_said, losses};
use crate::measure::preview::{Prepared, Shares, findings, shares};
use crate::window::command::Command;
use crate::window::request::{Request, Scene};
use crate::window::shell::answer::finding_ui;
use crate::window::shell::{command_button, term};
use crate::window::theme::{small, strong};

/// How far the slider goes to either side of the plan, stops.
const REACH: f64 = 3.0;
/// Neutral ground around and between the pictures, points.
const AROUND: f32 = 16.0;
/// Most height of the pictures, points.
const TALLEST: f32 = 420.0;

/// What a picture on the screen was made of.
#[derive(Debug, Clone, Copy, PartialEq)]
struct Made {
    preview: u64,
    stops: f64,
    marks: bool,
}

/// The slider and the pictures.
pub struct Tones {
    /// Stops from the planned exposure.
    pub slide: f64,
    /// Whether what is lost is hatched.
    pub marks: bool,
    paper: Option<(u64, TextureHandle)>,
    coated: Option<(Made, TextureHandle)>,
    lost: Option<Shares>,
}

impl Default for Tones {
    fn default() -> Self {
        Self {
            slide: 0.0,
            marks: true,
            paper: None,
            coated: None,
            lost: None,
        }
    }
}

impl Tones {
    /// The exposure that is shown, in stops above the paper print's.
    pub fn stops(&self, scene: &Scene<'_>, work: &Work, pair: usize) -> Option<f64> {
        let planned = match work.planned() {
            Some(Ok(planned)) => planned
                .plan
                .exposure
                .as_ref()
                .and_then(|exposure| exposure.stops.value),
            _ => None,
        };
        let measured = || scene.analysis?.pairs.get(pair)?.answer.stops.value;
        Some(planned.or_else(measured)? + self.slide)
    }

    /// The card with the tones.
    pub(super) fn ui(
        &mut self,
        ui: &mut Ui,
        scene: &Scene<'_>,
        work: &Work,
        pair: usize,
        asks: &mut Vec<Request>,
    ) {
        ui.heading("Tones on the coating");
        if printing(scene).print.is_none() {
            ui.label("Drop a scan of the finished paper print here, or choose it: every tone of it is shown as it would come out on the coating.");
            command_button(ui, Command::ChoosePrint, true, asks);
            return;
        }
        let prepared = match work.prepared() {
            Some((number, prepared)) => match prepared.as_ref() {
                Ok(_) => Some((number, Arc::clone(prepared))),
                Err(gap) => {
                    ui.label(format!("There is no preview: {}.", gap.reason()));
                    return;
                }
            },
            None => None,
        };
        let Some((number, prepared)) = prepared else {
            match work.preparing() {
                Some(share) => ui.label(format!("Carrying tones over, {:.0} %", 100.0 * share)),
                None => ui.label("The print's scan is being read."),
            };
            return;
        };
        let (Ok(prepared), Some(stops)) = (prepared.as_ref(), self.stops(scene, work, pair)) else {
            ui.label("Without a ratio there is no exposure to show the tones at.");
            return;
        };
        self.slider_ui(ui, scene);
        let made = Made {
            preview: number,
            stops,
            marks: self.marks,
        };
        self.draw(ui, prepared, made);
        self.pictures_ui(ui, scene, prepared);
        ui.label(format!(
            "Shown with {} stops more light than the paper got.",
            plain(stops, 2)
        ));
        if !work.preview_is_current(pair) {
            ui.label(RichText::new("being worked out anew…").color(scene.theme.weak));
        }
        if let Some(lost) = &self.lost {
            for line in losses(lost) {
                ui.label(line);
            }
            for (index, finding) in prepared.findings.iter().chain(&findings(lost)).enumerate() {
                ui.push_id(index, |ui| finding_ui(ui, scene, finding, asks));
            }
        }
        if let Some(closest) = &prepared.closest {
            ui.label(strong("Closest to the paper print"));
            for line in closest_said(closest) {
                ui.label(line);
            }
            let goes = closest.exposure.stops - (stops - self.slide);
            if ui
                .button("Slide there")
                .on_hover_text("Shows the exposure that comes closest with this negative.")
                .clicked()
            {
                self.slide = goes.clamp(-REACH, REACH);
            }
        }
        ui.horizontal_wrapped(|ui| match work.saving() {
            Some(share) => {
                ui.label(format!("Writing the picture, {:.0} %", 100.0 * share));
                if ui.button("Stop writing").clicked() {
                    asks.push(Request::StopPicture);
                }
            }
            None => {
                command_button(ui, Command::SaveTones, true, asks);
            }
        });
    }

    fn slider_ui(&mut self, ui: &mut Ui, scene: &Scene<'_>) {
        ui.horizontal_wrapped(|ui| {
            term(
                ui,
                "Exposure",
                "Stops from the planned exposure: to the left less light, to the right more.",
            );
            let slider = egui::Slider::new(&mut self.slide, -REACH..=REACH)
                .step_by(1.0 / 12.0)
                .show_value(false);
            ui.scope(|ui| {
                // On a card the rail would have the card's own colour.
                ui.visuals_mut().widgets.inactive.bg_fill = scene.theme.line;
                ui.add(slider)
                    .accessible_name("Exposure from the plan, in stops");
            });
            let sign = if self.slide < 0.0 { "" } else { "+" };
            ui.label(format!(
                "{sign}{} stops from the plan",
                plain(self.slide, 2)
            ));
            if ui
                .button("As planned")
                .on_hover_text("Shows the planned exposure.")
                .clicked()
            {
                self.slide = 0.0;
            }
            ui.checkbox(&mut self.marks, "Hatch what is lost").on_hover_text(
                "Bars rising to the right: highlights that go blank. Falling: shadows that block.",
            );
        });
    }

    /// Makes the pictures that aren't there yet.
    fn draw(&mut self, ui: &Ui, prepared: &Prepared, made: Made) {
        let picture = &prepared.picture;
        let size = [picture.width, picture.height];
        let image = |pixels: &[[u8; 3]]| {
            let pixels = pixels
                .iter()
                .map(|&[r, g, b]| Color32::from_rgb(r, g, b))
                .collect();
            ColorImage::new(size, pixels)
        };
        if self
            .paper
            .as_ref()
            .is_none_or(|(of, _)| *of != made.preview)
        {
            let texture = ui.ctx().load_texture(
                "paper print",
                image(&picture.screen),
                TextureOptions::LINEAR,
            );
            self.paper = Some((made.preview, texture));
        }
        if self.coated.as_ref().is_none_or(|(of, _)| *of != made) {
            let table = prepared.tones.table(made.stops);
            let shown = image(&picture.shown(&table, made.marks));
            match &mut self.coated {
                Some((of, texture)) => {
                    *of = made;
                    texture.set(shown, TextureOptions::LINEAR);
                }
                None => {
                    let texture = ui
                        .ctx()
                        .load_texture("coated", shown, TextureOptions::LINEAR);
                    self.coated = Some((made, texture));
                }
            }
            self.lost = Some(shares(&prepared.tones, &table, &picture.histogram));
        }
    }

    fn pictures_ui(&self, ui: &mut Ui, scene: &Scene<'_>, prepared: &Prepared) {
        let (Some((_, paper)), Some((_, coated))) = (&self.paper, &self.coated) else {
            return;
        };
        let width = ui.available_width();
        let shape = Vec2::new(
            prepared.picture.width as f32,
            prepared.picture.height as f32,
        );
        let room = 0.5 * (width - 3.0 * AROUND);
        let by = (room / shape.x).min(TALLEST / shape.y).max(0.01);
        let size = shape * by;
        let (ground, _) = ui.allocate_exact_size(
            Vec2::new(width, size.y + 2.0 * AROUND + 16.0),
            Sense::hover(),
        );
        let painter = ui.painter().with_clip_rect(ground);
        painter.rect_filled(ground, 0.0, scene.theme.surround);
        let whole = Rect::from_min_max(egui::Pos2::ZERO, egui::Pos2::new(1.0, 1.0));
        let sides = [
            (paper, "on paper", "Paper print"),
            (coated, "on the coating", "Print on the coating"),
        ];
        for (side, (texture, words, name)) in sides.into_iter().enumerate() {
            let centre = ground.left() + AROUND + (side as f32 + 0.5) * room + side as f32 * AROUND;
            let corner = egui::Pos2::new(centre - 0.5 * size.x, ground.top() + AROUND);
            let place = Rect::from_min_size(corner, size);
            painter.image(texture.id(), place, whole, scene.theme.tint);
            let response = ui.interact(place, ui.scope_id().with(name), Sense::hover());
            response.widget_info(|| egui::WidgetInfo::labeled(egui::Role::Image, true, name));
            let below = place.center_bottom() + Vec2::new(0.0, 4.0);
            let words_colour = match scene.theme.light {
                crate::window::theme::Light::Safelight => scene.theme.text,
                _ => Color32::BLACK,
            };
            painter.text(
                below,
                egui::Align2::CENTER_TOP,
                words,
                small(),
                words_colour,
            );
        }
    }
}
