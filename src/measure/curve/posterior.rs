//! Draws from the joint posterior of the curves by adaptive importance sampling.
//!
//! The proposal is a multivariate t at the most probable parameters with Laplace's
//! covariance, moved to the weighted mean and covariance of its own draws once or twice
//! (Oh & Berger 1992). Weights are truncated at sqrt(n) times their mean (Ionides 2008), so no
//! single draw can take over, and the effective sample size (Kong 1992) decides whether another
//! round is needed. The same seed gives the same draws.

use nalgebra::{DMatrix, DVector, DVectorView, DVectorViewMut};
use rand::{Rng as _, SeedableRng as _};
use rand_chacha::ChaCha8Rng;
use rand_distr::{ChiSquared, Distribution as _, StandardNormal};
use rayon::prelude::*;

use super::discrepancy::{self, Grid};
use super::fit::{Best, Joint};
use super::model::Curve;

/// Draws of the rounds that only move the proposal.
const ADAPTING: [usize; 2] = [600, 1000];
/// Draws of the last round.
const LAST: usize = 2500;
/// Equally weighted draws that are kept.
pub(crate) const KEPT: usize = 2000;
/// Draws that a core takes at a time, at least.
const SIDE_BY_SIDE: usize = 64;
/// Degrees of freedom of the proposal: tails heavier than the posterior's.
const FREEDOM: f64 = 8.0;
/// Rounds added at most when the effective sample size is short.
const EXTRA_ROUNDS: usize = 3;
/// Effective sample size, as a share of the draws, that needs no further round.
const ENOUGH: f64 = 0.12;
/// Most that the discrepancy moves a point of the curve, decades: beyond, the curve is too
/// flat for the point to be moved to first order.
const MOST_SHIFT: f64 = 0.1;

/// Equally weighted draws.
#[derive(Debug)]
pub(crate) struct Posterior {
    /// One column a draw.
    pub(crate) parameters: DMatrix<f64>,
    /// Discrepancy at the nodes of each strip's grid: one column a draw.
    nodes: Vec<DMatrix<f64>>,
    grids: Vec<Grid>,
}

struct Proposal {
    mean: DVector<f64>,
    lower: DMatrix<f64>,
}

struct Round {
    parameters: DMatrix<f64>,
    whitened: DMatrix<f64>,
    weights: Vec<f64>,
    effective: f64,
}

impl Proposal {
    fn new(mean: DVector<f64>, covariance: DMatrix<f64>) -> Option<Self> {
        let lower = covariance.cholesky()?.unpack();
        Some(Self { mean, lower })
    }

