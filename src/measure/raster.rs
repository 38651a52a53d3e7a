//! A decoded scan: code values, and how they become linear light.

use std::sync::Arc;

use rayon::prelude::*;
use serde::{Deserialize, Serialize};

/// Code values, row by row, channels interleaved.
#[derive(Debug, Clone, PartialEq)]
pub enum Samples {
    /// 8 bits.
    Eight(Vec<u8>),
    /// 16 bits.
    Sixteen(Vec<u16>),
    /// Floating point, nominally 0 to 1.
    Float(Vec<f32>),
}

impl Samples {
    /// Count of code values.
    pub fn len(&self) -> usize {
        match self {
            Self::Eight(codes) => codes.len(),
            Self::Sixteen(codes) => codes.len(),
            Self::Float(codes) => codes.len(),
        }
    }

    /// Whether there are none.
    pub fn is_empty(&self) -> bool {
        self.len() == 0
    }
}

/// Which part of the light densities are read from.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, Default, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum Channel {
    /// Weighted sum of the channels: relative luminance by the file's colour space.
    #[default]
    Luminance,
    /// Weighted sum of the channels: the light that a visual densitometer weighs (ISO 5-3).
    Visual,
    /// First channel alone.
    Red,
    /// Second channel alone.
    Green,
    /// Third channel alone.
    Blue,
}

/// Every channel that densities can be read from.
pub const CHANNELS: [Channel; 5] = [
    Channel::Luminance,
    Channel::Visual,
    Channel::Red,
    Channel::Green,
    Channel::Blue,
];

/// How code values become linear light (1.0 is the encoding's white).
#[derive(Debug, Clone)]
pub struct Light {
    /// One table a channel, indexed by the code value (256 or 65,536 entries); for
    /// [`Samples::Float`] it spans 0 to 1 and is read with linear interpolation.
    pub tables: Vec<Arc<[f32]>>,
    /// Shares of the channels where several are read as one.
    pub weights: Weights,
    /// Where the conversion comes from, in words ("embedded profile 'Display P3'", "stated: sRGB").
    pub source: String,
}

impl Light {
    /// Exponent of the first channel's curve between a fifth of full scale and all of it: 1 for codes
    /// proportional to light, about 2.1 for sRGB.
    pub fn exponent(&self) -> f64 {
        const FIFTH: f64 = 0.2;
        let table = &self.tables[0];
        let last = table.len() - 1;
        let place = FIFTH * last as f64;
        let below = place as usize;
        let share = place - below as f64;
        let (low, high) = (
            f64::from(table[below]),
            f64::from(table[(below + 1).min(last)]),
        );
        let fifth = low + (high - low) * share;
        (fifth / f64::from(table[last])).ln() / FIFTH.ln()
    }
}

/// Share of each channel in what is read from all three; each set sums to 1, so that a neutral
/// tone reads the same by either.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Weights {
    /// In the relative luminance.
    pub luminance: [f32; 3],
    /// In the light of illuminant A as the eye has it ([`super::visual::of_primaries`]).
    pub visual: [f32; 3],
}

impl Weights {
    /// Of a scan with one channel.
    pub const GREY: Self = Self {
        luminance: [1.0, 0.0, 0.0],
        visual: [1.0, 0.0, 0.0],
    };

    /// Of the sRGB primaries (IEC 61966-2-1, ITU-R BT.709; D50 as in profiles).
    pub const SRGB: Self = Self {
        luminance: [0.2126, 0.7152, 0.0722],
        visual: [0.3115, 0.6504, 0.0381],
    };
}

/// Facts of the file that the checks of the scan need.
#[derive(Debug, Clone, PartialEq, Eq, Default)]
pub struct Origin {
    /// Bits per code value in the file.
    pub bits: u8,
    /// Compressed with loss (JPEG).
    pub lossy: bool,
    /// What was passed over or put right while decoding, in words.
    pub notes: Vec<String>,
}

