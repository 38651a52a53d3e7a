//! A flatbed scanner: from light to code values.

use std::sync::Arc;

use rand::{Rng, RngCore, SeedableRng};
use rand_chacha::ChaCha8Rng;
use rand_distr::StandardNormal;
use rayon::prelude::*;

use super::paint::Painting;
use super::recipe::{Encoding, Level};
use crate::measure::raster::{Light, Origin, Raster, Samples};

/// Luminance weights of sRGB (IEC 61966-2-1).
pub const WEIGHTS: [f32; 3] = [0.2126, 0.7152, 0.0722];

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
    /// Encoding.
    pub encoding: Encoding,
    /// Bits per code.
    pub bits: u8,
    /// Colour.
    pub colour: bool,
    /// Tints of the five stuffs: how much more red and blue in the whites, and in the blacks.
    pub tints: [Tint; 5],
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
        self.add_haze(&mut light, width, per_mm);
        blur(&mut light, width, self.blur);
        let channels = if self.colour { 3 } else { 1 };
        let table = self.code_table();
        let noise = NoiseTable::new(seed);
        let top = if self.bits == 8 { 255.0 } else { 65535.0 };
        let row_codes = |y: usize, put: &mut dyn FnMut(usize, f32)| {
            let mut rolls = Rolls::new(seed, y as u64);
            let lamp_y = self.lamp.1 as f32 * (2.0 * y as f32 / height as f32 - 1.0);
            let scale = 2.0 / width as f32;
            for x in 0..width {
                let base = light[y * width + x];
                let lamp = 1.0 + lamp_y + self.lamp.0 as f32 * (x as f32 * scale - 1.0);
                for channel in 0..channels {
                    let mut value = base * lamp;
                    if channels == 3 {
                        value *= self.tints[stuff[y * width + x] as usize].factor(base, channel);
                    }
                    let sd = (self.read_noise * self.read_noise) as f32
                        + (self.shot_noise * self.shot_noise) as f32 * value.max(0.0);
                    value += sd.sqrt() * noise.at(rolls.next());
                    put(x * channels + channel, look_up(&table, value) * top + 0.5);
                }
            }
        };
        let row = width * channels;
        let samples = if self.bits == 8 {
            let mut codes = vec![0u8; row * height];
            codes
                .par_chunks_mut(row)
                .enumerate()
                .for_each(|(y, out)| row_codes(y, &mut |at, code| out[at] = code as u8));
            Samples::Eight(codes)
        } else {
            let mut codes = vec![0u16; row * height];
            codes
                .par_chunks_mut(row)
                .enumerate()
                .for_each(|(y, out)| row_codes(y, &mut |at, code| out[at] = code as u16));
            Samples::Sixteen(codes)
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

    /// Adds stray light: a share of the mean of the neighbourhood and of the whole glass.
    fn add_haze(&self, light: &mut [f32], width: usize, per_mm: f64) {
        let step = (per_mm * 2.0).round().max(1.0) as usize;
        let (columns, rows) = (width.div_ceil(step), (light.len() / width).div_ceil(step));
        let mut coarse = vec![0f32; columns * rows];
        coarse
            .par_chunks_mut(columns)
            .zip(light.par_chunks(width * step))
            .for_each(|(sums, band)| {
                let lines = (band.len() / width) as f32;
                for line in band.chunks_exact(width) {
                    for (sum, pixels) in sums.iter_mut().zip(line.chunks(step)) {
                        *sum += pixels.iter().sum::<f32>() / (pixels.len() as f32 * lines);
                    }
                }
            });
        let whole = coarse.iter().sum::<f32>() / coarse.len() as f32;
        blur(&mut coarse, columns, self.haze_reach * per_mm / step as f64);
        let (near, far) = (
            (self.haze * self.haze_near) as f32,
            (self.haze * (1.0 - self.haze_near)) as f32 * whole,
        );
        let keep = 1.0 - self.haze as f32;
        light
            .par_chunks_mut(width)
            .enumerate()
            .for_each(|(y, line)| {
                let v = ((y as f32 + 0.5) / step as f32 - 0.5).clamp(0.0, (rows - 1) as f32);
                let row = (v as usize).min(rows.saturating_sub(2));
                let below = (row + 1).min(rows - 1);
                let b = v - row as f32;
                for (x, pixel) in line.iter_mut().enumerate() {
                    let u = ((x as f32 + 0.5) / step as f32 - 0.5).clamp(0.0, (columns - 1) as f32);
                    let column = (u as usize).min(columns.saturating_sub(2));
                    let right = (column + 1).min(columns - 1);
                    let a = u - column as f32;
                    let upper = coarse[row * columns + column] * (1.0 - a)
                        + coarse[row * columns + right] * a;
                    let lower = coarse[below * columns + column] * (1.0 - a)
                        + coarse[below * columns + right] * a;
                    *pixel = keep * *pixel + near * (upper + (lower - upper) * b) + far;
                }
            });
    }
}

