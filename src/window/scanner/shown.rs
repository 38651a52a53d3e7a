//! What comes of it: nothing yet, work under way, why not, or the calibration with its figures.

use std::sync::Arc;

use egui::{Button, ProgressBar, RichText, Ui};

use super::work::{Kept, Known, Standing};
use super::{ScannerAsk, ScannerBench, plot, said};
use crate::document::day::Day;
use crate::measure::scale::calibration::{Calibration, channel_word};
use crate::window::request::{Request, Scene};
use crate::window::theme::{figure, strong};

impl ScannerBench {
    /// The calibration on show, with the names that the person gave it.
    pub fn on_show(&self, today: Day) -> Option<Known> {
        if let Some(kept) = &self.work.opened {
            return Some(kept.known.clone());
        }
        match self.work.standing() {
            Standing::Made(known) => Some(self.named(known, today)),
            _ => None,
        }
    }

    /// The file that the calibration on show stands in as it is.
    pub fn file_of(&self, known: &Known) -> Option<&Kept> {
        let opened = self.work.opened.as_ref();
        opened.or_else(|| self.work.kept(&known.calibration))
    }

    fn named(&self, known: &Known, today: Day) -> Known {
        Known {
            calibration: Arc::new(Calibration {
                scanner: self.form.scanner.trim().to_owned(),
                settings: self.form.settings.trim().to_owned(),
                made: today.to_string(),
                ..Calibration::clone(&known.calibration)
            }),
            judged: Arc::clone(&known.judged),
        }
    }

    pub(super) fn shown_ui(
        &mut self,
        ui: &mut Ui,
        scene: &Scene<'_>,
        today: Day,
        asks: &mut Vec<Request>,
    ) {
        if let Some(known) = self.on_show(today) {
            self.known_ui(ui, scene, &known, asks);
            return;
        }
        let mut call_off = false;
        let mut again = false;
        match self.work.standing() {
            Standing::Nothing | Standing::Made(_) => {
                ui.heading("No calibration yet");
                ui.label(self.form.missing());
                ui.label("What comes of it stands here before anything is written: the curve, its errors, and how far it is good.");
            }
            Standing::Working(share, stage) => {
                ui.heading("Being made");
                ui.label(stage_words(&stage));
                let bar = ProgressBar::new(share).desired_width(ui.available_width().min(360.0));
                ui.add(bar).widget_info(|| {
                    let words = format!("Calibration, {:.0} % done", 100.0 * share);
                    egui::WidgetInfo::labeled(egui::Role::ProgressIndicator, true, words)
                });
                call_off = ui.button("Call off").clicked();
            }
            Standing::CalledOff => {
                ui.heading("Called off");
                ui.label("Nothing was made and nothing written.");
                again = ui.button("Make it again").clicked();
            }
            Standing::Failed(why) => {
                ui.label(
                    RichText::new("A scan can't be read")
                        .font(figure())
                        .color(scene.theme.blocking),
                );
                ui.label(why);
            }
            Standing::Crashed => {
                ui.heading("That broke down");
                ui.label("Take the last scan out again; please report this.");
            }
        }
        if call_off {
            self.work.call_off();
        }
        if again {
            self.work.again();
        }
        ui.add_space(8.0);
        open_ui(ui, asks);
    }

    fn known_ui(&mut self, ui: &mut Ui, scene: &Scene<'_>, known: &Known, asks: &mut Vec<Request>) {
        let Known {
            calibration,
            judged,
        } = known;
        let answered = judged.answered();
        self.title_ui(ui, scene, calibration, asks);
        if !answered {
            let words = RichText::new("Not to be used").font(figure());
            ui.label(words.color(scene.theme.blocking));
        }
        if !answered {
            said::findings_ui(ui, scene, calibration, &judged.findings, asks);
        }
        let channel = judged
            .fits
            .iter()
            .find(|(channel, _)| Some(*channel) == self.channel)
            .or(judged.fits.first());
        match channel {
            Some((channel, Ok(fit))) => {
                if answered {
                    said::figures_ui(ui, calibration, *channel, fit);
                    self.deeds_ui(ui, scene, known, asks);
                    said::findings_ui(ui, scene, calibration, &judged.findings, asks);
                }
                self.channels_ui(ui, known);
                plot::ui(ui, scene.theme, *channel, fit);
                said::errors_ui(ui, fit);
                ui.add_space(4.0);
                said::fields_ui(ui, *channel, fit);
            }
            Some((channel, Err(gap))) => {
                self.channels_ui(ui, known);
                ui.label(format!("No curve in {}: {gap}.", channel_word(*channel)));
            }
            None => {}
        }
        if !answered {
            ui.add_space(8.0);
            open_ui(ui, asks);
        }
    }

