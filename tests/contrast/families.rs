//! True curves that are not the fitted formula: ten families whose strips the model's sizes were
//! chosen on, and four that nothing was chosen on.

use rand::Rng;
use statrs::distribution::{ContinuousCDF as _, Normal, StudentsT};

/// A family of curves.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Family {
    /// Density follows the logistic of log exposure.
    Logistic,
    /// Grains with normally distributed log sensitivities.
    Probit,
    /// One hit a grain: the complementary log-log.
    OneHit,
    /// Richards' generalised logistic.
    Richards,
    /// A logistic absorbance under a surface that reflects: the shoulder is capped.
    Surface,
    /// Two emulsions in one coat.
    TwoEmulsions,
    /// A long toe under a straight line.
    LongToe,
    /// A straight line under a long shoulder.
    SoftShoulder,
    /// A straight line with short round ends.
    Straight,
    /// Many hits a grain, or a logistic with a stretched shoulder.
    Skewed,
    /// Heavy tails at both ends: Student's t with two degrees of freedom.
    HeavyTails,
    /// A cubic that starts and ends at once.
    HardEnds,
    /// Three emulsions in one coat, each harder than the whole.
    ThreeEmulsions,
    /// A straight line that bends to another slope.
    Bent,
}

/// Families that the sizes of priors and warp were chosen on.
pub const CHOSEN_ON: [Family; 10] = [
    Family::Logistic,
    Family::Probit,
    Family::OneHit,
    Family::Richards,
    Family::Surface,
    Family::TwoEmulsions,
    Family::LongToe,
    Family::SoftShoulder,
    Family::Straight,
    Family::Skewed,
];

/// Families that nothing was chosen on.
pub const LEFT_OUT: [Family; 4] = [
    Family::HeavyTails,
    Family::HardEnds,
    Family::ThreeEmulsions,
    Family::Bent,
];

impl Family {
    /// What it is called in the tables.
    pub fn name(self) -> &'static str {
        match self {
            Self::Logistic => "logistic",
            Self::Probit => "probit",
            Self::OneHit => "one hit a grain",
            Self::Richards => "generalised logistic",
            Self::Surface => "reflecting surface",
            Self::TwoEmulsions => "two emulsions",
            Self::LongToe => "long toe",
            Self::SoftShoulder => "soft shoulder",
            Self::Straight => "straight, round ends",
            Self::Skewed => "skewed",
            Self::HeavyTails => "heavy tails",
            Self::HardEnds => "hard ends",
            Self::ThreeEmulsions => "three emulsions",
            Self::Bent => "bent line",
        }
    }
}

const Z_LOW: f64 = -40.0;
const Z_STEP: f64 = 0.01;
const Z_COUNT: usize = 8001;

fn z(i: usize) -> f64 {
    Z_LOW + Z_STEP * i as f64
}

fn logistic(z: f64) -> f64 {
    1.0 / (1.0 + (-z).exp())
}

fn log_uniform(rng: &mut impl Rng, low: f64, high: f64) -> f64 {
    rng.random_range(low.ln()..high.ln()).exp()
}

/// The share of net density over z, from the slope at each z.
fn from_slope(slope: impl Fn(f64) -> f64) -> Vec<f64> {
    let mut sum = 0.0;
    let mut share: Vec<f64> = (0..Z_COUNT)
        .map(|i| {
            sum += slope(z(i));
            sum
        })
        .collect();
    share.iter_mut().for_each(|share| *share /= sum);
    share
}

