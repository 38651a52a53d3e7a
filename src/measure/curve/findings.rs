//! What should be told about one strip's steps and fit.

use statrs::distribution::{ChiSquared, ContinuousCDF as _};

use super::evidence::{FEWEST_STEPS, StripEvidence};
use super::pieces::Scatter;
use super::solve::{Fitted, Outcome, Solved};
use crate::measure::analysis::Settings;
use crate::measure::estimate::Gap;
use crate::measure::finding::{Finding, Kind, Place, Weight};

/// Standard errors by which a step must be lighter than the one before it to be reported.
const CLEARLY_LIGHTER: f64 = 3.0;
/// Least drop of density that is reported: smaller ones are no use to anyone.
const LEAST_DROP: f64 = 0.03;
/// Chance of residuals this large, below which the fit is called poor.
const POOR: f64 = 0.001;

/// What a strip is called in a sentence.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(crate) enum Subject {
    Strip,
    Reference,
    Coupon,
}

impl Subject {
    pub(crate) fn name(self) -> &'static str {
        match self {
            Self::Strip => "the strip",
            Self::Reference => "the reference strip",
            Self::Coupon => "the coupon",
        }
    }
}

/// Upper-cases the first letter of a sentence.
pub(crate) fn sentence(text: &str) -> String {
    let mut letters = text.chars();
    letters.next().map_or_else(String::new, |first| {
        first.to_uppercase().chain(letters).collect()
    })
}

/// All findings about a strip.
pub(crate) fn about_strip(
    subject: Subject,
    evidence: &StripEvidence,
    solved: &Solved,
    place: usize,
    settings: &Settings,
) -> Vec<Finding> {
    let mut findings = vec![];
    not_monotone(subject, evidence, settings, &mut findings);
    match (solved.outcomes[place], &solved.fitted) {
        (Outcome::Fitted(strip), Some(fitted)) => {
            speed_bracket(subject, evidence, fitted, strip, &mut findings);
            range_bracket(subject, evidence, fitted, strip, &mut findings);
            poor_fit(subject, evidence, fitted, strip, &mut findings);
        }
        (Outcome::Unfitted(gap, _), _) => findings.push(unfitted(subject, evidence, gap, settings)),
        (Outcome::Fitted(_), None) => {
            findings.push(unfitted(subject, evidence, Gap::NotMeasured, settings));
        }
    }
    findings
}

fn unfitted(subject: Subject, evidence: &StripEvidence, gap: Gap, settings: &Settings) -> Finding {
    let name = subject.name();
    let place = Place::strip(evidence.strip);
    let weight = Weight::Blocking;
    match gap {
        Gap::TooFewSteps => {
            let count = usable_steps(evidence, settings);
            Finding {
                kind: Kind::TooFewSteps,
                weight,
                place,
                seen: sentence(&format!(
                    "{name} has {count} usable steps; a curve needs {FEWEST_STEPS} or more."
                )),
                matters: "No curve can be fitted, so there is no answer from this strip.".into(),
                remedy: "Expose a strip of seven to eleven steps, and leave out fewer of them."
                    .into(),
            }
        }
        Gap::NotMeasured => Finding {
            kind: Kind::PoorFit,
            weight,
            place,
            seen: sentence(&format!(
                "no curve can be laid through the steps of {name}."
            )),
            matters: "There is no answer from this strip.".into(),
            remedy: "Look at its steps on the scan: are they found where they are, and are the \
                     exposures those that were given?"
                .into(),
        },
        _ => Finding {
            kind: Kind::CriterionNotBracketed,
            weight,
            place,
            seen: sentence(&format!("the steps of {name} are all alike.")),
            matters: "They do not bracket net density 0.60, so its speed cannot be told.".into(),
            remedy: "Expose it again over a far wider span of times, with a margin that gets no \
                     light."
                .into(),
        },
    }
}

fn usable_steps(evidence: &StripEvidence, settings: &Settings) -> usize {
    let exposures = evidence.exposures();
    let reading = &evidence.reading;
    (0..reading.density.len())
        .filter(|&entry| {
            reading.density[entry].is_finite()
                && evidence.step_of(entry).is_some_and(|step| {
                    !evidence.excluded.contains(&step)
                        && exposures
                            .get(step)
                            .is_some_and(|e| e.at(settings.lag.0).is_finite())
                })
        })
        .count()
}

