//! Strips of a true curve as they would be read: densities with their errors, no pixels.

use nalgebra::{DMatrix, DVector};
use rand::Rng;
use rand_distr::{Distribution as _, StandardNormal};
use twinstrip::measure::compare::StripEvidence;
use twinstrip::measure::exposure::{Exposures, Series};
use twinstrip::measure::reading::{StripReading, Unevenness};
use twinstrip::measure::strip::Role;
use twinstrip::measure::units::{DECADES_PER_STOP, Seconds};

use super::families::{Family, Truth};

/// Time that log exposure 0 stands for, seconds.
const TIME_AT_SPEED: f64 = 20.0;
/// Standard error of the unexposed coat's density.
const MARGIN_ERROR: f64 = 0.005;
/// Errors of the density scale that both strips share: an offset, and a share of the density.
const SCALE_ERRORS: (f64, f64) = (0.003, 0.005);

/// What both strips of a pair share.
#[derive(Debug, Clone, Copy)]
pub struct Shared {
    offset: f64,
    gain: f64,
}

impl Shared {
    pub fn draw(rng: &mut impl Rng) -> Self {
        Self {
            offset: SCALE_ERRORS.0 * normal(rng),
            gain: SCALE_ERRORS.1 * normal(rng),
        }
    }
}

/// A strip with its true curve.
#[derive(Debug, Clone)]
pub struct Strip {
    pub truth: Truth,
    /// Whether the steps reach the toe and the shoulder end of the range.
    pub reached: (bool, bool),
    /// Log exposure of the true speed point, in the unit of the answer.
    pub speed_x: f64,
    pub evidence: StripEvidence,
}

fn normal(rng: &mut impl Rng) -> f64 {
    StandardNormal.sample(rng)
}

fn matern(steps_apart: f64, length: f64) -> f64 {
    let r = 3f64.sqrt() * steps_apart.abs() / length;
    (1.0 + r) * (-r).exp()
}

/// Step exposures about a curve: thirds, halves or whole stops, or one burst more each.
fn exposures(truth: &Truth, rng: &mut impl Rng) -> Vec<f64> {
    let kind: f64 = rng.random();
    let mut x: Vec<f64> = if kind < 0.25 {
        let count = rng.random_range(7..12);
        (1..=count).map(|k| f64::from(k).log10()).collect()
    } else {
        let stops = if kind < 0.55 {
            1.0 / 3.0
        } else if kind < 0.95 {
            0.5
        } else {
            1.0
        };
        let span: f64 = rng.random_range(2.5..5.0);
        let count = ((span / stops).round() + 1.0).clamp(5.0, 16.0) as usize;
        (0..count)
            .map(|k| k as f64 * stops * DECADES_PER_STOP)
            .collect()
    };
    let mean = x.iter().sum::<f64>() / x.len() as f64;
    let middle = 0.5 * (truth.x_at(0.04) + truth.x_at(0.9 * truth.net));
    let shift = middle - mean + rng.random_range(-0.35..0.35);
    x.iter_mut().for_each(|x| *x += shift);
    x
}

/// A strip as a printer would keep it: it goes from light to dark.
pub fn draw(family: Family, coat: bool, shared: Shared, rng: &mut impl Rng) -> Strip {
    loop {
        let truth = Truth::draw(family, coat, rng);
        let x = exposures(&truth, rng);
        let nets: Vec<f64> = x.iter().map(|&x| truth.net_density(x)).collect();
        let dark = if truth.net > 0.7 { 0.62 } else { 0.4 };
        let shown = nets.iter().filter(|&&net| net > 0.05).count();
        if nets[nets.len() - 1] > dark && nets[0] < 0.55 && shown >= 4 {
            return read(truth, coat, &x, shared, rng);
        }
    }
}

fn read(truth: Truth, coat: bool, x: &[f64], shared: Shared, rng: &mut impl Rng) -> Strip {
    let count = x.len();
    let noise = rng.random_range(0.004..0.010);
    let uneven = rng.random_range(0.010..0.030);
    let length = rng.random_range(1.0..2.0);
    let alike = DMatrix::from_fn(count, count, |i, j| {
        matern(i as f64 - j as f64, length) + if i == j { 1e-9 } else { 0.0 }
    });
    let root = alike.cholesky().expect("positive definite").unpack();
    let moved = root * DVector::from_fn(count, |_, _| normal(rng)) * uneven;
    let has_margin = !rng.random_bool(0.12);
    // What the reading says of its own errors is only an estimate of them.
    let told_noise = noise * (0.15 * normal(rng)).exp();
    let told_uneven = uneven * (0.25 * normal(rng)).exp();
    let skip = usize::from(has_margin);
    let scaled = |density: f64| density * (1.0 + shared.gain) + shared.offset;
    let mut density = DVector::zeros(count + skip);
    if has_margin {
        density[0] = scaled(truth.dmin + MARGIN_ERROR * normal(rng));
    }
    for i in 0..count {
        let true_density = truth.dmin + truth.net_density(x[i] + moved[i]);
        density[skip + i] = scaled(true_density + noise * normal(rng));
    }
    let slopes: Vec<f64> = x.iter().map(|&x| truth.slope(x)).collect();
    let mut covariance = DMatrix::from_fn(count + skip, count + skip, |a, b| {
        let (Some(i), Some(j)) = (a.checked_sub(skip), b.checked_sub(skip)) else {
            return 0.0;
        };
        let own = if i == j { 0.1 } else { 0.0 };
        let alike = own + 0.9 * matern(i as f64 - j as f64, 1.5);
        let noise = if i == j { told_noise.powi(2) } else { 0.0 };
        told_uneven.powi(2) * slopes[i] * slopes[j] * alike + noise
    });
    if has_margin {
        covariance[(0, 0)] = MARGIN_ERROR.powi(2);
    }
    let modes = DMatrix::from_fn(count + skip, 2, |entry, mode| match mode {
        0 => SCALE_ERRORS.0,
        _ => SCALE_ERRORS.1 * density[entry],
    });
    let times = x
        .iter()
        .map(|x| Seconds(TIME_AT_SPEED * 10f64.powf(*x)))
        .collect();
    let (toe, shoulder) = (truth.x_at(0.04), truth.x_at(0.9 * truth.net));
    Strip {
        reached: (x[0] <= toe, x[count - 1] >= shoulder),
        speed_x: TIME_AT_SPEED.log10() + truth.x_at(0.6),
        evidence: StripEvidence {
            strip: usize::from(coat),
            role: if coat { Role::Coupon } else { Role::Reference },
            exposures: Exposures {
                series: Series::List { times },
                f_number: 1.0,
                magnification: None,
                filter_density: None,
                height: None,
                focal_length: None,
            },
            reading: StripReading {
                has_margin,
                steps: (0..count).collect(),
                scanner: density.clone(),
                density,
                covariance,
                scale_modes: modes,
                repeat_modes: 0,
                unevenness: Unevenness {
                    exposure_decades: told_uneven,
                    net_share: 0.0,
                    scale_mm: 10.0,
                },
            },
            excluded: vec![],
            others: vec![],
        },
        truth,
    }
}
