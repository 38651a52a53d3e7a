//! What several sessions say together: random effects, and what to expect of the next one.
//!
//! Sessions differ by more than their own errors say: another batch, another day, another
//! hand. The model is y_i = mu + u_i + e_i with e_i of the known variance s_i^2 of the session
//! and u_i of an unknown variance tau^2 between sessions.
//!
//! From four sessions on, tau^2 is estimated (REML), the mean has the interval of Hartung &
//! Knapp, and the next session is foretold by the confidence distribution of tau^2: a Student t
//! of one degree of freedom less than sessions where they differ clearly. With fewer, a stated prior
//! of tau is integrated over, so that one session alone has a prediction too. Errors that sessions
//! share, of the same two click stops or the same wedge list, are a covariance. docs/pooling.md has formulas, sources and the measured coverage.

mod between;
mod chance;
mod drift;
mod holm;
mod model;
mod outlying;
mod posterior;
mod settled;
mod student;

#[cfg(test)]
mod drift_tests;
#[cfg(test)]
mod tests;

use nalgebra::DMatrix;
use serde::Serialize;

use super::estimate::Estimate;
use super::predictive::Predictive;

pub use between::{Between, between_interval, between_variance};
pub use drift::{Against, Occasion, Quantity, Shape, Trend, drift, suspects};
pub use holm::holm;
pub use model::{Fit, Model};
pub use outlying::{Direction, Outlying, outlying};
pub use posterior::{Posterior, Prior};
pub use settled::{Settled, settled};
pub(crate) use student::{chi_squared_above, chi_squared_quantile, normal_below};
pub use student::{normal_quantile, student_quantile, student_two_sided};

/// Sessions from which the variance between is estimated and not integrated over.
pub const ENOUGH_SESSIONS: usize = 4;

/// Sessions below which the mean's interval counts that the variance between sessions is hardly
/// known, too: with unequal errors that of Hartung & Knapp alone held in 87 to 91 of 100 cases of 4
/// to 6 sessions (errors within sessions spread by a factor of e, tau 0.05 to 0.2 stop).
pub const MANY_SESSIONS: usize = 10;

/// What one session says of a quantity.
#[derive(Debug, Clone, Copy, PartialEq, Serialize)]
pub struct Effect {
    /// The value: stops of the speed ratio, ISO range units, density.
    pub value: f64,
    /// Its standard error within the session, in the same unit; above 0.
    pub standard_error: f64,
}

impl Effect {
    /// From an estimate that has a value and an error; `None` otherwise.
    ///
    /// Intervals by draws are a little skewed; their width counts here, as the standard
    /// deviation that a normal error with the same 95 % interval has.
    pub fn of(estimate: &Estimate) -> Option<Self> {
        let value = estimate.value?;
        let by_width = estimate.half_width().map(|half| half / 1.96);
        let standard_error = by_width.or(estimate.standard_error)?;
        let usable = value.is_finite() && standard_error.is_finite() && standard_error > 0.0;
        usable.then_some(Self {
            value,
            standard_error,
        })
    }

    /// Variance within the session.
    pub(crate) fn variance(&self) -> f64 {
        self.standard_error.powi(2)
    }
}

/// Why sessions can't be pooled.
#[derive(Debug, Clone, Copy, PartialEq, Eq, thiserror::Error)]
pub enum CannotPool {
    /// There is none.
    #[error("there is no session with a value to pool")]
    NoSession,
    /// A value or its error is not a usable number.
    #[error("session {number} has no finite value with an error above 0")]
    NotANumber {
        /// Which, from 1.
        number: usize,
    },
}

/// Where the variance between sessions comes from.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize)]
#[serde(rename_all = "kebab-case")]
pub enum Basis {
    /// Estimated from the sessions by REML.
    Sessions,
    /// A stated prior, sharpened by the few sessions there are.
    Prior,
}

/// How much the sessions differ beyond their own errors.
#[derive(Debug, Clone, Copy, PartialEq, Serialize)]
pub struct Heterogeneity {
    /// Cochran's Q: weighted squares about the fixed-effect mean.
    pub q: f64,
    /// Its degrees of freedom.
    pub freedom: f64,
    /// Chance of a Q at least as large when nothing differs between sessions.
    pub p: f64,
    /// Share of the total variance that lies between sessions, 0 to 1.
    pub i_squared: f64,
}

/// What pooling is asked for.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Wish {
    /// Prior of the standard deviation between sessions.
    pub prior: Prior,
    /// Half-width of the prediction interval that counts as settled, in the unit of the value.
    pub tolerance: f64,
}

impl Wish {
    /// For the speed ratio in stops: settled within 1/6 stop.
    pub const STOPS: Self = Self {
        prior: Prior::STOPS,
        tolerance: 1.0 / 6.0,
    };
    /// For the contrast difference in ISO range units: settled within half a paper grade
    /// (about 20 units a grade; common practice, no source).
    pub const RANGE: Self = Self {
        prior: Prior::RANGE,
        tolerance: 10.0,
    };
    /// For a density: settled within 0.05 D, which an eye sees in the shadows of two prints
    /// side by side (common practice, no source).
    pub const DENSITY: Self = Self {
        prior: Prior::DENSITY,
        tolerance: 0.05,
    };
}

