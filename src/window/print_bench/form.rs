//! What the person says: the print on paper, the piece, the baths.

use egui::{DragValue, RichText, TextEdit, Ui};

use super::{change, printing};
use crate::document::sheet::{Hardener, Process};
use crate::measure::plan::bracket::MOST_PIECES;
use crate::measure::plan::{Aim, HeadMove, Recipe};
use crate::window::command::Command;
use crate::window::request::{Request, Scene};
use crate::window::shell::{command_button, term};

/// A recipe to begin from.
const EXAMPLE: &str = "10s at f/8, magnified 4x, lens 80mm\nburn sky: 1/2 stop";
/// Tolerances to choose from, stops, as they are said.
const TOLERANCES: [(f64, &str); 4] = [
    (1.0 / 12.0, "1/12"),
    (1.0 / 6.0, "1/6"),
    (1.0 / 3.0, "1/3"),
    (0.5, "1/2"),
];

/// A text being written, and the one it began from.
#[derive(Default, Clone)]
struct Draft {
    text: String,
    from: String,
    error: Option<String>,
}

impl Draft {
    /// Follows the session where that changed.
    fn follow(&mut self, written: String) {
        if self.from != written {
            *self = Self {
                text: written.clone(),
                from: written,
                error: None,
            };
        }
    }

    fn error_ui(&self, ui: &mut Ui, scene: &Scene<'_>) {
        if let Some(error) = &self.error {
            let words = format!("Not understood: {error}");
            ui.label(RichText::new(words).color(scene.theme.blocking));
        }
    }
}

/// Texts being written.
#[derive(Default)]
pub(super) struct Drafts {
    picture: Draft,
    recipe: Draft,
    piece: Draft,
    baths: Draft,
}

/// A name in one line; tells what it is to be once it is left.
fn name_ui(
    ui: &mut Ui,
    draft: &mut Draft,
    written: &str,
    label: &str,
    hint: &str,
) -> Option<String> {
    draft.follow(written.to_owned());
    let field = TextEdit::singleline(&mut draft.text)
        .hint_text(hint)
        .desired_width(ui.available_width());
    let response = ui.add(field).accessible_name(label);
    (response.lost_focus() && draft.text.trim() != draft.from).then(|| draft.text.trim().to_owned())
}

impl Drafts {
    /// The print on paper.
    pub(super) fn paper_ui(&mut self, ui: &mut Ui, scene: &Scene<'_>, asks: &mut Vec<Request>) {
        let print = printing(scene);
        ui.heading("The print on paper");
        let draft = &mut self.picture;
        if let Some(name) = name_ui(
            ui,
            draft,
            &print.picture,
            "Name of the picture",
            "Harbour at low tide",
        ) {
            change(scene, asks, "name the picture", |print| {
                print.picture = name
            });
        }
        let written = print
            .recipe
            .as_ref()
            .map(Recipe::written)
            .unwrap_or_default();
        let draft = &mut self.recipe;
        draft.follow(written);
        ui.label("How it was made: the base exposure, then a line for each burn and dodge.");
        let field = TextEdit::multiline(&mut draft.text)
            .hint_text(EXAMPLE)
            .desired_rows(3)
            .desired_width(ui.available_width());
        let response = ui.add(field).accessible_name("Recipe of the paper print");
        if response.lost_focus() && draft.text.trim() != draft.from {
            if draft.text.trim().is_empty() {
                change(scene, asks, "clear the recipe", |print| print.recipe = None);
            } else {
                match Recipe::read(&draft.text) {
                    Ok(recipe) => {
                        draft.error = None;
                        // As it is written back, or the draft would seem changed for ever.
                        change(scene, asks, "write the recipe", |print| {
                            print.recipe = Some(recipe);
                        });
                        draft.from.clear();
                    }
                    Err(error) => draft.error = Some(error.to_string()),
                }
            }
        }
        draft.error_ui(ui, scene);
        if draft.text.trim() != draft.from && draft.error.is_none() {
            ui.weak("Leaving the field takes it.");
        }
        ui.horizontal_wrapped(|ui| {
            command_button(ui, Command::ChoosePrint, true, asks);
            if let Some(scan) = &print.print {
                let file = scan.path.file_name().unwrap_or_default().to_string_lossy();
                ui.label(file);
            }
        });
    }

    /// The baths.
    pub(super) fn baths_ui(&mut self, ui: &mut Ui, scene: &Scene<'_>, asks: &mut Vec<Request>) {
        let print = printing(scene);
        ui.horizontal(|ui| {
            ui.heading("Baths");
            ui.menu_button("Begin from", |ui| {
                for (hardener, words) in [
                    (Hardener::First, "Hardener first"),
                    (Hardener::AsStop, "Hardener as the stop bath"),
                    (Hardener::None, "No hardener"),
                ] {
                    if ui.button(words).clicked() {
                        change(scene, asks, "choose baths", |print| {
                            print.process = Process::usual(hardener);
                        });
                        ui.close();
                    }
                }
            });
        });
        let draft = &mut self.baths;
        draft.follow(print.process.written().replace("; ", "\n"));
        ui.label("In their order, a line each, with your times; without a time the sheet leaves a line for it.");
        let field = TextEdit::multiline(&mut draft.text)
            .desired_rows(4)
            .desired_width(ui.available_width());
        let response = ui.add(field).accessible_name("Baths and their times");
        if response.lost_focus() && draft.text.trim() != draft.from {
            match Process::read(&draft.text) {
                Ok(process) => {
                    draft.error = None;
                    change(scene, asks, "write the baths", |print| {
                        print.process = process
                    });
                    draft.from.clear();
                }
                Err(error) => draft.error = Some(error.to_string()),
            }
        }
        draft.error_ui(ui, scene);
        ui.weak("The times are yours and the makers'. Their safety data sheets, local rules and licensed practice come first.");
    }
}

