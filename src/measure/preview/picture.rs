//! The print's scan at screen size, as densities, and the histogram of the whole of it.

use std::sync::Mutex;
use std::sync::atomic::{AtomicUsize, Ordering};

use rayon::prelude::*;

use super::tones::{LEVELS, Loss, Table, encoded_srgb, level_of_density};
use crate::measure::raster::{Channel, Raster};
use crate::measure::scale::DensityScale;
use crate::measure::units::reflectance_of;
use crate::measure::watch::{Cancelled, Watch};

/// Bars of the marks: one in this many pixels along a diagonal, two pixels thick.
const HATCH: usize = 8;

/// How many pixels of a print have each density (of [`LEVELS`] levels).
#[derive(Debug, Clone, PartialEq)]
pub struct Histogram {
    /// Pixels by level.
    pub counts: Vec<u64>,
}

impl Histogram {
    /// Of nothing.
    pub fn empty() -> Self {
        Self {
            counts: vec![0; LEVELS],
        }
    }

    /// Count of all pixels.
    pub fn total(&self) -> u64 {
        self.counts.iter().sum()
    }
}

/// From linear light to the density level, by a table over the scanner density.
pub(super) struct ByLight {
    densities: Vec<f32>,
}

impl ByLight {
    /// Scanner density of the first entry.
    const FIRST: f64 = -0.5;
    /// Entries a unit of scanner density; straight lines between them are good to 0.0001 D.
    const PER_UNIT: f64 = 1024.0;
    /// Entries.
    const COUNT: usize = 6 * 1024;

    /// The table of a scale.
    pub(super) fn new(scale: &dyn DensityScale) -> Self {
        let at = |i: usize| scale.density(Self::FIRST + i as f64 / Self::PER_UNIT) as f32;
        Self {
            densities: (0..Self::COUNT).map(at).collect(),
        }
    }

    /// Density of linear light; black goes to the dark end of the table.
    pub(super) fn density(&self, light: f32) -> f32 {
        let s = -f64::from(light.max(1e-6)).log10();
        let last = (Self::COUNT - 2) as f64;
        let place = ((s - Self::FIRST) * Self::PER_UNIT).clamp(0.0, last);
        let below = place as usize;
        let share = (place - below as f64) as f32;
        self.densities[below] + share * (self.densities[below + 1] - self.densities[below])
    }
}

/// A print's scan at screen size.
#[derive(Debug, Clone, PartialEq)]
pub struct PrintPicture {
    /// Width in pixels.
    pub width: usize,
    /// Height in pixels.
    pub height: usize,
    /// Print density of each pixel as a level, row by row. A pixel is the mean, in linear
    /// light, of the scan's pixels that it stands for.
    pub levels: Vec<u16>,
    /// The print itself as screen values (sRGB, 8 bits), by its densities and its own colour.
    pub screen: Vec<[u8; 3]>,
    /// Densities of all pixels of the scan at its full size.
    pub histogram: Histogram,
}

