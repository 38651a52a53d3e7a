//! ISO 6846: speed point and exposure range on curves whose answer is known in closed form, by
//! the curve's formula and by the whole comparison of two strips.

use nalgebra::{DMatrix, DVector};
use serde::Deserialize;
use twinstrip::measure::analysis::Settings;
use twinstrip::measure::compare::{self, PairAnswer, StripEvidence};
use twinstrip::measure::curve::model::{
    Curve, LN_RANGE, PARAMETERS, SHOULDER_SHARE, SPEED_NET, TOE_NET,
};
use twinstrip::measure::exposure::{Exposures, Series};
use twinstrip::measure::reading::{StripReading, Unevenness};
use twinstrip::measure::strip::Role;
use twinstrip::measure::units::{DECADES_PER_STOP, Seconds};

use crate::assert_digits;

/// A logistic curve with its points, testdata/references/iso_6846.json.
#[derive(Deserialize, Clone, Copy)]
struct Known {
    #[serde(rename = "Dmin")]
    dmin: f64,
    #[serde(rename = "Dmax")]
    dmax: f64,
    k: f64,
    x0: f64,
    #[serde(rename = "x_T")]
    toe: f64,
    #[serde(rename = "x_m")]
    speed: f64,
    #[serde(rename = "x_S")]
    shoulder: f64,
    #[serde(rename = "R_unrounded")]
    range: f64,
    #[serde(rename = "average_gradient_T_to_S")]
    gradient: f64,
}

#[derive(Deserialize)]
struct Definitions {
    synthetic_check_curves: Vec<Known>,
}

fn known() -> Vec<Known> {
    let json = include_str!("../../testdata/references/iso_6846.json");
    let definitions: Definitions = serde_json::from_str(json).unwrap();
    assert_eq!(definitions.synthetic_check_curves.len(), 4);
    definitions.synthetic_check_curves
}

impl Known {
    fn density(&self, x: f64) -> f64 {
        self.dmin + (self.dmax - self.dmin) / (1.0 + 10f64.powf(-self.k * (x - self.x0)))
    }
}

#[test]
fn the_points_of_the_standard_lie_where_the_closed_form_has_them() {
    for known in known() {
        // The range is what the curve is made of, so it is found here and not put in: by
        // bisection, until the slope in the middle is that of the logistic.
        let steepness = |range: f64| {
            let mut parameters = [0.0; PARAMETERS];
            parameters[0] = known.dmin;
            parameters[1] = (known.dmax - known.dmin).ln();
            parameters[LN_RANGE] = range.ln();
            parameters[3] = known.speed;
            Curve::new(&parameters, SPEED_NET).unwrap()
        };
        let (mut low, mut high) = (10.0, 1000.0);
        for _ in 0..200 {
            let middle: f64 = 0.5 * (low + high);
            if steepness(middle).k > known.k * std::f64::consts::LN_10 {
                low = middle;
            } else {
                high = middle;
            }
        }
        let curve = steepness(low);
        assert_digits(low, known.range, 10.0, "range");
        assert_digits(curve.x_at(SPEED_NET), known.speed, 10.0, "speed point");
        assert_digits(curve.x_at(TOE_NET), known.toe, 9.0, "toe end");
        assert_digits(curve.shoulder_x(), known.shoulder, 9.0, "shoulder end");
        let gained = SHOULDER_SHARE * curve.net - TOE_NET;
        let gradient = gained / (curve.shoulder_x() - curve.x_at(TOE_NET));
        assert_digits(gradient, known.gradient, 9.0, "mean gradient");
        for x in [-1.0, 0.2, 0.9, 1.7, 3.0] {
            assert_digits(curve.density(x), known.density(x), 9.0, "density");
        }
    }
}

/// Standard error of the densities below: a good densitometer's last digit.
const READING_ERROR: f64 = 0.002;

