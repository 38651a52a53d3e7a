//! The most probable curves of one strip or two, fitted together.
//!
//! Unknowns: six parameters a strip and one lamp lag for all, in units of its own standard
//! uncertainty. The errors of the density scale, common to the strips, and a warp of log
//! exposure of middling size stand in the covariance of the densities.

use nalgebra::{DMatrix, DVector};

use super::evidence::Usable;
use super::model::{
    ANCHOR_X, Curve, DMIN, Derivatives, LN_NET, LN_Q, LN_RANGE, LN_S, PARAMETERS, SPEED_NET,
};
use super::priors::{self, Prior};
use super::warp::{PILOT_SIZE, Warp};
use crate::measure::least_squares::{self, Care, Problem};

/// Densities are not known better than the root of this: keeps factors well conditioned.
pub(crate) const LEAST_VARIANCE: f64 = 1e-8;

/// Least precision that a parameter is given about the most probable one, in the order of the
/// parameters: where steps and flat priors leave it free there would be none.
pub(crate) const LEAST_PRECISION: [f64; PARAMETERS] = [30.0, 4.0, 4.0, 0.4, 0.15, 0.4];

/// One strip of a fit.
#[derive(Debug, Clone)]
pub(crate) struct FitStrip {
    pub(crate) usable: Usable,
    /// Net density of the anchor parameter.
    pub(crate) anchor_net: f64,
    /// Row of the strip's first entry among all densities.
    pub(crate) row: usize,
    /// Covariance of the densities, the unevenness of the coat sized by the fitted curve once
    /// there is one; the scale's error left out.
    pub(crate) covariance: DMatrix<f64>,
}

impl FitStrip {
    /// Row of the first step among all densities.
    pub(crate) fn first_step_row(&self) -> usize {
        self.row + usize::from(self.usable.has_margin)
    }
}

/// Strips with all that a fit needs.
#[derive(Debug, Clone)]
pub(crate) struct Joint {
    pub(crate) strips: Vec<FitStrip>,
    /// Expected lamp lag and its standard uncertainty, seconds.
    pub(crate) lag: (f64, f64),
    /// Prior of every parameter, the lag last.
    priors: Vec<Option<Prior>>,
    /// Inverse Cholesky factor of the densities' covariance.
    pub(crate) whiten: DMatrix<f64>,
}

/// The most probable parameters.
#[derive(Debug, Clone)]
pub(crate) struct Best {
    pub(crate) parameters: DVector<f64>,
    /// Covariance of the parameters by Laplace's approximation.
    pub(crate) covariance: DMatrix<f64>,
    /// Derivatives of the densities by the parameters (densities x parameters).
    pub(crate) jacobian: DMatrix<f64>,
    /// Whitened residuals of the densities.
    pub(crate) whitened: DVector<f64>,
}

impl Joint {
    /// Sets the strips up with the warp about a first guess of their curves; call
    /// [`Joint::refine`] once the curves are known.
    ///
    /// `None` when a covariance is not positive definite or the guess is no curve.
    pub(crate) fn new(usables: Vec<Usable>, lag: (f64, f64), switched_on: bool) -> Option<Self> {
        let mut priors = vec![];
        let mut strips = vec![];
        let mut row = 0;
        for usable in usables {
            priors.extend(priors::of_strip(&usable, switched_on));
            let count = usable.density.len();
            strips.push(FitStrip {
                anchor_net: anchor_net(usable.highest_net()),
                covariance: usable.covariance.clone(),
                usable,
                row,
            });
            row += count;
        }
        priors.push(Some(Prior::Normal { mean: 0.0, sd: 1.0 }));
        let mut joint = Self {
            strips,
            lag,
            priors,
            whiten: DMatrix::zeros(0, 0),
        };
        let guess = joint.guess(0.0);
        joint.refine(&guess)?;
        Some(joint)
    }

    /// Count of parameters.
    pub(crate) fn parameters(&self) -> usize {
        self.priors.len()
    }

    /// Count of densities.
    pub(crate) fn densities(&self) -> usize {
        self.strips.iter().map(|s| s.usable.density.len()).sum()
    }

