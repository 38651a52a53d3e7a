//! Ratio and contrast difference from the draws of both strips.

use rand::SeedableRng as _;
use rand_chacha::ChaCha8Rng;
use rand_distr::{Distribution as _, StandardNormal};
use rayon::prelude::*;

use super::ToneRatio;
use crate::measure::curve::{self, Fitted, StripDraws};
use crate::measure::estimate::{End, Estimate, Gap};
use crate::measure::units::DECADES_PER_STOP;

/// Net densities at which the ratio by tone is given: every tenth.
const TONE_STEP: f64 = 0.1;
/// Share of the smaller net density up to which tones are compared.
const TONE_LIMIT: f64 = 0.95;
/// Every so many draws count for the ratio by tone: enough for its band.
const TONE_STRIDE: usize = 2;

/// Stops the coupon is slower, from every draw; `None` where a draw has no answer.
pub(super) fn stops_of(reference: &[f64], coupon: &[f64]) -> Vec<f64> {
    reference
        .iter()
        .zip(coupon)
        .map(|(reference, coupon)| (coupon - reference) / DECADES_PER_STOP)
        .collect()
}

/// Draws with an independent normal error added: the click stops'.
pub(super) fn widened(values: &[f64], error: f64, seed: u64) -> Vec<f64> {
    if error == 0.0 {
        return values.to_vec();
    }
    let mut rng = ChaCha8Rng::seed_from_u64(seed);
    values
        .iter()
        .map(|value| {
            let noise: f64 = StandardNormal.sample(&mut rng);
            value + error * noise
        })
        .collect()
}

/// Stops from draws, with open ends where a strip does not bracket the criterion.
pub(super) fn stops(mut values: Vec<f64>, reference: &StripDraws, coupon: &StripDraws) -> Estimate {
    let (reference, coupon) = (reference.reach.speed_gap(), coupon.reach.speed_gap());
    if reference.is_none() && coupon.is_none() {
        return curve::estimate(&mut values);
    }
    // A coupon only known to need more has no upper end, a reference no lower one.
    let mut lower = None;
    let mut upper = None;
    match coupon {
        Some(Gap::AllStepsAbove) => lower = coupon,
        Some(_) => upper = coupon,
        None => {}
    }
    match reference {
        Some(Gap::AllStepsAbove) => upper = upper.or(reference),
        Some(_) => lower = lower.or(reference),
        None => {}
    }
    values.iter_mut().for_each(|value| {
        // Neither strip reaches the criterion in this draw: it says nothing.
        if value.is_nan() {
            *value = 0.0;
        }
    });
    curve::one_sided(&mut values, lower, upper)
}

/// Stops when the coupon stayed light all over up to `in_vain` decades and the reference has
/// these draws.
pub(super) fn stops_beyond(in_vain: f64, reference: &StripDraws, aperture: f64) -> Estimate {
    let mut estimate = Estimate::absent(Gap::AllStepsBelow);
    if reference.reach.speed_gap().is_none() {
        let mut values: Vec<f64> = reference
            .speed
            .iter()
            .map(|speed| (in_vain - speed) / DECADES_PER_STOP)
            .collect();
        let exact = curve::estimate(&mut values);
        if let (Some(value), Some(error)) = (exact.value, exact.standard_error) {
            estimate.lower = End::At(value - 1.96 * error.hypot(aperture));
        }
    }
    estimate
}

/// The same as a factor of exposure.
pub(super) fn ratio(stops: &Estimate) -> Estimate {
    let slope = stops
        .value
        .map_or(0.0, |stops| stops.exp2() * std::f64::consts::LN_2);
    stops.map(f64::exp2, slope)
}

/// ISO range of the coupon less that of the reference.
pub(super) fn contrast_difference(reference: &StripDraws, coupon: &StripDraws) -> Estimate {
    let gap = coupon.reach.range_gap().or(reference.reach.range_gap());
    if let Some(gap) = gap {
        return Estimate::absent(gap);
    }
    let mut values: Vec<f64> = reference
        .range
        .iter()
        .zip(&coupon.range)
        .map(|(reference, coupon)| coupon - reference)
        .collect();
    curve::estimate(&mut values)
}

/// Ratio by tone, over the tones that the steps of both strips bracket.
///
/// `parts` are the readings that count, each with the places of the draws that stand for it; the
/// steps are those of the first.
pub(super) fn by_tone(parts: &[(&Fitted, &[usize])], aperture: f64, seed: u64) -> Vec<ToneRatio> {
    let Some((Fitted { joint, .. }, _)) = parts.first() else {
        return vec![];
    };
    let drawn: Vec<_> = parts
        .iter()
        .flat_map(|&(fitted, places)| {
            let counted = places.iter().step_by(TONE_STRIDE);
            counted.map(move |&draw| (fitted, draw))
        })
        .collect::<Vec<_>>()
        .into_par_iter()
        .filter_map(|(fitted, draw)| {
            let curve = |strip| fitted.posterior.curve(&fitted.joint, draw, strip);
            Some((curve(0)?, curve(1)?))
        })
        .collect();
    let spans = [0, 1].map(|strip: usize| joint.strips[strip].usable.x_span());
    let within = |values: &[f64], (low, high): (f64, f64)| {
        let inside = values.iter().filter(|&&x| low <= x && x <= high).count();
        2 * inside > values.len()
    };
    let full = joint
        .strips
        .iter()
        .map(|strip| strip.usable.highest_net())
        .fold(f64::INFINITY, f64::min);
    let tones = (TONE_LIMIT * full / TONE_STEP).floor().max(0.0) as usize;
    (1..=tones)
        .into_par_iter()
        .filter_map(|tone| {
            let net_density = TONE_STEP * tone as f64;
            let reference: Vec<f64> = drawn.iter().map(|d| d.0.x_at(net_density)).collect();
            let coupon: Vec<f64> = drawn.iter().map(|d| d.1.x_at(net_density)).collect();
            if !within(&reference, spans[0]) || !within(&coupon, spans[1]) {
                return None;
            }
            let values = stops_of(&reference, &coupon);
            let stops = curve::estimate(&mut widened(&values, aperture, seed));
            stops.bounds().map(|_| ToneRatio { net_density, stops })
        })
        .collect()
}
