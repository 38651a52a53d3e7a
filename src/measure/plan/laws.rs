//! Laws that every plan keeps, and facts of the trade.

use crate::measure::curve::DrawnCurve;
use proptest::prelude::*;

use super::basis::PIECE_SCATTER;
use super::*;
use crate::measure::exposure::Aperture;
use crate::measure::predictive::Predictive;
use crate::measure::units::Seconds;

/// A curve that rises along a cubic from net 0 to `net` between two log exposures.
pub(super) fn curve(from: f64, to: f64, net: f64) -> DrawnCurve {
    let points = (0..=80).map(|at| {
        let share = f64::from(at) / 80.0;
        let rise = share * share * (3.0 - 2.0 * share);
        (from + (to - from) * share, 0.08 + net * rise)
    });
    DrawnCurve::new(0.08, points).unwrap()
}

pub(super) fn side(name: &str, curve: DrawnCurve) -> Side {
    Side {
        name: name.into(),
        curve,
        range_bounds: None,
        times: (1.0, 1000.0),
        speed_time: 10.0,
        f_number: Some(16.0),
        height: None,
        by_time: true,
        reciprocity: None,
    }
}

/// A coating of this ratio; `softer` stretches its curve.
pub(super) fn basis(ratio: f64, softer: f64) -> Basis {
    let paper = curve(0.0, 1.4, 1.9);
    let middle = paper.speed_point().unwrap();
    let stretched = curve(0.0, 1.4 * softer, 1.7);
    let moved = ratio.log10() + middle - stretched.speed_point().unwrap();
    let coating = curve(moved, moved + 1.4 * softer, 1.7);
    Basis {
        paper: side("warm paper", paper),
        coating: side("slate", coating),
        stops: Predictive::normal(ratio.log2(), 0.1),
        clicks: vec![(16.0, -1.0), (16.0, 1.0)],
        by_tone: vec![],
        lag: (0.0, 0.0),
        click_error: 0.1,
        pair_error: 0.05,
        paper_error: 0.01,
        piece_scatter: PIECE_SCATTER,
        origin: Origin::OneSession(0.0),
        drift: None,
    }
}

pub(super) fn at(engraved: f64) -> Choices {
    Choices {
        aperture: Some(Aperture::engraved(engraved).unwrap()),
        ..Choices::default()
    }
}

pub(super) fn seconds(plan: &Plan) -> f64 {
    plan.exposure.as_ref().unwrap().time.value.unwrap()
}

/// Common practice, no source: at ratio 6, 4 s at f/16 become 24 s at f/16 or 6 s at f/8;
/// opening two stops quarters the time.
#[test]
fn at_ratio_6_four_seconds_at_f16_become_24_s_at_f16_or_6_s_at_f8() {
    let recipe = Recipe::read("4s at f/16").unwrap();
    let flat = Piece::default();
    for (engraved, right) in [(16.0, 24.0), (8.0, 6.0)] {
        let plan = carry(&recipe, &flat, &basis(6.0, 1.0), &at(engraved));
        assert!((seconds(&plan) - right).abs() < 1e-9, "f/{engraved}");
    }
}

#[test]
fn one_aperture_for_all_has_no_click_error_and_the_tested_two_have_none_either() {
    let click = |paper: f64, coating: f64, tested: (f64, f64)| {
        let recipe = Recipe::straight(Seconds(10.0), Aperture::engraved(paper).unwrap());
        let mut basis = basis(4.0, 1.0);
        let exact = |engraved: f64| Aperture::engraved(engraved).unwrap().exact;
        basis.clicks = vec![(exact(tested.1), -1.0), (exact(tested.0), 1.0)];
        let plan = carry(&recipe, &Piece::default(), &basis, &at(coating));
        plan.exposure
            .unwrap()
            .doubts
            .iter()
            .find(|doubt| doubt.what == "click stops")
            .map_or(0.0, |doubt| doubt.stops)
    };
    assert_eq!(click(16.0, 16.0, (16.0, 16.0)), 0.0);
    assert_eq!(click(16.0, 8.0, (16.0, 8.0)), 0.0);
    assert!((click(16.0, 8.0, (16.0, 16.0)) - 0.1).abs() < 1e-12);
    assert!((click(16.0, 16.0, (16.0, 8.0)) - 0.1).abs() < 1e-12);
    assert!((click(16.0, 8.0, (8.0, 16.0)) - 0.2).abs() < 1e-12);
    assert!((click(11.0, 5.6, (16.0, 8.0)) - 0.1 * 2f64.sqrt()).abs() < 1e-12);
}

