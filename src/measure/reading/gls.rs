//! Generalised least squares on the cells of one strip, with the covariance of unevenness
//! estimated by REML.
//!
//! y_c = D_field(c) + slope F(c) + net G(c) + B(c) + fall-off + noise: F a smooth field in
//! decades of exposure, G one in shares of net density, B one in plain density (the ground).
//! The fields have mean zero over the ensemble of strips, not over this strip; what the
//! strip's own mean may be off by is part of the covariance of the result.

use nalgebra::{Cholesky, DMatrix, DMatrixViewMut, DVector, Dyn};
use rayon::prelude::*;

use super::kernel::matern_52;

/// Count of covariance parameters.
pub const COUNT: usize = 7;
/// Correlation length of the slow part of F, millimetres: streaks of the brush, a coat that
/// ran to one side. A strip is too short to tell it.
const SLOW_SCALE: f64 = 17.0;
/// Correlation length of the rest, millimetres, at which the last parameter is the slow part's
/// standard deviation over that of the rest.
const QUICK_SCALE: f64 = 6.0;
/// How the slow part's share falls with the correlation length of the rest: a power. Where a
/// strip looks rough over short lengths, its coat varies over several, of which it shows the
/// shortest; where it is smooth over long ones, most of the slow part has been seen already.
const SLOW_POWER: f64 = 1.5;
/// Logarithms of the covariance parameters: standard deviation of F (decades), correlation
/// length of F (mm), standard deviation of G (share of net density), correlation length of
/// G and B (mm), standard deviation of B (density), and of what differs from cell to cell
/// beyond the pixels' scatter (density), and how much of F is slow (its standard deviation
/// over that of the rest, were that 6 mm long).
pub type Theta = nalgebra::SVector<f64, COUNT>;
/// Matrix over the covariance parameters.
pub type ThetaMatrix = nalgebra::SMatrix<f64, COUNT, COUNT>;

/// Normal priors on the logarithms of the covariance parameters: middle and width.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Prior {
    /// Middles.
    pub middle: Theta,
    /// Standard deviations.
    pub width: Theta,
}

impl Prior {
    fn log_density(&self, theta: &Theta) -> f64 {
        let away = (theta - self.middle).component_div(&self.width);
        -away.norm_squared() / 2.0
    }
}

/// Standard deviation of the slow part of F over that of the rest, by the last parameter and
/// the correlation length of the rest in millimetres.
pub(super) fn slow_share(parameter: f64, f_scale: f64) -> f64 {
    parameter * (QUICK_SCALE / f_scale).powf(SLOW_POWER)
}

/// Correlation of the slow part of F between cells at these distances, millimetres. Its length
/// is fixed, so this is worked out once a strip.
pub(super) fn slow_likeness(distance: &DMatrix<f64>) -> DMatrix<f64> {
    distance.map(|distance| matern_52(distance, SLOW_SCALE).0)
}

/// The cells of a strip, ready for the sums.
#[derive(Debug, Clone)]
pub struct Problem {
    /// Density of each cell.
    pub density: DVector<f64>,
    /// Entry (field) of each cell.
    pub entry: Vec<usize>,
    /// Count of entries.
    pub entries: usize,
    /// Distances between cells, millimetres.
    pub distance: DMatrix<f64>,
    /// How alike the slow part of F is at two cells, by [`slow_likeness`] of their distances.
    pub slow_likeness: DMatrix<f64>,
    /// Slope of the curve at each entry, density per decade.
    pub slope: Vec<f64>,
    /// Net density of each entry.
    pub net: Vec<f64>,
    /// Change of the slope per decade at each entry.
    pub bend: Vec<f64>,
    /// Variance of each cell from its pixels.
    pub noise: DVector<f64>,
    /// Shapes of light fall-off at each cell (cells x shapes), in decades at one prior
    /// standard deviation.
    pub fall_off: DMatrix<f64>,
}

/// The steps for given covariance parameters.
#[derive(Debug, Clone)]
pub struct Solution {
    /// Density of each entry.
    pub mean: DVector<f64>,
    /// Its covariance.
    pub covariance: DMatrix<f64>,
    /// Logarithm of the restricted likelihood (without constants) plus that of the prior.
    pub log_posterior: f64,
}

/// Factors of the covariance that everything else is made from.
struct Factored {
    cholesky: Cholesky<f64, Dyn>,
    /// V^-1 X.
    weighted: DMatrix<f64>,
    /// (X' V^-1 X)^-1.
    normal: Cholesky<f64, Dyn>,
}

impl Problem {
    fn cells(&self) -> usize {
        self.density.len()
    }

