//! Ratio and contrast difference from the draws of both strips.

use rand::SeedableRng as _;
use rand_chacha::ChaCha8Rng;
use rand_distr::{Distribution as _, StandardNormal};
use rayon::prelude::*;

use super::{ToneContrast, ToneRatio};
use crate::measure::curve::tones::{self, NETS};
use crate::measure::curve::{self, StripDraws};
use crate::measure::estimate::{End, Estimate, Gap};
use crate::measure::units::DECADES_PER_STOP;

/// Share of the smaller net density up to which tones are compared.
const TONE_LIMIT: f64 = 0.95;
/// Least span of net density that contrast is told over.
const LEAST_SPAN: f64 = 0.4;
/// Least exposure between two tones that a quotient is taken of, stops.
const LEAST_GAINED: f64 = 0.003;

/// Stops the coupon is slower, from every draw; `None` where a draw has no answer.
pub(super) fn stops_of(reference: &[f64], coupon: &[f64]) -> Vec<f64> {
    differences(reference, coupon, DECADES_PER_STOP)
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

/// ISO range of the coupon less that of the reference; only where both are known on both sides.
pub(super) fn contrast_difference(reference: &StripDraws, coupon: &StripDraws) -> Estimate {
    let gap = coupon.reach.range_gap().or(reference.reach.range_gap());
    if let Some(gap) = gap {
        return Estimate::absent(gap);
    }
    let mut values = differences(&reference.range(), &coupon.range(), 1.0);
    curve::estimate(&mut values)
}

/// Coupon less reference, in a unit.
fn differences(reference: &[f64], coupon: &[f64], unit: f64) -> Vec<f64> {
    reference
        .iter()
        .zip(coupon)
        .map(|(reference, coupon)| (coupon - reference) / unit)
        .collect()
}

/// How much more exposure, or less, the coupon takes from one tone to another than the reference,
/// over the widest span of tones that both strips show.
pub(super) fn contrast_by_tones(reference: &StripDraws, coupon: &StripDraws) -> ToneContrast {
    let common = || {
        let (of_reference, of_coupon) = (reference.shown_tones()?, coupon.shown_tones()?);
        let light = of_reference.0.max(of_coupon.0);
        let dark = of_reference.1.min(of_coupon.1);
        let span = *NETS.get(dark)? - *NETS.get(light)?;
        (span > LEAST_SPAN - 1e-9).then_some((light, dark))
    };
    let Some((light, dark)) = common() else {
        return ToneContrast::absent(Gap::FewCommonTones);
    };
    let gained = |draws: &StripDraws| {
        Some(differences(
            draws.at_tone(light)?,
            draws.at_tone(dark)?,
            DECADES_PER_STOP,
        ))
    };
    let (Some(of_reference), Some(of_coupon)) = (gained(reference), gained(coupon)) else {
        return ToneContrast::absent(Gap::FewCommonTones);
    };
    let mut quotients: Vec<f64> = of_reference
        .iter()
        .zip(&of_coupon)
        // A draw that rises from one tone to the other at once is as hard as can be told.
        .map(|(reference, coupon)| coupon.max(LEAST_GAINED) / reference.max(LEAST_GAINED))
        .collect();
    ToneContrast {
        light: Some(NETS[light]),
        dark: Some(NETS[dark]),
        stops: curve::estimate(&mut differences(&of_reference, &of_coupon, 1.0)),
        quotient: curve::estimate(&mut quotients),
    }
}

/// Ratio by tone, over the tones that the steps of both strips bracket.
///
/// `full_net` is the lesser of the highest net densities that were read.
pub(super) fn by_tone(
    [reference, coupon]: [&StripDraws; 2],
    full_net: f64,
    aperture: f64,
    seed: u64,
) -> Vec<ToneRatio> {
    let within = |draws: &StripDraws, x: &[f64]| {
        let inside = x.iter().zip(draws.first.iter().zip(&draws.last));
        let inside = inside.filter(|&(x, (first, last))| first <= x && x <= last);
        2 * inside.count() > x.len()
    };
    (0..NETS.len())
        .into_par_iter()
        .filter(|&tone| tones::is_tenth(tone) && NETS[tone] <= TONE_LIMIT * full_net)
        .filter_map(|tone| {
            let (on_reference, on_coupon) = (reference.at_tone(tone)?, coupon.at_tone(tone)?);
            if !within(reference, on_reference) || !within(coupon, on_coupon) {
                return None;
            }
            let values = stops_of(on_reference, on_coupon);
            let stops = curve::estimate(&mut widened(&values, aperture, seed));
            stops.bounds().map(|_| ToneRatio {
                net_density: NETS[tone],
                stops,
            })
        })
        .collect()
}
