//! Fringes of sharpening along the edges of fields.
//!
//! A card held over the paper blurs an edge, and so do optics; neither makes the light side
//! lighter or the dark side darker beside the edge than further off. Sharpening does.

use super::sample::Target;
use crate::measure::finding::{Finding, Kind, Place, Weight};
use crate::measure::geometry::StripShape;
use crate::measure::raster::Raster;

/// Lines across an edge that are averaged.
const LINES: usize = 100;

/// Farthest from an edge that is looked at, pixels.
const FARTHEST: usize = 70;

/// Pixels on either side of the steepest place that belong to the edge and its fringe.
const FRINGE: usize = 10;

/// Least pixels beyond them that show what the field is like.
const REST: usize = 7;

/// Farthest from the middle of an edge that a fringe is highest, pixels.
const FARTHEST_FRINGE: usize = 8;

/// Smallest height of an edge, share of the code range.
const LEAST_HEIGHT: f64 = 0.02;

/// Edges that rise within this many pixels are crisp: fringes show best there.
const CRISP: f64 = 8.0;

/// Height of a fringe as a share of the edge, from which it is told. Rates on both sides of it
/// are in docs/scan-checks.md.
const TOLD: f64 = 0.013;

/// Standard errors by which a fringe must stand out.
const SURE: f64 = 3.0;

/// Share of the edges that must have a fringe of their own, and how high that must be as a
/// share of the common one.
const ALIKE: f64 = 0.4;
const LEAST_OWN: f64 = 0.25;

/// Most weight of one edge, in medians of all.
const MOST_WEIGHT: f64 = 3.0;

/// Edges of one sort needed.
const LEAST_EDGES: usize = 3;

/// Places kept of an edge: so many on either side of its middle.
const KEPT: usize = FRINGE + 2;

/// What an edge shows.
#[derive(Debug, Clone, Copy)]
struct Look {
    /// Pixels from 10 to 90 % of the way.
    rise: f64,
    /// Standard error of a place below, from the scatter beside the edge.
    error: f64,
    /// How far the light has come at each place: 1 on the light side, 0 on the dark one.
    shares: [f64; 2 * KEPT + 1],
}

