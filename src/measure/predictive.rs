//! What is expected of the next time: a location-scale Student t distribution.
//!
//! Pooling gives one for the next session of a profile; the print plan spends it on a piece.

use serde::Serialize;
use statrs::distribution::{ContinuousCDF, Normal, StudentsT};

use super::estimate::Estimate;

/// Degrees of freedom from which a Student t is taken as normal: the quantiles of 95 % then
/// differ by less than 3 in a million.
const AS_GOOD_AS_NORMAL: f64 = 1e6;

/// A predictive distribution in the unit of its quantity (stops for a speed ratio).
#[derive(Debug, Clone, Copy, PartialEq, Serialize)]
pub struct Predictive {
    /// Its median.
    pub centre: f64,
    /// Scale: the standard deviation, were the degrees of freedom without end. Not negative.
    pub scale: f64,
    /// Degrees of freedom, above 0; infinite for a normal distribution.
    pub freedom: f64,
}

impl Predictive {
    /// A normal distribution.
    pub fn normal(centre: f64, scale: f64) -> Self {
        Self {
            centre,
            scale,
            freedom: f64::INFINITY,
        }
    }

    /// Probability of a value of at most `x`.
    pub fn below(&self, x: f64) -> f64 {
        match self.standard() {
            Some(standard) => standard.cdf((x - self.centre) / self.scale),
            None => f64::from(x >= self.centre),
        }
    }

    /// Probability of a value between two others.
    pub fn between(&self, low: f64, high: f64) -> f64 {
        (self.below(high) - self.below(low)).max(0.0)
    }

    /// The value that `share` (between 0 and 1, both out) of the next times lie below.
    pub fn quantile(&self, share: f64) -> f64 {
        match self.standard() {
            Some(standard) => self.centre + self.scale * standard.inverse_cdf(share),
            None => self.centre,
        }
    }

    /// Median and 95 % interval.
    pub fn estimate(&self) -> Estimate {
        let (lower, upper) = (self.quantile(0.025), self.quantile(0.975));
        Estimate::between(self.centre, self.scale, lower, upper)
    }

    /// The distribution with an independent error of this standard deviation added; exact for
    /// a normal one, else by the variance (a little wide at the tails).
    #[must_use]
    pub fn widened(&self, error: f64) -> Self {
        Self {
            scale: self.scale.hypot(error),
            ..*self
        }
    }

    /// `None` when the scale is 0: everything lies at the centre.
    fn standard(&self) -> Option<Box<dyn ContinuousCDF<f64, f64>>> {
        if self.scale <= 0.0 {
            return None;
        }
        if self.freedom >= AS_GOOD_AS_NORMAL {
            return Some(Box::new(Normal::standard()));
        }
        let student = StudentsT::new(0.0, 1.0, self.freedom).ok()?;
        Some(Box::new(student))
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Table of Student's t, any handbook: 0.975 quantile is 2.776 at 4 degrees of freedom,
    /// 1.960 without end.
    #[test]
    fn the_interval_is_that_of_the_tables() {
        let few = Predictive {
            centre: 2.5,
            scale: 0.1,
            freedom: 4.0,
        };
        let (low, high) = few.estimate().bounds().unwrap();
        assert!((high - 2.7776).abs() < 5e-5 && (low - 2.2224).abs() < 5e-5);
        let many = Predictive::normal(0.0, 1.0);
        assert!((many.quantile(0.975) - 1.959_964).abs() < 1e-4);
        assert!((many.between(-1.0, 1.0) - 0.682_689).abs() < 1e-5);
    }

    #[test]
    fn without_spread_everything_lies_at_the_centre() {
        let sure = Predictive::normal(1.0, 0.0);
        assert_eq!(sure.between(0.9, 1.1), 1.0);
        assert_eq!(sure.between(1.1, 1.2), 0.0);
        assert_eq!(sure.quantile(0.975), 1.0);
    }
}
