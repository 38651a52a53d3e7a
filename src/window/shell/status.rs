//! The line below: what is being worked on, and what was last done.

use std::path::Path;

use egui::{Align, Layout, Ui};

use crate::window::command::Command;
use crate::window::icon;
use crate::window::layout::Room;
use crate::window::request::{Request, Scene};
use crate::window::shelf::{Shelf, Standing};

/// What goes on in the background, and what was last done.
pub struct Working<'a> {
    /// The scans.
    pub shelf: &'a Shelf,
    /// What was last done.
    pub said: &'a str,
    /// Share of the analysis that is done, while it is at work.
    pub solving: Option<f32>,
    /// The folder whose new scans are taken in.
    pub watched: Option<&'a Path>,
}

/// The line.
pub fn ui(ui: &mut Ui, scene: &Scene<'_>, working: &Working<'_>, asks: &mut Vec<Request>) {
    let margin = egui::Margin::symmetric(scene.room.margin(), 4);
    egui::Panel::bottom("line below")
        .frame(
            egui::Frame::new()
                .fill(scene.theme.panel)
                .inner_margin(margin),
        )
        .show(ui, |ui| {
            ui.spacing_mut().interact_size.y = 20.0;
            ui.horizontal(|ui| {
                if let Some(folder) = working.watched {
                    watched_ui(ui, scene, folder, asks);
                }
                let reading: Vec<f32> = scene
                    .session
                    .scans
                    .iter()
                    .filter_map(|scan| match working.shelf.standing(scan) {
                        Standing::Reading(share) => Some(share),
                        _ => None,
                    })
                    .collect();
                if let Some(least) = reading.iter().copied().reduce(f32::min) {
                    ui.label(format!("Reading scans, {:.0} %", 100.0 * least));
                    if ui.small_button("Call off reading").clicked() {
                        asks.push(Request::CancelReading);
                    }
                } else if working.solving.is_some() {
                    ui.label("Measuring…");
                } else if scene.spot.is_none() || scene.room > Room::Narrow {
                    ui.add(egui::Label::new(working.said).truncate());
                }
                ui.with_layout(Layout::right_to_left(Align::Center), |ui| {
                    let words = egui::RichText::new(spot_words(scene)).weak();
                    ui.add(egui::Label::new(words).truncate());
                });
            });
        });
}

/// That a folder is watched, and an end to it.
fn watched_ui(ui: &mut Ui, scene: &Scene<'_>, folder: &Path, asks: &mut Vec<Request>) {
    let (rect, _) = ui.allocate_exact_size(egui::Vec2::splat(icon::SIDE), egui::Sense::hover());
    icon::paint(ui.painter(), rect, icon::Icon::Watch, scene.theme.text);
    let name = folder.file_name().unwrap_or(folder.as_os_str());
    ui.label(format!("Watching {}", name.to_string_lossy()))
        .on_hover_text(format!(
            "Scans that come into {} are taken in.",
            folder.display()
        ));
    if ui
        .small_button(Command::StopWatching.label())
        .on_hover_text(Command::StopWatching.explanation())
        .clicked()
    {
        asks.push(Request::Command(Command::StopWatching));
    }
    ui.separator();
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
