//! A preliminary smooth curve through the steps, for local slopes only.

use nalgebra::{DMatrix, DVector};

use super::kernel::{matern_52, matern_52_slope};

/// Over how many decades of exposure a curve changes its course.
const SCALE_DECADES: f64 = 0.45;
/// What is believed of the curve in the logarithm of net density: at the toe it grows by a
/// factor of e in 0.1 to 0.5 decades (common practice, no source).
const LOGARITHM: Belief = Belief {
    level: 5.0,
    slope: (3.0, 3.0),
    departure: 1.0,
};
/// What is believed of it in net density.
const DENSITY: Belief = Belief {
    level: 3.0,
    slope: (0.0, 4.0),
    departure: 0.5,
};
/// Net densities below this say nothing about the slope.
const LEAST_NET: f64 = 0.008;
/// Decades to either side over which the slope's change is taken.
const BEND_REACH: f64 = 0.05;
/// Without a margin the lightest step is taken to be this far above Dmin.
const ASSUMED_TOE: f64 = 0.02;

/// Net densities and slopes dD/dX at the entries of a strip, neither below zero.
#[derive(Debug, Clone, PartialEq)]
pub struct Tones {
    /// Density above Dmin.
    pub net: Vec<f64>,
    /// Density per decade of exposure.
    pub slope: Vec<f64>,
    /// Change of that slope per decade.
    pub bend: Vec<f64>,
}

/// Net densities and local slopes from a smooth curve through the entries.
///
/// Takes log exposures in decades (entries that have none are not finite and get slope 0),
/// densities and their covariance; entry 0 is the margin if `has_margin`. Two curves, each
/// the posterior mean of a Gaussian process about a straight line, so that no family of
/// curves is needed: one in the logarithm of net density, which keeps the toe's small slopes
/// right in proportion, and one in density itself, which does so for the shoulder. Their
/// slopes are mixed by net density. Source: Rasmussen & Williams 2006, sections 2.2, 2.7
/// and 9.4.
pub fn tones(
    log_exposures: &[f64],
    density: &DVector<f64>,
    covariance: &DMatrix<f64>,
    has_margin: bool,
) -> Tones {
    let dmin = if has_margin {
        density[0]
    } else {
        density.min() - ASSUMED_TOE
    };
    let net: Vec<f64> = density.iter().map(|d| (d - dmin).max(0.0)).collect();
    let (mut slope, mut bend) = (vec![0.0; net.len()], vec![0.0; net.len()]);
    let known: Vec<usize> = (0..net.len())
        .filter(|&entry| log_exposures[entry].is_finite())
        .collect();
    if known.len() < 2 {
        return Tones { net, slope, bend };
    }
    let x: Vec<f64> = known.iter().map(|&entry| log_exposures[entry]).collect();
    let seen: Vec<f64> = known
        .iter()
        .map(|&entry| net[entry].max(LEAST_NET))
        .collect();
    let error = DMatrix::from_fn(known.len(), known.len(), |i, j| {
        let (a, b) = (known[i], known[j]);
        let dmin_error = if has_margin {
            covariance[(0, 0)] - covariance[(a, 0)] - covariance[(0, b)]
        } else {
            (ASSUMED_TOE / 2.0).powi(2)
        };
        covariance[(a, b)] + dmin_error
    });
    let relative = DMatrix::from_fn(known.len(), known.len(), |i, j| {
        error[(i, j)] / (seen[i] * seen[j])
    });
    let logarithms: Vec<f64> = seen.iter().map(|net| net.ln()).collect();
    let toe = Smooth::through(&x, &logarithms, &relative, &LOGARITHM);
    let shoulder = Smooth::through(&x, &seen, &error, &DENSITY);
    let (Some(toe), Some(shoulder)) = (toe, shoulder) else {
        return Tones { net, slope, bend };
    };
    let full = seen.iter().copied().fold(0.0, f64::max);
    let slope_at = |at: f64| {
        let (level, steepness) = toe.at(at);
        let net = level.exp();
        let share = (net / full).min(1.0);
        (1.0 - share) * net * steepness + share * shoulder.at(at).1
    };
    for (&x, &entry) in x.iter().zip(&known) {
        slope[entry] = slope_at(x).max(0.0);
        let rise = slope_at(x + BEND_REACH) - slope_at(x - BEND_REACH);
        bend[entry] = rise / (2.0 * BEND_REACH);
    }
    Tones { net, slope, bend }
}

