//! Whether the next session is foretold well enough, and what it takes if not.

use serde::Serialize;

use super::student::{normal_quantile, student_quantile};
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
/// With n sessions like those seen the half-width is t(n-1) sqrt(tau^2 + (tau^2 + s^2) / n),
/// which falls to 1.96 tau. Planned with the median of tau among those values that can be
/// settled at all. That is what is expected, not what will be: tau is known badly from few
/// sessions.
pub fn settled(
    effects: &[Effect],
    next: &Predictive,
    posterior: &Posterior,
    tolerance: f64,
) -> Settled {
    let half_width = next.quantile(0.975) - next.centre;
    if half_width <= tolerance {
        return Settled::Yes;
    }
    let limit = tolerance / normal_quantile(0.975);
    let chance = posterior.between_below(limit);
    let count = effects.len();
    let within = effects.iter().map(Effect::variance).sum::<f64>() / count as f64;
    let between = posterior.between_median_below(limit);
    let expected = |sessions: usize| {
        let n = sessions as f64;
        let variance = between.powi(2) + (between.powi(2) + within) / n;
        student_quantile(0.975, n - 1.0) * variance.sqrt()
    };
    let first = ENOUGH_SESSIONS.saturating_sub(count).max(1);
    let enough = (first..=MOST_PAIRS).find(|pairs| expected(count + pairs) <= tolerance);
    match enough {
        Some(pairs) if chance > 1.0 - HOPELESS => Settled::After { pairs, chance },
        _ => Settled::Never {
            least_half_width: normal_quantile(0.975) * posterior.between_median_below(f64::MAX),
        },
    }
}
