//! Small scans for the tests of the checks: one strip with a margin and steps, lying along the
//! rows, with a tone curve, a coat and noise of one's choice. All of it is invented.

use std::fmt;
use std::sync::Arc;

use rand::{Rng as _, SeedableRng as _};
use rand_chacha::ChaCha8Rng;
use rand_distr::StandardNormal;

use super::sample::Target;
use crate::measure::geometry::{Edge, Field, Point, StripShape};
use crate::measure::raster::{Light, Origin, Raster, Samples, Weights};

/// A change of light or of a code share.
type Change = Box<dyn Fn(f64) -> f64>;

/// A change of a channel's code shares: row by row, with the width.
pub type Retouch = Box<dyn Fn(&mut [f64], usize)>;

/// What to make.
pub struct Bench {
    /// What it is called when a test fails.
    pub name: &'static str,
    /// Density of the margin and of each step.
    pub densities: Vec<f64>,
    /// Pixels along a field.
    pub step: usize,
    /// Pixels across the strip.
    pub width: usize,
    /// Pixels over which the card's penumbra spreads an edge.
    pub penumbra: f64,
    /// Standard deviation of the scanner's noise as a share of light, and as light.
    pub noise: (f64, f64),
    /// Standard deviation of the coat's mottle, density.
    pub mottle: f64,
    /// Added to the density at a pixel (along, across in pixels from the strip's corner).
    pub extra: Box<dyn Fn(f64, f64) -> f64>,
    /// What the software makes of the scanner's light.
    pub tone: Change,
    /// What the software makes of the encoded code share.
    pub code: Change,
    /// What the software makes of a channel's code shares.
    pub retouch: Retouch,
    /// Bits per code.
    pub bits: u8,
    /// Density of each channel for one of the neutral (colour of the image).
    pub tint: Option<[f64; 3]>,
    /// Seed of noise and mottle.
    pub seed: u64,
}

impl fmt::Debug for Bench {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(self.name)
    }
}

impl Bench {
    /// An even coat and a quiet scanner.
    pub fn plain() -> Self {
        Self {
            name: "plain",
            densities: vec![0.08, 0.1, 0.16, 0.3, 0.55, 0.9, 1.2, 1.4, 1.5],
            step: 90,
            width: 120,
            penumbra: 8.0,
            noise: (0.004, 0.0004),
            mottle: 0.0,
            extra: Box::new(|_, _| 0.0),
            tone: Box::new(|light| light),
            code: Box::new(|code| code),
            retouch: Box::new(|_, _| ()),
            bits: 16,
            tint: None,
            seed: 11,
        }
    }

    /// A rough coat.
    pub fn mottled() -> Self {
        Self {
            name: "mottled",
            mottle: 0.05,
            ..Self::plain()
        }
    }

    /// A noisy scanner.
    pub fn noisy() -> Self {
        Self {
            name: "noisy",
            noise: (0.03, 0.004),
            ..Self::plain()
        }
    }

    /// Scans on which nothing is wrong.
    pub fn clean() -> [Self; 3] {
        [Self::plain(), Self::mottled(), Self::noisy()]
    }

    /// The scan and where the strip lies on it.
    pub fn make(&self) -> (Raster, StripShape) {
        let fields = self.densities.len();
        let border = 40;
        let (length, across) = (self.step * fields, self.width);
        let (width, height) = (length + 2 * border, across + 2 * border);
        let mut rng = ChaCha8Rng::seed_from_u64(self.seed);
        let mottle = Mottle::draw(&mut rng, self.mottle);
        let channels = if self.tint.is_some() { 3 } else { 1 };
        let mut planes = vec![vec![0.0; width * height]; channels];
        for y in 0..height {
            for x in 0..width {
                let (u, v) = (x as f64 - border as f64, y as f64 - border as f64);
                let inside = u >= 0.0 && v >= 0.0 && u < length as f64 && v < across as f64;
                let density = if inside {
                    self.density_at(u) + mottle.at(u, v) * self.slope_at(u) + (self.extra)(u, v)
                } else {
                    0.03
                };
                for (channel, plane) in planes.iter_mut().enumerate() {
                    let tint = self.tint.map_or(1.0, |tint| tint[channel]);
                    let light = 0.9 * 10f64.powf(-density * if inside { tint } else { 1.0 });
                    let scatter = self.noise.0 * light + self.noise.1;
                    let light = light + scatter * rng.sample::<f64, _>(StandardNormal);
                    plane[y * width + x] = (self.code)(encode((self.tone)(light)));
                }
            }
        }
        for plane in &mut planes {
            (self.retouch)(plane, width);
        }
        let corner = |u: usize, v: usize| Point::new((border + u) as f64, (border + v) as f64);
        let shape = StripShape {
            scan: 0,
            corners: [
                corner(0, 0),
                corner(0, across),
                corner(length, across),
                corner(length, 0),
            ],
            edges: (0..=fields)
                .map(|edge| Edge::square(edge as f64 / fields as f64))
                .collect(),
            fields: std::iter::once(Field::Margin)
                .chain((0..fields - 1).map(Field::Step))
                .collect(),
            unexposed: vec![],
        };
        (raster(&planes, width, height, self.bits), shape)
    }

