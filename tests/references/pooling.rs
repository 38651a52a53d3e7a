//! Random effects: thirteen trials of the BCG vaccine, the worked example of the field.

use serde::Deserialize;
use twinstrip::measure::pool::{
    Between, Effect, Fit, Model, Wish, between_interval, between_variance, pool,
};

use crate::assert_digits;

const BCG: &str = include_str!("../../testdata/references/stats/meta_bcg.json");
/// The values were recomputed at full precision; scoring and bisection stop at 1e-12, and
/// fourteen digits of the input leave ten.
const RECOMPUTED: f64 = 9.0;
/// The package's iterations stop at about 1e-7 of the variance.
const PACKAGE: f64 = 6.0;

#[derive(Deserialize)]
struct Bcg {
    trials: Vec<Trial>,
    #[serde(rename = "Q")]
    q: f64,
    fixed: Pooling,
    #[serde(rename = "DL")]
    dersimonian_laird: Pooling,
    #[serde(rename = "REML")]
    restricted: Pooling,
    #[serde(rename = "PM")]
    paule_mandel: Pooling,
    #[serde(rename = "tau2_ci95_Q_profile")]
    q_profile: [f64; 2],
    #[serde(rename = "I2_percent")]
    i_squared: ISquared,
    published_rounded: Published,
}

#[derive(Deserialize)]
struct Trial {
    yi: f64,
    vi: f64,
    tpos: f64,
    tneg: f64,
    cpos: f64,
    cneg: f64,
}

#[derive(Deserialize)]
struct Pooling {
    tau2: f64,
    estimate: f64,
    se: f64,
    hartung_knapp: HartungKnapp,
}

#[derive(Deserialize)]
struct HartungKnapp {
    se: f64,
    ci95: [f64; 2],
}

#[derive(Deserialize)]
struct ISquared {
    #[serde(rename = "REML")]
    restricted: f64,
}

#[derive(Deserialize)]
struct Published {
    #[serde(rename = "REML")]
    restricted: Printed,
}

#[derive(Deserialize)]
struct Printed {
    estimate: f64,
    se: f64,
    ci95: [f64; 2],
    tau2: f64,
    tau2_se: f64,
    #[serde(rename = "I2")]
    i_squared: f64,
    #[serde(rename = "Q")]
    q: f64,
    tau2_ci: [f64; 2],
}

fn bcg() -> (Bcg, Vec<Effect>) {
    let bcg: Bcg = serde_json::from_str(BCG).unwrap();
    let effects = bcg.trials.iter().map(|trial| Effect {
        value: trial.yi,
        standard_error: trial.vi.sqrt(),
    });
    let effects = effects.collect();
    (bcg, effects)
}

fn holds(fit: &Fit, right: &Pooling, digits: f64, what: &str) {
    assert_digits(fit.coefficients[0], right.estimate, digits, what);
    assert_digits(fit.plain_error(0), right.se, digits, what);
    let knapp = &right.hartung_knapp;
    assert_digits(fit.knapp_hartung_error(0), knapp.se, digits, what);
    let half = fit.knapp_hartung_half_width(0);
    assert_digits(fit.coefficients[0] - half, knapp.ci95[0], digits, what);
    assert_digits(fit.coefficients[0] + half, knapp.ci95[1], digits, what);
}

#[test]
fn the_effects_are_the_log_risk_ratios_of_the_counts() {
    let (bcg, _) = bcg();
    assert_eq!(bcg.trials.len(), 13);
    for trial in &bcg.trials {
        let (treated, control) = (trial.tpos + trial.tneg, trial.cpos + trial.cneg);
        let ratio = (trial.tpos / treated / (trial.cpos / control)).ln();
        assert_digits(ratio, trial.yi, 12.0, "log risk ratio");
    }
}

#[test]
fn four_estimates_of_the_variance_between_and_their_intervals_are_the_published_ones() {
    let (bcg, effects) = bcg();
    let model = Model::mean(&effects).unwrap();
    let ways = [
        (Between::None, &bcg.fixed, "fixed"),
        (
            Between::DerSimonianLaird,
            &bcg.dersimonian_laird,
            "DerSimonian-Laird",
        ),
        (Between::PauleMandel, &bcg.paule_mandel, "Paule-Mandel"),
        (Between::RestrictedLikelihood, &bcg.restricted, "REML"),
    ];
    for (how, right, what) in ways {
        let variance = between_variance(&model, how);
        if right.tau2 > 0.0 {
            assert_digits(variance, right.tau2, RECOMPUTED, what);
        }
        holds(&model.fit(variance), right, RECOMPUTED, what);
    }
    let (low, high) = between_interval(&model);
    assert_digits(low, bcg.q_profile[0], PACKAGE, "Q profile");
    assert_digits(high, bcg.q_profile[1], PACKAGE, "Q profile");
}

/// Viechtbauer 2010, J. Stat. Softw. 36(3), as printed.
#[test]
fn what_is_printed_of_the_example_comes_out() {
    let (bcg, effects) = bcg();
    let printed = &bcg.published_rounded.restricted;
    let model = Model::mean(&effects).unwrap();
    let variance = between_variance(&model, Between::RestrictedLikelihood);
    let fit = model.fit(variance);
    #[track_caller]
    fn prints(found: f64, printed: f64, decimals: i32) {
        assert!(
            (found - printed).abs() <= 0.5 * 10f64.powi(-decimals) * (1.0 + 1e-9),
            "{found} instead of {printed}"
        );
    }
    prints(fit.coefficients[0], printed.estimate, 4);
    prints(fit.plain_error(0), printed.se, 4);
    let half = 1.959_964 * fit.plain_error(0);
    prints(fit.coefficients[0] - half, printed.ci95[0], 4);
    prints(fit.coefficients[0] + half, printed.ci95[1], 4);
    prints(variance, printed.tau2, 4);
    prints((2.0 / fit.trace_squared).sqrt(), printed.tau2_se, 4);
    let (low, high) = between_interval(&model);
    prints(low, printed.tau2_ci[0], 4);
    prints(high, printed.tau2_ci[1], 4);
    let pooled = pool(&effects, &Wish::STOPS).unwrap();
    let differ = pooled.heterogeneity.unwrap();
    prints(differ.q, printed.q, 3);
    assert_digits(differ.q, bcg.q, RECOMPUTED, "Q");
    prints(100.0 * differ.i_squared, printed.i_squared, 2);
    assert_digits(
        100.0 * differ.i_squared,
        bcg.i_squared.restricted,
        RECOMPUTED,
        "I squared",
    );
    // The answer's own interval is Hartung & Knapp's: the guard doesn't bind here.
    let (low, high) = pooled.mean.bounds().unwrap();
    let [right_low, right_high] = bcg.restricted.hartung_knapp.ci95;
    assert_digits(low, right_low, RECOMPUTED, "interval of the answer");
    assert_digits(high, right_high, RECOMPUTED, "interval of the answer");
}
