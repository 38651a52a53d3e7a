//! Weighted regression with a known variance per session and one unknown variance between.

use nalgebra::{DMatrix, DVector};

use super::student::{normal_quantile, student_quantile};
use super::{CannotPool, Effect};

/// Values with their variances, and what they may depend on.
#[derive(Debug, Clone, PartialEq)]
pub struct Model {
    values: DVector<f64>,
    variances: DVector<f64>,
    /// Sessions x coefficients; the first column is ones.
    design: DMatrix<f64>,
}

/// The model at one variance between sessions.
#[derive(Debug, Clone, PartialEq)]
pub struct Fit {
    /// Coefficients: the mean first, then one a column of the design.
    pub coefficients: DVector<f64>,
    /// Their covariance when the variances are right.
    pub covariance: DMatrix<f64>,
    /// Weighted squares of the residuals.
    pub q: f64,
    /// Residuals.
    pub residuals: DVector<f64>,
    /// Weights, 1 / (s^2 + tau^2).
    pub weights: DVector<f64>,
    /// Trace of the matrix P that takes values to weighted residuals.
    pub trace: f64,
    /// Trace of P P.
    pub trace_squared: f64,
    /// Restricted log likelihood, without its constant.
    pub log_likelihood: f64,
    freedom: f64,
}

impl Model {
    /// All sessions share one mean.
    pub fn mean(effects: &[Effect]) -> Result<Self, CannotPool> {
        Self::new(effects, &[])
    }

    /// Values depend linearly on `columns`, each one number a session.
    ///
    /// Columns that are constant, or together say the same, make every fit not a number.
    pub fn new(effects: &[Effect], columns: &[&[f64]]) -> Result<Self, CannotPool> {
        if effects.is_empty() {
            return Err(CannotPool::NoSession);
        }
        let usable = |effect: &Effect| {
            let variance = effect.variance();
            effect.value.is_finite() && variance.is_finite() && effect.standard_error > 0.0
        };
        if let Some(index) = effects.iter().position(|effect| !usable(effect)) {
            return Err(CannotPool::NotANumber { number: index + 1 });
        }
        let count = effects.len();
        Ok(Self {
            values: DVector::from_iterator(count, effects.iter().map(|e| e.value)),
            variances: DVector::from_iterator(count, effects.iter().map(Effect::variance)),
            design: DMatrix::from_fn(count, 1 + columns.len(), |row, column| {
                match column.checked_sub(1) {
                    None => 1.0,
                    Some(column) => columns[column].get(row).copied().unwrap_or(f64::NAN),
                }
            }),
        })
    }

    /// Sessions less coefficients.
    pub fn freedom(&self) -> f64 {
        self.values.len() as f64 - self.design.ncols() as f64
    }

    /// Standard deviation of the values, unweighted: a size to look for variances at.
    pub(super) fn spread(&self) -> f64 {
        self.values.variance().sqrt()
    }

    /// Largest variance within a session.
    pub(super) fn largest_variance(&self) -> f64 {
        self.variances.max()
    }

    /// The fit when `between` is the variance between sessions (not negative).
    pub fn fit(&self, between: f64) -> Fit {
        let size = self.design.ncols();
        let weights = self.variances.map(|variance| 1.0 / (variance + between));
        // X' W^power X
        let moment = |power: i32| {
            let mut sum = DMatrix::zeros(size, size);
            for (row, weight) in self.design.row_iter().zip(weights.iter()) {
                sum += row.transpose() * row * weight.powi(power);
            }
            sum
        };
        let not_a_number = || DMatrix::from_element(size, size, f64::NAN);
        let root = moment(1).cholesky();
        let log_determinant = root.as_ref().map_or(f64::NAN, |root| {
            2.0 * root.l().diagonal().map(f64::ln).sum()
        });
        let covariance = root.map_or_else(not_a_number, |root| root.inverse());
        let weighted = self.values.component_mul(&weights);
        let coefficients = &covariance * self.design.tr_mul(&weighted);
        let residuals = &self.values - &self.design * &coefficients;
        let q = residuals.component_mul(&residuals).dot(&weights);
        let square = &covariance * moment(2);
        let cube = &covariance * moment(3);
        let sum = |power: i32| weights.map(|weight| weight.powi(power)).sum();
        Fit {
            q,
            trace: sum(1) - square.trace(),
            trace_squared: sum(2) - 2.0 * cube.trace() + (&square * &square).trace(),
            log_likelihood: 0.5 * (weights.map(f64::ln).sum() - log_determinant - q),
            freedom: self.freedom(),
            coefficients,
            covariance,
            residuals,
            weights,
        }
    }
}

impl Fit {
    /// Standard error of a coefficient when the variances are right.
    pub fn plain_error(&self, coefficient: usize) -> f64 {
        self.covariance[(coefficient, coefficient)].sqrt()
    }

    /// Standard error of a coefficient after Hartung & Knapp: scaled by what the residuals show.
    ///
    /// To be used with Student's t of [`Model::freedom`] degrees of freedom. Sources: Hartung &
    /// Knapp 2001, Stat. Med. 20:3875; Knapp & Hartung 2003, Stat. Med. 22:2693 (regression).
    /// Checked against: tests/references/pooling.rs.
    pub fn knapp_hartung_error(&self, coefficient: usize) -> f64 {
        self.plain_error(coefficient) * (self.q / self.freedom).sqrt()
    }

    /// Half-width of a coefficient's 95 % interval: Hartung & Knapp's, but never narrower than
    /// the normal interval with the same weights.
    ///
    /// The guard is there for sessions that agree by luck, whose residuals then claim more
    /// than their own errors allow (Jackson, Law, Rücker & Schwarzer 2017, Stat. Med. 36:3923
    /// discuss it).
    pub fn half_width(&self, coefficient: usize) -> f64 {
        let unguarded = self.knapp_hartung_half_width(coefficient);
        unguarded.max(normal_quantile(0.975) * self.plain_error(coefficient))
    }

    /// Half-width of the 95 % interval of Hartung & Knapp without the guard.
    pub fn knapp_hartung_half_width(&self, coefficient: usize) -> f64 {
        student_quantile(0.975, self.freedom) * self.knapp_hartung_error(coefficient)
    }
}
