//! From evidence to fitted strips with their draws.

use rayon::prelude::*;

use super::CurveAnswer;
use super::answer;
use super::evidence::{StripEvidence, Usable};
use super::findings::{self, Subject};
use super::fit::{Best, Joint};
use super::model::SPEED_NET;
use super::pieces::{self, Scatter};
use super::points::StripDraws;
use super::posterior::Posterior;
use crate::measure::analysis::Settings;
use crate::measure::estimate::{End, Gap};
use crate::measure::finding::Finding;

/// Highest net density that still counts as a strip without tone.
const FLAT: f64 = 0.10;
/// Standard errors that the highest net density must stand above nothing.
const CLEAR: f64 = 5.0;

/// What became of one strip.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(crate) enum Outcome {
    /// It is this strip of the joint fit.
    Fitted(usize),
    /// It could not be fitted; how far it was exposed in vain (decades), if that is known.
    Unfitted(Gap, Option<f64>),
}

/// Strips fitted together.
#[derive(Debug)]
pub(crate) struct Fitted {
    pub(crate) joint: Joint,
    pub(crate) best: Best,
    pub(crate) posterior: Posterior,
    pub(crate) draws: Vec<StripDraws>,
    /// How far the steps of each strip lie off its curve.
    pub(crate) scatter: Vec<Scatter>,
}

impl Fitted {
    /// Places of all draws.
    pub(crate) fn all_draws(&self) -> Vec<usize> {
        (0..self.posterior.len()).collect()
    }
}

/// What became of all strips.
#[derive(Debug)]
pub(crate) struct Solved {
    pub(crate) outcomes: Vec<Outcome>,
    pub(crate) fitted: Option<Fitted>,
}

fn sort_out(evidence: &StripEvidence, settings: &Settings) -> Result<Usable, Outcome> {
    let Some(usable) = evidence.usable(settings) else {
        return Err(Outcome::Unfitted(Gap::TooFewSteps, None));
    };
    let net = usable.highest_net();
    let worst = usable.covariance.diagonal().max().sqrt();
    if net > FLAT && net > CLEAR * worst {
        return Ok(usable);
    }
    // Without a margin a strip that is dark all over looks like one that is light all over.
    let light = usable.has_margin && net + CLEAR * worst < SPEED_NET;
    Err(if light {
        Outcome::Unfitted(Gap::AllStepsBelow, Some(usable.x_span().1))
    } else {
        Outcome::Unfitted(Gap::MostlyPrior, None)
    })
}

fn fit(usables: Vec<Usable>, settings: &Settings) -> Option<Fitted> {
    let scattered: Vec<_> = usables
        .par_iter()
        .map(|usable| pieces::scattered(usable, settings))
        .collect();
    let (usables, scatter) = scattered.into_iter().map(|s| (s.usable, s.scatter)).unzip();
    let mut joint = Joint::new(usables, settings.lag, settings.priors)?;
    let best = joint.solve()?;
    let posterior = Posterior::sample(&joint, &best, settings.seed)?;
    let draws = (0..joint.strips.len())
        .into_par_iter()
        .map(|strip| StripDraws::new(&joint, &posterior, strip))
        .collect();
    Some(Fitted {
        joint,
        best,
        posterior,
        draws,
        scatter,
    })
}

/// Fits all strips that can be fitted, together.
pub(crate) fn solve_strips(evidences: &[&StripEvidence], settings: &Settings) -> Solved {
    let mut usables = vec![];
    let mut outcomes: Vec<Outcome> = evidences
        .iter()
        .map(|evidence| match sort_out(evidence, settings) {
            Ok(usable) => {
                usables.push(usable);
                Outcome::Fitted(usables.len() - 1)
            }
            Err(outcome) => outcome,
        })
        .collect();
    let fitted = if usables.is_empty() {
        None
    } else {
        fit(usables, settings)
    };
    if fitted.is_none() {
        for outcome in &mut outcomes {
            if let Outcome::Fitted(_) = outcome {
                *outcome = Outcome::Unfitted(Gap::NotMeasured, None);
            }
        }
    }
    Solved { outcomes, fitted }
}

impl Solved {
    /// The answer for one of the strips.
    pub(crate) fn answer(
        &self,
        place: usize,
        evidence: &StripEvidence,
        settings: &Settings,
    ) -> CurveAnswer {
        match (self.outcomes[place], &self.fitted) {
            (Outcome::Fitted(strip), Some(fitted)) => answer::fitted(evidence, fitted, strip),
            (Outcome::Unfitted(gap, in_vain), _) => {
                let mut answer = answer::unfitted(evidence, settings.lag.0, gap);
                if let Some(x) = in_vain {
                    answer.speed_point.lower = End::At(x);
                }
                answer
            }
            (Outcome::Fitted(_), None) => {
                answer::unfitted(evidence, settings.lag.0, Gap::NotMeasured)
            }
        }
    }
}

/// The curve of a strip on its own, with bounds, and what should be told about it.
///
/// The lamp lag and the error of the density scale count as unknown like everything else.
pub fn solve_one(evidence: &StripEvidence, settings: &Settings) -> (CurveAnswer, Vec<Finding>) {
    let solved = solve_strips(&[evidence], settings);
    let answer = solved.answer(0, evidence, settings);
    let findings = findings::about_strip(Subject::Strip, evidence, &solved, 0, settings);
    (answer, findings)
}
