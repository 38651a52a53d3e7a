//! Checks of what was read: order of densities, dirt.

use super::sample::{in_words, name};
use crate::measure::finding::{Finding, Kind, Place, Weight};

/// Least fall of density at rising exposure that counts.
const FALL: f64 = 0.02;

/// Standard errors that a fall must stand out by.
const SURE: f64 = 3.5;

/// Least density that a margin must be darker than a step for it to count.
const DARK_MARGIN: f64 = 0.03;

/// Standard error of a margin from its own unevenness, density, from which it is no even field:
/// on practice scans it is 0.0002 to 0.006 where the margin lies on the coat.
const UNEVEN_MARGIN: f64 = 0.012;

/// Share of a step's pixels taken for bubbles, dust and hairs from which it is told; from the
/// second on the step is more dirt than coat.
const DIRTY: f64 = 0.25;
const MOSTLY_DIRT: f64 = 0.6;

/// One step as read.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct ReadStep {
    /// Number from 1 in the order of the series.
    pub step: usize,
    /// Log exposure, decades.
    pub log_exposure: f64,
    /// Density.
    pub density: f64,
    /// Its standard error.
    pub standard_error: f64,
}

/// Finds steps that got more light than another and are lighter all the same.
pub fn order(strip: usize, steps: &[ReadStep]) -> Option<Finding> {
    let mut sorted: Vec<ReadStep> = steps
        .iter()
        .copied()
        .filter(|step| step.log_exposure.is_finite() && step.density.is_finite())
        .collect();
    sorted.sort_by(|a, b| a.log_exposure.total_cmp(&b.log_exposure));
    let falls = |a: &ReadStep, b: &ReadStep| {
        let error = a.standard_error.hypot(b.standard_error);
        let fall = a.density - b.density;
        (fall > FALL.max(SURE * error)).then_some(fall)
    };
    let against: Vec<(usize, f64)> = sorted
        .windows(2)
        .filter_map(|pair| Some((pair[1].step, falls(&pair[0], &pair[1])?)))
        .collect();
    let worst = against.iter().map(|(_, fall)| *fall).reduce(f64::max)?;
    let numbers: Vec<usize> = against.iter().map(|(step, _)| *step).collect();
    let (first, last) = (sorted.first()?, sorted.last()?);
    let reversed = 2 * against.len() >= sorted.len() && falls(first, last).is_some();
    Some(Finding {
        kind: Kind::NotMonotone,
        weight: if reversed {
            Weight::Blocking
        } else {
            Weight::Caution
        },
        place: match numbers[..] {
            [only] => Place::step(strip, only),
            _ => Place::strip(strip),
        },
        seen: if reversed {
            format!(
                "Density falls as exposure rises along {}, by {:.2} D from end to end.",
                name(Some(strip)),
                first.density - last.density
            )
        } else {
            format!(
                "Of {}, {} got more light than the step before and {} lighter by up to \
                 {worst:.2} D.",
                name(Some(strip)),
                in_words("step", &numbers),
                if numbers.len() == 1 { "is" } else { "are" },
            )
        },
        matters: if reversed {
            "The steps are read in the wrong order, so that nothing can be concluded.".to_owned()
        } else {
            format!(
                "No curve can follow that; the fit is pulled by up to {worst:.2} D there, more \
                 than its bounds allow for."
            )
        },
        remedy: if reversed {
            "Turn the order of the times in the session, or the direction of the strip."
        } else {
            "Look at the step on the scan: a stain, a fogged patch or a wrong time; leave it out \
             of the fit if so."
        }
        .to_owned(),
    })
}

/// Finds a margin that is darker than a step: what got no light can't be, so it is no margin, or
/// something lies over it. `margin` is its density and the standard error.
pub fn dark_margin(strip: usize, margin: (f64, f64), steps: &[ReadStep]) -> Option<Finding> {
    let (density, error) = margin;
    let lightest = steps
        .iter()
        .filter(|step| step.density.is_finite())
        .min_by(|a, b| a.density.total_cmp(&b.density))?;
    let by = density - lightest.density;
    let sure = SURE * error.hypot(lightest.standard_error);
    (by > DARK_MARGIN.max(sure)).then(|| Finding {
        kind: Kind::NotMonotone,
        weight: Weight::Blocking,
        place: Place::step(strip, 0),
        seen: format!(
            "What was taken for the margin of {} is {by:.2} D darker than step {}, though a \
             margin gets no light.",
            name(Some(strip)),
            lightest.step
        ),
        matters: "The steps were probably found in the wrong places, so that nothing can be \
                  concluded."
            .to_owned(),
        remedy: "Compare the count of steps on the strip with the series, look for a shadow or \
                 a stain on the margin, or give the strip's shape in the session."
            .to_owned(),
    })
}

/// Finds a margin that is not even: it lies partly on bare ground or on a step. `error` is the
/// standard error of its density from unevenness, the scale's error left out.
pub fn uneven_margin(strip: usize, error: f64) -> Option<Finding> {
    (error > UNEVEN_MARGIN).then(|| Finding {
        kind: Kind::UncertainEdges,
        weight: Weight::Caution,
        place: Place::step(strip, 0),
        seen: format!(
            "What was taken for the unexposed coat of {} is not one even tone: its density is \
             uncertain by {error:.3} D.",
            name(Some(strip))
        ),
        matters: "Stain or fog changes over it, or it lies partly off the coat; Dmin is uncertain \
                  by as much, and the bounds hold that."
            .to_owned(),
        remedy: "Look at it on the scan; point at a place that lies wholly on the coat if it \
                 doesn't."
            .to_owned(),
    })
}