/// Steps of a sixth of a stop over three decades, read without error, with a margin.
fn strip(known: Known, strip: usize) -> StripEvidence {
    let steps = 60;
    let first = 10f64.powf(known.x0 - 1.6);
    let exposures = Exposures {
        series: Series::InStops {
            first: Seconds(first),
            stops: 1.0 / 6.0,
            steps,
        },
        f_number: 1.0,
        magnification: None,
        filter_density: None,
        height: None,
        focal_length: None,
    };
    let densities = std::iter::once(known.dmin).chain(
        exposures
            .log_exposures(0.0)
            .into_iter()
            .map(|x| known.density(x)),
    );
    let density = DVector::from_iterator(steps + 1, densities);
    StripEvidence {
        strip,
        role: [Role::Reference, Role::Coupon][strip],
        exposures,
        reading: StripReading {
            has_margin: true,
            steps: (0..steps).collect(),
            scanner: density.clone(),
            covariance: DMatrix::identity(steps + 1, steps + 1) * READING_ERROR.powi(2),
            scale_modes: DMatrix::zeros(steps + 1, 1),
            repeat_modes: 0,
            density,
            unevenness: Unevenness::default(),
        },
        excluded: vec![],
        others: vec![],
    }
}

/// Solves two of the curves against each other as the program does.
fn compared(reference: Known, coupon: Known) -> PairAnswer {
    let settings = Settings {
        lag: (0.0, 0.0001),
        ..Settings::default()
    };
    compare::solve(&strip(reference, 0), &strip(coupon, 1), &settings).0
}

/// How far the weak priors and the allowance for curves that are not our formula may move an
/// answer from readings without error: log exposure in decades, ISO R as a share of R, Dmax. For
/// R it is what that allowance, some 0.006 D at net density 0.04, is on the toe of a logistic.
const WITHIN: (f64, f64, f64) = (0.002, 0.02, 0.01);

#[test]
fn a_comparison_of_two_known_curves_gives_their_closed_form_ratio_and_ranges() {
    let curves = known();
    for (reference, coupon) in [(0, 2), (1, 0), (3, 1)] {
        let (reference, coupon) = (curves[reference], curves[coupon]);
        let answer = compared(reference, coupon);
        let stops = (coupon.speed - reference.speed) / DECADES_PER_STOP;
        let found = answer.stops.value.unwrap();
        assert!(
            (found - stops).abs() < WITHIN.0 / DECADES_PER_STOP,
            "{found} {stops}"
        );
        let ratio = 10f64.powf(coupon.speed - reference.speed);
        assert!((answer.ratio.value.unwrap() / ratio).log10().abs() < WITHIN.0);
        let difference = coupon.range - reference.range;
        let found = answer.contrast_difference.value.unwrap();
        assert!(
            (found - difference).abs() < WITHIN.1 * coupon.range.max(reference.range),
            "{found} {difference}"
        );
        assert!(answer.contrast_difference.holds(difference));
        assert!(answer.stops.holds(stops));
        for (curve, known) in [(&answer.reference, reference), (&answer.coupon, coupon)] {
            let range = curve.range.value.unwrap();
            assert!(
                (range - known.range).abs() < WITHIN.1 * known.range,
                "{range} {}",
                known.range
            );
            let speed = curve.speed_point.value.unwrap();
            assert!((speed - known.speed).abs() < WITHIN.0, "{speed}");
            assert!((curve.dmin.value.unwrap() - known.dmin).abs() < WITHIN.2);
            assert!((curve.dmax.value.unwrap() - known.dmax).abs() < WITHIN.2);
            for (estimate, right) in [
                (&curve.speed_point, known.speed),
                (&curve.range, known.range),
                (&curve.mean_gradient, known.gradient),
            ] {
                let (lower, upper) = estimate.bounds().unwrap();
                assert!((lower..=upper).contains(&right), "{lower} {right} {upper}");
            }
        }
    }
}
