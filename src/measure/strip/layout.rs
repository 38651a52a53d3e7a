//! Margins, numbering and borders of a strip that was read along a lane.

use super::borders::{Border, evened, placed};
use super::candidate::Candidate;
use super::posterior::Reading;
use super::shape::Layout;
use crate::measure::geometry::Field;

/// The step of the series that lies on each field, from the lightest to the darkest.
///
/// Steps of equal exposure keep their order in the series.
pub(super) fn numbering(count: usize, log_exposures: Option<&[f64]>) -> Vec<usize> {
    let mut order: Vec<usize> = (0..count).collect();
    if let Some(exposures) = log_exposures.filter(|list| list.len() == count) {
        order.sort_by(|&a, &b| exposures[a].total_cmp(&exposures[b]));
    }
    order
}

/// How fields came to be.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) enum Made {
    /// Steps under a card held by hand.
    ByHand,
    /// Fields of a bought wedge.
    ByMachine,
}

/// Fields and borders of a reading in lane coordinates.
pub(super) fn layout(
    candidate: &Candidate,
    reading: &Reading,
    made: Made,
    numbering: &[usize],
) -> Layout {
    let (steps, certainty) = (&reading.steps, reading.certainty.as_slice());
    let mut borders = placed(&candidate.profile, &candidate.lane, steps, certainty);
    if made == Made::ByMachine {
        evened(&mut borders, &steps.evidence);
    }
    let mut fields: Vec<Field> = numbering.iter().map(|&step| Field::Step(step)).collect();
    // A second margin beyond the darkest step is left alone: bare ground looks like it.
    if let Some(begins) = steps.begins {
        borders.insert(0, Border::square(begins));
        fields.insert(0, Field::Margin);
    }
    for border in &mut borders {
        border.at += candidate.profile_from;
    }
    Layout { borders, fields }
}
