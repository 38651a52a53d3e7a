//! The bench of the scanner: making a calibration from scans of a wedge, looking at one that was
//! kept, and reading the session by it.

mod form;
mod plot;
mod said;
mod shown;
pub mod work;

use std::path::PathBuf;

use egui::{ScrollArea, Ui};

use super::request::{Request, Scene};
use super::shell::card;
use crate::document::day::Day;
use crate::measure::raster::Channel;
use form::Form;
use work::Work;

/// Width from which the form stands beside what comes of it, points.
const SIDE_BY_SIDE: f32 = 700.0;
/// Width of the form there.
const FORM: f32 = 320.0;

/// Something that this bench asks for.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum ScannerAsk {
    /// Scans of a wedge, by a dialog.
    ChooseScans,
    /// A list of densities, by a dialog.
    ChooseList,
    /// A calibration's file to look at, by a dialog.
    Open,
    /// Back to the one that is being made.
    Close,
    /// Write it, by a dialog.
    Save,
    /// Write it over the file that is there.
    Replace,
    /// Leave the file that is there.
    Leave,
    /// Draw it, by a dialog.
    Draw,
    /// Read the session by it.
    Use,
    /// Read the session without any.
    TakeOff,
}

/// What this bench remembers between frames.
#[derive(Default)]
pub struct ScannerBench {
    /// What the person says.
    pub form: Form,
    /// What is worked out in the background.
    pub work: Work,
    /// The channel on show; of one that is not there the first is shown.
    channel: Option<Channel>,
    /// A file that is there, which was chosen to be written.
    pub to_replace: Option<PathBuf>,
}

impl ScannerBench {
    /// The whole bench. `today` stands in a calibration that is made now.
    pub fn ui(&mut self, ui: &mut Ui, scene: &Scene<'_>, today: Day, asks: &mut Vec<Request>) {
        let ground = egui::Frame::new()
            .fill(scene.theme.page)
            .inner_margin(scene.room.margin());
        egui::CentralPanel::no_frame().frame(ground).show(ui, |ui| {
            let size = ui.available_size();
            if size.x < SIDE_BY_SIDE {
                ScrollArea::vertical().auto_shrink(false).show(ui, |ui| {
                    self.form_ui(ui, scene, asks);
                    self.result_ui(ui, scene, today, asks);
                });
                return;
            }
            ui.horizontal_top(|ui| {
                ui.vertical(|ui| {
                    ui.set_width(FORM);
                    let form = ScrollArea::vertical().id_salt("scanner form");
                    form.auto_shrink(false)
                        .show(ui, |ui| self.form_ui(ui, scene, asks));
                });
                ui.vertical(|ui| {
                    let result = ScrollArea::vertical().id_salt("scanner result");
                    result
                        .auto_shrink(false)
                        .show(ui, |ui| self.result_ui(ui, scene, today, asks));
                });
            });
        });
    }

    fn form_ui(&mut self, ui: &mut Ui, scene: &Scene<'_>, asks: &mut Vec<Request>) {
        for part in [Form::scans_ui, Form::wedge_ui, Form::scanner_ui] {
            card(ui, scene.theme, |ui| {
                ui.set_min_width(ui.available_width());
                part(&mut self.form, ui, scene, asks);
            });
        }
    }

    fn result_ui(&mut self, ui: &mut Ui, scene: &Scene<'_>, today: Day, asks: &mut Vec<Request>) {
        said::session_ui(ui, scene, asks);
        card(ui, scene.theme, |ui| {
            ui.set_min_width(ui.available_width());
            self.shown_ui(ui, scene, today, asks);
        });
    }
}
