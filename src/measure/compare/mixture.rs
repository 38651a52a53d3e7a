//! One answer from several readings of the strips.
//!
//! Where it isn't certain how a strip is to be read, the pair is solved for every joint reading,
//! and the draws are put together by the readings' chances: a finite mixture of posteriors (law
//! of total probability; Hoeting, Madigan, Raftery & Volinsky 1999, Statist. Sci. 14:382, there
//! called model averaging). Its variance is that within the readings and that between them.

use super::{PairAnswer, ReadAs, Source, StripEvidence};
use crate::measure::curve::OtherReading;
use crate::measure::reading::StripReading;

/// Chance below which a joint reading is left out.
const LEAST_CHANCE: f64 = 0.01;
/// Half-width of the ratio's bounds, stops, from which a mixture that has no leading reading is
/// of no use: half a stop to either side is more than a bracket of test prints mends.
const TOO_WIDE: f64 = 0.5;
/// And from which it is of no use though one leads.
const FAR_TOO_WIDE: f64 = 1.0;
/// Chance of all readings about the likeliest from which they lead.
const LEADING: f64 = 0.75;
/// Stops from the likeliest reading's answer within which another says the same.
const SAME: f64 = 0.25;
/// Share of the variance that the doubt about places must have, for it to be the reason.
const MAINLY_DOUBT: f64 = 0.5;
/// Most joint readings that are solved; the rest is unlikely by then.
const MOST_CASES: usize = 10;

/// One way to read both strips.
pub(super) struct Case {
    /// Its chance among those that are solved.
    pub chance: f64,
    /// Which reading of either strip: 0 for the one used, then the others by number from 1.
    pub of: [usize; 2],
    /// The evidence as read in that way.
    pub evidence: [StripEvidence; 2],
}

/// A strip's readings: number, the way of assigning strips that each belongs to, and its chance.
fn readings(evidence: &StripEvidence) -> Vec<(usize, usize, f64)> {
    let others = evidence.others.iter().enumerate();
    let others = others.map(|(index, other)| (index + 1, other.way, other.chance));
    std::iter::once((0, 0, evidence.chance()))
        .chain(others)
        .collect()
}

/// The evidence with one of its readings in the place of the one used, and no other.
fn as_read(evidence: &StripEvidence, number: usize) -> StripEvidence {
    let reading: &StripReading = match number.checked_sub(1) {
        None => &evidence.reading,
        Some(other) => {
            let OtherReading { reading, .. } = &evidence.others[other];
            reading
        }
    };
    StripEvidence {
        reading: reading.clone(),
        others: vec![],
        exposures: evidence.exposures.clone(),
        excluded: evidence.excluded.clone(),
        ..*evidence
    }
}

/// The joint readings of two strips that have a chance worth it, the one used first, then by
/// falling chance. Which strip is which goes for both alike; all else is independent.
pub(super) fn cases(reference: &StripEvidence, coupon: &StripEvidence) -> Vec<Case> {
    let (of_reference, of_coupon) = (readings(reference), readings(coupon));
    let of_way = |way: usize| -> f64 {
        let own = of_reference.iter().filter(|reading| reading.1 == way);
        own.map(|reading| reading.2).sum()
    };
    let mut joint: Vec<([usize; 2], f64)> = Vec::new();
    for &(a, way, chance) in &of_reference {
        let together = of_coupon.iter().filter(|other| other.1 == way);
        joint.extend(together.map(|&(b, _, other)| ([a, b], chance * other / of_way(way))));
    }
    joint.sort_by(|a, b| b.1.total_cmp(&a.1));
    joint.sort_by_key(|(of, _)| *of != [0, 0]);
    joint.retain(|(of, chance)| *of == [0, 0] || *chance > LEAST_CHANCE);
    joint.truncate(MOST_CASES);
    let total: f64 = joint.iter().map(|(_, chance)| chance).sum();
    joint
        .into_iter()
        .map(|(of, chance)| Case {
            chance: if total > 0.0 { chance / total } else { 1.0 },
            of,
            evidence: [as_read(reference, of[0]), as_read(coupon, of[1])],
        })
        .collect()
}

/// How many of `count` draws each chance gets, spread evenly over all of its own: places among
/// them. The shares are those of the largest remainders, so that they add up.
pub(super) fn shares(chances: &[f64], count: usize) -> Vec<Vec<usize>> {
    let whole: f64 = chances.iter().sum();
    let exact: Vec<f64> = chances
        .iter()
        .map(|chance| chance / whole * count as f64)
        .collect();
    let mut given: Vec<usize> = exact.iter().map(|share| share.floor() as usize).collect();
    let mut by_rest: Vec<usize> = (0..chances.len()).collect();
    by_rest.sort_by(|&a, &b| exact[b].fract().total_cmp(&exact[a].fract()));
    let left = count.saturating_sub(given.iter().sum());
    for &place in by_rest.iter().take(left) {
        given[place] += 1;
    }
    given
        .into_iter()
        .map(|share| (0..share).map(|draw| draw * count / share).collect())
        .collect()
}

/// Variance within the readings and that between them, from the finite draws of each and its
/// chance; `None` where a reading has none.
pub(super) fn variances(readings: &[(Vec<f64>, f64)]) -> Option<(f64, f64)> {
    let moments = |draws: &[f64]| -> Option<(f64, f64)> {
        let finite = || draws.iter().copied().filter(|value| value.is_finite());
        let count = finite().count() as f64;
        let mean = finite().sum::<f64>() / count;
        let variance = finite().map(|value| (value - mean).powi(2)).sum::<f64>() / count;
        (count > 0.0).then_some((mean, variance))
    };
    let each: Vec<(f64, f64, f64)> = readings
        .iter()
        .map(|(draws, chance)| {
            let (mean, variance) = moments(draws)?;
            Some((mean, variance, *chance))
        })
        .collect::<Option<_>>()?;
    let whole: f64 = each.iter().map(|one| one.2).sum();
    let over = |of: &dyn Fn(&(f64, f64, f64)) -> f64| -> f64 {
        each.iter().map(|one| one.2 * of(one)).sum::<f64>() / whole
    };
    let mean = over(&|one| one.0);
    Some((over(&|one| one.1), over(&|one| (one.0 - mean).powi(2))))
}

/// Whether a mixture is too wide to be of use because of the doubt about the readings: then a
/// person must choose among them.
pub(super) fn is_useless(answer: &PairAnswer, readings: &[ReadAs]) -> bool {
    let Some(half_width) = answer.stops.half_width() else {
        return false;
    };
    let doubt = answer
        .budget
        .iter()
        .find(|part| part.source == Source::Places)
        .map_or(0.0, |part| part.share);
    let likeliest = readings
        .iter()
        .filter(|reading| reading.stops.value.is_some())
        .max_by(|a, b| a.chance.total_cmp(&b.chance));
    let Some(likeliest) = likeliest.and_then(|reading| reading.stops.value) else {
        return false;
    };
    let (mut leading, mut whole) = (0.0, 0.0);
    for reading in readings {
        let Some(stops) = reading.stops.value else {
            continue;
        };
        whole += reading.chance;
        if (stops - likeliest).abs() <= SAME {
            leading += reading.chance;
        }
    }
    let limit = if leading >= LEADING * whole {
        FAR_TOO_WIDE
    } else {
        TOO_WIDE
    };
    doubt > MAINLY_DOUBT && half_width > limit
}
