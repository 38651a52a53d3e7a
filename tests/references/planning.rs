//! The print plan against the arithmetic of enlarging, focus and reciprocity as handbooks have
//! it, and against facts of the trade.

use serde::Deserialize;
use twinstrip::measure::curve::DrawnCurve;
use twinstrip::measure::exposure::Aperture;
use twinstrip::measure::plan::optics::{
    depth_of_focus, image_distance, negative_distance, throw_distance,
};
use twinstrip::measure::plan::{Basis, Choices, Origin, Piece, Plan, Recipe, Side, Throw, carry};
use twinstrip::measure::predictive::Predictive;
use twinstrip::measure::units::Seconds;

use crate::assert_digits;

#[derive(Deserialize)]
struct Arithmetic {
    enlarger: Enlarger,
    depth_of_focus: Depths,
    schwarzschild: Reciprocity,
}

#[derive(Deserialize)]
pub struct Enlarger {
    pub cases: Vec<Enlargement>,
}

#[derive(Deserialize)]
#[expect(non_snake_case, reason = "the file's own names")]
pub struct Enlargement {
    pub N1: f64,
    pub m1: f64,
    pub N2: f64,
    pub m2: f64,
    pub exposure_factor: f64,
    stops: f64,
}

#[derive(Deserialize)]
struct Depths {
    cases: Vec<Depth>,
}

#[derive(Deserialize)]
#[expect(non_snake_case, reason = "the file's own names")]
struct Depth {
    N: f64,
    m: f64,
    c_mm: f64,
    easel_total_mm: f64,
}

#[derive(Deserialize)]
struct Reciprocity {
    cases: Vec<Exponent>,
}

#[derive(Deserialize)]
struct Exponent {
    p: f64,
    needed_exposure_factor: Option<f64>,
    time_factor: f64,
    effective_stops: Option<f64>,
}

fn arithmetic() -> Arithmetic {
    serde_json::from_str(include_str!(
        "../../testdata/references/photo/photographic_arithmetic.json"
    ))
    .unwrap()
}

fn side() -> Side {
    Side {
        name: "a material".into(),
        curve: DrawnCurve::new(0.0, [(0.0, 0.0), (1.5, 1.8)]).unwrap(),
        range_bounds: None,
        times: (0.1, 1e4),
        speed_time: 10.0,
        f_number: None,
        height: None,
        by_time: true,
        reciprocity: None,
    }
}

/// Two materials of which the second needs `ratio` times the exposure.
fn basis(ratio: f64) -> Basis {
    let known = Predictive::normal(ratio.log2(), 0.05);
    Basis {
        paper: side(),
        coating: side(),
        stops: known,
        clicks: vec![],
        by_tone: vec![],
        lag: (0.0, 0.0),
        click_error: 0.1,
        pair_error: 0.05,
        paper_error: 0.01,
        piece_scatter: 0.1,
        origin: Origin::OneSession(0.0),
        drift: None,
    }
}

fn at(aperture: Aperture) -> Choices {
    Choices {
        aperture: Some(aperture),
        ..Choices::default()
    }
}

fn seconds(plan: &Plan) -> f64 {
    plan.exposure.as_ref().unwrap().time.value.unwrap()
}

/// Handbooks: testdata/references/README.md, `photo/photographic_arithmetic.json`.
#[test]
fn a_piece_at_another_magnification_and_f_number_is_exposed_as_the_handbooks_say() {
    // The piece is put where the picture has the second magnification.
    const FOCAL_LENGTH: f64 = 150.0;
    for case in arithmetic().enlarger.cases {
        let recipe = Recipe {
            throw: Throw::Magnified(case.m1),
            focal_length: Some(FOCAL_LENGTH),
            ..Recipe::straight(Seconds(10.0), Aperture::exactly(case.N1).unwrap())
        };
        let height = throw_distance(FOCAL_LENGTH, case.m1) - throw_distance(FOCAL_LENGTH, case.m2);
        let piece = Piece::flat("block", height);
        let choices = at(Aperture::exactly(case.N2).unwrap());
        let plan = carry(&recipe, &piece, &basis(1.0), &choices);
        assert_digits(seconds(&plan) / 10.0, case.exposure_factor, 12.0, "factor");
        let on_piece = plan.on_piece.unwrap();
        assert_digits(on_piece.magnification, case.m2, 12.0, "magnification");
        let by_aperture = 2.0 * (case.N2 / case.N1).log2();
        let stops = by_aperture - on_piece.stops_gained;
        assert!((stops - case.stops).abs() < 1e-12, "{stops} {}", case.stops);
    }
}

