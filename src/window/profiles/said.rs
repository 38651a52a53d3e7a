//! What is said of a material, field by field, and its sessions.

use egui::{Button, Grid, RichText, TextEdit, Ui};

use super::{ProfileAsk, ProfilesBench};
use crate::document::profile::{Evidence, Field, Profile, Put, SessionField};
use crate::document::report::words::{CONTRAST, SPEED};
use crate::window::request::{Request, Scene};
use crate::window::theme::strong;

/// Something that is said of a profile.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
enum Said {
    Name,
    Particular(Field),
    Session(usize, SessionField),
}

impl Said {
    fn label(self) -> String {
        match self {
            Self::Name => "Name".into(),
            Self::Particular(field) => field.label().into(),
            Self::Session(_, field) => field.label().into(),
        }
    }

    /// What whoever can't see the row is told.
    fn full_label(self) -> String {
        match self {
            Self::Session(number, field) => format!("{} of session {}", field.label(), number + 1),
            other => format!("{} of the profile", other.label()),
        }
    }

    fn stands(self, profile: &Profile) -> String {
        match self {
            Self::Name => profile.name.clone(),
            Self::Particular(field) => profile.particulars.get(field),
            Self::Session(number, field) => profile
                .evidence
                .get(number)
                .map(|one| one.origin.get(field))
                .unwrap_or_default(),
        }
    }

    fn taken(self, profile: &Profile, text: &str) -> Result<Profile, String> {
        let mut after = profile.clone();
        match self {
            Self::Name => {
                text.trim().clone_into(&mut after.name);
                after.check().map_err(|error| error.to_string())?;
            }
            Self::Particular(field) => after.particulars.set(field, text)?,
            Self::Session(number, field) => return profile.with_said(number, field, text),
        }
        Ok(after)
    }
}

/// What is being typed.
#[derive(Debug, Clone, PartialEq)]
pub(super) struct Draft {
    said: Said,
    text: String,
    error: Option<String>,
}

fn put(file: &str, before: &Profile, after: Profile, words: String) -> Request {
    let put = Put {
        before: Some(before.clone()),
        after: Some(after),
    };
    Request::Profile(ProfileAsk::Put(Some(file.to_owned()), Box::new(put), words))
}

impl ProfilesBench {
    pub(super) fn material_ui(
        &mut self,
        ui: &mut Ui,
        scene: &Scene<'_>,
        file: &str,
        profile: &Profile,
        asks: &mut Vec<Request>,
    ) {
        self.deeds_ui(ui, scene, file, profile, asks);
        ui.add_space(4.0);
        Grid::new(("particulars", file))
            .num_columns(2)
            .spacing([16.0, 4.0])
            .show(ui, |ui| {
                self.row_ui(ui, scene, file, profile, Said::Name, asks);
                for field in Field::ALL {
                    self.row_ui(ui, scene, file, profile, Said::Particular(field), asks);
                }
            });
        ui.add_space(8.0);
        ui.heading("Sessions");
        if profile.evidence.is_empty() {
            ui.label("None yet. Solve a session and keep its answer here.");
        }
        for (number, evidence) in profile.evidence.iter().enumerate() {
            ui.push_id(number, |ui| {
                session_ui(ui, scene, file, profile, number, evidence, asks);
                egui::CollapsingHeader::new("Day, bottle, remelts, note")
                    .id_salt("said")
                    .show(ui, |ui| {
                        Grid::new("session").num_columns(2).show(ui, |ui| {
                            for field in SessionField::ALL {
                                let said = Said::Session(number, field);
                                self.row_ui(ui, scene, file, profile, said, asks);
                            }
                        });
                    });
            });
        }
    }

