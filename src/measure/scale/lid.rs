//! The scanner's lid around what lies on the glass: how evenly the glass is lit, and how light
//! one scan is against another.
//!
//! The lid is one sheet, so where it looks darker the glass is lit less. It is looked for from
//! the border of the scan inwards, as far as it stays even; strips, wedges and their shadows
//! end it.

use nalgebra::{SMatrix, SVector};

use rayon::prelude::*;

use super::DensityScale;
use super::StrayCorrection;
use super::glass::Glass;
use crate::measure::finding::{Finding, Kind, Place, Weight};
use crate::measure::geometry::Point;
use crate::measure::raster::{Channel, Raster};
use crate::measure::reading::Around;

/// Places looked at along the longer side of a scan.
const ACROSS: usize = 120;
/// Rows and columns of pixels looked at in each place, at most.
const LOOKED: usize = 5;
/// Scatter within a place, and distance from the border's level, at which it is no longer taken
/// for the lid, scanner density.
pub(super) const EVEN: f64 = 0.03;
const SAME: f64 = 0.06;
/// Share of the places along the border that must be lid.
const AT_BORDER: f64 = 0.6;
/// Fewest places that tell anything.
const FEWEST: usize = 80;
/// Places along a side of the patches whose errors are taken as one (stray light and the lid's
/// own unevenness go on over centimetres).
const PATCH: usize = 10;
/// Terms of the surface: level, two slopes, three bends.
const TERMS: usize = 6;
/// Times that the surface is fitted, each time with less weight for what lies off it.
const ROUNDS: usize = 8;
/// Root mean square unevenness, density, of a lid that is lit evenly (common practice, no source).
pub(super) const LEAST: f64 = 0.002;
/// Root mean square unevenness, density, below which nothing is corrected: shadows and stray light
/// of what lies on the glass bend the lid by so much (up to 0.0077 on 140 practice scans that were
/// lit to 0.002).
pub(super) const BENT: f64 = 0.008;
/// And how many times its own standard error it must be.
const CERTAIN: f64 = 3.0;
/// Standard error of the level of a lid between two scans, scanner density: lamps come back to
/// about 1 % of light when the lid shows that they did (common practice, no source).
const LEVEL_ERROR: f64 = 0.004;
/// The same where no lid shows it.
const LEVEL_UNSEEN: f64 = 0.01;
/// Difference of level, density, from which the person is told that the scanner was set otherwise.
const LEVEL_TOLD: f64 = 0.02;

type Terms = SVector<f64, TERMS>;

/// The lid of a scan, in one channel.
#[derive(Debug, Clone, PartialEq)]
pub struct Lid {
    width: f64,
    height: f64,
    /// Scanner density over the glass, by the terms of [`terms`].
    surface: Terms,
    /// Covariance of the surface.
    covariance: SMatrix<f64, TERMS, TERMS>,
    /// Root mean square distance of the lid's places from the surface, none counted beyond [`EVEN`].
    scatter: f64,
}

/// One place of the scan.
#[derive(Debug, Clone, Copy)]
pub(super) struct Spot {
    /// Median scanner density.
    pub level: f64,
    /// Half the spread of the middle half.
    pub scatter: f64,
}

/// Terms of the surface at a place that goes from -1 to 1 each way.
fn terms(u: f64, v: f64) -> Terms {
    Terms::from([1.0, u, v, u * u, u * v, v * v])
}

impl Lid {
    /// Looks for the lid; `None` when the border of the scan is not even, or too little of it is
    /// in sight.
    pub fn seen(raster: &Raster, channel: Channel) -> Option<Self> {
        let (pitch, columns, rows) = grid(raster)?;
        let spots = spots(raster, channel, pitch, (columns, rows));
        Self::among(&spots, (pitch, columns, rows))
    }

    /// The lid as it is seen, and as it is once what an empty glass shows is taken off.
    pub(super) fn seen_over(
        raster: &Raster,
        channel: Channel,
        glass: &Glass,
    ) -> (Option<Self>, Option<Self>) {
        let Some((pitch, columns, rows)) = grid(raster) else {
            return (None, None);
        };
        let mut spots = spots(raster, channel, pitch, (columns, rows));
        let lid = Self::among(&spots, (pitch, columns, rows));
        let middle = |i: usize, full: usize| (i as f64 + 0.5) * pitch as f64 / full as f64;
        for (index, spot) in spots.iter_mut().enumerate() {
            spot.level -= glass.darker(Point::new(
                middle(index % columns, raster.width),
                middle(index / columns, raster.height),
            ));
        }
        (lid, Self::among(&spots, (pitch, columns, rows)))
    }

