//! A flatbed scanner: from light to code values.

use std::sync::Arc;

use rand::Rng;
use rayon::prelude::*;

use super::noise::{NoiseTable, Rolls};
use super::optics::{add_haze, blur};
use super::paint::Painting;
use super::recipe::{Encoding, Level};
use super::scene::Stuff;
use crate::measure::raster::{Light, Origin, Raster, Samples, Weights};

/// How a scanner sees.
#[derive(Debug, Clone)]
pub struct Scanner {
    /// Share of the light that is stray.
    pub haze: f64,
    /// Share of the stray light that comes from the near neighbourhood; the rest from the
    /// whole glass.
    pub haze_near: f64,
    /// Reach of the near part, millimetres.
    pub haze_reach: f64,
    /// Blur of the optics, pixels (standard deviation).
    pub blur: f64,
    /// Noise of the dark signal, linear light.
    pub read_noise: f64,
    /// Noise of full white, linear light; falls with the root of the light.
    pub shot_noise: f64,
    /// Factor on the light.
    pub gain: f64,
    /// Exponent of the scanner's own tone curve.
    pub exponent: f64,
    /// Unevenness of the lamp: across the glass, and along it, as shares.
    pub lamp: (f64, f64),
    /// What the lamp or the sensor shades from top to bottom.
    pub shade: Option<Shade>,
    /// Encoding.
    pub encoding: Encoding,
    /// Bits per code.
    pub bits: u8,
    /// Colour.
    pub colour: bool,
    /// Tints of the five stuffs: how much more red and blue in the whites, and in the blacks.
    pub tints: [Tint; 5],
}

/// A stretch of the lamp or the sensor that gives less light.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Shade {
    /// Where it is darkest, share of the width.
    pub at: f64,
    /// From there to where it ends, millimetres.
    pub reach: f64,
    /// Share of the light that is missing where it is darkest.
    pub depth: f64,
}

impl Shade {
    /// Factor on the light of each column: a raised cosine.
    fn columns(shade: Option<Self>, width: usize, per_mm: f64) -> Vec<f32> {
        let factor = |x: usize| {
            let shade = shade?;
            let away = (x as f64 + 0.5 - shade.at * width as f64) / per_mm;
            let share = (away / shade.reach).abs().min(1.0);
            let shape = (1.0 + (std::f64::consts::PI * share).cos()) / 2.0;
            Some((1.0 - shade.depth * shape) as f32)
        };
        (0..width).map(|x| factor(x).unwrap_or(1.0)).collect()
    }
}

/// Tint of a stuff: factors of red and blue, in the whites and in the blacks.
#[derive(Debug, Clone, Copy, PartialEq, Default)]
pub struct Tint {
    /// Red and blue of the whites, as excess over neutral.
    pub white: (f32, f32),
    /// Red and blue of the blacks.
    pub black: (f32, f32),
}

impl Scanner {
    /// A scanner of the kind met at a level.
    pub fn draw(rng: &mut impl Rng, level: Level) -> Self {
        let haze = match level {
            Level::Easy => rng.random_range(0.001..0.004),
            Level::Ordinary => rng.random_range(0.002..0.008),
            Level::Hard => rng.random_range(0.004..0.012),
        };
        let own = level.pick(0.03, 0.06, 0.10);
        let encoding = match rng.random_range(0..10) {
            0..6 => Encoding::Srgb,
            6..8 => Encoding::Gamma(2.2),
            8 => Encoding::Gamma(1.8),
            _ => Encoding::Linear,
        };
        let mut tint = |white: f32, black: f32| Tint {
            white: (
                rng.random_range(-white..white),
                rng.random_range(-white * 2.0..white),
            ),
            black: (
                rng.random_range(-black..black),
                rng.random_range(-black..black),
            ),
        };
        let tints = [
            tint(0.005, 0.0005),
            tint(0.02, 0.03),
            tint(0.03, 0.08),
            tint(0.04, 0.04),
            tint(0.01, 0.01),
        ];
        Self {
            haze,
            haze_near: rng.random_range(0.3..0.7),
            haze_reach: rng.random_range(4.0..15.0),
            blur: rng.random_range(0.5..1.0),
            read_noise: rng.random_range(0.0003..0.0012),
            shot_noise: rng.random_range(0.004..0.010),
            gain: 1.0 + rng.random_range(-own..own * 0.5),
            exponent: 1.0 + rng.random_range(-own..own),
            lamp: (
                rng.random_range(-1.0..1.0) * level.pick(0.002, 0.004, 0.006),
                rng.random_range(-1.0..1.0) * level.pick(0.002, 0.004, 0.006),
            ),
            shade: None,
            encoding,
            bits: 16,
            colour: rng.random_bool(0.7),
            tints,
        }
    }