/// The law of Schwarzschild: four times the exposure at p = 0.9 takes 4.666 times as long
/// (testdata/references/photo/photographic_arithmetic.json).
#[test]
fn beyond_the_tested_time_a_known_exponent_lengthens_the_exposure() {
    let mut basis = basis(4.0, 1.0);
    basis.coating.reciprocity = Some(0.9);
    // Tested about 10 s; by the ratio alone the coating would need 40 s.
    let recipe = Recipe::read("10s at f/16").unwrap();
    let plan = carry(&recipe, &Piece::default(), &basis, &at(16.0));
    assert!((seconds(&plan) / 10.0 - 4.666_116).abs() < 1e-5);
}

#[test]
fn the_aperture_is_opened_when_the_time_gets_too_long_for_a_hand() {
    let recipe = Recipe::read("20s at f/16").unwrap();
    let plan = carry(
        &recipe,
        &Piece::default(),
        &basis(16.0, 1.0),
        &Choices::default(),
    );
    let exposure = plan.exposure.as_ref().unwrap();
    let time = seconds(&plan);
    assert!((4.0..=60.0).contains(&time), "{time}");
    assert!(exposure.aperture.exact < 16.0);
    assert!(
        exposure.why.contains("longer than 60 s"),
        "{}",
        exposure.why
    );
    // With time to spare nothing is changed.
    let easy = Recipe::read("10s at f/16").unwrap();
    let plan = carry(
        &easy,
        &Piece::default(),
        &basis(3.0, 1.0),
        &Choices::default(),
    );
    assert_eq!(plan.exposure.unwrap().f_number, "f/16");
}

#[test]
fn a_coat_far_too_hard_or_soft_for_the_print_cannot_be_printed() {
    let recipe = Recipe::read("10s at f/16, tones 0.05 to 1.7").unwrap();
    for (softer, kind, words) in [
        (
            0.5,
            "contrast-too-high",
            "contrast too high for this negative",
        ),
        (
            1.8,
            "contrast-too-low",
            "contrast too low for this negative",
        ),
    ] {
        let mut basis = basis(4.0, softer);
        let (low, high) = basis.coating.curve.range();
        let range = 100.0 * (high - low);
        basis.coating.range_bounds = Some((range - 5.0, range + 5.0));
        let plan = carry(&recipe, &Piece::default(), &basis, &at(16.0));
        assert!(!plan.printable());
        let first = &plan.findings[0];
        assert_eq!(serde_json::to_value(first.kind).unwrap(), kind);
        assert!(first.seen.contains(words), "{}", first.seen);
        // Nobody says which tones matter: then it is only a caution.
        let bare = Recipe::read("10s at f/16").unwrap();
        assert!(carry(&bare, &Piece::default(), &basis, &at(16.0)).printable());
    }
    assert!(carry(&recipe, &Piece::default(), &basis(4.0, 1.0), &at(16.0)).printable());
}

#[test]
fn a_tone_that_the_coat_does_not_reach_is_told_with_the_part_that_needs_it() {
    let recipe = Recipe::read("10s at f/16\nburn hull: 1 stop, to 1.85").unwrap();
    let plan = carry(&recipe, &Piece::default(), &basis(4.0, 1.0), &at(16.0));
    assert!(!plan.changes[0].reached);
    assert!(plan.findings.iter().any(|f| f.seen.contains("`hull`")));
}

