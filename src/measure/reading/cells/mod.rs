//! Cells: small areas well inside the fields, each read as one robust mean of linear light.

mod plots;
mod surround;

use std::sync::atomic::{AtomicUsize, Ordering};

use rayon::prelude::*;

pub use plots::usual_area;
use plots::{Plot, plots};
use surround::Surround;

use super::robust::{Gate, median};
use super::{Cell, REACHES_MM};
use crate::measure::geometry::{Area, Point, StripShape};
use crate::measure::raster::{Channel, Raster};
use crate::measure::watch::{Cancelled, Watch};

/// Width a strip counts as when the scan's resolution is unknown or absurd, millimetres.
const ASSUMED_WIDTH_MM: f64 = 30.0;
/// Widths of strips that a stated resolution may imply; outside, it is not believed.
const CREDIBLE_WIDTHS_MM: (f64, f64) = (6.0, 150.0);
/// Pixels a cell needs at least to have a middle worth the name.
const FEWEST_PIXELS: usize = 12;
/// Sub-blocks of a cell, each way, whose scatter gives the cell's standard error.
const BLOCKS: usize = 4;
/// Pixels looked at to set the gate of a cell.
const SAMPLE: usize = 800;

/// How cells are laid out.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct CellOptions {
    /// Side of a cell in millimetres, at least.
    pub side_mm: f64,
    /// Most cells on a strip; the sides grow until this holds.
    pub most: usize,
    /// Distance kept from every border of a field: at least this many millimetres,
    pub inset_mm: f64,
    /// at least this share of the field's length from the fields beside it (the card's
    /// penumbra, a border found a little off),
    pub inset_along: f64,
    /// and at least this share of the strip's width from its long sides.
    pub inset_across: f64,
}

impl Default for CellOptions {
    /// As much of the field as its borders allow: a coat is uneven over centimetres, so
    /// every millimetre more of it brings the step's mean nearer to the coat's. Against 12 %
    /// kept both ways this took 6 to 10 % off the error of the ratio on rough coats.
    fn default() -> Self {
        Self {
            side_mm: 3.5,
            most: 160,
            inset_mm: 1.5,
            inset_along: 0.09,
            inset_across: 0.06,
        }
    }
}

/// Reads the cells of a strip or wedge: every field but the ignored ones.
///
/// A cell's light is the mean of its pixels inside a gate of three robust standard
/// deviations around their median, so bubbles, dust, hairs and pinholes don't count. Its
/// standard error comes from the scatter of sub-block means about a plane, pooled over the
/// cells of a field: neighbouring pixels share the scanner's blur, and independent-pixel
/// formulas would be far too hopeful. Fields too small for a cell give none.
///
/// # Errors
/// [`Cancelled`] when the watch says so.
pub fn measure(
    raster: &Raster,
    shape: &StripShape,
    channel: Channel,
    options: &CellOptions,
    watch: &dyn Watch,
) -> Result<Vec<Cell>, Cancelled> {
    measure_within(raster, shape, &[], channel, options, watch)
}

/// The same, with the areas that a person placed in some of the fields; there the person's
/// borders count and no distance is kept from the field's own.
///
/// # Errors
/// [`Cancelled`] when the watch says so.
pub fn measure_within(
    raster: &Raster,
    shape: &StripShape,
    areas: &[Area],
    channel: Channel,
    options: &CellOptions,
    watch: &dyn Watch,
) -> Result<Vec<Cell>, Cancelled> {
    let per_mm = pixels_per_mm(raster, shape);
    let plots = plots(shape, areas, per_mm, options);
    let surround = Surround::of(raster, shape, per_mm, channel);
    let done = AtomicUsize::new(0);
    let of = plots.len();
    let read: Vec<Option<Read>> = plots
        .par_iter()
        .map_init(Vec::new, |row, plot| {
            let read = read(raster, plot, channel, row);
            watch.at(done.fetch_add(1, Ordering::Relaxed) + 1, of)?;
            Ok(read)
        })
        .collect::<Result<_, Cancelled>>()?;
    Ok(pool_errors(&plots, &read, surround.as_ref()))
}

/// Pixels per millimetre: the file's where it makes a credible strip, else from its width.
pub fn pixels_per_mm(raster: &Raster, shape: &StripShape) -> f64 {
    let (least, most) = CREDIBLE_WIDTHS_MM;
    raster
        .pixels_per_mm
        .filter(|&per_mm| (least..=most).contains(&(shape.width() / per_mm)))
        .unwrap_or(shape.width().max(1.0) / ASSUMED_WIDTH_MM)
}

/// What the pixels of a cell said.
struct Read {
    light: f64,
    error: f64,
    coarse_error: f64,
    pixels: usize,
    rejected: f64,
    clipped: f64,
}

/// A run of pixels of one row inside a cell.
struct Run {
    y: usize,
    x: usize,
    start: usize,
    len: usize,
}

