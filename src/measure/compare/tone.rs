//! A tone curve that is not known: without a wedge every density is off by one factor, or nearly.
//!
//! So large an error, common to all steps, must not stand in the covariance of a fit: what is
//! believed of the curve would then correct the scanner, and the curve leave its own steps. The
//! pair is solved as read, and once more with the scale at either side, and the three answers are
//! mixed by the weights of Gauss and Hermite (Abramowitz & Stegun 25.4.46: exact for what
//! changes with the error up to its fifth power). Curves go through the steps as read; bounds hold
//! what the other tone curves say.

use statrs::distribution::{ContinuousCDF as _, Normal};

use super::{Compared, PairAnswer, solve};
use crate::measure::analysis::Settings;
use crate::measure::curve::{CurveAnswer, StripEvidence};
use crate::measure::estimate::{End, Estimate};
use crate::measure::reading::StripReading;

/// Standard errors at which the pair is solved, and what each answer counts for.
const AT: [(f64, f64); 3] = [
    (0.0, 2.0 / 3.0),
    (-1.732_050_807_568_877_2, 1.0 / 6.0),
    (1.732_050_807_568_877_2, 1.0 / 6.0),
];
/// Change of a mode over a strip, density, from which it is no small error any more: that of a
/// wedge's scale is below 0.03 D between its ends.
const LARGE: f64 = 0.1;
/// Least factor by which densities are drawn together: no tone curve turns them round.
const LEAST_FACTOR: f64 = 0.2;
/// Standard errors of a bound.
const BOUND: f64 = 1.96;
/// Halvings of the interval in which a bound is looked for.
const HALVINGS: usize = 50;

/// Solves a pair; where the scale's error is large, at several sizes of it.
pub(super) fn solve_at_all(strips: [&StripEvidence; 2], settings: &Settings) -> Compared {
    let large = large_modes(strips);
    if large.is_empty() {
        return solve::solve_once(strips[0], strips[1], settings);
    }
    let at = |z: f64| {
        let [reference, coupon] = strips.map(|strip| moved(strip, &large, z));
        solve::solve_once(&reference, &coupon, settings)
    };
    let mut all = at(AT[0].0);
    let others = [&AT[1], &AT[2]].map(|&(z, weight)| (at(z).answer, weight));
    let answer = &mut all.answer;
    mix_all(answer, &others);
    // What is told of a step counts all errors, also those that the fit was spared.
    for (curve, strip) in [(&mut answer.reference, 0), (&mut answer.coupon, 1)] {
        for (entry, point) in curve.points.iter_mut().enumerate() {
            point.standard_error = strips[strip].standard_error(entry);
        }
    }
    all
}

/// Modes that change by much over a strip.
fn large_modes(strips: [&StripEvidence; 2]) -> Vec<usize> {
    let modes = strips.map(|strip| &strip.reading.scale_modes);
    let columns = modes[0].ncols().max(modes[1].ncols());
    let change = |column: usize| {
        let over = modes.iter().filter(|modes| column < modes.ncols());
        over.map(|modes| {
            let column = modes.column(column);
            if column.is_empty() {
                0.0
            } else {
                column.max() - column.min()
            }
        })
        .fold(0.0, f64::max)
    };
    (0..columns)
        .filter(|&column| change(column) > LARGE)
        .collect()
}

/// The strip as it is where the large errors are `z` standard errors: one tone curve for all, as
/// scans of one scanner have it.
fn moved(strip: &StripEvidence, large: &[usize], z: f64) -> StripEvidence {
    let mut strip = strip.clone();
    move_reading(&mut strip.reading, large, z);
    for other in &mut strip.others {
        move_reading(&mut other.reading, large, z);
    }
    strip
}

fn move_reading(reading: &mut StripReading, large: &[usize], z: f64) {
    for &column in large {
        if column >= reading.scale_modes.ncols() || reading.density.is_empty() {
            continue;
        }
        let mode = reading.scale_modes.column(column).into_owned();
        // Densities drawn apart take the errors of their readings along.
        let (density, by) = (
            reading.density.add_scalar(-reading.density.mean()),
            mode.mean(),
        );
        let spread = density.norm_squared();
        let slope = if spread > 0.0 {
            density.dot(&mode.add_scalar(-by)) / spread
        } else {
            0.0
        };
        let factor = (1.0 + z * slope).max(LEAST_FACTOR);
        reading.density += &mode * z;
        reading.covariance *= factor * factor;
        reading.scale_modes.column_mut(column).fill(0.0);
    }
}