/// What the sessions say together.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct Pooled {
    /// How many sessions went in.
    pub sessions: usize,
    /// Where the variance between comes from.
    pub basis: Basis,
    /// The mean over sessions with its 95 % interval.
    pub mean: Estimate,
    /// Standard deviation between sessions with its 95 % interval.
    pub between: Estimate,
    /// How much they differ; `None` for a single session.
    pub heterogeneity: Option<Heterogeneity>,
    /// What the next session will be, its own error of measurement not counted.
    pub next: Predictive,
    /// The same without the errors that sessions share, for who works out anew what they do.
    #[serde(skip)]
    pub next_unshared: Predictive,
    /// Standard error of the mean by errors that sessions share: repeats don't show it, and pooling
    /// doesn't shrink it. It is counted in `mean` and `next`.
    pub shared_error: f64,
    /// Share of each session in the mean; together 1.
    pub shares: Vec<f64>,
    /// Sessions that the others don't explain.
    pub outlying: Vec<Outlying>,
    /// Whether the next session is foretold well enough, and if not what it takes.
    pub settled: Settled,
}

/// Pools sessions of one quantity whose errors are independent.
///
/// # Errors
/// [`CannotPool`].
pub fn pool(effects: &[Effect], wish: &Wish) -> Result<Pooled, CannotPool> {
    let nothing = DMatrix::zeros(effects.len(), effects.len());
    pool_sharing(effects, &nothing, wish)
}

/// Pools sessions of one quantity that share errors: `shared` is their covariance (sessions x
/// sessions), which comes on top of each session's own standard error.
///
/// # Errors
/// [`CannotPool`].
pub fn pool_sharing(
    effects: &[Effect],
    shared: &DMatrix<f64>,
    wish: &Wish,
) -> Result<Pooled, CannotPool> {
    let model = Model::mean(effects)?.sharing(shared);
    let posterior = Posterior::new(&model, wish.prior);
    let (basis, mean, between, next_unshared, shared_error) = if effects.len() < ENOUGH_SESSIONS {
        let (mean, between) = (posterior.mean(), posterior.between());
        let (next, shared) = (posterior.next(), posterior.shared_error());
        (Basis::Prior, mean, between, next, shared)
    } else {
        let (mean, between) = estimated(&model);
        let confidence = Posterior::confidence(&model);
        let mean = if effects.len() < MANY_SESSIONS {
            wider(&mean, &confidence.mean())
        } else {
            mean
        };
        let (next, shared) = (confidence.next(), confidence.shared_error());
        (Basis::Sessions, mean, between, next, shared)
    };
    let next = next_unshared.widened(shared_error);
    let typical = model.fit(between.value.unwrap_or(0.0).powi(2));
    Ok(Pooled {
        sessions: effects.len(),
        basis,
        mean,
        between,
        heterogeneity: heterogeneity(&model),
        next,
        next_unshared,
        shared_error,
        shares: typical.shares.row(0).iter().copied().collect(),
        outlying: outlying(effects, shared),
        settled: settled(effects, &next, &posterior, shared_error, wish.tolerance),
    })
}

/// The estimate with each end at the farther of two, seen from its value.
fn wider(estimate: &Estimate, other: &Estimate) -> Estimate {
    let (Some(value), Some((low, high)), Some((least, most))) =
        (estimate.value, estimate.bounds(), other.bounds())
    else {
        return *estimate;
    };
    let error = estimate.standard_error.unwrap_or(0.0);
    Estimate::between(value, error, low.min(least), high.max(most))
}

/// REML with the interval of Hartung & Knapp.
fn estimated(model: &Model) -> (Estimate, Estimate) {
    let variance = between_variance(model, Between::RestrictedLikelihood);
    let fit = model.fit(variance);
    let error = fit.knapp_hartung_error(0);
    let half = fit.half_width(0);
    let value = fit.coefficients[0];
    let (low, high) = between_interval(model);
    (
        Estimate::between(value, error, value - half, value + half),
        Estimate::between(
            variance.sqrt(),
            between::standard_error(&fit, variance),
            low.sqrt(),
            high.sqrt(),
        ),
    )
}

/// Q, its chance and I^2 (of REML's variance, Higgins & Thompson 2002).
fn heterogeneity(model: &Model) -> Option<Heterogeneity> {
    let freedom = model.freedom();
    if freedom < 1.0 {
        return None;
    }
    let fit = model.fit(0.0);
    let variance = between_variance(model, Between::RestrictedLikelihood);
    let typical = freedom / fit.trace;
    Some(Heterogeneity {
        q: fit.q,
        freedom,
        p: student::chi_squared_above(fit.q, freedom),
        i_squared: variance / (variance + typical),
    })
}
