//! The bench where a person says how each strip was exposed, and sees what was understood.

use std::collections::BTreeMap;

use egui::{RichText, ScrollArea, TextEdit, Ui};

use super::request::{Request, Scene};
use super::scan::calling::as_wedge;
use super::shelf::Standing;
use super::shell::{card, term};
use crate::document::report::repeat_error;
use crate::document::report::words::plain;
use crate::document::{Edit, Strip, Wedge};
use crate::files::wedge::listed;
use crate::measure::exposure::{Exposure, write};
use crate::measure::geometry::StripShape;
use crate::measure::raster::Channel;
use crate::measure::units::Stops;

/// What densities are read from: the choice, its name, and what it is for.
const WEIGHINGS: [(Channel, &str, &str); 5] = [
    (
        Channel::Luminance,
        "luminance",
        "As the eye weighs red, green and blue in the light that the file's colours are for.",
    ),
    (
        Channel::Visual,
        "visual",
        "As a visual densitometer weighs them (ISO 5-3, incandescent light): for brown or toned \
         images and coloured grounds. On neutral grey the same as luminance.",
    ),
    (Channel::Red, "red", "The red channel alone."),
    (Channel::Green, "green", "The green channel alone."),
    (Channel::Blue, "blue", "The blue channel alone."),
];

/// Ways to say it, to begin from.
const EXAMPLES: [&str; 4] = [
    "building up 8 x 2s at f/16",
    "thirds from 3s, 7 steps at f/11",
    "2s 4s 8s 16s 32s at f/8",
    "halves from 4s, 9 steps at f/16",
];

/// A sentence being written, and the one it began from.
#[derive(Default, Clone)]
struct Draft {
    text: String,
    from: String,
    error: Option<String>,
}

/// What this bench remembers between frames.
#[derive(Default)]
pub struct ExposureBench {
    /// By strip.
    drafts: BTreeMap<usize, Draft>,
    wedge: Draft,
    notes: Draft,
    /// The outline that the wedge will have once its densities are written, and what is edited
    /// along.
    expected: Option<(StripShape, Vec<Edit>)>,
}

impl ExposureBench {
    /// Another session: forget what was being written.
    pub fn clear(&mut self) {
        *self = Self::default();
    }

    /// Waits for the densities of a wedge that a person pointed at.
    pub fn expect_wedge(&mut self, shape: StripShape, along: Vec<Edit>) {
        self.expected = Some((shape, along));
    }

    /// The whole bench; `empty` is how the scan of the empty glass stands, if there is one.
    pub fn ui(
        &mut self,
        ui: &mut Ui,
        scene: &Scene<'_>,
        empty: Option<&Standing>,
        asks: &mut Vec<Request>,
    ) {
        let ground = egui::Frame::new()
            .fill(scene.theme.page)
            .inner_margin(scene.room.margin());
        egui::CentralPanel::no_frame().frame(ground).show(ui, |ui| {
            ScrollArea::vertical().auto_shrink(false).show(ui, |ui| {
                ui.heading("How each strip was exposed");
                ui.label("Write it the way you would say it: times and the aperture, or steps in parts of a stop.");
                if scene.session.strips.is_empty() {
                    ui.label("The session has no strips yet: take them in at Scans, on the right.");
                }
                for (index, strip) in scene.session.strips.iter().enumerate() {
                    ui.push_id(index, |ui| {
                        card(ui, scene.theme, |ui| self.strip_ui(ui, scene, index, strip, asks));
                    });
                }
                card(ui, scene.theme, |ui| self.wedge_ui(ui, scene, asks));
                card(ui, scene.theme, |ui| glass_ui(ui, scene, empty, asks));
                card(ui, scene.theme, |ui| weighing_ui(ui, scene, asks));
                card(ui, scene.theme, |ui| self.notes_ui(ui, scene, asks));
            });
        });
    }