    fn round(&self, joint: &Joint, count: usize, rng: &mut ChaCha8Rng) -> Option<Round> {
        let size = self.mean.len();
        let densities = joint.densities();
        let chi_squared = ChiSquared::new(FREEDOM).ok()?;
        // The chances one after the other, so that a seed gives the same draws on any machine;
        // what follows from them on all cores.
        let mut noise = DMatrix::zeros(size, count);
        for mut own in noise.column_iter_mut() {
            own.iter_mut().for_each(|n| *n = StandardNormal.sample(rng));
            let stretch: f64 = (FREEDOM / chi_squared.sample(rng)).sqrt();
            own *= stretch;
        }
        let mut parameters = DMatrix::zeros(size, count);
        let mut whitened = DMatrix::zeros(densities, count);
        let logs: Vec<f64> = (noise.as_slice().par_chunks(size))
            .zip(parameters.as_mut_slice().par_chunks_mut(size))
            .zip(whitened.as_mut_slice().par_chunks_mut(densities))
            .with_min_len(SIDE_BY_SIDE)
            .map_init(
                || DVector::zeros(densities),
                |residuals, ((noise, parameters), whitened)| {
                    let noise = DVectorView::from_slice(noise, size);
                    let mut own = DVectorViewMut::from_slice(parameters, size);
                    own.copy_from(&self.mean);
                    own.gemv(1.0, &self.lower, &noise, 1.0);
                    if !joint.residuals(own.as_slice(), residuals.as_mut_slice()) {
                        return f64::NEG_INFINITY;
                    }
                    joint.whitened(residuals, whitened);
                    let white = DVectorView::from_slice(whitened, densities);
                    let target = -0.5 * (white.norm_squared() + joint.prior_misfit(own.as_slice()));
                    let proposed =
                        -0.5 * (FREEDOM + size as f64) * (noise.norm_squared() / FREEDOM).ln_1p();
                    target - proposed
                },
            )
            .collect();
        let weights = truncated_weights(&logs)?;
        let effective = 1.0 / weights.iter().map(|w| w * w).sum::<f64>();
        Some(Round {
            parameters,
            whitened,
            weights,
            effective,
        })
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
    /// The proposal that the weighted draws suggest.
    fn next(&self) -> Option<Proposal> {
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
    /// resampling).
    fn resampled(&self, count: usize, rng: &mut ChaCha8Rng) -> Vec<usize> {
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

impl Posterior {
    /// Draws from the posterior of a fit; `None` when the fit gives no proposal.
    pub(crate) fn sample(joint: &Joint, best: &Best, seed: u64) -> Option<Self> {
        let mut rng = ChaCha8Rng::seed_from_u64(seed);
        let mut proposal = Proposal::new(best.parameters.clone(), best.covariance.clone() * 1.2)?;
        for count in ADAPTING {
            if let Some(next) = proposal.round(joint, count, &mut rng)?.next() {
                proposal = next;
            }
        }
        let mut round = proposal.round(joint, LAST, &mut rng)?;
        for _ in 0..EXTRA_ROUNDS {
            if round.effective >= ENOUGH * LAST as f64 {
                break;
            }
            let Some(proposal) = round.next() else { break };
            let another = proposal.round(joint, LAST, &mut rng)?;
            if another.effective > round.effective {
                round = another;
            }
        }
        let places = round.resampled(KEPT, &mut rng);
        let parameters = round.parameters.select_columns(&places);
        let mut nodes = vec![];
        let mut grids = vec![];
        for (index, strip) in joint.strips.iter().enumerate() {
            let pilot = joint.curve(best.parameters.as_slice(), index)?;
            let grid = Grid::new(
                &pilot,
                &strip.usable.x,
                &joint.whiten,
                strip.first_step_row(),
            );
            nodes.push(grid.draws(&round.whitened, &places, &mut rng));
            grids.push(grid);
        }
        Some(Self {
            parameters,
            nodes,
            grids,
        })
    }

    /// The curve of a strip in a draw, with its discrepancy.
    pub(crate) fn curve(&self, joint: &Joint, draw: usize, strip: usize) -> Option<Drawn<'_>> {
        let parameters = self.parameters.column(draw);
        Some(Drawn {
            curve: joint.curve(parameters.as_slice(), strip)?,
            grid: &self.grids[strip],
            nodes: self.nodes[strip].column(draw),
        })
    }
}

/// A curve drawn from the posterior: the formula and the discrepancy from it.
pub(crate) struct Drawn<'a> {
    pub(crate) curve: Curve,
    grid: &'a Grid,
    nodes: nalgebra::DVectorView<'a, f64>,
}

impl Drawn<'_> {
    /// Log exposure where the net density is reached.
    pub(crate) fn x_at(&self, net_density: f64) -> f64 {
        let x = self.curve.x_at(net_density);
        if x.is_finite() {
            self.moved(x, net_density)
        } else {
            x
        }
    }

    /// Log exposure of the shoulder end.
    pub(crate) fn shoulder_x(&self) -> f64 {
        let net_density = super::model::SHOULDER_SHARE * self.curve.net;
        self.moved(self.curve.shoulder_x(), net_density)
    }

    /// Density at a log exposure.
    pub(crate) fn density(&self, x: f64) -> f64 {
        let net = self.curve.net_density(x);
        let delta = discrepancy::amplitude(net, self.curve.net) * self.grid.at(self.nodes, x);
        self.curve.dmin + net + delta
    }

    /// The place of a point of the formula on the real curve, to first order.
    fn moved(&self, x: f64, net_density: f64) -> f64 {
        let amplitude = discrepancy::amplitude(net_density, self.curve.net);
        let delta = amplitude * self.grid.at(self.nodes, x);
        x - (delta / self.curve.slope(x)).clamp(-MOST_SHIFT, MOST_SHIFT)
    }
}