    /// The curve of a strip.
    pub(crate) fn curve(&self, parameters: &[f64], strip: usize) -> Option<Curve> {
        let own = &parameters[strip * PARAMETERS..(strip + 1) * PARAMETERS];
        Curve::new(own, self.strips[strip].anchor_net)
    }

    /// Lamp lag in seconds.
    pub(crate) fn lag_at(&self, parameters: &[f64]) -> f64 {
        self.lag.0 + self.lag.1 * parameters[self.parameters() - 1]
    }

    /// Covariance of the densities without the warp.
    pub(crate) fn reading_covariance(&self) -> DMatrix<f64> {
        let count = self.densities();
        let mut covariance = DMatrix::zeros(count, count);
        for strip in &self.strips {
            let size = strip.usable.density.len();
            covariance
                .view_mut((strip.row, strip.row), (size, size))
                .copy_from(&strip.covariance);
        }
        covariance
    }

    /// What the errors of the exposures do to the densities, along the curves of `parameters`.
    pub(crate) fn timing_covariance(&self, parameters: &[f64]) -> DMatrix<f64> {
        let count = self.densities();
        let mut covariance = DMatrix::zeros(count, count);
        for (index, strip) in self.strips.iter().enumerate() {
            let Some(curve) = self.curve(parameters, index) else {
                continue;
            };
            let own = strip.usable.timing_along(&curve);
            let first = strip.first_step_row();
            covariance
                .view_mut((first, first), own.shape())
                .copy_from(&own);
        }
        covariance
    }

    /// Modes of the density scale at all densities, column for column.
    pub(crate) fn modes(&self) -> DMatrix<f64> {
        let columns = self
            .strips
            .iter()
            .map(|s| s.usable.modes.ncols())
            .max()
            .unwrap_or(0);
        let mut modes = DMatrix::zeros(self.densities(), columns);
        for strip in &self.strips {
            let own = &strip.usable.modes;
            modes.view_mut((strip.row, 0), own.shape()).copy_from(own);
        }
        modes
    }

    /// How many of the modes, the last ones, are the scanner's repeat error: of strips read by the
    /// same scales.
    pub(crate) fn repeat_modes(&self) -> usize {
        let counts = self.strips.iter().map(|s| s.usable.repeat_modes);
        counts.min().unwrap_or(0)
    }

    /// Sizes the unevenness of every strip by the curves of `parameters`.
    fn resize(&mut self, parameters: &DVector<f64>) -> Option<()> {
        for index in 0..self.strips.len() {
            let curve = self.curve(parameters.as_slice(), index)?;
            let strip = &mut self.strips[index];
            strip.covariance = strip.usable.covariance_along(&curve);
        }
        Some(())
    }

    /// Works out the covariance anew, with the warp about the curves of `parameters`.
    fn refine(&mut self, parameters: &DVector<f64>) -> Option<()> {
        let mut covariance = self.reading_covariance();
        let modes = self.modes();
        covariance += &modes * modes.transpose();
        for (index, strip) in self.strips.iter().enumerate() {
            let curve = self.curve(parameters.as_slice(), index)?;
            let own = Warp::new(&curve, &strip.usable.x).shape() * (PILOT_SIZE * PILOT_SIZE)
                + strip.usable.timing_along(&curve);
            let first = strip.first_step_row();
            let mut block = covariance.view_mut((first, first), own.shape());
            block += own;
        }
        for i in 0..covariance.nrows() {
            covariance[(i, i)] += LEAST_VARIANCE;
        }
        let lower = covariance.cholesky()?.unpack();
        let size = lower.nrows();
        self.whiten = lower.solve_lower_triangular(&DMatrix::identity(size, size))?;
        Some(())
    }

