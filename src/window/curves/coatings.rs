//! All coatings of the session against each other: curves, differences, thickness, evenness, cost.

use std::sync::Arc;

use egui::{DragValue, RichText, ScrollArea, Ui};

use super::coatings_paint::{curves_ui, trend_ui};
use super::{LEAST_PLOT, SIDE_BY_SIDE};
use crate::document::Session;
use crate::document::comparing::{Asked, Comparison, of_session};
use crate::document::profile::{Price, PricePer, Wet};
use crate::document::report::compared::{
    cost_said, difference_said, headline, label, line_said, look_said,
};
use crate::measure::analysis::Analysis;
use crate::measure::coatings::{Coating, Look, Measured, Shared, look};
use crate::measure::raster::Raster;
use crate::window::jobs::{Job, Latest, Wake};
use crate::window::request::Scene;

/// Which session and which state of it a comparison belongs to.
type State = (u64, crate::document::Revision);

/// What is told of the coatings, or why nothing is.
type Told = Result<Comparison, String>;

/// What is measured of the coatings, before anything is chosen.
struct Found {
    coatings: Vec<Coating>,
    shared: Shared,
    looks: Vec<Option<Look>>,
}

/// What a person says of the coatings here; 0 stands for not said.
#[derive(Debug, Clone, PartialEq, Default)]
struct Choices {
    against: Option<usize>,
    coats: Vec<u32>,
    millilitres: Vec<f64>,
    price_per_litre: f64,
    piece: f64,
}

impl Choices {
    /// As many as there are coatings.
    fn fit(&mut self, count: usize) {
        self.coats.resize(count, 0);
        self.millilitres.resize(count, 0.0);
        self.against = self.against.filter(|&against| against < count);
    }
}

/// The page.
#[derive(Default)]
pub struct CoatingsPage {
    /// Whether it is shown in the place of one pair.
    pub open: bool,
    found: Latest<State, Found>,
    choices: Choices,
    quantity: Option<Measured>,
    /// The comparison of what was found by the choices, by their number.
    told: Latest<u64, Told>,
    /// What is compared, and a number that is raised when that changes.
    compared: Option<(Arc<Found>, Choices)>,
    asked: u64,
}

impl CoatingsPage {
    /// Asks for what is measured of the coatings, and for their comparison; once a frame while
    /// the page is open.
    pub fn tend(
        &mut self,
        state: State,
        session: &Arc<Session>,
        analysis: &Arc<Analysis>,
        scans: Vec<Arc<Raster>>,
        wake: &Wake,
    ) {
        let (session, analysis) = (Arc::clone(session), Arc::clone(analysis));
        self.found.ask(state, || {
            Job::start("compare", wake, move |watch| {
                let (coatings, shared) = of_session(&session, &analysis);
                let channel = session.settings.channel;
                let mut looks = Vec::with_capacity(coatings.len());
                for coating in &coatings {
                    let strips = &analysis.strips;
                    let strip = strips.iter().find(|strip| strip.name == coating.name);
                    looks.push(match strip {
                        Some(strip) => look(&scans, strip, channel, watch)?,
                        None => None,
                    });
                }
                Ok(Found {
                    coatings,
                    shared,
                    looks,
                })
            })
        });
        if let Some(found) = self.found.shown().cloned() {
            self.compare(found, wake);
        }
    }

    /// Asks for the comparison of what was found by the choices as they stand.
    fn compare(&mut self, found: Arc<Found>, wake: &Wake) {
        self.choices.fit(found.coatings.len());
        let same = self
            .compared
            .as_ref()
            .is_some_and(|(of, choices)| Arc::ptr_eq(of, &found) && *choices == self.choices);
        if !same {
            self.asked += 1;
            self.compared = Some((Arc::clone(&found), self.choices.clone()));
        }
        let choices = &self.choices;
        self.told.ask(self.asked, || {
            let choices = choices.clone();
            Job::start("compare by choices", wake, move |_| {
                Ok(compared(&found, &choices))
            })
        });
    }

