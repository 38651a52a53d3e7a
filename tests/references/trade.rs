//! The arithmetic of the darkroom: f-numbers, magnification, stops, and two facts of the trade.

use serde::Deserialize;
use twinstrip::measure::estimate::{End, Estimate};
use twinstrip::measure::exposure::{Aperture, Exposures, Series};
use twinstrip::measure::units::{DECADES_PER_STOP, Seconds, Stops};

use crate::assert_digits;
use crate::planning::Enlarger;

#[test]
fn every_engraved_f_number_stands_for_the_exact_one_of_its_series() {
    let csv = include_str!("../../testdata/references/f_numbers.csv");
    let mut seen = 0;
    for line in csv.lines().skip(1) {
        let cells: Vec<&str> = line.split(',').collect();
        let (engraved, exact): (f64, f64) = (cells[2].parse().unwrap(), cells[3].parse().unwrap());
        // Two numbers stand in two series with different meanings; docs/session-file.md says
        // which is meant.
        let other = match (cells[0], cells[2]) {
            ("third", "1.2") | ("half", "13") => continue,
            _ => Aperture::engraved(engraved).unwrap(),
        };
        // The table prints ten decimals.
        assert!((other.exact - exact).abs() < 1e-9, "f/{engraved}");
        seen += 1;
    }
    assert!(seen > 50, "{seen}");
}

/// One burst at an f-number and a magnification, without lag.
fn exposure(seconds: f64, f_number: f64, magnification: Option<f64>) -> f64 {
    let exposures = Exposures {
        series: Series::List {
            times: vec![Seconds(seconds)],
        },
        f_number,
        magnification,
        filter_density: None,
        height: None,
        focal_length: None,
    };
    exposures.log_exposures(0.0)[0]
}

#[derive(Deserialize)]
struct Arithmetic {
    stops_and_logs: StopsAndLogs,
    enlarger: Enlarger,
    test_strip_times: StripTimes,
}

#[derive(Deserialize)]
struct StopsAndLogs {
    one_stop_log10: f64,
    density_0_30_in_stops: f64,
    log10_1_0_in_stops: f64,
    third_stop_factor: f64,
}

#[derive(Deserialize)]
struct StripTimes {
    cases: Vec<Times>,
}

#[derive(Deserialize)]
struct Times {
    base_s: f64,
    step_stops: f64,
    cumulative: Vec<f64>,
    increments: Vec<f64>,
}

fn arithmetic() -> Arithmetic {
    serde_json::from_str(include_str!(
        "../../testdata/references/photo/photographic_arithmetic.json"
    ))
    .unwrap()
}

#[test]
fn f_number_and_magnification_cost_light_as_the_handbooks_say() {
    let cases = arithmetic().enlarger.cases;
    assert!(cases.len() >= 6);
    for case in cases {
        let before = exposure(1.0, case.N1, Some(case.m1));
        let after = exposure(case.exposure_factor, case.N2, Some(case.m2));
        assert!((before - after).abs() < 1e-12, "{before} {after}");
    }
}

#[test]
fn stops_decades_and_filter_densities_are_the_same_thing_in_other_units() {
    let right = arithmetic().stops_and_logs;
    assert_digits(DECADES_PER_STOP, right.one_stop_log10, 14.0, "a stop");
    let stops = Stops::from_decades(0.3).0;
    assert_digits(stops, right.density_0_30_in_stops, 12.0, "0.3 D");
    let stops = Stops::from_decades(1.0).0;
    assert_digits(stops, right.log10_1_0_in_stops, 12.0, "a decade");
    let third = exposure(right.third_stop_factor, 8.0, None) - exposure(1.0, 8.0, None);
    assert_digits(third, DECADES_PER_STOP / 3.0, 12.0, "a third of a stop");
}

#[test]
fn times_in_stops_and_bursts_that_build_up_to_them_are_one_series() {
    let cases = arithmetic().test_strip_times.cases;
    assert!(cases.len() >= 2);
    for case in cases {
        let in_stops = Series::InStops {
            first: Seconds(case.base_s),
            stops: case.step_stops,
            steps: case.cumulative.len(),
        };
        let building_up = Series::BuildingUp {
            bursts: case.increments.iter().map(|&time| Seconds(time)).collect(),
        };
        for ((one, other), right) in in_stops
            .doses()
            .iter()
            .zip(building_up.doses())
            .zip(&case.cumulative)
        {
            assert_digits(one.total.0, *right, 12.0, "in stops");
            assert_digits(other.total.0, *right, 12.0, "building up");
        }
    }
}

/// Common practice, no source: log2 5.8 is 2.54 stops.
#[test]
fn a_coating_5_8_times_slower_is_2_54_stops_slower() {
    let stops = Stops::from_decades(5.8f64.log10()).0;
    assert!((stops - 2.54).abs() < 0.005, "{stops}");
    let as_found = Estimate {
        value: Some(stops),
        standard_error: Some(0.05),
        lower: End::At(stops - 0.1),
        upper: End::At(stops + 0.1),
    };
    let ratio = as_found.map(f64::exp2, 0.0);
    assert_digits(ratio.value.unwrap(), 5.8, 12.0, "the factor");
}

/// Common practice, no source: at ratio 6, what paper needs 4 s at f/16 for takes the coating
/// 24 s at f/16 or 6 s at f/8.
#[test]
fn at_ratio_6_four_seconds_at_f16_are_24_s_at_f16_or_6_s_at_f8() {
    let paper = exposure(4.0, Aperture::engraved(16.0).unwrap().exact, None);
    for (seconds, engraved) in [(24.0, 16.0), (6.0, 8.0)] {
        let f_number = Aperture::engraved(engraved).unwrap().exact;
        let coating = exposure(seconds, f_number, None);
        assert_digits(10f64.powf(coating - paper), 6.0, 12.0, "the ratio");
    }
}
