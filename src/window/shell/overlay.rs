//! What lies over the benches: the list of keys, the tour, and the question before closing.

use egui::{Align2, Context, Id, Vec2};

use super::card;
use crate::window::command::{Bench, Command};
use crate::window::theme::{Theme, strong};

/// The steps of the tour: where, and what to see there.
pub const TOUR: [(Bench, &str, &str); 5] = [
    (
        Bench::Scans,
        "1. The scan",
        "The strips and the wedge were found and outlined. Each step has its number and its density; drag a border or a corner if one lies wrong, say with the other button what a thing is, and zoom with the wheel.",
    ),
    (
        Bench::Exposures,
        "2. The exposures",
        "Write each strip's exposures the way you would tell a friend. The table shows what was understood.",
    ),
    (
        Bench::Curves,
        "3. The curves",
        "Both characteristic curves with their bands. Slide the coated strip's curve onto the paper's to see where they part.",
    ),
    (
        Bench::Eye,
        "4. Your eye",
        "Walk along both strips until two steps look alike, and record the match. It is held against the measurement.",
    ),
    (
        Bench::Scans,
        "5. The answer",
        "The column on the left says how many times the exposure the emulsion needs, how sure that is, and what would make it surer.",
    ),
];

/// What the overlay was answered.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Said {
    /// Nothing yet.
    Nothing,
    /// On to the tour's next step.
    Next,
    /// Enough.
    Done,
    /// Save before closing.
    Save,
    /// Close without saving.
    Drop,
}

/// The list of keys.
pub fn keys_ui(ctx: &Context) -> Said {
    let shown = egui::Modal::new(Id::unique("keys")).show(ctx, |ui| {
        let window = ctx.viewport_rect().size();
        ui.set_width(520.0_f32.min(window.x - 64.0));
        ui.heading("Keys");
        egui::ScrollArea::vertical()
            .max_height((window.y - 160.0).clamp(120.0, 560.0))
            .show(ui, |ui| {
                egui::Grid::new("list of keys")
                    .num_columns(2)
                    .min_row_height(20.0)
                    .max_col_width((window.x - 64.0).min(520.0) - 168.0)
                    .striped(true)
                    .spacing([24.0, 4.0])
                    .show(ui, |ui| {
                        for command in Command::all() {
                            if let Some(keys) = command.shortcut() {
                                ui.label(ctx.format_shortcut(&keys));
                                ui.label(command.label())
                                    .on_hover_text(command.explanation());
                                ui.end_row();
                            }
                        }
                        for (keys, what) in [
                            (
                                "Page Down, Page Up",
                                "On the scan: next strip, strip before",
                            ),
                            (
                                "comma, full stop",
                                "On the scan: walk along the parts of the chosen strip",
                            ),
                            (
                                "arrows",
                                "On the scan: move the chosen part, ten times as far with Shift; in a field, its sampled area",
                            ),
                            ("Escape", "On the scan: choose nothing; arrows then move the view"),
                            (
                                "Enter",
                                "On the scan while drawing: a strip over the middle, to be moved from there",
                            ),
                            ("Alt with arrows", "Size the sampled area of the chosen field"),
                            (
                                "arrows",
                                "By eye: walk along the coated strip; with Shift along the paper",
                            ),
                            ("Enter", "By eye: same tone"),
                            ("Tab", "To the next control"),
                            (
                                "Ctrl with plus, minus, 0",
                                "Everything larger, smaller, or as the system has it",
                            ),
                        ] {
                            ui.label(keys);
                            ui.label(what);
                            ui.end_row();
                        }
                    });
            });
        ui.button("Back to work").clicked()
    });
    if shown.inner || shown.should_close() {
        Said::Done
    } else {
        Said::Nothing
    }
}

/// One step of the tour, at the lower right.
pub fn tour_ui(ctx: &Context, step: usize, theme: &Theme) -> Said {
    let Some((_, title, words)) = TOUR.get(step) else {
        return Said::Done;
    };
    let mut said = Said::Nothing;
    egui::Area::new(Id::unique("tour"))
        .anchor(Align2::CENTER_BOTTOM, Vec2::new(0.0, -48.0))
        .order(egui::Order::Foreground)
        .show(ctx, |ui| {
            ui.set_max_width(440.0);
            card(ui, theme, |ui| {
                ui.heading(*title);
                ui.label(*words);
                ui.horizontal(|ui| {
                    let next = if step + 1 < TOUR.len() {
                        "Next"
                    } else {
                        "Done"
                    };
                    if ui.button(next).clicked() {
                        said = Said::Next;
                    }
                    if step + 1 < TOUR.len() && ui.button("Leave the tour").clicked() {
                        said = Said::Done;
                    }
                });
            });
        });
    said
}

/// The question before unsaved work is put away.
pub fn unsaved_ui(ctx: &Context, name: &str) -> Said {
    let mut said = Said::Nothing;
    let shown = egui::Modal::new(Id::unique("unsaved")).show(ctx, |ui| {
        ui.set_width(400.0);
        ui.label(strong(format!("{name} has changes that are in no file.")));
        ui.horizontal(|ui| {
            for (word, answer) in [
                ("Save them", Said::Save),
                ("Close without saving", Said::Drop),
                ("Stay here", Said::Done),
            ] {
                if ui.button(word).clicked() {
                    said = answer;
                }
            }
        });
    });
    if said == Said::Nothing && shown.should_close() {
        Said::Done
    } else {
        said
    }
}

/// Words at the foot of an empty window.
pub fn note(ctx: &Context, words: &str, theme: &Theme) {
    egui::Area::new(Id::unique("note"))
        .anchor(Align2::CENTER_BOTTOM, Vec2::new(0.0, -24.0))
        .show(ctx, |ui| {
            ui.set_max_width(640.0);
            card(ui, theme, |ui| ui.label(words));
        });
}
