//! The column beside the scan: the chosen strip, its steps, and what can be said of them.

use egui::{RichText, ScrollArea, Ui};

use super::{calling, coat, handles};
use crate::document::Edit;
use crate::measure::geometry::{Field, StripShape};
use crate::measure::strip::Role;
use crate::window::command::Command;
use crate::window::curves::beside;
use crate::window::layout::Room;
use crate::window::request::{Chosen, Kind, Part, Request, Scene, Thing};
use crate::window::shell::{explained, frame, icon_button, term};
use crate::window::theme::{SIDE_WIDTH, strong};

/// Height of the plot at the foot of the column, and of the column from which it is shown.
const PLOT: f32 = 176.0;
const PLOT_NEEDS: f32 = 560.0;

/// What the column must know of the bench.
#[derive(Clone, Copy)]
pub struct Beside {
    /// The scan in sight.
    pub scan: usize,
    /// Whether the next click points at unexposed coat.
    pub pointing: bool,
}

/// The column beside the scan; gives the reading that is being considered in it.
pub fn ui(
    ui: &mut Ui,
    scene: &Scene<'_>,
    beside: Beside,
    asks: &mut Vec<Request>,
) -> Option<StripShape> {
    let mut considered = None;
    egui::Panel::right("strips")
        .exact_size(SIDE_WIDTH)
        .resizable(false)
        .frame(frame(scene.theme).inner_margin(scene.room.margin()))
        .show(ui, |ui| {
            plot_ui(ui, scene, asks);
            ScrollArea::vertical().auto_shrink(false).show(ui, |ui| {
                if scene.room > Room::Narrow {
                    ui.heading("Strips");
                }
                if scene.session.strips.is_empty() {
                    undescribed_ui(ui, scene, asks);
                }
                considered = things_ui(ui, scene, beside, asks);
            });
        });
    considered
}