    fn strip_ui(
        &mut self,
        ui: &mut Ui,
        scene: &Scene<'_>,
        index: usize,
        strip: &Strip,
        asks: &mut Vec<Request>,
    ) {
        ui.set_min_width(ui.available_width());
        let first = strip
            .same_as
            .and_then(|first| scene.session.strips.get(first));
        if let Some(first) = first {
            again_ui(ui, scene, index, (strip, first), asks);
            return;
        }
        let written = strip
            .exposure
            .as_ref()
            .map(write::sentence)
            .unwrap_or_default();
        // What was said of another strip is the likeliest.
        let suggested = || {
            scene
                .session
                .strips
                .iter()
                .rev()
                .find_map(|strip| strip.exposure.as_ref())
        };
        let draft = self.drafts.entry(index).or_insert_with(|| Draft {
            text: suggested().map(write::sentence).unwrap_or_default(),
            ..Draft::default()
        });
        if draft.from != written {
            *draft = Draft {
                text: written.clone(),
                from: written.clone(),
                error: None,
            };
        }
        ui.horizontal(|ui| {
            ui.heading(&strip.name);
            if scene.session.strips.len() > 1 {
                copy_menu(ui, scene, index, asks);
                same_menu(ui, scene, index, asks);
            }
            ui.menu_button("Begin from", |ui| {
                for example in EXAMPLES {
                    if ui.button(example).clicked() {
                        draft.text = example.to_owned();
                        ui.close();
                    }
                }
            });
        });
        let field = TextEdit::singleline(&mut draft.text)
            .hint_text("building up 8 x 2s at f/16")
            .desired_width(ui.available_width().min(560.0));
        let response = ui
            .add(field)
            .accessible_name(format!("Exposures of {}", strip.name));
        if response.lost_focus() && draft.text.trim() != draft.from {
            match Exposure::read(&draft.text) {
                Ok(exposure) => {
                    draft.error = None;
                    asks.push(Request::edit(Edit::SetExposure {
                        strip: index,
                        exposure: Some(exposure),
                    }));
                }
                Err(_) if draft.text.trim().is_empty() => {
                    asks.push(Request::edit(Edit::SetExposure {
                        strip: index,
                        exposure: None,
                    }));
                }
                Err(error) => draft.error = Some(error.to_string()),
            }
        }
        if let Some(error) = &draft.error {
            ui.label(RichText::new(format!("Not understood: {error}")).color(scene.theme.blocking));
        } else if draft.text.trim() != draft.from {
            ui.weak("Enter takes it.");
        }
        match &strip.exposure {
            Some(exposure) => table_ui(ui, scene, index, exposure),
            None => {
                ui.weak("Not said yet: the strip is measured, but says nothing about speed.");
            }
        }
    }

    fn wedge_ui(&mut self, ui: &mut Ui, scene: &Scene<'_>, asks: &mut Vec<Request>) {
        ui.set_min_width(ui.available_width());
        let wedge = scene.session.wedge.as_ref();
        let written = wedge
            .map(|wedge| densities(&wedge.densities))
            .unwrap_or_default();
        let draft = &mut self.wedge;
        if draft.from != written {
            *draft = Draft {
                text: written.clone(),
                from: written,
                error: None,
            };
        }
        ui.heading("The wedge").on_hover_text("A row of fields of known density, scanned along: it tells what the scanner's tones mean in density.");
        ui.label("Its densities, field by field, as its maker lists them. Without a wedge densities are relative to white, and less sure.");
        let field = TextEdit::singleline(&mut draft.text)
            .hint_text("0.05 0.20 0.35 0.50 …")
            .desired_width(ui.available_width().min(560.0));
        let response = ui.add(field).accessible_name("Densities of the wedge");
        if response.lost_focus() && draft.text.trim() != draft.from {
            if draft.text.trim().is_empty() {
                asks.push(Request::edit(Edit::SetWedge(None)));
            } else {
                match listed(&draft.text) {
                    Ok(densities) => {
                        draft.error = None;
                        let kept = wedge.cloned().map(|wedge| Wedge {
                            file: None,
                            densities: densities.clone(),
                            ..wedge
                        });
                        let mut wedge = kept.unwrap_or_else(|| Wedge::new(densities));
                        let expected = self.expected.take();
                        let (shape, mut edits) = expected.unzip();
                        if let Some(shape) = shape {
                            wedge.shape = Some(as_wedge(&shape, wedge.densities.len()));
                        }
                        let edits = edits.get_or_insert_default();
                        edits.push(Edit::SetWedge(Some(wedge)));
                        asks.push(Request::Edit(std::mem::take(edits)));
                    }
                    Err((_, what)) => draft.error = Some(what),
                }
            }
        }
        if let Some(error) = &draft.error {
            ui.label(RichText::new(format!("Not understood: {error}")).color(scene.theme.blocking));
        }
    }