fn shares(family: Family, net: f64, rng: &mut impl Rng) -> Vec<f64> {
    let over = |share: &dyn Fn(f64) -> f64| (0..Z_COUNT).map(|i| share(z(i))).collect::<Vec<_>>();
    let normal = Normal::standard();
    let ramp =
        |a: f64, b: f64, run: f64| from_slope(move |z| logistic(z / a) * logistic(-(z - run) / b));
    match family {
        Family::Logistic => over(&logistic),
        Family::Probit => over(&|z| normal.cdf(z)),
        Family::OneHit => over(&|z| -(-z.min(6.0).exp()).exp_m1()),
        Family::Richards => {
            let s = log_uniform(rng, 0.4, 4.0);
            over(&|z| logistic(z).powf(s))
        }
        Family::Surface => {
            let absorbed = net * rng.random_range(1.05..1.8);
            let reflected = rng.random_range(0.2..0.9) * 10f64.powf(-net);
            let density = |z: f64| {
                -(reflected + (1.0 - reflected) * 10f64.powf(-absorbed * logistic(z))).log10()
            };
            let full = density(40.0);
            over(&|z| density(z) / full)
        }
        Family::TwoEmulsions => {
            let (part, gap) = (rng.random_range(0.3..0.7), rng.random_range(1.0..3.5));
            let slope = rng.random_range(0.5..1.2);
            over(&|z| {
                part * logistic(z + gap / 2.0) + (1.0 - part) * normal.cdf((z - gap / 2.0) * slope)
            })
        }
        Family::LongToe => ramp(
            rng.random_range(0.8..1.6),
            rng.random_range(0.15..0.5),
            rng.random_range(1.5..4.0),
        ),
        Family::SoftShoulder => ramp(
            rng.random_range(0.15..0.5),
            rng.random_range(0.8..1.6),
            rng.random_range(1.5..4.0),
        ),
        Family::Straight => ramp(
            rng.random_range(0.1..0.35),
            rng.random_range(0.1..0.35),
            rng.random_range(2.5..5.0),
        ),
        Family::Skewed => {
            if rng.random_bool(0.5) {
                over(&|z| (-(-z).exp()).exp())
            } else {
                let power = log_uniform(rng, 1.5, 6.0);
                over(&|z| 1.0 - logistic(-z).powf(power))
            }
        }
        Family::HeavyTails => {
            let tails = StudentsT::new(0.0, 1.0, 2.0).expect("two degrees of freedom");
            over(&|z| tails.cdf(z))
        }
        Family::HardEnds => over(&|z| {
            let t = z.clamp(0.0, 1.0);
            t * t * (3.0 - 2.0 * t)
        }),
        Family::ThreeEmulsions => {
            let gap = rng.random_range(1.5..3.0);
            let parts: [f64; 3] = std::array::from_fn(|_| rng.random_range(0.2..1.0));
            let all: f64 = parts.iter().sum();
            over(&|z| {
                let of = |i: usize| parts[i] / all * normal.cdf(z - gap * (i as f64 - 1.0));
                of(0) + of(1) + of(2)
            })
        }
        Family::Bent => {
            let (second, bend) = (log_uniform(rng, 0.5, 2.0), rng.random_range(1.0..3.0));
            let (toe, shoulder) = (rng.random_range(0.15..0.6), rng.random_range(0.15..0.6));
            let run = bend + rng.random_range(1.0..3.0) / second;
            from_slope(move |z| {
                let slope = 1.0 + (second - 1.0) * logistic((z - bend) / 0.2);
                slope * logistic(z / toe) * logistic(-(z - run) / shoulder)
            })
        }
    }
}

/// A true curve; its speed point, or half way up where net 0.60 isn't there, lies at X = 0.
#[derive(Debug, Clone)]
pub struct Truth {
    pub dmin: f64,
    pub net: f64,
    pub range: f64,
    /// Share of net density over z.
    share: Vec<f64>,
    k: f64,
    z_at_speed: f64,
}

impl Truth {
    pub fn draw(family: Family, coat: bool, rng: &mut impl Rng) -> Self {
        let net = if coat {
            rng.random_range(0.6..2.2)
        } else {
            rng.random_range(1.2..2.2)
        };
        let dmin = if coat {
            rng.random_range(0.06..0.2)
        } else {
            rng.random_range(0.04..0.1)
        };
        let range = log_uniform(rng, 50.0, 180.0);
        let mut truth = Self {
            dmin,
            net,
            range,
            share: shares(family, net, rng),
            k: 1.0,
            z_at_speed: 0.0,
        };
        truth.k = (truth.z_at(0.9) - truth.z_at(0.04 / net)) / (range / 100.0);
        truth.z_at_speed = truth.z_at(if net > 0.7 { 0.6 / net } else { 0.5 });
        truth
    }

    fn z_at(&self, share: f64) -> f64 {
        let above = self
            .share
            .partition_point(|&own| own < share)
            .clamp(1, Z_COUNT - 1);
        let (low, high) = (self.share[above - 1], self.share[above]);
        z(above - 1) + Z_STEP * (share - low) / (high - low).max(1e-300)
    }

    /// Log exposure at a net density; infinite where the curve does not get there.
    pub fn x_at(&self, net: f64) -> f64 {
        if net < self.net {
            (self.z_at(net / self.net) - self.z_at_speed) / self.k
        } else {
            f64::INFINITY
        }
    }

    pub fn net_density(&self, x: f64) -> f64 {
        let place = (self.z_at_speed + self.k * x - Z_LOW) / Z_STEP;
        let place = place.clamp(0.0, (Z_COUNT - 1) as f64 - 1e-9);
        let (below, part) = (place as usize, place.fract());
        self.net * (self.share[below] * (1.0 - part) + self.share[below + 1] * part)
    }

    pub fn slope(&self, x: f64) -> f64 {
        (self.net_density(x + 0.005) - self.net_density(x - 0.005)) / 0.01
    }
}
