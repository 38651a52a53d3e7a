//! Two strips against each other.

use super::{PairAnswer, answer, budget, findings};
use crate::measure::analysis::Settings;
use crate::measure::curve::{Outcome, Solved, StripEvidence, Subject, about_strip, solve_strips};
use crate::measure::estimate::{Estimate, Gap};
use crate::measure::finding::Finding;

/// What a reference and a coupon say together, and what should be told about it.
///
/// Both curves, one lamp lag and the errors of the shared density scale are one joint
/// posterior. Where a strip cannot be fitted or does not bracket the criterion, the estimates
/// are one-sided or absent with the reason.
pub fn solve(
    reference: &StripEvidence,
    coupon: &StripEvidence,
    settings: &Settings,
) -> (PairAnswer, Vec<Finding>) {
    let solved = solve_strips(&[reference, coupon], settings);
    let aperture = findings::aperture_error(reference, coupon, settings);
    let mut answer = partial(&solved, reference, coupon, settings);
    fill(&mut answer, &solved, aperture, settings);
    let mut all = about_strip(Subject::Reference, reference, &solved, 0, settings);
    all.extend(about_strip(Subject::Coupon, coupon, &solved, 1, settings));
    all.extend(findings::about_pair(reference, coupon, &answer, aperture));
    all.sort_by_key(|finding| std::cmp::Reverse(finding.weight));
    (answer, all)
}

/// The curves, and no comparison yet.
fn partial(
    solved: &Solved,
    reference: &StripEvidence,
    coupon: &StripEvidence,
    settings: &Settings,
) -> PairAnswer {
    let gap = solved
        .outcomes
        .iter()
        .rev()
        .find_map(|outcome| match outcome {
            Outcome::Unfitted(gap, _) => Some(*gap),
            Outcome::Fitted(_) => None,
        });
    let absent = Estimate::absent(gap.unwrap_or(Gap::NotMeasured));
    PairAnswer {
        reference: solved.answer(0, reference, settings),
        coupon: solved.answer(1, coupon, settings),
        stops: absent,
        ratio: absent,
        stops_exact_aperture: absent,
        ratio_exact_aperture: absent,
        contrast_difference: absent,
        by_tone: vec![],
        budget: vec![],
    }
}

fn fill(answer: &mut PairAnswer, solved: &Solved, aperture: f64, settings: &Settings) {
    let Some(fitted) = &solved.fitted else {
        return;
    };
    match solved.outcomes[..] {
        [Outcome::Fitted(0), Outcome::Fitted(1)] => {
            let [reference, coupon] = [&fitted.draws[0], &fitted.draws[1]];
            let values = answer::stops_of(&reference.speed, &coupon.speed);
            // A stream of its own, so that the click stops' error never follows the draws'.
            let seed = settings.seed ^ 0x5eed_ab1e;
            let wide = answer::widened(&values, aperture, seed);
            answer.stops = answer::stops(wide, reference, coupon);
            answer.stops_exact_aperture = answer::stops(values, reference, coupon);
            answer.contrast_difference = answer::contrast_difference(reference, coupon);
            answer.by_tone = answer::by_tone(&fitted.joint, &fitted.posterior, aperture, seed);
            if let Some(spread) = answer.stops_exact_aperture.standard_error {
                answer.budget = budget::budget(&fitted.joint, &fitted.best, aperture, spread);
            }
        }
        [Outcome::Fitted(0), Outcome::Unfitted(_, Some(in_vain))] => {
            let reference = &fitted.draws[0];
            answer.stops = answer::stops_beyond(in_vain, reference, aperture);
            answer.stops_exact_aperture = answer::stops_beyond(in_vain, reference, 0.0);
        }
        _ => {}
    }
    answer.ratio = answer::ratio(&answer.stops);
    answer.ratio_exact_aperture = answer::ratio(&answer.stops_exact_aperture);
}