    /// The scan with each step edge blurred by the penumbra.
    fn density_at(&self, u: f64) -> f64 {
        let place = u / self.step as f64;
        let field = (place.floor().max(0.0) as usize).min(self.densities.len() - 1);
        let near = place.round() as usize;
        if near == 0 || near >= self.densities.len() {
            return self.densities[field];
        }
        let off = (place - near as f64) * self.step as f64 / self.penumbra.max(0.01);
        let share = (off + 0.5).clamp(0.0, 1.0);
        let share = share * share * (3.0 - 2.0 * share);
        self.densities[near - 1] * (1.0 - share) + self.densities[near] * share
    }

    /// How much the mottle shows: fully where the image is dark, not at all in the base.
    fn slope_at(&self, u: f64) -> f64 {
        (self.density_at(u) - self.densities[0]) / 0.8
    }
}

/// A strip of the first index, for the checks.
pub fn target(shape: &StripShape) -> Target<'_> {
    Target::whole(Some(0), shape)
}

/// A few waves in random directions, 30 to 90 pixels long.
struct Mottle(Vec<[f64; 4]>);

impl Mottle {
    fn draw(rng: &mut ChaCha8Rng, deviation: f64) -> Self {
        const WAVES: usize = 12;
        let amplitude = deviation * (2.0 / WAVES as f64).sqrt();
        Self(
            (0..WAVES)
                .map(|_| {
                    let number = std::f64::consts::TAU / rng.random_range(30.0..90.0);
                    let (sin, cos) = rng.random_range(0.0..std::f64::consts::PI).sin_cos();
                    let phase = rng.random_range(0.0..std::f64::consts::TAU);
                    [amplitude, number * cos, number * sin, phase]
                })
                .collect(),
        )
    }

    fn at(&self, u: f64, v: f64) -> f64 {
        self.0
            .iter()
            .map(|[amplitude, x, y, phase]| amplitude * (x * u + y * v + phase).cos())
            .sum()
    }
}

/// A scan from code shares, encoded in sRGB (IEC 61966-2-1).
pub fn raster(planes: &[Vec<f64>], width: usize, height: usize, bits: u8) -> Raster {
    let channels = planes.len();
    let top = f64::from((1u32 << bits) - 1);
    let codes = (0..width * height * channels)
        .map(|at| planes[at % channels][at / channels].clamp(0.0, 1.0));
    let samples = if bits == 8 {
        Samples::Eight(codes.map(|code| (code * top).round() as u8).collect())
    } else {
        Samples::Sixteen(codes.map(|code| (code * top).round() as u16).collect())
    };
    let table: Arc<[f32]> = (0..=top as u32)
        .map(|code| decode(f64::from(code) / top) as f32)
        .collect();
    Raster {
        width,
        height,
        channels,
        samples,
        light: Light {
            tables: vec![table; channels],
            weights: Weights::SRGB,
            source: "stated: sRGB".to_owned(),
        },
        pixels_per_mm: Some(4.0),
        origin: Origin {
            bits,
            lossy: false,
            notes: vec![],
        },
    }
}

fn encode(light: f64) -> f64 {
    if light <= 0.003_130_8 {
        12.92 * light.max(0.0)
    } else {
        1.055 * light.min(1.0).powf(1.0 / 2.4) - 0.055
    }
}

fn decode(code: f64) -> f64 {
    if code <= 0.040_45 {
        code / 12.92
    } else {
        ((code + 0.055) / 1.055).powf(2.4)
    }
}
