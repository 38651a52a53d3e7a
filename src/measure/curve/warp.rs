//! The difference between a real material and our formula: smooth, small, and not ignored.
//!
//! D(X) = F(X + w(X)), F the formula and w a Gaussian process of log exposure with
//! squared-exponential correlation (Rasmussen & Williams 2006, ch. 4). A difference of log
//! exposure, not of density, because log exposures are what is asked for, and because at the
//! ends, where the curve is nearly level, one of density would say nothing of them. Its size and
//! length are in proportion to the curve's range. How large it is nobody knows beforehand: a few
//! sizes are weighed by how well the steps agree with each (Kennedy & O'Hagan 2001 for the
//! principle), and what the residuals say of w goes back into every point read off the curve.

use nalgebra::{DMatrix, DVector, DVectorView};
use rand::Rng;
use rand_distr::{Distribution as _, StandardNormal};

use super::model::{Curve, TOE_NET};

/// How many sizes are weighed.
pub(crate) const SIZES: usize = 4;
/// Standard deviations of w for a curve of R 100, decades, with their chances beforehand.
pub(crate) const SIZE_CHANCES: [(f64, f64); SIZES] = [
    (0.005, 0.168),
    (0.015, 0.278),
    (0.035, 0.278),
    (0.070, 0.276),
];
/// The size that the most probable curve is fitted with.
pub(crate) const PILOT_SIZE: f64 = 0.015;
/// Log exposure over which w stays alike, for a curve of R 100, decades.
const LENGTH: f64 = 0.2;
/// Ranges that size and length follow, R / 100.
const RANGES: (f64, f64) = (0.5, 2.0);

/// The warp about a pilot curve, of unit size: decades per R of 100.
#[derive(Debug, Clone)]
pub(crate) struct Warp {
    /// R of the pilot in hundreds, within bounds.
    scale: f64,
    x: Vec<f64>,
    /// Density per decade of the pilot at the steps.
    slopes: Vec<f64>,
}

impl Warp {
    /// The warp at the steps `x` of a strip.
    pub(crate) fn new(pilot: &Curve, x: &[f64]) -> Self {
        let range = pilot.shoulder_x() - pilot.x_at(TOE_NET);
        Self {
            scale: range.clamp(RANGES.0, RANGES.1),
            x: x.to_vec(),
            slopes: x.iter().map(|&x| pilot.slope(x)).collect(),
        }
    }

    fn correlation(&self, a: f64, b: f64) -> f64 {
        let away = (a - b) / (LENGTH * self.scale);
        (-0.5 * away * away).exp()
    }

    /// Covariance that a warp of size 1 gives the densities of the steps.
    pub(crate) fn shape(&self) -> DMatrix<f64> {
        let effect = |i: usize| self.scale * self.slopes[i];
        DMatrix::from_fn(self.x.len(), self.x.len(), |i, j| {
            effect(i) * effect(j) * self.correlation(self.x[i], self.x[j])
        })
    }

    /// Covariance of a warp of size 1 at `nodes` with the densities of the steps.
    fn cross(&self, nodes: &[f64]) -> DMatrix<f64> {
        DMatrix::from_fn(nodes.len(), self.x.len(), |i, j| {
            self.scale * self.scale * self.slopes[j] * self.correlation(nodes[i], self.x[j])
        })
    }
}

/// w on a grid of log exposures, given the residuals of the steps.
#[derive(Debug, Clone)]
pub(crate) struct Grid {
    start: f64,
    step: f64,
    nodes: usize,
    sizes: Vec<OfSize>,
}

/// What one size of the warp says.
#[derive(Debug, Clone)]
struct OfSize {
    /// Mean of w at the nodes = `weights` * turned residuals.
    weights: DMatrix<f64>,
    /// Root of the covariance of w given the residuals.
    root: DMatrix<f64>,
}

impl Grid {
    /// Room between nodes, as a share of the correlation length.
    const SPACING: f64 = 0.5;
    /// Nodes beyond the first and last step, in correlation lengths.
    const BEYOND: f64 = 1.5;
    /// Most nodes; the spacing grows beyond.
    const MOST: usize = 40;
    /// Added to the covariance of close nodes, which are almost the same number, so that its
    /// root is not lost in rounding; of the variance beforehand.
    const ROUNDING: f64 = 1e-7;

    /// Prepares the grid of one strip.
    ///
    /// `turn` makes the errors of the strip's densities independent and of unit variance, and
    /// their warp of size 1 independent with variances `spread`; its last columns are the steps.
    pub(crate) fn new(warp: &Warp, turn: &DMatrix<f64>, spread: &[f64]) -> Self {
        let low = warp.x.iter().copied().fold(f64::INFINITY, f64::min);
        let high = warp.x.iter().copied().fold(f64::NEG_INFINITY, f64::max);
        let unit = LENGTH * warp.scale;
        let start = low - Self::BEYOND * unit;
        let length = high - low + 2.0 * Self::BEYOND * unit;
        let intervals = (length / (Self::SPACING * unit)).ceil();
        let intervals = (intervals as usize).clamp(1, Self::MOST - 1);
        let step = length / intervals as f64;
        let at: Vec<f64> = (0..=intervals).map(|i| start + step * i as f64).collect();
        let nodes = at.len();
        let of_steps = turn.columns(turn.ncols() - warp.x.len(), warp.x.len());
        let cross = warp.cross(&at) * of_steps.transpose();
        let prior = DMatrix::from_fn(nodes, nodes, |i, j| {
            warp.scale * warp.scale * warp.correlation(at[i], at[j])
        });
        let sizes = SIZE_CHANCES
            .iter()
            .map(|&(size, _)| {
                let square = size * size;
                let mut weights = &cross * square;
                for (mut column, spread) in weights.column_iter_mut().zip(spread) {
                    column /= 1.0 + square * spread;
                }
                let mut given = &prior * square - &weights * (&cross * square).transpose();
                for i in 0..nodes {
                    given[(i, i)] += Self::ROUNDING * square * warp.scale * warp.scale;
                }
                let root = given.cholesky().map_or_else(
                    || DMatrix::identity(nodes, nodes) * (size * warp.scale),
                    |cholesky| cholesky.unpack(),
                );
                OfSize { weights, root }
            })
            .collect();
        Self {
            start,
            step,
            nodes,
            sizes,
        }
    }

    /// Count of nodes.
    pub(crate) fn len(&self) -> usize {
        self.nodes
    }

    /// Puts a draw of w at the nodes into `w`, given the turned residuals and the warp's size.
    pub(crate) fn draw(
        &self,
        size: usize,
        turned: &DVectorView<'_, f64>,
        w: &mut DVector<f64>,
        rng: &mut impl Rng,
    ) {
        let own = &self.sizes[size];
        let noise = DVector::from_fn(self.nodes, |_, _| {
            let noise: f64 = StandardNormal.sample(rng);
            noise
        });
        w.gemv(1.0, &own.weights, turned, 0.0);
        w.gemv(1.0, &own.root, &noise, 1.0);
    }

    /// w at a log exposure by linear interpolation; constant beyond the grid.
    pub(crate) fn at(&self, w: &[f64], x: f64) -> f64 {
        let last = self.nodes - 1;
        let place = ((x - self.start) / self.step).clamp(0.0, last as f64);
        let below = (place as usize).min(last.saturating_sub(1));
        let share = place - below as f64;
        w[below] * (1.0 - share) + w[(below + 1).min(last)] * share
    }
}
