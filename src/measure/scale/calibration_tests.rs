//! A pretended scanner with haze and a tone curve of its own, whose truth is known.

use super::calibration::*;
use super::reuse::drift;
use super::{DensityScale as _, standard_error};
use crate::measure::raster::Channel;

/// What the scanner shows of a density: haze of 0.4 % and an exponent of 0.97.
fn shown(density: f64) -> f64 {
    -0.97 * (0.996 * 10f64.powf(-density) + 0.004).log10()
}

/// Errors of a list as people print them: fixed, about 0.004 D.
fn list_error(number: usize) -> f64 {
    [0.003, -0.004, 0.001, 0.005, -0.002, -0.005, 0.004][number % 7]
}

/// A calibration from scans whose level is off by so much, of a wedge up to 2.05 D in steps of
/// 0.1, read no darker than `darkest`.
fn calibration(levels: &[f64], darkest: f64) -> Calibration {
    let mut fields = Vec::new();
    for (scan, level) in levels.iter().enumerate() {
        for number in 0..21 {
            let density = 0.05 + 0.1 * number as f64;
            fields.push(SeenField {
                scan,
                number,
                listed: density + list_error(number),
                scanner: (shown(density) + level).min(darkest),
                error: 3e-4,
                surround: 0.5,
            });
        }
    }
    Calibration {
        scanner: "flatbed".into(),
        settings: String::new(),
        made: "2026-11-25".into(),
        uncertainty: 0.005,
        scans: Vec::new(),
        channels: vec![SeenChannel {
            channel: Channel::Luminance,
            stray: (0.002, 0.001),
            fields,
        }],
    }
}

fn fit(calibration: &Calibration) -> CalibrationFit {
    calibration.fit(Channel::Luminance).unwrap()
}

#[test]
fn densities_come_back_within_a_few_standard_errors_of_the_curve() {
    let fit = fit(&calibration(&[0.0], 9.0));
    for tenth in 1..=20 {
        let density = f64::from(tenth) / 10.0;
        let s = shown(density);
        let error = fit.scale.density(s) - density;
        assert!(
            error.abs() < 3.0 * fit.scale.curve_error(s),
            "{density}: {error}"
        );
        assert!(error.abs() < 0.006, "{density}: {error}");
    }
    assert!(fit.leave_one_out < 0.008 && !fit.another_list);
    assert_eq!(fit.stops, (false, false));
}

#[test]
fn a_field_left_out_is_foretold_as_by_a_fit_without_it() {
    let whole = calibration(&[0.0], 9.0);
    let all = fit(&whole);
    for number in [5, 11, 16] {
        let mut without = whole.clone();
        without.channels[0]
            .fields
            .retain(|field| field.number != number);
        let field = all.fields[number];
        let foretold = fit(&without).scale.density(field.scanner) - field.listed;
        // The shortcut keeps the size of the departure that was likeliest with all fields.
        assert!(
            (foretold - field.left_out.unwrap()).abs() < 1e-3,
            "{number}: {foretold}"
        );
    }
}

#[test]
fn where_the_scanner_shows_one_black_for_several_the_usable_range_ends() {
    let fit = fit(&calibration(&[0.0], shown(1.5)));
    // Fields of 1.55 D and more read as 1.5.
    assert!(fit.stops.0 && !fit.stops.1);
    assert!((fit.usable.1 - 1.45).abs() < 0.11, "{}", fit.usable.1);
    let s = shown(1.2);
    assert!((fit.scale.density(s) - 1.2).abs() < 0.01);
    assert!(fit.fields.last().unwrap().left_out.is_none());
}

#[test]
fn scans_of_another_level_are_brought_together_and_tell_how_much_levels_differ() {
    let one = fit(&calibration(&[0.0], 9.0));
    let several = fit(&calibration(&[0.02, -0.02, 0.01, -0.01], 9.0));
    for (a, b) in one.fields.iter().zip(&several.fields) {
        assert!((a.scanner - b.scanner).abs() < 1e-9);
        assert!(b.error < a.error);
    }
    // (3 x 0.01^2 + 0.001) / 6, and the mean's own part.
    let level = ((3e-4 + 1e-3) / 6.0 * 1.25f64).sqrt();
    assert!((several.level - level).abs() < 1e-9, "{}", several.level);
}

#[test]
fn a_changed_level_is_drift_and_a_small_one_is_not() {
    let made = calibration(&[0.0], 9.0);
    let fit = fit(&made);
    let later = |level: f64| calibration(&[level], 9.0).channels.remove(0).fields;
    let small = drift(&fit, &later(0.004), 0.005).unwrap();
    assert!(!small.is_real(), "{small:?}");
    let large = drift(&fit, &later(0.05), 0.005).unwrap();
    assert!(
        large.is_real() && (large.mean - 0.05).abs() < 0.02,
        "{large:?}"
    );
    assert_eq!(drift(&fit, &[], 0.005), None);
}

#[test]
fn what_gives_no_curve_says_why() {
    let made = calibration(&[0.0], 9.0);
    assert_eq!(
        made.fit(Channel::Red).unwrap_err(),
        CalibrationGap::NoChannel(Channel::Red)
    );
    assert_eq!(
        calibration(&[0.0], shown(0.1))
            .fit(Channel::Luminance)
            .unwrap_err(),
        CalibrationGap::TooFew(2)
    );
}

#[test]
fn fields_that_read_differently_from_scan_to_scan_tell_the_repeat_error_and_widen_the_bounds() {
    let steady = calibration(&[0.0, 0.004, -0.004, 0.0], 9.0);
    let mut shaky = steady.clone();
    // Every field by 0.006 up and down, in an order that no level explains.
    for field in &mut shaky.channels[0].fields {
        let up = (field.number + field.scan).is_multiple_of(2);
        field.scanner += if up { 0.006 } else { -0.006 };
    }
    let (steady, shaky) = (fit(&steady), fit(&shaky));
    assert!(steady.repeats.iter().all(|repeat| repeat.error < 1e-6));
    for repeat in &shaky.repeats {
        // 0.006 about the mean of four is 0.0069 of the scanner's with three degrees of freedom a
        // field; where stray light flattens the scale that is more density.
        let slope = shaky.scale.slope(shown(repeat.density));
        assert!((repeat.error / slope - 0.0069).abs() < 0.0008, "{repeat:?}");
    }
    let error = |of: &CalibrationFit| standard_error(&of.scale, 1.0);
    assert!(error(&shaky) > error(&steady).hypot(0.0055));
    assert!(fit(&calibration(&[0.0], 9.0)).repeats.is_empty());
}
