//! A characteristic curve as drawn, both ways: from log exposure to density and back.

use serde::Serialize;

use super::CurveAnswer;
use super::model::{SHOULDER_SHARE, SPEED_NET, TOE_NET};

/// Halvings of a piece when the curve is turned round: 60 leave nothing of a double's digits.
const HALVINGS: usize = 60;

/// Net density over log exposure, never falling.
///
/// Between the points it is the monotone piecewise cubic of Fritsch and Butland (1984, from
/// memory), so that it never swings and can be turned round; a curve drawn every 0.05 decades
/// is met to better than 0.001 D. Before the first and after the last point it stays level.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct DrawnCurve {
    /// Density without exposure.
    pub dmin: f64,
    /// Log exposure in decades and net density, both rising.
    points: Vec<(f64, f64)>,
    /// Net density gained per decade at the points; follows from them.
    #[serde(skip)]
    slopes: Vec<f64>,
}

impl DrawnCurve {
    /// A curve through these points (log exposure in decades, density); `None` for fewer than
    /// two different ones, or when something isn't finite.
    ///
    /// Points that would make it fall are levelled: medians of draws on a level stretch may
    /// fall by their last bits.
    pub fn new(dmin: f64, points: impl IntoIterator<Item = (f64, f64)>) -> Option<Self> {
        let mut points: Vec<(f64, f64)> = points.into_iter().collect();
        let sound = |(x, density): &(f64, f64)| x.is_finite() && density.is_finite();
        if !dmin.is_finite() || !points.iter().all(sound) {
            return None;
        }
        points.sort_by(|a, b| a.0.total_cmp(&b.0));
        points.dedup_by(|a, b| a.0 == b.0);
        if points.len() < 2 {
            return None;
        }
        let mut highest = 0.0f64;
        for (_, density) in &mut points {
            highest = highest.max(*density - dmin);
            *density = highest;
        }
        let slopes = slopes(&points);
        Some(Self {
            dmin,
            points,
            slopes,
        })
    }

    /// The fitted curve of a strip; `None` when nothing was fitted.
    pub fn of(answer: &CurveAnswer) -> Option<Self> {
        let first = answer.curve.first()?.density;
        let points = answer.curve.iter();
        Self::new(
            answer.dmin.value.unwrap_or(first),
            points.map(|point| (point.log_exposure, point.density)),
        )
    }

    /// The curve with its log exposures `by` times (above 0) as far from `about`.
    #[must_use]
    pub fn stretched(&self, about: f64, by: f64) -> Self {
        let moved = |x: f64| about + by * (x - about);
        Self {
            dmin: self.dmin,
            points: self
                .points
                .iter()
                .map(|&(x, net)| (moved(x), net))
                .collect(),
            slopes: self.slopes.iter().map(|slope| slope / by).collect(),
        }
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
        let (first, last) = self.span();
        if x <= first {
            self.least()
        } else if x >= last {
            self.full()
        } else {
            self.within(self.piece(x), x).0
        }
    }

    /// Density at a log exposure (decades).
    pub fn density(&self, x: f64) -> f64 {
        self.dmin + self.net(x)
    }

    /// Net density gained per decade at a log exposure; none where it is level beyond the ends.
    pub fn slope(&self, x: f64) -> f64 {
        let (first, last) = self.span();
        if (first..=last).contains(&x) {
            self.within(self.piece(x), x).1
        } else {
            0.0
        }
    }

