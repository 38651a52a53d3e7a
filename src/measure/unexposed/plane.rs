//! The part of a scan around a strip, in linear light at about eight pixels a millimetre.

use rayon::prelude::*;

use super::Quad;
use crate::measure::geometry::Point;
use crate::measure::raster::{Channel, Raster};
use crate::measure::reading::cells::rows_inside;
use crate::measure::scale::DensityScale;

/// Plane pixels per millimetre, about.
const PER_MM: f64 = 8.0;
/// Least light that is told apart: density 4.
const DARKEST: f32 = 1e-4;
/// Scanner densities that the scale is tabulated at, and how finely.
const TABLE: (f64, f64) = (-0.4, 4.2);
const TABLE_STEP: f64 = 0.002;

/// Densities of one place: as strips are read, then red, green and blue.
pub(super) type Tone = [f32; 4];

/// What sight ends at.
pub(super) const TAKEN: u16 = u16::MAX;

/// Linear light of three channels around a strip, and what lies where.
pub(super) struct Plane {
    left: f64,
    top: f64,
    /// Scan pixels per plane pixel.
    step: f64,
    pub width: usize,
    pub height: usize,
    /// Plane pixels per millimetre.
    pub per_mm: f64,
    light: Vec<[f32; 3]>,
    /// 0: nothing; from 1: a step's place in the list, and one; [`TAKEN`].
    label: Vec<u16>,
    weights: [f32; 3],
    table: Vec<f32>,
}

impl Plane {
    /// The scan around `steps`, `reach_mm` to all sides; `per_mm` is the scan's resolution.
    pub fn around(
        (raster, channel): (&Raster, Channel),
        scale: &dyn DensityScale,
        per_mm: f64,
        (steps, taken): (&[Quad], &[Quad]),
        reach_mm: f64,
    ) -> Option<Self> {
        let step = (per_mm / PER_MM).round().max(1.0) as usize;
        let pad = reach_mm * per_mm;
        let bound = |of: fn(&Point) -> f64, most: usize| {
            let all = || steps.iter().flatten().map(of);
            let low = (all().fold(f64::INFINITY, f64::min) - pad).max(0.0);
            let high = (all().fold(f64::NEG_INFINITY, f64::max) + pad).clamp(0.0, most as f64);
            (low as usize / step, high as usize / step)
        };
        let (left, right) = bound(|p| p.x, raster.width);
        let (top, bottom) = bound(|p| p.y, raster.height);
        if right < left + 8 || bottom < top + 8 {
            return None;
        }
        let (width, height) = (right - left, bottom - top);
        let mut light = vec![[0f32; 3]; width * height];
        light.par_chunks_mut(width).enumerate().for_each_init(
            Vec::new,
            |row, (y, sums): (usize, &mut [[f32; 3]])| {
                for at in 0..step {
                    for (index, channel) in CHANNELS.into_iter().enumerate() {
                        let y = (top + y) * step + at;
                        raster.linear_row(y, left * step, right * step, channel, row);
                        for (sum, run) in sums.iter_mut().zip(row.chunks_exact(step)) {
                            sum[index] += run.iter().sum::<f32>();
                        }
                    }
                }
                let share = 1.0 / (step * step) as f32;
                for sum in sums.iter_mut().flatten() {
                    *sum *= share;
                }
            },
        );
        let mut plane = Self {
            left: left as f64 * step as f64,
            top: top as f64 * step as f64,
            step: step as f64,
            width,
            height,
            per_mm: per_mm / step as f64,
            light,
            label: vec![0; width * height],
            weights: weights(raster, channel),
            table: tabulated(scale),
        };
        for quad in taken {
            plane.mark(quad, TAKEN);
        }
        for (index, quad) in steps.iter().enumerate() {
            plane.mark(quad, index as u16 + 1);
        }
        Some(plane)
    }

    /// The place of a scan's place, in plane pixels (centres at whole numbers).
    pub fn of_scan(&self, place: Point) -> Point {
        let shift = |at: f64, from: f64| (at - from) / self.step - 0.5;
        Point::new(shift(place.x, self.left), shift(place.y, self.top))
    }

    /// And back.
    pub fn on_scan(&self, place: Point) -> Point {
        let shift = |at: f64, from: f64| (at + 0.5) * self.step + from;
        Point::new(shift(place.x, self.left), shift(place.y, self.top))
    }

    fn mark(&mut self, quad: &Quad, label: u16) {
        let quad = self.corners(quad);
        for (y, from, to) in rows_inside(&quad, self.width, self.height) {
            self.label[y * self.width + from..y * self.width + to].fill(label);
        }
    }