    /// Each cell's loading on F and G.
    fn loadings(&self) -> (Vec<f64>, Vec<f64>) {
        let spread = |by_entry: &[f64]| self.entry.iter().map(|&entry| by_entry[entry]).collect();
        (spread(&self.slope), spread(&self.net))
    }

    /// Covariance of the cells; only its lower triangle is filled in.
    fn covariance(&self, theta: &Theta) -> DMatrix<f64> {
        let value = theta.map(f64::exp);
        let [f, f_scale, g, g_scale, ground, nugget, slow]: [f64; COUNT] = value.into();
        let slow = slow_share(slow, f_scale);
        let (slope, net) = self.loadings();
        let off = self.fall_off_in_density(&slope);
        let mut v = &off * off.transpose();
        let cells = self.cells();
        // Each column by itself, so on every core the same to the last bit.
        let columns = v.as_mut_slice().par_chunks_mut(cells.max(1)).enumerate();
        columns.for_each(|(j, column)| {
            for (i, value) in column.iter_mut().enumerate().skip(j) {
                let r = self.distance[(i, j)];
                let kf = matern_52(r, f_scale).0 + slow * slow * self.slow_likeness[(i, j)];
                let kg = matern_52(r, g_scale).0;
                *value += f * f * slope[i] * slope[j] * kf
                    + (g * g * net[i] * net[j] + ground * ground) * kg;
            }
            column[j] += self.noise[j] + nugget * nugget;
        });
        v
    }

    fn fall_off_in_density(&self, slope: &[f64]) -> DMatrix<f64> {
        let mut off = self.fall_off.clone();
        for (mut row, slope) in off.row_iter_mut().zip(slope) {
            row *= *slope;
        }
        off
    }

    fn design(&self) -> DMatrix<f64> {
        let mut x = DMatrix::zeros(self.cells(), self.entries);
        for (cell, &entry) in self.entry.iter().enumerate() {
            x[(cell, entry)] = 1.0;
        }
        x
    }

    fn factor(&self, theta: &Theta) -> Option<Factored> {
        let cholesky = self.covariance(theta).cholesky()?;
        let x = self.design();
        let weighted = cholesky.solve(&x);
        let normal = (x.transpose() * &weighted).cholesky()?;
        Some(Factored {
            cholesky,
            weighted,
            normal,
        })
    }

    /// The steps' densities by generalised least squares; `None` when the covariance isn't
    /// positive definite in floating point.
    pub fn solve(&self, theta: &Theta, prior: &Prior) -> Option<Solution> {
        Some(self.solution(&self.factor(theta)?, theta, prior))
    }

    fn solution(&self, factored: &Factored, theta: &Theta, prior: &Prior) -> Solution {
        let mean = factored
            .normal
            .solve(&(factored.weighted.transpose() * &self.density));
        let residual = self.residual(&mean);
        let half_log = |cholesky: &Cholesky<f64, Dyn>| -> f64 {
            let l = cholesky.l_dirty();
            (0..l.nrows()).map(|i| l[(i, i)].ln()).sum()
        };
        let quadratic = residual.dot(&factored.cholesky.solve(&residual));
        // Patterson & Thompson 1971, Biometrika 58:545: the likelihood of what no choice of
        // the steps' densities can change.
        let restricted =
            -half_log(&factored.cholesky) - half_log(&factored.normal) - quadratic / 2.0;
        Solution {
            covariance: factored.normal.inverse(),
            log_posterior: restricted + prior.log_density(theta),
            mean,
        }
    }

    fn residual(&self, mean: &DVector<f64>) -> DVector<f64> {
        DVector::from_fn(self.cells(), |cell, _| {
            self.density[cell] - mean[self.entry[cell]]
        })
    }

    /// Weights of the cells in each entry's density (entries x cells).
    pub fn weights(&self, theta: &Theta) -> Option<DMatrix<f64>> {
        let factored = self.factor(theta)?;
        Some(factored.normal.solve(&factored.weighted.transpose()))
    }

    /// How many standard errors each cell is away from what all others foretell.
    pub fn deletion_residuals(&self, theta: &Theta) -> Option<DVector<f64>> {
        let factored = self.factor(theta)?;
        let p = self.projection(&factored);
        let py = &p * &self.density;
        Some(DVector::from_fn(self.cells(), |cell, _| {
            // The only cell of its entry is foretold by nothing.
            let certain = p[(cell, cell)];
            if certain > 1e-6 * factored.cholesky.l_dirty()[(cell, cell)].powi(-2) {
                py[cell] / certain.sqrt()
            } else {
                0.0
            }
        }))
    }