/// The curves that the chosen strip, or the first, takes part in.
fn plot_ui(ui: &mut Ui, scene: &Scene<'_>, asks: &mut Vec<Request>) {
    let pairs = scene.analysis.map_or(&[][..], |analysis| &analysis.pairs);
    let chosen = scene.chosen_strip();
    let of_chosen = pairs
        .iter()
        .find(|pair| chosen.is_some_and(|strip| strip == pair.coupon || strip == pair.reference));
    let Some(pair) = of_chosen.or(pairs.first()) else {
        return;
    };
    if ui.available_height() < PLOT_NEEDS {
        return;
    }
    egui::Panel::bottom("curves beside the scan")
        .exact_size(PLOT)
        .resizable(false)
        .frame(egui::Frame::new())
        .show(ui, |ui| beside::ui(ui, PLOT - 4.0, scene, pair, asks));
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

/// Everything that lies on this scan, and the strips of others.
fn things_ui(
    ui: &mut Ui,
    scene: &Scene<'_>,
    beside: Beside,
    asks: &mut Vec<Request>,
) -> Option<StripShape> {
    let mut things: Vec<Thing> = (0..scene.strips()).map(Thing::Strip).collect();
    let others = scene.things(beside.scan);
    things.extend(
        others
            .into_iter()
            .filter(|thing| !matches!(thing, Thing::Strip(_))),
    );
    // Side by side as far as they go: what is chosen is worth more room than the choice.
    ui.horizontal_wrapped(|ui| {
        ui.spacing_mut().item_spacing = egui::Vec2::splat(4.0);
        for (row, &thing) in things.iter().enumerate() {
            let chosen = scene.chosen.is_some_and(|chosen| chosen.thing == thing);
            let name = scene.thing_name(thing);
            let text = if chosen {
                strong(name)
            } else {
                RichText::new(name)
            };
            let row = ui
                .push_id(row, |ui| ui.selectable_label(chosen, text))
                .inner;
            if row
                .on_hover_text("Choose this: its handles show on the scan.")
                .clicked()
            {
                let part = Part::Whole;
                asks.push(Request::Choose(Some(Chosen { thing, part })));
            }
        }
    });
    if things.is_empty() {
        return None;
    }
    ui.separator();
    let Some(chosen) = scene.chosen.filter(|chosen| things.contains(&chosen.thing)) else {
        ui.label("Choose a strip here or on the scan to see its steps and to move its outline.");
        return None;
    };
    chosen_ui(ui, chosen, scene, asks);
    let Thing::Strip(strip) = chosen.thing else {
        return None;
    };
    let shape = scene.shape(strip)?;
    let mut considered = None;
    coat::readings_ui(ui, strip, scene, &mut considered, asks);
    if let Some(field) = chosen.part.field() {
        kind_ui(ui, strip, field, shape, scene, asks);
        area_ui(ui, strip, field, shape, scene, asks);
    }
    ui.separator();
    coat::ui(ui, strip, shape, beside.pointing, scene, asks);
    steps_ui(ui, strip, shape, scene, asks);
    considered
}

/// What a person can say that the chosen thing is; also the menu on the scan.
pub fn saying_ui(ui: &mut Ui, scene: &Scene<'_>, asks: &mut Vec<Request>) {
    let Some((chosen, _)) = scene.held() else {
        ui.label("Point at a strip or the wedge.");
        return;
    };
    ui.label(strong(scene.thing_name(chosen.thing)));
    for kind in Kind::ALL {
        let command = Command::Call(kind);
        let response = ui.radio(is_said(scene, chosen.thing, kind), command.label());
        if explained(ui, response, command).clicked() {
            asks.push(Request::Command(command));
            ui.close();
        }
    }
}

fn is_said(scene: &Scene<'_>, thing: Thing, kind: Kind) -> bool {
    match thing {
        Thing::Strip(strip) => {
            let role = scene.session.strips.get(strip).map(|strip| strip.role);
            match kind {
                Kind::Paper => role == Some(Role::Reference),
                Kind::Coated => role == Some(Role::Coupon),
                Kind::Wedge => false,
            }
        }
        Thing::Wedge(_) => kind == Kind::Wedge,
        Thing::Spare(_) => false,
    }
}

fn chosen_ui(ui: &mut Ui, chosen: Chosen, scene: &Scene<'_>, asks: &mut Vec<Request>) {
    ui.horizontal_wrapped(|ui| {
        ui.spacing_mut().item_spacing.x = 8.0;
        for (kind, word) in [
            (Kind::Paper, "Paper"),
            (Kind::Coated, "Coated"),
            (Kind::Wedge, "Wedge"),
        ] {
            let response = ui.radio(is_said(scene, chosen.thing, kind), word);
            if explained(ui, response, Command::Call(kind)).clicked() {
                asks.push(Request::Command(Command::Call(kind)));
            }
        }
    });
    let said = match chosen.thing {
        Thing::Strip(strip) => scene.session.strips.get(strip).map(|strip| &strip.shape),
        Thing::Wedge(_) => scene.session.wedge.as_ref().map(|wedge| &wedge.shape),
        Thing::Spare(_) => None,
    };
    let Some(said) = said else {
        ui.label("Say what this is, and it joins the session.");
        return;
    };
    ui.horizontal_wrapped(|ui| {
        let there = scene.outline(chosen.thing).is_some();
        ui.spacing_mut().item_spacing = egui::Vec2::splat(4.0);
        for command in [Command::Flip, Command::AddStep, Command::RemoveStep] {
            icon_button(ui, command, there, asks);
        }
        if said.is_some()
            && ui
                .button("Find it again")
                .on_hover_text("Forgets the outline given by hand and looks for it anew.")
                .clicked()
        {
            asks.push(Request::edit(match chosen.thing {
                Thing::Strip(strip) => Edit::SetShape { strip, shape: None },
                Thing::Wedge(_) | Thing::Spare(_) => Edit::SetWedgeShape(None),
            }));
        }
        if let Thing::Strip(strip) = chosen.thing
            && ui
                .button("Take it out")
                .on_hover_text("Takes this strip out of the session; the scan stays as it is.")
                .clicked()
        {
            asks.push(Request::edit(Edit::RemoveStrip(strip)));
        }
    });
    let Thing::Strip(strip) = chosen.thing else {
        return;
    };
    if scene.shape(strip).is_none() {
        ui.label("This strip was not found. Choose “Draw a strip” and drag over it.");
    }
}

/// Where the chosen field is read.
fn area_ui(
    ui: &mut Ui,
    strip: usize,
    field: usize,
    shape: &StripShape,
    scene: &Scene<'_>,
    asks: &mut Vec<Request>,
) {
    let Some(&kind) = shape
        .fields
        .get(field)
        .filter(|field| **field != Field::Ignored)
    else {
        return;
    };
    ui.horizontal_wrapped(|ui| {
        term(
            ui,
            "Sampled area",
            "The part of the field that is read. Drag it or its corners on the scan; with the keyboard, arrows move it and Alt with arrows sizes it.",
        );
        match scene.placed(strip, kind) {
            None => {
                ui.weak("chosen by the program");
            }
            Some(_) => {
                ui.weak("placed by you");
                let button = ui.button("Back to automatic");
                if explained(ui, button, Command::FreeArea).clicked() {
                    asks.push(Request::edit(Edit::FreeArea { strip, field: kind }));
                }
            }
        }
    });
}

fn kind_ui(
    ui: &mut Ui,
    strip: usize,
    field: usize,
    shape: &StripShape,
    scene: &Scene<'_>,
    asks: &mut Vec<Request>,
) {
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
                let edits = calling::outlined(scene, Thing::Strip(strip), shape);
                asks.push(Request::Edit(edits));
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
    ui.spacing_mut().item_spacing.y = 2.0;
    ui.spacing_mut().interact_size.y = 20.0;
    ui.label(
        RichText::new("Step, density, its error")
            .small()
            .underline()
            .color(scene.theme.weak),
    )
    .on_hover_text(
        "Density: how dark the step is, the negative decimal logarithm of the share of light that it reflects. Its error is one standard error, all sources of the strip counted.",
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
                    thing: Thing::Strip(strip),
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