/// Finds sharpening on a scan by the edges of all strips and the wedge.
pub fn halos(
    raster: &Raster,
    scan: usize,
    targets: &[Target<'_>],
    channel: usize,
) -> Option<Finding> {
    let looks: Vec<Look> = targets
        .iter()
        .flat_map(|target| {
            // What was marked may lie on pieces of their own: no edge between them counts.
            (1..target.shape.fields.len())
                .filter(|&edge| !(target.is_marked(edge - 1) || target.is_marked(edge)))
                .filter_map(|edge| look(&profile(raster, target.shape, edge, channel)?))
        })
        .collect();
    let (crisp, soft): (Vec<Look>, Vec<Look>) =
        looks.into_iter().partition(|look| look.rise <= CRISP);
    let looks = if crisp.len() >= LEAST_EDGES {
        crisp
    } else {
        soft
    };
    let (fringe, error, reach) = fringe(&looks)?;
    (fringe > TOLD.max(SURE * error)).then(|| Finding {
        kind: Kind::SharpeningHalos,
        weight: Weight::Note,
        place: Place::scan(scan),
        seen: format!(
            "Edges of fields have light and dark fringes of {:.0} % of their height, about \
             {reach} pixels off: the scan was sharpened.",
            100.0 * fringe,
        ),
        matters: "Means well inside the steps stay as they are, but noise and the unevenness of \
                  the coat are exaggerated, and so are the bounds."
            .to_owned(),
        remedy: "Scan with sharpening (unsharp mask, clarity) off.".to_owned(),
    })
}

/// Height of the fringes on all edges together, as a share of the edge and mean of both sides,
/// its standard error, and how many pixels from the middle it is highest.
fn fringe(looks: &[Look]) -> Option<(f64, f64, usize)> {
    if looks.len() < LEAST_EDGES {
        return None;
    }
    // A fringe is higher the crisper the edge: about with the square of its steepness.
    let mut weights: Vec<f64> = looks
        .iter()
        .map(|look| (look.rise.max(2.0) * look.error).powi(-2))
        .collect();
    // One edge of great height, such as the wedge's end before the lid, must not speak for all.
    let mut sorted = weights.clone();
    sorted.sort_unstable_by(f64::total_cmp);
    let most = MOST_WEIGHT * sorted[sorted.len() / 2];
    weights
        .iter_mut()
        .for_each(|weight| *weight = weight.min(most));
    let sum: f64 = weights.iter().sum();
    let error = looks
        .iter()
        .zip(&weights)
        .map(|(look, weight)| (weight * look.error).powi(2))
        .sum::<f64>()
        .sqrt()
        / sum;
    // A hair along one edge must not speak for all: the median of the edges by weight.
    let middle = |place: usize| {
        let mut sorted: Vec<(f64, f64)> = looks
            .iter()
            .zip(&weights)
            .map(|(look, &weight)| (look.shares[place], weight))
            .collect();
        sorted.sort_unstable_by(|a, b| a.0.total_cmp(&b.0));
        let mut passed = 0.0;
        sorted
            .iter()
            .find(|(_, weight)| {
                passed += weight;
                2.0 * passed >= sum
            })
            .map_or(0.0, |(share, _)| *share)
    };
    let beside = |light: bool| {
        (1..=FARTHEST_FRINGE)
            .map(|off| {
                if light {
                    (middle(KEPT - off) - 1.0, off)
                } else {
                    (-middle(KEPT + off), off)
                }
            })
            .max_by(|a, b| a.0.total_cmp(&b.0))
    };
    let ((light, near), (dark, far)) = (beside(true)?, beside(false)?);
    let fringe = (light + dark) / 2.0;
    // A coat that is uneven beside the edges makes them differ; a fringe is on all of them.
    let alike = looks
        .iter()
        .filter(|look| {
            // The middles of crisp edges are known to about a pixel.
            let light = look.shares[KEPT - near].max(look.shares[KEPT - near - 1]) - 1.0;
            let dark = -look.shares[KEPT + far].min(look.shares[KEPT + far + 1]);
            light + dark > LEAST_OWN * (2.0 * fringe)
        })
        .count();
    if (alike as f64) < ALIKE * looks.len() as f64 {
        return None;
    }
    Some((fringe, error, near.midpoint(far)))
}

/// Mean code share across an edge, pixel by pixel along the strip.
fn profile(raster: &Raster, shape: &StripShape, edge: usize, channel: usize) -> Option<Vec<f64>> {
    let length = shape.length();
    let room = |field: usize| {
        (shape.edges[field + 1].middle() - shape.edges[field].middle()) * length * 0.46
    };
    let half = (room(edge - 1).min(room(edge)) as usize).min(FARTHEST);
    if half < FRINGE + REST + 1 {
        return None;
    }
    let mut sums = vec![0.0; 2 * half + 1];
    for line in 0..LINES {
        let across = 0.15 + 0.7 * (line as f64 + 0.5) / LINES as f64;
        let middle = shape.edges[edge].at(across);
        for (place, sum) in sums.iter_mut().enumerate() {
            let off = place as f64 - half as f64;
            let at = shape.on_scan(middle + off / length, across);
            if !(at.x >= 0.0 && at.y >= 0.0) {
                return None;
            }
            let (x, y) = (at.x as usize, at.y as usize);
            if x >= raster.width || y >= raster.height {
                return None;
            }
            *sum += f64::from(raster.code_share(x, y, channel)) / LINES as f64;
        }
    }
    Some(sums)
}

fn look(profile: &[f64]) -> Option<Look> {
    // The edge may lie a little off where it was found.
    let count = profile.len();
    let (quarter, reach) = (count / 4, 2);
    let steepest = (quarter..count - quarter).max_by(|&a, &b| {
        let rise = |at: usize| (profile[at + reach] - profile[at - reach]).abs();
        rise(a).total_cmp(&rise(b))
    })?;
    let rest_before: Vec<usize> = (0..steepest.checked_sub(FRINGE)?).collect();
    let rest_after: Vec<usize> = (steepest + FRINGE..count).collect();
    let before = Line::through(profile, &rest_before)?;
    let after = Line::through(profile, &rest_after)?;
    let height = (before.at(steepest as f64) - after.at(steepest as f64)).abs();
    let noise = before.noise.max(after.noise);
    if height < LEAST_HEIGHT.max(8.0 * noise) {
        return None;
    }
    // Turned so that 1 is the light side, and the profile runs from light to dark.
    let falls = before.at(steepest as f64) > after.at(steepest as f64);
    let share = |at: usize| {
        let (first, last) = (before.at(at as f64), after.at(at as f64));
        let share = (profile[at] - last) / (first - last);
        if falls { share } else { 1.0 - share }
    };
    let turned: Vec<f64> = if falls {
        (0..count).map(share).collect()
    } else {
        (0..count).rev().map(share).collect()
    };
    let from = if falls {
        steepest
    } else {
        count - 1 - steepest
    };
    let start = (0..=from).rev().find(|&at| turned[at] > 0.9)?;
    let end = (from..count).find(|&at| turned[at] < 0.1)?;
    let below = (start..end).find(|&at| turned[at + 1] <= 0.5)?;
    let middle = below as f64 + (turned[below] - 0.5) / (turned[below] - turned[below + 1]);
    let mut shares = [0.0; 2 * KEPT + 1];
    for (place, value) in shares.iter_mut().enumerate() {
        let at = middle + place as f64 - KEPT as f64;
        let index = at.floor().max(0.0) as usize;
        let part = at - index as f64;
        *value = turned.get(index)? * (1.0 - part) + turned.get(index + 1)? * part;
    }
    Some(Look {
        rise: (end - start) as f64,
        error: (noise / height).max(1e-4),
        shares,
    })
}

/// A straight line through a part of a profile, with the scatter about it.
struct Line {
    middle: f64,
    level: f64,
    slope: f64,
    noise: f64,
}

impl Line {
    fn through(profile: &[f64], places: &[usize]) -> Option<Self> {
        if places.len() < REST {
            return None;
        }
        let count = places.len() as f64;
        let middle = places.iter().sum::<usize>() as f64 / count;
        let level = places.iter().map(|&at| profile[at]).sum::<f64>() / count;
        let (mut across, mut along) = (0.0, 0.0);
        for &at in places {
            let off = at as f64 - middle;
            across += off * (profile[at] - level);
            along += off * off;
        }
        let mut line = Self {
            middle,
            level,
            slope: across / along,
            noise: 0.0,
        };
        let squares: f64 = places
            .iter()
            .map(|&at| (profile[at] - line.at(at as f64)).powi(2))
            .sum();
        line.noise = (squares / count).sqrt();
        Some(line)
    }

    fn at(&self, place: f64) -> f64 {
        self.level + self.slope * (place - self.middle)
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::measure::check::synthetic::{Bench, Retouch, target};

    fn found(bench: &Bench) -> Option<Finding> {
        let (raster, shape) = bench.make();
        halos(&raster, 0, &[target(&shape)], 0)
    }

    /// Unsharp mask along the rows: adds what a running mean takes away.
    fn sharpen(amount: f64, reach: usize) -> Retouch {
        Box::new(move |plane, width| {
            for row in plane.chunks_mut(width) {
                let before = row.to_vec();
                for (x, value) in row.iter_mut().enumerate() {
                    let around = x.saturating_sub(reach)..(x + reach + 1).min(width);
                    let count = around.len() as f64;
                    let mean = before[around].iter().sum::<f64>() / count;
                    *value += amount * (*value - mean);
                }
            }
        })
    }

    #[test]
    fn the_cards_penumbra_is_not_taken_for_sharpening() {
        for penumbra in [1.0, 4.0, 12.0, 30.0] {
            // Without a wedge's crisp edges a coat rougher than this at the scale of the edges
            // is not told from fringes.
            let rough = Bench {
                mottle: 0.02,
                ..Bench::mottled()
            };
            for bench in [Bench::plain(), rough, Bench::noisy()] {
                let bench = Bench { penumbra, ..bench };
                assert_eq!(found(&bench), None, "{bench:?}, penumbra {penumbra}");
            }
        }
    }

    #[test]
    fn fringes_are_found_on_crisp_and_on_soft_edges() {
        for penumbra in [1.0, 4.0, 7.0] {
            for bench in Bench::clean() {
                let bench = Bench {
                    penumbra,
                    retouch: sharpen(0.9, 4),
                    ..bench
                };
                assert!(found(&bench).is_some(), "{bench:?}, penumbra {penumbra}");
            }
        }
    }
}
