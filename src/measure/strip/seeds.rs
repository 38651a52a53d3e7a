//! Rectangles darker or lighter than what they lie on: where a strip may lie.
//!
//! The view is cut at several densities above its lightest; at each, connected areas on either
//! side of the cut that fill an upright or tilted rectangle are kept: dark ones on a white lid,
//! light ones where the lid stood open or the coat lies on slate. A strip's light steps may be
//! missing from every dark area and its dark ones from every light one: a seed only tells where
//! to look.

use image::{GrayImage, Luma};
use imageproc::distance_transform::Norm;
use imageproc::morphology::close;
use imageproc::region_labelling::{Connectivity, connected_components};
use rayon::prelude::*;

use super::view::View;
use crate::measure::geometry::Point;

/// Densities above the lightest at which the view is cut: from just above a white lid's
/// shading to near the blackest coat.
const CUTS: [f32; 9] = [0.06, 0.12, 0.22, 0.35, 0.5, 0.7, 0.9, 1.15, 1.4];
/// Share of a rectangle that a seed must fill: hairs, rings and L-shapes fall out.
const LEAST_FILL: f64 = 0.6;
/// Share of the view's area that a seed must cover at least.
const LEAST_AREA: f64 = 0.0004;

/// A light area may take up no more of the view: the lid around everything is none.
const MOST_LIGHT: f64 = 0.5;

/// Which side of a cut an area lies on.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) enum Tone {
    Dark,
    Light,
}

/// A rectangle in view coordinates of the view it was found on.
#[derive(Debug, Clone, Copy)]
pub(super) struct Seed {
    pub centre: Point,
    /// Direction of the first axis, radians from x toward y, within a quarter turn's half.
    pub angle: f64,
    /// Half of the extent along the first axis and across it.
    pub half: (f64, f64),
    /// Whether it is darker or lighter than what lies around it.
    pub tone: Tone,
}

/// All seeds on a (coarse) view, from the lowest cut to the highest.
pub(super) fn seeds(view: &View) -> Vec<Seed> {
    let base = lightest(view);
    let cuts: Vec<(f32, Tone)> = [Tone::Dark, Tone::Light]
        .into_iter()
        .flat_map(|tone| CUTS.map(|cut| (base + cut, tone)))
        .collect();
    let per_cut: Vec<Vec<Seed>> = cuts
        .par_iter()
        .map(|&(cut, tone)| seeds_at(view, cut, tone))
        .collect();
    per_cut.into_iter().flatten().collect()
}

/// Density that only a hundredth of the view is lighter than.
pub(super) fn lightest(view: &View) -> f32 {
    let mut sample: Vec<f32> = view
        .density
        .iter()
        .step_by((view.density.len() / 20_000).max(1))
        .copied()
        .collect();
    let rank = sample.len() / 100;
    *sample.select_nth_unstable_by(rank, f32::total_cmp).1
}

#[derive(Clone)]
struct Area {
    pixels: usize,
    x: (u32, u32),
    y: (u32, u32),
}

fn seeds_at(view: &View, cut: f32, tone: Tone) -> Vec<Seed> {
    let (width, height) = (view.width as u32, view.height as u32);
    let mask = GrayImage::from_fn(width, height, |x, y| {
        let dark = view.density[(y * width + x) as usize] > cut;
        Luma([if dark == (tone == Tone::Dark) { 255 } else { 0 }])
    });
    let mask = close(&mask, Norm::LInf, 1);
    let labels = connected_components(&mask, Connectivity::Four, Luma([0u8]));
    let mut areas: Vec<Area> = vec![];
    for (x, y, label) in labels.enumerate_pixels() {
        let label = label.0[0] as usize;
        if label == 0 {
            continue;
        }
        if areas.len() < label {
            let empty = Area {
                pixels: 0,
                x: (u32::MAX, 0),
                y: (u32::MAX, 0),
            };
            areas.resize(label, empty);
        }
        let area = &mut areas[label - 1];
        area.pixels += 1;
        area.x = (area.x.0.min(x), area.x.1.max(x));
        area.y = (area.y.0.min(y), area.y.1.max(y));
    }
    let least = (LEAST_AREA * view.density.len() as f64).max(16.0) as usize;
    let most = match tone {
        Tone::Dark => view.density.len(),
        Tone::Light => (MOST_LIGHT * view.density.len() as f64) as usize,
    };
    areas
        .iter()
        .enumerate()
        .filter(|(_, area)| (least..=most).contains(&area.pixels))
        .filter_map(|(number, area)| {
            let inside = |x: u32, y: u32| labels.get_pixel(x, y).0[0] as usize == number + 1;
            let angle = angle_of(view, area, &inside);
            rectangle(area, angle, tone, &inside)
        })
        .collect()
}