fn read(raster: &Raster, plot: &Plot, channel: Channel, row: &mut Vec<f32>) -> Option<Read> {
    let mut light: Vec<f32> = Vec::new();
    let mut runs = Vec::new();
    for (y, from, to) in rows_inside(&plot.corners, raster.width, raster.height) {
        raster.linear_row(y, from, to, channel, row);
        runs.push(Run {
            y,
            x: from,
            start: light.len(),
            len: row.len(),
        });
        light.extend_from_slice(row);
    }
    if light.len() < FEWEST_PIXELS {
        return None;
    }
    // An odd stride doesn't fall in step with columns of sensor pattern.
    let stride = (light.len() / SAMPLE).max(1) | 1;
    let mut sample: Vec<f64> = light
        .iter()
        .step_by(stride)
        .map(|&light| f64::from(light))
        .filter(|light| light.is_finite())
        .collect();
    let gate = Gate::of(&mut sample)?;
    let blocks = Blocks::of(&light, &runs, gate)?;
    let pixels = blocks.pixels();
    Some(Read {
        light: blocks.mean(),
        error: blocks.error(),
        coarse_error: blocks.coarse_error(),
        pixels,
        rejected: 1.0 - pixels as f64 / light.len() as f64,
        clipped: clipped_share(raster, &runs, stride),
    })
}

/// Pixels of each row whose centres lie inside a convex quadrilateral: row, first, past last.
pub(in crate::measure) fn rows_inside(
    corners: &[Point; 4],
    width: usize,
    height: usize,
) -> impl Iterator<Item = (usize, usize, usize)> {
    let lowest = |of: fn(&Point) -> f64| corners.iter().map(of).fold(f64::INFINITY, f64::min);
    let highest = |of: fn(&Point) -> f64| corners.iter().map(of).fold(f64::NEG_INFINITY, f64::max);
    // Casts saturate, so corners off the scan or not finite give empty or clipped rows.
    let top = (lowest(|p| p.y) - 0.5).ceil().max(0.0) as usize;
    let bottom = ((highest(|p| p.y) - 0.5).floor() + 1.0).max(0.0) as usize;
    let corners = *corners;
    (top..bottom.min(height)).filter_map(move |row| {
        let y = row as f64 + 0.5;
        let (mut left, mut right) = (f64::INFINITY, f64::NEG_INFINITY);
        for (index, &from) in corners.iter().enumerate() {
            let to = corners[(index + 1) % 4];
            if (from.y <= y) != (to.y <= y) {
                let x = from.x + (to.x - from.x) * (y - from.y) / (to.y - from.y);
                left = left.min(x);
                right = right.max(x);
            }
        }
        let first = (left - 0.5).ceil().max(0.0) as usize;
        let past = (((right - 0.5).floor() + 1.0).max(0.0) as usize).min(width);
        (left <= right && first < past).then_some((row, first, past))
    })
}

/// Sums of the pixels that count, by sub-block.
struct Blocks {
    sums: [[f64; BLOCKS]; BLOCKS],
    counts: [[usize; BLOCKS]; BLOCKS],
}

impl Blocks {
    fn of(light: &[f32], runs: &[Run], gate: Gate) -> Option<Self> {
        let left = runs.iter().map(|run| run.x).min()?;
        let right = runs.iter().map(|run| run.x + run.len).max()?;
        let (top, bottom) = (runs.first()?.y, runs.last()?.y + 1);
        let (low, high) = (gate.low as f32, gate.high as f32);
        let mut blocks = Self {
            sums: [[0.0; BLOCKS]; BLOCKS],
            counts: [[0; BLOCKS]; BLOCKS],
        };
        for run in runs {
            let i = (run.y - top) * BLOCKS / (bottom - top);
            for j in 0..BLOCKS {
                let border = |j: usize| left + (right - left) * j / BLOCKS;
                let from = border(j).clamp(run.x, run.x + run.len) - run.x;
                let to = border(j + 1).clamp(run.x, run.x + run.len) - run.x;
                let (mut sum, mut count) = (0f32, 0u32);
                for &value in &light[run.start + from..run.start + to] {
                    let counts = value >= low && value <= high;
                    sum += if counts { value } else { 0.0 };
                    count += u32::from(counts);
                }
                blocks.sums[i][j] += f64::from(sum);
                blocks.counts[i][j] += count as usize;
            }
        }
        (blocks.pixels() > 0).then_some(blocks)
    }

    fn pixels(&self) -> usize {
        self.counts.iter().flatten().sum()
    }

    fn mean(&self) -> f64 {
        self.sums.iter().flatten().sum::<f64>() / self.pixels() as f64
    }

