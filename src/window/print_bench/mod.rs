//! The bench of printing day: the recipe on paper, the piece, the plan, the tones, the sheet.

mod enlarger;
mod form;
mod result;
pub mod tones;
pub mod work;

use egui::{ScrollArea, Ui};

use super::request::{Request, Scene};
use super::shell::card;
use crate::document::{Edit, Printing};
use crate::files::sheet::PaperSize;
use form::Drafts;
use tones::Tones;
use work::Work;

/// Width from which the form stands beside the plan, points.
const SIDE_BY_SIDE: f32 = 760.0;
/// Width of the form there.
const FORM: f32 = 336.0;

/// What this bench remembers between frames.
#[derive(Default)]
pub struct PrintBench {
    /// Which pair is planned by.
    pub pair: usize,
    /// What is worked out in the background.
    pub work: Work,
    /// The slider and the pictures.
    pub tones: Tones,
    /// What the bench sheet is written on.
    pub paper: PaperSize,
    drafts: Drafts,
}

impl PrintBench {
    /// An empty bench whose sheets are written on this paper.
    pub fn on(paper: PaperSize) -> Self {
        Self {
            paper,
            ..Self::default()
        }
    }

    /// Another session: begin anew.
    pub fn clear(&mut self) {
        // The paper in the printer is no part of a session.
        *self = Self::on(self.paper);
    }

    /// The whole bench.
    pub fn ui(&mut self, ui: &mut Ui, scene: &Scene<'_>, asks: &mut Vec<Request>) {
        let ground = egui::Frame::new()
            .fill(scene.theme.page)
            .inner_margin(scene.room.margin());
        egui::CentralPanel::no_frame().frame(ground).show(ui, |ui| {
            if scene
                .analysis
                .is_none_or(|analysis| analysis.pairs.is_empty())
            {
                ui.heading("No plan yet");
                ui.label(super::shell::answer::what_is_missing(scene));
                return;
            }
            self.pairs_ui(ui, scene);
            let size = ui.available_size();
            if size.x < SIDE_BY_SIDE {
                ScrollArea::vertical().auto_shrink(false).show(ui, |ui| {
                    self.form_ui(ui, scene, asks);
                    self.plan_ui(ui, scene, asks);
                });
                return;
            }
            ui.horizontal_top(|ui| {
                ui.vertical(|ui| {
                    ui.set_width(FORM);
                    let form = ScrollArea::vertical().id_salt("form");
                    form.auto_shrink(false)
                        .show(ui, |ui| self.form_ui(ui, scene, asks));
                });
                ui.vertical(|ui| {
                    let plan = ScrollArea::vertical().id_salt("plan");
                    plan.auto_shrink(false)
                        .show(ui, |ui| self.plan_ui(ui, scene, asks));
                });
            });
        });
    }

    fn pairs_ui(&mut self, ui: &mut Ui, scene: &Scene<'_>) {
        let Some(analysis) = scene.analysis else {
            return;
        };
        self.pair = self.pair.min(analysis.pairs.len().saturating_sub(1));
        if analysis.pairs.len() < 2 {
            return;
        }
        ui.horizontal_wrapped(|ui| {
            ui.label("Planned by");
            for (index, pair) in analysis.pairs.iter().enumerate() {
                let chosen = self.pair == index;
                if ui
                    .selectable_label(chosen, scene.name(pair.coupon))
                    .clicked()
                {
                    self.pair = index;
                }
            }
        });
    }

    fn form_ui(&mut self, ui: &mut Ui, scene: &Scene<'_>, asks: &mut Vec<Request>) {
        card(ui, scene.theme, |ui| {
            ui.set_min_width(ui.available_width());
            self.drafts.paper_ui(ui, scene, asks);
        });
        card(ui, scene.theme, |ui| {
            ui.set_min_width(ui.available_width());
            form::piece_ui(&mut self.drafts, ui, scene, asks);
        });
        card(ui, scene.theme, |ui| {
            ui.set_min_width(ui.available_width());
            enlarger::ui(ui, scene, asks);
        });
        card(ui, scene.theme, |ui| {
            ui.set_min_width(ui.available_width());
            self.drafts.baths_ui(ui, scene, asks);
        });
    }

    fn plan_ui(&mut self, ui: &mut Ui, scene: &Scene<'_>, asks: &mut Vec<Request>) {
        card(ui, scene.theme, |ui| {
            ui.set_min_width(ui.available_width());
            result::ui(ui, scene, &self.work, self.paper, asks);
        });
        card(ui, scene.theme, |ui| {
            ui.set_min_width(ui.available_width());
            self.tones.ui(ui, scene, &self.work, self.pair, asks);
        });
    }
}

/// The print as the session has it.
fn printing(scene: &Scene<'_>) -> Printing {
    scene
        .session
        .printing
        .as_deref()
        .cloned()
        .unwrap_or_default()
}

/// Asks for a change of the print; the words complete "Undo …".
fn change(
    scene: &Scene<'_>,
    asks: &mut Vec<Request>,
    what: &'static str,
    change: impl FnOnce(&mut Printing),
) {
    let mut printing = printing(scene);
    change(&mut printing);
    let before = scene.session.printing.as_deref();
    if before.is_none_or(|before| *before != printing) {
        asks.push(Request::edit(Edit::SetPrinting(
            Some(Box::new(printing)),
            what,
        )));
    }
}