    fn title_ui(
        &self,
        ui: &mut Ui,
        scene: &Scene<'_>,
        calibration: &Calibration,
        asks: &mut Vec<Request>,
    ) {
        let name = match calibration.scanner.as_str() {
            "" => "a scanner without a name",
            name => name,
        };
        ui.heading(format!("Calibration of {name}, made {}", calibration.made));
        if !calibration.settings.is_empty() {
            ui.label(&calibration.settings);
        }
        let scans = calibration.scans.iter().map(|scan| {
            let dots = scan
                .pixels_per_mm
                .map_or_else(String::new, |per_mm| format!(", {:.0} dpi", per_mm * 25.4));
            format!(
                "{} ({} bits{dots}; {})",
                scan.path, scan.bits, scan.encoding
            )
        });
        let words = scans.collect::<Vec<_>>().join("; ");
        ui.label(RichText::new(words).color(scene.theme.weak));
        if let Some(kept) = &self.work.opened {
            ui.horizontal_wrapped(|ui| {
                let file = kept.file.file_name().unwrap_or_default().to_string_lossy();
                ui.label(strong(format!("From {file}")))
                    .on_hover_text(kept.file.display().to_string());
                if ui.button("Put it away").clicked() {
                    asks.push(Request::Scanner(ScannerAsk::Close));
                }
            });
        }
    }

    /// What can be done with it.
    fn deeds_ui(&self, ui: &mut Ui, scene: &Scene<'_>, known: &Known, asks: &mut Vec<Request>) {
        let mut ask = |what| asks.push(Request::Scanner(what));
        if let Some(file) = &self.to_replace {
            let name = file.file_name().unwrap_or_default().to_string_lossy();
            ui.label(strong(format!(
                "{name} is there already. Replaced, it is kept as {name}.before."
            )));
            ui.horizontal_wrapped(|ui| {
                if ui.button("Replace it").clicked() {
                    ask(ScannerAsk::Replace);
                }
                if ui.button("Leave it").clicked() {
                    ask(ScannerAsk::Leave);
                }
            });
            return;
        }
        let named = !known.calibration.scanner.is_empty();
        ui.horizontal_wrapped(|ui| {
            if self.work.opened.is_none() {
                let ready = named && !self.work.is_busy();
                let save = ui.add_enabled(ready, Button::new("Save the calibration…"));
                let save = save
                    .on_hover_text("Writes it into a file, for later sessions and the command line.")
                    .on_disabled_hover_text("Give the scanner a name first: it stands in the file.");
                if save.clicked() {
                    ask(ScannerAsk::Save);
                }
            }
            let used = scene.session.calibration.as_ref();
            let is_used = used.is_some_and(|used| *used.calibration == *known.calibration);
            if is_used {
                ui.label("In use for this session");
            } else if !scene.session.scans.is_empty() {
                let take = ui.add_enabled(named, Button::new("Use for this session"));
                let take = take
                    .on_hover_text("Reads the session's scans that have no wedge by it; a wedge tells whether it still holds.")
                    .on_disabled_hover_text("Give the scanner a name first.");
                if take.clicked() {
                    ask(ScannerAsk::Use);
                }
            }
            if ui
                .button("Picture of the curve (SVG)…")
                .on_hover_text("Writes the curve and its errors as a drawing.")
                .clicked()
            {
                ask(ScannerAsk::Draw);
            }
            if ui.button("Open another…").clicked() {
                ask(ScannerAsk::Open);
            }
        });
        if !named {
            ui.weak("Give the scanner a name, and it can be saved and used.");
        } else if self.file_of(known).is_none() {
            ui.weak("Not in a file yet.");
        }
    }

    fn channels_ui(&mut self, ui: &mut Ui, known: &Known) {
        let fits = &known.judged.fits;
        if fits.len() < 2 {
            return;
        }
        ui.horizontal_wrapped(|ui| {
            for (place, (channel, _)) in fits.iter().enumerate() {
                let there = fits.iter().any(|(other, _)| Some(*other) == self.channel);
                let shown = if there {
                    Some(*channel) == self.channel
                } else {
                    place == 0
                };
                let name = channel_word(*channel);
                if ui.selectable_label(shown, name).clicked() {
                    self.channel = Some(*channel);
                }
            }
        });
    }
}

fn open_ui(ui: &mut Ui, asks: &mut Vec<Request>) {
    if ui
        .button("Open a calibration…")
        .on_hover_text("Looks at a calibration that was kept.")
        .clicked()
    {
        asks.push(Request::Scanner(ScannerAsk::Open));
    }
}

/// A stage of the work as a sentence; files by their names alone.
fn stage_words(stage: &str) -> String {
    let name = stage
        .strip_prefix("reading ")
        .and_then(|path| std::path::Path::new(path).file_name());
    match name {
        Some(name) => format!("Reading {}…", name.to_string_lossy()),
        None => "Measuring the wedge…".to_owned(),
    }
}