/// A number with its unit in a row of its own.
fn number_ui(
    ui: &mut Ui,
    (words, meaning): (&str, &str),
    value: &mut f64,
    range: std::ops::RangeInclusive<f64>,
) -> bool {
    ui.horizontal(|ui| {
        let drag = DragValue::new(value)
            .range(range)
            .speed(0.25)
            .max_decimals(1)
            .suffix(" mm")
            .update_while_editing(false);
        let response = ui.add(drag).accessible_name(format!("{words}, mm"));
        term(ui, words, meaning);
        response.changed()
    })
    .inner
}

/// The piece, and what is chosen about it.
pub(super) fn piece_ui(
    drafts: &mut Drafts,
    ui: &mut Ui,
    scene: &Scene<'_>,
    asks: &mut Vec<Request>,
) {
    let print = printing(scene);
    ui.heading("The piece");
    let draft = &mut drafts.piece;
    if let Some(name) = name_ui(ui, draft, &print.piece.name, "Name of the piece", "slate 3") {
        change(scene, asks, "name the piece", |print| {
            print.piece.name = name
        });
    }
    let mut piece = print.piece.clone();
    let mut size = piece.size.unwrap_or_default();
    let mut changed = number_ui(
        ui,
        (
            "Height",
            "How far the middle of its face lies above the easel that the paper lay on.",
        ),
        &mut piece.height,
        -500.0..=500.0,
    );
    changed |= number_ui(
        ui,
        (
            "Rise",
            "How much higher the highest part of its face lies than the lowest: slope, hollows, a bulge.",
        ),
        &mut piece.rise,
        0.0..=500.0,
    );
    let sized = number_ui(
        ui,
        ("Width", "Width of its face, for the sheet."),
        &mut size.0,
        0.0..=10_000.0,
    ) | number_ui(
        ui,
        ("Length", "Length of its face, for the sheet."),
        &mut size.1,
        0.0..=10_000.0,
    );
    if sized {
        // One side alone is no size yet.
        let other = size.0.max(size.1);
        let full = |side: f64| if side > 0.0 { side } else { other };
        piece.size = (other > 0.0).then(|| (full(size.0), full(size.1)));
        changed = true;
    }
    if changed {
        change(scene, asks, "describe the piece", |print| {
            print.piece = piece
        });
    }
    let mut raised = print.choices.head == HeadMove::RaisedByHeight;
    if ui
        .checkbox(&mut raised, "Head raised by its height")
        .on_hover_text("Size and light on the piece are then as they were on the paper.")
        .changed()
    {
        change(scene, asks, "move the head", |print| {
            print.choices.head = if raised {
                HeadMove::RaisedByHeight
            } else {
                HeadMove::Stays
            };
        });
    }
    ui.horizontal_wrapped(|ui| {
        term(ui, "To be met", "The tone that is to come out on the piece as on the paper; the others follow the coating's own contrast.");
        for (aim, words) in [
            (Aim::Highlights, "highlights"),
            (Aim::SpeedPoint, "middle grey"),
            (Aim::Shadows, "shadows"),
            (Aim::WholeScale, "all tones"),
        ] {
            if ui.selectable_label(print.choices.aim == aim, words).clicked() {
                change(scene, asks, "choose the tone", |print| print.choices.aim = aim);
            }
        }
    });
    ui.horizontal(|ui| {
        let mut pieces = print.choices.pieces;
        let drag = DragValue::new(&mut pieces)
            .range(1..=MOST_PIECES)
            .speed(0.05);
        if ui.add(drag).accessible_name("Pieces left").changed() {
            change(scene, asks, "count the pieces", |print| {
                print.choices.pieces = pieces
            });
        }
        ui.label("pieces left");
    });
    ui.horizontal_wrapped(|ui| {
        term(
            ui,
            "Tolerance",
            "How far off an exposure may be for the piece to count as a hit, in stops.",
        );
        for (stops, words) in TOLERANCES {
            let chosen = (print.choices.tolerance - stops).abs() < 1e-9;
            let response = ui.selectable_label(chosen, words);
            response.widget_info(|| {
                egui::WidgetInfo::selected(
                    egui::Role::Button,
                    true,
                    chosen,
                    format!("within {words} stop"),
                )
            });
            if response.clicked() {
                change(scene, asks, "choose the tolerance", |print| {
                    print.choices.tolerance = stops;
                });
            }
        }
    });
}
