//! The difference between a real material and our formula: smooth, small, and not ignored.
//!
//! delta(X) = a(X) g(X), with g a Gaussian process of unit variance and squared-exponential
//! correlation (Rasmussen & Williams 2006, ch. 4), and a(X) = c (4 F (1 - F))^(1/4) for the
//! share F of net density: full in the middle, nothing at Dmin and Dmax, where no material
//! can differ from its own limits. As in Kennedy & O'Hagan (2001) it goes into the covariance of
//! the steps, and what the residuals say of it goes back into every point read off the curve.

use nalgebra::{DMatrix, DVector, DVectorView};
use rand::Rng;
use rand_distr::{Distribution as _, StandardNormal};

use super::model::Curve;
use super::priors::{DISCREPANCY, DISCREPANCY_LENGTH, DISCREPANCY_POWER};

/// Correlation of g between two log exposures.
pub(crate) fn correlation(a: f64, b: f64) -> f64 {
    let away = (a - b) / DISCREPANCY_LENGTH;
    (-0.5 * away * away).exp()
}

/// Standard deviation of delta at a net density, for a curve of full net density `net`.
pub(crate) fn amplitude(net_density: f64, net: f64) -> f64 {
    let share = (net_density / net).clamp(0.0, 1.0);
    DISCREPANCY * (4.0 * share * (1.0 - share)).powf(DISCREPANCY_POWER)
}

/// Covariance of delta between the steps at `x`, for a pilot curve.
pub(crate) fn covariance(pilot: &Curve, x: &[f64]) -> DMatrix<f64> {
    let a: Vec<f64> = x
        .iter()
        .map(|&x| amplitude(pilot.net_density(x), pilot.net))
        .collect();
    DMatrix::from_fn(x.len(), x.len(), |i, j| {
        a[i] * a[j] * correlation(x[i], x[j])
    })
}

/// g on a grid of log exposures, given the residuals of the steps.
#[derive(Debug, Clone)]
pub(crate) struct Grid {
    start: f64,
    step: f64,
    /// Grid values per whitened residual: mean of g = `weights` * whitened residuals.
    weights: DMatrix<f64>,
    /// Root of the covariance of g given the residuals.
    root: DMatrix<f64>,
}

impl Grid {
    /// Room between nodes, as a share of the correlation length.
    const SPACING: f64 = 0.5;
    /// Nodes beyond the first and last step, in correlation lengths.
    const BEYOND: f64 = 1.5;
    /// Most nodes; the spacing grows beyond.
    const MOST: usize = 40;

    /// Prepares the grid of one strip.
    ///
    /// `x` are its steps, `whiten` the inverse Cholesky factor of the whole covariance of the
    /// fit and `offset` the row of its first step in there.
    pub(crate) fn new(pilot: &Curve, x: &[f64], whiten: &DMatrix<f64>, offset: usize) -> Self {
        let low = x.iter().copied().fold(f64::INFINITY, f64::min);
        let high = x.iter().copied().fold(f64::NEG_INFINITY, f64::max);
        let start = low - Self::BEYOND * DISCREPANCY_LENGTH;
        let length = high - low + 2.0 * Self::BEYOND * DISCREPANCY_LENGTH;
        let intervals = (length / (Self::SPACING * DISCREPANCY_LENGTH)).ceil();
        let intervals = (intervals as usize).clamp(1, Self::MOST - 1);
        let step = length / intervals as f64;
        let nodes: Vec<f64> = (0..=intervals).map(|i| start + step * i as f64).collect();
        let a: Vec<f64> = x
            .iter()
            .map(|&x| amplitude(pilot.net_density(x), pilot.net))
            .collect();
        let total = whiten.nrows();
        // cov(g at node, densities), zero for the entries that are not steps of this strip.
        let mut cross = DMatrix::zeros(nodes.len(), total);
        for (i, &node) in nodes.iter().enumerate() {
            for (j, &x) in x.iter().enumerate() {
                cross[(i, offset + j)] = a[j] * correlation(node, x);
            }
        }
        let weights = cross * whiten.transpose();
        let mut given = DMatrix::from_fn(nodes.len(), nodes.len(), |i, j| {
            correlation(nodes[i], nodes[j])
        }) - &weights * weights.transpose();
        // Close nodes are almost the same number: without this the root is lost in rounding.
        for i in 0..nodes.len() {
            given[(i, i)] += 1e-7;
        }
        let root = given.cholesky().map_or_else(
            || DMatrix::identity(nodes.len(), nodes.len()),
            |cholesky| cholesky.unpack(),
        );
        Self {
            start,
            step,
            weights,
            root,
        }
    }

    /// Count of nodes.
    pub(crate) fn len(&self) -> usize {
        self.root.nrows()
    }

    /// Draws of g at the nodes (one a column), given the whitened residuals of the draws at
    /// `places` of `whitened`.
    pub(crate) fn draws(
        &self,
        whitened: &DMatrix<f64>,
        places: &[usize],
        rng: &mut impl Rng,
    ) -> DMatrix<f64> {
        let mut g = DMatrix::zeros(self.len(), places.len());
        let mut noise = DVector::zeros(self.len());
        for (mut column, &place) in g.column_iter_mut().zip(places) {
            noise
                .iter_mut()
                .for_each(|n| *n = StandardNormal.sample(rng));
            column.gemv(1.0, &self.weights, &whitened.column(place), 0.0);
            column.gemv(1.0, &self.root, &noise, 1.0);
        }
        g
    }

    /// g at a log exposure by linear interpolation; constant beyond the grid.
    pub(crate) fn at(&self, g: DVectorView<'_, f64>, x: f64) -> f64 {
        let last = self.len() - 1;
        let place = ((x - self.start) / self.step).clamp(0.0, last as f64);
        let below = (place.floor() as usize).min(last.saturating_sub(1));
        let share = place - below as f64;
        g[below] * (1.0 - share) + g[(below + 1).min(last)] * share
    }
}
