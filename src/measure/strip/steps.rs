//! Where the fields lie along a lane: dynamic programming over their borders.
//!
//! A border is a place where the density rises (darker onward) in all bands across the
//! strip at once. Its evidence is a log likelihood ratio against "no border here", with a
//! heavy-tailed error, so that a bubble cannot buy a border and a melted border costs little.
//! Widths have a prior about a common width that is searched over. The sum is maximised
//! exactly for a known count of fields.

use super::lane::{BANDS, Profile, median};

/// What fields to expect.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) struct Pattern {
    /// Standard deviation of a field's width as a share of the common width.
    pub spread: f64,
    /// Whether every field is at least as dark as the one before.
    pub rising: bool,
}

/// Borders found along a lane.
#[derive(Debug, Clone, PartialEq)]
pub(super) struct Steps {
    /// Log likelihood ratio against an empty lane.
    pub score: f64,
    /// Common width, samples.
    pub width: f64,
    /// Borders, samples from the profile's start, one more than fields.
    pub borders: Vec<f64>,
    /// Evidence in standard errors at each border (positive: darker onward).
    pub evidence: Vec<f64>,
}

/// Share of borders that may show nothing at all (melted into base or Dmax).
const MELTED: f64 = 0.15;
/// Breadth of the plausible evidence of a border, standard errors.
const BROAD: f64 = 40.0;
/// Density that no profile resolves between neighbouring stretches.
const FLOOR: f64 = 0.003;
/// Unevenness of a coat between neighbouring stretches as a share of net density.
const UNEVEN: f64 = 0.012;
/// Chance that a strip has no margin at its light end.
const WITHOUT_MARGIN: f64 = 0.1;
/// Ratio of neighbouring common widths that are tried.
const WIDTH_RATIO: f64 = 1.06;
/// Grid positions per field width.
const GRID: f64 = 16.0;

/// Running sums of a profile's bands and what its noise is.
#[derive(Debug, Clone)]
pub(super) struct Sums {
    bands: Vec<Vec<f64>>,
    base: f64,
    len: usize,
}

impl Sums {
    pub fn of(profile: &Profile) -> Self {
        let bands: Vec<Vec<f64>> = profile
            .bands
            .iter()
            .map(|band| {
                let mut sum = 0.0;
                std::iter::once(0.0)
                    .chain(band.iter().map(|&density| {
                        sum += f64::from(density);
                        sum
                    }))
                    .collect()
            })
            .collect();
        let mut all: Vec<f64> = profile
            .bands
            .iter()
            .flatten()
            .map(|&d| f64::from(d))
            .collect();
        let base = if all.is_empty() {
            0.0
        } else {
            let rank = all.len() / 50;
            *all.select_nth_unstable_by(rank, f64::total_cmp).1
        };
        Self {
            bands,
            base,
            len: profile.len(),
        }
    }

    /// The same lane walked the other way.
    pub fn turned(&self) -> Self {
        let bands = self
            .bands
            .iter()
            .map(|sums| {
                let total = sums[self.len];
                sums.iter().rev().map(|sum| total - sum).collect()
            })
            .collect();
        Self { bands, ..*self }
    }

    pub fn len(&self) -> usize {
        self.len
    }

    fn mean(&self, band: usize, from: usize, to: usize) -> f64 {
        (self.bands[band][to] - self.bands[band][from]) / (to - from) as f64
    }

    /// Median over the bands of the mean density between two samples.
    pub fn level(&self, from: f64, to: f64) -> f64 {
        let from = (from.round().max(0.0) as usize).min(self.len.saturating_sub(1));
        let to = (to.round().max(0.0) as usize).clamp(from + 1, self.len.max(from + 1));
        let mut means: Vec<f64> = (0..BANDS).map(|band| self.mean(band, from, to)).collect();
        median(&mut means)
    }

    /// Rise of density at a border in standard errors, for stretches of this length on both
    /// sides with a gap about the border.
    fn rise(&self, at: usize, gap: usize, reach: usize, scatter_floor: f64) -> (f64, f64, f64) {
        let before = (at.saturating_sub(reach), at.saturating_sub(gap));
        let after = ((at + gap).min(self.len), (at + reach).min(self.len));
        if before.1 <= before.0 || after.1 <= after.0 {
            return (0.0, 1.0, 0.0);
        }
        let mut rises = [0.0; BANDS];
        let mut level = 0.0;
        for (band, rise) in rises.iter_mut().enumerate() {
            let dark = self.mean(band, after.0, after.1);
            let light = self.mean(band, before.0, before.1);
            *rise = dark - light;
            level += (dark + light) / (2 * BANDS) as f64;
        }
        rises.sort_unstable_by(f64::total_cmp);
        let middle = (rises[BANDS / 2] + rises[(BANDS - 1) / 2]) / 2.0;
        // Interquartile range of six values, as a standard deviation.
        let scatter = (rises[BANDS - 2] - rises[1]) / 1.3;
        let error = (scatter / (BANDS as f64).sqrt()).max(scatter_floor);
        let net = (level - self.base).max(0.0);
        let sigma = (error * error + FLOOR * FLOOR + (UNEVEN * net).powi(2)).sqrt();
        (middle / sigma, sigma, scatter)
    }
}

