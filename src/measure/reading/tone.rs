//! A preliminary smooth curve through the steps, for local slopes only.

use nalgebra::{DMatrix, DVector};

use super::kernel::{matern_52, matern_52_slope};

/// Over how many decades of exposure a curve changes its course.
const SCALE_DECADES: f64 = 0.45;
/// How far a curve departs from a straight line, density.
const DEPARTURE: f64 = 0.5;
/// Prior standard deviations of the straight line: density, and density per decade.
const LINE: (f64, f64) = (3.0, 4.0);

/// So many decades below the first step a curve has lost all but a few hundredths of that
/// step's net density, whatever the material (common practice, no source: the toe falls by
/// a factor of e in 0.1 to 0.3 decades), and the share that is left, with its error.
const TOE_DECADES: f64 = 0.5;
const TOE_SHARE: (f64, f64) = (0.1, 0.08);
/// Error of that density at least.
const TOE_LEAST_ERROR: f64 = 0.01;

/// Slope dD/dX of a smooth curve through the steps, at the steps, never below zero.
///
/// Takes log exposures in decades (a step that is not finite gets slope 0), densities and
/// their covariance. The curve is the posterior mean of a Gaussian process about a straight
/// line, which needs no family of curves: Rasmussen & Williams 2006, sections 2.2 and 9.4.
///
/// `dmin`, where it is known, is the density of no exposure: it bends the curve's toe.
pub fn slopes(
    log_exposures: &[f64],
    density: &DVector<f64>,
    covariance: &DMatrix<f64>,
    dmin: Option<f64>,
) -> Vec<f64> {
    let known: Vec<usize> = (0..log_exposures.len())
        .filter(|&step| log_exposures[step].is_finite())
        .collect();
    let mut slopes = vec![0.0; log_exposures.len()];
    if known.len() < 2 {
        return slopes;
    }
    let mut x: Vec<f64> = known.iter().map(|&step| log_exposures[step]).collect();
    let middle = x.iter().sum::<f64>() / x.len() as f64;
    let level = known.iter().map(|&step| density[step]).sum::<f64>() / known.len() as f64;
    let prior = |a: f64, b: f64| {
        let line = LINE.0.powi(2) + LINE.1.powi(2) * (a - middle) * (b - middle);
        line + DEPARTURE.powi(2) * matern_52((a - b).abs(), SCALE_DECADES).0
    };
    let by_first = |a: f64, b: f64| {
        LINE.1.powi(2) * (b - middle) + DEPARTURE.powi(2) * matern_52_slope(a - b, SCALE_DECADES)
    };
    let mut seen: Vec<f64> = known.iter().map(|&step| density[step]).collect();
    let mut toe_error = 0.0;
    let first = (0..x.len()).min_by(|&a, &b| x[a].total_cmp(&x[b]));
    if let (Some(dmin), Some(first)) = (dmin, first) {
        let net = (seen[first] - dmin).max(0.0);
        x.push(x[first] - TOE_DECADES);
        seen.push(dmin + TOE_SHARE.0 * net);
        toe_error = TOE_SHARE.1 * net + TOE_LEAST_ERROR;
    }
    let count = x.len();
    let error = |i: usize, j: usize| match (known.get(i), known.get(j)) {
        (Some(&i), Some(&j)) => covariance[(i, j)],
        (None, None) => toe_error * toe_error,
        _ => 0.0,
    };
    let total = DMatrix::from_fn(count, count, |i, j| prior(x[i], x[j]) + error(i, j));
    let away = DVector::from_fn(count, |i, _| seen[i] - level);
    let Some(pull) = total.cholesky().map(|cholesky| cholesky.solve(&away)) else {
        return slopes;
    };
    for (i, &step) in known.iter().enumerate() {
        let slope: f64 = (0..count).map(|j| by_first(x[i], x[j]) * pull[j]).sum();
        slopes[step] = slope.max(0.0);
    }
    slopes
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_slope_of_a_smooth_curve_is_found_between_its_steps() {
        // D = 1.6 / (1 + e^(-4 (X - 1))): slope 1.6 * 4 * p (1 - p).
        let x: Vec<f64> = (0..11).map(|i| 0.15 * f64::from(i)).collect();
        let p = |x: f64| 1.0 / (1.0 + (-4.0 * (x - 1.0)).exp());
        let density = DVector::from_iterator(11, x.iter().map(|&x| 1.6 * p(x)));
        let found = slopes(&x, &density, &(DMatrix::identity(11, 11) * 1e-4), Some(0.0));
        for (x, slope) in x.iter().zip(found) {
            let truth = 6.4 * p(*x) * (1.0 - p(*x));
            assert!((slope - truth).abs() < 0.12, "{x}: {slope} against {truth}");
        }
    }

    #[test]
    fn a_falling_piece_and_a_step_without_exposure_have_no_slope() {
        let x = [f64::NEG_INFINITY, 0.0, 0.3, 0.6];
        let density = DVector::from_vec(vec![0.1, 1.0, 0.6, 0.2]);
        let found = slopes(&x, &density, &(DMatrix::identity(4, 4) * 1e-4), None);
        assert_eq!(found, vec![0.0; 4]);
    }
}
