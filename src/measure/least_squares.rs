//! Least squares with exact derivatives: the one driver every fit goes through.
//!
//! Method: Levenberg-Marquardt with a trust region and column scaling, as in MINPACK
//! (More 1978), from the `levenberg-marquardt` crate. Checked against certified values of the
//! NIST Statistical Reference Datasets in tests/references.rs.

use std::cell::RefCell;

use levenberg_marquardt::{LeastSquaresProblem, LevenbergMarquardt, TerminationReason};
use nalgebra::storage::Owned;
use nalgebra::{DMatrix, DVector, Dyn};

/// A sum of squares to make small.
pub trait Problem {
    /// Count of residuals; at least the count of parameters.
    fn residual_count(&self) -> usize;

    /// Puts residuals, and their derivatives if asked for, at `parameters` into the buffers.
    ///
    /// `jacobian` has a row a residual and a column a parameter. Gives `false` where the
    /// residuals are not defined; the driver then takes a smaller step.
    fn evaluate(
        &self,
        parameters: &DVector<f64>,
        residuals: &mut DVector<f64>,
        jacobian: Option<&mut DMatrix<f64>>,
    ) -> bool;
}

/// Where the driver stopped.
#[derive(Debug, Clone)]
pub struct Solution {
    /// The parameters found.
    pub parameters: DVector<f64>,
    /// Residuals there.
    pub residuals: DVector<f64>,
    /// Derivatives of the residuals there.
    pub jacobian: DMatrix<f64>,
    /// How often the residuals were computed.
    pub evaluations: usize,
}

/// Why there is no solution.
#[derive(Debug, Clone, Copy, PartialEq, Eq, thiserror::Error)]
pub enum Unsolved {
    /// Fewer residuals than parameters, or none of either.
    #[error("fewer residuals than parameters")]
    TooFewResiduals,
    /// The residuals are not defined or not finite at the start or on the way.
    #[error("the residuals are not finite")]
    NotFinite,
    /// Stopped by the limit on evaluations.
    #[error("not settled within the allowed evaluations")]
    LostPatience,
}

/// How closely to settle.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Care {
    /// Relative change of the sum of squares, of the parameters and cosine between residuals
    /// and derivatives at which the driver stops.
    pub tolerance: f64,
    /// Evaluations allowed, in hundreds a parameter.
    pub patience: usize,
}

impl Care {
    /// As closely as the arithmetic allows: for certified values.
    pub const EXACT: Self = Self {
        tolerance: 30.0 * f64::EPSILON,
        patience: 10,
    };
    /// Far below any standard error: for fits whose answer is read off draws.
    pub const QUICK: Self = Self {
        tolerance: 1e-9,
        patience: 1,
    };
}

impl Solution {
    /// Sum of the squared residuals.
    pub fn sum_of_squares(&self) -> f64 {
        self.residuals.norm_squared()
    }

    /// (J' J)^-1: the covariance of the parameters when the residuals have unit variance.
    ///
    /// `None` when the residuals leave a combination of parameters free.
    pub fn unit_covariance(&self) -> Option<DMatrix<f64>> {
        // Through QR of the scaled columns: forming J' J would square the condition.
        let scales: Vec<f64> = self.jacobian.column_iter().map(|c| c.norm()).collect();
        if scales.iter().any(|&s| !(s > 0.0 && s.is_finite())) {
            return None;
        }
        let mut scaled = self.jacobian.clone();
        for (mut column, scale) in scaled.column_iter_mut().zip(&scales) {
            column /= *scale;
        }
        let triangle = scaled.qr().unpack_r();
        // With columns of unit length the diagonal of R is 1 for independent parameters.
        if triangle.diagonal().iter().any(|d| d.abs() < 1e-13) {
            return None;
        }
        let inverse = triangle.try_inverse()?;
        let mut covariance = &inverse * inverse.transpose();
        for (row, a) in scales.iter().enumerate() {
            for (column, b) in scales.iter().enumerate() {
                covariance[(row, column)] /= a * b;
            }
        }
        covariance
            .iter()
            .all(|v| v.is_finite())
            .then_some(covariance)
    }

    /// Standard errors with the variance of the residuals taken from the residuals themselves.
    ///
    /// `None` without degrees of freedom or with a parameter left free.
    pub fn standard_errors(&self) -> Option<DVector<f64>> {
        let freedom = self
            .residuals
            .len()
            .checked_sub(self.parameters.len())
            .filter(|&freedom| freedom > 0)?;
        let variance = self.sum_of_squares() / freedom as f64;
        let covariance = self.unit_covariance()?;
        Some(covariance.diagonal().map(|v| (v * variance).sqrt()))
    }
}

