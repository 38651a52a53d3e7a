//! Bubbles, pinholes and specks: patches of pixels that stand out from the step around them.

use serde::Serialize;

use crate::measure::estimate::Estimate;
use crate::measure::geometry::{Area, StripShape};
use crate::measure::pool::chi_squared_quantile;
use crate::measure::raster::{Channel, Raster};
use crate::measure::reading::cells::{self, rows_inside};
use crate::measure::reading::robust::median_and_spread;

/// Share of field and strip kept clear of borders.
const INSET: f64 = 0.1;
/// Side of the blocks that a pixel is held against, millimetres.
const BLOCK_MM: f64 = 2.5;
/// Robust standard deviations a pixel must stand out by: of normal noise less than one pixel in
/// a million does.
const SPREADS: f64 = 5.0;
/// Least share of the light a pixel must differ by, 0.04 D: codes of a dark step are as coarse.
const LEAST_SHARE: f64 = 0.1;
/// Least pixels of a patch.
const LEAST_PIXELS: usize = 2;
/// Least diameter of a patch, millimetres.
const LEAST_MM: f64 = 0.08;
/// Diameter from which a light patch is called a bubble and below which a pinhole, millimetres
/// (common practice, no source).
const BUBBLE_MM: f64 = 0.3;
/// Patches this many times as long as wide are hairs and scratches.
const HAIR: f64 = 5.0;

/// How many of one kind.
#[derive(Debug, Clone, Copy, PartialEq, Serialize)]
pub struct Count {
    /// How many were seen.
    pub seen: usize,
    /// A square centimetre, with the 95 % interval of a Poisson count.
    pub per_square_centimetre: Estimate,
}

/// What stands out in the steps of a strip.
#[derive(Debug, Clone, Copy, PartialEq, Serialize)]
pub struct Spots {
    /// Area that was looked at, square centimetres.
    pub square_centimetres: f64,
    /// Light patches of 0.3 mm and more: burst bubbles, places without coat.
    pub bubbles: Count,
    /// Smaller light patches.
    pub pinholes: Count,
    /// Dark patches: dust in the coat or on the glass.
    pub specks: Count,
    /// Long thin ones of either tone: hairs and scratches.
    pub hairs: Count,
}

#[derive(Clone, Copy, PartialEq, Eq)]
enum Kind {
    Bubble,
    Pinhole,
    Speck,
    Hair,
}

/// Counts patches in the listed fields of a strip: steps dark enough for the ground to show.
///
/// A pixel stands out when it differs from the median of its neighbourhood by five robust
/// standard deviations and by a tenth of the light; patches of such pixels that touch are one.
/// `None` when nothing could be looked at.
pub fn spots(
    raster: &Raster,
    shape: &StripShape,
    fields: &[usize],
    channel: Channel,
) -> Option<Spots> {
    let per_mm = cells::pixels_per_mm(raster, shape);
    let mut kinds = vec![];
    let mut pixels = 0usize;
    for &field in fields {
        let what = *shape.fields.get(field)?;
        let area = Area {
            field: what,
            along: (INSET, 1.0 - INSET),
            across: (INSET, 1.0 - INSET),
        };
        let patch = Patch::read(raster, shape, field, &area, channel);
        pixels += patch.inside.iter().filter(|&&inside| inside).count();
        patch.kinds(per_mm, &mut kinds);
    }
    if pixels == 0 {
        return None;
    }
    let square_centimetres = pixels as f64 / (per_mm * per_mm) / 100.0;
    let count = |kind| {
        let seen = kinds.iter().filter(|&&seen| seen == kind).count();
        counted(seen, square_centimetres)
    };
    Some(Spots {
        square_centimetres,
        bubbles: count(Kind::Bubble),
        pinholes: count(Kind::Pinhole),
        specks: count(Kind::Speck),
        hairs: count(Kind::Hair),
    })
}

/// A count by area with the exact interval of a Poisson mean (Garwood 1936, Biometrika 28:437).
fn counted(seen: usize, area: f64) -> Count {
    let n = seen as f64;
    let low = if seen == 0 {
        0.0
    } else {
        chi_squared_quantile(0.025, 2.0 * n) / 2.0
    };
    let high = chi_squared_quantile(0.975, 2.0 * n + 2.0) / 2.0;
    Count {
        seen,
        per_square_centimetre: Estimate::between(
            n / area,
            n.sqrt() / area,
            low / area,
            high / area,
        ),
    }
}

