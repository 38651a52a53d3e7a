//! Evidence for the borders of fields, on a grid along a lane, for one common field width.
//!
//! A border is a place where the density rises (darker onward) in all bands across the
//! strip at once. Its evidence is a log likelihood ratio against "no border here", with a
//! heavy-tailed error, so that a bubble cannot buy a border and a melted border costs little.

use super::lane::median;
use super::profile::{BANDS, Sums};
use super::steps::{Ends, Steps};

/// Share of borders that may show nothing at all (melted into base or Dmax).
const MELTED: f64 = 0.15;
/// Breadth of the plausible evidence of a border, standard errors.
const BROAD: f64 = 40.0;
/// Chance that a strip has no margin at its light end.
const WITHOUT_MARGIN: f64 = 0.003;
/// Chance that a strip has a second margin, beyond its darkest step.
const SECOND_MARGIN: f64 = 0.15;
/// Chance that what lies beyond the darkest step is darker still: an open lid, slate.
const RISE_BEYOND: f64 = 0.1;
/// Standard errors by which the density falls at least from the darkest step to a margin.
const CLEAR_FALL: f64 = 4.0;
/// Widths of a margin as shares of the common width of the steps.
const MARGIN_WIDTHS: (f64, f64) = (0.45, 2.0);
/// Grid positions per field width.
const GRID: f64 = 16.0;
/// Grid places on either side of a border that respond to it.
const CLEAR: usize = (0.36 * GRID) as usize;
/// Grid places of a field that is all response to its borders.
pub(super) const SHORT: usize = 2 * CLEAR + 1;

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

/// How much the presence of a strip beside what surrounds it counts.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) enum Sides {
    /// The lane's sides are not fitted yet: not at all.
    Rough,
    /// They are.
    Fitted,
}

/// How far from a border, and up to how far, density is looked at: samples, for a common
/// width of fields.
pub(super) fn stretch(width: f64) -> (usize, usize) {
    (
        (0.05 * width).round() as usize,
        (0.3 * width).round().max(1.0) as usize,
    )
}

/// Evidence on the grid for one common width.
pub(super) struct Grid {
    /// Samples per grid place.
    pub pitch: f64,
    /// Rise of density in standard errors.
    pub z: Vec<f64>,
    /// Gain of a border between two steps.
    pub border: Vec<f64>,
    /// Gain of the first border of the steps, all that lies before it counted.
    pub first: Vec<f64>,
    /// Where the margin before the first border begins; its own place when there is none.
    pub begins: Vec<usize>,
    /// Gain of the last border of the steps, all that lies beyond it counted.
    pub last: Vec<f64>,
    /// Where the margin beyond the last border ends.
    pub ends: Vec<usize>,
    /// Running sums of stray cost.
    stray: Vec<f64>,
    /// Running sums of the presence of a strip.
    presence: Vec<f64>,
}

impl Grid {
    /// The evidence; what lies beyond the ends follows by [`Self::find_ends`].
    pub fn new(sums: &Sums, width: f64, sides: Sides) -> Self {
        let pitch = (width / GRID).max(1.0);
        let places = (sums.len() as f64 / pitch) as usize + 1;
        let (gap, reach) = stretch(width);
        let at = |place: usize| ((place as f64 * pitch).round() as usize).min(sums.len());
        let rises: Vec<(f64, f64)> = (0..places)
            .map(|place| sums.rise(at(place), gap, reach))
            .collect();
        let mut scatters: Vec<f64> = rises.iter().map(|rise| rise.1).collect();
        let floor = median(&mut scatters) / (BANDS as f64).sqrt() * 0.5;
        let z: Vec<f64> = (0..places)
            .map(|place| sums.evidence(at(place), gap, reach, rises[place], floor))
            .collect();
        let border = z.iter().map(|&z| border_gain(z)).collect();
        let mut sum = 0.0;
        let per_place = pitch / reach as f64;
        let stray = std::iter::once(0.0)
            .chain(z.iter().map(|&z| {
                sum += stray_cost(z) * per_place;
                sum
            }))
            .collect();
        let weight = match sides {
            Sides::Rough => 0.0,
            Sides::Fitted => 1.0,
        };
        Self {
            pitch,
            z,
            border,
            first: vec![],
            begins: vec![],
            last: vec![],
            ends: vec![],
            stray,
            presence: (0..places)
                .map(|place| weight * sums.presence(at(place)))
                .collect(),
        }
    }

