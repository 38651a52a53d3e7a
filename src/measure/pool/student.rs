//! Quantiles and tails of the three distributions that pooling needs.

use statrs::distribution::{ChiSquared, ContinuousCDF as _, Normal, StudentsT};

/// Quantile of Student's t at `share` (0 to 1, both out); `freedom` above 0.
pub fn student_quantile(share: f64, freedom: f64) -> f64 {
    StudentsT::new(0.0, 1.0, freedom).map_or(f64::NAN, |t| t.inverse_cdf(share))
}

/// Chance of a Student t at least as far from 0 as `t`, to either side.
pub fn student_two_sided(t: f64, freedom: f64) -> f64 {
    StudentsT::new(0.0, 1.0, freedom).map_or(f64::NAN, |student| 2.0 * student.sf(t.abs()))
}

/// Quantile of the standard normal distribution at `share` (0 to 1, both out).
pub fn normal_quantile(share: f64) -> f64 {
    Normal::standard().inverse_cdf(share)
}

/// Probability of a standard normal value of at most `z`.
pub(crate) fn normal_below(z: f64) -> f64 {
    Normal::standard().cdf(z)
}

/// Quantile of chi squared at `share`.
pub(crate) fn chi_squared_quantile(share: f64, freedom: f64) -> f64 {
    ChiSquared::new(freedom).map_or(f64::NAN, |chi| chi.inverse_cdf(share))
}

/// Chance of a chi squared of at least `value`.
pub(crate) fn chi_squared_above(value: f64, freedom: f64) -> f64 {
    ChiSquared::new(freedom).map_or(f64::NAN, |chi| chi.sf(value))
}