/// A decoded scan. Never changed once made; shared behind an `Arc`.
#[derive(Debug, Clone)]
pub struct Raster {
    /// Width in pixels.
    pub width: usize,
    /// Height in pixels.
    pub height: usize,
    /// 1 (grey) or 3 (RGB).
    pub channels: usize,
    /// `width * height * channels` code values.
    pub samples: Samples,
    /// The way to linear light.
    pub light: Light,
    /// Pixels per millimetre, where the file says so (mean of both directions).
    pub pixels_per_mm: Option<f64>,
    /// Facts of the file.
    pub origin: Origin,
}

impl Raster {
    /// Linear light of every pixel of a row from `from` to before `to`, put into `out`.
    ///
    /// On a grey scan every channel is the same.
    pub fn linear_row(
        &self,
        y: usize,
        from: usize,
        to: usize,
        channel: Channel,
        out: &mut Vec<f32>,
    ) {
        out.clear();
        let start = (y * self.width + from) * self.channels;
        let end = (y * self.width + to) * self.channels;
        match &self.samples {
            Samples::Eight(codes) => self.whole_codes::<_, 256>(&codes[start..end], channel, out),
            Samples::Sixteen(codes) => {
                self.whole_codes::<_, 65_536>(&codes[start..end], channel, out)
            }
            Samples::Float(codes) => {
                let tables = self.tables().map(|table| &**table);
                self.linear_codes(&codes[start..end], tables, channel, out, interpolate)
            }
        }
    }

    /// The tables of the channels; a grey scan's counts for all three.
    fn tables(&self) -> [&Arc<[f32]>; 3] {
        let tables = &self.light.tables;
        [0, 1, 2].map(|channel: usize| &tables[channel.min(tables.len() - 1)])
    }

    /// Light of whole-number codes, of which there are `N`. Tables of a length that is known
    /// when the program is built are read without asking whether an entry is there, which takes
    /// as long as the reading.
    fn whole_codes<C: Copy + Into<usize>, const N: usize>(
        &self,
        codes: &[C],
        channel: Channel,
        out: &mut Vec<f32>,
    ) {
        let tables = self.tables().map(|table| {
            let whole = table.first_chunk::<N>();
            whole.expect("a table has an entry for every code value")
        });
        self.linear_codes(codes, tables, channel, out, |table, code| {
            table[code.into()]
        });
    }

    fn linear_codes<T: Copy, C: Copy>(
        &self,
        codes: &[C],
        tables: [T; 3],
        channel: Channel,
        out: &mut Vec<f32>,
        look_up: impl Fn(T, C) -> f32,
    ) {
        if self.channels == 1 {
            out.extend(codes.iter().map(|&code| look_up(tables[0], code)));
            return;
        }
        let (pixels, _) = codes.as_chunks::<3>();
        let mut weighted = |[r, g, b]: [f32; 3]| {
            out.extend(pixels.iter().map(|rgb| {
                r * look_up(tables[0], rgb[0])
                    + g * look_up(tables[1], rgb[1])
                    + b * look_up(tables[2], rgb[2])
            }));
        };
        match channel {
            Channel::Luminance => weighted(self.light.weights.luminance),
            Channel::Visual => weighted(self.light.weights.visual),
            Channel::Red => out.extend(pixels.iter().map(|rgb| look_up(tables[0], rgb[0]))),
            Channel::Green => out.extend(pixels.iter().map(|rgb| look_up(tables[1], rgb[1]))),
            Channel::Blue => out.extend(pixels.iter().map(|rgb| look_up(tables[2], rgb[2]))),
        }
    }

    /// Linear light of the bright end of the scan: what nearly every tenth part of the pixels
    /// exceeds, on a grid of every 16th. The lid, where one is seen around the strips.
    pub fn white(&self, channel: Channel) -> f64 {
        let mut light: Vec<f32> = Vec::new();
        let mut row = Vec::new();
        for y in (0..self.height).step_by(16) {
            self.linear_row(y, 0, self.width, channel, &mut row);
            light.extend(row.iter().step_by(16));
        }
        let place = light.len() * 9 / 10;
        if light.is_empty() {
            return 1.0;
        }
        let (_, white, _) = light.select_nth_unstable_by(place, f32::total_cmp);
        f64::from(*white)
    }

