//! Two profiles side by side.

use egui::{Grid, RichText, Ui};

use super::ProfilesBench;
use super::keeper::Looked;
use crate::document::profile::{Field, Profile, ProfilePool, Quantity};
use crate::document::report::profile::stops_apart;
use crate::document::report::words::{SPEED, cell};
use crate::window::theme::{Theme, strong};

impl ProfilesBench {
    pub(super) fn beside_ui(
        &mut self,
        ui: &mut Ui,
        theme: &Theme,
        looked: &Looked,
        file: &str,
        profile: &Profile,
    ) {
        let cards = looked.listing.as_ref().map_or(&[][..], |all| &all.cards);
        let name = |wanted: &str| {
            let found = cards.iter().find(|(file, _)| file == wanted);
            found.map(|(_, card)| card.name.as_str())
        };
        let shown = self.beside.as_deref().and_then(name);
        egui::ComboBox::from_label("The other profile")
            .width(280.0)
            .selected_text(shown.unwrap_or("choose one"))
            .show_ui(ui, |ui| {
                for (other, card) in cards.iter().filter(|(other, _)| other != file) {
                    let on = self.beside.as_ref() == Some(other);
                    if ui.selectable_label(on, &card.name).clicked() {
                        self.beside = Some(other.clone());
                    }
                }
            });
        let Some(other) = self.beside.as_deref().and_then(|file| looked.opened(file)) else {
            return;
        };
        match &other.content {
            Ok((right, _)) => table_ui(ui, theme, profile, right),
            Err(why) => {
                ui.label(why);
            }
        }
    }
}

fn table_ui(ui: &mut Ui, theme: &Theme, left: &Profile, right: &Profile) {
    if let Some(apart) = stops_apart(left, right)
        && let (Some(value), Some((lower, upper))) = (apart.value, apart.bounds())
    {
        let shown = if lower > 0.0 || upper < 0.0 {
            "more than chance explains"
        } else {
            "no more than chance explains"
        };
        ui.label(strong(format!(
            "{} is {} than {} ({}): {shown}.",
            right.name,
            SPEED.said(value),
            left.name,
            SPEED.span(lower, upper)
        )));
    }
    let pools = [left, right].map(|profile| ProfilePool::of(profile, None));
    Grid::new("beside")
        .num_columns(4)
        .striped(true)
        .spacing([16.0, 4.0])
        .show(ui, |ui| {
            ui.label("");
            ui.label("");
            ui.label(strong(&left.name));
            ui.label(strong(&right.name));
            ui.end_row();
            for quantity in Quantity::ALL {
                let decimals = if quantity == Quantity::Contrast { 0 } else { 2 };
                ui.label("");
                ui.label(quantity.label());
                for pool in &pools {
                    let mean = pool
                        .quantity(quantity)
                        .and_then(|one| Some(one.pooled.as_ref().ok()?.mean));
                    ui.label(mean.map_or_else(|| "-".into(), |mean| cell(&mean, decimals)));
                }
                ui.end_row();
            }
            for field in Field::ALL {
                let said = [left, right].map(|profile| profile.particulars.get(field));
                if said.iter().all(String::is_empty) {
                    continue;
                }
                // What differs has a word for it, and is not only bold.
                let differs = said[0] != said[1];
                ui.label(if differs { "differs" } else { "" });
                ui.label(field.label());
                for text in said {
                    if differs {
                        ui.label(strong(text));
                    } else {
                        ui.label(RichText::new(text).color(theme.weak));
                    }
                }
                ui.end_row();
            }
        });
}
