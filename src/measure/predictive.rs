//! What is expected of the next time: a Student t distribution with normal errors on top.
//!
//! Pooling gives one for the next session of a profile; the print plan spends it on a piece. A
//! session's scatter is known from few sessions, so it has a Student t's tails; a piece's scatter or
//! a click stop's error is a normal one of known size. The sum of the two is neither: it is
//! convolved here, and not called a Student t that is wider.

use serde::Serialize;
use statrs::distribution::{ChiSquared, ContinuousCDF, Normal, StudentsT};

use super::estimate::Estimate;

/// Degrees of freedom from which a Student t is taken as normal: the quantiles of 95 % then
/// differ by less than 3 in a million.
const AS_GOOD_AS_NORMAL: f64 = 1e6;
/// Normal distributions that a Student t is made of when a normal error comes on top.
const PARTS: usize = 80;
/// Halvings of an interval when a quantile is looked for.
const HALVINGS: usize = 60;

/// A predictive distribution in the unit of its quantity (stops for a speed ratio): centre plus
/// `scale` times a Student t plus `normal` times a standard normal deviate.
#[derive(Debug, Clone, Copy, PartialEq, Serialize)]
pub struct Predictive {
    /// Its median.
    pub centre: f64,
    /// Scale of the Student t: its standard deviation, were the degrees of freedom without end.
    /// Not negative.
    pub scale: f64,
    /// Degrees of freedom, above 0; infinite for a normal distribution.
    pub freedom: f64,
    /// Standard deviation of the normal errors on top. Not negative.
    pub normal: f64,
}

impl Predictive {
    /// A normal distribution.
    pub fn normal(centre: f64, scale: f64) -> Self {
        Self::student(centre, scale, f64::INFINITY)
    }

    /// A location-scale Student t distribution.
    pub fn student(centre: f64, scale: f64, freedom: f64) -> Self {
        Self {
            centre,
            scale,
            freedom,
            normal: 0.0,
        }
    }

    /// Probability of a value of at most `x`.
    pub fn below(&self, x: f64) -> f64 {
        self.worked_out().below(x)
    }

    /// Probability of a value between two others.
    pub fn between(&self, low: f64, high: f64) -> f64 {
        let shape = self.worked_out();
        (shape.below(high) - shape.below(low)).max(0.0)
    }

    /// The value that `share` (between 0 and 1, both out) of the next times lie below.
    pub fn quantile(&self, share: f64) -> f64 {
        self.worked_out().quantile(share)
    }

    /// The values that these shares of the next times lie below.
    pub fn quantiles(&self, shares: impl IntoIterator<Item = f64>) -> Vec<f64> {
        let shape = self.worked_out();
        let each = shares.into_iter().map(|share| shape.quantile(share));
        each.collect()
    }

    /// Median and 95 % interval.
    pub fn estimate(&self) -> Estimate {
        let shape = self.worked_out();
        let (lower, upper) = (shape.quantile(0.025), shape.quantile(0.975));
        Estimate::between(self.centre, self.spread(), lower, upper)
    }

    /// Half the width of the 95 % interval.
    pub fn half_width(&self) -> f64 {
        self.quantile(0.975) - self.centre
    }

    /// Scale and normal errors together: the standard deviation, were the degrees of freedom
    /// without end.
    pub fn spread(&self) -> f64 {
        self.scale.hypot(self.normal)
    }

    /// The distribution with an independent normal error of this standard deviation on top.
    #[must_use]
    pub fn widened(&self, error: f64) -> Self {
        if self.freedom >= AS_GOOD_AS_NORMAL {
            Self {
                scale: self.scale.hypot(error),
                ..*self
            }
        } else {
            Self {
                normal: self.normal.hypot(error),
                ..*self
            }
        }
    }

    fn worked_out(&self) -> Shape {
        let student = self.freedom < AS_GOOD_AS_NORMAL && self.scale > 0.0;
        let kind = match (student, self.spread() > 0.0) {
            (_, false) => Kind::Point,
            (false, true) => Kind::Normal(self.spread()),
            (true, true) if self.normal == 0.0 => {
                StudentsT::new(self.centre, self.scale, self.freedom)
                    .map_or(Kind::Normal(self.spread()), Kind::Student)
            }
            (true, true) => self
                .parts()
                .map_or(Kind::Normal(self.spread()), Kind::Parts),
        };
        Shape {
            centre: self.centre,
            spread: self.spread(),
            kind,
        }
    }

