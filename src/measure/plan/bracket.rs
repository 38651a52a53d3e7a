//! A bracket: exposures for the pieces that are left, so that at least one hits.
//!
//! What a piece needs is c + s, in stops: c is common to all pieces of the day and foreseen by a
//! [`Predictive`], s is each piece's own, normal about 0. A piece exposed for e hits when
//! |c + s - e| is within the tolerance. The chance that at least one of several hits is
//! 1 - E[prod(1 - P(hit | c))], the mean taken over c. All pieces are exposed before the first
//! is looked at: whoever looks in between does better.

use serde::Serialize;
use statrs::distribution::{ContinuousCDF as _, Normal};

use crate::measure::predictive::Predictive;

/// Most pieces that a bracket is worked out for; more are exposed like the last ones.
pub const MOST_PIECES: usize = 12;
/// Equal shares that the foreseen common part is cut into for the mean over it: the chance
/// is then good to about 0.001.
const SHARES: usize = 400;
/// Standard deviations from the middle to the end of a 95 % interval.
const NORMAL_95: f64 = 1.959_964;
/// First and last step of the search for the exposures, as shares of the whole spread.
const FIRST_STEP: f64 = 0.25;
const LAST_STEP: f64 = 0.002;

/// Exposures for several pieces.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct Bracket {
    /// How far off counts as a hit, stops.
    pub tolerance: f64,
    /// One entry a piece, from the least light to the most: stops from the planned exposure.
    pub stops: Vec<f64>,
    /// The same in seconds of lamp time; empty until a plan fills it.
    pub times: Vec<f64>,
    /// Chance that at least one piece hits, 0 to 1.
    pub chance: f64,
    /// What else could be done.
    pub instead: Instead,
}

/// What one thing more would buy.
#[derive(Debug, Clone, Copy, PartialEq, Default, Serialize)]
pub struct Instead {
    /// Chance with one piece more.
    pub another_piece: f64,
    /// Chance with as many pieces, after another pair of test strips made on the day of
    /// printing with the same coat.
    pub another_pair: f64,
}

/// The common part in equal shares, each by the middle of its own.
fn shares(need: &Predictive) -> Vec<f64> {
    need.quantiles((0..SHARES).map(|share| (share as f64 + 0.5) / SHARES as f64))
}

/// Chance of a piece to hit when its need is normal about `off` with this scatter.
fn hit(off: f64, scatter: f64, tolerance: f64) -> f64 {
    if scatter <= 0.0 {
        return f64::from(off.abs() <= tolerance);
    }
    let standard = Normal::standard();
    standard.cdf((off + tolerance) / scatter) - standard.cdf((off - tolerance) / scatter)
}

/// Chance that at least one of these exposures (stops, on the scale of `need`) hits.
pub fn chance(need: &Predictive, scatter: f64, tolerance: f64, exposures: &[f64]) -> f64 {
    // With no scatter the pieces cover stretches of the need: exact, where shares would be
    // off by up to one of them at each border.
    if scatter <= 0.0 {
        return covered(need, tolerance, exposures);
    }
    chance_over(&shares(need), scatter, tolerance, exposures)
}

fn chance_over(shares: &[f64], scatter: f64, tolerance: f64, exposures: &[f64]) -> f64 {
    let missed: f64 = shares
        .iter()
        .map(|common| {
            exposures
                .iter()
                .map(|exposure| 1.0 - hit(common - exposure, scatter, tolerance))
                .product::<f64>()
        })
        .sum();
    1.0 - missed / shares.len() as f64
}

fn covered(need: &Predictive, tolerance: f64, exposures: &[f64]) -> f64 {
    let mut sorted = exposures.to_vec();
    sorted.sort_by(f64::total_cmp);
    let mut from = f64::NEG_INFINITY;
    let mut chance = 0.0;
    for exposure in sorted {
        let low = from.max(exposure - tolerance);
        let high = exposure + tolerance;
        chance += need.between(low, high);
        from = high;
    }
    chance
}