fn speed_bracket(
    subject: Subject,
    evidence: &StripEvidence,
    fitted: &Fitted,
    strip: usize,
    findings: &mut Vec<Finding>,
) {
    let reach = &fitted.draws[strip].reach;
    let usable = &fitted.joint.strips[strip].usable;
    let name = subject.name();
    let finding = match reach.speed_gap() {
        None => return,
        Some(Gap::AllStepsAbove) => {
            let lightest = usable.by_exposure().first().map_or(0.0, |step| step.1) - usable.base();
            Finding {
                kind: Kind::CriterionNotBracketed,
                weight: Weight::Blocking,
                place: Place::strip(evidence.strip),
                seen: sentence(&format!(
                    "every step of {name} is darker than net density 0.60; the lightest has \
                     {lightest:.2}."
                )),
                matters: "Only an upper bound can be given for the exposure it needs.".into(),
                remedy: "Expose a strip that starts with shorter times or a smaller aperture."
                    .into(),
            }
        }
        Some(_) => {
            let darkest = usable.highest_net();
            Finding {
                kind: Kind::CriterionNotBracketed,
                weight: Weight::Blocking,
                place: Place::strip(evidence.strip),
                seen: sentence(&format!(
                    "{name} does not surely reach net density 0.60: its darkest step has \
                     {darkest:.2}, and the chance that it is beyond is {:.0} %.",
                    100.0 * reach.speed_reached
                )),
                matters: "Only a lower bound can be given for the exposure it needs.".into(),
                remedy: "Expose a strip that goes on to longer times; if it stays this light, \
                         coat thicker or develop longer."
                    .into(),
            }
        }
    };
    findings.push(finding);
}

fn range_bracket(
    subject: Subject,
    evidence: &StripEvidence,
    fitted: &Fitted,
    strip: usize,
    findings: &mut Vec<Finding>,
) {
    let reach = &fitted.draws[strip].reach;
    let missing = match (reach.has_toe(), reach.has_shoulder()) {
        (true, true) => return,
        (false, true) => "do not reach the toe (net density 0.04)",
        (true, false) => "do not reach 90 % of its full density",
        (false, false) => "reach neither the toe (net density 0.04) nor 90 % of its full density",
    };
    let name = subject.name();
    let open = reach.range_gap().is_some();
    let remedy = match (reach.has_toe(), reach.has_shoulder()) {
        (false, true) => "Start the next strip with shorter times.",
        (true, _) => "Let the next strip go on to longer times.",
        (false, false) => "Let the next strip span more, to both sides.",
    };
    findings.push(Finding {
        kind: Kind::RangeNotBracketed,
        weight: if open { Weight::Caution } else { Weight::Note },
        place: Place::strip(evidence.strip),
        seen: sentence(&format!("the steps of {name} {missing}.")),
        matters: if open {
            "How far its range goes on beyond the steps can't be known: only what the steps show \
             of it is given, as a lower bound."
                .into()
        } else {
            "Its range leans on the curve's shape beyond the steps; the bounds are wider for it."
                .into()
        },
        remedy: remedy.into(),
    });
}

fn poor_fit(
    subject: Subject,
    evidence: &StripEvidence,
    fitted: &Fitted,
    strip: usize,
    findings: &mut Vec<Finding>,
) {
    let Scatter { size, chance } = fitted.scatter[strip];
    let Some(chance) = chance else {
        return;
    };
    if chance >= POOR {
        return;
    }
    findings.push(Finding {
        kind: Kind::PoorFit,
        weight: Weight::Caution,
        place: Place::strip(evidence.strip),
        seen: sentence(&format!(
            "the steps of {} scatter about the curve more than their errors explain (chance \
             {}).",
            subject.name(),
            if chance < 1e-4 {
                "under 1 in 10,000".into()
            } else {
                format!("about 1 in {:.0}", 1.0 / chance)
            }
        )),
        matters: format!(
            "So each step is taken to be off by {size:.3} D of its own, and the bounds are wider \
             for it."
        ),
        remedy: "Look at the steps farthest from the curve: were their times kept, are they \
                 clean, is the list of exposures right?"
            .into(),
    });
}

/// Chance of a sum of squares at least this large.
pub(crate) fn chance_of(sum_of_squares: f64, freedom: f64) -> Option<f64> {
    let distribution = ChiSquared::new(freedom).ok()?;
    Some(distribution.sf(sum_of_squares))
}

fn not_monotone(
    subject: Subject,
    evidence: &StripEvidence,
    settings: &Settings,
    findings: &mut Vec<Finding>,
) {
    let Some(usable) = evidence.usable(settings) else {
        return;
    };
    let skip = usize::from(usable.has_margin);
    let mut order: Vec<usize> = (0..usable.x.len()).collect();
    order.sort_by(|&a, &b| usable.x[a].total_cmp(&usable.x[b]));
    for pair in order.windows(2) {
        let (a, b) = (pair[0] + skip, pair[1] + skip);
        let drop = usable.density[a] - usable.density[b];
        let covariance = &usable.covariance;
        let variance = covariance[(a, a)] + covariance[(b, b)] - 2.0 * covariance[(a, b)];
        if drop <= LEAST_DROP || drop <= CLEARLY_LIGHTER * variance.max(0.0).sqrt() {
            continue;
        }
        let number = |entry: usize| {
            evidence
                .step_of(usable.entries[entry])
                .map_or(0, |step| step + 1)
        };
        findings.push(Finding {
            kind: Kind::NotMonotone,
            weight: Weight::Caution,
            place: Place::step(evidence.strip, number(b)),
            seen: sentence(&format!(
                "step {} of {} is lighter by {drop:.2} than step {}, which got less light.",
                number(b),
                subject.name(),
                number(a)
            )),
            matters: "One of the two is not what the exposures say; the curve runs between them."
                .into(),
            remedy: "Check the order of the series and both steps on the scan; leave out the \
                     wrong one."
                .into(),
        });
    }
}
