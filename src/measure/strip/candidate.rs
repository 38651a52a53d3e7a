//! Everything on a scan that may be a strip or a wedge.

use rayon::prelude::*;

use super::lane::{Lane, Profile};
use super::seeds::{Seed, seeds};
use super::steps::{ANYWHERE, Pattern, Steps, Sums, best};
use super::view::View;

/// Widths of hand-held steps: a fifth off is usual.
pub(super) const BY_HAND: Pattern = Pattern {
    spread: 0.12,
    rising: true,
};
/// Widths of a made wedge's fields.
pub(super) const BY_MACHINE: Pattern = Pattern {
    spread: 0.03,
    rising: true,
};

/// A lane with fields on it, walked toward the dark.
#[derive(Debug, Clone)]
pub(super) struct Candidate {
    pub lane: Lane,
    pub profile_from: f64,
    pub sums: Sums,
    /// Best reading for each count asked about.
    pub readings: Vec<(usize, Steps)>,
    /// Best reading as a made wedge of the count asked about.
    pub wedge: Option<Steps>,
}

impl Candidate {
    /// The best score of all readings.
    pub fn score(&self) -> f64 {
        self.readings
            .iter()
            .map(|(_, steps)| steps.score)
            .fold(f64::NEG_INFINITY, f64::max)
    }

    /// The likeliest reading.
    pub fn likeliest(&self) -> Option<&(usize, Steps)> {
        self.readings
            .iter()
            .max_by(|a, b| a.1.score.total_cmp(&b.1.score))
    }
}

/// What fields to try.
#[derive(Debug, Clone, Default)]
pub(super) struct Counts {
    pub strips: Vec<usize>,
    pub wedge: Option<usize>,
}

/// Coarse view pixels per millimetre, about, for seeds.
const COARSE_PER_MM: f64 = 2.0;
/// Longest side of the coarse view when the resolution is unknown.
const COARSE_SIDE: usize = 500;

/// All candidates on a view; those that lie over one another are still there.
pub(super) fn candidates(view: &View, counts: &Counts) -> Vec<Candidate> {
    let factor = match view.per_mm {
        Some(per_mm) => (per_mm / COARSE_PER_MM).round(),
        None => (view.width.max(view.height) as f64 / COARSE_SIDE as f64).round(),
    }
    .max(1.0) as usize;
    let coarse = view.reduced(factor);
    let seeds: Vec<Seed> = seeds(&coarse);
    let lanes: Vec<Lane> = seeds
        .par_iter()
        .flat_map_iter(|seed| Lane::through(seed, factor as f64))
        .filter_map(|lane| lane.fitted(view))
        .collect();
    let lanes = distinct(lanes);
    lanes
        .par_iter()
        .filter_map(|lane| read_both_ways(view, lane, counts))
        .collect()
}

/// Lanes of which each stands for all that lie on it.
fn distinct(mut lanes: Vec<Lane>) -> Vec<Lane> {
    let worth = |lane: &Lane| lane.clearness * (lane.dark.1 - lane.dark.0).sqrt();
    lanes.sort_by(|a, b| worth(b).total_cmp(&worth(a)));
    let mut kept: Vec<Lane> = vec![];
    for lane in lanes {
        if !kept.iter().any(|other| same_lane(other, &lane)) {
            kept.push(lane);
        }
    }
    kept
}

fn same_lane(a: &Lane, b: &Lane) -> bool {
    let turn = (a.angle - b.angle).sin().abs();
    let (along, across) = a.coordinates(b.origin);
    let half = (b.dark.1 - b.dark.0) / 2.0;
    let overlap = (along + half).min(a.dark.1) - (along - half).max(a.dark.0);
    turn < 0.06
        && across.abs() < 0.12 * a.half_width
        && (a.half_width / b.half_width).ln().abs() < 0.12
        && overlap > 0.0
}

fn read_both_ways(view: &View, lane: &Lane, counts: &Counts) -> Option<Candidate> {
    let (from, to) = lane.on_view(view);
    let profile = Profile::of(view, lane, from, to);
    if profile.len() < 8 {
        return None;
    }
    let onward = Sums::of(&profile);
    let backward = onward.turned();
    let end = from + profile.len() as f64;
    let ways = [(*lane, from, onward), (lane.turned(), -end, backward)];
    let widths = (
        (0.12 * 2.0 * lane.half_width).max(3.0),
        1.3 * 2.0 * lane.half_width,
    );
    ways.into_iter()
        .map(|(lane, profile_from, sums)| {
            let readings = best(&sums, BY_HAND, &counts.strips, widths, ANYWHERE);
            let wedge = counts
                .wedge
                .and_then(|count| best(&sums, BY_MACHINE, &[count], widths, ANYWHERE).pop()?);
            let readings = counts
                .strips
                .iter()
                .copied()
                .zip(readings)
                .filter_map(|(count, steps)| Some((count, steps?)))
                .collect();
            Candidate {
                lane,
                profile_from,
                sums,
                readings,
                wedge,
            }
        })
        .max_by(|a, b| {
            let worth = |c: &Candidate| {
                c.score()
                    .max(c.wedge.as_ref().map_or(f64::NEG_INFINITY, |w| w.score))
            };
            worth(a).total_cmp(&worth(b))
        })
}
