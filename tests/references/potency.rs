//! A relative potency with its interval: two substances on mustard (Sinapis alba), data of
//! Christensen, Teicher & Streibig 2003, recomputed with general statistics packages.
//!
//! A substance that needs more dose for the same effect is our coupon that needs more light:
//! log10 of the relative potency is the log of the speed ratio. Both curves go through the
//! characteristic curve's formula and derivatives and the one driver, limits shared, each with
//! its own range and place, and the covariance gives the interval.

use nalgebra::DVector;
use serde::Deserialize;
use statrs::distribution::{ContinuousCDF as _, StudentsT};
use twinstrip::measure::curve::model::Curve;
use twinstrip::measure::least_squares::{Care, minimise};

use crate::assert_digits;
use crate::dose_response::{ANCHOR, LOGISTIC, NO_DOSE, half_way};
use crate::our_curves::{OurCurves, whole};

/// Places of Dmin, ln net, ln range and anchor of either curve among the six parameters.
const PLACES: [[usize; 4]; 2] = [[0, 1, 2, 3], [0, 1, 4, 5]];

fn own(parameters: &[f64], curve: usize) -> [f64; 4] {
    PLACES[curve].map(|place| parameters[place])
}

#[derive(Deserialize)]
struct Reference {
    #[serde(rename = "Salba")]
    mustard: Models,
}

#[derive(Deserialize)]
struct Models {
    common_cd_separate_b: Model,
}

#[derive(Deserialize)]
struct Model {
    rss: f64,
    df: f64,
    t975: f64,
    log10_rel_potency: Potency,
    #[serde(rename = "e_A")]
    first: f64,
    #[serde(rename = "e_B")]
    second: f64,
    log10_range_10_90: Range,
}

#[derive(Deserialize)]
struct Potency {
    estimate: f64,
    se: f64,
    wald_ci95: [f64; 2],
}

#[derive(Deserialize)]
struct Range {
    #[serde(rename = "difference_B_minus_A")]
    difference: f64,
    se_difference: f64,
}

#[test]
fn the_relative_potency_and_its_interval_agree_with_statistics_packages() {
    let csv = include_str!("../../testdata/references/dose_response/Salba.csv");
    let data: Vec<(usize, f64, f64)> = csv
        .lines()
        .skip(1)
        .map(|line| {
            let cells: Vec<&str> = line.split(',').collect();
            let dose: f64 = cells[0].parse().unwrap();
            let x = if dose > 0.0 { dose.log10() } else { NO_DOSE };
            let curve = usize::from(cells[1] == "Glyphosate");
            (curve, x, -cells[2].parse::<f64>().unwrap())
        })
        .collect();
    assert_eq!(data.len(), 68);
    let json = include_str!("../../testdata/references/dose_response/ll4_reference.json");
    let Reference { mustard } = serde_json::from_str(json).unwrap();
    let right = mustard.common_cd_separate_b;
    let start = vec![-4.0, 3f64.ln(), 80f64.ln(), 1.4, 100f64.ln(), 1.7];
    let problem = OurCurves {
        rows: data,
        places: PLACES
            .map(|places| LOGISTIC.map(|(own, place)| (own, places[place])))
            .to_vec(),
        anchor: ANCHOR,
    };
    let fit = minimise(&problem, &DVector::from_vec(start), Care::EXACT).unwrap();
    assert_digits(fit.sum_of_squares(), right.rss, 9.0, "sum of squares");

    let parameters = fit.parameters.as_slice();
    let [(first, first_by), (second, second_by)] =
        [0, 1].map(|curve| half_way(&own(parameters, curve)));
    assert_digits(10f64.powf(first), right.first, 7.0, "dose of the first");
    assert_digits(10f64.powf(second), right.second, 7.0, "dose of the second");
    let ratio = second - first;
    let potency = right.log10_rel_potency;
    assert_digits(ratio, potency.estimate, 7.0, "log relative potency");

    let covariance = fit.unit_covariance().unwrap() * (fit.sum_of_squares() / right.df);
    let error = |by: &DVector<f64>| by.dot(&(&covariance * by)).sqrt();
    let mut by = DVector::zeros(6);
    for own in 0..4 {
        by[PLACES[1][own]] += second_by[own];
        by[PLACES[0][own]] -= first_by[own];
    }
    assert_digits(error(&by), potency.se, 6.0, "its standard error");
    let t = StudentsT::new(0.0, 1.0, right.df)
        .unwrap()
        .inverse_cdf(0.975);
    assert_digits(t, right.t975, 9.0, "t");
    assert_digits(
        ratio - t * error(&by),
        potency.wald_ci95[0],
        6.0,
        "lower bound",
    );
    assert_digits(
        ratio + t * error(&by),
        potency.wald_ci95[1],
        6.0,
        "upper bound",
    );

    // The contrast difference of this example: decades from 10 to 90 % of the effect.
    let range = |parameters: &[f64], curve: usize| {
        let curve = Curve::new(&whole(&LOGISTIC, &own(parameters, curve)), ANCHOR).unwrap();
        curve.x_at(0.9 * curve.net) - curve.x_at(0.1 * curve.net)
    };
    let difference = |parameters: &[f64]| range(parameters, 1) - range(parameters, 0);
    let known = right.log10_range_10_90;
    assert_digits(
        difference(parameters),
        known.difference,
        6.0,
        "difference of the ranges",
    );
    let by = DVector::from_vec(crate::slopes(parameters, &difference));
    assert_digits(error(&by), known.se_difference, 6.0, "its standard error");
}
