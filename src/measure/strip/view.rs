//! The picture that things are looked for in: an overview in scanner density.

use rayon::prelude::*;

use crate::measure::geometry::Point;
use crate::measure::raster::Overview;

/// Light below this counts as this: density 4, below any scanner's reach.
const DARKEST_LIGHT: f32 = 1e-4;

/// A reduced scan in scanner density (-log10 of linear light).
///
/// *View* coordinates are view pixels with (0, 0) at the outer corner of the first one.
#[derive(Debug, Clone)]
pub(super) struct View {
    pub scan: usize,
    pub width: usize,
    pub height: usize,
    /// Scan pixels per view pixel, each way.
    pub step: usize,
    /// View pixels per millimetre, when the scan's resolution is known.
    pub per_mm: Option<f64>,
    pub density: Vec<f32>,
}

impl View {
    pub fn new(scan: usize, overview: &Overview, scan_pixels_per_mm: Option<f64>) -> Self {
        let density = overview
            .light
            .par_iter()
            .map(|&light| {
                // Not-a-number compares false and becomes the darkest.
                let light = if light > DARKEST_LIGHT {
                    light
                } else {
                    DARKEST_LIGHT
                };
                -light.log10()
            })
            .collect();
        Self {
            scan,
            width: overview.width,
            height: overview.height,
            step: overview.step,
            per_mm: scan_pixels_per_mm.map(|pixels| pixels / overview.step as f64),
            density,
        }
    }

    /// The view reduced once more by a whole factor (mean density of each square).
    pub fn reduced(&self, factor: usize) -> Self {
        let factor = factor.max(1);
        let width = (self.width / factor).max(1);
        let height = (self.height / factor).max(1);
        let mut density = vec![0f32; width * height];
        density
            .par_chunks_mut(width)
            .enumerate()
            .for_each(|(row, out)| {
                let rows = row * factor..((row + 1) * factor).min(self.height);
                let count = (rows.len() * factor.min(self.width)) as f32;
                for y in rows {
                    let line = &self.density[y * self.width..(y + 1) * self.width];
                    for (sum, pixels) in out.iter_mut().zip(line.chunks(factor)) {
                        *sum += pixels.iter().sum::<f32>();
                    }
                }
                for sum in out.iter_mut() {
                    *sum /= count;
                }
            });
        Self {
            scan: self.scan,
            width,
            height,
            step: self.step * factor,
            per_mm: self.per_mm.map(|pixels| pixels / factor as f64),
            density,
        }
    }

    /// Whether a place lies on the view.
    pub fn holds(&self, place: Point) -> bool {
        place.x >= 0.0
            && place.y >= 0.0
            && place.x < self.width as f64
            && place.y < self.height as f64
    }

    /// Density of the nearest pixel; places outside count as the border's.
    pub fn nearest(&self, place: Point) -> f32 {
        let x = place.x.clamp(0.0, (self.width - 1) as f64) as usize;
        let y = place.y.clamp(0.0, (self.height - 1) as f64) as usize;
        self.density[y * self.width + x]
    }

    /// Density between pixel centres, bilinear; places outside count as the border's.
    pub fn between(&self, place: Point) -> f32 {
        let x = (place.x - 0.5).clamp(0.0, (self.width - 1) as f64);
        let y = (place.y - 0.5).clamp(0.0, (self.height - 1) as f64);
        let (left, top) = (x as usize, y as usize);
        let right = (left + 1).min(self.width - 1);
        let bottom = (top + 1).min(self.height - 1);
        let (share_x, share_y) = ((x - left as f64) as f32, (y - top as f64) as f32);
        let row = |y: usize| {
            let line = &self.density[y * self.width..];
            line[left] + (line[right] - line[left]) * share_x
        };
        let (upper, lower) = (row(top), row(bottom));
        upper + (lower - upper) * share_y
    }
}