/// The pixels of an area in their bounding box.
struct Patch {
    width: usize,
    height: usize,
    light: Vec<f32>,
    inside: Vec<bool>,
}

impl Patch {
    fn read(
        raster: &Raster,
        shape: &StripShape,
        field: usize,
        area: &Area,
        channel: Channel,
    ) -> Self {
        let corners = shape.area_corners(field, area);
        let rows: Vec<_> = rows_inside(&corners, raster.width, raster.height).collect();
        let left = rows.iter().map(|row| row.1).min().unwrap_or(0);
        let right = rows.iter().map(|row| row.2).max().unwrap_or(0);
        let top = rows.first().map_or(0, |row| row.0);
        let (width, height) = (right - left, rows.last().map_or(0, |row| row.0 + 1 - top));
        let mut light = vec![0.0; width * height];
        let mut inside = vec![false; width * height];
        let mut buffer = vec![];
        for (y, from, to) in rows {
            raster.linear_row(y, from, to, channel, &mut buffer);
            let start = (y - top) * width + from - left;
            light[start..start + buffer.len()].copy_from_slice(&buffer);
            inside[start..start + buffer.len()].fill(true);
        }
        Self {
            width,
            height,
            light,
            inside,
        }
    }

    /// For each pixel: 0 like its neighbourhood, 1 lighter, -1 darker.
    fn marks(&self, per_mm: f64) -> Vec<i8> {
        let block = ((BLOCK_MM * per_mm).round() as usize).max(8);
        let mut marks = vec![0i8; self.light.len()];
        let mut values = vec![];
        for top in (0..self.height).step_by(block) {
            for left in (0..self.width).step_by(block) {
                // Blocks of half the size more each way, so that a neighbourhood is never a
                // sliver at the border.
                let rows = top.saturating_sub(block / 2)..(top + block * 3 / 2).min(self.height);
                values.clear();
                for y in rows {
                    let columns =
                        left.saturating_sub(block / 2)..(left + block * 3 / 2).min(self.width);
                    values.extend(
                        columns
                            .map(|x| y * self.width + x)
                            .filter(|&at| self.inside[at])
                            .map(|at| f64::from(self.light[at])),
                    );
                }
                let Some((middle, spread)) = median_and_spread(&mut values) else {
                    continue;
                };
                let bound = (SPREADS * spread).max(LEAST_SHARE * middle);
                for y in top..(top + block).min(self.height) {
                    for x in left..(left + block).min(self.width) {
                        let at = y * self.width + x;
                        let away = f64::from(self.light[at]) - middle;
                        if self.inside[at] && away.abs() > bound {
                            marks[at] = if away > 0.0 { 1 } else { -1 };
                        }
                    }
                }
            }
        }
        marks
    }

    /// What each patch of marked pixels is.
    fn kinds(&self, per_mm: f64, kinds: &mut Vec<Kind>) {
        let mut marks = self.marks(per_mm);
        let mut open = vec![];
        for start in 0..marks.len() {
            let tone = marks[start];
            if tone == 0 {
                continue;
            }
            marks[start] = 0;
            open.push(start);
            let mut patch = vec![];
            while let Some(at) = open.pop() {
                let (x, y) = (at % self.width, at / self.width);
                patch.push((x as f64, y as f64));
                for ny in y.saturating_sub(1)..(y + 2).min(self.height) {
                    for nx in x.saturating_sub(1)..(x + 2).min(self.width) {
                        let next = ny * self.width + nx;
                        if marks[next] == tone {
                            marks[next] = 0;
                            open.push(next);
                        }
                    }
                }
            }
            kinds.extend(kind(&patch, tone, per_mm));
        }
    }
}

/// What a patch is, by its area and its extent along and across itself.
fn kind(patch: &[(f64, f64)], tone: i8, per_mm: f64) -> Option<Kind> {
    let count = patch.len() as f64;
    let diameter = 2.0 * (count / std::f64::consts::PI).sqrt() / per_mm;
    if patch.len() < LEAST_PIXELS || diameter < LEAST_MM {
        return None;
    }
    let mean = |of: &dyn Fn(&(f64, f64)) -> f64| patch.iter().map(of).sum::<f64>() / count;
    let (x, y) = (mean(&|p| p.0), mean(&|p| p.1));
    // A twelfth: the extent of a pixel itself.
    let (xx, yy, xy) = (
        mean(&|p| (p.0 - x).powi(2)) + 1.0 / 12.0,
        mean(&|p| (p.1 - y).powi(2)) + 1.0 / 12.0,
        mean(&|p| (p.0 - x) * (p.1 - y)),
    );
    let (half, away) = ((xx + yy) / 2.0, ((xx - yy) / 2.0).hypot(xy));
    let long = ((half + away) / (half - away).max(1e-9)).sqrt();
    // A curved hair isn't long by its moments, but thin for its extent.
    let extent = 12f64.sqrt() * (half + away).sqrt() / per_mm;
    Some(if long >= HAIR || extent >= HAIR * diameter {
        Kind::Hair
    } else if tone < 0 {
        Kind::Speck
    } else if diameter >= BUBBLE_MM {
        Kind::Bubble
    } else {
        Kind::Pinhole
    })
}

