//! Two strips against each other.

use rayon::prelude::*;

use super::mixture::{self, Case};
use super::{Compared, PairAnswer, ReadAs, ToneContrast, answer, budget, findings, odd_step, tone};
use crate::measure::analysis::Settings;
use crate::measure::curve::{
    Fitted, KEPT, Outcome, Solved, StripDraws, StripEvidence, Subject, about_strip, mix,
    solve_strips,
};
use crate::measure::estimate::{Estimate, Gap};
use crate::measure::exposure::comparable;
use crate::measure::finding::Finding;

/// What a reference and a coupon say together, and what should be told about it.
///
/// Both curves, one lamp lag and the errors of the shared density scale are one joint
/// posterior, but for errors of the scale as large as a tone curve that is not known, of which
/// every size is solved by itself. Where a strip cannot be fitted or does not bracket the
/// criterion, the estimates are one-sided or absent with the reason. Where the evidence has other
/// readings, every joint reading with a chance worth it is solved, and the answer is their mixture.
pub fn solve(
    reference: &StripEvidence,
    coupon: &StripEvidence,
    settings: &Settings,
) -> (PairAnswer, Vec<Finding>) {
    let Compared {
        answer, findings, ..
    } = solve_readings(reference, coupon, settings);
    (answer, findings)
}

/// The same with what every joint reading would give alone.
pub fn solve_readings(
    reference: &StripEvidence,
    coupon: &StripEvidence,
    settings: &Settings,
) -> Compared {
    tone::solve_at_all([reference, coupon], settings)
}

/// The same with all errors of the scale in one posterior.
pub(super) fn solve_once(
    reference: &StripEvidence,
    coupon: &StripEvidence,
    settings: &Settings,
) -> Compared {
    let cases = mixture::cases(reference, coupon);
    let solved: Vec<Solved> = cases
        .par_iter()
        .map(|case| solve_strips(&[&case.evidence[0], &case.evidence[1]], settings))
        .collect();
    let aperture = findings::aperture_error(reference, coupon, settings);
    let mut answer = alone(&cases[0], &solved[0], aperture, settings);
    let mut readings = vec![];
    if cases.len() > 1 {
        let all = cases.iter().zip(&solved);
        readings = all
            .map(|(case, solved)| {
                let [reference, coupon] = &case.evidence;
                let mut alone = partial(solved, reference, coupon, settings);
                ratio_of(&mut alone, solved, aperture, settings);
                ReadAs {
                    chance: case.chance,
                    of: case.of,
                    stops: alone.stops,
                    ratio: alone.ratio,
                    contrast_difference: alone.contrast_difference,
                }
            })
            .collect();
        mixed(&mut answer, &cases, &solved, aperture, settings);
    }
    let [reference, coupon] = &cases[0].evidence;
    let solved = &solved[0];
    let mut all = about_strip(Subject::Reference, reference, solved, 0, settings);
    all.extend(about_strip(Subject::Coupon, coupon, solved, 1, settings));
    if solved.fitted.is_some() {
        all.extend(odd_step::odd_steps(reference, coupon, settings));
    }
    match comparable(&reference.exposures, &coupon.exposures) {
        Ok(()) => all.extend(findings::about_pair(reference, coupon, &answer, aperture)),
        Err(why) => {
            answer.withhold(Gap::LightNotSaid);
            readings.clear();
            all.push(findings::incomparable(reference, coupon, why));
        }
    }
    all.sort_by_key(|finding| std::cmp::Reverse(finding.weight));
    if mixture::is_useless(&answer, &readings) {
        answer.withhold(Gap::UncertainSteps);
    }
    Compared {
        answer,
        findings: all,
        readings,
    }
}

/// The answer from one reading of both strips.
fn alone(case: &Case, solved: &Solved, aperture: f64, settings: &Settings) -> PairAnswer {
    let [reference, coupon] = &case.evidence;
    let mut answer = partial(solved, reference, coupon, settings);
    ratio_of(&mut answer, solved, aperture, settings);
    if let Some(fitted) = both(solved) {
        let draws = [&fitted.draws[0], &fitted.draws[1]];
        tones_of(&mut answer, fitted, draws, aperture, settings);
        if let Some(spread) = answer.stops_exact_aperture.standard_error {
            answer.budget = budget::budget(&fitted.joint, &fitted.best, aperture, spread);
        }
    }
    answer
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
    let why = gap.unwrap_or(Gap::NotMeasured);
    let absent = Estimate::absent(why);
    PairAnswer {
        reference: solved.answer(0, reference, settings),
        coupon: solved.answer(1, coupon, settings),
        stops: absent,
        ratio: absent,
        stops_exact_aperture: absent,
        ratio_exact_aperture: absent,
        contrast_by_tones: ToneContrast::absent(why),
        contrast_difference: absent,
        by_tone: vec![],
        budget: vec![],
    }
}