    /// The end of a sheet shows as a step of either sign, or not at all where it is as light
    /// as the lid; where the picture ends so may the sheet.
    fn outer(&self) -> Vec<f64> {
        let mut outer: Vec<f64> = self
            .z
            .iter()
            .map(|&z| border_gain(z.abs()).max(MELTED.ln()))
            .collect();
        clear_at_the_ends(&mut outer);
        outer
    }

    /// Gains of the first and the last border by what may lie beyond them; `unit` is the
    /// common width in grid places.
    pub fn find_ends(&mut self, ends: Ends, unit: f64) {
        let outer = self.outer();
        let places = self.z.len();
        let last_place = places - 1;
        let mut dark_end: Vec<f64> = self
            .z
            .iter()
            .map(|&z| {
                border_gain(-z)
                    .max(border_gain(z) + RISE_BEYOND.ln())
                    .max(-4.0)
            })
            .collect();
        clear_at_the_ends(&mut dark_end);
        let start = |place: usize| outer[place] - self.presence[place];
        let end = |place: usize| dark_end[place] + self.presence[place];
        let own: Vec<usize> = (0..places).collect();
        if ends == Ends::Bare {
            self.first = own.iter().map(|&place| start(place)).collect();
            self.last = own.iter().map(|&place| end(place)).collect();
            (self.begins, self.ends) = (own.clone(), own);
            return;
        }
        let least = (MARGIN_WIDTHS.0 * unit).ceil() as usize;
        let most = (MARGIN_WIDTHS.1 * unit) as usize;
        let each = -((most - least + 1) as f64).ln();
        let (first, begins) = own
            .iter()
            .map(|&place| {
                let bare = (start(place) + WITHOUT_MARGIN.ln(), place);
                let margin = (least..=most.min(place))
                    .map(|width| {
                        let begin = place - width;
                        let gain = start(begin) - self.inside(begin, place);
                        (
                            gain + each + self.border[place] + (1.0 - WITHOUT_MARGIN).ln(),
                            begin,
                        )
                    })
                    .fold((f64::NEG_INFINITY, place), better);
                better(bare, margin)
            })
            .unzip();
        let (last, ends) = own
            .iter()
            .map(|&place| {
                let bare = (end(place) + (1.0 - SECOND_MARGIN).ln(), place);
                let fall = border_gain(-self.z[place]);
                if self.z[place] > -CLEAR_FALL {
                    return bare;
                }
                let margin = (least..=most.min(last_place - place))
                    .map(|width| {
                        let end = place + width;
                        let gain = outer[end] + self.presence[end] - self.inside(place, end);
                        (gain + each + fall + SECOND_MARGIN.ln(), end)
                    })
                    .fold((f64::NEG_INFINITY, place), better);
                better(bare, margin)
            })
            .unzip();
        (self.first, self.begins, self.last, self.ends) = (first, begins, last, ends);
    }

    /// A reading with its borders at these places.
    pub fn steps(&self, at: &[usize], width: f64, score: f64) -> Steps {
        let sample = |place: usize| place as f64 * self.pitch;
        let other = |place: usize, own: usize| (place != own).then(|| sample(place));
        let (first, last) = (at[0], at[at.len() - 1]);
        Steps {
            score,
            width,
            begins: other(self.begins[first], first),
            ends: other(self.ends[last], last),
            borders: at.iter().map(|&place| sample(place)).collect(),
            evidence: at.iter().map(|&place| self.z[place]).collect(),
        }
    }

    /// Stray cost strictly inside a field, clear of its borders' own response.
    pub fn inside(&self, from: usize, to: usize) -> f64 {
        if to <= from + SHORT {
            0.0
        } else {
            self.stray_before(to) - self.stray_after(from)
        }
    }

    /// Running sum of stray cost up to where a border that follows begins to respond.
    pub fn stray_before(&self, border: usize) -> f64 {
        self.stray[border.saturating_sub(CLEAR)]
    }

    /// Running sum of stray cost up to where a border before it has ceased to respond.
    pub fn stray_after(&self, border: usize) -> f64 {
        self.stray[(border + CLEAR + 1).min(self.stray.len() - 1)]
    }
}

fn better(a: (f64, usize), b: (f64, usize)) -> (f64, usize) {
    if b.0 > a.0 { b } else { a }
}

fn clear_at_the_ends(gains: &mut [f64]) {
    if let Some(gain) = gains.first_mut() {
        *gain = gain.max(0.0);
    }
    if let Some(gain) = gains.last_mut() {
        *gain = gain.max(0.0);
    }
}
