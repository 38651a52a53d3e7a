//! Several comparisons at once: the examples that come with R's functions, and its tables.

use std::collections::BTreeMap;

use nalgebra::{DMatrix, DVector};
use serde::Deserialize;
use twinstrip::measure::coatings::{
    Among, Bound, Values, dunnett, dunnett_below, studentised_range, studentised_range_below,
    together,
};
use twinstrip::measure::pool::{holm, student_two_sided};

use crate::assert_digits;

const MULTIPLE: &str = include_str!("../../testdata/references/stats/multiple_comparisons.json");
const OZONE: &str = include_str!("../../testdata/references/stats/airquality_ozone.csv");
/// The table of the studentised range prints five decimals.
const PRINTED: f64 = 0.6e-5;
/// Digits of intervals and chances by R, whose own integrals stop at about ten.
const INTERVALS: f64 = 6.0;
/// Dunnett's figures are quasi-Monte Carlo to about a thousandth.
const DUNNETT: f64 = 1e-3;

#[derive(Deserialize)]
struct Multiple {
    #[serde(rename = "PlantGrowth")]
    plants: Plants,
    warpbreaks: Warp,
    airquality_holm: Adjusted,
    p_adjust: Adjust,
    #[serde(rename = "qtukey_0.95")]
    table: BTreeMap<usize, BTreeMap<u32, f64>>,
}

#[derive(Deserialize)]
struct Plants {
    groups: Groups,
    mse: f64,
    df: f64,
    tukey95: Vec<Tukey>,
    holm_pooled_t: BTreeMap<String, f64>,
    dunnett_single_step: DunnettStep,
}

#[derive(Deserialize)]
struct Groups {
    ctrl: Vec<f64>,
    trt1: Vec<f64>,
    trt2: Vec<f64>,
}

#[derive(Deserialize)]
struct Tukey {
    diff: f64,
    lwr: f64,
    upr: f64,
    p_adj: f64,
}

#[derive(Deserialize)]
struct DunnettStep {
    p: [f64; 2],
    quantile95: f64,
}

#[derive(Deserialize)]
struct Warp {
    breaks: Vec<f64>,
    wool: Vec<String>,
    tension: Vec<String>,
    mse: f64,
    df: f64,
    tukey95_tension: Vec<Tukey>,
}

#[derive(Deserialize)]
struct Adjusted {
    adjusted: BTreeMap<String, f64>,
}

#[derive(Deserialize)]
struct Adjust {
    p: Vec<f64>,
    holm: Vec<f64>,
}

fn multiple() -> Multiple {
    serde_json::from_str(MULTIPLE).unwrap()
}

fn mean(values: &[f64]) -> f64 {
    values.iter().sum::<f64>() / values.len() as f64
}

/// Means of groups with the variance of one observation.
fn means(groups: &[Vec<f64>], variance: f64, freedom: f64) -> Values {
    let count = groups.len();
    let errors = groups.iter().map(|group| variance / group.len() as f64);
    Values {
        values: DVector::from_iterator(count, groups.iter().map(|group| mean(group))),
        covariance: DMatrix::from_diagonal(&DVector::from_iterator(count, errors)),
        freedom,
        own_freedom: vec![],
    }
}

fn holds(values: &Values, right: &[Tukey]) {
    let found = together(values, &Among::AllPairs);
    assert_eq!(found.bound, Bound::StudentisedRange);
    // Ours: 1-0, 2-0, 2-1, as R has them.
    for (found, right) in found.differences.iter().zip(right) {
        let (low, high) = found.difference.bounds().unwrap();
        assert_digits(
            found.difference.value.unwrap(),
            right.diff,
            10.0,
            "difference",
        );
        assert_digits(low, right.lwr, INTERVALS, "lower");
        assert_digits(high, right.upr, INTERVALS, "upper");
        assert_digits(found.p, right.p_adj, INTERVALS, "chance");
    }
}

#[test]
fn the_studentised_range_is_that_of_the_tables() {
    let mut seen = 0;
    for (&groups, row) in &multiple().table {
        for (&freedom, &right) in row {
            let found = studentised_range(0.95, groups, f64::from(freedom));
            assert!(
                (found - right).abs() < PRINTED,
                "{groups} {freedom}: {found} {right}"
            );
            let back = studentised_range_below(right, groups, f64::from(freedom));
            assert!((back - 0.95).abs() < 1e-5);
            seen += 1;
        }
    }
    assert_eq!(seen, 49);
}