    fn notes_ui(&mut self, ui: &mut Ui, scene: &Scene<'_>, asks: &mut Vec<Request>) {
        ui.set_min_width(ui.available_width());
        let draft = &mut self.notes;
        if draft.from != scene.session.notes {
            *draft = Draft {
                text: scene.session.notes.clone(),
                from: scene.session.notes.clone(),
                error: None,
            };
        }
        ui.heading("Notes");
        let field = TextEdit::multiline(&mut draft.text)
            .desired_rows(2)
            .desired_width(ui.available_width().min(560.0));
        let response = ui.add(field).accessible_name("Notes");
        if response.lost_focus() && draft.text != draft.from {
            asks.push(Request::edit(Edit::SetNotes(draft.text.clone())));
        }
    }
}

/// The scan of the empty glass.
fn glass_ui(ui: &mut Ui, scene: &Scene<'_>, standing: Option<&Standing>, asks: &mut Vec<Request>) {
    ui.set_min_width(ui.available_width());
    ui.heading("The empty glass");
    ui.label("A scan with the lid closed and nothing on the glass, set and cropped like the others, tells how the lamp lights it. Without one the lid around the strips does.");
    let empty = scene.session.empty.as_ref();
    if let Some(empty) = empty {
        let name = empty.path.file_name().unwrap_or(empty.path.as_os_str());
        ui.label(name.to_string_lossy());
        let trouble = match standing {
            Some(Standing::Missing(why)) => Some(why.as_str()),
            Some(Standing::Changed) => Some("it is not the file that the session was made with"),
            _ => None,
        };
        if let Some(why) = trouble {
            let trouble = format!(
                "It can't be used: {why}. Nothing is measured until it is chosen anew or done \
                 without."
            );
            ui.label(RichText::new(trouble).color(scene.theme.blocking));
        }
    }
    ui.horizontal(|ui| {
        let choose = if empty.is_some() {
            "Choose another…"
        } else {
            "Choose its scan…"
        };
        let choose = ui
            .button(choose)
            .accessible_name("Choose the scan of the empty glass");
        if choose.clicked() {
            asks.push(Request::ChooseEmpty);
        }
        if empty.is_some() {
            let off = ui
                .button("Do without")
                .accessible_name("Do without the empty scan");
            if off.clicked() {
                asks.push(Request::edit(Edit::SetEmpty(None)));
            }
        }
    });
}

/// The choice of what densities are read from.
fn weighing_ui(ui: &mut Ui, scene: &Scene<'_>, asks: &mut Vec<Request>) {
    ui.set_min_width(ui.available_width());
    ui.heading("What densities are read from");
    ui.label("Matters on colour scans of coloured images only. A grey scan has one channel.");
    let chosen = scene.session.settings.channel;
    ui.horizontal_wrapped(|ui| {
        for (channel, name, explained) in WEIGHINGS {
            let radio = ui.radio(chosen == channel, name).on_hover_text(explained);
            if radio.clicked() && chosen != channel {
                asks.push(Request::edit(Edit::SetChannel(channel)));
            }
        }
    });
}

fn densities(densities: &[f64]) -> String {
    let words: Vec<String> = densities.iter().map(f64::to_string).collect();
    words.join(" ")
}

