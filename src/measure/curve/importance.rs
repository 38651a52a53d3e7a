//! Adaptive importance draws.
//!
//! The proposal is a multivariate t at the most probable parameters with Laplace's covariance,
//! moved to the weighted mean and covariance of its own draws (Oh & Berger 1992). Weights are
//! truncated at sqrt(n) times their mean (Ionides 2008), so no single draw can take over, and
//! the effective sample size (Kong 1992) decides whether another round is needed.

use nalgebra::{DMatrix, DVector};
use rand::Rng as _;
use rand_chacha::ChaCha8Rng;
use rand_distr::{ChiSquared, Distribution as _, StandardNormal};
use rayon::prelude::*;

/// Draws that a core takes at a time, at least.
pub(crate) const SIDE_BY_SIDE: usize = 64;
/// Degrees of freedom of the proposal: tails heavier than the posterior's.
const FREEDOM: f64 = 8.0;

/// A multivariate t.
#[derive(Debug, Clone)]
pub(crate) struct Proposal {
    mean: DVector<f64>,
    lower: DMatrix<f64>,
}

/// Draws of a proposal with their weights.
#[derive(Debug, Clone)]
pub(crate) struct Round {
    /// One column a draw.
    pub(crate) parameters: DMatrix<f64>,
    /// Log density of the target at every draw.
    pub(crate) target: Vec<f64>,
    /// Weights that sum to 1.
    weights: Vec<f64>,
    /// Effective sample size.
    pub(crate) effective: f64,
}

impl Proposal {
    /// A proposal with this mean and scale; `None` when the scale is not positive definite.
    pub(crate) fn new(mean: DVector<f64>, covariance: DMatrix<f64>) -> Option<Self> {
        let lower = covariance.cholesky()?.unpack();
        Some(Self { mean, lower })
    }

    /// Draws (one a column), and minus the log density of the proposal at each.
    pub(crate) fn draws(&self, count: usize, rng: &mut ChaCha8Rng) -> (DMatrix<f64>, Vec<f64>) {
        let size = self.mean.len();
        let mut noise = DMatrix::zeros(size, count);
        let mut rarity = Vec::with_capacity(count);
        let chi_squared = ChiSquared::new(FREEDOM).ok();
        for mut own in noise.column_iter_mut() {
            own.iter_mut().for_each(|n| *n = StandardNormal.sample(rng));
            let stretch = chi_squared.map_or(1.0, |c| (FREEDOM / c.sample(rng)).sqrt());
            own *= stretch;
            rarity.push(0.5 * (FREEDOM + size as f64) * (own.norm_squared() / FREEDOM).ln_1p());
        }
        let mut parameters = &self.lower * noise;
        for mut own in parameters.column_iter_mut() {
            own += &self.mean;
        }
        (parameters, rarity)
    }

    /// Draws with their weights, by the log density of the target up to a constant.
    ///
    /// Chances one after the other, so that a seed gives the same draws on any machine; what
    /// follows from them on all cores, each with a workspace of its own. `None` when no draw
    /// counts.
    pub(crate) fn round<W: Send>(
        &self,
        count: usize,
        rng: &mut ChaCha8Rng,
        workspace: impl Fn() -> W + Sync + Send,
        log_density: impl Fn(&[f64], &mut W) -> f64 + Sync + Send,
    ) -> Option<Round> {
        let size = self.mean.len();
        let (parameters, rarity) = self.draws(count, rng);
        let target: Vec<f64> = parameters
            .as_slice()
            .par_chunks(size)
            .with_min_len(SIDE_BY_SIDE)
            .map_init(&workspace, |work, own| log_density(own, work))
            .collect();
        let logs: Vec<f64> = target.iter().zip(&rarity).map(|(t, r)| t + r).collect();
        Round::new(parameters, target, &logs)
    }
}

/// Weights that sum to 1, truncated; `None` when no draw counts.
fn truncated_weights(logs: &[f64]) -> Option<Vec<f64>> {
    let top = logs.iter().copied().fold(f64::NEG_INFINITY, f64::max);
    if !top.is_finite() {
        return None;
    }
    let mut weights: Vec<f64> = logs
        .iter()
        .map(|log| {
            if log.is_finite() {
                (log - top).exp()
            } else {
                0.0
            }
        })
        .collect();
    let count = weights.len() as f64;
    let most = weights.iter().sum::<f64>() / count.sqrt();
    weights.iter_mut().for_each(|w| *w = w.min(most));
    let sum: f64 = weights.iter().sum();
    weights.iter_mut().for_each(|w| *w /= sum);
    Some(weights)
}

impl Round {
    /// Draws with the logs of their weights up to a constant; `None` when no draw counts.
    pub(crate) fn new(parameters: DMatrix<f64>, target: Vec<f64>, logs: &[f64]) -> Option<Self> {
        let weights = truncated_weights(logs)?;
        let effective = 1.0 / weights.iter().map(|w| w * w).sum::<f64>();
        Some(Self {
            parameters,
            target,
            weights,
            effective,
        })
    }

    /// The proposal that the weighted draws suggest.
    pub(crate) fn next(&self) -> Option<Proposal> {
        let mean = &self.parameters * DVector::from_column_slice(&self.weights);
        let mut centred = self.parameters.clone();
        for (mut column, weight) in centred.column_iter_mut().zip(&self.weights) {
            if *weight > 0.0 {
                column -= &mean;
                column *= weight.sqrt();
            } else {
                column.fill(0.0);
            }
        }
        let covariance = &centred * centred.transpose();
        Proposal::new(mean, covariance)
    }

    /// Places of `count` draws that together stand for the weighted ones (systematic
    /// resampling), ascending.
    pub(crate) fn resampled(&self, count: usize, rng: &mut ChaCha8Rng) -> Vec<usize> {
        let mut places = Vec::with_capacity(count);
        let mut target = rng.random::<f64>() / count as f64;
        let mut reached = 0.0;
        for (place, weight) in self.weights.iter().enumerate() {
            reached += weight;
            while target < reached && places.len() < count {
                places.push(place);
                target += 1.0 / count as f64;
            }
        }
        // Rounding may leave the last target beyond the sum of the weights.
        while places.len() < count {
            places.push(places.last().copied().unwrap_or(0));
        }
        places
    }
}
