//! From evidence to chances, and from chances to one distribution of Dmin.

use super::evidence::{Evidence, KINDS};
use super::toe::Toe;

/// Weights of the evidence in a conditional logit.
#[derive(Debug, Clone, PartialEq)]
pub struct Weights {
    /// One a kind, in the order of [`super::evidence::NAMES`].
    pub kinds: [f64; KINDS],
    /// The score of "none of them".
    pub none: f64,
}

impl Weights {
    /// Fitted on practice strips (docs/locating.md says on which, and how well they hold on
    /// families of layouts that were left out).
    pub const FITTED: Self = Self {
        kinds: [
            1.24, -0.78, 0.40, 1.04, -0.45, -0.75, 0.69, -0.51, 0.28, -1.06, -0.18, 0.14, -2.62,
            -1.54, 0.87, -0.55, -0.27, 0.95, -0.53,
        ],
        none: -2.41,
    };

    /// Chances of the candidates with this evidence, and of none of them.
    pub fn chances(&self, evidence: &[Evidence]) -> (Vec<f64>, f64) {
        let score = |evidence: &Evidence| -> f64 {
            self.kinds.iter().zip(evidence).map(|(w, e)| w * e).sum()
        };
        let scores: Vec<f64> = evidence.iter().map(score).collect();
        let most = scores.iter().copied().fold(self.none, f64::max);
        let none = (self.none - most).exp();
        let weighed: Vec<f64> = scores.iter().map(|score| (score - most).exp()).collect();
        let total = weighed.iter().sum::<f64>() + none;
        (weighed.iter().map(|w| w / total).collect(), none / total)
    }
}

/// Dmin lies within this of one place, density,
const WITHIN: f64 = 0.015;
/// with at least this chance, for it to be sure.
const SURE: f64 = 0.85;
/// Spacing at which distributions are added up, density.
const GRID: f64 = 0.001;
/// Least standard deviations: of a candidate's level, of a way of the toe, of the answer.
const LEAST: (f64, f64, f64) = (0.004, 0.008, 0.004);

/// What all candidates together say of Dmin.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Together {
    /// Mean, density.
    pub dmin: f64,
    /// Standard error, density.
    pub error: f64,
    /// Chance that it lies within 0.015 D of one place.
    pub chance: f64,
    /// Whether that is sure: then mean and error are those within that stretch.
    pub sure: bool,
}

/// Mixes the candidates (density, standard error, chance) and, with the chance of none, what the
/// steps alone say.
pub(super) fn together(candidates: &[(f64, f64, f64)], none: f64, toe: &Toe) -> Together {
    let lightest = if toe.lightest.is_finite() {
        toe.lightest
    } else {
        0.0
    };
    let from = -0.02;
    let count = ((lightest.max(0.02) + 0.06 - from) / GRID) as usize + 1;
    let at = |index: usize| from + index as f64 * GRID;
    let mut mixed = vec![0.0; count];
    let mut add = |chance: f64, part: &dyn Fn(f64) -> f64| {
        let part: Vec<f64> = (0..count).map(|index| part(at(index))).collect();
        let total: f64 = part.iter().sum();
        if total > 0.0 {
            for (mixed, part) in mixed.iter_mut().zip(&part) {
                *mixed += chance * part / total;
            }
        }
    };
    for &(density, error, chance) in candidates {
        let sd = error.hypot(LEAST.0);
        add(chance, &|at| (-0.5 * ((at - density) / sd).powi(2)).exp());
    }
    add(none, &|at| {
        let likely = |way: &super::toe::Way| {
            let sd = way.sd.max(LEAST.1);
            way.chance * (-0.5 * ((at - way.mean) / sd).powi(2)).exp() / sd
        };
        let possible = at > 0.0 && at < lightest + 0.005;
        let toe: f64 = toe.ways.iter().map(likely).sum();
        if possible { toe + 1e-12 } else { 1e-12 }
    });
    let total: f64 = mixed.iter().sum();
    let reach = (WITHIN / GRID).round() as usize;
    let near = |index: usize| {
        let window = index.saturating_sub(reach)..(index + reach + 1).min(count);
        mixed[window].iter().sum::<f64>() / total.max(1e-300)
    };
    let (place, chance) =
        (0..count)
            .map(|index| (index, near(index)))
            .fold(
                (0, 0.0),
                |best, here| if here.1 > best.1 { here } else { best },
            );
    let sure = chance >= SURE;
    let counts = |index: usize| !sure || index.abs_diff(place) <= reach;
    let (mut weight, mut first, mut second) = (0.0, 0.0, 0.0);
    for (index, mixed) in mixed.iter().enumerate().filter(|(index, _)| counts(*index)) {
        weight += mixed;
        first += mixed * at(index);
        second += mixed * at(index).powi(2);
    }
    let dmin = first / weight.max(1e-300);
    let variance = (second / weight.max(1e-300) - dmin * dmin).max(0.0);
    Together {
        dmin,
        error: variance.sqrt().max(LEAST.2),
        chance,
        sure,
    }
}