    fn among(spots: &[Spot], (pitch, columns, rows): (usize, usize, usize)) -> Option<Self> {
        let lid = flooded(spots, columns, rows)?;
        let at = |index: usize| {
            let place = |i: usize, count: usize| 2.0 * (i as f64 + 0.5) / count as f64 - 1.0;
            terms(
                place(index % columns, columns),
                place(index / columns, rows),
            )
        };
        let known: Vec<(Terms, f64, usize)> = lid
            .into_iter()
            .map(|index| {
                let patch = index / columns / PATCH * columns + index % columns / PATCH;
                (at(index), spots[index].level, patch)
            })
            .collect();
        let (surface, covariance, scatter) = surface(&known)?;
        Some(Self {
            width: (columns * pitch) as f64,
            height: (rows * pitch) as f64,
            surface,
            covariance,
            scatter,
        })
    }

    /// Root mean square distance of the lid's places from the surface, scanner density.
    pub(super) fn scatter(&self) -> f64 {
        self.scatter
    }

    fn terms_at(&self, at: Point) -> Terms {
        let place = |x: f64, full: f64| (2.0 * x / full - 1.0).clamp(-1.1, 1.1);
        terms(place(at.x, self.width), place(at.y, self.height))
    }

    /// Scanner density of the lid in the middle of the glass.
    pub fn level(&self) -> f64 {
        self.surface[0]
    }

    /// How much darker than in the middle the glass is lit at a place, scanner density.
    pub fn darker(&self, at: Point) -> f64 {
        self.surface.dot(&self.terms_at(at)) - self.surface[0]
    }

    /// Root mean square unevenness over the glass about its mean, scanner density, and the root
    /// mean square of its standard error.
    pub fn unevenness(&self) -> (f64, f64) {
        let places = 9;
        let place = |i: usize| 2.0 * (i as f64 + 0.5) / f64::from(places) - 1.0;
        let all: Vec<Terms> = (0..places as usize)
            .flat_map(|i| (0..places as usize).map(move |j| (i, j)))
            .map(|(i, j)| terms(place(i), place(j)))
            .collect();
        let count = all.len() as f64;
        let mean = all.iter().sum::<Terms>() / count;
        let (mut found, mut error) = (0.0, 0.0);
        for place in &all {
            let away = place - mean;
            found += self.surface.dot(&away).powi(2);
            error += away.dot(&(self.covariance * away));
        }
        ((found / count).sqrt(), (error / count).sqrt())
    }

    /// Whether the unevenness is worth taking off.
    pub fn is_uneven(&self) -> bool {
        let (found, error) = self.unevenness();
        // What the noise alone would look like is part of what is found.
        found > BENT && found > CERTAIN * error
    }

    /// What a person is told of it.
    pub fn finding(&self, scan: usize) -> Finding {
        let (found, error) = self.unevenness();
        Finding {
            kind: Kind::UnevenLight,
            weight: Weight::Note,
            place: Place::scan(scan),
            seen: format!(
                "The lid around the strips shows that the glass of scan {} is lit unevenly, by \
                 {found:.3} D root mean square (uncertain by {error:.3}).",
                scan + 1
            ),
            matters: "It is taken off; left in, a strip and the wedge would be read by different \
                      light."
                .into(),
            remedy: "Nothing to do. To see less of it, lay strips and wedge side by side in the \
                     middle of the glass."
                .into(),
        }
    }
}

/// Side of a place in pixels, and how many lie along a row and down a column; `None` when the scan
/// is too small.
pub(super) fn grid(raster: &Raster) -> Option<(usize, usize, usize)> {
    let pitch = raster.width.max(raster.height).div_ceil(ACROSS).max(4);
    let (columns, rows) = (raster.width / pitch, raster.height / pitch);
    (columns >= 8 && rows >= 8).then_some((pitch, columns, rows))
}

