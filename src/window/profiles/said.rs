//! What is said of a material, field by field, and its sessions.

use egui::{Button, Grid, RichText, TextEdit, Ui};

use super::{ProfileAsk, ProfilesBench};
use crate::document::profile::{Evidence, Field, Profile, Put};
use crate::document::report::words::{CONTRAST, SPEED};
use crate::window::request::{Request, Scene};
use crate::window::theme::strong;

/// What is being typed; `None` stands for the name.
#[derive(Debug, Clone, PartialEq)]
pub(super) struct Draft {
    field: Option<Field>,
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
                self.row_ui(ui, scene, file, profile, None, asks);
                for field in Field::ALL {
                    self.row_ui(ui, scene, file, profile, Some(field), asks);
                }
            });
        ui.add_space(8.0);
        ui.heading("Sessions");
        if profile.evidence.is_empty() {
            ui.label("None yet. Solve a session and keep its answer here.");
        }
        for (number, evidence) in profile.evidence.iter().enumerate() {
            ui.push_id(number, |ui| {
                session_ui(ui, scene, file, profile, number, evidence, asks)
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
        field: Option<Field>,
        asks: &mut Vec<Request>,
    ) {
        let label = field.map_or("Name", Field::label);
        let stands = match field {
            None => profile.name.clone(),
            Some(field) => profile.particulars.get(field),
        };
        let own = self.draft.as_ref().filter(|draft| draft.field == field);
        let error = own.and_then(|draft| draft.error.clone());
        let mut text = own.map_or_else(|| stands.clone(), |draft| draft.text.clone());
        ui.label(label);
        let width = (ui.available_width() - 8.0).clamp(96.0, 420.0);
        let edit = if field == Some(Field::Notes) {
            TextEdit::multiline(&mut text).desired_rows(2)
        } else {
            TextEdit::singleline(&mut text)
        };
        let response = ui.vertical(|ui| {
            let response = ui
                .add(edit.desired_width(width))
                .accessible_name(format!("{label} of the profile"));
            if let Some(error) = error {
                ui.label(RichText::new(error).color(scene.theme.caution));
            }
            response
        });
        let response = response.inner;
        ui.end_row();
        if response.changed() {
            self.draft = Some(Draft {
                field,
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
        let mut after = profile.clone();
        let taken = match field {
            None => {
                text.trim().clone_into(&mut after.name);
                after.check().map_err(|error| error.to_string())
            }
            Some(field) => after.particulars.set(field, &text),
        };
        match taken {
            Ok(()) => {
                self.draft = None;
                let words = format!("say {} of {}", label.to_lowercase(), profile.name);
                asks.push(put(file, profile, after, words));
            }
            Err(error) => {
                self.draft = Some(Draft {
                    field,
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