    /// Scans a painting.
    pub fn scan(&self, painting: Painting, per_mm: f64, seed: u64) -> Raster {
        let Painting {
            width,
            mut light,
            stuff,
        } = painting;
        let height = light.len() / width;
        add_haze(self, &mut light, width, per_mm);
        blur(&mut light, width, self.blur);
        let channels = if self.colour { 3 } else { 1 };
        let table = self.code_table();
        let shade = Shade::columns(self.shade, width, per_mm);
        let noise = NoiseTable::new(seed);
        let seen = Seen {
            scanner: self,
            light: &light,
            stuff: &stuff,
            width,
            height,
            channels,
            table: &table,
            shade: &shade,
            noise: &noise,
            seed,
        };
        let samples = if self.bits == 8 {
            Samples::Eight(seen.codes(255.0, |code| code as u8))
        } else {
            Samples::Sixteen(seen.codes(65535.0, |code| code as u16))
        };
        Raster {
            width,
            height,
            channels,
            samples,
            light: light_of(self.encoding, self.bits, channels),
            pixels_per_mm: Some(per_mm),
            origin: Origin {
                bits: self.bits,
                lossy: false,
                notes: vec![],
            },
        }
    }

    /// Code share by the root of linear light, in even steps: gain, own tone curve, encoding.
    fn code_table(&self) -> Vec<f32> {
        (0..=8192)
            .map(|k| {
                let root = f64::from(k) / 8192.0 * TABLE_TOP;
                let seen = self.gain * (root * root).powf(self.exponent);
                self.encoding.encode(seen) as f32
            })
            .collect()
    }
}

impl Tint {
    /// Factors on the reflectance of the channels; luminance stays as it is.
    fn factors(&self, light: f32) -> [f32; 3] {
        let black = (1.0 - light).clamp(0.0, 1.0);
        let red = self.white.0 + self.black.0 * black;
        let blue = self.white.1 + self.black.1 * black;
        let [r, g, b] = Weights::SRGB.luminance;
        let green = -(r * red + b * blue) / g;
        [1.0 + red, 1.0 + green, 1.0 + blue]
    }
}

/// Everything that makes codes of the light on the sensor.
struct Seen<'a> {
    scanner: &'a Scanner,
    light: &'a [f32],
    stuff: &'a [Stuff],
    width: usize,
    height: usize,
    channels: usize,
    table: &'a [f32],
    shade: &'a [f32],
    noise: &'a NoiseTable,
    seed: u64,
}

impl Seen<'_> {
    /// Code values, rounded to whole steps of a scale that ends at `top`.
    fn codes<C: Copy + Default + Send>(&self, top: f32, whole: impl Fn(f32) -> C + Sync) -> Vec<C> {
        let Self {
            scanner,
            width,
            channels,
            ..
        } = *self;
        let read = (scanner.read_noise * scanner.read_noise) as f32;
        let shot = (scanner.shot_noise * scanner.shot_noise) as f32;
        let (lamp_x, lamp_y) = (scanner.lamp.0 as f32, scanner.lamp.1 as f32);
        let mut codes = vec![C::default(); width * channels * self.height];
        codes
            .par_chunks_mut(width * channels)
            .enumerate()
            .for_each(|(y, out)| {
                let mut rolls = Rolls::new(self.seed, y as u64);
                let start = 1.0 + lamp_y * (2.0 * y as f32 / self.height as f32 - 1.0) - lamp_x;
                let step = 2.0 * lamp_x / width as f32;
                let light = &self.light[y * width..][..width];
                let stuff = &self.stuff[y * width..][..width];
                for (x, (pixel, (&base, &stuff))) in out
                    .chunks_exact_mut(channels)
                    .zip(light.iter().zip(stuff))
                    .enumerate()
                {
                    let value = base * (start + step * x as f32) * self.shade[x];
                    let sd = (read + shot * value).sqrt();
                    let mut roll = rolls.roll();
                    let factors = if channels == 3 {
                        scanner.tints[stuff as usize].factors(base)
                    } else {
                        [1.0; 3]
                    };
                    for (code, factor) in pixel.iter_mut().zip(factors) {
                        let noisy = value * factor + sd * self.noise.at(roll);
                        roll >>= 16;
                        *code = whole(look_up(self.table, noisy) * top + 0.5);
                    }
                }
            });
        codes
    }
}

/// Root of the brightest light in the code table.
const TABLE_TOP: f64 = 1.1;

fn look_up(table: &[f32], light: f32) -> f32 {
    let last = (table.len() - 1) as f32;
    let place = (light.max(0.0).sqrt() * (last / TABLE_TOP as f32)).min(last - 0.01);
    let below = place as usize;
    table[below] + (table[below + 1] - table[below]) * (place - below as f32)
}

/// The way back to light, as stated.
pub fn light_of(encoding: Encoding, bits: u8, channels: usize) -> Light {
    let count = if bits == 8 { 256usize } else { 65536 };
    let table: Arc<[f32]> = (0..count)
        .map(|code| encoding.decode(code as f64 / (count - 1) as f64) as f32)
        .collect();
    Light {
        tables: vec![table; channels],
        weights: if channels == 3 {
            Weights::SRGB
        } else {
            Weights::GREY
        },
        source: format!("stated: {}", encoding.name()),
    }
}
