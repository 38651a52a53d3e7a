//! What the person says: scans of a wedge, its densities, and what the scanner is called.

use std::path::{Path, PathBuf};

use egui::{DragValue, RichText, TextEdit, Ui};

use super::ScannerAsk;
use super::work::Question;
use crate::document::{Encoding, WEDGE_UNCERTAINTY};
use crate::files::wedge::{read_references, references_from_text};
use crate::measure::calibrating::References;
use crate::window::request::{Request, Scene};
use crate::window::shell::term;

/// What messages call the densities that are written by hand.
const WRITTEN: &str = "the densities";

/// What is said of a calibration to be made. It is being typed: nothing of it is undone.
pub struct Form {
    scans: Vec<PathBuf>,
    encoding: Option<Encoding>,
    /// The exponent, while none or another encoding is said.
    gamma: f64,
    text: String,
    /// What the text was understood as.
    understood: Option<Result<References, String>>,
    /// The list's file and what stands in it; goes before the text.
    list: Option<(PathBuf, Result<References, String>)>,
    uncertainty: f64,
    /// What the scanner is called.
    pub scanner: String,
    /// How it is set.
    pub settings: String,
}

impl Default for Form {
    fn default() -> Self {
        Self {
            scans: Vec::new(),
            encoding: None,
            gamma: 2.2,
            text: String::new(),
            understood: None,
            list: None,
            uncertainty: WEDGE_UNCERTAINTY,
            scanner: String::new(),
            settings: String::new(),
        }
    }
}

impl Form {
    /// Takes scans of the wedge in.
    pub fn add_scans(&mut self, paths: impl IntoIterator<Item = PathBuf>) {
        for path in paths {
            if !self.scans.contains(&path) {
                self.scans.push(path);
            }
        }
    }

    /// Takes the densities from a file.
    pub fn take_list(&mut self, path: PathBuf) {
        let read = read_references(&path).map_err(|error| error.to_string());
        self.list = Some((path, read));
    }

    /// What a calibration can be made of, once all is said.
    pub fn question(&self) -> Option<Question> {
        let references = self.references()?.as_ref().ok()?;
        (!self.scans.is_empty()).then(|| Question {
            scans: self.scans.clone(),
            encoding: self.encoding,
            references: references.clone(),
            uncertainty: self.uncertainty,
        })
    }

    fn references(&self) -> Option<&Result<References, String>> {
        let listed = self.list.as_ref().map(|(_, read)| read);
        listed.or(self.understood.as_ref())
    }