impl PrintPicture {
    /// The screen-size copy of a scan, at most `longest` pixels on its longer side.
    ///
    /// # Errors
    /// When it is called off.
    pub fn new(
        raster: &Raster,
        scale: &dyn DensityScale,
        channel: Channel,
        longest: usize,
        watch: &dyn Watch,
    ) -> Result<Self, Cancelled> {
        let step = raster.width.max(raster.height).div_ceil(longest.max(1));
        let step = step.max(1);
        let (width, height) = (raster.width.div_ceil(step), raster.height.div_ceil(step));
        let by_light = ByLight::new(scale);
        let mut levels = vec![0u16; width * height];
        let mut screen = vec![[0u8; 3]; width * height];
        let histogram = Mutex::new(Histogram::empty());
        let done = AtomicUsize::new(0);
        let rows = levels
            .par_chunks_mut(width)
            .zip(screen.par_chunks_mut(width));
        rows.enumerate().try_for_each_init(
            || Reader {
                row: vec![],
                counts: Counts {
                    counts: vec![0; LEVELS],
                    to: &histogram,
                },
            },
            |reader, (index, (levels, screen))| {
                watch.at(done.fetch_add(1, Ordering::Relaxed), height)?;
                let rows = index * step..((index + 1) * step).min(raster.height);
                let light = reader.means(raster, rows.clone(), step, channel, Some(&by_light));
                let colours = (raster.channels == 3).then(|| {
                    [Channel::Red, Channel::Green, Channel::Blue]
                        .map(|channel| reader.means(raster, rows.clone(), step, channel, None))
                });
                for (x, &light) in light.iter().enumerate() {
                    let density = f64::from(by_light.density(light));
                    levels[x] = level_of_density(density);
                    let seen = reflectance_of(density) as f32;
                    screen[x] = match &colours {
                        Some(colours) if light > 0.0 => {
                            std::array::from_fn(|i| colours[i][x] / light * seen)
                        }
                        _ => [seen; 3],
                    }
                    .map(|light| (encoded_srgb(light) * 255.0).round() as u8);
                }
                Ok(())
            },
        )?;
        let histogram = histogram
            .into_inner()
            .unwrap_or_else(std::sync::PoisonError::into_inner);
        Ok(Self {
            width,
            height,
            levels,
            screen,
            histogram,
        })
    }

    /// The picture on the coating as screen values; with `marks`, hatched where tones of the
    /// print are lost: bars rising to the right where highlights go blank, falling to the
    /// right where shadows block.
    pub fn shown(&self, table: &Table, marks: bool) -> Vec<[u8; 3]> {
        let mut shown = vec![[0u8; 3]; self.levels.len()];
        let rows = shown
            .par_chunks_mut(self.width)
            .zip(self.levels.par_chunks(self.width));
        rows.enumerate().for_each(|(y, (shown, levels))| {
            for (x, (shown, &level)) in shown.iter_mut().zip(levels).enumerate() {
                let level = usize::from(level);
                let bar = match table.loss[level] {
                    Loss::Blank(true) if marks => ((x + y) % HATCH < 2).then_some(0),
                    // Counted from the far side, so that it never goes below zero.
                    Loss::Blocked(true) if marks => {
                        ((x + HATCH - y % HATCH) % HATCH < 2).then_some(255)
                    }
                    _ => None,
                };
                *shown = bar.map_or(table.screen[level], |tone| [tone; 3]);
            }
        });
        shown
    }
}

/// Counts of one thread, added to those of all when it is done.
struct Counts<'a> {
    counts: Vec<u64>,
    to: &'a Mutex<Histogram>,
}

impl Drop for Counts<'_> {
    fn drop(&mut self) {
        let mut to = self
            .to
            .lock()
            .unwrap_or_else(std::sync::PoisonError::into_inner);
        for (sum, count) in to.counts.iter_mut().zip(&self.counts) {
            *sum += count;
        }
    }
}

/// Reads bands of rows.
struct Reader<'a> {
    row: Vec<f32>,
    counts: Counts<'a>,
}

impl Reader<'_> {
    /// Mean light of squares of `step` pixels over a band of rows; with a table the densities
    /// of all its pixels are counted.
    fn means(
        &mut self,
        raster: &Raster,
        rows: std::ops::Range<usize>,
        step: usize,
        channel: Channel,
        counted: Option<&ByLight>,
    ) -> Vec<f32> {
        let mut means = vec![0f32; raster.width.div_ceil(step)];
        let count = rows.len() as f32;
        for y in rows {
            raster.linear_row(y, 0, raster.width, channel, &mut self.row);
            if let Some(by_light) = counted {
                for &light in &self.row {
                    let level = level_of_density(f64::from(by_light.density(light)));
                    self.counts.counts[usize::from(level)] += 1;
                }
            }
            for (mean, pixels) in means.iter_mut().zip(self.row.chunks(step)) {
                *mean += pixels.iter().sum::<f32>() / pixels.len() as f32 / count;
            }
        }
        means
    }
}
