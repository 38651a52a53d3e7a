//! The posterior density of one strip's parameters, given the errors that it shares with others.

use nalgebra::{DMatrix, DMatrixView, DVector, DVectorView};

use super::evidence::Exposure;
use super::fit::{Best, Joint, LEAST_PRECISION, LEAST_VARIANCE};
use super::model::{Curve, PARAMETERS};
use super::priors::Prior;
use super::warp::{Grid, PILOT_SIZE, SIZE_CHANCES, SIZES, Warp};

/// One strip of a fit, made ready for many draws.
#[derive(Debug)]
pub(crate) struct StripTarget {
    density: DVector<f64>,
    has_margin: bool,
    exposures: Vec<Exposure>,
    anchor_net: f64,
    priors: Vec<Option<Prior>>,
    /// Effect of each shared error, the lamp lag left out, on the densities.
    shared: DMatrix<f64>,
    /// Makes the strip's own errors independent and of unit variance, and its warp independent.
    turn: DMatrix<f64>,
    sizes: [OfSize; SIZES],
    /// Most probable parameters.
    pub(crate) mode: DVector<f64>,
    /// Their covariance when the shared errors are known.
    pub(crate) covariance: DMatrix<f64>,
    /// How the most probable parameters move with the shared errors, the lamp lag last.
    pub(crate) moves: DMatrix<f64>,
    /// What the strip says of the shared errors: its part of their precision.
    pub(crate) says: DMatrix<f64>,
    /// Where the warp is drawn.
    pub(crate) grid: Grid,
}

/// What one size of the warp makes of turned residuals.
#[derive(Debug, Clone)]
struct OfSize {
    /// Precision of each.
    precision: Vec<f64>,
    /// Log of its chance beforehand and of the density's factor.
    log: f64,
}

/// Densities and log exposures of a strip, the shared errors taken off.
#[derive(Debug, Clone)]
pub(crate) struct Given {
    density: DVector<f64>,
    x: Vec<f64>,
}

/// Room for one evaluation.
#[derive(Debug, Clone)]
pub(crate) struct Work {
    given: Given,
    residuals: DVector<f64>,
    turned: DVector<f64>,
}

