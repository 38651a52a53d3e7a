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
            let (low, high) = shape
                .corners
                .iter()
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
        let blurred = REACHES_MM.map(|reach| {
            let mut light = light.clone();
            blur(&mut light, columns, rows, reach * per_mm / pitch);
            light
        });
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

/// Gaussian blur in place; borders go on.
fn blur(light: &mut [f32], columns: usize, rows: usize, sd: f64) {
    let reach = (3.0 * sd).ceil() as usize;
    let taps: Vec<f32> = (0..=2 * reach)
        .map(|k| (-0.5 * ((k as f64 - reach as f64) / sd).powi(2)).exp() as f32)
        .collect();
    let sum: f32 = taps.iter().sum();
    let pass = |light: &[f32], count: usize, at: &dyn Fn(usize) -> usize| -> Vec<f32> {
        (0..count)
            .map(|i| {
                let weighted = taps
                    .iter()
                    .enumerate()
                    .map(|(k, tap)| tap * light[at((i + k).saturating_sub(reach).min(count - 1))]);
                weighted.sum::<f32>() / sum
            })
            .collect()
    };
    for y in 0..rows {
        let line = pass(light, columns, &|x| y * columns + x);
        light[y * columns..(y + 1) * columns].copy_from_slice(&line);
    }
    for x in 0..columns {
        let line = pass(light, rows, &|y| y * columns + x);
        for (y, value) in line.into_iter().enumerate() {
            light[y * columns + x] = value;
        }
    }
}