/// The exposures (stops from the foreseen need's middle, ascending) with the best chance that
/// at least one of `pieces` hits, and that chance.
///
/// From an even ladder, the distances of which are tried first, each exposure is moved by
/// itself while that helps. Chance and exposures are those of at most [`MOST_PIECES`].
pub fn best(need: &Predictive, scatter: f64, tolerance: f64, pieces: usize) -> (Vec<f64>, f64) {
    let pieces = pieces.min(MOST_PIECES);
    if pieces == 0 {
        return (vec![], 0.0);
    }
    let centred = Predictive {
        centre: 0.0,
        ..*need
    };
    let shares = shares(&centred);
    let score = |offsets: &[f64]| {
        if scatter <= 0.0 {
            covered(&centred, tolerance, offsets)
        } else {
            chance_over(&shares, scatter, tolerance, offsets)
        }
    };
    let ladder = |distance: f64| -> Vec<f64> {
        let middle = (pieces - 1) as f64 / 2.0;
        (0..pieces)
            .map(|piece| (piece as f64 - middle) * distance)
            .collect()
    };
    // Wider than two tolerances leaves gaps between pieces without scatter.
    let spread = tolerance + scatter + centred.spread();
    let mut offsets = ladder(0.0);
    let mut found = score(&offsets);
    for tried in 1..=40 {
        let candidate = ladder(spread * f64::from(tried) / 20.0);
        let chance = score(&candidate);
        if chance > found {
            (offsets, found) = (candidate, chance);
        }
    }
    let mut step = FIRST_STEP * spread;
    while step > LAST_STEP * spread {
        let mut better = false;
        // Pairs from both ends are moved together: the need is even about its middle.
        for piece in 0..pieces / 2 {
            for by in [step, -step] {
                let mut candidate = offsets.clone();
                candidate[piece] -= by;
                candidate[pieces - 1 - piece] += by;
                let chance = score(&candidate);
                if chance > found + 1e-9 {
                    (offsets, found, better) = (candidate, chance, true);
                }
            }
        }
        if !better {
            step /= 2.0;
        }
    }
    offsets.sort_by(f64::total_cmp);
    (offsets, found)
}

impl Bracket {
    /// The best bracket of so many pieces, and what else could be done. `pair_error` is the
    /// standard error of what one pair of strips tells, in stops.
    pub fn new(
        need: &Predictive,
        scatter: f64,
        tolerance: f64,
        pieces: usize,
        pair_error: f64,
    ) -> Self {
        let (stops, chance) = best(need, scatter, tolerance, pieces);
        let (_, another_piece) = best(need, scatter, tolerance, pieces + 1);
        let (_, another_pair) = best(
            &after_pair(need, pair_error, scatter),
            scatter,
            tolerance,
            pieces,
        );
        Self {
            tolerance,
            stops,
            times: vec![],
            chance,
            instead: Instead {
                another_piece,
                another_pair,
            },
        }
    }
}

/// What is foreseen after another pair of strips on the day of printing: what was known and
/// what the pair tells, each with its own weight (as of normal distributions with their 95 %
/// intervals).
///
/// The pair's coupon is one coated piece more: it differs from the day's pieces by `scatter` of its
/// own, so that a pair without any error of measurement still doesn't tell what all pieces need.
pub fn after_pair(need: &Predictive, pair_error: f64, scatter: f64) -> Predictive {
    let before = need.half_width() / NORMAL_95;
    let told = pair_error.hypot(scatter);
    if before <= 0.0 {
        return *need;
    }
    if told <= 0.0 {
        return Predictive::normal(need.centre, 0.0);
    }
    let information = before.powi(-2) + told.powi(-2);
    Predictive::normal(need.centre, information.powf(-0.5))
}

#[cfg(test)]
mod tests {
    use super::*;
    use rand::SeedableRng as _;
    use rand_chacha::ChaCha8Rng;
    use rand_distr::{Distribution as _, StandardNormal, StudentT};

