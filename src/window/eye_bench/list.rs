//! The matches that were made, pooled and held against the measurement.

use egui::Ui;

use super::{agreement_of, matched_stops, place_words, stops_of};
use crate::document::Edit;
use crate::document::report::words::{SPEED, plain};
use crate::measure::compare::eye::{self, Match};
use crate::window::request::{Request, Scene};
use crate::window::shell::answer::agreement_words;
use crate::window::theme::strong;

/// The list.
pub(super) fn matches_ui(
    ui: &mut Ui,
    scene: &Scene<'_>,
    pair: (usize, usize),
    asks: &mut Vec<Request>,
) {
    let made: Vec<(usize, &Match)> = scene
        .session
        .matches
        .iter()
        .enumerate()
        .filter(|(_, made)| (made.reference, made.coupon) == pair)
        .collect();
    if made.is_empty() {
        ui.weak("No matches yet.");
        return;
    }
    ui.heading("Matches");
    for (index, one) in &made {
        ui.horizontal_wrapped(|ui| {
            let stops = stops_of(scene, one);
            let said = stops.map_or_else(
                || "exposures not said".to_owned(),
                |one| {
                    format!(
                        "{} ± {}",
                        SPEED.said(one.stops),
                        plain(one.standard_error, 2)
                    )
                },
            );
            ui.label(format!(
                "paper {}, coated {}: {said}",
                place_words(one.reference_at),
                place_words(one.coupon_at)
            ));
            if ui.small_button("Take back").clicked() {
                asks.push(Request::edit(Edit::RemoveMatch(*index)));
            }
        });
    }
    let matched = matched_stops(scene, pair.0, pair.1);
    let Some(pooled) = eye::pooled(&matched) else {
        return;
    };
    if let (Some(value), Some((low, high))) = (pooled.stops.value, pooled.stops.bounds()) {
        ui.label(strong(format!("By eye {}", SPEED.said(value))));
        ui.label(format!(
            "between {}",
            SPEED.span(low, high).replace(" to ", " and ")
        ));
    }
    let measured = scene.analysis.and_then(|analysis| {
        analysis
            .pairs
            .iter()
            .find(|found| (found.reference, found.coupon) == pair)
    });
    if let Some(measured) = measured {
        if let Some(value) = measured.answer.stops.value {
            ui.label(format!("Measured {}", SPEED.said(value)));
        }
        if let Some(agreement) = agreement_of(scene, measured) {
            ui.label(agreement_words(agreement));
        }
    }
}