    /// Corners with pixel centres at halves, as [`rows_inside`] has them.
    fn corners(&self, quad: &Quad) -> Quad {
        quad.map(|corner| {
            let at = self.of_scan(corner);
            Point::new(at.x + 0.5, at.y + 0.5)
        })
    }

    /// What lies at a place of the plane; `None` off it.
    pub fn label_at(&self, place: Point) -> Option<u16> {
        let inside = place.x >= 0.0 && place.y >= 0.0;
        let (x, y) = ((place.x + 0.5) as usize, (place.y + 0.5) as usize);
        (inside && x < self.width && y < self.height).then(|| self.label[y * self.width + x])
    }

    /// Light at a place of the plane, bilinear: the channel that is read, red, green, blue.
    pub fn light_at(&self, place: Point) -> [f32; 4] {
        let clamp = |at: f64, most: usize| at.clamp(0.0, most as f64 - 1.001);
        let (x, y) = (clamp(place.x, self.width), clamp(place.y, self.height));
        let (left, top) = (x as usize, y as usize);
        let (a, b) = ((x - left as f64) as f32, (y - top as f64) as f32);
        let at = top * self.width + left;
        let [p, q, r, s] =
            [at, at + 1, at + self.width, at + self.width + 1].map(|at| &self.light[at]);
        let rgb: [f32; 3] = std::array::from_fn(|c| {
            let upper = p[c] + (q[c] - p[c]) * a;
            let lower = r[c] + (s[c] - r[c]) * a;
            upper + (lower - upper) * b
        });
        self.with_main(rgb)
    }

    fn with_main(&self, [r, g, b]: [f32; 3]) -> [f32; 4] {
        let [u, v, w] = self.weights;
        [u * r + v * g + w * b, r, g, b]
    }

    /// Density of linear light by the scale.
    pub fn density(&self, light: f32) -> f32 {
        let s = -f64::from(if light > DARKEST { light } else { DARKEST }).log10();
        let place = ((s - TABLE.0) / TABLE_STEP).clamp(0.0, (self.table.len() - 2) as f64);
        let below = place as usize;
        let (low, high) = (self.table[below], self.table[below + 1]);
        low + (high - low) * (place - below as f64) as f32
    }

    /// Tones of the pixels inside a quadrilateral of the scan.
    pub fn tones_inside(&self, quad: &Quad) -> Vec<Tone> {
        let mut tones = Vec::new();
        for (y, from, to) in rows_inside(&self.corners(quad), self.width, self.height) {
            let row = &self.light[y * self.width + from..y * self.width + to];
            let densities = |&rgb: &[f32; 3]| self.with_main(rgb).map(|light| self.density(light));
            tones.extend(row.iter().map(densities));
        }
        tones
    }

    /// Median tone of the scan's own rim, three millimetres wide.
    pub fn rim(&self, raster: &Raster, per_mm: f64) -> Tone {
        let wide = ((3.0 * per_mm) as usize).max(1);
        let apart = (wide / 4).max(1);
        let (width, height) = (raster.width, raster.height);
        let mut light: [Vec<f32>; 3] = Default::default();
        let mut row = Vec::new();
        for y in (0..height).step_by(apart) {
            let whole = y < wide || y + wide >= height;
            for (light, channel) in light.iter_mut().zip(CHANNELS) {
                let mut take = |from: usize, to: usize| {
                    raster.linear_row(y, from, to, channel, &mut row);
                    light.extend(row.iter().step_by(apart));
                };
                if whole || 2 * wide >= width {
                    take(0, width);
                } else {
                    take(0, wide);
                    take(width - wide, width);
                }
            }
        }
        let middle = light.map(|mut light| {
            let half = light.len() / 2;
            *light.select_nth_unstable_by(half, f32::total_cmp).1
        });
        self.with_main(middle).map(|light| self.density(light))
    }
}

const CHANNELS: [Channel; 3] = [Channel::Red, Channel::Green, Channel::Blue];

/// Share of each channel in what is read.
fn weights(raster: &Raster, channel: Channel) -> [f32; 3] {
    if raster.channels == 1 {
        return [1.0, 0.0, 0.0];
    }
    match channel {
        Channel::Luminance => raster.light.weights.luminance,
        Channel::Visual => raster.light.weights.visual,
        Channel::Red => [1.0, 0.0, 0.0],
        Channel::Green => [0.0, 1.0, 0.0],
        Channel::Blue => [0.0, 0.0, 1.0],
    }
}

fn tabulated(scale: &dyn DensityScale) -> Vec<f32> {
    let count = ((TABLE.1 - TABLE.0) / TABLE_STEP) as usize + 1;
    let at = |index: usize| scale.density(TABLE.0 + index as f64 * TABLE_STEP) as f32;
    (0..count).map(at).collect()
}