    /// Puts read minus modelled densities into `residuals`; `false` where there is no curve.
    pub(crate) fn residuals(&self, parameters: &[f64], residuals: &mut [f64]) -> bool {
        let lag = self.lag_at(parameters);
        for (index, strip) in self.strips.iter().enumerate() {
            let Some(curve) = self.curve(parameters, index) else {
                return false;
            };
            let mut row = strip.row;
            let read = &strip.usable.density;
            if strip.usable.has_margin {
                residuals[row] = read[0] - curve.dmin;
                row += 1;
            }
            for exposure in &strip.usable.exposures {
                residuals[row] = read[row - strip.row] - curve.density(exposure.at(lag));
                row += 1;
            }
        }
        true
    }

    /// Derivatives of the modelled densities by the parameters.
    pub(crate) fn jacobian(&self, parameters: &[f64], jacobian: &mut DMatrix<f64>) -> bool {
        let lag = self.lag_at(parameters);
        let lag_column = self.parameters() - 1;
        jacobian.fill(0.0);
        for (index, strip) in self.strips.iter().enumerate() {
            let first = index * PARAMETERS;
            let own = &parameters[first..first + PARAMETERS];
            let Some(exact) = Derivatives::new(own, strip.anchor_net) else {
                return false;
            };
            let mut row = strip.row;
            if strip.usable.has_margin {
                jacobian[(row, first + DMIN)] = 1.0;
                row += 1;
            }
            for exposure in &strip.usable.exposures {
                let (_, by, slope) = exact.at(exposure.at(lag));
                for (parameter, by) in by.into_iter().enumerate() {
                    jacobian[(row, first + parameter)] = by;
                }
                jacobian[(row, lag_column)] = slope * exposure.by_lag(lag) * self.lag.1;
                row += 1;
            }
        }
        true
    }

    /// The priors of a strip's parameters.
    pub(crate) fn priors_of(&self, strip: usize) -> &[Option<Prior>] {
        &self.priors[strip * PARAMETERS..(strip + 1) * PARAMETERS]
    }

    /// Parameters read off the steps by eye, so to speak; `ln_range_shift` moves the range.
    fn guess(&self, ln_range_shift: f64) -> DVector<f64> {
        let mut guess = DVector::zeros(self.parameters());
        for (index, strip) in self.strips.iter().enumerate() {
            let usable = &strip.usable;
            let first = index * PARAMETERS;
            let base = usable.base();
            let net = (usable.highest_net() * 1.03).max(strip.anchor_net * 1.25);
            let steps = usable.by_exposure();
            let crossing = |net: f64| crossing(&steps, base + net);
            let (low, high) = usable.x_span();
            let anchor =
                crossing(strip.anchor_net).unwrap_or(if strip.anchor_net > usable.highest_net() {
                    high
                } else {
                    low
                });
            // From 20 to 80 % of net a typical curve rises over some 0.4 of its range.
            let range = match (crossing(0.2 * net), crossing(0.8 * net)) {
                (Some(a), Some(b)) if b > a => ((b - a) / 0.4 * 100.0).clamp(40.0, 250.0),
                _ => priors::LN_RANGE_PRIOR.middle().exp(),
            };
            guess[first + DMIN] = base;
            guess[first + LN_NET] = net.ln();
            guess[first + LN_RANGE] = range.ln() + ln_range_shift;
            guess[first + ANCHOR_X] = anchor;
            guess[first + LN_Q] = priors::LN_Q_PRIOR.middle();
            guess[first + LN_S] = priors::LN_S_PRIOR.middle();
        }
        guess
    }

    /// The most probable parameters; `None` when no start leads anywhere.
    pub(crate) fn solve(&mut self) -> Option<Best> {
        let mut best: Option<(f64, DVector<f64>)> = None;
        for shift in [0.0, -0.4, 0.4] {
            let found = least_squares::minimise(&*self, &self.guess(shift), Care::QUICK);
            if let Ok(found) = found {
                let misfit = found.sum_of_squares();
                if best.as_ref().is_none_or(|(least, _)| misfit < *least) {
                    best = Some((misfit, found.parameters));
                }
                if shift == 0.0 && misfit < 1.5 * self.densities() as f64 {
                    break;
                }
            }
        }
        let (_, mut pilot) = best?;
        self.refine(&pilot)?;
        pilot = least_squares::minimise(&*self, &pilot, Care::QUICK)
            .ok()?
            .parameters;
        self.resize(&pilot)?;
        self.refine(&pilot)?;
        let found = least_squares::minimise(&*self, &pilot, Care::QUICK).ok()?;
        let covariance = self.covariance_at(&found.jacobian)?;
        let mut jacobian = DMatrix::zeros(self.densities(), self.parameters());
        if !self.jacobian(found.parameters.as_slice(), &mut jacobian) {
            return None;
        }
        Some(Best {
            whitened: found.residuals.rows(0, self.densities()).into_owned(),
            parameters: found.parameters,
            covariance,
            jacobian,
        })
    }