#[cfg(test)]
mod tests {
    use std::sync::Arc;

    use super::*;
    use crate::measure::geometry::{Edge, Field, Point};
    use crate::measure::raster::{Light, Origin, Samples, Weights};

    /// Forty pixels a millimetre, one step of 20 x 20 mm, with discs (x, y, diameter in
    /// millimetres, code) on a noisy grey.
    fn scan(discs: &[(f64, f64, f64, u8)]) -> (Raster, StripShape) {
        let (per_mm, side) = (20.0, 440usize);
        let linear: Arc<[f32]> = (0..=255u8).map(|code| f32::from(code) / 255.0).collect();
        let mut codes: Vec<u8> = (0..side * side)
            .map(|at| 60 + (at.wrapping_mul(2_654_435_761) >> 7) as u8 % 5)
            .collect();
        for &(x, y, diameter, code) in discs {
            for py in 0..side {
                for px in 0..side {
                    let away =
                        ((px as f64 + 0.5) / per_mm - x).hypot((py as f64 + 0.5) / per_mm - y);
                    if away <= diameter / 2.0 {
                        codes[py * side + px] = code;
                    }
                }
            }
        }
        let raster = Raster {
            width: side,
            height: side,
            channels: 1,
            samples: Samples::Eight(codes),
            light: Light {
                tables: vec![linear],
                weights: Weights::GREY,
                source: "test".into(),
            },
            pixels_per_mm: Some(per_mm),
            origin: Origin::default(),
        };
        let at = |x: f64, y: f64| Point::new(x * per_mm, y * per_mm);
        let shape = StripShape {
            scan: 0,
            corners: [at(1.0, 1.0), at(21.0, 1.0), at(21.0, 21.0), at(1.0, 21.0)],
            edges: vec![Edge::square(0.0), Edge::square(1.0)],
            fields: vec![Field::Step(0)],
            unexposed: vec![],
        };
        (raster, shape)
    }

    #[test]
    fn each_kind_is_counted_once_over_the_area_that_was_looked_at() {
        let mut discs = vec![
            (6.0, 6.0, 0.6, 200),
            (12.0, 7.0, 0.9, 180),
            (8.0, 15.0, 0.2, 220),
            (15.0, 15.0, 0.2, 220),
            (17.0, 9.0, 0.2, 210),
            (10.0, 11.0, 0.3, 5),
        ];
        // A hair: a line of small light dots that touch.
        discs.extend((0..60).map(|dot| (5.0 + 0.05 * f64::from(dot), 17.5, 0.1, 190)));
        let (raster, shape) = scan(&discs);
        let found = spots(&raster, &shape, &[0], Channel::Luminance).unwrap();
        let counts = [found.bubbles, found.pinholes, found.specks, found.hairs];
        assert_eq!(counts.map(|count| count.seen), [2, 3, 1, 1]);
        // 16 x 16 mm.
        assert!((found.square_centimetres - 2.56).abs() < 0.01);
        let (low, high) = found.pinholes.per_square_centimetre.bounds().unwrap();
        // Garwood's interval of 3: 0.619 to 8.767 (tables of the Poisson distribution).
        assert!((low * 2.56 - 0.619).abs() < 0.01 && (high * 2.56 - 8.767).abs() < 0.05);
    }

    #[test]
    fn a_clean_step_has_none() {
        let (raster, shape) = scan(&[]);
        let found = spots(&raster, &shape, &[0], Channel::Luminance).unwrap();
        let counts = [found.bubbles, found.pinholes, found.specks, found.hairs];
        assert_eq!(counts.map(|count| count.seen), [0; 4]);
        let (low, high) = found.bubbles.per_square_centimetre.bounds().unwrap();
        // Nothing seen: up to 3.69 (minus the natural logarithm of 0.025).
        assert!(low == 0.0 && (high * 2.56 - 3.689).abs() < 0.02);
    }
}