/// Handbooks, as above: the distances of the file's `image_distance`, `object_distance` and
/// `column_total`.
#[test]
fn distances_are_those_of_a_thin_lens() {
    assert_eq!(image_distance(150.0, 2.0), 450.0);
    assert_eq!(image_distance(150.0, 4.0), 750.0);
    assert_eq!(negative_distance(50.0, 8.0), 56.25);
    assert_eq!(throw_distance(50.0, 8.0), 506.25);
}

#[test]
fn depth_of_focus_is_that_of_the_handbooks_and_a_piece_fits_in_it_or_not() {
    for case in arithmetic().depth_of_focus.cases {
        let depth = depth_of_focus(case.N, case.c_mm, case.m);
        assert_digits(depth, case.easel_total_mm, 12.0, "depth of focus");
        let recipe = Recipe {
            throw: Throw::Magnified(case.m),
            ..Recipe::straight(Seconds(10.0), Aperture::exactly(case.N).unwrap())
        };
        let choices = Choices {
            blur: case.c_mm,
            ..at(Aperture::exactly(case.N).unwrap())
        };
        for (share, fits) in [(0.99, true), (1.01, false)] {
            let piece = Piece {
                rise: share * case.easel_total_mm,
                ..Piece::default()
            };
            let plan = carry(&recipe, &piece, &basis(1.0), &choices);
            let on_piece = plan.on_piece.unwrap();
            assert_digits(
                on_piece.depth_of_focus,
                case.easel_total_mm,
                12.0,
                "planned",
            );
            assert_eq!(on_piece.fits, fits);
        }
    }
}

/// K. Schwarzschild 1900, Astrophys. J. 11:89: the effect goes as I t^p.
#[test]
fn a_known_exponent_of_reciprocity_failure_is_allowed_for_on_either_material() {
    let aperture = Aperture::engraved(8.0).unwrap();
    let (mut on_coating, mut on_paper) = (0, 0);
    for case in arithmetic().schwarzschild.cases {
        let mut basis = basis(case.needed_exposure_factor.unwrap_or(1.0));
        if let Some(stops) = case.effective_stops {
            // The paper print took so many times the tested 10 s; that is worth fewer stops.
            basis.paper.reciprocity = Some(case.p);
            let recipe = Recipe::straight(Seconds(10.0 * case.time_factor), aperture);
            let plan = carry(&recipe, &Piece::default(), &basis, &at(aperture));
            let found = (seconds(&plan) / 10.0).log2();
            assert!((found - stops).abs() < 1e-12, "{found} {stops}");
            on_paper += 1;
        } else {
            basis.coating.reciprocity = Some(case.p);
            let recipe = Recipe::straight(Seconds(10.0), aperture);
            let plan = carry(&recipe, &Piece::default(), &basis, &at(aperture));
            assert_digits(seconds(&plan) / 10.0, case.time_factor, 12.0, "time");
            on_coating += 1;
        }
    }
    assert!(on_coating >= 2 && on_paper >= 2, "{on_coating} {on_paper}");
}

/// The usual series (ISO 517), testdata/references/f_numbers.csv: each full stop halves the
/// light, so the time doubles from one engraved number to the next.
#[test]
fn one_full_stop_down_doubles_the_planned_time() {
    let csv = include_str!("../../testdata/references/f_numbers.csv");
    let recipe = Recipe::straight(Seconds(4.0), Aperture::engraved(16.0).unwrap());
    let mut before: Option<f64> = None;
    let mut seen = 0;
    for line in csv.lines().filter(|line| line.starts_with("full,")) {
        let engraved: f64 = line.split(',').nth(2).unwrap().parse().unwrap();
        let choices = at(Aperture::engraved(engraved).unwrap());
        let time = seconds(&carry(&recipe, &Piece::default(), &basis(6.0), &choices));
        if let Some(before) = before {
            assert_digits(time / before, 2.0, 12.0, "a stop");
            seen += 1;
        }
        before = Some(time);
    }
    assert!(seen >= 12, "{seen}");
}

/// Common practice, no source: at ratio 6 what took 4 s at f/16 takes 24 s at f/16 or 6 s at
/// f/8, and opening two stops quarters the time.
#[test]
fn at_ratio_6_four_seconds_at_f16_are_planned_as_24_s_at_f16_or_6_s_at_f8() {
    let recipe = Recipe::read("4s at f/16").unwrap();
    let planned = |engraved: f64| {
        let choices = at(Aperture::engraved(engraved).unwrap());
        seconds(&carry(&recipe, &Piece::default(), &basis(6.0), &choices))
    };
    assert_digits(planned(16.0), 24.0, 12.0, "f/16");
    assert_digits(planned(8.0), 6.0, 12.0, "f/8");
    assert_digits(planned(5.6) / planned(2.8), 4.0, 12.0, "two stops");
}
