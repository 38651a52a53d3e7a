//! The bench with the characteristic curves.

mod around;
pub mod beside;
pub mod chart;
mod coatings;
mod coatings_paint;
pub mod plots;

use egui::{RichText, Ui};

use super::request::{Request, Scene};
use super::shell::term;
use crate::document::report::words::plain;
use crate::measure::analysis::PairResult;
pub use coatings::CoatingsPage;
use plots::Slide;

/// Least width and height at which all plots are shown at once, points.
const SIDE_BY_SIDE: (f32, f32) = (640.0, 400.0);
/// Least height of the curves, and of each plot beside them, points.
const LEAST_PLOT: f32 = 200.0;
const LEAST_AROUND: f32 = 192.0;

/// What this bench remembers between frames.
#[derive(Default)]
pub struct CurvesBench {
    /// Which pair is on show.
    pub pair: usize,
    /// Stops that the coated strip's curve is slid by.
    pub slide: f64,
    /// All coatings against each other.
    pub coatings: CoatingsPage,
}

impl CurvesBench {
    /// Another session: begin anew.
    pub fn clear(&mut self) {
        *self = Self::default();
    }

    /// The pair on show.
    pub fn shown<'a>(&self, scene: &Scene<'a>) -> Option<&'a PairResult> {
        let pairs = &scene.analysis?.pairs;
        pairs.get(self.pair).or_else(|| pairs.first())
    }

    /// Whether all coatings are shown, and not one pair: there must be two.
    pub fn compares(&self, scene: &Scene<'_>) -> bool {
        self.coatings.open
            && scene
                .analysis
                .is_some_and(|analysis| analysis.pairs.len() > 1)
    }

    /// The whole bench.
    pub fn ui(&mut self, ui: &mut Ui, scene: &Scene<'_>, asks: &mut Vec<Request>) {
        let ground = egui::Frame::new()
            .fill(scene.theme.page)
            .inner_margin(scene.room.margin());
        egui::CentralPanel::no_frame().frame(ground).show(ui, |ui| {
            let Some(pair) = self.shown(scene) else {
                ui.heading("No curves yet");
                ui.label(super::shell::answer::what_is_missing(scene));
                return;
            };
            self.head_ui(ui, scene, pair);
            if self.compares(scene) {
                self.coatings.ui(ui, scene);
                return;
            }
            let size = ui.available_size();
            let slide = Slide { stops: self.slide };
            if size.x < SIDE_BY_SIDE.0 || size.y < SIDE_BY_SIDE.1 {
                // One below the other, to be scrolled.
                egui::ScrollArea::vertical()
                    .auto_shrink(false)
                    .show(ui, |ui| {
                        let height = size.y.max(LEAST_PLOT);
                        plots::curves_ui(ui, height, scene, pair, slide, asks);
                        around::by_tone_ui(ui, LEAST_AROUND, scene, pair);
                        around::residuals_ui(ui, LEAST_AROUND, scene, pair, asks);
                        around::budget_ui(ui, LEAST_AROUND, scene, pair);
                    });
                return;
            }
            let side = (size.x * 0.36).clamp(240.0, 720.0);
            ui.horizontal_top(|ui| {
                ui.vertical(|ui| {
                    ui.set_width(size.x - side - 16.0);
                    plots::curves_ui(ui, size.y, scene, pair, slide, asks);
                });
                ui.vertical(|ui| {
                    ui.set_width(side);
                    let each = (size.y - 16.0) / 3.0;
                    around::by_tone_ui(ui, each, scene, pair);
                    around::residuals_ui(ui, each, scene, pair, asks);
                    around::budget_ui(ui, each, scene, pair);
                });
            });
        });
    }

    fn head_ui(&mut self, ui: &mut Ui, scene: &Scene<'_>, pair: &PairResult) {
        ui.horizontal_wrapped(|ui| {
            if let Some(analysis) = scene.analysis
                && analysis.pairs.len() > 1
            {
                let all = self.coatings.open;
                if ui.selectable_label(all, "All coatings").clicked() {
                    self.coatings.open = true;
                }
                for (index, pair) in analysis.pairs.iter().enumerate() {
                    let shown = !all && self.pair == index;
                    if ui.selectable_label(shown, scene.name(pair.coupon)).clicked() {
                        self.pair = index;
                        self.coatings.open = false;
                    }
                }
                if all {
                    return;
                }
                ui.separator();
            }
            let solved = pair.answer.stops.value;
            let end = solved.map_or(6.0, |stops| (stops.abs() * 1.5).max(2.0));
            term(ui, "Slide", "Moves the coated strip's curve towards the paper's: where they lie on each other, one factor is right for that tone.");
            let slider = egui::Slider::new(&mut self.slide, -end..=end).step_by(0.01).show_value(false);
            ui.add(slider).accessible_name("Slide the coated strip's curve, in stops");
            ui.label(format!("{} stops", plain(self.slide, 2)));
            if let Some(stops) = solved
                && ui.button("Onto each other").on_hover_text("Slides by the ratio that was worked out.").clicked()
            {
                self.slide = stops;
            }
            if ui.button("Apart").on_hover_text("Both curves where they were measured.").clicked() {
                self.slide = 0.0;
            }
            if scene.stale {
                ui.label(RichText::new("being worked out anew…").color(scene.theme.weak));
            }
        });
    }
}
