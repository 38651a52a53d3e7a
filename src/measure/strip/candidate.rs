//! Everything on a scan that may be a strip or a wedge.

use rayon::prelude::*;

use super::extent;
use super::grid::{Sides, stretch};
use super::lane::Lane;
use super::posterior::{Reading, readings};
use super::profile::{Profile, Sums};
use super::seeds::{Seed, seeds};
use super::steps::{Ends, Pattern, Search, Steps, best};
use super::view::View;

/// Widths of hand-held steps: a fifth off is usual.
pub(super) const BY_HAND: Pattern = Pattern {
    spreads: &[0.05, 0.12, 0.2],
    ends: Ends::Margins,
};
/// Widths of a made wedge's fields.
pub(super) const BY_MACHINE: Pattern = Pattern {
    spreads: &[0.03],
    ends: Ends::Bare,
};

/// A lane with fields on it, walked toward the dark.
#[derive(Debug, Clone)]
pub(super) struct Candidate {
    pub lane: Lane,
    pub profile: Profile,
    pub profile_from: f64,
    pub sums: Sums,
    /// Best reading for each count asked about.
    pub readings: Vec<(usize, Steps)>,
    /// Best reading as a made wedge of the count asked about.
    pub wedge: Option<Steps>,
}

impl Candidate {
    /// The likeliest reading as a strip.
    pub fn likeliest(&self) -> Option<&(usize, Steps)> {
        self.readings
            .iter()
            .max_by(|a, b| a.1.score.total_cmp(&b.1.score))
    }

    /// The likeliest reading of all.
    fn best(&self) -> Option<&Steps> {
        self.readings
            .iter()
            .map(|(_, steps)| steps)
            .chain(&self.wedge)
            .max_by(|a, b| a.score.total_cmp(&b.score))
    }

    fn score(&self) -> f64 {
        self.best().map_or(f64::NEG_INFINITY, |steps| steps.score)
    }

    /// Its lane turned about its middle into the direction of another lane, modulo a quarter
    /// turn, when it lies somewhat askew to it: sheets laid by one hand lie much alike.
    fn aligned(&self, other: &Lane) -> Option<Lane> {
        const QUARTER: f64 = std::f64::consts::FRAC_PI_2;
        let steps = self.best()?;
        let askew = self.lane.angle - other.angle;
        let askew = askew - (askew / QUARTER).round() * QUARTER;
        if !ASKEW.contains(&askew.abs()) {
            return None;
        }
        let last = steps.borders[steps.borders.len() - 1];
        let half = (last - steps.borders[0]) / 2.0;
        let middle = self.profile_from + steps.borders[0] + half;
        Some(Lane {
            origin: self.lane.place(middle, 0.0),
            angle: self.lane.angle - askew,
            dark: (-half, half),
            ..self.lane
        })
    }

    /// All ways to read it that are like this one or near it, likeliest first.
    pub fn near(&self, steps: &Steps, pattern: Pattern) -> Vec<Reading> {
        readings(&self.sums, pattern, steps, Sides::Fitted)
    }

    /// Whether it lies along and within a better candidate: the same thing once more.
    fn repeats(&self, other: &Self) -> bool {
        const PLACES: usize = 24;
        let (Some(own), Some(theirs)) = (self.best(), other.best()) else {
            return false;
        };
        let turn = (self.lane.angle - other.lane.angle).sin().abs();
        if turn > SAME_DIRECTION || own.score > theirs.score {
            return false;
        }
        let ends = |steps: &Steps, from: f64| {
            let last = steps.borders.len() - 1;
            (from + steps.borders[0], from + steps.borders[last])
        };
        let (from, to) = ends(own, self.profile_from);
        let (start, end) = ends(theirs, other.profile_from);
        let inside = (0..PLACES).filter(|&place| {
            let along = from + (to - from) * (place as f64 + 0.5) / PLACES as f64;
            let (along, across) = other.lane.coordinates(self.lane.place(along, 0.0));
            along > start && along < end && across.abs() < other.lane.half_width
        });
        inside.count() as f64 / PLACES as f64 > SAME_THING
    }
}

/// What fields to try.
#[derive(Debug, Clone, PartialEq, Default)]
pub(super) struct Counts {
    pub strips: Vec<usize>,
    pub wedge: Option<usize>,
}