/// Makes the sum of squares small from `start`.
///
/// # Errors
/// [`Unsolved`] says why there is no solution.
pub fn minimise(
    problem: &impl Problem,
    start: &DVector<f64>,
    care: Care,
) -> Result<Solution, Unsolved> {
    let residual_count = problem.residual_count();
    if start.is_empty() || residual_count < start.len() {
        return Err(Unsolved::TooFewResiduals);
    }
    let mut residuals = DVector::zeros(residual_count);
    if !problem.evaluate(start, &mut residuals, None) {
        return Err(Unsolved::NotFinite);
    }
    let adapter = Adapter {
        problem,
        parameters: start.clone(),
        evaluations: RefCell::new(0),
    };
    let (adapter, report) = LevenbergMarquardt::new()
        .with_tol(care.tolerance)
        .with_patience(care.patience * 100)
        .minimize(adapter);
    match report.termination {
        TerminationReason::User(_)
        | TerminationReason::Numerical(_)
        | TerminationReason::NoParameters
        | TerminationReason::NoResiduals
        | TerminationReason::WrongDimensions(_) => return Err(Unsolved::NotFinite),
        TerminationReason::LostPatience => return Err(Unsolved::LostPatience),
        TerminationReason::ResidualsZero
        | TerminationReason::Orthogonal
        | TerminationReason::Converged { .. }
        | TerminationReason::NoImprovementPossible(_) => {}
    }
    let mut jacobian = DMatrix::zeros(residual_count, start.len());
    if !problem.evaluate(&adapter.parameters, &mut residuals, Some(&mut jacobian)) {
        return Err(Unsolved::NotFinite);
    }
    Ok(Solution {
        evaluations: *adapter.evaluations.borrow(),
        parameters: adapter.parameters,
        residuals,
        jacobian,
    })
}

/// Residual that stands for "not defined here": its square is finite, and no fit has one as large.
const FAR_TOO_BAD: f64 = 1e100;

/// Fits our [`Problem`] to the crate's trait.
struct Adapter<'a, P> {
    problem: &'a P,
    parameters: DVector<f64>,
    evaluations: RefCell<usize>,
}

impl<P: Problem> LeastSquaresProblem<f64, Dyn, Dyn> for Adapter<'_, P> {
    type ResidualStorage = Owned<f64, Dyn>;
    type JacobianStorage = Owned<f64, Dyn, Dyn>;
    type ParameterStorage = Owned<f64, Dyn>;

    fn set_params(&mut self, parameters: &DVector<f64>) {
        self.parameters.copy_from(parameters);
    }

    fn params(&self) -> DVector<f64> {
        self.parameters.clone()
    }

    fn residuals(&self) -> Option<DVector<f64>> {
        *self.evaluations.borrow_mut() += 1;
        let mut residuals = DVector::zeros(self.problem.residual_count());
        if !self
            .problem
            .evaluate(&self.parameters, &mut residuals, None)
        {
            // The crate gives up without residuals; a step that is only far too bad it undoes.
            residuals.fill(FAR_TOO_BAD);
        }
        Some(residuals)
    }

    fn jacobian(&self) -> Option<DMatrix<f64>> {
        let rows = self.problem.residual_count();
        let mut residuals = DVector::zeros(rows);
        let mut jacobian = DMatrix::zeros(rows, self.parameters.len());
        self.problem
            .evaluate(&self.parameters, &mut residuals, Some(&mut jacobian))
            .then_some(jacobian)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    struct Line<'a>(&'a [(f64, f64)]);

    impl Problem for Line<'_> {
        fn residual_count(&self) -> usize {
            self.0.len()
        }

        fn evaluate(
            &self,
            p: &DVector<f64>,
            residuals: &mut DVector<f64>,
            jacobian: Option<&mut DMatrix<f64>>,
        ) -> bool {
            for (i, &(x, y)) in self.0.iter().enumerate() {
                residuals[i] = p[0] + p[1] * x - y;
            }
            if let Some(jacobian) = jacobian {
                for (i, &(x, _)) in self.0.iter().enumerate() {
                    jacobian[(i, 0)] = 1.0;
                    jacobian[(i, 1)] = x;
                }
            }
            residuals.iter().all(|r| r.is_finite())
        }
    }

    #[test]
    fn a_straight_line_has_the_textbook_standard_errors() {
        // Closed form of simple regression: x 0..4, residual variance 1/3 * RSS.
        let data = [(0.0, 1.1), (1.0, 2.9), (2.0, 5.2), (3.0, 6.8), (4.0, 9.0)];
        let fit = minimise(
            &Line(&data),
            &DVector::from_vec(vec![0.0, 0.0]),
            Care::EXACT,
        )
        .expect("a line can be fitted");
        let slope = 19.7 / 10.0;
        assert!((fit.parameters[1] - slope).abs() < 1e-12);
        let errors = fit.standard_errors().expect("three degrees of freedom");
        let variance = fit.sum_of_squares() / 3.0;
        assert!((errors[1] - (variance / 10.0).sqrt()).abs() < 1e-12);
        assert!((errors[0] - (variance * (0.2 + 4.0 / 10.0)).sqrt()).abs() < 1e-12);
    }

    #[test]
    fn one_point_cannot_carry_a_line() {
        let unsolved = minimise(
            &Line(&[(0.0, 1.0)]),
            &DVector::from_vec(vec![0.0, 0.0]),
            Care::EXACT,
        );
        assert_eq!(unsolved.err(), Some(Unsolved::TooFewResiduals));
    }

    #[test]
    fn a_reading_that_is_not_a_number_is_refused() {
        let data = [(0.0, 1.0), (1.0, f64::NAN), (2.0, 3.0)];
        let unsolved = minimise(
            &Line(&data),
            &DVector::from_vec(vec![0.0, 0.0]),
            Care::EXACT,
        );
        assert_eq!(unsolved.err(), Some(Unsolved::NotFinite));
    }

    #[test]
    fn a_free_parameter_has_no_covariance() {
        let data = [(2.0, 1.0), (2.0, 1.1), (2.0, 0.9)];
        let fit = minimise(
            &Line(&data),
            &DVector::from_vec(vec![0.0, 0.0]),
            Care::EXACT,
        );
        assert!(fit.is_err() || fit.is_ok_and(|fit| fit.unit_covariance().is_none()));
    }
}
