//! Borders between fields, to a part of a view pixel and with their slant.

use super::lane::{Lane, median};
use super::posterior::Certainty;
use super::profile::{BANDS, Profile, band_centre};
use super::steps::Steps;

/// A border along a lane: where it crosses the middle line and how it leans.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) struct Border {
    /// Samples from the profile's start, at the middle line.
    pub at: f64,
    /// Samples onward per view pixel to the right.
    pub slant: f64,
}

impl Border {
    pub fn square(at: f64) -> Self {
        Self { at, slant: 0.0 }
    }
}

/// Standard errors from which a border is clear enough to be placed by its own evidence.
const CLEAR: f64 = 3.5;
/// Standard deviations from where all readings put a border within which it is looked for.
const FAR: f64 = 2.5;
/// A card held by hand leans by less than this (about 4 degrees).
const MOST_SLANT: f64 = 0.07;

/// Moves each clear border to where the density changes in each band.
pub(super) fn placed(
    profile: &Profile,
    lane: &Lane,
    steps: &Steps,
    certainty: &[Certainty],
) -> Vec<Border> {
    let count = steps.borders.len();
    (0..count)
        .map(|index| {
            let at = steps.borders[index];
            if steps.evidence[index].abs() < CLEAR {
                return Border::square(certainty[index].mean);
            }
            let before = index
                .checked_sub(1)
                .map_or(steps.width, |i| at - steps.borders[i]);
            let after = steps
                .borders
                .get(index + 1)
                .map_or(steps.width, |next| next - at);
            let placed = place(profile, lane, at, 0.4 * before, 0.4 * after, steps.width);
            let Certainty {
                mean, deviation, ..
            } = certainty[index];
            // Mottle near a weak border may change more than the border does.
            if (placed.at - mean).abs() > FAR * deviation + 0.1 * steps.width {
                return Border::square(mean);
            }
            placed
        })
        .collect()
}

/// Largest share of a field's width that a made wedge's borders scatter by.
const EVEN: f64 = 0.03;

/// Puts the borders of a made wedge at even distances, as the clear ones show them: the two
/// ends may lie against paper as white as they are. Borders that don't show even distances
/// stay.
pub(super) fn evened(borders: &mut [Border], evidence: &[f64]) {
    let inner = 1..borders.len().saturating_sub(1);
    let clear: Vec<(f64, f64)> = inner
        .filter(|&index| evidence[index] > CLEAR)
        .map(|index| (index as f64, borders[index].at))
        .collect();
    if clear.len() < 4 {
        return;
    }
    let mut slopes = vec![];
    for (index, a) in clear.iter().enumerate() {
        for b in clear.iter().skip(index + 1 + clear.len() / 4) {
            slopes.push((b.1 - a.1) / (b.0 - a.0));
        }
    }
    let width = median(&mut slopes);
    let mut starts: Vec<f64> = clear.iter().map(|(k, at)| at - width * k).collect();
    let start = median(&mut starts);
    let mut off: Vec<f64> = starts.iter().map(|s| (s - start).abs()).collect();
    if median(&mut off) > EVEN * width {
        return;
    }
    for (index, border) in borders.iter_mut().enumerate() {
        *border = Border::square(start + width * index as f64);
    }
}

fn place(profile: &Profile, lane: &Lane, at: f64, before: f64, after: f64, width: f64) -> Border {
    let from = (at - before).max(0.0) as usize;
    let to = ((at + after) as usize + 1).min(profile.len());
    let places: Vec<(f64, f64)> = (0..BANDS)
        .filter_map(|band| {
            let change = strongest_change(&profile.bands[band][from..to])?;
            Some((band_centre(lane, band), from as f64 + change))
        })
        .filter(|(_, place)| (place - at).abs() < 0.3 * width)
        .collect();
    if places.len() < BANDS / 2 {
        return Border::square(at);
    }
    let mut slopes = vec![];
    for (index, a) in places.iter().enumerate() {
        for b in &places[index + 1..] {
            slopes.push((b.1 - a.1) / (b.0 - a.0));
        }
    }
    let slope = median(&mut slopes);
    let scatter_about = |slope: f64| {
        let mut middles: Vec<f64> = places.iter().map(|p| p.1 - slope * p.0).collect();
        let middle = median(&mut middles);
        let mut off: Vec<f64> = middles.iter().map(|m| (m - middle).abs()).collect();
        (middle, median(&mut off))
    };
    let (square_at, square_scatter) = scatter_about(0.0);
    let (slanted_at, scatter) = scatter_about(slope);
    // A lean has to show: bands that scatter as much about it as about a square border
    // don't support one.
    if slope.abs() <= MOST_SLANT && scatter < 0.7 * square_scatter {
        Border {
            at: slanted_at,
            slant: slope,
        }
    } else {
        Border::square(square_at)
    }
}

/// Where a list of densities is best split into two levels (least squares), between samples.
fn strongest_change(densities: &[f32]) -> Option<f64> {
    let total: f64 = densities.iter().map(|&d| f64::from(d)).sum();
    let count = densities.len() as f64;
    let mean = total / count;
    let mut sum = 0.0;
    let gains: Vec<f64> = densities[..densities.len().checked_sub(1)?]
        .iter()
        .enumerate()
        .map(|(index, &density)| {
            sum += f64::from(density) - mean;
            let left = index as f64 + 1.0;
            sum * sum * (1.0 / left + 1.0 / (count - left))
        })
        .collect();
    let (best, &gain) = gains.iter().enumerate().max_by(|a, b| a.1.total_cmp(b.1))?;
    let shift = match (best.checked_sub(1).map(|i| gains[i]), gains.get(best + 1)) {
        (Some(before), Some(after)) => {
            let bend = before - 2.0 * gain + after;
            if bend < 0.0 {
                (0.5 * (before - after) / bend).clamp(-0.5, 0.5)
            } else {
                0.0
            }
        }
        _ => 0.0,
    };
    Some(best as f64 + 1.0 + shift)
}