/// Score from which a lane may be a strip at all.
const LEAST_SCORE: f64 = 6.0;
/// A candidate of which more than this share lies in a better one is the same thing.
const SAME_THING: f64 = 0.6;
/// Sine of the angle within which two lanes go the same way.
const SAME_DIRECTION: f64 = 0.2;
/// Angles, radians, by which a lane lies askew to a sure one and may have been misled.
const ASKEW: std::ops::Range<f64> = 0.05..0.35;
/// Times that sides and steps are fitted in turn.
const ROUNDS: usize = 3;
/// Factor that the common width may still change by while fitting.
const NEAR_WIDTHS: f64 = 1.5;
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
    let mut rough: Vec<Candidate> = lanes
        .par_iter()
        .filter_map(|lane| read_both_ways(view, lane, counts))
        .filter(|candidate| candidate.score() > LEAST_SCORE)
        .collect();
    rough.sort_by(|a, b| b.score().total_cmp(&a.score()));
    let mut settled: Vec<Candidate> = vec![];
    for candidate in rough {
        if settled.iter().any(|other| candidate.repeats(other)) {
            continue;
        }
        let own = refined(view, candidate, counts);
        let aligned = settled
            .first()
            .zip(own.as_ref())
            .and_then(|(best, own)| own.aligned(&best.lane))
            .and_then(|lane| read_both_ways(view, &lane, counts))
            .and_then(|candidate| refined(view, candidate, counts));
        let better = own
            .into_iter()
            .chain(aligned)
            .max_by(|a, b| a.score().total_cmp(&b.score()));
        settled.extend(better);
    }
    settled
}

/// Fits the sides of a candidate's lane to its steps, and reads it anew, until both agree.
fn refined(view: &View, candidate: Candidate, counts: &Counts) -> Option<Candidate> {
    let mut candidate = candidate;
    for _ in 0..ROUNDS {
        let steps = candidate.best()?;
        let width = steps.width;
        let seen: Vec<extent::Seen> = steps.borders[..steps.borders.len() - 1]
            .iter()
            .zip(&steps.evidence)
            .skip(usize::from(steps.begins.is_none()))
            .map(|(&at, &evidence)| (candidate.profile_from + at, evidence))
            .collect();
        let lane = extent::fitted(view, &candidate.lane, &seen, width);
        let search = Search {
            widths: (width / NEAR_WIDTHS, width * NEAR_WIDTHS),
            sides: Sides::Fitted,
        };
        let (from, to) = lane.on_view(view);
        let profile = Profile::of(view, &lane, from, to);
        if profile.len() < 8 {
            return None;
        }
        let mut sums = Sums::of(&profile);
        let shift = candidate.profile_from - from;
        let borders: Vec<f64> = steps.borders.iter().map(|at| at + shift).collect();
        let (gap, reach) = stretch(width);
        sums.learn(&borders, gap, reach);
        candidate = read(lane, from, profile, sums, counts, &search);
    }
    Some(candidate)
}

/// Reads a lane in the direction in which it goes.
fn read(
    lane: Lane,
    profile_from: f64,
    profile: Profile,
    sums: Sums,
    counts: &Counts,
    search: &Search,
) -> Candidate {
    let asked = [
        (BY_HAND, counts.strips.as_slice()),
        (BY_MACHINE, counts.wedge.as_slice()),
    ];
    let [readings, mut wedge] = best(&sums, asked, search);
    let wedge = wedge.pop().flatten();
    let readings = counts.strips.iter().copied().zip(readings);
    Candidate {
        lane,
        profile,
        profile_from,
        readings: readings
            .filter_map(|(count, steps)| Some((count, steps?)))
            .collect(),
        wedge,
        sums,
    }
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
    let search = Search {
        widths: (
            (0.12 * 2.0 * lane.half_width).max(3.0),
            1.3 * 2.0 * lane.half_width,
        ),
        sides: Sides::Rough,
    };
    let ways = [(*lane, from, onward), (lane.turned(), -end, backward)];
    ways.into_iter()
        .map(|(lane, from, sums)| read(lane, from, profile.clone(), sums, counts, &search))
        .max_by(|a, b| a.score().total_cmp(&b.score()))
}
