//! A scan at ever smaller sizes, 8 bits a channel, for drawing.
//!
//! The full size is never copied: its tiles are cut from the raster as they are looked at. The
//! smaller sizes together take a sixth of a 16-bit scan's memory.

use std::sync::Arc;

use rayon::prelude::*;

use crate::measure::raster::{Raster, Samples};
use crate::measure::watch::{Cancelled, Watch};

/// Side of a tile in pixels, well below every graphics card's limit.
pub const TILE: usize = 512;

/// One size of the scan, twice as coarse as the one before.
struct Level {
    width: usize,
    height: usize,
    /// Codes as shown, row by row, `channels` each.
    codes: Vec<u8>,
}

/// All sizes of a scan.
pub struct Pyramid {
    raster: Arc<Raster>,
    shown: Vec<Vec<u8>>,
    levels: Vec<Level>,
}

impl std::fmt::Debug for Pyramid {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        write!(f, "Pyramid of {} levels", self.levels.len() + 1)
    }
}

/// sRGB code of linear light (IEC 61966-2-1), 0 to 255.
fn screen_code(light: f32) -> u8 {
    let light = light.clamp(0.0, 1.0);
    let share = if light <= 0.003_130_8 {
        12.92 * light
    } else {
        1.055 * light.powf(1.0 / 2.4) - 0.055
    };
    (share * 255.0).round() as u8
}

impl Pyramid {
    /// Makes the smaller sizes.
    ///
    /// # Errors
    /// [`Cancelled`] when the watch says so.
    pub fn of(raster: &Arc<Raster>, watch: &dyn Watch) -> Result<Self, Cancelled> {
        // By channel, how each code value looks on the screen.
        let shown = raster
            .light
            .tables
            .iter()
            .map(|table| table.iter().map(|&light| screen_code(light)).collect())
            .collect();
        let mut pyramid = Self {
            raster: Arc::clone(raster),
            shown,
            levels: Vec::new(),
        };
        let (mut width, mut height) = (raster.width, raster.height);
        while width.max(height) > TILE {
            watch.at(pyramid.levels.len(), 16)?;
            let level = pyramid.halved(width, height);
            (width, height) = (level.width, level.height);
            pyramid.levels.push(level);
        }
        Ok(pyramid)
    }

    fn halved(&self, width: usize, height: usize) -> Level {
        let channels = self.raster.channels;
        let (wide, high) = (width.div_ceil(2), height.div_ceil(2));
        let from = self.levels.len();
        let mut codes = vec![0u8; wide * high * channels];
        codes
            .par_chunks_mut(wide * channels)
            .enumerate()
            .for_each_init(
                || (Vec::new(), Vec::new()),
                |(upper, lower), (y, out)| {
                    self.row(from, 2 * y, 0, width, upper);
                    self.row(from, (2 * y + 1).min(height - 1), 0, width, lower);
                    for x in 0..wide {
                        let right = (2 * x + 1).min(width - 1);
                        for channel in 0..channels {
                            let at = |row: &[u8], x: usize| u32::from(row[x * channels + channel]);
                            let sum = at(upper, 2 * x)
                                + at(upper, right)
                                + at(lower, 2 * x)
                                + at(lower, right);
                            out[x * channels + channel] = ((sum + 2) / 4) as u8;
                        }
                    }
                },
            );
        Level {
            width: wide,
            height: high,
            codes,
        }
    }

    /// Count of sizes, the full one counted.
    pub fn levels(&self) -> usize {
        self.levels.len() + 1
    }

    /// Width and height of a size.
    pub fn size(&self, level: usize) -> (usize, usize) {
        match level.checked_sub(1) {
            None => (self.raster.width, self.raster.height),
            Some(index) => (self.levels[index].width, self.levels[index].height),
        }
    }