#[test]
fn without_a_focal_length_a_high_piece_is_said_to_be_planned_as_if_flat() {
    let recipe = Recipe::read("10s at f/16, magnified 4x").unwrap();
    let high = Piece::flat("block", 40.0);
    let plan = carry(&recipe, &high, &basis(4.0, 1.0), &at(16.0));
    assert!((seconds(&plan) - 40.0).abs() < 1e-9);
    assert!(
        plan.findings
            .iter()
            .any(|f| f.seen.contains("focal length"))
    );
    // Raising the head needs no focal length.
    let raised = Choices {
        head: HeadMove::RaisedByHeight,
        ..at(16.0)
    };
    let plan = carry(&recipe, &high, &basis(4.0, 1.0), &raised);
    assert!(
        plan.findings
            .iter()
            .all(|f| !f.seen.contains("focal length"))
    );
    assert_eq!(plan.on_piece.unwrap().size, 1.0);
}

/// Changes in stops with tones that both curves reach, without ends beyond the toe.
fn some_changes() -> impl Strategy<Value = Vec<Change>> {
    let one = (any::<bool>(), 0.05..2.5f64, 0.05..1.5f64).prop_map(|(burn, stops, net)| Change {
        way: if burn { Way::Burn } else { Way::Dodge },
        name: "part".into(),
        amount: Amount::Stops(stops),
        grade: None,
        tone: Some(Tone::Net(net)),
    });
    prop::collection::vec(one, 0..4)
}

proptest! {
    #![proptest_config(ProptestConfig { failure_persistence: None, ..ProptestConfig::default() })]

    #[test]
    fn planning_there_and_back_returns_the_recipe(
        time in 2.0..120.0f64,
        ratio in 0.5..40.0f64,
        softer in 0.6..1.8f64,
        height in -20.0..120.0f64,
        m in 4.0..12.0f64,
        lag in 0.0..0.5f64,
        exponents in (0.8..1.0f64, 0.8..1.0f64),
        apertures in (0usize..5, 0usize..5),
        aim in prop::sample::select(vec![
            Aim::SpeedPoint, Aim::Highlights, Aim::Shadows, Aim::Net(0.9), Aim::WholeScale,
        ]),
        changes in some_changes(),
    ) {
        let stops = [5.6, 8.0, 11.0, 16.0, 22.0];
        let mut there = basis(ratio, softer);
        there.lag = (lag, 0.02);
        there.paper.reciprocity = Some(exponents.0);
        there.coating.reciprocity = Some(exponents.1);
        there.by_tone = [0.2, 0.6, 1.0]
            .iter()
            .map(|&net| there.tone_shift(net).unwrap())
            .collect();
        let recipe = Recipe {
            throw: Throw::Magnified(m),
            focal_length: Some(80.0),
            changes,
            ..Recipe::straight(Seconds(time), Aperture::engraved(stops[apertures.0]).unwrap())
        };
        let choose = |aperture: usize| Choices { aim, ..at(stops[aperture]) };
        let plan = carry(&recipe, &Piece::flat("slate", height), &there, &choose(apertures.1));
        let carried = Recipe {
            throw: Throw::Magnified(plan.on_piece.unwrap().magnification),
            changes: recipe.changes.iter().zip(&plan.changes).map(|(change, carried)| Change {
                way: carried.way,
                amount: Amount::Stops(carried.stops),
                ..change.clone()
            }).collect(),
            ..Recipe {
                aperture: Aperture::engraved(stops[apertures.1]).unwrap(),
                ..Recipe { base: vec![Burst { time: Seconds(seconds(&plan)), grade: Grade::default() }], ..recipe.clone() }
            }
        };
        let back = carry(
            &carried,
            &Piece::flat("paper", -height),
            &there.reversed(),
            &choose(apertures.0),
        );
        prop_assert!((seconds(&back) / time - 1.0).abs() < 1e-9, "{} {time}", seconds(&back));
        let on_paper = back.on_piece.unwrap().magnification;
        prop_assert!((on_paper / m - 1.0).abs() < 1e-9, "{on_paper} {m}");
        for (change, back) in recipe.changes.iter().zip(&back.changes) {
            let Amount::Stops(stops) = change.amount else { unreachable!() };
            prop_assert!((back.stops / stops - 1.0).abs() < 1e-6, "{back:?} {stops}");
            prop_assert_eq!(back.way, change.way);
        }
    }

    #[test]
    fn a_piece_of_zero_height_changes_nothing(
        time in 1.0..60.0f64,
        m in 0.5..15.0f64,
        ratio in 0.5..40.0f64,
    ) {
        let bare = Recipe::straight(Seconds(time), Aperture::engraved(8.0).unwrap());
        let known = Recipe {
            throw: Throw::Magnified(m),
            focal_length: Some(50.0),
            ..bare.clone()
        };
        let basis = basis(ratio, 1.0);
        let without = carry(&bare, &Piece::default(), &basis, &at(8.0));
        let with = carry(&known, &Piece::flat("slate", 0.0), &basis, &at(8.0));
        prop_assert_eq!(seconds(&with), seconds(&without));
        let on_piece = with.on_piece.unwrap();
        prop_assert_eq!((on_piece.size, on_piece.stops_gained, on_piece.refocus), (1.0, 0.0, false));
    }

    #[test]
    fn more_height_never_lengthens_the_time(
        m in 1.0..15.0f64,
        f in 30.0..150.0f64,
        heights in (-100.0..200.0f64, -100.0..200.0f64),
    ) {
        let recipe = Recipe {
            throw: Throw::Magnified(m),
            focal_length: Some(f),
            ..Recipe::straight(Seconds(10.0), Aperture::engraved(8.0).unwrap())
        };
        let time = |height: f64| {
            let plan = carry(&recipe, &Piece::flat("slate", height), &basis(4.0, 1.0), &at(8.0));
            plan.exposure.and_then(|exposure| exposure.time.value)
        };
        let (low, high) = (heights.0.min(heights.1), heights.0.max(heights.1));
        // A piece too near for any focus has no time.
        if let (Some(low), Some(high)) = (time(low), time(high)) {
            prop_assert!(high <= low + 1e-12);
        }
    }

}

