//! The variance between sessions: four estimators and an interval.

use super::model::{Fit, Model};
use super::student::chi_squared_quantile;

/// How the variance between sessions is estimated.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Between {
    /// There is none: the fixed-effect model.
    None,
    /// From the moments of Q: DerSimonian & Laird 1986, Control. Clin. Trials 7:177.
    DerSimonianLaird,
    /// Where Q equals its degrees of freedom: Paule & Mandel 1982, J. Res. NBS 87:377.
    PauleMandel,
    /// Restricted maximum likelihood, by Fisher scoring: Viechtbauer 2005, J. Educ. Behav.
    /// Stat. 30:261.
    RestrictedLikelihood,
}

/// Relative change of the variance at which scoring and bisection stop.
const CLOSE: f64 = 1e-12;
/// Scoring steps at most; it usually takes five to ten.
const MOST_STEPS: usize = 200;

/// Estimates the variance between sessions; 0 when there are no degrees of freedom.
pub fn between_variance(model: &Model, how: Between) -> f64 {
    if model.freedom() < 1.0 {
        return 0.0;
    }
    match how {
        Between::None => 0.0,
        Between::DerSimonianLaird => dersimonian_laird(model),
        Between::PauleMandel => variance_where_q_is(model, model.freedom()),
        Between::RestrictedLikelihood => restricted_likelihood(model),
    }
}

/// 95 % interval of the variance between sessions by the Q profile: the variances at which Q
/// is at the 97.5 and 2.5 % points of chi squared.
///
/// Source: Viechtbauer 2007, Stat. Med. 26:37. Without degrees of freedom the interval has no
/// end: 0 to infinity.
pub fn between_interval(model: &Model) -> (f64, f64) {
    let freedom = model.freedom();
    if freedom < 1.0 {
        return (0.0, f64::INFINITY);
    }
    let at = |share| variance_where_q_is(model, chi_squared_quantile(share, freedom));
    (at(0.975), at(0.025))
}

/// Standard error of the standard deviation between sessions, from REML's information: by how
/// much one standard error of the variance, sqrt(2 / tr(P P)), raises the deviation. (The usual
/// first-order form has no value where the deviation is 0.)
pub(super) fn standard_error(fit: &Fit, variance: f64) -> f64 {
    let variance_error = (2.0 / fit.trace_squared).sqrt();
    (variance + variance_error).sqrt() - variance.sqrt()
}

fn dersimonian_laird(model: &Model) -> f64 {
    let fit = model.fit(0.0);
    ((fit.q - model.freedom()) / fit.trace).max(0.0)
}

/// The variance at which Q has a value, 0 if Q is smaller than that from the start. Q falls
/// as the variance rises, so halving the interval finds it.
fn variance_where_q_is(model: &Model, wanted: f64) -> f64 {
    let q = |between: f64| model.fit(between).q;
    if q(0.0) <= wanted {
        return 0.0;
    }
    let mut high = model.spread().powi(2) + model.largest_variance();
    // Q goes to 0 as the variance goes to infinity: doubling ends.
    while q(high) > wanted && high.is_finite() {
        high *= 2.0;
    }
    let mut low = 0.0;
    while high - low > CLOSE * high {
        let middle = (low + high) / 2.0;
        if middle <= low || middle >= high {
            break;
        }
        if q(middle) > wanted {
            low = middle;
        } else {
            high = middle;
        }
    }
    (low + high) / 2.0
}

fn restricted_likelihood(model: &Model) -> f64 {
    let mut variance = dersimonian_laird(model);
    let mut fit = model.fit(variance);
    for _ in 0..MOST_STEPS {
        let squares = fit.weighted_residuals.norm_squared();
        let mut step = (squares - fit.trace) / fit.trace_squared;
        if !step.is_finite() {
            break;
        }
        let mut next = (variance + step).max(0.0);
        let mut tried = model.fit(next);
        // A step that lowers the likelihood was too long.
        while tried.log_likelihood < fit.log_likelihood - 1e-12 && step.abs() > CLOSE {
            step /= 2.0;
            next = (variance + step).max(0.0);
            tried = model.fit(next);
        }
        let change = (next - variance).abs();
        (variance, fit) = (next, tried);
        if change <= CLOSE * variance.max(CLOSE) {
            break;
        }
    }
    variance
}