/// Level and scatter of every place.
pub(super) fn spots(
    raster: &Raster,
    channel: Channel,
    pitch: usize,
    (columns, rows): (usize, usize),
) -> Vec<Spot> {
    let stride = pitch.div_ceil(LOOKED).max(1);
    let row_of_spots = |row: usize| -> Vec<Spot> {
        let mut line = Vec::new();
        let mut samples: Vec<Vec<f32>> = vec![Vec::new(); columns];
        for y in (row * pitch..(row + 1) * pitch).step_by(stride) {
            raster.linear_row(y, 0, columns * pitch, channel, &mut line);
            for (sample, pixels) in samples.iter_mut().zip(line.chunks_exact(pitch)) {
                sample.extend(pixels.iter().step_by(stride));
            }
        }
        let spot = |mut sample: Vec<f32>| {
            sample.sort_unstable_by(f32::total_cmp);
            let at = |share: usize| {
                -f64::from(sample[(sample.len() - 1) * share / 4])
                    .max(1e-6)
                    .log10()
            };
            Spot {
                level: at(2),
                scatter: (at(1) - at(3)) / 2.0,
            }
        };
        samples.into_iter().map(spot).collect()
    };
    (0..rows)
        .into_par_iter()
        .flat_map_iter(row_of_spots)
        .collect()
}

/// Places of the lid: those like the border, reached from it over others like it, and not at
/// the edge of what ends it.
fn flooded(spots: &[Spot], columns: usize, rows: usize) -> Option<Vec<usize>> {
    let border: Vec<usize> = (0..spots.len())
        .filter(|index| {
            let (x, y) = (index % columns, index / columns);
            // The outermost row may show the frame of the glass.
            let (x, y) = (x.min(columns - 1 - x), y.min(rows - 1 - y));
            x.min(y) == 1
        })
        .collect();
    let mut levels: Vec<f64> = border.iter().map(|&index| spots[index].level).collect();
    levels.sort_unstable_by(f64::total_cmp);
    let level = levels[levels.len() / 2];
    let like = |index: usize| {
        let spot = spots[index];
        (spot.level - level).abs() < SAME && spot.scatter < EVEN
    };
    let alike = border.iter().filter(|&&index| like(index)).count();
    if (alike as f64) < AT_BORDER * border.len() as f64 {
        return None;
    }
    let around = |index: usize| {
        let (x, y) = (index % columns, index / columns);
        let left = (x > 0).then(|| index - 1);
        let right = (x + 1 < columns).then(|| index + 1);
        let above = (y > 0).then(|| index - columns);
        let below = (y + 1 < rows).then(|| index + columns);
        [left, right, above, below].into_iter().flatten()
    };
    let mut reached = vec![false; spots.len()];
    let mut open: Vec<usize> = border.into_iter().filter(|&index| like(index)).collect();
    open.iter().for_each(|&index| reached[index] = true);
    while let Some(index) = open.pop() {
        for next in around(index) {
            // A step of level ends the lid even where the paper beside it is as white.
            let near = (spots[next].level - spots[index].level).abs() < EVEN / 3.0;
            if !reached[next] && like(next) && near {
                reached[next] = true;
                open.push(next);
            }
        }
    }
    let inner: Vec<usize> = (0..spots.len())
        .filter(|&index| reached[index] && around(index).all(|next| reached[next]))
        .collect();
    (inner.len() >= FEWEST).then_some(inner)
}

/// The surface through the lid's places, what lies off it counting less (Tukey's biweight), its
/// covariance, and the places' root mean square distance from it. The covariance comes from the
/// scatter of whole patches (the sandwich estimator for clusters, Liang and Zeger 1986, from
/// memory).
fn surface(known: &[(Terms, f64, usize)]) -> Option<(Terms, SMatrix<f64, TERMS, TERMS>, f64)> {
    let mut weights = vec![1.0; known.len()];
    let mut surface = Terms::zeros();
    let mut inverse = SMatrix::<f64, TERMS, TERMS>::zeros();
    for _ in 0..ROUNDS {
        // A weak pull to an even glass, where little of the lid is in sight.
        let mut normal = SMatrix::<f64, TERMS, TERMS>::identity() * 1e-3;
        normal[(0, 0)] = 1e-9;
        let mut right = Terms::zeros();
        for ((terms, level, _), weight) in known.iter().zip(&weights) {
            normal += terms * terms.transpose() * *weight;
            right += terms * (*weight * level);
        }
        inverse = normal.try_inverse()?;
        surface = inverse * right;
        let mut away: Vec<f64> = known
            .iter()
            .map(|(terms, level, _)| (level - surface.dot(terms)).abs())
            .collect();
        let middle = away.len() / 2;
        let (_, &mut median, _) = away.select_nth_unstable_by(middle, f64::total_cmp);
        let cut = 4.685 * 1.4826 * median.max(1e-5);
        for ((terms, level, _), weight) in known.iter().zip(&mut weights) {
            let share = (level - surface.dot(terms)) / cut;
            *weight = (1.0 - share * share).max(0.0).powi(2);
        }
    }
    let mut patches: std::collections::BTreeMap<usize, Terms> = std::collections::BTreeMap::new();
    for ((terms, level, patch), weight) in known.iter().zip(&weights) {
        let score = terms * (*weight * (level - surface.dot(terms)));
        *patches.entry(*patch).or_insert_with(Terms::zeros) += score;
    }
    let count = patches.len() as f64;
    if count < 2.0 * TERMS as f64 {
        return None;
    }
    let meat: SMatrix<f64, TERMS, TERMS> = patches
        .values()
        .map(|score| score * score.transpose())
        .sum();
    let covariance = inverse * meat * inverse * (count / (count - TERMS as f64));
    let away =
        |(terms, level, _): &(Terms, f64, usize)| (level - surface.dot(terms)).abs().min(EVEN);
    let squares: f64 = known.iter().map(|place| away(place).powi(2)).sum();
    Some((surface, covariance, (squares / known.len() as f64).sqrt()))
}