/// Log likelihood ratio of a border with this evidence, of the expected sign if positive.
fn border_gain(z: f64) -> f64 {
    let tail = 1.0 + z * z / 3.0;
    if z > 0.0 {
        (MELTED + (1.0 - MELTED) * tail * tail / (0.3675 * BROAD)).ln()
    } else {
        MELTED.ln() - (2.0 * tail.ln()).min(7.0)
    }
}

/// Cost of evidence inside a field that no border explains.
fn stray_cost(z: f64) -> f64 {
    let strength = (2.0 * (1.0 + z * z / 3.0).ln() - 3.0).max(0.0);
    if z < 0.0 { strength } else { strength * 0.5 }
}

/// Evidence on the grid for one common width.
struct Grid {
    /// Samples per grid place.
    pitch: f64,
    z: Vec<f64>,
    border: Vec<f64>,
    first: Vec<f64>,
    last: Vec<f64>,
    /// Running sums of stray cost.
    stray: Vec<f64>,
}

impl Grid {
    fn new(sums: &Sums, width: f64, rising: bool) -> Self {
        let pitch = (width / GRID).max(1.0);
        let places = (sums.len as f64 / pitch) as usize + 1;
        let reach = (0.3 * width).round().max(1.0) as usize;
        let gap = (0.05 * width).round() as usize;
        let at = |place: usize| ((place as f64 * pitch).round() as usize).min(sums.len);
        let mut scatters: Vec<f64> = (0..places)
            .map(|place| sums.rise(at(place), gap, reach, 0.0).2)
            .collect();
        let floor = median(&mut scatters) / (BANDS as f64).sqrt() * 0.5;
        let z: Vec<f64> = (0..places)
            .map(|place| sums.rise(at(place), gap, reach, floor).0)
            .collect();
        let signed = |z: f64| if rising { z } else { z.abs() };
        let border = z.iter().map(|&z| border_gain(signed(z))).collect();
        // The end of a sheet shows as a step of either sign, or not at all where it is as
        // light as the lid; where the picture ends so may the sheet.
        let mut outer: Vec<f64> = z
            .iter()
            .map(|&z| border_gain(z.abs()).max(MELTED.ln()))
            .collect();
        let mut last: Vec<f64> = if rising {
            z.iter().map(|&z| border_gain(-z).max(-4.0)).collect()
        } else {
            outer.clone()
        };
        for gains in [&mut outer, &mut last] {
            if let Some(gain) = gains.first_mut() {
                *gain = gain.max(0.0);
            }
            if let Some(gain) = gains.last_mut() {
                *gain = gain.max(0.0);
            }
        }
        let mut sum = 0.0;
        let per_place = pitch / reach as f64;
        let stray = std::iter::once(0.0)
            .chain(z.iter().map(|&z| {
                sum += stray_cost(signed(z)) * per_place;
                sum
            }))
            .collect();
        let mut grid = Self {
            pitch,
            z,
            border,
            first: vec![],
            last,
            stray,
        };
        grid.first = grid.first_borders(&outer, width / pitch);
        grid
    }

    /// Gain of the first border of the steps: either the sheet begins there, or a margin
    /// ends there that began somewhat before.
    fn first_borders(&self, outer: &[f64], unit: f64) -> Vec<f64> {
        let least = (0.35 * unit).ceil() as usize;
        let most = (2.0 * unit) as usize;
        let each = -(((most - least + 1) as f64).ln());
        (0..self.z.len())
            .map(|place| {
                let bare = outer[place] + WITHOUT_MARGIN.ln();
                let margin = (least..=most.min(place))
                    .map(|width| outer[place - width] - self.inside(place - width, place))
                    .fold(f64::NEG_INFINITY, f64::max);
                let margin = margin + each + self.border[place] + (1.0 - WITHOUT_MARGIN).ln();
                bare.max(margin)
            })
            .collect()
    }

    /// Stray cost strictly inside a field, clear of its borders' own response.
    fn inside(&self, from: usize, to: usize) -> f64 {
        let clear = (0.36 * GRID) as usize;
        if to <= from + 2 * clear + 1 {
            0.0
        } else {
            self.stray[to - clear] - self.stray[from + clear + 1]
        }
    }
}