    /// Codes of a part of a row, as shown.
    fn row(&self, level: usize, y: usize, from: usize, to: usize, out: &mut Vec<u8>) {
        out.clear();
        let channels = self.raster.channels;
        let (width, _) = self.size(level);
        let span = (y * width + from) * channels..(y * width + to) * channels;
        if let Some(index) = level.checked_sub(1) {
            out.extend_from_slice(&self.levels[index].codes[span]);
            return;
        }
        let table = |index: usize| &self.shown[(index % channels).min(self.shown.len() - 1)];
        match &self.raster.samples {
            Samples::Eight(codes) => out.extend(
                codes[span]
                    .iter()
                    .enumerate()
                    .map(|(index, &code)| table(index)[usize::from(code)]),
            ),
            Samples::Sixteen(codes) => out.extend(
                codes[span]
                    .iter()
                    .enumerate()
                    .map(|(index, &code)| table(index)[usize::from(code)]),
            ),
            Samples::Float(codes) => {
                out.extend(codes[span].iter().enumerate().map(|(index, &code)| {
                    let table = table(index);
                    let last = (table.len() - 1) as f32;
                    // What isn't a number is shown black.
                    table[(code * last).clamp(0.0, last) as usize]
                }))
            }
        }
    }

    /// A part of a size as a picture; parts beyond the edge are left out.
    pub fn cut(
        &self,
        level: usize,
        x: usize,
        y: usize,
        width: usize,
        height: usize,
    ) -> egui::ColorImage {
        let (wide, high) = self.size(level);
        let (to_x, to_y) = ((x + width).min(wide), (y + height).min(high));
        let size = [to_x.saturating_sub(x), to_y.saturating_sub(y)];
        let mut pixels = Vec::with_capacity(size[0] * size[1]);
        let mut row = Vec::new();
        for y in y..to_y {
            self.row(level, y, x, to_x, &mut row);
            if self.raster.channels == 1 {
                pixels.extend(row.iter().map(|&code| egui::Color32::from_gray(code)));
            } else {
                pixels.extend(
                    row.chunks_exact(3)
                        .map(|rgb| egui::Color32::from_rgb(rgb[0], rgb[1], rgb[2])),
                );
            }
        }
        egui::ColorImage::new(size, pixels)
    }

    /// Bytes that the smaller sizes take.
    pub fn bytes(&self) -> usize {
        self.levels.iter().map(|level| level.codes.len()).sum()
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::measure::raster::{Light, Origin, Weights};
    use crate::measure::watch::Unwatched;

    fn raster(width: usize, height: usize) -> Arc<Raster> {
        let linear: Arc<[f32]> = (0..=255u8).map(|code| f32::from(code) / 255.0).collect();
        Arc::new(Raster {
            width,
            height,
            channels: 1,
            samples: Samples::Eight((0..width * height).map(|i| (i % 2 * 255) as u8).collect()),
            light: Light {
                tables: vec![linear],
                weights: Weights::GREY,
                source: "test".into(),
            },
            pixels_per_mm: None,
            origin: Origin::default(),
        })
    }

    #[test]
    fn every_size_halves_the_one_before_down_to_one_tile() {
        let pyramid = Pyramid::of(&raster(1300, 700), &Unwatched).unwrap();
        let sizes: Vec<_> = (0..pyramid.levels())
            .map(|level| pyramid.size(level))
            .collect();
        assert_eq!(sizes, [(1300, 700), (650, 350), (325, 175)]);
    }

    #[test]
    fn a_chequer_of_black_and_white_becomes_grey_and_tiles_end_at_the_edge() {
        let pyramid = Pyramid::of(&raster(1300, 700), &Unwatched).unwrap();
        let tile = pyramid.cut(1, 512, 0, TILE, TILE);
        assert_eq!(tile.size, [650 - 512, 350]);
        assert!(
            tile.pixels
                .iter()
                .all(|pixel| (126..=129).contains(&pixel.r()))
        );
        let full = pyramid.cut(0, 0, 0, 2, 1);
        assert_eq!(full.pixels[0], egui::Color32::BLACK);
        assert_eq!(full.pixels[1], egui::Color32::WHITE);
    }

    #[test]
    fn the_smaller_sizes_take_a_third_of_the_pixels() {
        let pyramid = Pyramid::of(&raster(4096, 4096), &Unwatched).unwrap();
        assert!(pyramid.bytes() < 4096 * 4096 * 34 / 100);
    }
}
