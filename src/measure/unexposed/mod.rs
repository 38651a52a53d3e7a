//! Coat that got no light, wherever it shows: what Dmin is read from.
//!
//! It is looked for from every border of every step outwards. Past the soft edge of the mask lies
//! a plateau: unexposed coat, bare ground, the paper's base, or the lid. Plateaus of one tone are
//! one candidate, wherever they lie: at one end or both, all round, along a side, between
//! windows. Where the curve of the steps leads, how far a tone reaches, and what lies beyond it tell
//! which of them is the coat; that it is none of them is always among the choices. The choices
//! have chances (a conditional logit of the evidence) and are mixed, not cut off.
//!
//! The method is our own; docs/locating.md says how well its chances hold.

mod candidates;
mod chances;
mod evidence;
mod looks;
mod patches;
mod plane;
mod plateaus;
mod toe;

pub use chances::{Together, Weights};
pub use evidence::{Evidence, KINDS, NAMES};
pub use toe::{Toe, Way};

use rayon::prelude::*;

use super::geometry::Point;
use super::raster::{Channel, Raster};
use super::scale::DensityScale;
use evidence::Seen;
use plane::{Plane, Tone};

/// Corners of an area on the scan in pixels, in turn.
pub type Quad = [Point; 4];

/// Looks reach this many lengths of a step outwards,
const REACH_STEPS: f64 = 1.8;
/// but at least and at most so many millimetres.
const REACH_MM: (f64, f64) = (9.0, 18.0);
/// What is looked at beyond the reach, millimetres.
const BEYOND_MM: f64 = 2.0;
/// Middle of a step that its tone is read from, as a share of it each way.
const MIDDLE: f64 = 0.55;
/// Standard error of a step's tone: this, and its scatter over so many square millimetres.
const STEP_ERROR: f64 = 0.003;
const STEP_AREA: f64 = 6.4;
/// Alternatives with less chance are not told apart from none.
const LEAST_CHANCE: f64 = 0.002;

/// What the search starts from.
#[derive(Clone, Copy)]
pub struct Surroundings<'a> {
    /// The scan.
    pub raster: &'a Raster,
    /// What densities are read from.
    pub channel: Channel,
    /// The way to density.
    pub scale: &'a dyn DensityScale,
    /// Scan pixels per millimetre.
    pub per_mm: f64,
    /// Outlines of other strips and of the wedge: sight stops there.
    pub others: &'a [Quad],
}

/// A region that may be coat that got no light.
#[derive(Debug, Clone, PartialEq)]
pub struct Alternative {
    /// Where it shows, largest patch first: corners on the scan in pixels.
    pub patches: Vec<Quad>,
    /// Its density.
    pub density: f64,
    /// The standard error of that: scatter and difference between the strip's sides.
    pub standard_error: f64,
    /// Scatter of density over the region (robust standard deviation): fog, stain.
    pub scatter: f64,
    /// Length of the steps' borders that it is seen from, millimetres.
    pub border: f64,
    /// Chance that it is the coat.
    pub chance: f64,
    /// What the chance rests on.
    pub evidence: Evidence,
}

/// What was found around one strip.
#[derive(Debug, Clone, PartialEq)]
pub struct Search {
    /// Regions, likeliest first.
    pub alternatives: Vec<Alternative>,
    /// Chance that none of them is.
    pub none: f64,
    /// What the steps alone say of Dmin.
    pub toe: Toe,
    /// All of it mixed.
    pub together: Together,
}

/// Looks for coat that got no light around steps of these corners and log exposures (decades; what
/// is not a number says nothing of the curve).
///
/// `None` where nothing can be looked at: no steps, or all of them off the scan.
pub fn search(around: &Surroundings<'_>, steps: &[Quad], x: &[f64]) -> Option<Search> {
    search_weighed(around, steps, x, &Weights::FITTED)
}