impl StripTarget {
    /// Makes strip `index` of a fit ready, about its most probable curve; `shared` holds the
    /// shared errors' effect on all densities. `None` where a matrix is not positive definite.
    pub(crate) fn new(joint: &Joint, best: &Best, index: usize, shared: &Shared) -> Option<Self> {
        let strip = &joint.strips[index];
        let usable = &strip.usable;
        let rows = usable.density.len();
        let pilot = joint.curve(best.parameters.as_slice(), index)?;
        let warp = Warp::new(&pilot, &usable.x);
        let mut own = strip.covariance.clone();
        for i in 0..rows {
            own[(i, i)] += LEAST_VARIANCE + shared.left[strip.row + i];
        }
        // The steps' own exposures err too: a hand at the switch, a step tablet's list.
        let timing = usable.timing_along(&pilot);
        let first_step = rows - timing.nrows();
        let mut of_steps = own.view_mut((first_step, first_step), timing.shape());
        of_steps += timing;
        let lower = own.cholesky()?.unpack();
        let whiten = lower.solve_lower_triangular(&DMatrix::identity(rows, rows))?;
        // The warp's covariance where the own errors have none, turned to its axes.
        let steps = usable.x.len();
        let of_steps = whiten.columns(rows - steps, steps);
        let warped = of_steps * warp.shape() * of_steps.transpose();
        let axes = warped.symmetric_eigen();
        let turn = axes.eigenvectors.tr_mul(&whiten);
        let spread: Vec<f64> = axes.eigenvalues.iter().map(|v| v.max(0.0)).collect();
        let sizes = SIZE_CHANCES.map(|(size, chance)| {
            let variance = spread.iter().map(|spread| 1.0 + size * size * spread);
            OfSize {
                log: chance.ln() - 0.5 * variance.clone().map(f64::ln).sum::<f64>(),
                precision: variance.map(f64::recip).collect(),
            }
        });
        let first = index * PARAMETERS;
        let block = |column: usize, count: usize| -> DMatrixView<'_, f64> {
            best.jacobian.view((strip.row, column), (rows, count))
        };
        let mut errors = DMatrix::zeros(rows, shared.count());
        errors
            .columns_mut(0, shared.count() - 1)
            .copy_from(&shared.modes.rows(strip.row, rows));
        errors
            .columns_mut(shared.count() - 1, 1)
            .copy_from(&block(joint.parameters() - 1, 1));
        let turned = &turn * block(first, PARAMETERS);
        let turned_errors = &turn * &errors;
        let by_precision = |matrix: &DMatrix<f64>| {
            let mut matrix = matrix.clone();
            for (mut row, spread) in matrix.row_iter_mut().zip(&spread) {
                row /= 1.0 + PILOT_SIZE * PILOT_SIZE * spread;
            }
            matrix
        };
        let mut precision = turned.tr_mul(&by_precision(&turned));
        let priors = joint.priors_of(index).to_vec();
        let mode = best.parameters.rows(first, PARAMETERS).into_owned();
        for (i, prior) in priors.iter().enumerate() {
            let of_prior = prior.map_or(0.0, |prior| prior.slope(mode[i]).powi(2));
            precision[(i, i)] += of_prior + LEAST_PRECISION[i];
        }
        let covariance = precision.cholesky()?.inverse();
        let together = turned.tr_mul(&by_precision(&turned_errors));
        let moves = -&covariance * &together;
        let says = turned_errors.tr_mul(&by_precision(&turned_errors)) + together.tr_mul(&moves);
        Some(Self {
            density: usable.density.clone(),
            has_margin: usable.has_margin,
            exposures: usable.exposures.clone(),
            anchor_net: strip.anchor_net,
            priors,
            shared: shared.modes.rows(strip.row, rows).into_owned(),
            grid: Grid::new(&warp, &turn, &spread),
            turn,
            sizes,
            mode,
            covariance,
            moves,
            says,
        })
    }

    /// Count of the strip's densities.
    pub(crate) fn rows(&self) -> usize {
        self.density.len()
    }

    /// Room for one evaluation.
    pub(crate) fn work(&self) -> Work {
        Work {
            given: Given {
                density: self.density.clone(),
                x: vec![0.0; self.exposures.len()],
            },
            residuals: DVector::zeros(self.rows()),
            turned: DVector::zeros(self.rows()),
        }
    }

    /// Densities and log exposures when the shared errors are `errors` and the lag so many
    /// seconds.
    pub(crate) fn given(&self, errors: &DVectorView<'_, f64>, lag: f64) -> Given {
        let mut given = self.work().given;
        self.put_given(errors, lag, &mut given);
        given
    }

    fn put_given(&self, errors: &DVectorView<'_, f64>, lag: f64, given: &mut Given) {
        let modes = self.shared.ncols();
        given.density.copy_from(&self.density);
        given
            .density
            .gemv(-1.0, &self.shared, &errors.rows(0, modes), 1.0);
        for (x, exposure) in given.x.iter_mut().zip(&self.exposures) {
            *x = exposure.at(lag);
        }
    }

    /// The curve of parameters.
    pub(crate) fn curve(&self, parameters: &[f64]) -> Option<Curve> {
        Curve::new(parameters, self.anchor_net)
    }

    /// Log of the posterior density up to a constant.
    pub(crate) fn log_density(&self, parameters: &[f64], given: &Given, work: &mut Work) -> f64 {
        if !self.turned(parameters, given, work) {
            return f64::NEG_INFINITY;
        }
        self.log_of_turned(parameters, &work.turned)
    }

    /// The same when the shared errors differ from draw to draw; the turned residuals are put
    /// into `out`.
    pub(crate) fn log_density_at(
        &self,
        parameters: &[f64],
        errors: &DVectorView<'_, f64>,
        lag: f64,
        work: &mut Work,
        out: &mut [f64],
    ) -> f64 {
        let mut given = std::mem::replace(
            &mut work.given,
            Given {
                density: DVector::zeros(0),
                x: vec![],
            },
        );
        self.put_given(errors, lag, &mut given);
        let exists = self.turned(parameters, &given, work);
        work.given = given;
        if !exists {
            return f64::NEG_INFINITY;
        }
        out.copy_from_slice(work.turned.as_slice());
        self.log_of_turned(parameters, &work.turned)
    }

    fn turned(&self, parameters: &[f64], given: &Given, work: &mut Work) -> bool {
        let Some(curve) = self.curve(parameters) else {
            return false;
        };
        let skip = usize::from(self.has_margin);
        let residuals = work.residuals.as_mut_slice();
        if self.has_margin {
            residuals[0] = given.density[0] - curve.dmin;
        }
        for (i, &x) in given.x.iter().enumerate() {
            residuals[skip + i] = given.density[skip + i] - curve.density(x);
        }
        work.turned.gemv(1.0, &self.turn, &work.residuals, 0.0);
        true
    }

    fn log_of_turned(&self, parameters: &[f64], turned: &DVector<f64>) -> f64 {
        let logs = self.by_size(turned.as_slice());
        let top = logs.iter().copied().fold(f64::NEG_INFINITY, f64::max);
        let likelihood = top + logs.iter().map(|log| (log - top).exp()).sum::<f64>().ln();
        let misfit: f64 = self
            .priors
            .iter()
            .zip(parameters)
            .filter_map(|(prior, &value)| prior.map(|prior| prior.distance(value).powi(2)))
            .sum();
        likelihood - 0.5 * misfit
    }

    /// Log of the chance of turned residuals with each size of the warp, up to a constant.
    fn by_size(&self, turned: &[f64]) -> [f64; SIZES] {
        let mut sums = [0.0; SIZES];
        for (i, value) in turned.iter().enumerate() {
            let square = value * value;
            for (sum, size) in sums.iter_mut().zip(&self.sizes) {
                *sum += square * size.precision[i];
            }
        }
        std::array::from_fn(|size| self.sizes[size].log - 0.5 * sums[size])
    }

    /// The size of the warp at a share between 0 and 1 of the chances that the residuals leave.
    pub(crate) fn size_at(&self, turned: &[f64], share: f64) -> usize {
        let logs = self.by_size(turned);
        let top = logs.iter().copied().fold(f64::NEG_INFINITY, f64::max);
        let chances = logs.map(|log| (log - top).exp());
        let mut left = share * chances.iter().sum::<f64>();
        for (size, chance) in chances.iter().enumerate() {
            left -= chance;
            if left < 0.0 {
                return size;
            }
        }
        SIZES - 1
    }
}