fn copy_menu(ui: &mut Ui, scene: &Scene<'_>, index: usize, asks: &mut Vec<Request>) {
    ui.menu_button("Exposed like", |ui| {
        for (other, strip) in scene.session.strips.iter().enumerate() {
            let Some(exposure) = strip.exposure.as_ref().filter(|_| other != index) else {
                continue;
            };
            if ui.button(&strip.name).clicked() {
                asks.push(Request::edit(Edit::SetExposure {
                    strip: index,
                    exposure: Some(exposure.clone()),
                }));
                ui.close();
            }
        }
    })
    .response
    .on_hover_text("Takes over how another strip was exposed.");
}

/// Says that a strip is another one of the list, scanned once more.
fn same_menu(ui: &mut Ui, scene: &Scene<'_>, index: usize, asks: &mut Vec<Request>) {
    // One scan shows a strip once; and a strip that others repeat can't be a repeat itself.
    if scene.session.scans.len() < 2 || scene.session.is_repeated(index) {
        return;
    }
    let own = &scene.session.strips[index].name;
    ui.menu_button("Same strip as", |ui| {
        for (other, strip) in scene.session.strips.iter().enumerate() {
            if other == index || strip.same_as.is_some() {
                continue;
            }
            if ui.button(&strip.name).clicked() {
                asks.push(Request::edit(Edit::SetSameAs {
                    strip: index,
                    first: Some(other),
                }));
                ui.close();
            }
        }
    })
    .response
    .accessible_name(format!("Same strip as, {own}"))
    .on_hover_text(
        "This is one piece with another entry of the list, scanned once more: the two bring their \
         scans to one level, and count as one strip.",
    );
}

/// The card of a strip that is another one, scanned once more.
fn again_ui(
    ui: &mut Ui,
    scene: &Scene<'_>,
    index: usize,
    (strip, first): (&Strip, &Strip),
    asks: &mut Vec<Request>,
) {
    ui.heading(&strip.name);
    ui.label(format!(
        "The same strip as {}, scanned once more: how it was exposed is said there.",
        first.name
    ));
    let repeats = scene.analysis.map_or(&[][..], |analysis| &analysis.repeats);
    if !repeats.is_empty() {
        term(
            ui,
            &repeat_error(repeats),
            "How differently the scanner reads one field from scan to scan once the scans' levels are \
             brought together, by density. It is among the sources of the answer's uncertainty.",
        );
    }
    let apart = ui
        .button("A strip of its own")
        .accessible_name(format!("{} is a strip of its own", strip.name));
    if apart.clicked() {
        asks.push(Request::edit(Edit::SetSameAs {
            strip: index,
            first: None,
        }));
    }
}

fn table_ui(ui: &mut Ui, scene: &Scene<'_>, index: usize, exposure: &Exposure) {
    let lag = scene.session.settings.lag.0;
    let exposures = exposure.exposures();
    let log_exposures = exposures.log_exposures(lag);
    let first = log_exposures.first().copied().unwrap_or_default();
    let doses = exposure.series.doses();
    ScrollArea::horizontal().id_salt(index).show(ui, |ui| {
        egui::Grid::new(("table", index))
        .num_columns(doses.len() + 1)
        .min_row_height(20.0)
            .spacing([12.0, 4.0])
        .show(ui, |ui| {
            ui.label("step");
            for step in 1..=doses.len() {
                ui.label(step.to_string());
            }
            ui.end_row();
            term(
                ui,
                "time",
                "Seconds of light that count: all bursts of the step, less the lamp's dead time.",
            );
            for dose in &doses {
                let time = (dose.total.0 - lag * f64::from(dose.bursts)).max(0.0);
                ui.label(format!(
                    "{} s",
                    plain(time, if time < 10.0 { 2 } else { 1 })
                ));
            }
            ui.end_row();
            term(
                ui,
                "stops",
                "Exposure beyond the first step; one stop is twice the light.",
            );
            for &x in &log_exposures {
                ui.label(plain(Stops::from_decades(x - first).0, 2));
            }
            ui.end_row();
            term(
                ui,
                "log exposure",
                "log10 of the exposure in the unit that all strips of the session share.",
            );
            for &x in &log_exposures {
                ui.label(plain(x, 3));
            }
            ui.end_row();
        });
    });
}
