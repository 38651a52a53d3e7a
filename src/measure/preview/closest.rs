//! The exposure, and the contrast of negative, that bring the coating closest to the print.

use serde::Serialize;

use super::picture::Histogram;
use super::tones::{LEVELS, Tones, density_of_level};
use crate::measure::units::{DECADES_PER_STOP, reflectance_of};

/// Stops about the match of speed points that are searched.
const REACH: f64 = 8.0;
/// Coarse step of the search, stops.
const STRIDE: f64 = 0.25;
/// Levels that are taken together: 0.004 D.
const GROUP: usize = 64;
/// Contrast of the negative that is searched, as a multiple, and the count of coarse steps.
const CONTRASTS: (f64, f64, usize) = (0.4, 2.5, 31);
/// Between these shares of the picture's area lies the spread of its tones.
const SPREAD: (f64, f64) = (0.05, 0.95);
/// Decades of log exposure below which a picture says nothing about contrast.
const LEAST_SPREAD: f64 = 0.2;

/// How close the coating comes with one exposure.
#[derive(Debug, Clone, Copy, PartialEq, Serialize)]
pub struct Match {
    /// Exposure above the print's, stops; with another contrast, at the paper's speed point.
    pub stops: f64,
    /// Root mean square of the differences in lightness L* (CIE 1976) over the picture's area.
    pub difference: f64,
}

/// What comes closest to the paper print.
#[derive(Debug, Clone, Copy, PartialEq, Serialize)]
pub struct Closest {
    /// With this negative: the exposure alone is free.
    pub exposure: Match,
    /// With a negative of another contrast; absent where the picture has too few tones to tell.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub contrast: Option<Contrast>,
}

/// The contrast of negative that suits the coating.
#[derive(Debug, Clone, Copy, PartialEq, Serialize)]
pub struct Contrast {
    /// How many times the density differences of this negative.
    pub factor: f64,
    /// The exposure and what difference is left.
    pub at: Match,
    /// ISO range of the paper on which such a negative prints as this one does on its paper;
    /// absent where the paper's range isn't known.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub paper_range: Option<f64>,
}

/// Searches for what comes closest to the print: least squares of lightness L* over the
/// picture's histogram, since lightness is what is looked at, and equal differences of density
/// count for little in the shadows.
///
/// `paper_range` is the paper's ISO range. `None` for an empty picture.
pub fn closest(tones: &Tones, histogram: &Histogram, paper_range: Option<f64>) -> Option<Closest> {
    let wanted = Wanted::new(tones, histogram)?;
    let exposure = wanted.best_exposure(1.0);
    let contrast = wanted.tells_contrast().then(|| {
        let (low, high, count) = CONTRASTS;
        let ratio = (high / low).powf(1.0 / (count - 1) as f64);
        let coarse = (0..count)
            .map(|i| low * ratio.powi(i as i32))
            .map(|factor| (factor, wanted.best_exposure(factor).difference))
            .min_by(|a, b| a.1.total_cmp(&b.1))
            .map_or(1.0, |(factor, _)| factor);
        let factor = lowest(coarse / ratio, coarse * ratio, |factor| {
            wanted.best_exposure(factor).difference
        });
        Contrast {
            factor,
            at: wanted.best_exposure(factor),
            paper_range: paper_range.map(|range| range * factor),
        }
    });
    Some(Closest { exposure, contrast })
}

/// The tones of a print: their share of the area, what made them, how light they are.
struct Wanted<'a> {
    tones: &'a Tones,
    /// (share of the area, log exposure on the paper, lightness).
    parts: Vec<(f64, f64, f64)>,
    /// Log exposure of the paper's speed point, about which contrast turns.
    pivot: f64,
    /// Stops that bring the two speed points together.
    start: f64,
}

impl<'a> Wanted<'a> {
    fn new(tones: &'a Tones, histogram: &Histogram) -> Option<Self> {
        let total = histogram.total() as f64;
        let parts: Vec<_> = (0..LEVELS)
            .step_by(GROUP)
            .filter_map(|first| {
                let last = (first + GROUP).min(histogram.counts.len());
                let counts = histogram.counts.get(first..last)?;
                let count = counts.iter().sum::<u64>();
                let level = (first + GROUP / 2).min(LEVELS - 1);
                (count > 0).then(|| {
                    let light = lightness(density_of_level(level));
                    (count as f64 / total, tones.exposure_of_level(level), light)
                })
            })
            .collect();
        let pivot = tones.paper().speed_point();
        let start = (tones.coat().speed_point() - pivot) / DECADES_PER_STOP;
        (!parts.is_empty()).then_some(Self {
            tones,
            parts,
            pivot,
            start,
        })
    }

    /// Whether the tones lie far enough apart to say something about contrast.
    fn tells_contrast(&self) -> bool {
        let mut sum = 0.0;
        let mut ends = (f64::INFINITY, f64::NEG_INFINITY);
        for (share, exposure, _) in &self.parts {
            if sum + share > SPREAD.0 && sum < SPREAD.1 {
                ends = (ends.0.min(*exposure), ends.1.max(*exposure));
            }
            sum += share;
        }
        ends.1 - ends.0 > LEAST_SPREAD
    }

    fn difference(&self, stops: f64, factor: f64) -> f64 {
        let shift = stops * DECADES_PER_STOP;
        let square = |(share, exposure, wanted): &(f64, f64, f64)| {
            let x = self.pivot + factor * (exposure - self.pivot) + shift;
            let density = self.tones.coat().density(x).value();
            share * (lightness(density) - wanted).powi(2)
        };
        self.parts.iter().map(square).sum::<f64>().sqrt()
    }

    /// The exposure that comes closest with a negative of so many times the contrast.
    fn best_exposure(&self, factor: f64) -> Match {
        let count = (2.0 * REACH / STRIDE) as i32;
        let coarse = (0..=count)
            .map(|i| self.start - REACH + STRIDE * f64::from(i))
            .map(|stops| (stops, self.difference(stops, factor)))
            .min_by(|a, b| a.1.total_cmp(&b.1))
            .map_or(self.start, |(stops, _)| stops);
        let stops = lowest(coarse - STRIDE, coarse + STRIDE, |stops| {
            self.difference(stops, factor)
        });
        Match {
            stops,
            difference: self.difference(stops, factor),
        }
    }
}

/// Lightness L* of a reflection density (CIE 1976; from memory: 116 f(Y) - 16 with the cube
/// root, below (6/29)^3 its tangent).
pub(super) fn lightness(density: f64) -> f64 {
    let y = reflectance_of(density);
    let bend: f64 = 6.0 / 29.0;
    let f = if y > bend.powi(3) {
        y.cbrt()
    } else {
        y / (3.0 * bend * bend) + 4.0 / 29.0
    };
    116.0 * f - 16.0
}

/// Where a function is lowest between two places: golden section, to a thousandth of the way.
fn lowest(mut low: f64, mut high: f64, value: impl Fn(f64) -> f64) -> f64 {
    let golden = 0.5 * (5f64.sqrt() - 1.0);
    let mut a = high - golden * (high - low);
    let mut b = low + golden * (high - low);
    let (mut at_a, mut at_b) = (value(a), value(b));
    for _ in 0..16 {
        if at_a <= at_b {
            (high, b, at_b) = (b, a, at_a);
            a = high - golden * (high - low);
            at_a = value(a);
        } else {
            (low, a, at_a) = (a, b, at_b);
            b = low + golden * (high - low);
            at_b = value(b);
        }
    }
    0.5 * (low + high)
}