    fn deeds_ui(
        &mut self,
        ui: &mut Ui,
        scene: &Scene<'_>,
        file: &str,
        profile: &Profile,
        asks: &mut Vec<Request>,
    ) {
        ui.horizontal_wrapped(|ui| {
            let solved = scene.analysis.map_or(&[][..], |analysis| &analysis.pairs);
            for (pair, found) in solved.iter().enumerate() {
                if found.answer.stops.value.is_none() {
                    continue;
                }
                let words = format!("Keep {} here", scene.name(found.coupon));
                if ui
                    .add_enabled(!scene.stale, Button::new(words))
                    .on_hover_text("Keeps this session's readings and answer in this profile.")
                    .clicked()
                {
                    let ask = ProfileAsk::Keep(pair, Some(file.to_owned()));
                    asks.push(Request::Profile(ask));
                }
            }
            if ui
                .button("Copy without sessions")
                .on_hover_text(
                    "Makes a profile with the same particulars, for another batch or coat.",
                )
                .clicked()
            {
                let name = format!("{} (copy)", profile.name);
                let put = Put {
                    before: None,
                    after: Some(profile.like(&name)),
                };
                let words = format!("copy {}", profile.name);
                let ask = ProfileAsk::Put(None, Box::new(put), words);
                asks.push(Request::Profile(ask));
            }
            let (words, explanation, done) = if profile.retired {
                ("Take back", "Lists it again.", "take back")
            } else {
                (
                    "Put aside",
                    "Keeps it, but lists it no longer.",
                    "put aside",
                )
            };
            if ui.button(words).on_hover_text(explanation).clicked() {
                let after = Profile {
                    retired: !profile.retired,
                    ..profile.clone()
                };
                asks.push(put(
                    file,
                    profile,
                    after,
                    format!("{done} {}", profile.name),
                ));
            }
            if ui
                .button("Write to a file…")
                .on_hover_text("Writes the profile with all its readings to a file elsewhere.")
                .clicked()
            {
                asks.push(Request::Profile(ProfileAsk::Export(file.to_owned())));
            }
        });
    }

    /// One field: a text that is taken over when it is left.
    fn row_ui(
        &mut self,
        ui: &mut Ui,
        scene: &Scene<'_>,
        file: &str,
        profile: &Profile,
        said: Said,
        asks: &mut Vec<Request>,
    ) {
        let stands = said.stands(profile);
        let own = self.draft.as_ref().filter(|draft| draft.said == said);
        let error = own.and_then(|draft| draft.error.clone());
        let mut text = own.map_or_else(|| stands.clone(), |draft| draft.text.clone());
        ui.label(said.label());
        let width = (ui.available_width() - 8.0).clamp(96.0, 420.0);
        let edit = if said == Said::Particular(Field::Notes) {
            TextEdit::multiline(&mut text).desired_rows(2)
        } else {
            TextEdit::singleline(&mut text)
        };
        let row = ui.vertical(|ui| {
            let response = ui
                .add(edit.desired_width(width))
                .accessible_name(said.full_label());
            if let Some(error) = error {
                ui.label(RichText::new(error).color(scene.theme.caution));
            }
            response
        });
        let response = row.inner;
        ui.end_row();
        if response.changed() {
            self.draft = Some(Draft {
                said,
                text: text.clone(),
                error: None,
            });
        }
        if !response.lost_focus() {
            return;
        }
        if text.trim() == stands {
            self.draft = None;
            return;
        }
        match said.taken(profile, &text) {
            Ok(after) => {
                self.draft = None;
                let words = format!("say {} of {}", said.label().to_lowercase(), profile.name);
                asks.push(put(file, profile, after, words));
            }
            Err(error) => {
                self.draft = Some(Draft {
                    said,
                    text,
                    error: Some(error),
                });
            }
        }
    }
}

fn session_ui(
    ui: &mut Ui,
    scene: &Scene<'_>,
    file: &str,
    profile: &Profile,
    number: usize,
    evidence: &Evidence,
    asks: &mut Vec<Request>,
) {
    ui.horizontal_wrapped(|ui| {
        ui.label(strong(format!("{}: {}", number + 1, evidence.title())));
        let button = ui.small_button("Take out").on_hover_text(
            "Takes this session out of the profile; its readings go with it, and undo brings them back.",
        );
        let name = format!("Take out session {}", number + 1);
        button.widget_info(|| egui::WidgetInfo::labeled(egui::Role::Button, true, &name));
        if button.clicked() {
            let mut after = profile.clone();
            after.evidence.remove(number);
            let words = format!("take session {} out of {}", number + 1, profile.name);
            asks.push(put(file, profile, after, words));
        }
    });
    let answer = &evidence.answer;
    let mut facts = Vec::new();
    if let (Some(stops), Some((lower, upper))) = (answer.stops.value, answer.stops.bounds()) {
        facts.push(format!(
            "{} ({})",
            SPEED.said(stops),
            SPEED.span(lower, upper)
        ));
    }
    if let Some(contrast) = answer.contrast_difference.value {
        facts.push(CONTRAST.said(contrast));
    }
    if let Some(days) = profile.days_open(evidence) {
        facts.push(format!("{days} days after the bottle was opened"));
    }
    match evidence.origin.remelts {
        Some(1) => facts.push("melted again once".into()),
        Some(count) => facts.push(format!("melted again {count} times")),
        None => {}
    }
    ui.label(RichText::new(facts.join("; ")).color(scene.theme.weak));
    if !evidence.origin.note.is_empty() {
        ui.label(RichText::new(&evidence.origin.note).color(scene.theme.weak));
    }
}