/// Where the first and the last border may lie, in samples.
#[derive(Clone, Copy)]
pub(super) struct Allowed<'a> {
    pub first: &'a (dyn Fn(f64) -> bool + Sync),
    pub last: &'a (dyn Fn(f64) -> bool + Sync),
}

/// Anywhere.
pub(super) const ANYWHERE: Allowed<'static> = Allowed {
    first: &|_| true,
    last: &|_| true,
};

/// The best borders for each of some counts of fields with widths near `width` samples.
fn best_for_width(
    sums: &Sums,
    pattern: Pattern,
    counts: &[usize],
    width: f64,
    allowed: Allowed<'_>,
) -> Vec<Option<Steps>> {
    const FORBID: f64 = f64::NEG_INFINITY;
    let grid = Grid::new(sums, width, pattern.rising);
    let places = grid.z.len();
    let unit = width / grid.pitch;
    let most_fields = counts.iter().copied().max().unwrap_or(0);
    let least = ((1.0 - 3.2 * pattern.spread) * unit).floor().max(1.0) as usize;
    let most = ((1.0 + 3.2 * pattern.spread) * unit).ceil() as usize;
    // The grid itself is uncertain by a good part of its pitch.
    let spread = pattern.spread.max(0.5 / unit);
    let norm = -(spread * (2.0 * std::f64::consts::PI).sqrt() * unit).ln();
    let width_gain: Vec<f64> = (least..=most)
        .map(|w| norm - 0.5 * ((w as f64 / unit - 1.0) / spread).powi(2))
        .collect();
    let mut score: Vec<f64> = (0..places)
        .map(|place| {
            if (allowed.first)(place as f64 * grid.pitch) {
                grid.first[place]
            } else {
                FORBID
            }
        })
        .collect();
    let may_end: Vec<bool> = (0..places)
        .map(|place| (allowed.last)(place as f64 * grid.pitch))
        .collect();
    let mut back: Vec<Vec<u32>> = Vec::with_capacity(most_fields);
    let mut ends: Vec<Option<(f64, usize)>> = Vec::with_capacity(most_fields);
    for _ in 0..most_fields {
        let mut reached = vec![FORBID; places];
        let mut from = vec![0u32; places];
        for place in least..places {
            let (mut best, mut best_from) = (FORBID, 0);
            for (index, gain) in width_gain.iter().enumerate() {
                let Some(start) = place.checked_sub(least + index) else {
                    break;
                };
                if score[start] > FORBID {
                    let total = score[start] + gain - grid.inside(start, place);
                    if total > best {
                        (best, best_from) = (total, start);
                    }
                }
            }
            reached[place] = best;
            from[place] = best_from as u32;
        }
        ends.push(
            (0..places)
                .filter(|&place| may_end[place] && reached[place] > FORBID)
                .map(|place| (reached[place] + grid.last[place], place))
                .max_by(|a, b| a.0.total_cmp(&b.0)),
        );
        back.push(from);
        for (gain, total) in grid.border.iter().zip(&mut reached) {
            *total += gain;
        }
        score = reached;
    }
    counts
        .iter()
        .map(|&count| {
            let (score, mut place) = (*ends.get(count.checked_sub(1)?)?)?;
            let mut at = vec![place];
            for from in back[..count].iter().rev() {
                place = from[place] as usize;
                at.push(place);
            }
            at.reverse();
            Some(Steps {
                score,
                width,
                borders: at.iter().map(|&p| p as f64 * grid.pitch).collect(),
                evidence: at.iter().map(|&p| grid.z[p]).collect(),
            })
        })
        .collect()
}

/// The best borders for each of some counts of fields, over a range of common widths
/// (samples).
pub(super) fn best(
    sums: &Sums,
    pattern: Pattern,
    counts: &[usize],
    widths: (f64, f64),
    allowed: Allowed<'_>,
) -> Vec<Option<Steps>> {
    let mut best: Vec<Option<Steps>> = vec![None; counts.len()];
    let mut width = widths.0;
    while width <= widths.1 {
        // Counts that don't fit on the lane at this width are left out.
        let fits = |count: usize| (count as f64) * width <= 1.2 * sums.len() as f64;
        let fitting: Vec<usize> = counts.iter().copied().filter(|&c| fits(c)).collect();
        if fitting.is_empty() {
            break;
        }
        let found = best_for_width(sums, pattern, &fitting, width, allowed);
        for (count, steps) in fitting.iter().zip(found) {
            let Some(steps) = steps else { continue };
            for (known, known_best) in counts.iter().zip(&mut best) {
                if known == count && known_best.as_ref().is_none_or(|b| steps.score > b.score) {
                    *known_best = Some(steps.clone());
                }
            }
        }
        width *= WIDTH_RATIO;
    }
    best
}
