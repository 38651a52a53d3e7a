//! Draws of values that err together, spread evenly and not at random.

use nalgebra::{DMatrix, DVector};
use statrs::distribution::{ChiSquared, ContinuousCDF as _};

use crate::measure::pool::normal_quantile;

/// How many: bounds of 95 % are then good to about 0.002 standard errors (docs/pooling.md).
const DRAWS: usize = 40_000;
/// Primes whose roots give the directions of the lattice.
const PRIMES: [f64; 24] = [
    2.0, 3.0, 5.0, 7.0, 11.0, 13.0, 17.0, 19.0, 23.0, 29.0, 31.0, 37.0, 41.0, 43.0, 47.0, 53.0,
    59.0, 61.0, 67.0, 71.0, 73.0, 79.0, 83.0, 89.0,
];

/// Draws of errors.
pub(super) struct Draws {
    /// One column a draw.
    pub(super) errors: DMatrix<f64>,
    /// Estimated over true standard deviation of each draw; 1 when it is known.
    pub(super) scale: Vec<f64>,
}

/// Normal errors of a covariance, and how the deviation would be estimated with so many degrees
/// of freedom.
///
/// The points are multiples of the square roots of primes, modulo 1 (Richtmyer's lattice; Genz
/// & Bretz 2009, Computation of Multivariate Normal and t Probabilities, section 4.2). Beyond
/// 23 values the directions repeat with another multiple, which costs accuracy and no more.
pub(super) fn normal_draws(covariance: &DMatrix<f64>, freedom: f64) -> Draws {
    let count = covariance.nrows();
    let root = root(covariance);
    let direction = |dimension: usize| {
        let lap = (dimension / PRIMES.len() + 1) as f64;
        PRIMES[dimension % PRIMES.len()].sqrt() * lap
    };
    let share = |draw: usize, dimension: usize| {
        let at = (draw as f64 + 0.5) * direction(dimension);
        // Neither 0 nor 1, where the quantile has no end.
        at.fract().clamp(1e-12, 1.0 - 1e-12)
    };
    let chi = ChiSquared::new(freedom)
        .ok()
        .filter(|_| freedom.is_finite());
    let mut errors = DMatrix::zeros(count, DRAWS);
    let mut deviates = DVector::zeros(count);
    let mut scale = Vec::with_capacity(DRAWS);
    for (draw, mut column) in errors.column_iter_mut().enumerate() {
        for (dimension, deviate) in deviates.iter_mut().enumerate() {
            *deviate = normal_quantile(share(draw, dimension));
        }
        column.gemv(1.0, &root, &deviates, 0.0);
        scale.push(chi.map_or(1.0, |chi| {
            (chi.inverse_cdf(share(draw, count)) / freedom).sqrt()
        }));
    }
    Draws { errors, scale }
}

/// A root of a covariance that may be singular: eigenvectors times roots of the eigenvalues.
fn root(covariance: &DMatrix<f64>) -> DMatrix<f64> {
    let symmetric = (covariance + covariance.transpose()) * 0.5;
    let eigen = symmetric.symmetric_eigen();
    let stretch = eigen.eigenvalues.map(|value| value.max(0.0).sqrt());
    eigen.eigenvectors * DMatrix::from_diagonal(&stretch)
}
