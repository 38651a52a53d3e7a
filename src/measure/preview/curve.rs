//! A characteristic curve both ways, from its drawn points.

use crate::measure::curve::CurveAnswer;
use crate::measure::curve::model::{SHOULDER_SHARE, SPEED_NET, TOE_NET};

/// A log exposure or density read off a curve, and whether the curve was tested there.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum Reached {
    /// Between the lightest and the darkest step.
    Tested(f64),
    /// Lighter than the lightest step: the lightest step's value.
    Lighter(f64),
    /// Darker than the darkest step: the darkest step's value.
    Darker(f64),
}

impl Reached {
    /// The value, held at the end of the tested span where it lies beyond.
    pub fn value(self) -> f64 {
        match self {
            Self::Tested(value) | Self::Lighter(value) | Self::Darker(value) => value,
        }
    }
}

/// A rising curve through drawn points, between the steps that were tested.
///
/// Between the points it is the monotone piecewise cubic of Fritsch and Butland (1984, from
/// memory), so that it never swings and can be turned round; a curve drawn every 0.05 decades
/// is met to better than 0.001 D.
#[derive(Debug, Clone, PartialEq)]
pub struct TestedCurve {
    /// Log exposures, decades, rising.
    exposures: Vec<f64>,
    /// Densities at these, rising (never falling).
    densities: Vec<f64>,
    /// Slopes at these, density per decade.
    slopes: Vec<f64>,
    /// Log exposures of the lightest and the darkest step that were used.
    tested: (f64, f64),
    /// Density of the unexposed material.
    dmin: f64,
    /// Density that the curve tends to, or of its darkest tested tone where that isn't known.
    dmax: f64,
}

impl TestedCurve {
    /// A curve through points (log exposure in decades, density), tested between two log
    /// exposures.
    ///
    /// `None` with fewer than three points, with points that fall or aren't finite, or when
    /// nothing between the two log exposures was drawn.
    pub fn new(points: &[(f64, f64)], tested: (f64, f64), dmin: f64, dmax: f64) -> Option<Self> {
        let sound = points.iter().all(|(x, d)| x.is_finite() && d.is_finite());
        let rising = points
            .windows(2)
            .all(|pair| pair[1].0 > pair[0].0 && pair[1].1 >= pair[0].1);
        let (first, last) = (points.first()?.0, points.last()?.0);
        let tested = (tested.0.max(first), tested.1.min(last));
        if points.len() < 3 || !sound || !rising || tested.0.is_nan() || tested.0 >= tested.1 {
            return None;
        }
        let (exposures, densities): (Vec<f64>, Vec<f64>) = points.iter().copied().unzip();
        let slopes = slopes(&exposures, &densities);
        let dmax = if dmax.is_finite() && dmax > dmin {
            dmax
        } else {
            densities[densities.len() - 1]
        };
        Some(Self {
            exposures,
            densities,
            slopes,
            tested,
            dmin,
            dmax,
        })
    }

    /// The curve of a strip that was fitted; `None` where there is none.
    pub fn of(answer: &CurveAnswer) -> Option<Self> {
        let points: Vec<(f64, f64)> = answer
            .curve
            .iter()
            .map(|point| (point.log_exposure, point.density))
            // Medians of draws on a level stretch may fall by their last bits.
            .scan(f64::NEG_INFINITY, |highest, (x, density)| {
                *highest = density.max(*highest);
                Some((x, *highest))
            })
            .collect();
        let used = answer.points.iter().filter(|point| !point.excluded);
        let tested = used.filter_map(|point| point.log_exposure.filter(|x| x.is_finite()));
        let (low, high) = tested.fold((f64::INFINITY, f64::NEG_INFINITY), |(low, high), x| {
            (low.min(x), high.max(x))
        });
        let dmin = answer.dmin.value.or_else(|| Some(points.first()?.1))?;
        Self::new(
            &points,
            (low, high),
            dmin,
            answer.dmax.value.unwrap_or(f64::NAN),
        )
    }

    /// Log exposures (decades) of the lightest and the darkest tested step.
    pub fn tested(&self) -> (f64, f64) {
        self.tested
    }

    /// Density of the unexposed material.
    pub fn dmin(&self) -> f64 {
        self.dmin
    }

    /// Density below which a tone is blank: net 0.04, the light end of the exposure range of
    /// ISO 6846.
    pub fn blank_below(&self) -> f64 {
        self.dmin + TOE_NET
    }

    /// Density above which tones are blocked: 90 % of the full net density, the dark end of
    /// the exposure range of ISO 6846.
    pub fn blocked_above(&self) -> f64 {
        self.dmin + SHOULDER_SHARE * (self.dmax - self.dmin)
    }

    /// Log exposure of the speed point (net 0.60, ISO 6846), held within the tested span.
    pub fn speed_point(&self) -> f64 {
        self.log_exposure(self.dmin + SPEED_NET).value()
    }

    /// Density at a log exposure (decades).
    pub fn density(&self, log_exposure: f64) -> Reached {
        let (low, high) = self.tested;
        if log_exposure < low {
            Reached::Lighter(self.at(low))
        } else if log_exposure > high {
            Reached::Darker(self.at(high))
        } else {
            Reached::Tested(self.at(log_exposure))
        }
    }

    /// Log exposure (decades) that gives a density; the curve the other way round.
    pub fn log_exposure(&self, density: f64) -> Reached {
        let (low, high) = self.tested;
        if density < self.at(low) {
            return Reached::Lighter(low);
        }
        if density > self.at(high) {
            return Reached::Darker(high);
        }
        let last = self.densities.len() - 2;
        let piece = self
            .densities
            .partition_point(|&d| d <= density)
            .saturating_sub(1)
            .min(last);
        let (mut below, mut above) = (
            self.exposures[piece].max(low),
            self.exposures[piece + 1].min(high),
        );
        // Halving: 60 times leaves nothing, and it can't miss on a curve that only rises.
        for _ in 0..60 {
            let middle = 0.5 * (below + above);
            if self.within(piece, middle) < density {
                below = middle;
            } else {
                above = middle;
            }
        }
        Reached::Tested(0.5 * (below + above))
    }

    fn at(&self, x: f64) -> f64 {
        let last = self.exposures.len() - 2;
        let piece = self
            .exposures
            .partition_point(|&known| known <= x)
            .saturating_sub(1)
            .min(last);
        self.within(piece, x)
    }

    /// The cubic of one piece (Hermite's form).
    fn within(&self, piece: usize, x: f64) -> f64 {
        let width = self.exposures[piece + 1] - self.exposures[piece];
        let t = (x - self.exposures[piece]) / width;
        let (d0, d1) = (self.densities[piece], self.densities[piece + 1]);
        let (m0, m1) = (self.slopes[piece] * width, self.slopes[piece + 1] * width);
        let rest = 1.0 - t;
        d0 * (1.0 + 2.0 * t) * rest * rest
            + m0 * t * rest * rest
            + d1 * t * t * (3.0 - 2.0 * t)
            + m1 * t * t * (t - 1.0)
    }
}

/// Slopes that keep a piecewise cubic monotone: the weighted harmonic mean of the two sides;
/// at the ends that of the parabola through three points, kept to the sign and to three times
/// the side.
fn slopes(x: &[f64], d: &[f64]) -> Vec<f64> {
    let widths: Vec<f64> = x.windows(2).map(|pair| pair[1] - pair[0]).collect();
    let sides: Vec<f64> = d
        .windows(2)
        .zip(&widths)
        .map(|(pair, width)| (pair[1] - pair[0]) / width)
        .collect();
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
