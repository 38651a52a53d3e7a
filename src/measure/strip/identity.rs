//! Which of the things found is which of the strips described.
//!
//! Strips are described in reading order, and people lay them otherwise now and then. What they
//! are shows besides: a coat brushed on by hand is uneven where a paper is smooth, and rarely as
//! black; the densities of each must go with its own exposures. Every order of the strips of one
//! scan gets its chance by all of these.

use super::Role;
use super::candidate::Candidate;
use super::lane::median;
use super::steps::Steps;

/// Chance that strips lie in the order in which they are described.
const AS_LISTED: f64 = 0.9;
/// What one unit of unevenness (log) or range (density) says of a strip's being coated rather
/// than paper, as a log likelihood ratio between two strips; fitted on painted practice scans.
const BY_UNEVENNESS: f64 = 2.5;
const BY_RANGE: f64 = 2.0;
/// Most that looks alone may say.
const MOST_BY_LOOKS: f64 = 6.0;
/// Unevenness, a share of net density, that no scan resolves.
const SMOOTH: f64 = 0.004;
/// Net density from which a step shows how even it is.
const SHOWING_NET: f64 = 0.15;
/// Share of a field at each end that its borders may reach into.
const INSET: f64 = 0.2;
/// Most strips of one scan whose orders are all weighed.
const MOST: usize = 5;
/// Chance from which another order is kept.
const LEAST: f64 = 0.01;

/// What a strip looks like, whatever its tone curve.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) struct Looks {
    /// Log of the unevenness of its steps as a share of their net density.
    uneven: f64,
    /// From its lightest step to its darkest, density.
    range: f64,
}

impl Looks {
    /// The looks of a reading.
    pub fn of(candidate: &Candidate, steps: &Steps) -> Self {
        let fields: Vec<(f64, f64)> = steps
            .borders
            .windows(2)
            .map(|pair| {
                let inset = (pair[1] - pair[0]) * INSET;
                let (from, to) = (pair[0] + inset, pair[1] - inset);
                let sums = &candidate.sums;
                (sums.level(from, to), sums.unevenness(from, to))
            })
            .collect();
        let levels = || fields.iter().map(|(level, _)| *level);
        let base = levels().fold(f64::INFINITY, f64::min);
        let most = levels().fold(f64::NEG_INFINITY, f64::max);
        let mut shares: Vec<f64> = fields
            .iter()
            .filter(|(level, _)| level - base > SHOWING_NET)
            .map(|(level, uneven)| uneven / (level - base))
            .collect();
        Self {
            uneven: median(&mut shares).max(SMOOTH).ln(),
            range: most - base,
        }
    }

    /// How much likelier it is a coat than the mean of its neighbours: log likelihood ratio.
    fn coated(&self, mean: &Self) -> f64 {
        let by = BY_UNEVENNESS * (self.uneven - mean.uneven) - BY_RANGE * (self.range - mean.range);
        by.clamp(-MOST_BY_LOOKS, MOST_BY_LOOKS)
    }
}

/// Orders of the strips of one scan, likeliest first, each with its chance: which thing is the
/// strip in each place. `roles` and `looks` are listed as described and as they lie; `fits` tells
/// how well a thing goes as a strip, a log likelihood, or that it can't be.
pub(super) fn orders(
    roles: &[Role],
    looks: &[Looks],
    fits: &dyn Fn(usize, usize) -> Option<f64>,
) -> Vec<(Vec<usize>, f64)> {
    let count = roles.len();
    let listed: Vec<usize> = (0..count).collect();
    if count < 2 || count > MOST || looks.len() != count {
        return vec![(listed, 1.0)];
    }
    let mean = Looks {
        uneven: looks.iter().map(|looks| looks.uneven).sum::<f64>() / count as f64,
        range: looks.iter().map(|looks| looks.range).sum::<f64>() / count as f64,
    };
    let all = permutations(count);
    let otherwise = ((1.0 - AS_LISTED) / (all.len() - 1) as f64).ln();
    let mut weighed: Vec<(Vec<usize>, f64)> = all
        .into_iter()
        .filter_map(|order| {
            let prior = if order == listed {
                AS_LISTED.ln()
            } else {
                otherwise
            };
            let pairs = order.iter().enumerate();
            let told: Option<f64> = pairs
                .map(|(strip, &thing)| {
                    let coated = looks[thing].coated(&mean) / 2.0;
                    let by_looks = match roles[strip] {
                        Role::Coupon => coated,
                        Role::Reference => -coated,
                    };
                    Some(by_looks + fits(strip, thing)?)
                })
                .sum();
            Some((order, prior + told?))
        })
        .collect();
    let most = weighed
        .iter()
        .map(|(_, log)| *log)
        .fold(f64::NEG_INFINITY, f64::max);
    for (_, log) in &mut weighed {
        *log = (*log - most).exp();
    }
    let total: f64 = weighed.iter().map(|(_, weight)| weight).sum();
    for (_, weight) in &mut weighed {
        *weight /= total;
    }
    weighed.retain(|(_, chance)| *chance >= LEAST);
    weighed.sort_by(|a, b| b.1.total_cmp(&a.1));
    if weighed.is_empty() {
        weighed.push((listed, 1.0));
    }
    weighed
}

/// All orders of so many, the one as listed first.
pub(super) fn permutations(count: usize) -> Vec<Vec<usize>> {
    let mut all = vec![vec![]];
    for _ in 0..count {
        all = all
            .into_iter()
            .flat_map(|order: Vec<usize>| {
                let rest: Vec<usize> = (0..count).filter(|place| !order.contains(place)).collect();
                rest.into_iter().map(move |place| {
                    let mut longer = order.clone();
                    longer.push(place);
                    longer
                })
            })
            .collect();
    }
    all
}

#[cfg(test)]
mod tests {
    use super::*;

    const PAPER: Looks = Looks {
        uneven: -5.3,
        range: 1.9,
    };
    const COAT: Looks = Looks {
        uneven: -3.9,
        range: 1.4,
    };
    const ROLES: [Role; 2] = [Role::Reference, Role::Coupon];

    fn alike(_: usize, _: usize) -> Option<f64> {
        Some(0.0)
    }

    #[test]
    fn a_coat_listed_second_and_laid_first_is_known_by_its_looks() {
        let best = |looks: [Looks; 2]| orders(&ROLES, &looks, &alike)[0].clone();
        assert_eq!(best([PAPER, COAT]).0, [0, 1]);
        assert_eq!(best([COAT, PAPER]).0, [1, 0]);
        assert!(best([COAT, PAPER]).1 > 0.5);
    }

    #[test]
    fn strips_that_look_alike_stay_in_doubt_by_what_reading_order_leaves() {
        let all = orders(&ROLES, &[COAT, COAT], &alike);
        assert_eq!(all[0].0, [0, 1]);
        assert!((all[0].1 - AS_LISTED).abs() < 1e-9);
        assert!((all[1].1 - (1.0 - AS_LISTED)).abs() < 1e-9);
    }

    #[test]
    fn exposures_that_fit_one_order_alone_decide() {
        let fits = |strip: usize, thing: usize| Some(if strip == thing { -30.0 } else { 0.0 });
        let all = orders(&[Role::Coupon; 2], &[COAT, COAT], &fits);
        assert_eq!(all[0].0, [1, 0]);
        assert!(all[0].1 > 0.99);
        let never = |strip: usize, thing: usize| (strip == thing).then_some(0.0);
        assert_eq!(orders(&ROLES, &[COAT, PAPER], &never).len(), 1);
    }
}