/// The errors that strips share: of the density scale, and the lamp lag last.
#[derive(Debug, Clone)]
pub(crate) struct Shared {
    /// Effect of each error of unit variance on all densities, the lag left out.
    pub(crate) modes: DMatrix<f64>,
    /// Variance of each density that the modes left out would add.
    left: DVector<f64>,
}

impl Shared {
    /// A mode that moves all densities together by less than this counts as an own error.
    const LEAST: f64 = 5e-4;

    /// The shared errors of a fit: the same covariance by as few modes as carry it.
    pub(crate) fn of(joint: &Joint) -> Self {
        let all = joint.modes();
        let rows = all.nrows();
        let mut left = DVector::zeros(rows);
        if all.ncols() == 0 {
            return Self { modes: all, left };
        }
        let svd = all.svd(true, false);
        let Some(axes) = svd.u else {
            return Self {
                modes: DMatrix::zeros(rows, 0),
                left,
            };
        };
        let mut kept = vec![];
        for (axis, &size) in axes.column_iter().zip(&svd.singular_values) {
            let mode = axis * size;
            if size > Self::LEAST {
                kept.push(mode);
            } else {
                left += mode.component_mul(&mode);
            }
        }
        let modes = if kept.is_empty() {
            DMatrix::zeros(rows, 0)
        } else {
            DMatrix::from_columns(&kept)
        };
        Self { modes, left }
    }

    /// How many there are, the lag counted.
    pub(crate) fn count(&self) -> usize {
        self.modes.ncols() + 1
    }

    /// The most probable errors.
    pub(crate) fn mode(&self, joint: &Joint, best: &Best) -> DVector<f64> {
        let by_precision = joint.whiten.tr_mul(&best.whitened);
        let modes = self.modes.tr_mul(&by_precision);
        modes.push(best.parameters[joint.parameters() - 1])
    }
}
