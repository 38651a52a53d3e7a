//! Certified values of the NIST Statistical Reference Datasets through the one least-squares
//! driver behind every fit: parameters and standard deviations, from both official starts.

use nalgebra::{DMatrix, DVector};
use serde::Deserialize;
use twinstrip::measure::curve::model::{
    ANCHOR_X, Curve, LN_NET, LN_RANGE, LN_S, SHOULDER_SHARE, TOE_NET,
};
use twinstrip::measure::least_squares::{Care, Problem, Solution, minimise};

use crate::digits;
use crate::our_curves::{OurCurves, whole};

/// Digits that every certified value must be met to.
const DIGITS: f64 = 6.0;

#[derive(Deserialize)]
struct Certified {
    start1: Vec<f64>,
    start2: Vec<f64>,
    certified: Vec<f64>,
    certified_sd: Vec<f64>,
    rss: f64,
    x: Vec<f64>,
    y: Vec<f64>,
}

/// Value and derivatives by the parameters at x.
type Formula = fn(&[f64], f64) -> (f64, Vec<f64>);

struct Fit<'a> {
    formula: Formula,
    data: &'a Certified,
}

impl Problem for Fit<'_> {
    fn residual_count(&self) -> usize {
        self.data.x.len()
    }

    fn evaluate(
        &self,
        parameters: &DVector<f64>,
        residuals: &mut DVector<f64>,
        jacobian: Option<&mut DMatrix<f64>>,
    ) -> bool {
        let mut rows = vec![];
        for (i, (&x, y)) in self.data.x.iter().zip(&self.data.y).enumerate() {
            let (value, by) = (self.formula)(parameters.as_slice(), x);
            residuals[i] = value - y;
            rows.push(by);
        }
        if let Some(jacobian) = jacobian {
            for (i, by) in rows.iter().enumerate() {
                for (j, by) in by.iter().enumerate() {
                    jacobian[(i, j)] = *by;
                }
            }
        }
        residuals.iter().all(|residual| residual.is_finite())
    }
}

fn misra1a(b: &[f64], x: f64) -> (f64, Vec<f64>) {
    let e = (-b[1] * x).exp();
    (b[0] * (1.0 - e), vec![1.0 - e, b[0] * x * e])
}

fn dan_wood(b: &[f64], x: f64) -> (f64, Vec<f64>) {
    let power = x.powf(b[1]);
    (b[0] * power, vec![power, b[0] * power * x.ln()])
}

fn chwirut2(b: &[f64], x: f64) -> (f64, Vec<f64>) {
    let below = b[1] + b[2] * x;
    let y = (-b[0] * x).exp() / below;
    (y, vec![-x * y, -y / below, -x * y / below])
}

fn eckerle4(b: &[f64], x: f64) -> (f64, Vec<f64>) {
    let z = (x - b[2]) / b[1];
    let e = (-0.5 * z * z).exp();
    let y = b[0] / b[1] * e;
    (y, vec![e / b[1], y * (z * z - 1.0) / b[1], y * z / b[1]])
}

fn rat42(b: &[f64], x: f64) -> (f64, Vec<f64>) {
    let e = (b[1] - b[2] * x).exp();
    let y = b[0] / (1.0 + e);
    let by = -y * e / (1.0 + e);
    (y, vec![y / b[0], by, -x * by])
}

fn rat43(b: &[f64], x: f64) -> (f64, Vec<f64>) {
    let e = (b[1] - b[2] * x).exp();
    let y = b[0] * (1.0 + e).powf(-1.0 / b[3]);
    let by = -y * e / (b[3] * (1.0 + e));
    (
        y,
        vec![y / b[0], by, -x * by, y * (1.0 + e).ln() / (b[3] * b[3])],
    )
}

fn mgh09(b: &[f64], x: f64) -> (f64, Vec<f64>) {
    let (above, below) = (x * x + x * b[1], x * x + x * b[2] + b[3]);
    let y = b[0] * above / below;
    (
        y,
        vec![above / below, b[0] * x / below, -y * x / below, -y / below],
    )
}

fn mgh10(b: &[f64], x: f64) -> (f64, Vec<f64>) {
    let away = x + b[2];
    let e = (b[1] / away).exp();
    (
        b[0] * e,
        vec![e, b[0] * e / away, -b[0] * e * b[1] / (away * away)],
    )
}

fn mgh17(b: &[f64], x: f64) -> (f64, Vec<f64>) {
    let (first, second) = ((-x * b[3]).exp(), (-x * b[4]).exp());
    (
        b[0] + b[1] * first + b[2] * second,
        vec![1.0, first, second, -x * b[1] * first, -x * b[2] * second],
    )
}

/// A polynomial over another whose constant is 1; `above` is the count of the first's terms.
fn rational(b: &[f64], x: f64, above: usize) -> (f64, Vec<f64>) {
    let power = |n: usize| x.powi(n as i32);
    let top: f64 = (0..above).map(|n| b[n] * power(n)).sum();
    let bottom = 1.0
        + (above..b.len())
            .map(|n| b[n] * power(n - above + 1))
            .sum::<f64>();
    let y = top / bottom;
    let by = (0..b.len()).map(|n| {
        if n < above {
            power(n) / bottom
        } else {
            -y * power(n - above + 1) / bottom
        }
    });
    (y, by.collect())
}