    /// What is still to be said, in one sentence.
    pub fn missing(&self) -> &'static str {
        match (self.scans.is_empty(), self.references()) {
            (true, _) => "Drop one or several scans of a wedge on this bench, or choose them.",
            (false, None) => "Write the densities of the wedge's fields, or choose their list.",
            (false, Some(_)) => "The densities are not understood yet; the reason stands there.",
        }
    }

    fn write(&mut self, text: String) {
        self.text = text;
        self.understand();
    }

    fn understand(&mut self) {
        self.list = None;
        self.understood = (!self.text.trim().is_empty()).then(|| {
            references_from_text(Path::new(WRITTEN), &self.text).map_err(|error| error.to_string())
        });
    }

    /// The scans.
    pub(super) fn scans_ui(&mut self, ui: &mut Ui, scene: &Scene<'_>, asks: &mut Vec<Request>) {
        ui.heading("Scans of a wedge");
        ui.label("The wedge flat, whole and straight, nothing automatic. Two or three scans on different days are better than one.");
        let mut out = None;
        for (index, path) in self.scans.iter().enumerate() {
            let name = path.file_name().unwrap_or_default().to_string_lossy();
            ui.horizontal(|ui| {
                let button = ui.button("Take out");
                let words = format!("Take {name} out");
                button.widget_info(|| {
                    egui::WidgetInfo::labeled(egui::Role::Button, true, words.clone())
                });
                if button.clicked() {
                    out = Some(index);
                }
                ui.add(egui::Label::new(&*name).truncate())
                    .on_hover_text(path.display().to_string());
            });
        }
        if let Some(index) = out {
            self.scans.remove(index);
        }
        ui.horizontal_wrapped(|ui| {
            if ui.button("Choose scans…").clicked() {
                asks.push(Request::Scanner(ScannerAsk::ChooseScans));
            }
            let session = &scene.session.scans;
            let there = session.iter().all(|scan| self.scans.contains(&scan.path));
            if !there
                && ui
                    .button("This session's scans")
                    .on_hover_text(
                        "Takes the scans of the open session, when the wedge lies on them.",
                    )
                    .clicked()
            {
                self.add_scans(session.iter().map(|scan| scan.path.clone()));
                self.encoding = session.iter().find_map(|scan| scan.encoding);
            }
        });
        self.encoding_ui(ui);
    }

    fn encoding_ui(&mut self, ui: &mut Ui) {
        term(
            ui,
            "Code values",
            "How light became numbers. Files with a colour profile say it; for others say what the scanning software was set to.",
        );
        ui.horizontal_wrapped(|ui| {
            let said = |encoding: Option<Encoding>| match encoding {
                None => "As the files say",
                Some(Encoding::Srgb) => "sRGB",
                Some(Encoding::Linear) => "Linear",
                Some(Encoding::Gamma(_)) => "Gamma",
            };
            egui::ComboBox::from_id_salt("encoding")
                .width(128.0)
                .selected_text(said(self.encoding))
                .show_ui(ui, |ui| {
                    let choices = [
                        None,
                        Some(Encoding::Srgb),
                        Some(Encoding::Linear),
                        Some(Encoding::Gamma(self.gamma)),
                    ];
                    for choice in choices {
                        let chosen = said(choice) == said(self.encoding);
                        if ui.selectable_label(chosen, said(choice)).clicked() {
                            self.encoding = choice;
                        }
                    }
                })
                .response
                .accessible_name("How the code values are encoded");
            if let Some(Encoding::Gamma(gamma)) = &mut self.encoding {
                let drag = DragValue::new(gamma)
                    .range(0.2..=5.0)
                    .speed(0.01)
                    .update_while_editing(false);
                ui.add(drag).accessible_name("Gamma of the code values");
                self.gamma = *gamma;
            }
        });
    }

    /// The wedge.
    pub(super) fn wedge_ui(&mut self, ui: &mut Ui, scene: &Scene<'_>, asks: &mut Vec<Request>) {
        ui.heading("Its densities");
        if let Some((path, _)) = &self.list {
            let name = path.file_name().unwrap_or_default().to_string_lossy();
            ui.add(egui::Label::new(format!("From {name}")).truncate())
                .on_hover_text(path.display().to_string());
        } else {
            ui.label(
                "Field by field, as its maker lists them; a table in CGATS text can be pasted too.",
            );
            let field = TextEdit::multiline(&mut self.text)
                .hint_text("0.05 0.20 0.35 0.50 …")
                .desired_rows(3)
                .desired_width(ui.available_width());
            let response = ui
                .add(field)
                .accessible_name("Densities of the calibration's wedge");
            if response.lost_focus() {
                self.understand();
            }
        }
        match self.references() {
            Some(Ok(references)) => {
                let channels = if references.channels.is_some() {
                    ", also through red, green and blue filters"
                } else {
                    ""
                };
                let count = references.visual.len();
                ui.weak(format!("{count} fields{channels}."));
            }
            Some(Err(why)) => {
                let words = format!("Not understood: {why}");
                ui.label(RichText::new(words).color(scene.theme.blocking));
            }
            None => {}
        }
        ui.horizontal_wrapped(|ui| {
            if ui
                .button("From a file…")
                .on_hover_text("A plain list of densities, or a table in CGATS text: densities, Lab, XYZ or spectra.")
                .clicked()
            {
                asks.push(Request::Scanner(ScannerAsk::ChooseList));
            }
            if self.list.is_some() && ui.button("Write them instead").clicked() {
                self.understand();
            }
            if let Some(wedge) = &scene.session.wedge
                && ui
                    .button("This session's wedge")
                    .on_hover_text("Takes the densities that the open session has for its wedge.")
                    .clicked()
            {
                let words: Vec<String> = wedge.densities.iter().map(f64::to_string).collect();
                self.uncertainty = wedge.uncertainty;
                self.write(words.join(" "));
            }
        });
        ui.horizontal(|ui| {
            let drag = DragValue::new(&mut self.uncertainty)
                .range(0.0005..=0.5)
                .speed(0.0005)
                .max_decimals(4)
                .suffix(" D")
                .update_while_editing(false);
            ui.add(drag).accessible_name("Standard uncertainty of the listed densities");
            term(
                ui,
                "how sure they are",
                "Standard uncertainty of each listed density. 0.01 D is usual for a printed list (common practice, no source).",
            );
        });
    }

    /// The scanner.
    pub(super) fn scanner_ui(&mut self, ui: &mut Ui, _: &Scene<'_>, _: &mut Vec<Request>) {
        ui.heading("The scanner");
        for (words, hint, text) in [
            ("Name", "flatbed in the shed", &mut self.scanner),
            (
                "Settings",
                "600 dpi, 16 bits, nothing automatic",
                &mut self.settings,
            ),
        ] {
            ui.label(words);
            let field = TextEdit::singleline(text)
                .hint_text(hint)
                .desired_width(ui.available_width());
            ui.add(field)
                .accessible_name(format!("{words} of the scanner"));
        }
    }
}