    /// A Student t is a normal distribution whose variance is divided by a chi squared over its
    /// degrees of freedom (any textbook). Shares of that chi squared, closer where it is small and
    /// the tails come from, as weight and standard deviation.
    fn parts(&self) -> Option<Vec<(f64, f64)>> {
        let chi = ChiSquared::new(self.freedom).ok()?;
        let edge = |part: usize| (part as f64 / PARTS as f64).powi(3);
        let part = |part: usize| {
            let (low, high) = (edge(part), edge(part + 1));
            let over = chi.inverse_cdf(0.5 * (low + high)) / self.freedom;
            (high - low, (self.scale / over.sqrt()).hypot(self.normal))
        };
        Some((0..PARTS).map(part).collect())
    }
}

/// A distribution that is ready to be asked many times.
struct Shape {
    centre: f64,
    spread: f64,
    kind: Kind,
}

enum Kind {
    /// Everything lies at the centre.
    Point,
    Normal(f64),
    Student(StudentsT),
    /// Normal distributions about the centre: weight and standard deviation.
    Parts(Vec<(f64, f64)>),
}

impl Shape {
    fn below(&self, x: f64) -> f64 {
        let from = x - self.centre;
        let standard = Normal::standard();
        match &self.kind {
            Kind::Point => f64::from(from >= 0.0),
            Kind::Normal(deviation) => standard.cdf(from / deviation),
            Kind::Student(student) => student.cdf(x),
            Kind::Parts(parts) => parts
                .iter()
                .map(|(weight, deviation)| weight * standard.cdf(from / deviation))
                .sum(),
        }
    }

    fn quantile(&self, share: f64) -> f64 {
        match &self.kind {
            Kind::Point => self.centre,
            Kind::Normal(deviation) => {
                self.centre + deviation * Normal::standard().inverse_cdf(share)
            }
            Kind::Student(student) => student.inverse_cdf(share),
            Kind::Parts(_) => self.searched(share),
        }
    }

    fn searched(&self, share: f64) -> f64 {
        // The distribution is even about its centre: its upper half says all.
        let wanted = share.max(1.0 - share);
        let (mut low, mut high) = (0.0, self.spread);
        while self.below(self.centre + high) < wanted && high.is_finite() {
            (low, high) = (high, 2.0 * high);
        }
        for _ in 0..HALVINGS {
            let middle = 0.5 * (low + high);
            if high - low < 1e-9 * self.spread {
                break;
            }
            if self.below(self.centre + middle) < wanted {
                low = middle;
            } else {
                high = middle;
            }
        }
        let away = 0.5 * (low + high);
        self.centre + if share < 0.5 { -away } else { away }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Table of Student's t, any handbook: 0.975 quantile is 2.776 at 4 degrees of freedom,
    /// 1.960 without end.
    #[test]
    fn the_interval_is_that_of_the_tables() {
        let few = Predictive::student(2.5, 0.1, 4.0);
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

    /// The sum of a Student t and a normal deviate against its convolution by brute force. Called a
    /// wider Student t, the sum of 0.02 t (2 degrees of freedom) and 0.1 would be ±0.439 instead of
    /// ±0.216.
    #[test]
    fn a_normal_error_on_a_student_t_is_convolved_and_not_called_a_wider_student_t() {
        for (scale, freedom, normal) in [
            (0.02, 2.0, 0.1),
            (0.1, 1.5, 0.1),
            (0.1, 4.0, 0.05),
            (0.3, 3.0, 0.01),
            (0.05, 12.0, 0.2),
        ] {
            let sum = Predictive::student(1.0, scale, freedom).widened(normal);
            let student = StudentsT::new(0.0, scale, freedom).unwrap();
            let standard = Normal::standard();
            // Shares of the normal deviate, each by its middle.
            let exact = |x: f64| -> f64 {
                let count = 4000;
                let shares = (0..count).map(|i| (f64::from(i) + 0.5) / f64::from(count));
                let each =
                    shares.map(|share| student.cdf(x - normal * standard.inverse_cdf(share)));
                each.sum::<f64>() / f64::from(count)
            };
            for share in [0.75, 0.9, 0.975] {
                let found = exact(sum.quantile(share) - 1.0);
                assert!(
                    (found - share).abs() < 0.001,
                    "{scale} {freedom} {share}: {found}"
                );
                let other = sum.quantile(1.0 - share);
                assert!((other + sum.quantile(share) - 2.0).abs() < 1e-6);
            }
        }
        let small = Predictive::student(0.0, 0.02, 2.0).widened(0.1);
        assert!(
            (small.half_width() - 0.216).abs() < 0.002,
            "{}",
            small.half_width()
        );
    }
}
