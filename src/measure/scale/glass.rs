//! A scan of the empty glass: how evenly it is lit, seen all over and not only around strips.
//!
//! A lamp's dark end or a worn stretch of the sensor is narrower than the lid's few terms can
//! follow, so the light is smoothed as finely as its own noise allows: a local plane at every
//! place (Cleveland 1979), with widths along both sides chosen by leaving out one place at a time
//! (both from memory).

use super::lid::{EVEN, LEAST, Spot, grid, spots};
use super::smooth::Plane;
use crate::measure::geometry::Point;
use crate::measure::raster::{Channel, Raster};

/// Widths that are tried for the smoothing, places (standard deviation of a bell).
const WIDTHS: [f64; 8] = [1.0, 1.6, 2.5, 4.0, 6.5, 10.0, 16.0, 26.0];
/// Robust standard deviations from its neighbours, or from the smooth light, at which a place is
/// taken for dust.
const DUST: f64 = 5.0;
/// Share of code values at the top of their range from which unevenness can't be seen.
const CLIPPED: f64 = 0.01;
/// Scanner density beside the glass's usual at which something lies there, and the share of places
/// that makes it more than dust.
const LIES: f64 = 0.15;
const LIES_SHARE: f64 = 0.005;
/// Root mean square unevenness, scanner density, that no lamp shows: a sheet, or an open lid.
const UNBELIEVABLE: f64 = 0.06;
/// Share of places that must be free of dust.
const CLEAN: f64 = 0.7;
/// How much two scans of one glass may differ in size, share of a side.
const SAME_SIZE: f64 = 0.01;
/// Standard errors that the unevenness must be.
const CERTAIN: f64 = 3.0;

/// Why a scan doesn't tell how the glass is lit.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum NotEmpty {
    /// Too few pixels.
    Small,
    /// This share of its code values is at the top of the range.
    Clipped(f64),
    /// Something lies on this share of it.
    Covered(f64),
    /// This share of it is dust and texture.
    Dirty(f64),
    /// It is uneven by so much, root mean square, that it can't be the lamp.
    Uneven(f64),
}

/// How the glass is lit, in one channel.
#[derive(Debug, Clone, PartialEq)]
pub struct Glass {
    columns: usize,
    rows: usize,
    /// Places' pitch as a share of the glass along both sides.
    pitch: (f64, f64),
    /// Width and height, pixels.
    pixels: (f64, f64),
    pixels_per_mm: Option<f64>,
    /// How much darker than on average the glass is lit, by place, scanner density.
    darker: Vec<f64>,
    /// Root mean square standard error of that.
    noise: f64,
}

impl Glass {
    /// Sees how an empty glass is lit.
    ///
    /// # Errors
    /// [`NotEmpty`] when it isn't empty, or doesn't tell.
    pub fn seen(raster: &Raster, channel: Channel) -> Result<Self, NotEmpty> {
        let (pitch, columns, rows) = grid(raster).ok_or(NotEmpty::Small)?;
        let clipped = clipped(raster, pitch);
        if clipped > CLIPPED {
            return Err(NotEmpty::Clipped(clipped));
        }
        let spots = spots(raster, channel, pitch, (columns, rows));
        let lies = covered(&spots, columns, rows);
        if lies > LIES_SHARE {
            return Err(NotEmpty::Covered(lies));
        }
        let levels: Vec<f64> = spots.iter().map(|spot| spot.level).collect();
        let clean = clean(&spots, columns, rows);
        let (plane, clean) = smoothed(&levels, clean, columns);
        let share = clean.iter().filter(|clean| **clean).count() as f64 / clean.len() as f64;
        if share < CLEAN {
            return Err(NotEmpty::Dirty(1.0 - share));
        }
        let count = levels.len() as f64;
        let mean = plane.value.iter().sum::<f64>() / count;
        let glass = Self {
            columns,
            rows,
            pitch: (
                pitch as f64 / raster.width as f64,
                pitch as f64 / raster.height as f64,
            ),
            pixels: (raster.width as f64, raster.height as f64),
            pixels_per_mm: raster.pixels_per_mm,
            darker: plane.value.iter().map(|value| value - mean).collect(),
            noise: (plane.variance.iter().sum::<f64>() / count).sqrt(),
        };
        let (found, _) = glass.unevenness();
        if found > UNBELIEVABLE {
            return Err(NotEmpty::Uneven(found));
        }
        Ok(glass)
    }

    /// How much darker than on average the glass is lit, scanner density, at a place given by its
    /// shares of the glass from the left and from the top.
    pub fn darker(&self, share: Point) -> f64 {
        let along = |share: f64, pitch: f64, count: usize| {
            let place = (share / pitch - 0.5).clamp(0.0, (count - 1) as f64);
            let below = (place as usize).min(count.saturating_sub(2));
            (below, place - below as f64)
        };
        let (x, right) = along(share.x, self.pitch.0, self.columns);
        let (y, down) = along(share.y, self.pitch.1, self.rows);
        let row = |y: usize| {
            let at = y * self.columns + x;
            self.darker[at] * (1.0 - right) + self.darker[at + 1] * right
        };
        row(y) * (1.0 - down) + row(y + 1) * down
    }

    /// Root mean square unevenness, scanner density, and the root mean square of its standard
    /// error.
    pub fn unevenness(&self) -> (f64, f64) {
        let squares: f64 = self.darker.iter().map(|darker| darker * darker).sum();
        ((squares / self.darker.len() as f64).sqrt(), self.noise)
    }