    #[test]
    fn one_piece_hits_as_often_as_the_normal_distribution_says() {
        // 68.27 % lie within one standard deviation (any table).
        let need = Predictive::normal(2.5, 0.6);
        let (exposures, found) = best(&need, 0.8, 1.0, 1);
        assert_eq!(exposures, [0.0]);
        assert!((found - 0.682_69).abs() < 1e-3, "{found}");
        let (_, sure) = best(&Predictive::normal(0.0, 1.0), 0.0, 1.0, 1);
        assert!((sure - 0.682_69).abs() < 1e-5);
    }

    #[test]
    fn without_scatter_the_pieces_stand_two_tolerances_apart() {
        let need = Predictive::normal(0.0, 0.5);
        let (exposures, found) = best(&need, 0.0, 0.2, 3);
        assert!((exposures[2] - 0.4).abs() < 0.01, "{exposures:?}");
        // 76.99 % lie within 1.2 standard deviations.
        assert!((found - 0.769_86).abs() < 2e-3, "{found}");
    }

    /// The chance against draws: 40,000 days, whose share of hits has a standard error of at
    /// most 0.0025; four of them are allowed.
    #[test]
    fn the_chance_is_the_share_of_simulated_days_with_a_hit() {
        let mut rng = ChaCha8Rng::seed_from_u64(77);
        for (scale, freedom, scatter, tolerance, pieces) in [
            (0.2, f64::INFINITY, 0.1, 1.0 / 6.0, 1),
            (0.2, f64::INFINITY, 0.1, 1.0 / 6.0, 3),
            (0.3, 4.0, 0.15, 1.0 / 3.0, 2),
            (0.1, 3.0, 0.05, 0.1, 5),
            (0.25, f64::INFINITY, 0.0, 0.2, 3),
        ] {
            let need = Predictive::student(1.7, scale, freedom);
            let (exposures, said) = best(&need, scatter, tolerance, pieces);
            let days = 40_000;
            let hits = (0..days)
                .filter(|_| {
                    let unit: f64 = if freedom.is_finite() {
                        StudentT::new(freedom).unwrap().sample(&mut rng)
                    } else {
                        StandardNormal.sample(&mut rng)
                    };
                    exposures.iter().any(|exposure| {
                        let own: f64 = StandardNormal.sample(&mut rng);
                        (scale * unit + scatter * own - exposure).abs() <= tolerance
                    })
                })
                .count();
            let share = f64::from(u32::try_from(hits).unwrap()) / f64::from(days);
            assert!((share - said).abs() < 0.01, "{pieces}: {share} {said}");
        }
    }

    /// With pieces 0.1 stop apart the coupon of another pair is 0.1 stop from the day's middle:
    /// what was known to 0.2 is then known to 0.0895, not to 0 (1/0.2^2 + 1/0.1^2 = 1/0.0894^2).
    #[test]
    fn another_pairs_coupon_scatters_like_any_piece() {
        let need = Predictive::normal(2.0, 0.2);
        let after = after_pair(&need, 0.0, 0.1);
        assert!((after.scale - 0.089_443).abs() < 1e-5, "{after:?}");
        assert_eq!(after_pair(&need, 0.0, 0.0).scale, 0.0);
        // A Student t counts by its interval, not by its scale.
        let tailed = Predictive::student(2.0, 0.1, 2.0);
        let by_width = Predictive::normal(2.0, tailed.half_width() / 1.959_964);
        let (one, other) = (
            after_pair(&tailed, 0.05, 0.1),
            after_pair(&by_width, 0.05, 0.1),
        );
        assert!((one.scale - other.scale).abs() < 1e-9);
    }

    #[test]
    fn more_pieces_or_another_pair_never_lower_the_chance() {
        let need = Predictive::normal(2.0, 0.25);
        let mut before = 0.0;
        for pieces in 1..=6 {
            let bracket = Bracket::new(&need, 0.1, 1.0 / 6.0, pieces, 0.06);
            assert_eq!(bracket.stops.len(), pieces);
            assert!(bracket.chance > before, "{pieces}");
            assert!(bracket.instead.another_piece >= bracket.chance);
            assert!(bracket.instead.another_pair > bracket.chance);
            before = bracket.chance;
        }
        assert_eq!(best(&need, 0.1, 0.1, 0), (vec![], 0.0));
    }
}
