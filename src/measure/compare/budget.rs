//! Where the uncertainty of the ratio comes from.
//!
//! Law of propagation (JCGM 100:2008, 5.2) at the most probable parameters: with the fit
//! linearised, log2 r moves by `a' dy` when the densities move by `dy`, where
//! a' = g' H^-1 J' C^-1, g the derivatives of log2 r by the parameters and H the information of
//! densities and priors together. Each source's covariance goes through `a`; the lag's prior
//! goes through H alone. What is left of g' H^-1 g is the fit: discrepancy and priors.

use nalgebra::DVector;

use super::{BudgetPart, Source};
use crate::measure::curve::model::{Derivatives, PARAMETERS, SPEED_NET};
use crate::measure::curve::{Best, Joint};
use crate::measure::units::DECADES_PER_STOP;

/// Parts smaller than this share of the variance are left out.
const LEAST_SHARE: f64 = 1e-4;

/// The budget of log2 r, biggest part first; empty where a curve does not reach the criterion.
///
/// `aperture` is the standard error of the click stops, in stops; `spread` the standard error
/// of log2 r by the draws, which the parts of the fit are scaled to.
pub(super) fn budget(joint: &Joint, best: &Best, aperture: f64, spread: f64) -> Vec<BudgetPart> {
    let Some(gradient) = gradient(joint, best) else {
        return vec![];
    };
    let by_parameters = &best.covariance * &gradient;
    let total = gradient.dot(&by_parameters);
    let whitened = &joint.whiten * (&best.jacobian * &by_parameters);
    let a = joint.whiten.tr_mul(&whitened);
    let unevenness = a.dot(&(joint.reading_covariance() * &a));
    let timing = a.dot(&(joint.timing_covariance(best.parameters.as_slice()) * &a));
    let by_mode = joint.modes().tr_mul(&a);
    let of_scale = by_mode.len() - joint.repeat_modes().min(by_mode.len());
    let scale = by_mode.rows(0, of_scale).norm_squared();
    let repeats = by_mode.norm_squared() - scale;
    // The prior of the lag has unit variance in the parameter's own unit.
    let lag = by_parameters[joint.parameters() - 1].powi(2);
    let fit = (total - unevenness - timing - scale - repeats - lag).max(0.0);
    if !(total > 0.0 && total.is_finite()) {
        return vec![];
    }
    let to_draws = spread * spread / total;
    let parts = [
        (Source::Fit, fit * to_draws),
        (Source::Unevenness, unevenness * to_draws),
        (Source::DensityScale, scale * to_draws),
        (Source::ScanRepeats, repeats * to_draws),
        (Source::Timing, timing * to_draws),
        (Source::LampLag, lag * to_draws),
        (Source::Aperture, aperture * aperture),
    ];
    let all: f64 = parts.iter().map(|(_, variance)| variance).sum();
    let counted: Vec<_> = parts
        .into_iter()
        .filter(|(_, variance)| *variance > LEAST_SHARE * all)
        .collect();
    let all: f64 = counted.iter().map(|(_, variance)| variance).sum();
    let mut budget: Vec<BudgetPart> = counted
        .into_iter()
        .map(|(source, variance)| BudgetPart {
            source,
            stops: variance.sqrt(),
            share: variance / all,
            remedy: source.remedy().into(),
        })
        .collect();
    budget.sort_by(|a, b| b.share.total_cmp(&a.share));
    budget
}

/// The budget with a part for the doubt about how the strips are to be read: the variance of
/// log2 r between the readings, stops squared.
pub(super) fn with_doubt(mut budget: Vec<BudgetPart>, between: f64) -> Vec<BudgetPart> {
    budget.push(BudgetPart {
        source: Source::Places,
        stops: between.sqrt(),
        share: 0.0,
        remedy: Source::Places.remedy().into(),
    });
    let all: f64 = budget.iter().map(|part| part.stops.powi(2)).sum();
    for part in &mut budget {
        part.share = part.stops.powi(2) / all.max(f64::MIN_POSITIVE);
    }
    budget.retain(|part| part.share > LEAST_SHARE);
    budget.sort_by(|a, b| b.share.total_cmp(&a.share));
    budget
}

/// Derivatives of log2 r by the parameters.
fn gradient(joint: &Joint, best: &Best) -> Option<DVector<f64>> {
    let mut gradient = DVector::zeros(joint.parameters());
    for (strip, sign) in [(0, -1.0), (1, 1.0)] {
        let first = strip * PARAMETERS;
        let own = &best.parameters.as_slice()[first..first + PARAMETERS];
        let exact = Derivatives::new(own, joint.strips[strip].anchor_net)?;
        for (parameter, by) in exact.x_at(SPEED_NET)?.into_iter().enumerate() {
            gradient[first + parameter] = sign * by / DECADES_PER_STOP;
        }
    }
    Some(gradient)
}

impl Source {
    /// What to do about it, in one sentence.
    pub fn remedy(self) -> &'static str {
        match self {
            Self::Fit => {
                "Put more steps about the middle grey of both strips, a third of a stop apart."
            }
            Self::Unevenness => {
                "Coat more evenly, make the steps wider, or expose a second coupon of the same coat."
            }
            Self::DensityScale => {
                "Scan a wedge with more fields, clean and flat beside the strips, on the same scan."
            }
            Self::Timing => {
                "Switch the light by a clock timer and say so (`timing_error: \"0s\"`), use longer \
                 times at a smaller aperture, or print through a step tablet."
            }
            Self::LampLag => {
                "Use longer bursts, the same number of bursts on both strips, or measure the lamp's \
                 lag."
            }
            Self::Aperture => {
                "Expose both strips at the same aperture, and set the difference by time or by \
                 filters of known density."
            }
            Self::Places => {
                "Look at the readings of the strips on the scan and choose the right one."
            }
            Self::Repeats => "Repeat the session.",
            Self::ScanRepeats => {
                "Scan the strips more often, each scan said to be of the same strips: what differs \
                 from scan to scan averages out."
            }
        }
    }
}
