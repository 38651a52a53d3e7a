//! Twelve recipes worked by hand from the formulas of docs/planning.md, to 0.01 stop:
//! testdata/recipes/by-hand.json shows the working.

use serde_json::Value;
use twinstrip::measure::curve::DrawnCurve;
use twinstrip::measure::exposure::Aperture;
use twinstrip::measure::plan::{Aim, Basis, Choices, Origin, Piece, Recipe, Side, carry};
use twinstrip::measure::predictive::Predictive;

const BY_HAND: &str = include_str!("../../testdata/recipes/by-hand.json");
/// What the working is good to, stops.
const TOLERANCE: f64 = 0.01;

/// A straight curve of this slope that begins at a log exposure.
fn straight(from: f64, slope: f64, net: f64) -> DrawnCurve {
    let points = (0..=40).map(|at| {
        let share = f64::from(at) / 40.0;
        (from + share * net / slope, share * net)
    });
    DrawnCurve::new(0.0, points).unwrap()
}

fn side(name: &str, curve: DrawnCurve) -> Side {
    Side {
        name: name.into(),
        curve,
        range_bounds: None,
        times: (1.0, 200.0),
        speed_time: 10.0,
        f_number: Some(8.0),
        // The law's scale of light; by time the curve itself would be one of time.
        by_time: false,
        height: None,
        reciprocity: None,
    }
}

fn basis(lag: f64) -> Basis {
    let ratio: f64 = 6.0;
    Basis {
        paper: side("paper", straight(0.0, 2.0, 2.0)),
        coating: side("slate", straight(0.3 + ratio.log10() - 0.48, 1.25, 1.6)),
        stops: Predictive::normal(ratio.log2(), 0.05),
        clicks: vec![],
        by_tone: vec![],
        lag: (lag, 0.0),
        click_error: 0.1,
        pair_error: 0.05,
        paper_error: 0.01,
        piece_scatter: 0.1,
        origin: Origin::OneSession(0.0),
        drift: None,
    }
}

#[test]
fn twelve_recipes_come_out_as_worked_by_hand() {
    let worked: Value = serde_json::from_str(BY_HAND).unwrap();
    let recipes = worked["recipes"].as_array().unwrap();
    assert_eq!(recipes.len(), 12);
    for one in recipes {
        let name = one["name"].as_str().unwrap();
        let number = |word: &str| one[word].as_f64();
        let recipe = Recipe::read(one["recipe"].as_str().unwrap()).unwrap();
        let basis = basis(number("lag").unwrap_or(0.0)).knowing_reciprocity(number("reciprocity"));
        let aperture = number("aperture").map(|engraved| Aperture::engraved(engraved).unwrap());
        let choices = Choices {
            aperture: Some(aperture.unwrap_or(recipe.aperture)),
            aim: match one["aim"].as_str() {
                Some("highlights") => Aim::Highlights,
                _ => Aim::SpeedPoint,
            },
            ..Choices::default()
        };
        let piece = Piece::flat("slate", number("height").unwrap_or(0.0));
        let plan = carry(&recipe, &piece, &basis, &choices);
        let time = plan.exposure.as_ref().unwrap().time.value.unwrap();
        let off = (time / number("time").unwrap()).log2().abs();
        assert!(off < TOLERANCE, "{name}: {time} s, {off} stops off");
        let change = &one["change"];
        if change.is_null() {
            assert!(plan.changes.is_empty(), "{name}");
            continue;
        }
        let found = &plan.changes[0];
        assert_eq!(found.way.word(), change["way"].as_str().unwrap(), "{name}");
        let stops = change["stops"].as_f64().unwrap();
        assert!((found.stops - stops).abs() < TOLERANCE, "{name}: {found:?}");
        let seconds = change["time"].as_f64().unwrap();
        let total = |change: f64| {
            let base = time - basis.lag.0;
            let signed = if found.way.word() == "burn" {
                change
            } else {
                -change
            };
            (base + signed).log2()
        };
        let lag = if found.way.word() == "burn" {
            basis.lag.0
        } else {
            0.0
        };
        let off = (total(found.time - lag) - total(seconds)).abs();
        assert!(off < TOLERANCE, "{name}: {} s, {off} stops off", found.time);
    }
}
