//! The line below: what is being worked on, and what was last done.

use egui::{Align, Layout, Ui};

use crate::window::request::{Request, Scene};
use crate::window::shelf::{Shelf, Standing};

/// The line.
pub fn ui(
    ui: &mut Ui,
    scene: &Scene<'_>,
    shelf: &Shelf,
    said: &str,
    solving: Option<f32>,
    asks: &mut Vec<Request>,
) {
    egui::Panel::bottom("line below")
        .frame(
            egui::Frame::new()
                .fill(scene.theme.panel)
                .inner_margin(egui::Margin::symmetric(16, 4)),
        )
        .show(ui, |ui| {
            ui.spacing_mut().interact_size.y = 20.0;
            ui.horizontal(|ui| {
                let reading: Vec<f32> = scene
                    .session
                    .scans
                    .iter()
                    .filter_map(|scan| match shelf.standing(scan) {
                        Standing::Reading(share) => Some(share),
                        _ => None,
                    })
                    .collect();
                if let Some(least) = reading.iter().copied().reduce(f32::min) {
                    ui.label(format!("Reading scans, {:.0} %", 100.0 * least));
                    if ui.small_button("Call off reading").clicked() {
                        asks.push(Request::CancelReading);
                    }
                } else if solving.is_some() {
                    ui.label("Measuring…");
                } else {
                    ui.label(said);
                }
                ui.with_layout(Layout::right_to_left(Align::Center), |ui| {
                    ui.weak(spot_words(scene));
                });
            });
        });
}

/// The step under the pointer, in words.
fn spot_words(scene: &Scene<'_>) -> String {
    let Some((strip, number)) = scene.spot else {
        return String::new();
    };
    let step = scene.analysis.and_then(|analysis| {
        let steps = &analysis.strips.get(strip)?.steps;
        steps.iter().find(|step| step.step == number)
    });
    let name = if number == 0 {
        "margin".to_owned()
    } else {
        format!("step {number}")
    };
    match step {
        Some(step) => format!(
            "{}, {name}: density {:.3} ± {:.3}, {:.0} % of pixels don't count",
            scene.name(strip),
            step.density,
            step.standard_error,
            100.0 * step.rejected
        ),
        None => format!("{}, {name}", scene.name(strip)),
    }
}