/// The bracket against draws.
fn share_of_hits(need: &Predictive, scatter: f64, tolerance: f64, exposures: &[f64]) -> f64 {
    use rand::SeedableRng as _;
    use rand_distr::{Distribution as _, StandardNormal};
    let mut rng = rand_chacha::ChaCha8Rng::seed_from_u64(5);
    let mut draw = move || -> f64 { StandardNormal.sample(&mut rng) };
    let hits = (0..SIMULATED_DAYS)
        .filter(|_| {
            let day = need.centre + need.scale * draw();
            exposures
                .iter()
                .any(|exposure| (day + scatter * draw() - exposure).abs() <= tolerance)
        })
        .count();
    hits as f64 / SIMULATED_DAYS as f64
}

/// Days drawn: the share of hits has a standard error of at most 0.008.
const SIMULATED_DAYS: usize = 4000;
/// Four of these, so that of 32 cases none fails by chance (0.2 %).
const MONTE_CARLO_ERROR: f64 = 4.0 * 0.008;

proptest! {
    // Each case searches two brackets and draws thousands of days.
    #![proptest_config(ProptestConfig { failure_persistence: None, cases: 32, ..ProptestConfig::default() })]

    #[test]
    fn a_brackets_chance_grows_with_pieces_and_is_the_simulated_one(
        scale in 0.02..0.6f64,
        scatter in 0.0..0.3f64,
        tolerance in 0.05..0.4f64,
        pieces in 1usize..6,
    ) {
        let need = Predictive::normal(0.0, scale);
        let (exposures, chance) = bracket::best(&need, scatter, tolerance, pieces);
        let (_, more) = bracket::best(&need, scatter, tolerance, pieces + 1);
        prop_assert!(more >= chance - 1e-6, "{more} {chance}");
        let simulated = share_of_hits(&need, scatter, tolerance, &exposures);
        prop_assert!((simulated - chance).abs() <= MONTE_CARLO_ERROR, "{simulated} {chance}");
        prop_assert!((bracket::chance(&need, scatter, tolerance, &exposures) - chance).abs() < 1e-6);
    }
}
