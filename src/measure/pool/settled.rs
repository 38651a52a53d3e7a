//! Whether the next session is foretold well enough, and what it takes if not.

use serde::Serialize;

use super::model::Model;
use super::student::normal_quantile;
use super::{ENOUGH_SESSIONS, Effect, Posterior};
use crate::measure::predictive::Predictive;

/// More pairs than this are not proposed to anybody.
const MOST_PAIRS: usize = 100;

/// Chance of scatter too great for the tolerance from which pairs are said not to help.
const HOPELESS: f64 = 0.8;

/// Whether the sessions settle a quantity.
#[derive(Debug, Clone, Copy, PartialEq, Serialize)]
#[serde(rename_all = "kebab-case", tag = "is")]
pub enum Settled {
    /// The 95 % prediction interval is within the tolerance to either side.
    Yes,
    /// So many more pairs, one a session, are expected to settle it, if it can be settled.
    After {
        /// How many.
        pairs: usize,
        /// Chance that sessions differ little enough for any number of pairs to settle it.
        chance: f64,
    },
    /// No number of pairs is expected to: sessions differ by more than the tolerance.
    Never {
        /// Half-width that prediction would keep with pairs without end.
        least_half_width: f64,
    },
}

/// Tells whether the prediction `next` is within `tolerance`, and what is expected of more pairs.
///
/// Planned with sessions like those seen (their mean error), whose scatter is that of the
/// median of tau among the values that can be settled at all: with pairs without end the
/// half-width is 1.96 tau. `shared_error` is the error of the mean by what all sessions share. That is what is expected, not what will be: tau is known badly from
/// few sessions.
pub fn settled(
    effects: &[Effect],
    next: &Predictive,
    posterior: &Posterior,
    shared_error: f64,
    tolerance: f64,
) -> Settled {
    if next.half_width() <= tolerance {
        return Settled::Yes;
    }
    let widest = normal_quantile(0.975);
    // What sessions share stays, with pairs without end too.
    let left = (tolerance / widest).powi(2) - shared_error.powi(2);
    let never = |between: f64| Settled::Never {
        least_half_width: widest * between.hypot(shared_error),
    };
    if left <= 0.0 {
        return never(posterior.between_median_below(f64::MAX));
    }
    let limit = left.sqrt();
    let chance = posterior.between_below(limit);
    let count = effects.len();
    let within = effects.iter().map(Effect::variance).sum::<f64>() / count as f64;
    let between = posterior.between_median_below(limit);
    let enough = |sessions: usize| {
        let own = expected_half_width(sessions, between, within);
        own.hypot(widest * shared_error) <= tolerance
    };
    let first = ENOUGH_SESSIONS.saturating_sub(count).max(1);
    if chance <= 1.0 - HOPELESS || !enough(count + MOST_PAIRS) {
        return never(posterior.between_median_below(f64::MAX));
    }
    // The half-width falls with the sessions: halve the span.
    let (mut low, mut high) = (first, MOST_PAIRS);
    while low < high {
        let middle = (low + high) / 2;
        if enough(count + middle) {
            high = middle;
        } else {
            low = middle + 1;
        }
    }
    Settled::After { pairs: low, chance }
}

/// Half-width of the prediction from sessions whose values are spread just as expected: at the
/// normal distribution's quantiles, stretched to the expected variance.
fn expected_half_width(sessions: usize, between: f64, within: f64) -> f64 {
    let count = sessions as f64;
    let mut scores: Vec<f64> = (0..sessions)
        .map(|place| normal_quantile((place as f64 + 0.5) / count))
        .collect();
    let squares: f64 = scores.iter().map(|score| score * score).sum();
    let stretch = ((between.powi(2) + within) * (count - 1.0) / squares).sqrt();
    scores.iter_mut().for_each(|score| *score *= stretch);
    let effects: Vec<Effect> = scores
        .iter()
        .map(|&value| Effect {
            value,
            standard_error: within.sqrt(),
        })
        .collect();
    Model::mean(&effects).map_or(f64::INFINITY, |model| {
        Posterior::confidence(&model).even_half_width()
    })
}