    /// Standard error of the mean from block means about a plane (the plane is the coat's
    /// own unevenness, which is not noise).
    fn error(&self) -> f64 {
        let half = (BLOCKS as f64 - 1.0) / 2.0;
        let mean = self.mean();
        let mut blocks = Vec::with_capacity(BLOCKS * BLOCKS);
        for (i, (sums, counts)) in self.sums.iter().zip(&self.counts).enumerate() {
            for (j, (&sum, &count)) in sums.iter().zip(counts).enumerate() {
                if count > 0 {
                    let away = (i as f64 - half, j as f64 - half);
                    blocks.push((away, sum / count as f64 - mean));
                }
            }
        }
        let tilt = |axis: fn((f64, f64)) -> f64| {
            let along: f64 = blocks.iter().map(|&(at, v)| axis(at) * v).sum();
            along / blocks.iter().map(|&(at, _)| axis(at).powi(2)).sum::<f64>()
        };
        let (down, right) = (tilt(|at| at.0), tilt(|at| at.1));
        let count = blocks.len() as f64;
        let squares: f64 = blocks
            .iter()
            .map(|&((i, j), v)| (v - down * i - right * j).powi(2))
            .sum();
        if count > 3.0 {
            (squares / (count - 3.0) / count).sqrt()
        } else {
            0.0
        }
    }
}

impl Blocks {
    /// The same from the four quarters: one degree of freedom, but hardly any correlation
    /// between neighbours.
    fn coarse_error(&self) -> f64 {
        let half = BLOCKS / 2;
        let quarter = |i: usize, j: usize| {
            let (mut sum, mut count) = (0.0, 0);
            for row in i * half..(i + 1) * half {
                for column in j * half..(j + 1) * half {
                    sum += self.sums[row][column];
                    count += self.counts[row][column];
                }
            }
            (count > 0).then(|| sum / count as f64)
        };
        let corners = (quarter(0, 0), quarter(0, 1), quarter(1, 0), quarter(1, 1));
        match corners {
            // The contrast that a plane leaves: variance of the mean is its square / 16.
            (Some(a), Some(b), Some(c), Some(d)) => (a - b - c + d).abs() / 4.0,
            _ => self.error(),
        }
    }
}

/// Share of pixels with a channel at the bottom or the top of the code range.
fn clipped_share(raster: &Raster, runs: &[Run], stride: usize) -> f64 {
    let (mut stuck, mut seen) = (0usize, 0usize);
    for run in runs {
        // The phase follows the row, so that columns don't escape.
        for x in (run.x + run.y % stride..run.x + run.len).step_by(stride) {
            seen += 1;
            let at_end = |channel| {
                let share = raster.code_share(x, run.y, channel);
                share <= 0.0 || share >= 1.0
            };
            stuck += usize::from((0..raster.channels).any(at_end));
        }
    }
    stuck as f64 / seen.max(1) as f64
}

/// Median of the square of a standard normal number.
const MEDIAN_OF_SQUARE: f64 = 0.4549;
/// Most by which the scanner's blur may inflate the variance of a cell.
const MOST_INFLATION: f64 = 3.0;

/// Puts the cells together; the relative standard errors are pooled within a field, since
/// that of one cell rests on a dozen degrees of freedom only.
fn pool_errors(plots: &[Plot], read: &[Option<Read>], surround: Option<&Surround>) -> Vec<Cell> {
    let mut cells = Vec::with_capacity(plots.len());
    let all: Vec<(&Plot, &Read)> = plots
        .iter()
        .zip(read)
        .filter_map(|(plot, read)| Some((plot, read.as_ref()?)))
        .collect();
    let inflation = inflation(&all).sqrt();
    for group in all.chunk_by(|a, b| a.0.field == b.0.field) {
        let mut noise: Vec<f64> = group
            .iter()
            .map(|(_, read)| read.error * (read.pixels as f64).sqrt())
            .collect();
        let pooled = inflation * median(&mut noise).unwrap_or(0.0);
        cells.extend(group.iter().map(|(plot, read)| Cell {
            field: plot.field,
            at_mm: plot.at_mm,
            at: plot.at,
            light: read.light,
            light_error: pooled / (read.pixels as f64).sqrt(),
            pixels: read.pixels,
            rejected: read.rejected,
            clipped: read.clipped,
            around: surround.map_or([read.light; REACHES_MM.len()], |surround| {
                surround.at(plot.at)
            }),
        }));
    }
    cells
}

/// How much more the variance of a cell is than its blocks say, because the scanner's blur
/// correlates neighbouring blocks.
///
/// That bias falls with the side of the blocks, so doubling the side halves it; the two
/// sizes are extrapolated to none. Pooled over the strip.
fn inflation(all: &[(&Plot, &Read)]) -> f64 {
    let mut ratios: Vec<f64> = all
        .iter()
        .filter(|(_, read)| read.error > 0.0)
        .map(|(_, read)| (read.coarse_error / read.error).powi(2))
        .collect();
    median(&mut ratios).map_or(1.0, |ratio| {
        (2.0 * ratio / MEDIAN_OF_SQUARE - 1.0).clamp(1.0, MOST_INFLATION)
    })
}

#[cfg(test)]
mod tests;
