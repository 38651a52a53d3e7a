//! The column beside the scan: the chosen strip, its steps, and what can be said of them.

use egui::{RichText, ScrollArea, Ui};

use super::handles;
use crate::document::Edit;
use crate::measure::geometry::{Field, StripShape};
use crate::measure::strip::Role;
use crate::window::command::Command;
use crate::window::request::{Chosen, Part, Request, Scene};
use crate::window::shell::{command_button, frame};
use crate::window::theme::{SIDE_WIDTH, strong};

/// The column.
pub fn ui(ui: &mut Ui, scene: &Scene<'_>, asks: &mut Vec<Request>) {
    egui::Panel::right("strips")
        .exact_size(SIDE_WIDTH)
        .resizable(false)
        .frame(frame(scene.theme))
        .show(ui, |ui| {
            ScrollArea::vertical().auto_shrink(false).show(ui, |ui| {
                ui.heading("Strips");
                if scene.session.strips.is_empty() {
                    undescribed_ui(ui, scene, asks);
                } else {
                    strips_ui(ui, scene, asks);
                }
            });
        });
}

fn undescribed_ui(ui: &mut Ui, scene: &Scene<'_>, asks: &mut Vec<Request>) {
    match scene.strips() {
        0 if scene.analysis.is_none() => {
            ui.label("The strips are looked for once the scan is read.");
        }
        0 => {
            ui.label("No strip was found. Choose “Draw a strip” above the scan and drag over one.");
        }
        count => {
            let found = if count == 1 {
                "1 strip was found.".to_owned()
            } else {
                format!("{count} strips were found.")
            };
            ui.label(found);
            ui.label("Take them into the session to say which is paper, which is coated and how they were exposed.");
            if ui.button("Take them in").clicked() {
                asks.push(Request::Describe);
            }
        }
    }
}

fn strips_ui(ui: &mut Ui, scene: &Scene<'_>, asks: &mut Vec<Request>) {
    for (index, strip) in scene.session.strips.iter().enumerate() {
        let chosen = scene.chosen.is_some_and(|chosen| chosen.strip == index);
        let text = if chosen {
            strong(&strip.name)
        } else {
            RichText::new(&strip.name)
        };
        let row = ui.selectable_label(chosen, text);
        if row
            .on_hover_text("Choose this strip: its handles show on the scan.")
            .clicked()
        {
            asks.push(Request::Choose(Some(Chosen {
                strip: index,
                part: Part::Whole,
            })));
        }
    }
    ui.separator();
    match scene
        .chosen
        .filter(|chosen| chosen.strip < scene.session.strips.len())
    {
        Some(chosen) => chosen_ui(ui, chosen, scene, asks),
        None => {
            ui.label(
                "Choose a strip here or on the scan to see its steps and to move its outline.",
            );
        }
    }
}

fn chosen_ui(ui: &mut Ui, chosen: Chosen, scene: &Scene<'_>, asks: &mut Vec<Request>) {
    let strip = &scene.session.strips[chosen.strip];
    ui.horizontal(|ui| {
        for (role, word, what) in [
            (
                Role::Reference,
                "Paper",
                "Ordinary printing paper: what the emulsion is compared with.",
            ),
            (
                Role::Coupon,
                "Coated",
                "The piece with the hand-coated emulsion.",
            ),
        ] {
            if ui
                .radio(strip.role == role, word)
                .on_hover_text(what)
                .clicked()
            {
                asks.push(Request::edit(Edit::SetRole {
                    strip: chosen.strip,
                    role,
                }));
            }
        }
    });
    ui.horizontal_wrapped(|ui| {
        for command in [Command::Flip, Command::AddStep, Command::RemoveStep] {
            command_button(ui, command, scene.shape(chosen.strip).is_some(), asks);
        }
        if strip.shape.is_some()
            && ui
                .button("Find it again")
                .on_hover_text("Forgets the outline given by hand and looks for the strip anew.")
                .clicked()
        {
            asks.push(Request::edit(Edit::SetShape {
                strip: chosen.strip,
                shape: None,
            }));
        }
        if ui
            .button("Take it out")
            .on_hover_text("Takes this strip out of the session; the scan stays as it is.")
            .clicked()
        {
            asks.push(Request::edit(Edit::RemoveStrip(chosen.strip)));
        }
    });
    let Some(shape) = scene.shape(chosen.strip) else {
        ui.label("This strip was not found. Choose “Draw a strip” and drag over it.");
        return;
    };
    if let Part::Field(field) = chosen.part {
        kind_ui(ui, chosen.strip, field, shape, asks);
    }
    ui.separator();
    steps_ui(ui, chosen.strip, shape, scene, asks);
}

fn kind_ui(ui: &mut Ui, strip: usize, field: usize, shape: &StripShape, asks: &mut Vec<Request>) {
    let Some(&now) = shape.fields.get(field) else {
        return;
    };
    ui.label("The chosen field is");
    ui.horizontal(|ui| {
        for (kind, word, what) in [
            (
                Field::Step(usize::MAX),
                "a step",
                "Got an exposure of its own.",
            ),
            (
                Field::Margin,
                "margin",
                "Got no exposure: gives the lightest density.",
            ),
            (Field::Ignored, "left alone", "Isn't read at all."),
        ] {
            let same = std::mem::discriminant(&now) == std::mem::discriminant(&kind);
            if ui.radio(same, word).on_hover_text(what).clicked()
                && !same
                && let Some(shape) = handles::with_field_kind(shape, field, kind)
            {
                asks.push(Request::edit(Edit::SetShape {
                    strip,
                    shape: Some(shape),
                }));
            }
        }
    });
}

fn steps_ui(
    ui: &mut Ui,
    strip: usize,
    shape: &StripShape,
    scene: &Scene<'_>,
    asks: &mut Vec<Request>,
) {
    let Some(result) = scene
        .analysis
        .and_then(|analysis| analysis.strips.get(strip))
    else {
        ui.label("Not measured yet.");
        return;
    };
    ui.label(
        RichText::new("Step, density, its error")
            .small()
            .color(scene.theme.weak),
    );
    for step in &result.steps {
        let spot = (strip, step.step);
        let name = if step.step == 0 {
            "margin".to_owned()
        } else {
            format!("step {}", step.step)
        };
        let words = format!("{name}   {:.3} ± {:.3}", step.density, step.standard_error);
        let lit = scene.spot == Some(spot);
        let text = if lit {
            RichText::new(words).color(scene.theme.accent).strong()
        } else {
            RichText::new(words)
        };
        let response = if step.step == 0 {
            ui.label(text)
        } else {
            let mut counts = !scene.is_out(spot);
            let before = counts;
            let response = ui
                .checkbox(&mut counts, text)
                .on_hover_text("Ticked: this step counts in the fit.");
            if counts != before {
                asks.push(Request::edit(toggled(strip, step.step - 1, counts)));
            }
            response
        };
        if response.hovered() {
            asks.push(Request::Spot(spot));
        }
        if response.secondary_clicked() {
            let wanted = step.step.checked_sub(1).map_or(Field::Margin, Field::Step);
            if let Some(field) = shape.fields.iter().position(|&field| field == wanted) {
                asks.push(Request::Choose(Some(Chosen {
                    strip,
                    part: Part::Field(field),
                })));
            }
        }
    }
}

/// A step (from 0) taken into the fit or out of it.
pub fn toggled(strip: usize, step: usize, counts: bool) -> Edit {
    if counts {
        Edit::IncludeStep { strip, step }
    } else {
        Edit::ExcludeStep { strip, step }
    }
}
