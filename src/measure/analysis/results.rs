//! From readings to what is told of each strip and step.

use std::sync::Arc;

use super::alternatives::Way;
use super::{Question, StepResult, StripResult};
use crate::measure::check::plausible::can_be_shown;
use crate::measure::compare::PairAnswer;
use crate::measure::estimate::{Estimate, Gap};
use crate::measure::geometry::{Field, StripShape};
use crate::measure::reading::{Cell, StripReading};
use crate::measure::strip::{Alternative, Found, Located};

/// Every strip with its place, its steps and its unevenness.
pub(super) fn strip_results(
    question: &Question,
    found: &Found,
    ways: &[Vec<Way>],
    strip_cells: &[Option<Arc<Vec<Cell>>>],
    readings: &[Option<Arc<StripReading>>],
) -> Vec<StripResult> {
    let result = |(strip, located): (usize, &Option<Located>)| {
        let spec = question.strips.get(strip);
        let exposures = spec.and_then(|spec| spec.exposures.as_ref());
        let log_exposures =
            exposures.map(|exposures| exposures.log_exposures(question.settings.lag.0));
        let steps = match (located, &strip_cells[strip], &readings[strip]) {
            (Some(located), Some(cells), Some(reading)) => {
                let mut steps =
                    step_results(&located.shape, cells, reading, log_exposures.as_deref());
                // What is no density is told by its check, and shown nowhere.
                steps.retain(|step| can_be_shown(step.density));
                steps
            }
            _ => Vec::new(),
        };
        StripResult {
            name: spec.map_or_else(|| format!("strip {}", strip + 1), |spec| spec.name.clone()),
            role: spec.map(|spec| spec.role),
            same_as: spec.and_then(|spec| spec.same_as),
            located: located
                .as_ref()
                .map(|located| in_all_ways(located, &ways[strip])),
            steps,
            unevenness: readings[strip].as_ref().map(|reading| reading.unevenness),
        }
    };
    found.strips.iter().enumerate().map(result).collect()
}

/// The place of a strip with its readings in all ways of assigning the things found. What is
/// known of the whole goes on holding: what the readings leave open stays open.
fn in_all_ways(located: &Located, ways: &[Way]) -> Located {
    let known: f64 = located.readings.iter().map(|reading| reading.chance).sum();
    let readings = ways.iter().map(|way| Alternative {
        shape: way.shape.clone(),
        chance: way.chance * known,
    });
    Located {
        readings: readings.collect(),
        ..located.clone()
    }
}

/// Takes what is no density off a pair's curves, and what was fitted to it.
pub(super) fn hide_nonsense(answer: &mut PairAnswer) {
    for curve in [&mut answer.reference, &mut answer.coupon] {
        let read = curve.points.len();
        curve.points.retain(|point| can_be_shown(point.density));
        if curve.points.len() < read {
            let absent = Estimate::absent(Gap::NotMeasured);
            curve.dmin = absent;
            curve.dmax = absent;
            curve.speed_point = absent;
            curve.range = absent;
            curve.mean_gradient = absent;
            curve.curve.clear();
        }
    }
}

/// The margin and the steps of one strip.
pub(super) fn step_results(
    shape: &StripShape,
    cells: &[Cell],
    reading: &StripReading,
    log_exposures: Option<&[f64]>,
) -> Vec<StepResult> {
    let margin = usize::from(reading.has_margin);
    (0..reading.density.len())
        .filter_map(|entry| {
            let step = entry.checked_sub(margin).map(|index| reading.steps[index]);
            let wanted = step.map_or(Field::Margin, Field::Step);
            let part = (0..shape.parts()).find(|&part| shape.part(part) == Some(wanted))?;
            let own: Vec<&Cell> = cells
                .iter()
                .filter(|cell| shape.part(cell.field) == Some(wanted))
                .collect();
            let mean = |value: fn(&Cell) -> f64| {
                own.iter().map(|cell| value(cell)).sum::<f64>() / own.len().max(1) as f64
            };
            let scale_variance: f64 = reading
                .scale_modes
                .row(entry)
                .iter()
                .map(|mode| mode * mode)
                .sum();
            Some(StepResult {
                step: step.map_or(0, |step| step + 1),
                corners: shape.part_corners(part),
                density: reading.density[entry],
                standard_error: (reading.covariance[(entry, entry)] + scale_variance).sqrt(),
                scanner_density: reading.scanner[entry],
                log_exposure: step.and_then(|step| log_exposures?.get(step).copied()),
                rejected: mean(|cell| cell.rejected),
                clipped: mean(|cell| cell.clipped),
            })
        })
        .collect()
}
