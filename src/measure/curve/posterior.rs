//! Draws from the joint posterior of the curves.
//!
//! Strip by strip, and then together: a proposal for all parameters at once would waste one
//! strip's good draws on the other's bad ones. First each strip's parameters are drawn by adaptive
//! importance sampling, the errors that the strips share (the density scale's, the lamp lag)
//! held at their most probable values. Then draws of the strips are joined in random pairs, each
//! with a draw of the shared errors; the parameters move along as far as the linearised fit says,
//! and a weight puts right what that leaves out. The same seed gives the same draws.

use nalgebra::{DMatrix, DVector, DVectorView};
use rand::{Rng as _, SeedableRng as _, seq::SliceRandom as _};
use rand_chacha::ChaCha8Rng;
use rayon::prelude::*;

use super::fit::{Best, Joint};
use super::importance::{Proposal, Round, SIDE_BY_SIDE};
use super::model::Curve;
use super::target::{Shared, StripTarget};

/// Draws of the rounds that only move the proposal.
const ADAPTING: [usize; 2] = [500, 800];
/// Draws of the last round of a strip.
const LAST: usize = 2500;
/// Rounds added at most when the effective sample size is short.
const EXTRA_ROUNDS: usize = 3;
/// Effective sample size, as a share of the draws, that needs no further round.
const ENOUGH: f64 = 0.12;
/// Laplace's covariance is widened by this for the first proposal.
const WIDER: f64 = 1.2;
/// Joined draws.
const JOINED: usize = 3000;
/// Equally weighted draws that are kept.
pub(crate) const KEPT: usize = 2000;

/// Equally weighted draws; those of one number belong together in all strips.
#[derive(Debug)]
pub(crate) struct Posterior {
    strips: Vec<StripPosterior>,
    /// Lamp lag of every draw, seconds.
    lag: Vec<f64>,
}

#[derive(Debug)]
struct StripPosterior {
    target: StripTarget,
    curves: Vec<Curve>,
    /// Warp at the nodes of the strip's grid: one column a draw.
    nodes: DMatrix<f64>,
}

/// Draws of one strip's parameters, the shared errors at their most probable values.
fn of_strip(
    target: &StripTarget,
    errors: &DVectorView<'_, f64>,
    lag: f64,
    rng: &mut ChaCha8Rng,
) -> Option<Round> {
    let given = target.given(errors, lag);
    let round = |proposal: &Proposal, count: usize, rng: &mut ChaCha8Rng| {
        proposal.round(
            count,
            rng,
            || target.work(),
            |parameters, work| target.log_density(parameters, &given, work),
        )
    };
    let mut proposal = Proposal::new(target.mode.clone(), &target.covariance * WIDER)?;
    for count in ADAPTING {
        if let Some(next) = round(&proposal, count, rng)?.next() {
            proposal = next;
        }
    }
    let mut found = round(&proposal, LAST, rng)?;
    for _ in 0..EXTRA_ROUNDS {
        if found.effective >= ENOUGH * LAST as f64 {
            break;
        }
        let Some(proposal) = found.next() else { break };
        let another = round(&proposal, LAST, rng)?;
        if another.effective > found.effective {
            found = another;
        }
    }
    Some(found)
}

/// The strips' draws joined in pairs, or what else there are, with draws of the shared errors.
struct Joined {
    /// The shared errors with their weights.
    errors: Round,
    /// Parameters of every strip: one column a draw.
    parameters: Vec<DMatrix<f64>>,
    /// Turned residuals of every strip.
    turned: Vec<DMatrix<f64>>,
}

fn joined(
    joint: &Joint,
    targets: &[StripTarget],
    mode: &DVector<f64>,
    rng: &mut ChaCha8Rng,
) -> Option<Joined> {
    let count = mode.len();
    let lag_of = |errors: &DVectorView<'_, f64>| joint.lag.0 + joint.lag.1 * errors[count - 1];
    let mut precision = DMatrix::identity(count, count);
    for target in targets {
        precision += &target.says;
    }
    let proposal = Proposal::new(mode.clone(), precision.cholesky()?.inverse())?;
    let (errors, mut logs) = proposal.draws(JOINED, rng);
    for (log, errors) in logs.iter_mut().zip(errors.column_iter()) {
        *log -= 0.5 * errors.norm_squared();
    }
    let mut away = errors.clone();
    for mut column in away.column_iter_mut() {
        column -= mode;
    }
    let at_mode = mode.column(0);
    let mut parameters = vec![];
    let mut turned = vec![];
    for target in targets {
        let own = of_strip(target, &at_mode, lag_of(&at_mode), rng)?;
        let mut places = own.resampled(JOINED, rng);
        places.shuffle(rng);
        let mut moved = own.parameters.select_columns(&places);
        moved.gemm(1.0, &target.moves, &away, 1.0);
        let mut residuals = DMatrix::zeros(target.rows(), JOINED);
        let found: Vec<f64> = residuals
            .as_mut_slice()
            .par_chunks_mut(target.rows())
            .enumerate()
            .with_min_len(SIDE_BY_SIDE)
            .map_init(
                || target.work(),
                |work, (draw, out)| {
                    let errors = errors.column(draw);
                    let parameters = moved.column(draw);
                    let lag = lag_of(&errors);
                    target.log_density_at(parameters.as_slice(), &errors, lag, work, out)
                        - own.target[places[draw]]
                },
            )
            .collect();
        for (log, found) in logs.iter_mut().zip(found) {
            *log += found;
        }
        parameters.push(moved);
        turned.push(residuals);
    }
    Some(Joined {
        errors: Round::new(errors, vec![], &logs)?,
        parameters,
        turned,
    })
}