#[test]
fn tukeys_intervals_of_the_plants_and_of_the_warp_are_the_published_ones() {
    let Multiple {
        plants, warpbreaks, ..
    } = multiple();
    let groups = [plants.groups.ctrl, plants.groups.trt1, plants.groups.trt2];
    holds(&means(&groups, plants.mse, plants.df), &plants.tukey95);
    // Balanced over the two wools, so the tensions' means are plain ones.
    assert_eq!(
        warpbreaks.wool.iter().filter(|wool| *wool == "A").count(),
        27
    );
    let tensions = ["L", "M", "H"].map(|tension| {
        let breaks = warpbreaks.breaks.iter().zip(&warpbreaks.tension);
        let of_tension = breaks.filter(|(_, of)| *of == tension);
        of_tension.map(|(&breaks, _)| breaks).collect::<Vec<_>>()
    });
    holds(
        &means(&tensions, warpbreaks.mse, warpbreaks.df),
        &warpbreaks.tukey95_tension,
    );
}

#[test]
fn dunnetts_comparison_of_the_plants_with_their_control_is_the_published_one() {
    let plants = multiple().plants;
    let groups = [plants.groups.ctrl, plants.groups.trt1, plants.groups.trt2];
    let values = means(&groups, plants.mse, plants.df);
    let found = together(&values, &Among::Against(0));
    assert_eq!(found.bound, Bound::AgainstOne);
    let right = plants.dunnett_single_step;
    assert!(
        (found.critical - right.quantile95).abs() < DUNNETT,
        "{}",
        found.critical
    );
    for (found, right) in found.differences.iter().zip(right.p) {
        assert!((found.p - right).abs() < DUNNETT, "{} {right}", found.p);
    }
    let half = 0.5f64.sqrt();
    let critical = dunnett(0.95, &[half, half], plants.df);
    assert!((dunnett_below(critical, &[half, half], plants.df) - 0.95).abs() < 1e-8);
}

#[test]
fn holms_steps_of_the_plants_of_the_ozone_and_of_a_plain_list_are_the_published_ones() {
    let Multiple {
        plants,
        airquality_holm,
        p_adjust,
        ..
    } = multiple();
    for (found, right) in holm(&p_adjust.p).iter().zip(&p_adjust.holm) {
        assert_digits(*found, *right, 12.0, "plain list");
    }
    let groups = [plants.groups.ctrl, plants.groups.trt1, plants.groups.trt2];
    let found = together(&means(&groups, plants.mse, plants.df), &Among::AllPairs);
    let names = ["trt1 vs ctrl", "trt2 vs ctrl", "trt2 vs trt1"];
    for (found, name) in found.differences.iter().zip(names) {
        assert_digits(found.p_holm, plants.holm_pooled_t[name], INTERVALS, name);
    }
    // Ozone by month, five groups of unequal size with one pooled deviation.
    let rows: Vec<(u32, f64)> = OZONE
        .lines()
        .skip(1)
        .filter_map(|line| {
            let (month, ozone) = line.split_once(',')?;
            Some((month.parse().ok()?, ozone.parse().ok()?))
        })
        .collect();
    let months: Vec<Vec<f64>> = (5..=9)
        .map(|month| {
            let own = rows.iter().filter(|row| row.0 == month);
            own.map(|row| row.1).collect()
        })
        .collect();
    let within: f64 = months
        .iter()
        .map(|of| of.iter().map(|v| (v - mean(of)).powi(2)).sum::<f64>())
        .sum();
    let freedom = rows.len() as f64 - 5.0;
    let values = means(&months, within / freedom, freedom);
    let found = together(&values, &Among::AllPairs);
    assert_eq!(found.bound, Bound::LargestOfAll);
    assert_eq!(found.differences.len(), 10);
    for found in &found.differences {
        let name = format!("{} vs {}", found.of + 5, found.less + 5);
        let right = airquality_holm.adjusted[&name];
        assert_digits(found.p_holm, right, INTERVALS, &name);
        let alone = found.difference.value.unwrap() / found.difference.standard_error.unwrap();
        assert!(found.p >= student_two_sided(alone, freedom) - 1e-4);
    }
}
