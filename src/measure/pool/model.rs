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
    /// Covariance of errors that sessions share, if there are such.
    shared: Option<DMatrix<f64>>,
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
    /// What the errors that sessions share have in that covariance.
    pub shared: DMatrix<f64>,
    /// Share of each session in each coefficient (coefficients x sessions).
    pub shares: DMatrix<f64>,
    /// Residuals.
    pub residuals: DVector<f64>,
    /// Residuals times the inverse of the covariance.
    pub weighted_residuals: DVector<f64>,
    /// Weights, 1 / (s^2 + tau^2): of what sessions don't share.
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
            shared: None,
        })
    }

    /// The same with errors that sessions share: a covariance (sessions x sessions) on top of the
    /// variances that each has of its own.
    #[must_use]
    pub fn sharing(self, covariance: &DMatrix<f64>) -> Self {
        let count = self.values.len();
        let any = covariance.iter().any(|value| *value != 0.0);
        let shared = (any && covariance.shape() == (count, count)).then(|| covariance.clone());
        Self { shared, ..self }
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

    /// The fit when `between` is the variance between sessions (not negative): generalised least
    /// squares, with the inverse W of diag(s^2 + tau^2) plus what sessions share.
    pub fn fit(&self, between: f64) -> Fit {
        let own = self.variances.add_scalar(between);
        let weights = own.map(|variance| 1.0 / variance);
        let inverse = match &self.shared {
            None => Inverse::Diagonal(&weights),
            Some(shared) => Inverse::full(DMatrix::from_diagonal(&own) + shared),
        };
        let size = self.design.ncols();
        let not_a_number = || DMatrix::from_element(size, size, f64::NAN);
        let by_design = inverse.times(&self.design);
        let root = self.design.tr_mul(&by_design).cholesky();
        let log_determinant = root.as_ref().map_or(f64::NAN, |root| {
            2.0 * root.l().diagonal().map(f64::ln).sum()
        });
        let covariance = root.map_or_else(not_a_number, |root| root.inverse());
        let shares = &covariance * by_design.transpose();
        let coefficients = &shares * &self.values;
        let residuals = &self.values - &self.design * &coefficients;
        let weighted_residuals = inverse.times_vector(&residuals);
        let q = residuals.dot(&weighted_residuals);
        let (trace, trace_squared) = inverse.traces(&by_design, &shares);
        let shared = match &self.shared {
            Some(shared) => &shares * shared * shares.transpose(),
            None => DMatrix::zeros(size, size),
        };
        Fit {
            q,
            trace,
            trace_squared,
            log_likelihood: 0.5 * (inverse.log_determinant() - log_determinant - q),
            freedom: self.freedom(),
            coefficients,
            covariance,
            shared,
            shares,
            residuals,
            weighted_residuals,
            weights,
        }
    }
}

/// The inverse W of the sessions' covariance. Where they share nothing only its diagonal is worked
/// with: hundreds of sessions are fitted at hundreds of variances.
enum Inverse<'a> {
    Diagonal(&'a DVector<f64>),
    Full(DMatrix<f64>, f64),
}

impl Inverse<'_> {
    /// Of a full covariance; not a number where it has no inverse.
    fn full(covariance: DMatrix<f64>) -> Self {
        let count = covariance.nrows();
        match covariance.cholesky() {
            Some(root) => {
                let log = -2.0 * root.l().diagonal().map(f64::ln).sum();
                Self::Full(root.inverse(), log)
            }
            None => Self::Full(DMatrix::from_element(count, count, f64::NAN), f64::NAN),
        }
    }

    /// Natural logarithm of the determinant of W.
    fn log_determinant(&self) -> f64 {
        match self {
            Self::Diagonal(weights) => weights.map(f64::ln).sum(),
            Self::Full(_, log) => *log,
        }
    }

    fn times(&self, matrix: &DMatrix<f64>) -> DMatrix<f64> {
        match self {
            Self::Diagonal(weights) => {
                let mut scaled = matrix.clone();
                for (mut row, weight) in scaled.row_iter_mut().zip(weights.iter()) {
                    row *= *weight;
                }
                scaled
            }
            Self::Full(inverse, _) => inverse * matrix,
        }
    }

    fn times_vector(&self, vector: &DVector<f64>) -> DVector<f64> {
        match self {
            Self::Diagonal(weights) => weights.component_mul(vector),
            Self::Full(inverse, _) => inverse * vector,
        }
    }

    /// Traces of P and of P P, for P = W - W X (X' W X)^-1 X' W, which takes values to weighted
    /// residuals; `by_design` is W X and `shares` (X' W X)^-1 X' W.
    fn traces(&self, by_design: &DMatrix<f64>, shares: &DMatrix<f64>) -> (f64, f64) {
        match self {
            Self::Diagonal(weights) => {
                // tr(W S) and tr(W W S), S = X (X' W X)^-1 X' W.
                let square = shares * by_design;
                let cube = shares * self.times(by_design);
                (
                    weights.sum() - square.trace(),
                    weights.norm_squared() - 2.0 * cube.trace() + (&square * &square).trace(),
                )
            }
            Self::Full(inverse, _) => {
                let projected = inverse - by_design * shares;
                (projected.trace(), projected.norm_squared())
            }
        }
    }
}

impl Fit {
    /// Standard error of a coefficient when the variances are right.
    pub fn plain_error(&self, coefficient: usize) -> f64 {
        self.covariance[(coefficient, coefficient)].sqrt()
    }

    /// What the errors that sessions share do to a coefficient: its standard error from them.
    pub fn shared_error(&self, coefficient: usize) -> f64 {
        self.shared[(coefficient, coefficient)].max(0.0).sqrt()
    }

    /// Standard error of a coefficient by what sessions don't share.
    pub fn own_error(&self, coefficient: usize) -> f64 {
        let own =
            self.covariance[(coefficient, coefficient)] - self.shared[(coefficient, coefficient)];
        own.max(0.0).sqrt()
    }

    /// Standard error of a coefficient after Hartung & Knapp: scaled by what the residuals show,
    /// but for errors that sessions share, which no residual shows.
    ///
    /// To be used with Student's t of [`Model::freedom`] degrees of freedom. Sources: Hartung &
    /// Knapp 2001, Stat. Med. 20:3875; Knapp & Hartung 2003, Stat. Med. 22:2693 (regression).
    /// Checked against: tests/references/pooling.rs.
    pub fn knapp_hartung_error(&self, coefficient: usize) -> f64 {
        let own = self.own_error(coefficient) * (self.q / self.freedom).sqrt();
        own.hypot(self.shared_error(coefficient))
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
        let own = self.own_error(coefficient) * (self.q / self.freedom).sqrt();
        let shared = normal_quantile(0.975) * self.shared_error(coefficient);
        (student_quantile(0.975, self.freedom) * own).hypot(shared)
    }
}
