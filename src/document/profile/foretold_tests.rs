use super::tests::{at_other_apertures, sample};
use super::*;
use crate::document::planning::basis_of_profile;
use crate::measure::plan::{Choices, Piece, Recipe, carry};
use crate::measure::pool::Settled;

fn grown(sessions: impl IntoIterator<Item = Evidence>) -> Profile {
    let named = Profile::named("slates");
    sessions
        .into_iter()
        .fold(named, |profile, one| profile.with(one))
}

/// Eight sessions, each 0.1 stop slower than the one before: the mean of all lies 0.45 stop under
/// the next, where the plan went until now.
#[test]
fn a_plan_follows_a_material_that_gets_slower_from_session_to_session() {
    let drifting = grown((1..=8).map(|number| sample(number, 2.5 + 0.1 * f64::from(number))));
    let foretold = drifting.foretold().unwrap();
    let drift = foretold.drift.unwrap();
    assert!((drift.next_change.unwrap() - 0.1).abs() < 0.02, "{drift:?}");
    assert!((foretold.next.centre - 3.4).abs() < 0.05, "{foretold:?}");
    let basis = basis_of_profile(&drifting).unwrap();
    let recipe = Recipe::read("10s at f/16").unwrap();
    let plan = carry(&recipe, &Piece::default(), &basis, &Choices::default());
    let told = |finding: &crate::measure::finding::Finding| finding.seen.contains("gets slower");
    assert!(plan.findings.iter().any(told), "{:?}", plan.findings);
    let stops = plan.exposure.unwrap().stops.value.unwrap();
    assert!((stops - 3.4).abs() < 0.05, "{stops}");
}

#[test]
fn after_a_step_the_plan_goes_by_the_sessions_that_are_like_the_newest() {
    let stepped = grown((1..=8).map(|number| {
        let slower = if number > 4 { 0.7 } else { 0.0 };
        sample(number, 2.5 + slower + 0.01 * f64::from(number % 3))
    }));
    let foretold = stepped.foretold().unwrap();
    assert_eq!(foretold.sessions, [4, 5, 6, 7]);
    let drift = foretold.drift.unwrap();
    assert_eq!((drift.trusted, drift.of, drift.next_change), (4, 8, None));
    assert!((foretold.next.centre - 3.21).abs() < 0.05, "{foretold:?}");
    // Without an alarm all count.
    let steady = grown((1..=8).map(|number| sample(number, 2.5 + 0.01 * f64::from(number % 3))));
    let foretold = steady.foretold().unwrap();
    assert_eq!((foretold.drift, foretold.sessions.len()), (None, 8));
}

/// Four sessions at f/16 and f/8 share the error of two click stops, 1.96 x 0.1 = 0.196 stop to
/// either side. One more at f/16 and f/5.6 shares the paper's stop with them. Until now it made the
/// shared error vanish (0.198 became 0.065, and settled).
#[test]
fn one_session_at_another_aperture_does_not_make_the_shared_click_stops_vanish() {
    let stops = |profile: &Profile| {
        let pool = ProfilePool::of(profile, None);
        pool.quantity(Quantity::Stops).unwrap().clone()
    };
    let four = grown((1..=4).map(|number| at_other_apertures(number, 8.0)));
    let alone = stops(&four).pooled.unwrap().mean.half_width().unwrap();
    assert!(alone > 0.196, "{alone}");
    // More light for the same tones is a slower coat, so that this one agrees with the four.
    let mut fifth = sample(5, 2.55 - 2.0 * (8.0 / 5.6f64).log2());
    fifth.strips[1].exposures.f_number = 5.6;
    fifth.answer = fifth.recompute();
    let ratio = |one: &Evidence| one.answer.stops.value.unwrap();
    let apart = ratio(&fifth) - ratio(&at_other_apertures(5, 8.0));
    assert!(apart.abs() < 0.01, "{apart}");
    let odd = four.with(fifth);
    let pooled = stops(&odd).pooled.unwrap();
    let half = pooled.mean.half_width().unwrap();
    assert!(half > 0.16 && half < alone, "{half}");
    assert!(
        matches!(pooled.settled, Settled::Never { .. }),
        "{pooled:?}"
    );
    // Printed at the tested apertures the stops meet themselves in the plan.
    let basis = basis_of_profile(&four).unwrap();
    let sum = |wanted: f64| -> f64 {
        let mine = basis.clicks.iter().filter(|(at, _)| *at == wanted);
        mine.map(|(_, weight)| weight).sum()
    };
    assert!((sum(16.0) - 1.0).abs() < 1e-9 && (sum(8.0) + 1.0).abs() < 1e-9);
}

/// Six sessions that agree, and pieces 0.1 stop apart: their sum was called a wider Student t, ±0.43
/// stop, where the convolution is half of that.
#[test]
fn the_scatter_of_pieces_does_not_get_the_tails_of_the_sessions() {
    let six = grown((1..=6).map(|number| sample(number, 2.5 + 0.004 * f64::from(number % 3))));
    let basis = basis_of_profile(&six).unwrap();
    let recipe = Recipe::read("10s at f/16").unwrap();
    let plan = carry(&recipe, &Piece::default(), &basis, &Choices::default());
    let half = plan.exposure.unwrap().stops.half_width().unwrap();
    assert!((0.196..0.26).contains(&half), "{half}");
}

/// The coat's strip as thick as the piece, 40 mm: the light that it gained is in its steps. With the
/// heights said the ratio is that of the materials, and a plan counts the gain once: 0.58 stop.
#[test]
fn a_height_is_counted_once_when_the_session_says_how_high_the_strips_lay() {
    let said = |height: f64| {
        let mut one = sample(1, 2.5);
        for (strip, height) in one.strips.iter_mut().zip([0.0, height]) {
            strip.exposures.magnification = Some(2.5);
            strip.exposures.focal_length = Some(80.0);
            strip.exposures.height = Some(height);
        }
        one.answer = one.recompute();
        one
    };
    let ratio = |one: &Evidence| one.answer.stops.value.unwrap();
    let (flat, thick) = (said(0.0), said(40.0));
    assert!((ratio(&thick) - ratio(&flat) - 0.5793).abs() < 0.01);
    let plan = |one: &Evidence| {
        let basis = basis_of_profile(&grown([one.clone()])).unwrap();
        let recipe = Recipe::read("10s at f/16, magnified 2.5x, lens 80mm").unwrap();
        let piece = Piece::flat("slate", 40.0);
        let choices = Choices {
            aperture: Some(recipe.aperture),
            ..Choices::default()
        };
        let plan = carry(&recipe, &piece, &basis, &choices);
        plan.exposure.unwrap().time.value.unwrap().log2()
    };
    // What the same strips say when the thick coupon is taken for a flat one: the gain twice.
    assert!((plan(&thick) - plan(&flat) - 0.5793).abs() < 0.01);
}

#[test]
fn a_magnification_of_one_strip_alone_is_refused_and_no_ratio_given() {
    let mut one = sample(1, 2.5);
    one.strips[0].exposures.magnification = Some(4.0);
    let (answer, findings) =
        crate::measure::compare::solve(&one.strips[0], &one.strips[1], &one.settings);
    assert_eq!(answer.stops.value, None);
    let told = |finding: &&crate::measure::finding::Finding| {
        finding
            .seen
            .contains("`magnification` is said of one of the two strips only")
    };
    assert!(
        findings.iter().any(|finding| told(&finding)),
        "{findings:?}"
    );
}