impl Posterior {
    /// Draws from the posterior of a fit; `None` when the fit gives no proposal.
    pub(crate) fn sample(joint: &Joint, best: &Best, seed: u64) -> Option<Self> {
        let mut rng = ChaCha8Rng::seed_from_u64(seed);
        let shared = Shared::of(joint);
        let mode = shared.mode(joint, best);
        let targets = (0..joint.strips.len())
            .map(|strip| StripTarget::new(joint, best, strip, &shared))
            .collect::<Option<Vec<_>>>()?;
        let joined = joined(joint, &targets, &mode, &mut rng)?;
        let places = joined.errors.resampled(KEPT, &mut rng);
        let lag = places
            .iter()
            .map(|&place| {
                joint.lag.0 + joint.lag.1 * joined.errors.parameters[(mode.len() - 1, place)]
            })
            .collect();
        let strips = targets
            .into_iter()
            .zip(joined.parameters.iter().zip(&joined.turned))
            .map(|(target, (parameters, turned))| {
                StripPosterior::new(target, parameters, turned, &places, &mut rng)
            })
            .collect::<Option<Vec<_>>>()?;
        Some(Self { strips, lag })
    }

    /// Count of draws.
    pub(crate) fn len(&self) -> usize {
        self.lag.len()
    }

    /// Lamp lag of a draw, seconds.
    pub(crate) fn lag(&self, draw: usize) -> f64 {
        self.lag[draw]
    }

    /// The curve of a strip in a draw, with its warp.
    pub(crate) fn curve(&self, draw: usize, strip: usize) -> Drawn<'_> {
        let own = &self.strips[strip];
        let count = own.target.grid.len();
        Drawn {
            curve: own.curves[draw],
            target: &own.target,
            nodes: &own.nodes.as_slice()[draw * count..(draw + 1) * count],
        }
    }
}

impl StripPosterior {
    fn new(
        target: StripTarget,
        parameters: &DMatrix<f64>,
        turned: &DMatrix<f64>,
        places: &[usize],
        rng: &mut ChaCha8Rng,
    ) -> Option<Self> {
        let curves = places
            .iter()
            .map(|&place| target.curve(parameters.column(place).as_slice()))
            .collect::<Option<Vec<_>>>()?;
        let mut nodes = DMatrix::zeros(target.grid.len(), places.len());
        let mut w = DVector::zeros(target.grid.len());
        for (mut column, &place) in nodes.column_iter_mut().zip(places) {
            let turned = turned.column(place);
            let size = target.size_at(turned.as_slice(), rng.random());
            target.grid.draw(size, &turned, &mut w, rng);
            column.copy_from(&w);
        }
        Some(Self {
            target,
            curves,
            nodes,
        })
    }
}

/// A curve drawn from the posterior: the formula and the warp of its log exposure.
pub(crate) struct Drawn<'a> {
    pub(crate) curve: Curve,
    target: &'a StripTarget,
    nodes: &'a [f64],
}

impl Drawn<'_> {
    /// Log exposure where the net density is reached.
    pub(crate) fn x_at(&self, net_density: f64) -> f64 {
        self.warped(self.curve.x_at(net_density))
    }

    /// Log exposure of the shoulder end.
    pub(crate) fn shoulder_x(&self) -> f64 {
        self.warped(self.curve.shoulder_x())
    }

    /// Density at a log exposure.
    pub(crate) fn density(&self, x: f64) -> f64 {
        self.curve.density(x + self.target.grid.at(self.nodes, x))
    }

    /// x with x + w(x) = `formula`: put in twice.
    fn warped(&self, formula: f64) -> f64 {
        if !formula.is_finite() {
            return formula;
        }
        let grid = &self.target.grid;
        let once = formula - grid.at(self.nodes, formula);
        formula - grid.at(self.nodes, once)
    }
}