/// Mixes the others into every estimate of an answer.
fn mix_all(answer: &mut PairAnswer, others: &[(PairAnswer, f64); 2]) {
    mix_curve(
        &mut answer.reference,
        &others.each_ref().map(|(o, w)| (&o.reference, *w)),
    );
    mix_curve(
        &mut answer.coupon,
        &others.each_ref().map(|(o, w)| (&o.coupon, *w)),
    );
    for pick in [
        (|a| &mut a.stops) as fn(&mut PairAnswer) -> &mut Estimate,
        |a| &mut a.ratio,
        |a| &mut a.stops_exact_aperture,
        |a| &mut a.ratio_exact_aperture,
        |a| &mut a.contrast_difference,
        |a| &mut a.contrast_by_tones.stops,
        |a| &mut a.contrast_by_tones.quotient,
    ] {
        let others = others.clone().map(|(mut o, w)| (*pick(&mut o), w));
        mix(pick(answer), &others);
    }
    for tone in &mut answer.by_tone {
        let same = |other: &PairAnswer| {
            let tones = other.by_tone.iter();
            let near = |t: &&super::ToneRatio| (t.net_density - tone.net_density).abs() < 1e-6;
            tones.filter(near).map(|t| t.stops).next()
        };
        let found: Vec<(Estimate, f64)> = others
            .iter()
            .filter_map(|(other, weight)| Some((same(other)?, *weight)))
            .collect();
        mix(&mut tone.stops, &found);
    }
}

fn mix_curve(curve: &mut CurveAnswer, others: &[(&CurveAnswer, f64); 2]) {
    for pick in [
        (|c| &mut c.dmin) as fn(&mut CurveAnswer) -> &mut Estimate,
        |c| &mut c.dmax,
        |c| &mut c.speed_point,
        |c| &mut c.range,
        |c| &mut c.mean_gradient,
    ] {
        let others = others.map(|(other, weight)| (*pick(&mut other.clone()), weight));
        mix(pick(curve), &others);
    }
    for (place, point) in curve.curve.iter_mut().enumerate() {
        let at = |density: f64, lower: f64, upper: f64| {
            Estimate::between(density, (upper - lower) / (2.0 * BOUND), lower, upper)
        };
        let mut whole = at(point.density, point.lower, point.upper);
        let found: Vec<(Estimate, f64)> = others
            .iter()
            .filter_map(|(other, weight)| {
                let point = other.curve.get(place)?;
                Some((at(point.density, point.lower, point.upper), *weight))
            })
            .collect();
        mix(&mut whole, &found);
        if let Some((lower, upper)) = whole.bounds() {
            (point.lower, point.upper) = (lower, upper);
        }
    }
}

/// Widens an estimate to what the others say, each by its weight. Its value stays: it is that of
/// the scale as read. An end that one of them leaves open is open.
fn mix(estimate: &mut Estimate, others: &[(Estimate, f64)]) {
    let Some(value) = estimate.value else {
        mix_ends(estimate, others);
        return;
    };
    let own = AT[0].1;
    let all: Vec<(Estimate, f64)> = std::iter::once((*estimate, own))
        .chain(others.iter().copied())
        .collect();
    let total: f64 = all.iter().map(|(_, weight)| weight).sum();
    let known = || {
        let all = all.iter();
        all.filter_map(|(e, weight)| Some((e.value?, e.standard_error.unwrap_or(0.0), *weight)))
    };
    let counted: f64 = known().map(|(_, _, weight)| weight).sum();
    let variance = known()
        .map(|(v, error, weight)| weight * (error * error + (v - value).powi(2)))
        .sum::<f64>()
        / counted;
    let end = |of: fn(&Estimate) -> End, share: f64| {
        let open = all.iter().find_map(|(estimate, _)| match of(estimate) {
            open @ End::Open(_) => Some(open),
            End::At(_) => None,
        });
        open.unwrap_or_else(|| End::At(quantile(&all, total, share)))
    };
    let (lower, upper) = (end(|e| e.lower, 0.025), end(|e| e.upper, 0.975));
    *estimate = Estimate {
        value: Some(value),
        standard_error: Some(variance.sqrt()),
        lower,
        upper,
    };
}

