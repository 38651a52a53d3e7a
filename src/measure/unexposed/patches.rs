//! The parts of the scan that show a candidate, as quadrilaterals clear of soft edges.

use std::collections::BTreeMap;

use super::Quad;
use super::candidates::Candidate;
use super::looks::{GROUP, Look};
use super::plane::Plane;
use super::plateaus::{INNER_SHARE, Plateau};
use crate::measure::geometry::Point;
use crate::measure::reading::robust::median;

/// What is kept off a plateau's outer end, millimetres.
const OUTER: f64 = 0.25;
/// Most that a patch reaches outwards, millimetres: no need for more.
const MOST_DEEP: f64 = 8.0;
/// Least sides of a patch, millimetres.
const LEAST_DEEP: f64 = 0.45;
const LEAST_WIDE: f64 = 1.5;
/// A patch ends where the plateau's inner or outer end moves by more than this, millimetres.
const JUMP: f64 = 0.8;
/// Longest patch along a border, millimetres.
const LONGEST: f64 = 16.0;
/// Most patches of a candidate.
const MOST: usize = 16;

/// The patches of a candidate, largest first: its first plateaus beyond the steps; never those that
/// go on to the end of sight, which may be the lid of the same tone, if there are others.
pub(super) fn patches(
    plane: &Plane,
    looks: &[Look],
    plateaus: &[Plateau],
    candidate: &Candidate,
) -> Vec<Quad> {
    let all: Vec<&Plateau> = candidate.plateaus.iter().map(|&p| &plateaus[p]).collect();
    let rather = |from: Vec<&'_ Plateau>, which: fn(&Plateau) -> bool| -> Vec<usize> {
        let some: Vec<usize> = (0..from.len()).filter(|&i| which(from[i])).collect();
        if some.is_empty() {
            (0..from.len()).collect()
        } else {
            some
        }
    };
    let keep = rather(all.clone(), |p| p.rank == 0);
    let all: Vec<&Plateau> = keep.into_iter().map(|i| all[i]).collect();
    let keep = rather(all.clone(), |p| !p.open);
    let mut borders: BTreeMap<(usize, usize), Vec<&Plateau>> = BTreeMap::new();
    for plateau in keep.into_iter().map(|i| all[i]) {
        let look = &looks[plateau.look];
        let border = borders.entry((look.step, look.border)).or_default();
        border.push(plateau);
    }
    let mut quads: Vec<(f64, Quad)> = Vec::new();
    for border in borders.values_mut() {
        border.sort_by(|a, b| looks[a.look].along.total_cmp(&looks[b.look].along));
        for run in runs(border, looks) {
            quads.extend(quad(plane, looks, run));
        }
    }
    quads.sort_by(|a, b| b.0.total_cmp(&a.0));
    quads.truncate(MOST);
    quads.into_iter().map(|(_, quad)| quad).collect()
}

/// From where to where a plateau counts.
fn counted(plateau: &Plateau) -> (f64, f64) {
    let from = plateau.from + INNER_SHARE * (plateau.to - plateau.from);
    (from, (plateau.to - OUTER).min(from + MOST_DEEP))
}

/// Cuts a border's plateaus where they are no neighbours or no longer in line.
fn runs<'a, 'b>(border: &'b [&'a Plateau], looks: &[Look]) -> Vec<&'b [&'a Plateau]> {
    let mut runs = Vec::new();
    let mut first = 0;
    for index in 1..=border.len() {
        let ends = border.get(index).is_none_or(|next| {
            let last = border[index - 1];
            let along = |p: &Plateau| looks[p.look].along;
            let (here, there) = (counted(last), counted(next));
            along(next) - along(last) > 1.5 * GROUP
                || along(next) - along(border[first]) > LONGEST
                || (here.0 - there.0).abs() > JUMP
                || (here.1 - there.1).abs() > JUMP
        });
        if ends {
            runs.push(&border[first..index]);
            first = index;
        }
    }
    runs
}

/// A run as one quadrilateral, with its area in square millimetres.
fn quad(plane: &Plane, looks: &[Look], run: &[&Plateau]) -> Option<(f64, Quad)> {
    let (first, last) = (&looks[run.first()?.look], &looks[run.last()?.look]);
    let wide = last.along - first.along + GROUP;
    let mut ends: (Vec<f64>, Vec<f64>) = run.iter().map(|p| counted(p)).unzip();
    let jump = (ends.0.iter().copied().fold(0.0, f64::max)
        - median(&mut ends.0.clone()).unwrap_or(0.0))
    .clamp(0.0, JUMP);
    // The whole run must show the tone: the inner end of the one that begins farthest out.
    let from = median(&mut ends.0)? + jump;
    let to = ends.1.iter().copied().fold(f64::INFINITY, f64::min);
    let to = to.max(median(&mut ends.1)? - JUMP);
    if wide < LEAST_WIDE || to - from < LEAST_DEEP {
        return None;
    }
    let place = |look: &Look, along: f64, out: f64| {
        let (s, r) = (along * plane.per_mm, out * plane.per_mm);
        plane.on_scan(Point::new(
            look.at.x + look.tangent.x * s + look.normal.x * r,
            look.at.y + look.tangent.y * s + look.normal.y * r,
        ))
    };
    let quad = [
        place(first, 0.0, from),
        place(last, GROUP, from),
        place(last, GROUP, to),
        place(first, 0.0, to),
    ];
    Some((wide * (to - from), quad))
}