    /// The page itself.
    pub fn ui(&mut self, ui: &mut Ui, scene: &Scene<'_>) {
        let Some(found) = self.found.shown().cloned() else {
            ui.heading("Coatings are being compared…");
            return;
        };
        self.choices.fit(found.coatings.len());
        let size = ui.available_size();
        let side = (size.x * 0.44).clamp(260.0, 560.0);
        let told = self.told.shown().cloned();
        let told = told.as_deref();
        if size.x < SIDE_BY_SIDE.0 || size.y < SIDE_BY_SIDE.1 {
            // One below the other, to be scrolled.
            ScrollArea::vertical().auto_shrink(false).show(ui, |ui| {
                self.plots_ui(ui, LEAST_PLOT, scene, &found.coatings, told);
                self.words_ui(ui, scene, &found.coatings, told);
            });
            return;
        }
        ui.horizontal_top(|ui| {
            ui.vertical(|ui| {
                ui.set_width(size.x - side - 16.0);
                let each = (size.y - 8.0) / 2.0;
                self.plots_ui(ui, each, scene, &found.coatings, told);
            });
            ui.vertical(|ui| {
                ui.set_width(side);
                ScrollArea::vertical().auto_shrink(false).show(ui, |ui| {
                    self.words_ui(ui, scene, &found.coatings, told);
                });
            });
        });
    }

    fn plots_ui(
        &self,
        ui: &mut Ui,
        each: f32,
        scene: &Scene<'_>,
        all: &[Coating],
        told: Option<&Told>,
    ) {
        curves_ui(ui, each, scene, all);
        if let Some(Ok(comparison)) = told {
            let quantity = self.quantity.unwrap_or(Measured::Dmax);
            trend_ui(ui, each, scene, comparison, quantity);
        }
    }

    fn words_ui(&mut self, ui: &mut Ui, scene: &Scene<'_>, all: &[Coating], told: Option<&Told>) {
        self.choices_ui(ui, all);
        ui.separator();
        let by_choices = self
            .compared
            .as_ref()
            .is_some_and(|(_, choices)| *choices == self.choices);
        if self.told.crashed(self.asked) {
            ui.label("Comparing broke down. Change what was said last; please report this.");
        } else if !(by_choices && self.told.is_current(self.asked)) {
            ui.label(RichText::new("Being worked out anew…").color(scene.theme.weak));
        }
        match told {
            None => {}
            Some(Ok(comparison)) => self.told_ui(ui, scene, comparison),
            Some(Err(why)) => {
                ui.label(why);
            }
        }
    }

    fn choices_ui(&mut self, ui: &mut Ui, coatings: &[Coating]) {
        let choices = &mut self.choices;
        ui.horizontal_wrapped(|ui| {
            ui.label("Differences:");
            if ui
                .selectable_label(choices.against.is_none(), "all pairs")
                .clicked()
            {
                choices.against = None;
            }
            for (place, coating) in coatings.iter().enumerate() {
                let said = format!("against {}", coating.name);
                if ui
                    .selectable_label(choices.against == Some(place), said)
                    .clicked()
                {
                    choices.against = Some(place);
                }
            }
        });
        for (place, coating) in coatings.iter().enumerate() {
            ui.horizontal_wrapped(|ui| {
                ui.label(format!("{} {}:", place + 1, coating.name));
                let coats = DragValue::new(&mut choices.coats[place])
                    .range(0..=20)
                    .suffix(" coats");
                ui.add(coats)
                    .accessible_name(format!("Coats of {}", coating.name));
                let wet = DragValue::new(&mut choices.millilitres[place])
                    .range(0.0..=50.0)
                    .speed(0.02)
                    .max_decimals(2)
                    .suffix(" ml/dm²");
                ui.add(wet)
                    .accessible_name(format!("Emulsion of {}", coating.name));
            });
        }
        ui.horizontal_wrapped(|ui| {
            ui.label("A litre costs");
            let price = DragValue::new(&mut choices.price_per_litre).range(0.0..=100_000.0);
            ui.add(price)
                .accessible_name("Price of a litre of emulsion");
            ui.label("and a piece has");
            let piece = DragValue::new(&mut choices.piece)
                .range(0.0..=10_000.0)
                .suffix(" dm²");
            ui.add(piece).accessible_name("Size of a piece");
        });
    }

