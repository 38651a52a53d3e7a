//! A characteristic curve as drawn: points joined by straight lines, both ways.

use serde::Serialize;

use crate::measure::curve::CurveAnswer;
use crate::measure::curve::model::{SHOULDER_SHARE, SPEED_NET, TOE_NET};

/// Half of the span, decades, over which a slope is taken: a twelfth of a stop each way would
/// show the corners between the drawn points, a third smears the toe.
const SLOPE_REACH: f64 = 0.05;

/// Net density over log exposure, never falling.
///
/// Between two points the density goes straight; with points 0.04 decades apart a curve of
/// gamma 3 is met to 0.001. Before the first and after the last point it stays level.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct ToneCurve {
    /// Density without exposure.
    pub dmin: f64,
    /// Log exposure in decades and net density, both rising.
    points: Vec<(f64, f64)>,
}

impl ToneCurve {
    /// A curve through these points (log exposure in decades, density); `None` for fewer than
    /// two different ones. Points that would make it fall are levelled.
    pub fn new(dmin: f64, points: impl IntoIterator<Item = (f64, f64)>) -> Option<Self> {
        let mut given: Vec<(f64, f64)> = points
            .into_iter()
            .filter(|(x, density)| x.is_finite() && density.is_finite())
            .collect();
        given.sort_by(|a, b| a.0.total_cmp(&b.0));
        given.dedup_by(|a, b| a.0 == b.0);
        let mut highest = 0.0f64;
        let points: Vec<(f64, f64)> = given
            .into_iter()
            .map(|(x, density)| {
                highest = highest.max(density - dmin);
                (x, highest)
            })
            .collect();
        (dmin.is_finite() && points.len() >= 2).then_some(Self { dmin, points })
    }

    /// The fitted curve of a strip; `None` when nothing was fitted.
    pub fn of(answer: &CurveAnswer) -> Option<Self> {
        let dmin = answer
            .dmin
            .value
            .or_else(|| answer.curve.first().map(|point| point.density))?;
        Self::new(
            dmin,
            answer
                .curve
                .iter()
                .map(|point| (point.log_exposure, point.density)),
        )
    }

    /// The points: log exposure in decades and net density.
    pub fn points(&self) -> &[(f64, f64)] {
        &self.points
    }

    /// Log exposures between which it is drawn, decades.
    pub fn span(&self) -> (f64, f64) {
        (self.points[0].0, self.points[self.points.len() - 1].0)
    }

    /// Highest net density that is drawn.
    pub fn full(&self) -> f64 {
        self.points[self.points.len() - 1].1
    }

    /// Lowest net density that is drawn.
    pub fn least(&self) -> f64 {
        self.points[0].1
    }

    /// Net density at a log exposure (decades).
    pub fn net(&self, x: f64) -> f64 {
        let after = self.points.partition_point(|point| point.0 < x);
        match (after.checked_sub(1), self.points.get(after)) {
            (None, _) => self.least(),
            (_, None) => self.full(),
            (Some(before), Some(&(x1, n1))) => {
                let (x0, n0) = self.points[before];
                n0 + (n1 - n0) * (x - x0) / (x1 - x0)
            }
        }
    }

    /// Density at a log exposure (decades).
    pub fn density(&self, x: f64) -> f64 {
        self.dmin + self.net(x)
    }

    /// Log exposure (decades) at a net density; `None` where the curve doesn't come to it.
    pub fn x_at(&self, net: f64) -> Option<f64> {
        if !(self.least()..=self.full()).contains(&net) {
            return None;
        }
        let after = self.points.partition_point(|point| point.1 < net);
        let &(x1, n1) = self.points.get(after)?;
        let Some(before) = after.checked_sub(1) else {
            return Some(x1);
        };
        let (x0, n0) = self.points[before];
        Some(x0 + (x1 - x0) * (net - n0) / (n1 - n0))
    }

    /// Net density gained per decade about a log exposure.
    pub fn slope(&self, x: f64) -> f64 {
        (self.net(x + SLOPE_REACH) - self.net(x - SLOPE_REACH)) / (2.0 * SLOPE_REACH)
    }

    /// Log exposures of the ends of the exposure range (ISO 6846): net 0.04 and 90 % of the
    /// full net density, as far as they are drawn.
    pub fn range(&self) -> (f64, f64) {
        let (first, last) = self.span();
        (
            self.x_at(TOE_NET).unwrap_or(first),
            self.x_at(SHOULDER_SHARE * self.full()).unwrap_or(last),
        )
    }

    /// Log exposure (decades) of the speed point; `None` when it isn't reached.
    pub fn speed_point(&self) -> Option<f64> {
        self.x_at(SPEED_NET)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn ramp() -> ToneCurve {
        ToneCurve::new(0.1, [(0.0, 0.1), (1.0, 1.1), (2.0, 1.6), (2.5, 1.6)]).unwrap()
    }

    #[test]
    fn exposure_and_density_are_each_others_inverse() {
        let curve = ramp();
        for net in [0.0, 0.3, 0.6, 1.0, 1.2, 1.5] {
            let x = curve.x_at(net).unwrap();
            assert!((curve.net(x) - net).abs() < 1e-12, "{net}");
        }
        assert_eq!(curve.x_at(1.6), None);
        assert_eq!(curve.x_at(-0.1), None);
        assert_eq!(curve.density(9.0), 1.6);
        assert_eq!(curve.density(-9.0), 0.1);
        assert!((curve.slope(0.5) - 1.0).abs() < 1e-12);
    }

    #[test]
    fn points_that_fall_are_levelled_and_one_point_is_no_curve() {
        let curve = ToneCurve::new(0.0, [(1.0, 0.5), (0.0, 0.1), (2.0, 0.4)]).unwrap();
        assert_eq!(curve.points(), [(0.0, 0.1), (1.0, 0.5), (2.0, 0.5)]);
        assert_eq!(ToneCurve::new(0.0, [(1.0, 0.5)]), None);
        assert_eq!(ToneCurve::new(f64::NAN, [(1.0, 0.5), (2.0, 0.6)]), None);
    }
}
