//! What stands over a scan that is being read, missing or changed.

use egui::{Rect, Ui, Vec2};

use crate::window::request::{Request, Scene};
use crate::window::shelf::Standing;
use crate::window::shell;

/// It is being read, or could not be.
pub(super) fn waiting_ui(
    ui: &mut Ui,
    place: Rect,
    scan: usize,
    standing: &Standing,
    scene: &Scene<'_>,
    asks: &mut Vec<Request>,
) {
    let card = Rect::from_center_size(
        place.center(),
        Vec2::new(360.0_f32.min(place.width() - 16.0), 160.0),
    );
    ui.scope_builder(egui::UiBuilder::new().max_rect(card), |ui| {
        shell::card(ui, scene.theme, |ui| match standing {
            Standing::Reading(share) => {
                ui.label("Reading the scan");
                ui.add(egui::ProgressBar::new(*share).desired_width(ui.available_width()))
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

/// It is another file than the session was made with.
pub(super) fn changed_ui(
    ui: &mut Ui,
    place: Rect,
    scan: usize,
    scene: &Scene<'_>,
    asks: &mut Vec<Request>,
) {
    let card = Rect::from_min_size(
        place.min + Vec2::splat(16.0),
        Vec2::new(400.0_f32.min(place.width() - 32.0), 120.0),
    );
    ui.scope_builder(egui::UiBuilder::new().max_rect(card), |ui| {
        shell::card(ui, scene.theme, |ui| {
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
