//! The plan: what to expose, what it is good for, and what speaks against it.

use egui::{RichText, Ui};

use super::printing;
use super::work::Work;
use crate::document::printing::Planned;
use crate::document::report::words::{chance, plain};
use crate::document::sheet::{Sheet, Source};
use crate::files::sheet::PaperSize;
use crate::measure::finding::{Finding, Weight};
use crate::measure::plan::Plan;
use crate::window::command::Command;
use crate::window::request::{Request, Scene};
use crate::window::shell::answer::finding_ui;
use crate::window::shell::{command_button, term};
use crate::window::theme::{figure, strong};

/// The card with the plan.
pub(super) fn ui(
    ui: &mut Ui,
    scene: &Scene<'_>,
    work: &Work,
    paper: PaperSize,
    asks: &mut Vec<Request>,
) {
    let planned = match work.planned() {
        Some(Ok(planned)) if printing(scene).recipe.is_some() => planned,
        Some(Err(none)) => {
            ui.heading("No plan can be made");
            ui.label(format!("Nothing can be planned: {none}."));
            return;
        }
        _ => {
            ui.heading("No plan yet");
            ui.label("Write how the print on paper was made, and what it is to be printed on.");
            return;
        }
    };
    let forbids = |finding: &&Finding| finding.weight == Weight::Blocking;
    if let Some(forbidding) = planned.plan.findings.iter().find(forbids) {
        forbidden_ui(ui, scene, forbidding);
        let others = planned.plan.findings.iter().enumerate();
        for (index, finding) in others.filter(|(_, finding)| *finding != forbidding) {
            ui.push_id(index, |ui| finding_ui(ui, scene, finding, asks));
        }
        return;
    }
    let sheet = Sheet::filled(&printing(scene), planned, &Source::default());
    exposure_ui(ui, scene, planned);
    if planned.plan.exposure.is_some() {
        ui.add_space(4.0);
        bracket_ui(ui, &sheet, &planned.plan);
    }
    if !sheet.changes.is_empty() {
        ui.add_space(4.0);
        changes_ui(ui, scene, &sheet);
    }
    if !sheet.placing.is_empty() {
        ui.add_space(4.0);
        ui.label(strong("Focus and height"));
        for line in &sheet.placing {
            ui.label(line);
        }
    }
    ui.add_space(4.0);
    ui.horizontal_wrapped(|ui| {
        command_button(ui, Command::SaveSheet, true, asks);
        command_button(ui, Command::CopySheet, true, asks);
        paper_ui(ui, paper, asks);
    });
    ui.add_space(8.0);
    for (index, finding) in planned.plan.findings.iter().enumerate() {
        ui.push_id(index, |ui| finding_ui(ui, scene, finding, asks));
    }
}

/// Why it can't be printed, in the place and size of the time: no time is told that would be
/// worked by.
fn forbidden_ui(ui: &mut Ui, scene: &Scene<'_>, finding: &Finding) {
    const LEAD: &str = "Cannot be printed";
    let (lead, rest) = match finding.seen.split_once(". ") {
        Some((lead, rest)) if lead.starts_with(LEAD) => (lead, rest),
        _ => (LEAD, finding.seen.as_str()),
    };
    let words = RichText::new(lead).font(figure());
    ui.label(words.color(scene.theme.blocking));
    ui.label(rest);
    ui.label(&finding.matters);
    ui.label(strong(&finding.remedy));
    if scene.stale {
        ui.label(RichText::new("being worked out anew…").color(scene.theme.weak));
    }
    ui.add_space(8.0);
}

/// What the sheet is written on.
fn paper_ui(ui: &mut Ui, paper: PaperSize, asks: &mut Vec<Request>) {
    egui::ComboBox::from_id_salt("paper")
        .width(72.0)
        .selected_text(paper.word())
        .show_ui(ui, |ui| {
            for choice in PaperSize::ALL {
                if ui
                    .selectable_label(paper == choice, choice.word())
                    .clicked()
                {
                    asks.push(Request::SheetPaper(choice));
                }
            }
        })
        .response
        .accessible_name("Paper of the bench sheet")
        .on_hover_text("What the bench sheet is written on.");
}

fn exposure_ui(ui: &mut Ui, scene: &Scene<'_>, planned: &Planned) {
    let plan = &planned.plan;
    let Some(exposure) = &plan.exposure else {
        ui.label(RichText::new("Cannot be printed").font(figure()));
        ui.label("What forbids it stands below.");
        return;
    };
    if let Some(time) = exposure.time.value {
        let words = format!("{} s at {}", seconds(time), exposure.f_number);
        ui.label(RichText::new(words).font(figure()));
    }
    if let Some((lower, upper)) = exposure.time.bounds() {
        term(
            ui,
            &format!(
                "95 of 100 pieces need {} to {} s",
                seconds(lower),
                seconds(upper)
            ),
            "The prediction interval: the doubt of the tests, from session to session and from piece to piece.",
        );
    }
    if let (Some(stops), Some(factor)) = (exposure.stops.value, exposure.factor.value) {
        ui.label(format!(
            "{} stops more light than the paper got, {} times.",
            plain(stops, 2),
            plain(factor, 1)
        ));
    }
    ui.label(RichText::new(&exposure.why).color(scene.theme.weak));
    if scene.stale {
        ui.label(RichText::new("being worked out anew…").color(scene.theme.weak));
    }
}

fn seconds(time: f64) -> String {
    plain(time, if time < 100.0 { 1 } else { 0 })
}

fn bracket_ui(ui: &mut Ui, sheet: &Sheet, plan: &Plan) {
    egui::Grid::new("bracket")
        .num_columns(4)
        .min_row_height(20.0)
        .spacing([20.0, 4.0])
        .show(ui, |ui| {
            for word in ["piece", "time", "aperture", "against the plan"] {
                ui.label(strong(word));
            }
            ui.end_row();
            for (row, number) in sheet.exposures.iter().zip(1..) {
                ui.label(number.to_string());
                ui.label(&row.time);
                ui.label(&row.aperture);
                ui.label(&row.against);
                ui.end_row();
            }
        });
    if let Some(said) = sheet.chance.last() {
        ui.label(said);
    }
    if let Some(bracket) = &plan.bracket {
        ui.label(format!(
            "With a piece more it would be {}; with another pair of test strips, made on the day \
             with the same coat, {}.",
            chance(bracket.instead.another_piece),
            chance(bracket.instead.another_pair)
        ));
    }
}

fn changes_ui(ui: &mut Ui, scene: &Scene<'_>, sheet: &Sheet) {
    ui.label(strong("Burns and dodges"));
    egui::Grid::new("changes")
        .num_columns(4)
        .min_row_height(20.0)
        .spacing([20.0, 4.0])
        .show(ui, |ui| {
            for change in &sheet.changes {
                ui.label(&change.way);
                ui.label(&change.part);
                ui.label(&change.time);
                ui.label(&change.stops);
                if !change.note.is_empty() {
                    ui.label(RichText::new(&change.note).color(scene.theme.caution));
                }
                ui.end_row();
            }
        });
}