fn kirby2(b: &[f64], x: f64) -> (f64, Vec<f64>) {
    rational(b, x, 3)
}

fn cubic_over_cubic(b: &[f64], x: f64) -> (f64, Vec<f64>) {
    rational(b, x, 4)
}

macro_rules! set {
    ($name:literal, $formula:expr) => {
        (
            $name,
            include_str!(concat!("../../testdata/references/nist/", $name, ".json")),
            $formula as Formula,
        )
    };
}

/// Holds a solution against the certified values and says how many digits agree.
fn agreement(fit: &Solution, parameters: &[f64], errors: &[f64], data: &Certified) -> f64 {
    parameters
        .iter()
        .zip(&data.certified)
        .chain(errors.iter().zip(&data.certified_sd))
        .chain([(&fit.sum_of_squares(), &data.rss)])
        .map(|(found, right)| digits(*found, *right))
        .fold(f64::INFINITY, f64::min)
}

#[test]
fn thirteen_certified_fits_are_met_to_six_digits_from_both_starts() {
    let sets = [
        set!("Misra1a", misra1a),
        set!("Chwirut2", chwirut2),
        set!("DanWood", dan_wood),
        set!("Kirby2", kirby2),
        set!("Hahn1", cubic_over_cubic),
        set!("MGH17", mgh17),
        set!("MGH09", mgh09),
        set!("Thurber", cubic_over_cubic),
        set!("BoxBOD", misra1a),
        set!("Rat42", rat42),
        set!("Rat43", rat43),
        set!("MGH10", mgh10),
        set!("Eckerle4", eckerle4),
    ];
    let mut short = vec![];
    for (name, json, formula) in sets {
        let data: Certified = serde_json::from_str(json).unwrap();
        for (number, start) in [&data.start1, &data.start2].into_iter().enumerate() {
            let problem = Fit {
                formula,
                data: &data,
            };
            let start = DVector::from_vec(start.clone());
            let found = match minimise(&problem, &start, Care::EXACT) {
                Ok(fit) => {
                    let errors = fit.standard_errors().unwrap();
                    agreement(&fit, fit.parameters.as_slice(), errors.as_slice(), &data)
                }
                Err(why) => {
                    println!("{name}: {why}");
                    0.0
                }
            };
            println!("{name}, start {}: {found:.1} digits", number + 1);
            if found < DIGITS {
                short.push(format!("{name}, start {}: {found:.1}", number + 1));
            }
        }
    }
    assert!(short.is_empty(), "{short:?}");
}

/// Net density at an anchor that all of Rat43's curves reach.
const ANCHOR: f64 = 100.0;

/// Our parameters that are free when the curve is Rat43's: q = 1 and Dmin = 0.
const FREE: [(usize, usize); 4] = [(LN_NET, 0), (LN_RANGE, 1), (ANCHOR_X, 2), (LN_S, 3)];

#[test]
fn our_own_curve_meets_the_certified_fit_of_rat43() {
    let json = include_str!("../../testdata/references/nist/Rat43.json");
    let data: Certified = serde_json::from_str(json).unwrap();
    // The start in our parameters: net 650, range 1200, 100 at x = 4, s = 1.
    let start = DVector::from_vec(vec![650f64.ln(), 1200f64.ln(), 4.0, 0.0]);
    let rows = data.x.iter().zip(&data.y).map(|(&x, &y)| (0, x, y));
    let problem = OurCurves {
        rows: rows.collect(),
        places: vec![FREE],
        anchor: ANCHOR,
    };
    let fit = minimise(&problem, &start, Care::EXACT).unwrap();
    // b1 (1 + e^(b2 - b3 x))^(-1/b4) = net (1 + e^-z)^-s; z is nought where 2^-s of net is left.
    let free = fit.parameters.as_slice();
    let by_formula = |free: &[f64]| {
        let curve = Curve::new(&whole(&FREE, free), ANCHOR).unwrap();
        let b2 = curve.k * curve.x_at(curve.net * 2f64.powf(-curve.s));
        [curve.net, b2, curve.k, 1.0 / curve.s]
    };
    let variance = fit.sum_of_squares() / 11.0;
    let covariance = fit.unit_covariance().unwrap() * variance;
    for (parameter, found) in by_formula(free).into_iter().enumerate() {
        crate::assert_digits(found, data.certified[parameter], DIGITS, "parameter");
        let by = DVector::from_vec(crate::slopes(free, &|free| by_formula(free)[parameter]));
        let error = by.dot(&(&covariance * &by)).sqrt();
        crate::assert_digits(error, data.certified_sd[parameter], DIGITS, "deviation");
    }
    crate::assert_digits(fit.sum_of_squares(), data.rss, 9.0, "sum of squares");
    // The points of the standard on the certified curve, from its formula solved for x.
    let [b1, b2, b3, b4] = data.certified[..] else {
        panic!("four parameters");
    };
    let x_at = |y: f64| (b2 - ((b1 / y).powf(b4) - 1.0).ln()) / b3;
    let range = 100.0 * (x_at(SHOULDER_SHARE * b1) - x_at(TOE_NET));
    crate::assert_digits(fit.parameters[1].exp(), range, DIGITS, "range");
    crate::assert_digits(fit.parameters[2], x_at(ANCHOR), DIGITS, "anchor");
}