/// The same with other weights.
pub fn search_weighed(
    around: &Surroundings<'_>,
    steps: &[Quad],
    x: &[f64],
    weights: &Weights,
) -> Option<Search> {
    let mut lengths: Vec<f64> = steps.iter().map(|q| q[0].distance(q[3])).collect();
    let length = super::reading::robust::median(&mut lengths)? / around.per_mm;
    let reach = (REACH_STEPS * length).clamp(REACH_MM.0, REACH_MM.1);
    let plane = Plane::around(
        (around.raster, around.channel),
        around.scale,
        around.per_mm,
        (steps, around.others),
        reach + BEYOND_MM,
    )?;
    let read: Vec<(Tone, f64)> = steps
        .par_iter()
        .map(|quad| step_tone(&plane, quad))
        .collect::<Option<_>>()?;
    let (tones, errors): (Vec<Tone>, Vec<f64>) = read.into_iter().unzip();
    let densities: Vec<f64> = tones.iter().map(|tone| f64::from(tone[0])).collect();
    let counts: Vec<usize> = (0..x.len()).filter(|&step| x[step].is_finite()).collect();
    let of = |all: &[f64]| -> Vec<f64> { counts.iter().map(|&step| all[step]).collect() };
    let toe = Toe::of(&of(x), &of(&densities), &of(&errors));
    let looks = looks::looks(&plane, steps, reach);
    let texture = plateaus::texture(&looks);
    let plateaus: Vec<_> = looks
        .par_iter()
        .enumerate()
        .flat_map_iter(|(index, look)| {
            let step = look.step;
            let beside = [step.checked_sub(1), Some(step + 1)];
            let beside = beside.into_iter().flatten();
            let beside: Vec<f64> = beside.filter_map(|k| densities.get(k).copied()).collect();
            plateaus::plateaus((index, look), &tones[step], &beside, texture)
        })
        .collect();
    let candidates = candidates::candidates(&plateaus, &looks, texture);
    let seen = Seen {
        looks: &looks,
        plateaus: &plateaus,
        candidates: &candidates,
        toe: &toe,
        steps: &tones,
        rim: plane.rim(around.raster, around.per_mm),
    };
    let evidence = seen.evidence();
    let (chances, none) = weights.chances(&evidence);
    let levels: Vec<(f64, f64, f64)> = candidates
        .iter()
        .zip(&chances)
        .map(|(candidate, &chance)| (candidate.density(), candidate.error, chance))
        .collect();
    let together = chances::together(&levels, none, &toe);
    let mut alternatives: Vec<Alternative> = candidates
        .iter()
        .zip(&chances)
        .zip(&evidence)
        .filter(|((_, chance), _)| **chance >= LEAST_CHANCE)
        .map(|((candidate, &chance), &evidence)| Alternative {
            patches: patches::patches(&plane, &looks, &plateaus, candidate),
            density: candidate.density(),
            standard_error: candidate.error,
            scatter: candidate.scatter,
            border: candidate.border,
            chance,
            evidence,
        })
        .collect();
    alternatives.sort_by(|a, b| b.chance.total_cmp(&a.chance));
    Some(Search {
        alternatives,
        none,
        toe,
        together,
    })
}

/// Median tone of a step's middle and its standard error; `None` off the scan.
fn step_tone(plane: &Plane, quad: &Quad) -> Option<(Tone, f64)> {
    let centre = quad[0]
        .toward(quad[2], 0.5)
        .toward(quad[1].toward(quad[3], 0.5), 0.5);
    let middle = quad.map(|corner| centre.toward(corner, MIDDLE));
    let inside = plane.tones_inside(&middle);
    if inside.is_empty() {
        return None;
    }
    let count = inside.len() as f64;
    let tone: Tone = std::array::from_fn(|channel| {
        let mut all: Vec<f32> = inside.iter().map(|tone| tone[channel]).collect();
        let half = all.len() / 2;
        *all.select_nth_unstable_by(half, f32::total_cmp).1
    });
    let mean = inside.iter().map(|t| f64::from(t[0])).sum::<f64>() / count;
    let square = |t: &Tone| (f64::from(t[0]) - mean).powi(2);
    let scatter = (inside.iter().map(square).sum::<f64>() / count).sqrt();
    let area = count / plane.per_mm.powi(2);
    let error = STEP_ERROR + scatter / (area / STEP_AREA).max(2.0).sqrt();
    Some((tone, error))
}

#[cfg(test)]
mod tests;
