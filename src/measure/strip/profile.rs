//! What lies along a lane: densities in bands across it, and how it differs from beside.

use super::lane::{Lane, median};
use super::view::View;

/// Bands across the strip whose profiles are kept apart: what crosses the whole strip shows
/// in all of them, a bubble or a brush streak only in one or two.
pub(super) const BANDS: usize = 6;
/// Share of the lane's width that the bands cover: ragged sides stay out.
const COVERED: f64 = 0.84;
/// Stretch just inside each side, and just outside, as shares of the lane's width from the
/// side: clear of a ragged border, and on a mount of two millimetres around the coat.
const INSIDE: (f64, f64) = (0.12, 0.04);
const OUTSIDE: (f64, f64) = (0.03, 0.075);
/// Stretch over which the presence of a strip counts as seen once, as a share of the lane's
/// width.
const SEEN_ONCE: f64 = 0.3;
/// Density that no profile resolves between neighbouring stretches.
const FLOOR: f64 = 0.003;
/// Unevenness of a coat between neighbouring stretches as a share of net density: as
/// expected, and the least and most that is believed.
const UNEVEN: f64 = 0.012;
const UNEVEN_RANGE: (f64, f64) = (0.002, 0.04);
/// Fields that the expected unevenness counts for against those that were seen.
const EXPECTED_COUNTS: f64 = 3.0;
/// Net density from which a field shows how uneven the coat is.
const SHOWING_NET: f64 = 0.1;
/// Difference between inside and outside that even sheets show by chance.
const LEAST_CONTRAST: f64 = 0.006;

/// Densities along a lane, one list a band, a sample each view pixel.
#[derive(Debug, Clone)]
pub(super) struct Profile {
    /// Mean density in each band at each sample.
    pub bands: [Vec<f32>; BANDS],
    /// Density just inside the left and right side less density just outside.
    contrast: [Vec<f32>; 2],
    /// Density just outside.
    outside: [Vec<f32>; 2],
    /// Samples that count as one look at what lies beside.
    once: f64,
}

/// Across of a band's middle line.
pub(super) fn band_centre(lane: &Lane, band: usize) -> f64 {
    let width = 2.0 * lane.half_width * COVERED;
    width * ((band as f64 + 0.5) / BANDS as f64 - 0.5)
}

impl Profile {
    /// Samples a lane between two places along it; sample i covers `from + i` to
    /// `from + i + 1`.
    pub fn of(view: &View, lane: &Lane, from: f64, to: f64) -> Self {
        let count = (to - from).floor().max(0.0) as usize;
        let width = lane.half_width * 2.0;
        let band_width = width * COVERED / BANDS as f64;
        let lines = (band_width.round() as usize).clamp(1, 6);
        let first = -width * COVERED / 2.0;
        let average = |along: f64, from: f64, to: f64, lines: usize| {
            let mut sum = 0f32;
            for line in 0..lines {
                let across = from + (to - from) * (line as f64 + 0.5) / lines as f64;
                sum += view.nearest(lane.place(along, across));
            }
            sum / lines as f32
        };
        let sample = |from_across: f64, to_across: f64, lines: usize| -> Vec<f32> {
            (0..count)
                .map(|index| average(from + index as f64 + 0.5, from_across, to_across, lines))
                .collect()
        };
        let half = lane.half_width;
        let stretch = |side: f64, near: f64, far: f64| {
            sample(side * (half + near * width), side * (half + far * width), 3)
        };
        let outside = [-1.0, 1.0].map(|side| stretch(side, OUTSIDE.0, OUTSIDE.1));
        let mut contrast = [-1.0, 1.0].map(|side| stretch(side, -INSIDE.0, -INSIDE.1));
        for (inside, outside) in contrast.iter_mut().zip(&outside) {
            for (inside, outside) in inside.iter_mut().zip(outside) {
                *inside -= outside;
            }
        }
        Self {
            bands: std::array::from_fn(|band| {
                let start = first + band as f64 * band_width;
                sample(start, start + band_width, lines)
            }),
            contrast,
            outside,
            once: (SEEN_ONCE * width).max(1.0),
        }
    }

    /// Count of samples.
    pub fn len(&self) -> usize {
        self.bands[0].len()
    }

    /// For each sample, how much it speaks for a strip between the lane's sides: log
    /// likelihood ratio against "the same inside and outside", mean of both sides. What lies
    /// beside varies slowly: only a stretch of [`SEEN_ONCE`] counts as seen once.
    fn presence(&self) -> Vec<f64> {
        let lag = ((self.len() as f64 * 0.01) as usize).max(3);
        let mut total = vec![0.0; self.len()];
        for (contrast, outside) in self.contrast.iter().zip(&self.outside) {
            let mut rough: Vec<f64> = outside
                .iter()
                .zip(outside.iter().skip(lag))
                .map(|(a, b)| f64::from((a - b).abs()))
                .collect();
            let sigma = (median(&mut rough) * 1.05).max(LEAST_CONTRAST);
            for (total, &contrast) in total.iter_mut().zip(contrast) {
                *total += presence(f64::from(contrast) / sigma) / (2.0 * self.once);
            }
        }
        total
    }
}

/// Log likelihood ratio of a contrast in standard errors: strip against no strip. A strip may
/// be as light as what lies around it.
fn presence(z: f64) -> f64 {
    const NO_CONTRAST: f64 = 0.15;
    const BREADTH: f64 = 40.0;
    const MOST: f64 = 3.0;
    let tail = 1.0 + z * z / 3.0;
    (NO_CONTRAST + (1.0 - NO_CONTRAST) * tail * tail / (0.3675 * BREADTH))
        .ln()
        .min(MOST)
}

