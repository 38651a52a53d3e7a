//! Matching by eye: two steps that look alike say how many stops apart their strips are.

use serde::Serialize;

use super::PairAnswer;
use crate::measure::curve::DrawnCurve;
use crate::measure::estimate::Estimate;
use crate::measure::units::DECADES_PER_STOP;

/// "Step a of the reference looks like step b of the coupon."
///
/// Places count steps from 0 in the order of the series; 2.5 is half way between the third
/// and the fourth.
#[derive(Debug, Clone, Copy, PartialEq, Serialize)]
pub struct Match {
    /// Index of the reference strip.
    pub reference: usize,
    /// Place on it.
    pub reference_at: f64,
    /// Index of the coupon.
    pub coupon: usize,
    /// Place on it.
    pub coupon_at: f64,
}

/// What one match says.
#[derive(Debug, Clone, Copy, PartialEq, Serialize)]
pub struct MatchedStops {
    /// Stops the coupon is slower (positive).
    pub stops: f64,
    /// Standard error from the steps being wide: the eye's true place lies anywhere within a
    /// quarter step of the one that was said.
    pub standard_error: f64,
}

/// Several matches together.
#[derive(Debug, Clone, Copy, PartialEq, Serialize)]
pub struct PooledMatches {
    /// Stops the coupon is slower (positive), with its 95 % bounds.
    pub stops: Estimate,
    /// How many matches counted.
    pub count: usize,
}

/// How the eye and the measurement get on.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize)]
#[serde(rename_all = "kebab-case")]
pub enum Agreement {
    /// Their difference lies within both their errors.
    Agree,
    /// The eye wants more exposure than measured, beyond both errors.
    EyeWantsMore,
    /// The eye wants less exposure than measured, beyond both errors.
    EyeWantsLess,
}

/// Places are said to half a step, so the true one lies within this part of a step.
const WITHIN_STEPS: f64 = 0.25;
/// Standard normal quantile of two-sided 95 %.
const NORMAL_95: f64 = 1.96;

/// Log exposure at a place between steps, and how much it changes from step to step there.
///
/// `None` off the strip or where an exposure is not finite.
fn exposure_at(log_exposures: &[f64], at: f64) -> Option<(f64, f64)> {
    let last = log_exposures.len().checked_sub(1)?;
    if !(0.0..=last as f64).contains(&at) {
        return None;
    }
    let below = (at.floor() as usize).min(last);
    let above = (below + 1).min(last);
    let share = at - below as f64;
    let (low, high) = (log_exposures[below], log_exposures[above]);
    let value = low + (high - low) * share;
    // On a step: the mean of the steps to either side of it.
    let step = if share > 0.0 {
        (high - low).abs()
    } else {
        let before = log_exposures[below.saturating_sub(1)];
        let spans = usize::from(below > 0) + usize::from(above > below);
        (high - before).abs() / spans.max(1) as f64
    };
    (value.is_finite() && step.is_finite()).then_some((value, step))
}

/// What a match says, given the log exposures (decades) of both strips.
///
/// X of the coupon's place less X of the reference's, since the same tone there means the same
/// effect. A place is uniform over half a step, on both strips independently: variance
/// `(step / 4)^2 / 3` each. `None` when a place is off its strip.
pub fn matched(reference: &[f64], coupon: &[f64], made: &Match) -> Option<MatchedStops> {
    let (on_reference, reference_step) = exposure_at(reference, made.reference_at)?;
    let (on_coupon, coupon_step) = exposure_at(coupon, made.coupon_at)?;
    let error = WITHIN_STEPS * reference_step.hypot(coupon_step) / 3f64.sqrt();
    Some(MatchedStops {
        stops: (on_coupon - on_reference) / DECADES_PER_STOP,
        standard_error: error / DECADES_PER_STOP,
    })
}

/// Several matches together: the mean weighted by 1 / variance; when they scatter more than
/// their errors allow, as they do where the strips differ in contrast, the error grows with
/// the scatter (the ratio of [Birge 1932]: square root of chi-squared over n - 1, if above 1).
///
/// `None` without matches.
pub fn pooled(matches: &[MatchedStops]) -> Option<PooledMatches> {
    let weight = |one: &MatchedStops| one.standard_error.max(1e-6).powi(-2);
    let total: f64 = matches.iter().map(weight).sum();
    if matches.is_empty() {
        return None;
    }
    let mean = matches
        .iter()
        .map(|one| one.stops * weight(one))
        .sum::<f64>()
        / total;
    let chi_squared: f64 = matches
        .iter()
        .map(|one| (one.stops - mean).powi(2) * weight(one))
        .sum();
    let free = matches.len().saturating_sub(1).max(1) as f64;
    let birge = (chi_squared / free).sqrt().max(1.0);
    let error = birge / total.sqrt();
    Some(PooledMatches {
        stops: Estimate::between(
            mean,
            error,
            mean - NORMAL_95 * error,
            mean + NORMAL_95 * error,
        ),
        count: matches.len(),
    })
}