/// The scale of another scan's wedge on a scan of the same session, its level moved by what the
/// lid shows.
pub struct Levelled {
    base: std::sync::Arc<dyn DensityScale>,
    shift: f64,
    error: f64,
}

impl Levelled {
    /// Reads a scan by the scale of another; each with its lid, where one was seen.
    pub fn new(
        base: std::sync::Arc<dyn DensityScale>,
        there: Option<&Lid>,
        here: Option<&Lid>,
    ) -> Self {
        let (shift, error) = match (there, here) {
            (Some(there), Some(here)) => (here.level() - there.level(), LEVEL_ERROR),
            _ => (0.0, LEVEL_UNSEEN),
        };
        Self { base, shift, error }
    }

    /// The level that the lid shows, scanner density, and its standard error; `None` where no lid
    /// shows it.
    pub fn by_lid(&self) -> Option<(f64, f64)> {
        (self.error < LEVEL_UNSEEN).then_some((self.shift, self.error))
    }

    /// How far the level is moved, scanner density.
    pub fn shift(&self) -> f64 {
        self.shift
    }

    /// The same at another level, scanner density, with its standard error.
    pub fn at_level(&self, (shift, error): (f64, f64)) -> Self {
        Self {
            base: std::sync::Arc::clone(&self.base),
            shift,
            error,
        }
    }

    /// What a person is told: which scan is read by the wedge of which other.
    pub fn finding(&self, scan: usize, other: usize) -> Finding {
        let by_lid = self.error < LEVEL_UNSEEN;
        let moved = by_lid && self.shift.abs() > LEVEL_TOLD;
        let level = if !by_lid {
            "the lid is not in sight on both, so their levels can't be compared".to_owned()
        } else if moved {
            format!(
                "the lid shows {:+.3} D of difference between them, which is taken off",
                self.shift
            )
        } else {
            format!("the lid looks alike on both, to {:.3} D", self.shift.abs())
        };
        Finding {
            kind: Kind::NoWedge,
            weight: if by_lid && !moved {
                Weight::Note
            } else {
                Weight::Caution
            },
            place: Place::scan(scan),
            seen: format!(
                "No wedge lies on scan {}; it is read by the wedge of scan {}; {level}.",
                scan + 1,
                other + 1
            ),
            matters: format!(
                "The densities hold if both were scanned with the same settings; {:.3} D are \
                 allowed for the level, nothing for another tone curve.",
                self.error
            ),
            remedy: "Scan the wedge along with every scan, or all strips in one.".into(),
        }
    }
}

impl DensityScale for Levelled {
    fn density(&self, s: f64) -> f64 {
        self.base.density(s - self.shift)
    }

    fn slope(&self, s: f64) -> f64 {
        self.base.slope(s - self.shift)
    }

    /// Those of the other scan's scale, then the level's.
    fn modes(&self, s: f64) -> Vec<f64> {
        let mut modes = self.base.modes(s - self.shift);
        modes.push(self.error * self.slope(s));
        modes
    }

    fn supported(&self) -> (f64, f64) {
        let (low, high) = self.base.supported();
        (low + self.shift, high + self.shift)
    }

    fn stray(&self, s: f64, around: &Around) -> StrayCorrection {
        let factor = 10f64.powf(self.shift);
        self.base
            .stray(s - self.shift, &around.map(|light| light * factor))
    }

    fn by_wedge(&self) -> bool {
        true
    }
}