    /// The same as a code value, share of full scale, in the channel with the largest share.
    pub fn white_code_share(&self, channel: Channel) -> f64 {
        let weights = match channel {
            Channel::Visual => self.light.weights.visual,
            _ => self.light.weights.luminance,
        };
        let main = match channel {
            Channel::Red => 0,
            Channel::Green => 1,
            Channel::Blue => 2,
            Channel::Luminance | Channel::Visual => (0..self.channels)
                .max_by(|&a, &b| weights[a].total_cmp(&weights[b]))
                .unwrap_or(0),
        };
        let main = main.min(self.channels - 1);
        let mut shares: Vec<f32> = (0..self.height)
            .step_by(16)
            .flat_map(|y| (0..self.width).step_by(16).map(move |x| (x, y)))
            .map(|(x, y)| self.code_share(x, y, main))
            .collect();
        let place = shares.len() * 9 / 10;
        if shares.is_empty() {
            return 1.0;
        }
        let (_, white, _) = shares.select_nth_unstable_by(place, f32::total_cmp);
        f64::from(*white)
    }

    /// The code value of a pixel as a share of full scale, for histograms and the magnifier.
    pub fn code_share(&self, x: usize, y: usize, channel: usize) -> f32 {
        let at = (y * self.width + x) * self.channels + channel;
        match &self.samples {
            Samples::Eight(codes) => f32::from(codes[at]) / 255.0,
            Samples::Sixteen(codes) => f32::from(codes[at]) / 65535.0,
            Samples::Float(codes) => codes[at],
        }
    }

    /// A reduced picture in linear light, each pixel the mean of a square of `step` x `step`
    /// full pixels (the last row and column may average fewer).
    pub fn overview(&self, step: usize, channel: Channel) -> Overview {
        let step = step.max(1);
        let width = self.width.div_ceil(step);
        let height = self.height.div_ceil(step);
        let mut light = vec![0f32; width * height];
        light.par_chunks_mut(width).enumerate().for_each_init(
            Vec::new,
            |row, (index, sums): (usize, &mut [f32])| {
                let rows = index * step..((index + 1) * step).min(self.height);
                let count = rows.len();
                for y in rows {
                    self.linear_row(y, 0, self.width, channel, row);
                    // The steps of scans at 300, 400, 600, 800 and 1,200 dots per inch.
                    match step {
                        2 => add_means_of::<2>(row, sums),
                        3 => add_means_of::<3>(row, sums),
                        5 => add_means_of::<5>(row, sums),
                        6 => add_means_of::<6>(row, sums),
                        9 => add_means_of::<9>(row, sums),
                        _ => add_means(row.chunks(step), sums),
                    }
                }
                for sum in sums.iter_mut() {
                    *sum /= count as f32;
                }
            },
        );
        Overview {
            width,
            height,
            step,
            light,
        }
    }
}

/// Adds the mean of each run of pixels to its sum.
fn add_means<'a>(runs: impl Iterator<Item = &'a [f32]>, sums: &mut [f32]) {
    for (sum, run) in sums.iter_mut().zip(runs) {
        *sum += run.iter().sum::<f32>() / run.len() as f32;
    }
}

/// The same for runs of `STEP` pixels, of which the last may have fewer: a length that is known
/// when the program is built takes half the time.
fn add_means_of<const STEP: usize>(row: &[f32], sums: &mut [f32]) {
    let (runs, rest) = row.as_chunks::<STEP>();
    for (sum, run) in sums.iter_mut().zip(runs) {
        *sum += run.iter().sum::<f32>() / STEP as f32;
    }
    add_means(rest.chunks(STEP), &mut sums[runs.len()..]);
}

fn interpolate(table: &[f32], code: f32) -> f32 {
    let last = (table.len() - 1) as f32;
    let place = if code.is_finite() {
        (code * last).clamp(0.0, last)
    } else {
        0.0
    };
    let below = place.floor() as usize;
    let above = (below + 1).min(table.len() - 1);
    let share = place - below as f32;
    table[below] * (1.0 - share) + table[above] * share
}

/// A reduced picture of a scan in linear light, for finding things.
#[derive(Debug, Clone)]
pub struct Overview {
    /// Width in overview pixels.
    pub width: usize,
    /// Height in overview pixels.
    pub height: usize,
    /// Full pixels per overview pixel, each way.
    pub step: usize,
    /// Linear light, row by row.
    pub light: Vec<f32>,
}