/// What the measurement says at the tone of one match, given the reference's log exposures.
///
/// The coupon's exposure of the density that the reference has at the matched place, less the
/// reference's there: where the two strips differ in contrast or base this is not the ratio at net
/// density 0.60. Its error is that of the ratio at the nearest compared tone. `None` where a curve
/// doesn't come to the density.
pub fn measured_at(answer: &PairAnswer, reference: &[f64], made: &Match) -> Option<MatchedStops> {
    let (x, _) = exposure_at(reference, made.reference_at)?;
    let paper = DrawnCurve::of(&answer.reference)?;
    let coat = DrawnCurve::of(&answer.coupon)?;
    let net = paper.density(x) - coat.dmin;
    let stops = (coat.x_at(net)? - x) / DECADES_PER_STOP;
    let nearest = answer.by_tone.iter().min_by(|a, b| {
        let away = |tone: f64| (tone - net).abs();
        away(a.net_density).total_cmp(&away(b.net_density))
    });
    let ratio = nearest.map_or(&answer.stops, |tone| &tone.stops);
    Some(MatchedStops {
        stops,
        standard_error: ratio.standard_error?,
    })
}

/// Whether the eye and the measurement agree within both their standard errors, at 95 %: each match
/// against the measurement at its own tone.
///
/// Matches weigh by the eye's errors, which grow by their scatter about the measurement as in
/// [`pooled`]; the measurement's error is one for all. `None` without matches.
pub fn agreement(each: &[(MatchedStops, MatchedStops)]) -> Option<Agreement> {
    let differences: Vec<MatchedStops> = each
        .iter()
        .map(|(eye, measured)| MatchedStops {
            stops: eye.stops - measured.stops,
            ..*eye
        })
        .collect();
    let pooled = pooled(&differences)?.stops;
    let measured = each
        .iter()
        .map(|(_, measured)| measured.standard_error)
        .sum::<f64>()
        / each.len() as f64;
    let difference = pooled.value?;
    let error = pooled.standard_error?.hypot(measured);
    Some(if difference.abs() <= NORMAL_95 * error {
        Agreement::Agree
    } else if difference > 0.0 {
        Agreement::EyeWantsMore
    } else {
        Agreement::EyeWantsLess
    })
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Half-stop steps from 1 s, and the same three stops further on.
    fn strips() -> (Vec<f64>, Vec<f64>) {
        let reference: Vec<f64> = (0..8)
            .map(|k| 0.5 * f64::from(k) * DECADES_PER_STOP)
            .collect();
        let coupon = reference
            .iter()
            .map(|x| x + 3.0 * DECADES_PER_STOP)
            .collect();
        (reference, coupon)
    }

    fn made(reference_at: f64, coupon_at: f64) -> Match {
        Match {
            reference: 0,
            reference_at,
            coupon: 1,
            coupon_at,
        }
    }

    #[test]
    fn the_same_step_of_a_strip_exposed_three_stops_more_says_three_stops() {
        let (reference, coupon) = strips();
        let one = matched(&reference, &coupon, &made(2.0, 2.0)).unwrap();
        assert!((one.stops - 3.0).abs() < 1e-12);
        let half = matched(&reference, &coupon, &made(2.0, 2.5)).unwrap();
        assert!((half.stops - 3.25).abs() < 1e-12);
    }

    #[test]
    fn the_error_is_that_of_a_uniform_place_within_half_a_step_on_both_strips() {
        // A uniform variable of width w has the standard deviation w / sqrt(12).
        let (reference, coupon) = strips();
        let one = matched(&reference, &coupon, &made(3.0, 3.5)).unwrap();
        let each: f64 = 0.25 / 12f64.sqrt();
        assert!((one.standard_error - each.hypot(each)).abs() < 1e-12);
        // At the end of a strip only one neighbour tells the step.
        let end = matched(&reference, &coupon, &made(0.0, 7.0)).unwrap();
        assert!((end.standard_error - each.hypot(each)).abs() < 1e-12);
    }

    #[test]
    fn places_off_the_strip_say_nothing() {
        let (reference, coupon) = strips();
        assert_eq!(matched(&reference, &coupon, &made(-0.5, 2.0)), None);
        assert_eq!(matched(&reference, &coupon, &made(2.0, 7.5)), None);
        assert_eq!(matched(&[], &coupon, &made(0.0, 0.0)), None);
    }

    #[test]
    fn scatter_beyond_the_errors_widens_the_bounds() {
        let at = |stops| MatchedStops {
            stops,
            standard_error: 0.1,
        };
        let close = pooled(&[at(2.9), at(3.0), at(3.1)]).unwrap().stops;
        assert!((close.value.unwrap() - 3.0).abs() < 1e-12);
        assert!((close.standard_error.unwrap() - 0.1 / 3f64.sqrt()).abs() < 1e-12);
        let wide = pooled(&[at(2.0), at(3.0), at(4.0)]).unwrap().stops;
        // chi-squared = 200 over 2 free: ten times wider.
        assert!((wide.standard_error.unwrap() - 1.0 / 3f64.sqrt()).abs() < 1e-9);
        assert_eq!(pooled(&[]), None);
    }

    #[test]
    fn eye_and_measurement_agree_within_their_errors_only() {
        let at = |stops, standard_error| MatchedStops {
            stops,
            standard_error,
        };
        let measured = at(2.7, 0.05);
        for (eye, right) in [
            (2.8, Agreement::Agree),
            (3.2, Agreement::EyeWantsMore),
            (2.0, Agreement::EyeWantsLess),
        ] {
            assert_eq!(agreement(&[(at(eye, 0.1), measured)]), Some(right));
        }
        assert_eq!(agreement(&[]), None);
        // Each against its own tone: a softer coat needs more in the shadows than in the lights.
        let soft = [(at(2.2, 0.1), at(2.2, 0.05)), (at(3.4, 0.1), at(3.4, 0.05))];
        assert_eq!(agreement(&soft), Some(Agreement::Agree));
    }
}