    fn told_ui(&mut self, ui: &mut Ui, scene: &Scene<'_>, comparison: &Comparison) {
        let thinnest = headline(comparison);
        if thinnest.is_empty() {
            let hint = "Say coats or emulsion of every coating to see what another coat brings \
                        and which is the thinnest dark enough.";
            ui.label(RichText::new(hint).color(scene.theme.weak));
        } else {
            // On paper it has its lines; here they break by the width there is.
            let one_line = thinnest.split_whitespace().collect::<Vec<_>>().join(" ");
            ui.label(RichText::new(one_line).strong());
        }
        for table in &comparison.compared.tables {
            ui.add_space(8.0);
            ui.horizontal(|ui| {
                ui.strong(label(table.quantity));
                let drawn = self.quantity.unwrap_or(Measured::Dmax) == table.quantity;
                let named = format!("Draw {} by thickness", label(table.quantity));
                let button = ui.selectable_label(drawn, "drawn by thickness");
                if button.accessible_name(named).clicked() {
                    self.quantity = Some(table.quantity);
                }
            });
            let rows = table
                .together
                .iter()
                .flat_map(|together| &together.differences);
            for difference in rows {
                ui.label(difference_said(
                    &comparison.coatings,
                    table.quantity,
                    difference,
                ));
            }
            for &without in &table.without {
                let name = &comparison.coatings[without].name;
                ui.label(format!("{name}: no value to compare"));
            }
            if let (Some(line), Some(thickness)) = (&table.line, comparison.compared.thickness) {
                ui.label(line_said(table.quantity, line, thickness));
            }
        }
        let weak = RichText::new("All bounds of a table hold at once in 95 of 100 cases.");
        ui.label(weak.color(scene.theme.weak));
        for (place, coating) in comparison.coatings.iter().enumerate() {
            let look = comparison.looks.get(place).and_then(Option::as_ref);
            let cost = comparison.costs.get(place).and_then(Option::as_ref);
            if look.is_none() && cost.is_none() {
                continue;
            }
            ui.add_space(8.0);
            ui.strong(&coating.name);
            if let Some(cost) = cost {
                ui.label(format!("{} of emulsion on a piece", cost_said(cost)));
            }
            for line in look.map(look_said).unwrap_or_default() {
                ui.label(line);
            }
        }
    }
}

fn compared(found: &Found, choices: &Choices) -> Told {
    let all_said = |said: bool, asked: usize| if said { asked } else { 0 };
    let coats = all_said(
        choices.coats.iter().all(|&coats| coats > 0),
        choices.coats.len(),
    );
    let wet = choices.millilitres.iter().all(|&amount| amount > 0.0);
    let wet = all_said(wet, choices.millilitres.len());
    let asked = Asked {
        against: choices
            .against
            .and_then(|place| Some(found.coatings.get(place)?.name.clone())),
        coats: choices.coats[..coats].to_vec(),
        wet: choices.millilitres[..wet]
            .iter()
            .map(|&amount| Wet::Millilitres(amount))
            .collect(),
        price: (choices.price_per_litre > 0.0).then(|| Price {
            amount: choices.price_per_litre,
            currency: String::new(),
            per: PricePer::Litre,
        }),
        piece: (choices.piece > 0.0).then_some(choices.piece),
        ..Asked::default()
    };
    let (coatings, looks) = (found.coatings.clone(), found.looks.clone());
    Comparison::new(coatings, &found.shared, looks, &[], &asked).map_err(|error| error.to_string())
}