/// Direction of the edges in an area, modulo a quarter turn, from its density gradients.
///
/// The fourth power of the gradient as a complex number turns all four sides of a
/// rectangle, and step edges, onto one direction; even texture cancels.
fn angle_of(view: &View, area: &Area, inside: &impl Fn(u32, u32) -> bool) -> f64 {
    let (mut real, mut imaginary) = (0f64, 0f64);
    let at = |x: u32, y: u32| f64::from(view.density[y as usize * view.width + x as usize]);
    let last = (view.width as u32 - 1, view.height as u32 - 1);
    for y in area.y.0.max(1)..=area.y.1.min(last.1.saturating_sub(1)) {
        for x in area.x.0.max(1)..=area.x.1.min(last.0.saturating_sub(1)) {
            if !inside(x, y) {
                continue;
            }
            // Scharr's weights turn least with the direction of the edge.
            let gx = 3.0 * (at(x + 1, y - 1) + at(x + 1, y + 1))
                - 3.0 * (at(x - 1, y - 1) + at(x - 1, y + 1))
                + 10.0 * (at(x + 1, y) - at(x - 1, y));
            let gy = 3.0 * (at(x - 1, y + 1) + at(x + 1, y + 1))
                - 3.0 * (at(x - 1, y - 1) + at(x + 1, y - 1))
                + 10.0 * (at(x, y + 1) - at(x, y - 1));
            let (square_x, square_y) = (gx * gx - gy * gy, 2.0 * gx * gy);
            let weight = (gx * gx + gy * gy).max(1e-12);
            real += (square_x * square_x - square_y * square_y) / weight;
            imaginary += 2.0 * square_x * square_y / weight;
        }
    }
    imaginary.atan2(real) / 4.0
}

fn rectangle(
    area: &Area,
    angle: f64,
    tone: Tone,
    inside: &impl Fn(u32, u32) -> bool,
) -> Option<Seed> {
    let (sin, cos) = angle.sin_cos();
    let middle = Point::new(
        f64::from(area.x.0 + area.x.1 + 1) / 2.0,
        f64::from(area.y.0 + area.y.1 + 1) / 2.0,
    );
    let reach = f64::from(area.x.1 - area.x.0 + area.y.1 - area.y.0) / 2.0 + 2.0;
    let bins = (2.0 * reach).ceil() as usize + 1;
    let (mut along, mut across) = (vec![0usize; bins], vec![0usize; bins]);
    for y in area.y.0..=area.y.1 {
        for x in area.x.0..=area.x.1 {
            if inside(x, y) {
                let dx = f64::from(x) + 0.5 - middle.x;
                let dy = f64::from(y) + 0.5 - middle.y;
                along[(dx * cos + dy * sin + reach) as usize] += 1;
                across[(dy * cos - dx * sin + reach) as usize] += 1;
            }
        }
    }
    let (from_u, to_u) = filled(&along)?;
    let (from_v, to_v) = filled(&across)?;
    let half = ((to_u - from_u) / 2.0, (to_v - from_v) / 2.0);
    if area.pixels as f64 / (4.0 * half.0 * half.1) < LEAST_FILL || half.0.min(half.1) < 3.0 {
        return None;
    }
    let (u, v) = ((from_u + to_u) / 2.0 - reach, (from_v + to_v) / 2.0 - reach);
    Some(Seed {
        centre: Point::new(middle.x + u * cos - v * sin, middle.y + u * sin + v * cos),
        angle,
        half,
        tone,
    })
}

/// Where a projection is at least a third of its typical height: thin tails fall off.
fn filled(counts: &[usize]) -> Option<(f64, f64)> {
    let total: usize = counts.iter().sum();
    // The mean height that a pixel sees.
    let typical = counts.iter().map(|&n| (n * n) as f64).sum::<f64>() / total.max(1) as f64;
    let counts_as_filled = |&n: &usize| n as f64 > typical / 3.0;
    let from = counts.iter().position(counts_as_filled)?;
    let to = counts.iter().rposition(counts_as_filled)?;
    Some((from as f64, to as f64 + 1.0))
}