    /// Covariance of the parameters from the derivatives of all residuals, priors included.
    fn covariance_at(&self, jacobian: &DMatrix<f64>) -> Option<DMatrix<f64>> {
        let mut precision = jacobian.tr_mul(jacobian);
        for parameter in 0..self.strips.len() * PARAMETERS {
            precision[(parameter, parameter)] += LEAST_PRECISION[parameter % PARAMETERS];
        }
        Some(precision.cholesky()?.inverse())
    }

    /// Chance of residuals of a strip at least as large as found, if the errors are right.
    pub(crate) fn chance_of_misfit(&self, best: &Best, strip: usize) -> Option<f64> {
        let own = &self.strips[strip];
        let count = own.usable.density.len();
        let rows = best.whitened.rows(own.row, count);
        // Each parameter takes as much freedom as the steps, not the prior, decide it.
        let mut taken = 0.0;
        let first = strip * PARAMETERS;
        for parameter in first..first + PARAMETERS {
            let left = self.priors[parameter].map_or(0.0, |prior| {
                (best.covariance[(parameter, parameter)] / prior.sd().powi(2)).min(1.0)
            });
            taken += 1.0 - left;
        }
        super::findings::chance_of(rows.norm_squared(), (count as f64 - taken).max(1.0))
    }
}

/// Anchor for a strip by the highest net density read: the speed point where the steps go
/// well beyond it, else a density that they do reach, so that the parameter is no phantom.
fn anchor_net(highest: f64) -> f64 {
    if highest > 1.25 * SPEED_NET {
        SPEED_NET
    } else {
        0.5 * highest
    }
}

/// Log exposure where steps sorted by exposure first cross a density upwards.
fn crossing(steps: &[(f64, f64)], density: f64) -> Option<f64> {
    steps.windows(2).find_map(|pair| {
        let [(x0, d0), (x1, d1)] = [pair[0], pair[1]];
        (d0 <= density && density < d1).then(|| x0 + (x1 - x0) * (density - d0) / (d1 - d0))
    })
}

impl Problem for Joint {
    fn residual_count(&self) -> usize {
        self.densities() + self.priors.iter().flatten().count()
    }

    fn evaluate(
        &self,
        parameters: &DVector<f64>,
        residuals: &mut DVector<f64>,
        jacobian: Option<&mut DMatrix<f64>>,
    ) -> bool {
        let count = self.densities();
        let mut raw = DVector::zeros(count);
        if !self.residuals(parameters.as_slice(), raw.as_mut_slice()) {
            return false;
        }
        residuals
            .rows_mut(0, count)
            .copy_from(&(&self.whiten * raw));
        let priors = self.priors.iter().enumerate();
        let priors = priors.filter_map(|(parameter, prior)| prior.map(|p| (parameter, p)));
        for (row, (parameter, prior)) in priors.clone().enumerate() {
            residuals[count + row] = prior.distance(parameters[parameter]);
        }
        if let Some(jacobian) = jacobian {
            let mut own = DMatrix::zeros(count, self.parameters());
            if !self.jacobian(parameters.as_slice(), &mut own) {
                return false;
            }
            jacobian.fill(0.0);
            jacobian
                .rows_mut(0, count)
                .copy_from(&(&self.whiten * -own));
            for (row, (parameter, prior)) in priors.enumerate() {
                jacobian[(count + row, parameter)] = prior.slope(parameters[parameter]);
            }
        }
        residuals.iter().all(|r| r.is_finite())
    }
}
