//! Laws of the preview that need no picture.

use super::closest::lightness;
use super::*;
use crate::measure::curve::DrawnCurve;

/// A straight line of slope 1 between its ends: what goes in can be worked out in one's head.
fn line(start: f64, dmin: f64, dmax: f64) -> TestedCurve {
    let points = (0..=40).map(|i| (start + f64::from(i) * 0.05, dmin + f64::from(i) * 0.05));
    let drawn = DrawnCurve::new(dmin, points).expect("a curve");
    TestedCurve::new(drawn, (start, start + 2.0), Some(dmax)).expect("a tested curve")
}

#[test]
fn straight_curves_shift_every_tone_by_the_exposure() {
    // The coating needs 0.6 decades (1.99 stops) more and has a base 0.1 darker.
    let tones = Tones::new(
        line(0.0, 0.05, 2.05),
        line(0.6, 0.15, 2.15),
        CoatColour::neutral(),
    );
    let stops = 0.6 / 2f64.log10();
    for print in [0.05, 0.4, 1.0, 2.0] {
        assert!((tones.density(print, stops) - (print + 0.1)).abs() < 1e-9);
        // One stop less is 0.30 lighter on a line of slope 1, down to the lightest step.
        let less = (print + 0.1 - 2f64.log10()).max(0.15);
        assert!((tones.density(print, stops - 1.0) - less).abs() < 1e-9);
    }
}

#[test]
fn a_curve_is_its_own_inverse_and_held_at_its_tested_ends() {
    let curve = line(0.0, 0.05, 2.05);
    for density in [0.06, 0.5, 1.3, 2.04] {
        let Reached::Tested(x) = curve.log_exposure(density) else {
            panic!("{density} was tested");
        };
        assert!((curve.density(x).value() - density).abs() < 1e-12);
    }
    assert_eq!(curve.log_exposure(0.01), Reached::Lighter(0.0));
    assert_eq!(curve.log_exposure(2.4), Reached::Darker(2.0));
    assert!(matches!(curve.density(-1.0), Reached::Lighter(d) if (d - 0.05).abs() < 1e-12));
    assert!(matches!(curve.density(9.0), Reached::Darker(d) if (d - 2.05).abs() < 1e-12));
}

#[test]
fn a_curve_that_was_never_tested_is_none() {
    let drawn = DrawnCurve::new(0.1, [(0.0, 0.1), (0.5, 0.5), (1.0, 0.9)]).expect("a curve");
    let tested = |ends| TestedCurve::new(drawn.clone(), ends, None);
    assert!(tested((0.0, 1.0)).is_some());
    assert!(tested((1.2, 2.0)).is_none());
    assert!(tested((f64::INFINITY, f64::NEG_INFINITY)).is_none());
}

#[test]
fn tones_are_lost_where_the_standard_ends_the_range() {
    let tones = Tones::new(
        line(0.0, 0.05, 2.05),
        line(0.0, 0.05, 2.05),
        CoatColour::neutral(),
    );
    let table = tones.table(-1.0);
    let loss = |print: f64| table.loss[usize::from(level_of_density(print))];
    // A stop less takes 0.30: net 0.30 of the print falls below net 0.04, 0.36 does not.
    assert_eq!(loss(0.05 + 0.30), Loss::Blank(true));
    assert_eq!(loss(0.05 + 0.36), Loss::None);
    assert_eq!(loss(0.06), Loss::Blank(false), "blank on the print too");
    let table = tones.table(1.0);
    let loss = |print: f64| table.loss[usize::from(level_of_density(print))];
    // 90 % of the full net density 2.0, a stop more.
    assert_eq!(loss(0.05 + 1.8 - 0.29), Loss::Blocked(true));
    assert_eq!(loss(0.05 + 1.8 - 0.32), Loss::None);
    assert_eq!(loss(1.95), Loss::Blocked(false), "blocked on the print too");
}

#[test]
fn lightness_is_that_of_the_standard() {
    // CIE 1976 L* at 100 %, 18.42 % (L* 50) and 1 % reflectance: 100, 50, 8.99 (tables of L*,
    // from memory).
    for (reflectance, right) in [(1.0f64, 100.0), (0.18419, 50.0), (0.01, 8.991)] {
        let found = lightness(-reflectance.log10());
        assert!((found - right).abs() < 0.01, "{found}");
    }
}

#[test]
fn screen_values_are_those_of_the_standard() {
    // IEC 61966-2-1: linear 0.2140 is code 127.5, 0.0031308 is 10.3 of 255.
    assert!((encoded_srgb(0.214_041_14) - 0.5).abs() < 1e-6);
    assert!((encoded_srgb(0.003_130_8) * 255.0 - 10.31).abs() < 0.01);
    assert_eq!(encoded_srgb(-1.0), 0.0);
    assert!((encoded_srgb(7.0) - 1.0).abs() < 1e-6);
}

#[test]
fn the_coats_colour_lies_between_the_tones_that_were_seen() {
    let colour = CoatColour::new(vec![
        (0.9, [1.0, 1.0, 1.0]),
        (0.1, [1.1, 1.0, 0.7]),
        (0.5, [f64::NAN, 1.0, 1.0]),
    ]);
    assert_eq!(colour.at(0.0), [1.1, 1.0, 0.7]);
    assert_eq!(colour.at(2.0), [1.0; 3]);
    let middle = colour.at(0.5);
    assert!((middle[0] - 1.05).abs() < 1e-12 && (middle[2] - 0.85).abs() < 1e-12);
    assert_eq!(CoatColour::neutral().at(0.7), [1.0; 3]);
}

#[test]
fn shares_and_what_is_told_follow_the_histogram() {
    let tones = Tones::new(
        line(0.0, 0.05, 2.05),
        line(0.6, 0.05, 2.05),
        CoatColour::neutral(),
    );
    let mut histogram = Histogram::empty();
    histogram.counts[usize::from(level_of_density(0.0))] = 10;
    histogram.counts[usize::from(level_of_density(0.2))] = 30;
    histogram.counts[usize::from(level_of_density(1.0))] = 60;
    // Without more exposure the coating loses 0.6: 0.2 goes blank, and beyond its first step.
    let found = shares(&tones, &tones.table(0.0), &histogram);
    assert!((found.blank - 0.4).abs() < 1e-12 && (found.blank_lost - 0.3).abs() < 1e-12);
    assert!((found.beyond_paper - 0.1).abs() < 1e-12);
    assert!((found.beyond_coat - 0.3).abs() < 1e-12);
    assert_eq!((found.blocked, found.blocked_lost), (0.0, 0.0));
    let told = findings(&found);
    assert_eq!(told.len(), 2);
    assert!(told[0].seen.contains("10 %") && told[1].seen.contains("30 %"));
    assert!(closest(&tones, &Histogram::empty(), None).is_none());
}