impl Tint {
    /// Factor on the reflectance of a channel; luminance stays as it is.
    fn factor(&self, light: f32, channel: usize) -> f32 {
        let black = (1.0 - light).clamp(0.0, 1.0);
        let red = self.white.0 + self.black.0 * black;
        let blue = self.white.1 + self.black.1 * black;
        match channel {
            0 => 1.0 + red,
            1 => 1.0 - (WEIGHTS[0] * red + WEIGHTS[2] * blue) / WEIGHTS[1],
            _ => 1.0 + blue,
        }
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
        weights: WEIGHTS,
        source: format!("stated: {}", encoding.name()),
    }
}

/// Gaussian blur in place, rows then columns; borders repeat.
pub fn blur(values: &mut [f32], width: usize, sd: f64) {
    if sd < 0.2 {
        return;
    }
    let reach = (3.0 * sd).ceil() as usize;
    let mut kernel: Vec<f32> = (0..=2 * reach)
        .map(|k| (-0.5 * ((k as f64 - reach as f64) / sd).powi(2)).exp() as f32)
        .collect();
    let sum: f32 = kernel.iter().sum();
    kernel.iter_mut().for_each(|tap| *tap /= sum);
    values
        .par_chunks_mut(width)
        .for_each_init(Vec::new, |padded, line| {
            padded.clear();
            padded.extend(std::iter::repeat_n(line[0], reach));
            padded.extend_from_slice(line);
            padded.extend(std::iter::repeat_n(line[width - 1], reach));
            for (x, value) in line.iter_mut().enumerate() {
                *value = kernel.iter().zip(&padded[x..]).map(|(k, p)| k * p).sum();
            }
        });
    let height = values.len() / width;
    let source = values.to_vec();
    values
        .par_chunks_mut(width)
        .enumerate()
        .for_each(|(y, line)| {
            line.fill(0.0);
            for (k, tap) in kernel.iter().enumerate() {
                let from = (y + k).saturating_sub(reach).min(height - 1) * width;
                for (value, above) in line.iter_mut().zip(&source[from..from + width]) {
                    *value += tap * above;
                }
            }
        });
}

/// Normal deviates kept in a table: drawing one costs a look-up.
struct NoiseTable(Vec<f32>);

impl NoiseTable {
    fn new(seed: u64) -> Self {
        let mut rng = ChaCha8Rng::seed_from_u64(seed ^ 0x6e6f_6973);
        Self((0..1 << 16).map(|_| rng.sample(StandardNormal)).collect())
    }

    fn at(&self, roll: u16) -> f32 {
        self.0[usize::from(roll)]
    }
}

/// A quick stream of table places, one a row, so that threads don't matter (xorshift64*).
struct Rolls(u64);

impl Rolls {
    fn new(seed: u64, row: u64) -> Self {
        let mut rng = ChaCha8Rng::seed_from_u64(seed ^ (row << 20) ^ 0x726f_6c6c);
        Self(rng.next_u64() | 1)
    }

    fn next(&mut self) -> u16 {
        self.0 ^= self.0 >> 12;
        self.0 ^= self.0 << 25;
        self.0 ^= self.0 >> 27;
        (self.0.wrapping_mul(0x2545_f491_4f6c_dd1d) >> 48) as u16
    }
}