    /// Log exposure (decades) at which the curve first comes to a net density; `None` where it
    /// doesn't.
    pub fn x_at(&self, net: f64) -> Option<f64> {
        if !(self.least()..=self.full()).contains(&net) {
            return None;
        }
        let after = self.points.partition_point(|point| point.1 < net);
        let Some(piece) = after.checked_sub(1) else {
            return Some(self.points[0].0);
        };
        let (mut below, mut above) = (self.points[piece].0, self.points[after].0);
        // Halving can't miss on a curve that only rises.
        for _ in 0..HALVINGS {
            let middle = 0.5 * (below + above);
            if self.within(piece, middle).0 < net {
                below = middle;
            } else {
                above = middle;
            }
        }
        Some(0.5 * (below + above))
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

    /// The piece in which a log exposure lies.
    fn piece(&self, x: f64) -> usize {
        let after = self.points.partition_point(|point| point.0 <= x);
        after.saturating_sub(1).min(self.points.len() - 2)
    }

    /// The cubic of one piece (Hermite's form), and its slope.
    fn within(&self, piece: usize, x: f64) -> (f64, f64) {
        let ((x0, d0), (x1, d1)) = (self.points[piece], self.points[piece + 1]);
        let width = x1 - x0;
        let t = (x - x0) / width;
        let rest = 1.0 - t;
        let (m0, m1) = (self.slopes[piece], self.slopes[piece + 1]);
        let net =
            d0 + (d1 - d0) * t * t * (3.0 - 2.0 * t) + width * t * rest * (m0 * rest - m1 * t);
        let slope = 6.0 * (d1 - d0) / width * t * rest
            + m0 * rest * (1.0 - 3.0 * t)
            + m1 * t * (3.0 * t - 2.0);
        (net, slope)
    }
}

/// Slopes that keep a piecewise cubic monotone: the weighted harmonic mean of the two sides;
/// at the ends that of the parabola through three points, kept to the sign and to three times
/// the side.
fn slopes(points: &[(f64, f64)]) -> Vec<f64> {
    let pairs = || points.windows(2);
    let widths: Vec<f64> = pairs().map(|pair| pair[1].0 - pair[0].0).collect();
    let rises = pairs().map(|pair| pair[1].1 - pair[0].1);
    let sides: Vec<f64> = rises
        .zip(&widths)
        .map(|(rise, width)| rise / width)
        .collect();
    if let [side] = sides[..] {
        return vec![side; 2];
    }
    let end = |w0: f64, w1: f64, s0: f64, s1: f64| {
        let slope = ((2.0 * w0 + w1) * s0 - w0 * s1) / (w0 + w1);
        slope.clamp(0.0, 3.0 * s0.max(0.0))
    };
    let last = sides.len() - 1;
    let mut slopes = vec![end(widths[0], widths[1], sides[0], sides[1])];
    for i in 1..sides.len() {
        let (a, b) = (sides[i - 1], sides[i]);
        let (wa, wb) = (
            2.0 * widths[i] + widths[i - 1],
            widths[i] + 2.0 * widths[i - 1],
        );
        slopes.push(if a > 0.0 && b > 0.0 {
            (wa + wb) / (wa / a + wb / b)
        } else {
            0.0
        });
    }
    slopes.push(end(
        widths[last],
        widths[last - 1],
        sides[last],
        sides[last - 1],
    ));
    slopes
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn exposure_and_density_are_each_others_inverse() {
        let points = [(0.0, 0.1), (1.0, 1.1), (2.0, 1.6), (2.5, 1.6)];
        let curve = DrawnCurve::new(0.1, points).unwrap();
        for net in [0.0, 0.3, 0.6, 1.0, 1.2, 1.5] {
            let x = curve.x_at(net).unwrap();
            assert!((curve.net(x) - net).abs() < 1e-12, "{net}");
        }
        assert_eq!(curve.x_at(1.6), None);
        assert_eq!(curve.x_at(-0.1), None);
        assert_eq!(curve.density(9.0), 1.6);
        assert_eq!(curve.density(-9.0), 0.1);
    }

    #[test]
    fn a_curve_of_known_shape_is_met_between_its_points_in_density_and_in_slope() {
        // A logistic from 0 to 2 with gamma 3 at its middle, drawn as answers are drawn.
        let density = |x: f64| 2.0 / (1.0 + (-6.0 * x).exp());
        let points = (0..=100).map(|i| f64::from(i) * 0.04 - 2.0);
        let curve = DrawnCurve::new(0.0, points.map(|x| (x, density(x)))).unwrap();
        for i in 0..=997 {
            let x = f64::from(i) * 0.004 - 1.99;
            assert!((curve.net(x) - density(x)).abs() < 0.001, "density at {x}");
            let slope = 6.0 * density(x) * (1.0 - density(x) / 2.0);
            assert!((curve.slope(x) - slope).abs() < 0.06, "slope at {x}");
        }
        assert_eq!(curve.slope(3.0), 0.0);
    }

    #[test]
    fn points_that_fall_are_levelled_and_one_point_is_no_curve() {
        let curve = DrawnCurve::new(0.0, [(1.0, 0.5), (0.0, 0.1), (2.0, 0.4)]).unwrap();
        assert_eq!(curve.points, [(0.0, 0.1), (1.0, 0.5), (2.0, 0.5)]);
        assert_eq!(curve.net(1.5), 0.5, "a level stretch stays level");
        let line = DrawnCurve::new(0.0, [(0.0, 0.0), (2.0, 1.0)]).unwrap();
        assert!((line.net(0.5) - 0.25).abs() < 1e-12 && (line.slope(1.7) - 0.5).abs() < 1e-12);
        assert_eq!(DrawnCurve::new(0.0, [(1.0, 0.5)]), None);
        assert_eq!(DrawnCurve::new(f64::NAN, [(1.0, 0.5), (2.0, 0.6)]), None);
        assert_eq!(DrawnCurve::new(0.0, [(1.0, f64::NAN), (2.0, 0.6)]), None);
    }
}
