//! The answer for one strip: estimates, the steps on the curve, and the curve with its band.

use super::evidence::StripEvidence;
use super::points::StripDraws;
use super::posterior::KEPT;
use super::solve::Fitted;
use super::summary;
use super::{CurveAnswer, CurvePoint, MeasuredPoint};
use crate::measure::estimate::{Estimate, Gap};

/// Points of the drawn curve.
const CURVE_POINTS: usize = 61;
/// Draws that the band of the drawn curve is taken from: enough for the eye.
const BAND_DRAWS: usize = 500;
/// Decades that the drawn curve goes on beyond the first and last step.
const BEYOND: f64 = 0.3;

/// The answer for a strip that was fitted.
pub(crate) fn fitted(evidence: &StripEvidence, fitted: &Fitted, strip: usize) -> CurveAnswer {
    let Fitted {
        joint, best, draws, ..
    } = fitted;
    let draws = &draws[strip];
    let parameters = best.parameters.as_slice();
    CurveAnswer {
        dmin: draws.dmin(),
        dmax: draws.dmax(),
        speed_point: draws.speed_point(),
        range: draws.iso_range(),
        mean_gradient: draws.mean_gradient(),
        points: points(evidence, joint.lag_at(parameters), |x| {
            let curve = joint.curve(parameters, strip)?;
            Some(x.map_or(curve.dmin, |x| curve.density(x)))
        }),
        curve: curve(&[(fitted, strip, &fitted.all_draws())]),
    }
}

/// The answer for a strip that could not be fitted: only its steps, and why.
pub(crate) fn unfitted(evidence: &StripEvidence, lag: f64, why: Gap) -> CurveAnswer {
    CurveAnswer {
        dmin: margin(evidence).unwrap_or(Estimate::absent(why)),
        dmax: Estimate::absent(why),
        speed_point: Estimate::absent(why),
        range: Estimate::absent(why),
        mean_gradient: Estimate::absent(why),
        points: points(evidence, lag, |_| None),
        curve: vec![],
    }
}

/// Density of the margin as read.
fn margin(evidence: &StripEvidence) -> Option<Estimate> {
    let reading = &evidence.reading;
    let density = *reading.density.iter().next().filter(|d| d.is_finite())?;
    let error = evidence.standard_error(0);
    (reading.has_margin && error.is_finite()).then(|| {
        Estimate::between(
            density,
            error,
            density - 1.96 * error,
            density + 1.96 * error,
        )
    })
}

/// All steps as measured, by their place in the reading; `fitted` gives the modelled density
/// at a log exposure, `None` standing for the margin.
fn points(
    evidence: &StripEvidence,
    lag: f64,
    fitted: impl Fn(Option<f64>) -> Option<f64>,
) -> Vec<MeasuredPoint> {
    let reading = &evidence.reading;
    let exposures = evidence.exposures();
    (0..reading.density.len())
        .map(|entry| {
            let step = evidence.step_of(entry);
            let x = step.and_then(|step| exposures.get(step)).map(|e| e.at(lag));
            let x = x.filter(|x| x.is_finite());
            let density = reading.density[entry];
            let known = step.is_none() || x.is_some();
            let residual = known
                .then(|| fitted(x))
                .flatten()
                .map(|fitted| density - fitted)
                .filter(|r| r.is_finite());
            MeasuredPoint {
                step,
                log_exposure: x,
                density,
                standard_error: evidence.standard_error(entry),
                residual,
                excluded: step.is_some_and(|step| evidence.excluded.contains(&step)),
            }
        })
        .collect()
}

/// A reading's fit, the strip's number in it, and which of its draws stand for it.
pub(crate) type Part<'a> = (&'a Fitted, usize, &'a [usize]);

/// Puts what several readings say of one strip in the place of what the first of them says; the
/// steps as measured stay those of the first. `draws` are those of all parts.
pub(crate) fn mix(answer: &mut CurveAnswer, draws: &StripDraws, parts: &[Part<'_>]) {
    answer.dmin = draws.dmin();
    answer.dmax = draws.dmax();
    answer.speed_point = draws.speed_point();
    answer.range = draws.iso_range();
    answer.mean_gradient = draws.mean_gradient();
    answer.curve = curve(parts);
}

/// The curve with its band, for drawing.
fn curve(parts: &[Part<'_>]) -> Vec<CurvePoint> {
    let Some((first, strip, _)) = parts.first() else {
        return vec![];
    };
    let (low, high) = first.joint.strips[*strip].usable.x_span();
    let (low, high) = (low - BEYOND, high + BEYOND);
    let drawn: Vec<_> = parts
        .iter()
        .flat_map(|&(fitted, strip, places)| {
            let of_band = places.iter().step_by(KEPT / BAND_DRAWS);
            of_band.map(move |&draw| fitted.posterior.curve(draw, strip))
        })
        .collect();
    let mut values = vec![0.0; drawn.len()];
    (0..CURVE_POINTS)
        .filter_map(|i| {
            let x = low + (high - low) * i as f64 / (CURVE_POINTS - 1) as f64;
            for (value, drawn) in values.iter_mut().zip(&drawn) {
                *value = drawn.density(x);
            }
            let found = summary::estimate(&mut values);
            let (lower, upper) = found.bounds()?;
            Some(CurvePoint {
                log_exposure: x,
                density: found.value?,
                lower,
                upper,
            })
        })
        .collect()
}