/// Finds steps of which much was rejected as bubbles, dust or hairs; `rejected` are shares from
/// 0 to 1 by step number (from 1; 0 is the margin).
pub fn dirty(strip: usize, rejected: &[(usize, f64)]) -> Option<Finding> {
    let dirty: Vec<(usize, f64)> = rejected
        .iter()
        .copied()
        .filter(|(_, share)| *share > DIRTY)
        .collect();
    let worst = dirty.iter().map(|(_, share)| *share).reduce(f64::max)?;
    let numbers: Vec<usize> = dirty.iter().map(|(step, _)| *step).collect();
    let steps: Vec<usize> = numbers.iter().copied().filter(|&step| step > 0).collect();
    let what = match (numbers.contains(&0), steps.is_empty()) {
        (true, true) => "the margin".to_owned(),
        (true, false) => format!("the margin and {}", in_words("step", &steps)),
        (false, _) => in_words("step", &steps),
    };
    Some(Finding {
        kind: Kind::DirtyStep,
        weight: if worst > MOSTLY_DIRT {
            Weight::Caution
        } else {
            Weight::Note
        },
        place: match steps[..] {
            [only] if numbers.len() == 1 => Place::step(strip, only),
            _ => Place::strip(strip),
        },
        seen: format!(
            "In {what} of {} up to {:.0} % of the pixels were passed over as bubbles, dust or \
             hairs.",
            name(Some(strip)),
            100.0 * worst,
        ),
        matters: "What is left may not be typical of the coat; the density is surer to be off \
                  than its error says when more than half is passed over."
            .to_owned(),
        remedy: "Clean the glass and the strip and scan again, or leave the step out of the fit."
            .to_owned(),
    })
}

#[cfg(test)]
mod tests {
    use super::*;

    fn steps(densities: &[f64], error: f64) -> Vec<ReadStep> {
        densities
            .iter()
            .enumerate()
            .map(|(index, &density)| ReadStep {
                step: index + 1,
                log_exposure: 0.2 * index as f64,
                density,
                standard_error: error,
            })
            .collect()
    }

    #[test]
    fn densities_that_rise_with_exposure_are_in_order() {
        assert_eq!(order(0, &steps(&[0.1, 0.2, 0.5, 0.9, 1.3], 0.01)), None);
    }

    #[test]
    fn a_small_step_back_within_the_errors_is_chance() {
        assert_eq!(order(0, &steps(&[0.1, 0.5, 0.9, 1.30, 1.27], 0.02)), None);
        assert_eq!(order(0, &steps(&[0.1, 0.5, 0.9, 1.30, 1.285], 0.001)), None);
    }

    #[test]
    fn a_step_lighter_than_the_one_with_less_light_is_told() {
        let found = order(3, &steps(&[0.1, 0.2, 0.5, 0.35, 1.3], 0.01)).expect("it falls");
        assert_eq!(found.weight, Weight::Caution);
        assert_eq!(found.place, Place::step(3, 4));
        assert!(found.seen.contains("0.15 D"), "{}", found.seen);
    }

    #[test]
    fn the_order_of_the_list_does_not_matter_only_the_exposures_do() {
        let mut list = steps(&[0.1, 0.2, 0.5, 0.9, 1.3], 0.01);
        list.reverse();
        assert_eq!(order(0, &list), None);
    }

    #[test]
    fn a_strip_read_backwards_forbids_an_answer() {
        let found = order(0, &steps(&[1.3, 0.9, 0.5, 0.2, 0.1], 0.01)).expect("it is reversed");
        assert_eq!(found.weight, Weight::Blocking);
    }

    #[test]
    fn clean_steps_are_not_dirty_and_a_bubbly_one_is() {
        assert_eq!(dirty(0, &[(0, 0.01), (1, 0.05), (2, 0.2)]), None);
        let found = dirty(1, &[(0, 0.01), (1, 0.3), (2, 0.2)]).expect("it is");
        assert_eq!(
            (found.weight, found.place),
            (Weight::Note, Place::step(1, 1))
        );
        let found = dirty(1, &[(0, 0.7), (2, 0.3)]).expect("it is");
        assert_eq!(found.weight, Weight::Caution);
        assert!(
            found.seen.contains("the margin and step 2"),
            "{}",
            found.seen
        );
    }

    #[test]
    fn a_margin_that_is_darker_than_a_step_is_none() {
        let steps = steps(&[0.1, 0.2, 0.5, 0.9, 1.3], 0.01);
        assert_eq!(dark_margin(0, (0.08, 0.005), &steps), None);
        assert_eq!(dark_margin(0, (0.125, 0.01), &steps), None);
        let found = dark_margin(2, (0.25, 0.01), &steps).expect("it is darker than step 1");
        assert_eq!(
            (found.weight, found.place),
            (Weight::Blocking, Place::step(2, 0))
        );
        assert!(
            found.seen.contains("0.15 D darker than step 1"),
            "{}",
            found.seen
        );
    }
}
