//! Looks outwards from the borders of the steps.

use rayon::prelude::*;

use super::Quad;
use super::plane::{Plane, TAKEN, Tone};
use crate::measure::geometry::Point;

/// Distance between samples along a look, millimetres.
pub(super) const PITCH: f64 = 0.125;
/// Length of border that shares one look (the median across it: dust doesn't count), millimetres.
pub(super) const GROUP: f64 = 0.8;
/// A look begins this share of the step's size inside it, since borders may be misplaced; of a
/// step larger than the second, as of one that size (millimetres).
const INSIDE: (f64, f64) = (0.22, 8.0);
/// Least border of which looks are taken, and least share of it left out at each corner.
const LEAST_BORDER: f64 = 2.0;
const CORNER: f64 = 0.1;
/// Where it is looked whether the border touches another step, millimetres outside.
const TOUCHING: f64 = 0.9;
/// Share of the samples across a look that must see something for sight to end.
const ENDS: f64 = 0.3;
/// Shortest sight beyond a border, millimetres.
const LEAST_SIGHT: f64 = 1.0;

/// What a look ended at.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) enum End {
    /// As far as looks go.
    Far,
    /// The scan ends.
    Scan,
    /// Another step of the strip.
    Step,
    /// Another strip or the wedge.
    Taken,
}

/// One look.
pub(super) struct Look {
    /// Place of the step in the list.
    pub step: usize,
    /// Which of its four borders.
    pub border: usize,
    /// Place along the border, millimetres.
    pub along: f64,
    pub end: End,
    /// Distance of the first sample from the border, millimetres; negative is inside the step.
    pub from: f64,
    /// Where the border is met, plane pixels, and the directions along it and outwards.
    pub at: Point,
    pub tangent: Point,
    pub normal: Point,
    /// Tones from the inside outwards.
    pub tones: Vec<Tone>,
}

impl Look {
    /// Distance of a sample from the border, millimetres.
    pub fn distance(&self, sample: usize) -> f64 {
        self.from + PITCH * sample as f64
    }

    /// Densities as strips are read.
    pub fn densities(&self) -> Vec<f64> {
        self.tones.iter().map(|tone| f64::from(tone[0])).collect()
    }
}

/// Where a look starts.
struct Start {
    step: usize,
    border: usize,
    along: f64,
    inside: f64,
    at: Point,
    tangent: Point,
    normal: Point,
}

/// All looks outwards from these steps, as far as `reach` millimetres.
pub(super) fn looks(plane: &Plane, steps: &[Quad], reach: f64) -> Vec<Look> {
    let mut starts = Vec::new();
    for (step, quad) in steps.iter().enumerate() {
        let quad = quad.map(|corner| plane.of_scan(corner));
        for border in 0..4 {
            starts.extend(of_border(plane, (step, &quad), border));
        }
    }
    starts
        .par_iter()
        .filter_map(|start| look(plane, start, reach))
        .collect()
}

fn moved(from: Point, along: Point, by: f64) -> Point {
    Point::new(from.x + along.x * by, from.y + along.y * by)
}

fn of_border(plane: &Plane, (step, quad): (usize, &Quad), border: usize) -> Vec<Start> {
    let (a, b) = (quad[border], quad[(border + 1) % 4]);
    let length = a.distance(b);
    if length < LEAST_BORDER * plane.per_mm {
        return Vec::new();
    }
    let tangent = Point::new((b.x - a.x) / length, (b.y - a.y) / length);
    let middle = a.toward(b, 0.5);
    let centre = quad[0]
        .toward(quad[2], 0.5)
        .toward(quad[1].toward(quad[3], 0.5), 0.5);
    let mut normal = Point::new(tangent.y, -tangent.x);
    if normal.x * (middle.x - centre.x) + normal.y * (middle.y - centre.y) < 0.0 {
        normal = Point::new(-normal.x, -normal.y);
    }
    let outside = plane.label_at(moved(middle, normal, TOUCHING * plane.per_mm));
    if outside.is_some_and(|label| label != 0 && label != TAKEN && label != step as u16 + 1) {
        return Vec::new();
    }
    let depth = quad[(border + 2) % 4].distance(b) / plane.per_mm;
    let (group, corner) = (
        GROUP * plane.per_mm,
        (0.8 * plane.per_mm).max(CORNER * length),
    );
    let mut starts = Vec::new();
    let mut place = corner;
    while place < length - corner - 0.6 * group {
        starts.push(Start {
            step,
            border,
            along: place / plane.per_mm,
            inside: INSIDE.0 * depth.min(INSIDE.1),
            at: moved(a, tangent, place),
            tangent,
            normal,
        });
        place += group;
    }
    starts
}

fn look(plane: &Plane, start: &Start, reach: f64) -> Option<Look> {
    let own = start.step as u16 + 1;
    let across = ((GROUP * plane.per_mm).ceil() as usize).max(3);
    let apart = GROUP * plane.per_mm / across as f64;
    let count = ((reach + start.inside) / PITCH) as usize;
    let mut tones: Vec<Tone> = Vec::with_capacity(count);
    let mut end = End::Far;
    let mut light: [Vec<f32>; 4] = Default::default();
    for sample in 0..count {
        let r = (-start.inside + PITCH * sample as f64) * plane.per_mm;
        let foot = moved(start.at, start.normal, r);
        let (mut off, mut step, mut taken) = (0usize, 0usize, 0usize);
        light.iter_mut().for_each(Vec::clear);
        for index in 0..across {
            let place = moved(foot, start.tangent, apart * (index as f64 + 0.5));
            let margin = 1.0;
            let inside = place.x >= margin
                && place.y >= margin
                && place.x < plane.width as f64 - 1.0 - margin
                && place.y < plane.height as f64 - 1.0 - margin;
            match plane.label_at(place).filter(|_| inside) {
                None => off += 1,
                Some(TAKEN) => taken += 1,
                Some(label) if label != 0 && label != own => step += 1,
                Some(_) => {}
            }
            for (all, one) in light.iter_mut().zip(plane.light_at(place)) {
                all.push(one);
            }
        }
        let many = |seen: usize| seen as f64 > ENDS * across as f64;
        if off > 0 {
            end = End::Scan;
        } else if many(step) {
            end = End::Step;
        } else if many(taken) {
            end = End::Taken;
        }
        if end != End::Far {
            break;
        }
        tones.push(std::array::from_fn(|channel| {
            let all = &mut light[channel];
            let half = all.len() / 2;
            plane.density(*all.select_nth_unstable_by(half, f32::total_cmp).1)
        }));
    }
    let sight = tones.len() as f64 * PITCH - start.inside;
    (sight > LEAST_SIGHT).then(|| Look {
        step: start.step,
        border: start.border,
        along: start.along,
        end,
        from: -start.inside,
        at: start.at,
        tangent: start.tangent,
        normal: start.normal,
        tones: smoothed(&tones),
    })
}

/// Median of three along the look: what is left of dust.
fn smoothed(tones: &[Tone]) -> Vec<Tone> {
    let last = tones.len().saturating_sub(1);
    let middle = |index: usize| -> Tone {
        let (before, after) = (tones[index.saturating_sub(1)], tones[(index + 1).min(last)]);
        std::array::from_fn(|c| {
            let (a, b, d) = (before[c], tones[index][c], after[c]);
            a.min(b).max(a.max(b).min(d))
        })
    };
    (0..tones.len()).map(middle).collect()
}
