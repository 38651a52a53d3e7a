//! Averages over what the covariance parameters may be.

use nalgebra::{DMatrix, DVector};
use rayon::prelude::*;

use super::gls::{COUNT, Prior, Problem, Solution, Theta, ThetaMatrix};

/// Signs of sixteen places in seven directions whose means are zero and whose second moments
/// are one: the fraction 2^(7-3) with E = ABC, F = BCD and G = ACD (Box, Hunter & Hunter 2005,
/// Statistics for Experimenters, 2nd ed., table 6.22).
fn places() -> impl IndexedParallelIterator<Item = Theta> {
    (0..16usize).into_par_iter().map(|run| {
        let sign = |bits: usize| {
            if (run & bits).count_ones().is_multiple_of(2) {
                1.0
            } else {
                -1.0
            }
        };
        Theta::from([
            sign(1),
            sign(2),
            sign(4),
            sign(8),
            sign(1 | 2 | 4),
            sign(2 | 4 | 8),
            sign(1 | 4 | 8),
        ])
    })
}

/// How far the weight of one place may depart from that of a normal posterior.
const WEIGHT_LIMIT: f64 = 1.5;

/// Mean and covariance of the steps' densities, the covariance parameters integrated out.
///
/// `best` is the mode of their posterior and `information` its curvature. Sixteen places one
/// posterior standard deviation away in every direction, weighted by the posterior against
/// the normal one, match its mean and variance. `None` when nothing can be factored.
pub fn average(
    problem: &Problem,
    best: &Theta,
    information: &ThetaMatrix,
    prior: &Prior,
) -> Option<(DVector<f64>, DMatrix<f64>)> {
    let middle = problem.solve(best, prior)?;
    let Some(root) = information.cholesky() else {
        return Some((middle.mean, middle.covariance));
    };
    let away = |signs: Theta| root.l().tr_solve_lower_triangular(&signs);
    let around: Vec<Option<Solution>> = places()
        .map(|signs| problem.solve(&(best + away(signs)?), prior))
        .collect();
    let expected = middle.log_posterior - COUNT as f64 / 2.0;
    let weighted: Vec<(f64, Solution)> = around
        .into_iter()
        .flatten()
        .map(|solution| {
            let departure = solution.log_posterior - expected;
            (departure.clamp(-WEIGHT_LIMIT, WEIGHT_LIMIT).exp(), solution)
        })
        .collect();
    let sum: f64 = weighted.iter().map(|(weight, _)| weight).sum();
    if weighted.is_empty() {
        return Some((middle.mean, middle.covariance));
    }
    let mut mean = DVector::zeros(middle.mean.len());
    for (weight, solution) in &weighted {
        mean += &solution.mean * (weight / sum);
    }
    let mut covariance = DMatrix::zeros(mean.len(), mean.len());
    for (weight, solution) in &weighted {
        let off = &solution.mean - &mean;
        covariance += (&solution.covariance + &off * off.transpose()) * (weight / sum);
    }
    Some((mean, covariance))
}