/// What is believed of a curve beforehand: standard deviation of its level, middle and
/// standard deviation of its slope per decade, and how far it departs from a straight line.
struct Belief {
    level: f64,
    slope: (f64, f64),
    departure: f64,
}

/// A smooth curve through points with correlated errors.
struct Smooth<'a> {
    x: &'a [f64],
    belief: &'a Belief,
    /// Middle of the x and of the values.
    middle: (f64, f64),
    pull: DVector<f64>,
}

impl<'a> Smooth<'a> {
    fn through(
        x: &'a [f64],
        values: &[f64],
        error: &DMatrix<f64>,
        belief: &'a Belief,
    ) -> Option<Self> {
        let count = x.len();
        let mean = |values: &[f64]| values.iter().sum::<f64>() / count as f64;
        let mut smooth = Self {
            x,
            belief,
            middle: (mean(x), mean(values)),
            pull: DVector::zeros(count),
        };
        let total = DMatrix::from_fn(count, count, |i, j| {
            let own = if i == j { 1e-6 } else { 0.0 };
            smooth.prior(x[i], x[j]) + error[(i, j)] + own
        });
        let away = DVector::from_fn(count, |i, _| values[i] - smooth.line(x[i]));
        smooth.pull = total.cholesky()?.solve(&away);
        Some(smooth)
    }

    fn line(&self, at: f64) -> f64 {
        self.middle.1 + self.belief.slope.0 * (at - self.middle.0)
    }

    fn prior(&self, a: f64, b: f64) -> f64 {
        let tilt = self.belief.slope.1.powi(2) * (a - self.middle.0) * (b - self.middle.0);
        let departure = self.belief.departure.powi(2);
        self.belief.level.powi(2) + tilt + departure * matern_52((a - b).abs(), SCALE_DECADES).0
    }

    /// Value and slope.
    fn at(&self, at: f64) -> (f64, f64) {
        let (mut value, mut slope) = (self.line(at), self.belief.slope.0);
        for (&x, pull) in self.x.iter().zip(self.pull.iter()) {
            value += self.prior(at, x) * pull;
            let by_place = self.belief.slope.1.powi(2) * (x - self.middle.0)
                + self.belief.departure.powi(2) * matern_52_slope(at - x, SCALE_DECADES);
            slope += by_place * pull;
        }
        (value, slope)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_slope_of_a_smooth_curve_is_found_in_toe_and_shoulder() {
        // D = 0.1 + 1.6 / (1 + e^(-4 (X - 1))): slope 1.6 * 4 * p (1 - p).
        let x: Vec<f64> = (0..11).map(|i| 0.15 * f64::from(i)).collect();
        let p = |x: f64| 1.0 / (1.0 + (-4.0 * (x - 1.0)).exp());
        let with_margin: Vec<f64> = std::iter::once(f64::NEG_INFINITY).chain(x).collect();
        let density = DVector::from_iterator(12, with_margin.iter().map(|&x| 0.1 + 1.6 * p(x)));
        let error = DMatrix::identity(12, 12) * 1e-6;
        let found = tones(&with_margin, &density, &error, true);
        assert_eq!((found.net[0], found.slope[0]), (0.0, 0.0));
        for (x, slope) in with_margin.iter().zip(found.slope).skip(1) {
            let truth = 6.4 * p(*x) * (1.0 - p(*x));
            let off = (slope - truth).abs();
            assert!(off < 0.12 * truth + 0.1, "{x}: {slope} against {truth}");
        }
    }

    #[test]
    fn a_falling_series_and_a_step_without_exposure_have_no_slope() {
        let x = [f64::NEG_INFINITY, 0.0, 0.3, 0.6];
        let density = DVector::from_vec(vec![0.1, 1.0, 0.6, 0.2]);
        let found = tones(&x, &density, &(DMatrix::identity(4, 4) * 1e-4), true);
        assert_eq!(found.slope, vec![0.0; 4]);
    }
}