/// The fit, when both strips are in it.
fn both(solved: &Solved) -> Option<&Fitted> {
    match solved.outcomes[..] {
        [Outcome::Fitted(0), Outcome::Fitted(1)] => solved.fitted.as_ref(),
        _ => None,
    }
}

/// A stream of its own, so that the click stops' error never follows the draws'.
fn tone_seed(settings: &Settings) -> u64 {
    settings.seed ^ 0x5eed_ab1e
}

/// Ratio and contrast difference from the draws of one fit.
fn ratio_of(answer: &mut PairAnswer, solved: &Solved, aperture: f64, settings: &Settings) {
    let Some(fitted) = &solved.fitted else {
        return;
    };
    match solved.outcomes[..] {
        [Outcome::Fitted(0), Outcome::Fitted(1)] => {
            let draws = [&fitted.draws[0], &fitted.draws[1]];
            from_draws(answer, draws, aperture, settings);
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

fn from_draws(
    answer: &mut PairAnswer,
    [reference, coupon]: [&StripDraws; 2],
    aperture: f64,
    settings: &Settings,
) {
    let values = answer::stops_of(&reference.speed, &coupon.speed);
    let wide = answer::widened(&values, aperture, tone_seed(settings));
    answer.stops = answer::stops(wide, reference, coupon);
    answer.stops_exact_aperture = answer::stops(values, reference, coupon);
    answer.contrast_difference = answer::contrast_difference(reference, coupon);
    answer.ratio = answer::ratio(&answer.stops);
    answer.ratio_exact_aperture = answer::ratio(&answer.stops_exact_aperture);
}

/// What draws say at every tone; how dark tones go is by the steps of `first`.
fn tones_of(
    answer: &mut PairAnswer,
    first: &Fitted,
    draws: [&StripDraws; 2],
    aperture: f64,
    settings: &Settings,
) {
    let strips = first.joint.strips.iter();
    let full_net = strips
        .map(|strip| strip.usable.highest_net())
        .fold(f64::INFINITY, f64::min);
    answer.by_tone = answer::by_tone(draws, full_net, aperture, tone_seed(settings));
    answer.contrast_by_tones = answer::contrast_by_tones(draws[0], draws[1]);
}

/// Puts the mixture of all readings in the place of what the first says alone.
///
/// A reading through which no pair of curves can be laid is none: what looks like steps there
/// doesn't behave like them. Where the first itself is so, its reason stands.
fn mixed(
    answer: &mut PairAnswer,
    cases: &[Case],
    solved: &[Solved],
    aperture: f64,
    settings: &Settings,
) {
    let fits: Vec<(&Fitted, f64)> = cases
        .iter()
        .zip(solved)
        .filter_map(|(case, solved)| Some((both(solved)?, case.chance)))
        .collect();
    if both(&solved[0]).is_none() || fits.len() < 2 {
        return;
    }
    let chances: Vec<f64> = fits.iter().map(|(_, chance)| *chance).collect();
    let places = mixture::shares(&chances, KEPT);
    let draws = [0, 1].map(|strip: usize| {
        let parts: Vec<(&StripDraws, &[usize])> = fits
            .iter()
            .zip(&places)
            .map(|((fitted, _), places)| (&fitted.draws[strip], &places[..]))
            .collect();
        StripDraws::mixed(&parts)
    });
    let [Some(reference), Some(coupon)] = draws else {
        return;
    };
    let parts = |strip: usize| -> Vec<_> {
        let all = fits.iter().zip(&places);
        all.map(|((fitted, _), places)| (*fitted, strip, &places[..]))
            .collect()
    };
    mix(&mut answer.reference, &reference, &parts(0));
    mix(&mut answer.coupon, &coupon, &parts(1));
    from_draws(answer, [&reference, &coupon], aperture, settings);
    tones_of(answer, fits[0].0, [&reference, &coupon], aperture, settings);
    let each: Vec<(Vec<f64>, f64)> = fits
        .iter()
        .map(|(fitted, chance)| {
            let [reference, coupon] = [0, 1].map(|strip: usize| &fitted.draws[strip].speed);
            (answer::stops_of(reference, coupon), *chance)
        })
        .collect();
    answer.budget = match (mixture::variances(&each), answer.stops.value) {
        (Some((within, between)), Some(_)) => {
            let (first, _) = fits[0];
            let own = budget::budget(&first.joint, &first.best, aperture, within.sqrt());
            budget::with_doubt(own, between)
        }
        _ => vec![],
    };
}