/// Widens ends that are known without a value to the farthest of all; one that another leaves
/// open, or has no value for either, is open.
fn mix_ends(estimate: &mut Estimate, others: &[(Estimate, f64)]) {
    let farthest = |of: fn(&Estimate) -> End, farther: fn(f64, f64) -> f64, own: End| {
        others
            .iter()
            .fold(own, |end, (other, _)| match (end, of(other)) {
                (End::At(a), End::At(b)) => End::At(farther(a, b)),
                (open @ End::Open(_), _) | (_, open @ End::Open(_)) => open,
            })
    };
    estimate.lower = farthest(|e| e.lower, f64::min, estimate.lower);
    estimate.upper = farthest(|e| e.upper, f64::max, estimate.upper);
}

/// Quantile of a mixture of estimates, each taken as two halves of normal distributions that
/// meet at its value.
fn quantile(all: &[(Estimate, f64)], total: f64, share: f64) -> f64 {
    let normal = Normal::standard();
    let below = |at: f64| -> f64 {
        let each = all.iter().map(|(estimate, weight)| {
            let Some(value) = estimate.value else {
                // Without a value its known end is all there is.
                let end = estimate.lower.at().or(estimate.upper.at());
                return weight * f64::from(u8::from(end.is_some_and(|end| end < at)));
            };
            let end = if at < value {
                estimate.lower
            } else {
                estimate.upper
            };
            let error = end.at().map_or(1e-9, |end| (end - value).abs() / BOUND);
            weight * normal.cdf((at - value) / error.max(1e-9))
        });
        each.sum::<f64>() / total
    };
    let ends = all
        .iter()
        .flat_map(|(e, _)| [e.lower.at(), e.upper.at(), e.value]);
    let (mut low, mut high) = ends
        .flatten()
        .fold((f64::INFINITY, f64::NEG_INFINITY), |(low, high), end| {
            (low.min(end), high.max(end))
        });
    // The outermost bounds may still be inside the mixture's.
    let room = high - low;
    (low, high) = (low - room, high + room);
    for _ in 0..HALVINGS {
        let middle = (low + high) / 2.0;
        if below(middle) < share {
            low = middle;
        } else {
            high = middle;
        }
    }
    (low + high) / 2.0
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::measure::estimate::Gap;

    #[test]
    fn at_least_means_by_every_tone_curve() {
        let least = |lower: f64| Estimate {
            lower: End::At(lower),
            ..Estimate::absent(Gap::ShoulderNotReached)
        };
        let mut mixed = least(60.0);
        mix(&mut mixed, &[(least(52.0), 0.2), (least(71.0), 0.2)]);
        assert_eq!(mixed, least(52.0));
    }

    fn normal(value: f64, error: f64) -> Estimate {
        Estimate::between(value, error, value - BOUND * error, value + BOUND * error)
    }

    #[test]
    fn answers_that_agree_stay_as_they_are_and_others_widen_the_bounds() {
        let mut same = normal(2.0, 0.1);
        mix(
            &mut same,
            &[(normal(2.0, 0.1), 1.0 / 6.0), (normal(2.0, 0.1), 1.0 / 6.0)],
        );
        let (lower, upper) = same.bounds().expect("both ends");
        assert!((lower - 1.804).abs() < 1e-3 && (upper - 2.196).abs() < 1e-3);
        // An error of 0.3 a standard error, in proportion: 2 +- 0.3 sqrt(3) at the sides.
        let mut apart = normal(2.0, 0.01);
        let side = 0.3 * AT[2].0;
        let others = [
            (normal(2.0 - side, 0.01), 1.0 / 6.0),
            (normal(2.0 + side, 0.01), 1.0 / 6.0),
        ];
        mix(&mut apart, &others);
        assert_eq!(apart.value, Some(2.0));
        let error = apart.standard_error.expect("known");
        assert!((error - 0.3).abs() < 0.001, "{error}");
        let (lower, upper) = apart.bounds().expect("both ends");
        assert!(lower < 2.0 - side && upper > 2.0 + side, "{lower} {upper}");
    }

    #[test]
    fn an_end_that_one_tone_curve_leaves_open_is_open() {
        let mut estimate = normal(2.0, 0.1);
        let open = Estimate {
            value: None,
            standard_error: None,
            lower: End::At(1.5),
            upper: End::Open(Gap::AllStepsBelow),
        };
        mix(
            &mut estimate,
            &[(open, 1.0 / 6.0), (normal(1.9, 0.1), 1.0 / 6.0)],
        );
        assert_eq!(estimate.upper, End::Open(Gap::AllStepsBelow));
        assert!(estimate.lower.at().expect("it has one") < 1.85);
    }
}
