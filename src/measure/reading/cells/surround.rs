//! How light the neighbourhood of a cell is: it lends the cell a part of its stray light.

use crate::measure::geometry::{Point, StripShape};
use crate::measure::raster::{Channel, Raster};
use crate::measure::reading::{Around, REACHES_MM};

/// Distance between the places looked at, millimetres.
const PITCH_MM: f64 = 1.5;

/// Linear light around a strip, blurred to each reach of stray light.
pub struct Surround {
    left: f64,
    top: f64,
    pitch: f64,
    columns: usize,
    rows: usize,
    /// One picture a reach.
    blurred: [Vec<f32>; REACHES_MM.len()],
}

impl Surround {
    /// Looks around a strip. Beyond the scan its border is taken to go on.
    pub fn of(raster: &Raster, shape: &StripShape, per_mm: f64, channel: Channel) -> Option<Self> {
        let pitch = (PITCH_MM * per_mm).max(1.0);
        let farthest = REACHES_MM.iter().copied().fold(0.0, f64::max);
        let reach = 2.5 * farthest * per_mm;
        let bound = |of: fn(&Point) -> f64, most: usize| {
            let patches = shape.unexposed.iter().flatten();
            let (low, high) = shape
                .corners
                .iter()
                .chain(patches)
                .map(of)
                .fold((f64::INFINITY, f64::NEG_INFINITY), |(low, high), v| {
                    (low.min(v), high.max(v))
                });
            let limit = most as f64;
            let from = (low - reach).clamp(0.0, limit);
            (from, (high + reach).clamp(from, limit))
        };
        let (left, right) = bound(|p| p.x, raster.width);
        let (top, bottom) = bound(|p| p.y, raster.height);
        let columns = ((right - left) / pitch) as usize;
        let rows = ((bottom - top) / pitch) as usize;
        if columns == 0 || rows == 0 {
            return None;
        }
        let mut light = Vec::with_capacity(columns * rows);
        let mut row = Vec::new();
        let (from, to) = (left as usize, (right.ceil() as usize).min(raster.width));
        for y in 0..rows {
            let y = (top + (y as f64 + 0.5) * pitch) as usize;
            raster.linear_row(y.min(raster.height - 1), from, to, channel, &mut row);
            light.extend((0..columns).map(|x| {
                let x = ((x as f64 + 0.5) * pitch) as usize;
                row[x.min(row.len() - 1)]
            }));
        }
        let blurred = REACHES_MM.map(|reach| blur(&light, columns, rows, reach * per_mm / pitch));
        Some(Self {
            left,
            top,
            pitch,
            columns,
            rows,
            blurred,
        })
    }

    /// Blurred light at a place on the scan, by reach.
    pub fn at(&self, place: Point) -> Around {
        let split = |offset: f64, count: usize| {
            let at = (offset / self.pitch - 0.5).clamp(0.0, (count - 1) as f64);
            let below = (at as usize).min(count.saturating_sub(2));
            (below, (below + 1).min(count - 1), at - below as f64)
        };
        let (x, right, a) = split(place.x - self.left, self.columns);
        let (y, below, b) = split(place.y - self.top, self.rows);
        std::array::from_fn(|reach| {
            let light = |x: usize, y: usize| f64::from(self.blurred[reach][y * self.columns + x]);
            let upper = light(x, y) * (1.0 - a) + light(right, y) * a;
            let lower = light(x, below) * (1.0 - a) + light(right, below) * a;
            upper * (1.0 - b) + lower * b
        })
    }
}

/// Gaussian blur; borders go on.
fn blur(light: &[f32], columns: usize, rows: usize, sd: f64) -> Vec<f32> {
    let reach = (3.0 * sd).ceil() as usize;
    let taps: Vec<f32> = (0..=2 * reach)
        .map(|k| (-0.5 * ((k as f64 - reach as f64) / sd).powi(2)).exp() as f32)
        .collect();
    let along = blur_down(&turned(light, columns), rows, columns, &taps);
    blur_down(&turned(&along, rows), columns, rows, &taps)
}

/// Columns become rows.
fn turned(light: &[f32], columns: usize) -> Vec<f32> {
    (0..columns)
        .flat_map(|x| light.iter().skip(x).step_by(columns))
        .copied()
        .collect()
}

/// The blur from row to row, whole rows at a time: the processor adds several columns at once.
fn blur_down(light: &[f32], columns: usize, rows: usize, taps: &[f32]) -> Vec<f32> {
    let reach = taps.len() / 2;
    let sum: f32 = taps.iter().sum();
    let mut blurred = vec![0f32; columns * rows];
    for (y, out) in blurred.chunks_exact_mut(columns).enumerate() {
        for (k, tap) in taps.iter().enumerate() {
            let from = (y + k).saturating_sub(reach).min(rows - 1);
            for (out, light) in out.iter_mut().zip(&light[from * columns..][..columns]) {
                *out += tap * light;
            }
        }
        for out in out {
            *out /= sum;
        }
    }
    blurred
}