/// Running sums of a profile's bands and of the presence of a strip.
#[derive(Debug, Clone)]
pub(super) struct Sums {
    bands: Vec<Vec<f64>>,
    presence: Vec<f64>,
    base: f64,
    uneven: f64,
    len: usize,
}

impl Sums {
    pub fn of(profile: &Profile) -> Self {
        let bands: Vec<Vec<f64>> = profile
            .bands
            .iter()
            .map(|band| running(band.iter().map(|&density| f64::from(density))))
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
            presence: running(profile.presence().into_iter()),
            base,
            uneven: UNEVEN,
            len: profile.len(),
        }
    }

    /// The same lane walked the other way.
    pub fn turned(&self) -> Self {
        let turned = |sums: &Vec<f64>| {
            let total = sums[self.len];
            sums.iter().rev().map(|sum| total - sum).collect()
        };
        Self {
            bands: self.bands.iter().map(turned).collect(),
            presence: turned(&self.presence),
            ..*self
        }
    }

    /// Running sum of the presence of a strip, log likelihood ratio a sample.
    pub fn presence(&self, at: usize) -> f64 {
        self.presence[at.min(self.len)]
    }

    pub fn len(&self) -> usize {
        self.len
    }

    /// Learns how uneven the coat is inside fields with these borders (samples).
    pub fn learn(&mut self, borders: &[f64], gap: usize, reach: usize) {
        let mut seen: Vec<f64> = borders
            .windows(2)
            .filter_map(|pair| {
                let middle = (pair[0] + pair[1]) / 2.0;
                let net = self.level(pair[0], pair[1]) - self.base;
                let at = (middle.round().max(0.0) as usize).min(self.len);
                (net > SHOWING_NET).then(|| self.rise(at, gap, reach).0.abs() / net)
            })
            .collect();
        let count = seen.len() as f64;
        // 1.48 times the median is the standard deviation of a normal number.
        let share = (1.48 * median(&mut seen)).clamp(UNEVEN_RANGE.0, UNEVEN_RANGE.1);
        let logs = EXPECTED_COUNTS * UNEVEN.ln() + count * share.ln();
        self.uneven = (logs / (EXPECTED_COUNTS + count)).exp();
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

    /// How uneven the lane is between two samples: standard deviation of its parts, six across by
    /// three along.
    pub fn unevenness(&self, from: f64, to: f64) -> f64 {
        const ALONG: usize = 3;
        let place = |share: usize| {
            let at = from + (to - from) * share as f64 / ALONG as f64;
            (at.round().max(0.0) as usize).min(self.len)
        };
        let parts: Vec<f64> = (0..ALONG)
            .map(|part| (place(part), place(part + 1)))
            .filter(|(from, to)| to > from)
            .flat_map(|(from, to)| (0..BANDS).map(move |band| self.mean(band, from, to)))
            .collect();
        let count = parts.len().max(1) as f64;
        let mean = parts.iter().sum::<f64>() / count;
        let squares: f64 = parts.iter().map(|part| (part - mean).powi(2)).sum();
        (squares / count).sqrt()
    }

    /// Rise of density at a border, for stretches of length `reach` on both sides with a gap
    /// about it: median over the bands, and their scatter.
    pub fn rise(&self, at: usize, gap: usize, reach: usize) -> (f64, f64) {
        let Some((before, after)) = self.stretches(at, gap, reach) else {
            return (0.0, 0.0);
        };
        let mut rises: [f64; BANDS] = std::array::from_fn(|band| {
            self.mean(band, after.0, after.1) - self.mean(band, before.0, before.1)
        });
        rises.sort_unstable_by(f64::total_cmp);
        let middle = (rises[BANDS / 2] + rises[(BANDS - 1) / 2]) / 2.0;
        // Interquartile range of six values, as a standard deviation.
        (middle, (rises[BANDS - 2] - rises[1]) / 1.3)
    }

    /// The same in standard errors, given what [`Self::rise`] said and a floor of the error.
    pub fn evidence(
        &self,
        at: usize,
        gap: usize,
        reach: usize,
        (rise, scatter): (f64, f64),
        floor: f64,
    ) -> f64 {
        let Some((before, after)) = self.stretches(at, gap, reach) else {
            return 0.0;
        };
        let level = (0..BANDS)
            .map(|band| self.mean(band, before.0, before.1) + self.mean(band, after.0, after.1))
            .sum::<f64>()
            / (2 * BANDS) as f64;
        let error = (scatter / (BANDS as f64).sqrt()).max(floor);
        let net = (level - self.base).max(0.0);
        rise / (error * error + FLOOR * FLOOR + (self.uneven * net).powi(2)).sqrt()
    }

    fn stretches(&self, at: usize, gap: usize, reach: usize) -> Option<(Stretch, Stretch)> {
        let before = (at.saturating_sub(reach), at.saturating_sub(gap));
        let after = ((at + gap).min(self.len), (at + reach).min(self.len));
        (before.1 > before.0 && after.1 > after.0).then_some((before, after))
    }
}

/// First sample and past the last.
type Stretch = (usize, usize);

/// Running sums, from 0.
fn running(values: impl Iterator<Item = f64>) -> Vec<f64> {
    let mut sum = 0.0;
    std::iter::once(0.0)
        .chain(values.map(|value| {
            sum += value;
            sum
        }))
        .collect()
}