    /// P = V^-1 - V^-1 X (X' V^-1 X)^-1 X' V^-1: what is left of the cells' information
    /// when the steps' densities are free.
    fn projection(&self, factored: &Factored) -> DMatrix<f64> {
        let projected = factored.normal.solve(&factored.weighted.transpose());
        inverse(&factored.cholesky) - &factored.weighted * projected
    }

    /// Gradient of the log posterior by theta and its average information.
    ///
    /// Source: Gilmour, Thompson & Cullis 1995, Biometrics 51:1440.
    fn slope_and_information(
        &self,
        factored: &Factored,
        theta: &Theta,
        prior: &Prior,
    ) -> (Theta, ThetaMatrix) {
        let n = self.cells();
        let value = theta.map(f64::exp);
        let [f, f_scale, g, g_scale, ground, nugget, slow]: [f64; COUNT] = value.into();
        let slow = slow_share(slow, f_scale);
        let (slope, net) = self.loadings();
        let p = self.projection(factored);
        let py = &p * &self.density;
        let mut trace = Theta::zeros();
        let mut moved = nalgebra::OMatrix::<f64, Dyn, nalgebra::Const<COUNT>>::zeros(n);
        for j in 0..n {
            for i in j..n {
                let r = self.distance[(i, j)];
                let (kf, kf_by_scale) = matern_52(r, f_scale);
                let (kg, kg_by_scale) = matern_52(r, g_scale);
                let ks = slow * slow * self.slow_likeness[(i, j)];
                let f_part = f * f * slope[i] * slope[j];
                let (g_part, b_part) = (g * g * net[i] * net[j], ground * ground);
                let here = if i == j { 2.0 * nugget * nugget } else { 0.0 };
                let by_theta = [
                    2.0 * f_part * (kf + ks),
                    f_part * (kf_by_scale - 2.0 * SLOW_POWER * ks),
                    2.0 * g_part * kg,
                    (g_part + b_part) * kg_by_scale,
                    2.0 * b_part * kg,
                    here,
                    2.0 * f_part * ks,
                ];
                let twice = if i == j { 1.0 } else { 2.0 };
                for (k, change) in by_theta.into_iter().enumerate() {
                    trace[k] += twice * p[(i, j)] * change;
                    moved[(i, k)] += change * py[j];
                    if i != j {
                        moved[(j, k)] += change * py[i];
                    }
                }
            }
        }
        let score = (moved.transpose() * &py - trace) / 2.0;
        let information = moved.transpose() * &p * &moved / 2.0;
        let pull = (prior.middle - theta)
            .component_div(&prior.width)
            .component_div(&prior.width);
        let held = ThetaMatrix::from_diagonal(&prior.width.map(|width| 1.0 / (width * width)));
        (score + pull, information + held)
    }

    /// Maximises the log posterior over theta, from `start`, in at most `rounds` steps.
    ///
    /// Returns the best theta and the information there; `None` when even the start can't
    /// be factored.
    pub fn estimate(
        &self,
        start: Theta,
        prior: &Prior,
        rounds: usize,
    ) -> Option<(Theta, ThetaMatrix)> {
        let mut theta = start;
        let mut factored = self.factor(&theta)?;
        let mut height = self.solution(&factored, &theta, prior).log_posterior;
        let (mut score, mut information) = self.slope_and_information(&factored, &theta, prior);
        for _ in 0..rounds {
            let Some(step) = information.cholesky().map(|c| c.solve(&score)) else {
                break;
            };
            // More than a factor of e at once is beyond what the quadratic knows.
            let step = step / step.amax().max(1.0);
            let gain = step.dot(&score);
            if gain < 2e-3 {
                break;
            }
            let Some((next, next_factored, next_height)) =
                [1.0, 0.4, 0.1].into_iter().find_map(|share| {
                    let next = theta + step * share;
                    let factored = self.factor(&next)?;
                    let reached = self.solution(&factored, &next, prior).log_posterior;
                    (reached > height).then_some((next, factored, reached))
                })
            else {
                break;
            };
            (theta, factored, height) = (next, next_factored, next_height);
            (score, information) = self.slope_and_information(&factored, &theta, prior);
        }
        Some((theta, information))
    }
}

/// Columns of an inverse that are solved for in one go.
const COLUMNS: usize = 20;

/// The inverse of what was factored, some columns on each core: the same to the last bit as
/// in one go, since no column knows of another.
fn inverse(cholesky: &Cholesky<f64, Dyn>) -> DMatrix<f64> {
    let size = cholesky.l_dirty().nrows();
    let mut inverse = DMatrix::identity(size, size);
    inverse
        .as_mut_slice()
        .par_chunks_mut(COLUMNS * size)
        .for_each(|columns| {
            let count = columns.len() / size;
            cholesky.solve_mut(&mut DMatrixViewMut::from_slice(columns, size, count));
        });
    inverse
}
