//! Families of curve shapes. None is the fitted family or one of its limits.

use rand::Rng;
use serde::{Deserialize, Serialize};
use statrs::function::erf::erfc;

/// Kind of curve.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum Family {
    /// Grain sensitivities normally distributed in log exposure.
    Probit,
    /// Soft toe, abrupt shoulder.
    SharpShoulder,
    /// Two emulsions of different speed in one coat.
    TwoEmulsions,
    /// The toe drags far into the highlights.
    LongToe,
    /// Slow approach to both ends.
    HeavyTails,
    /// Monotone spline through tabulated points.
    Tabulated,
    /// Dmax limited by light reflected at the surface.
    SurfaceReflection,
}

impl Family {
    /// All of them.
    pub const ALL: [Self; 7] = [
        Self::Probit,
        Self::SharpShoulder,
        Self::TwoEmulsions,
        Self::LongToe,
        Self::HeavyTails,
        Self::Tabulated,
        Self::SurfaceReflection,
    ];
}

/// A rising shape from 0 to 1.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum Shape {
    /// Normal distribution function.
    Probit,
    /// 1 - exp(-ln(1 + e^z)^power).
    SharpShoulder {
        /// 1.4 to 2.2; 1 would be the logistic.
        power: f64,
    },
    /// share Phi(z) + (1 - share) Phi((z - apart) / breadth).
    TwoEmulsions {
        /// Share of the faster one.
        share: f64,
        /// Distance of the slower one.
        apart: f64,
        /// Breadth of the slower one.
        breadth: f64,
    },
    /// Normal minus exponential: distribution function of Z - E(rate).
    LongToe {
        /// Rate of the exponential; smaller is longer.
        rate: f64,
    },
    /// (1 - share) Phi(z) + share (1 + z / sqrt(2 + z^2)) / 2.
    HeavyTails {
        /// Share of the slow part.
        share: f64,
    },
    /// Monotone spline between two tables.
    Tabulated {
        /// 0: the first table, 1: the second.
        mix: f64,
    },
    /// -log10((1 - rho) 10^(-net_inside Phi(z)) + rho), scaled to 1.
    SurfaceReflection {
        /// Share of the light in the deepest black that comes off the surface.
        share: f64,
    },
}

/// Two papers as tabulated by the project (invented): short toe, and long toe with a late bend.
const TABLE_Z: [f64; 12] = [
    0.0, 0.12, 0.24, 0.36, 0.48, 0.60, 0.72, 0.84, 0.96, 1.10, 1.28, 1.55,
];
const TABLE_A: [f64; 12] = [
    0.0, 0.006, 0.024, 0.075, 0.185, 0.36, 0.57, 0.765, 0.895, 0.967, 0.993, 1.0,
];
const TABLE_B: [f64; 12] = [
    0.0, 0.014, 0.045, 0.105, 0.195, 0.32, 0.475, 0.65, 0.82, 0.94, 0.988, 1.0,
];

impl Shape {
    /// A member of a family.
    pub fn draw(family: Family, rng: &mut impl Rng) -> Self {
        match family {
            Family::Probit => Self::Probit,
            Family::SharpShoulder => Self::SharpShoulder {
                power: rng.random_range(1.4..2.2),
            },
            Family::TwoEmulsions => Self::TwoEmulsions {
                share: rng.random_range(0.35..0.65),
                apart: rng.random_range(0.8..2.0),
                breadth: rng.random_range(0.8..1.4),
            },
            Family::LongToe => Self::LongToe {
                rate: rng.random_range(0.5..1.2),
            },
            Family::HeavyTails => Self::HeavyTails {
                share: rng.random_range(0.05..0.15),
            },
            Family::Tabulated => Self::Tabulated {
                mix: rng.random_range(0.0..1.0),
            },
            Family::SurfaceReflection => Self::SurfaceReflection {
                share: rng.random_range(0.4..0.85),
            },
        }
    }

    /// The shape at z, for a curve with this full net density.
    pub fn at(&self, z: f64, net: f64) -> f64 {
        match *self {
            Self::Probit => normal(z),
            Self::SharpShoulder { power } => {
                let soft = if z > 30.0 { z } else { z.exp().ln_1p() };
                -(-soft.powf(power)).exp_m1()
            }
            Self::TwoEmulsions {
                share,
                apart,
                breadth,
            } => share * normal(z) + (1.0 - share) * normal((z - apart) / breadth),
            Self::LongToe { rate } => {
                let tail = normal(-(z + rate));
                let drag = if tail > 0.0 {
                    (rate * z + rate * rate / 2.0 + tail.ln()).exp()
                } else {
                    0.0
                };
                (normal(z) + drag).min(1.0)
            }
            Self::HeavyTails { share } => {
                (1.0 - share) * normal(z) + share * (1.0 + z / (2.0 + z * z).sqrt()) / 2.0
            }
            Self::Tabulated { mix } => {
                let mut table = [0.0; 12];
                for (value, (a, b)) in table.iter_mut().zip(TABLE_A.iter().zip(TABLE_B)) {
                    *value = a + (b - a) * mix;
                }
                monotone_spline(&TABLE_Z, &table, z)
            }
            Self::SurfaceReflection { share } => {
                let black = 10f64.powf(-net);
                let surface = black * share;
                let inside = -((black - surface) / (1.0 - surface)).log10();
                let light = (1.0 - surface) * 10f64.powf(-inside * normal(z)) + surface;
                -light.log10() / net
            }
        }
    }

    /// z where the shape has a value strictly between 0 and 1 (bisection).
    pub fn inverse(&self, value: f64, net: f64) -> f64 {
        let (mut low, mut high) = (-60.0, 60.0);
        for _ in 0..80 {
            let middle = 0.5 * (low + high);
            if self.at(middle, net) < value {
                low = middle;
            } else {
                high = middle;
            }
        }
        0.5 * (low + high)
    }
}

/// Normal distribution function.
fn normal(z: f64) -> f64 {
    0.5 * erfc(-z * std::f64::consts::FRAC_1_SQRT_2)
}

/// Monotone piecewise cubic through points with rising values (Fritsch and Carlson 1980,
/// with harmonic-mean slopes), flat outside.
fn monotone_spline(places: &[f64], values: &[f64], z: f64) -> f64 {
    let last = places.len() - 1;
    if z <= places[0] {
        return values[0];
    }
    if z >= places[last] {
        return values[last];
    }
    let k = places.partition_point(|&place| place <= z) - 1;
    let chord = |k: usize| (values[k + 1] - values[k]) / (places[k + 1] - places[k]);
    let slope = |k: usize| {
        if k == 0 || k == last {
            return 0.0;
        }
        let (before, after) = (chord(k - 1), chord(k));
        if before * after <= 0.0 {
            0.0
        } else {
            2.0 * before * after / (before + after)
        }
    };
    let h = places[k + 1] - places[k];
    let t = (z - places[k]) / h;
    let (t2, t3) = (t * t, t * t * t);
    values[k] * (2.0 * t3 - 3.0 * t2 + 1.0)
        + h * slope(k) * (t3 - 2.0 * t2 + t)
        + values[k + 1] * (3.0 * t2 - 2.0 * t3)
        + h * slope(k + 1) * (t3 - t2)
}