    /// Whether the unevenness is worth taking off.
    pub fn is_uneven(&self) -> bool {
        let (found, error) = self.unevenness();
        found > LEAST && found > CERTAIN * error
    }

    /// Why it can't be laid over a scan, if it can't: they show different parts of the glass.
    /// Where a file doesn't say its resolution, the shape must do.
    pub fn misfit(&self, raster: &Raster) -> Option<String> {
        let there = (raster.width as f64, raster.height as f64);
        let unlike = |a: f64, b: f64| (a - b).abs() > SAME_SIZE * b.max(1.0);
        if let (Some(here_mm), Some(there_mm)) = (self.pixels_per_mm, raster.pixels_per_mm) {
            let here = (self.pixels.0 / here_mm, self.pixels.1 / here_mm);
            let there = (there.0 / there_mm, there.1 / there_mm);
            return (unlike(here.0, there.0) || unlike(here.1, there.1)).then(|| {
                format!(
                    "it shows {:.0} x {:.0} mm of the glass and the scan {:.0} x {:.0} mm",
                    here.0, here.1, there.0, there.1
                )
            });
        }
        unlike(self.pixels.0 * there.1 / self.pixels.1, there.0).then(|| {
            format!(
                "it has {:.0} x {:.0} pixels and the scan {:.0} x {:.0}, which is another shape",
                self.pixels.0, self.pixels.1, there.0, there.1
            )
        })
    }
}

/// Share of the code values looked at that are at the top of their range.
fn clipped(raster: &Raster, pitch: usize) -> f64 {
    let step = pitch.div_ceil(3).max(1);
    let (mut top, mut all) = (0usize, 0usize);
    for y in (0..raster.height).step_by(step) {
        for x in (0..raster.width).step_by(step) {
            all += 1;
            let full = (0..raster.channels).any(|c| raster.code_share(x, y, c) >= 1.0);
            top += usize::from(full);
        }
    }
    top as f64 / all.max(1) as f64
}

/// Share of the places, but for the outermost, where something lies.
fn covered(spots: &[Spot], columns: usize, rows: usize) -> f64 {
    let mut levels: Vec<f64> = spots.iter().map(|spot| spot.level).collect();
    let middle = levels.len() / 2;
    let (_, &mut usual, _) = levels.select_nth_unstable_by(middle, f64::total_cmp);
    let (mut lies, mut all) = (0usize, 0usize);
    for y in 1..rows - 1 {
        for x in 1..columns - 1 {
            all += 1;
            let away = spots[y * columns + x].level - usual;
            lies += usize::from(away.abs() > LIES);
        }
    }
    lies as f64 / all.max(1) as f64
}

/// Which places are free of dust: alike inside, and like their neighbours along the row or along
/// the column. A stripe of the lamp differs one way only.
fn clean(spots: &[Spot], columns: usize, rows: usize) -> Vec<bool> {
    let from_neighbours = |index: usize, step: usize, place: usize, count: usize| {
        let first = place.saturating_sub(2).min(count.saturating_sub(5));
        let start = index - place * step + first * step;
        let mut near: Vec<f64> = (0..count.min(5))
            .map(|k| spots[start + k * step].level)
            .collect();
        near.sort_unstable_by(f64::total_cmp);
        (spots[index].level - near[near.len() / 2]).abs()
    };
    let away: Vec<f64> = (0..spots.len())
        .map(|index| {
            let (x, y) = (index % columns, index / columns);
            let along_row = from_neighbours(index, 1, x, columns);
            along_row.min(from_neighbours(index, columns, y, rows))
        })
        .collect();
    let cut = DUST * robust_deviation(away.iter().copied());
    away.iter()
        .zip(spots)
        .map(|(away, spot)| *away <= cut && spot.scatter < EVEN)
        .collect()
}

/// Standard deviation of departures by their median (1.4826 times it, were they normal).
fn robust_deviation(away: impl Iterator<Item = f64>) -> f64 {
    let mut away: Vec<f64> = away.map(f64::abs).collect();
    if away.is_empty() {
        return 0.0;
    }
    let middle = away.len() / 2;
    let (_, &mut median, _) = away.select_nth_unstable_by(middle, f64::total_cmp);
    1.4826 * median.max(1e-5)
}

/// The smooth light through the clean places, and which places stayed clean.
fn smoothed(levels: &[f64], mut clean: Vec<bool>, columns: usize) -> (Plane, Vec<bool>) {
    let fit = |clean: &[bool], widths: (f64, f64)| Plane::through(levels, clean, columns, widths);
    let best = |clean: &[bool], candidates: &mut dyn Iterator<Item = (f64, f64)>| {
        candidates
            .map(|widths| (widths, fit(clean, widths).left_out))
            .min_by(|a, b| a.1.total_cmp(&b.1))
            .map_or((WIDTHS[0], WIDTHS[0]), |(widths, _)| widths)
    };
    let mut widths = best(&clean, &mut WIDTHS.iter().map(|&w| (w, w)));
    for _ in 0..2 {
        let down = widths.1;
        widths = best(&clean, &mut WIDTHS.iter().map(|&w| (w, down)));
        let along = widths.0;
        widths = best(&clean, &mut WIDTHS.iter().map(|&w| (along, w)));
    }
    let first = fit(&clean, widths);
    let off = |index: usize| levels[index] - first.value[index];
    let known = (0..levels.len()).filter(|&index| clean[index]);
    let cut = DUST * robust_deviation(known.map(off));
    for (index, clean) in clean.iter_mut().enumerate() {
        *clean &= off(index).abs() <= cut;
    }
    (fit(&clean, widths), clean)
}
