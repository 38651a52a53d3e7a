//! Fringes of sharpening along the edges of fields.
//!
//! A card held over the paper blurs an edge, and so do optics; neither makes the light side
//! lighter or the dark side darker beside the edge than further off. Sharpening does.

use super::sample::{Target, quantile};
use crate::measure::finding::{Finding, Kind, Place, Weight};
use crate::measure::geometry::StripShape;
use crate::measure::raster::Raster;

/// Lines across an edge that are averaged.
const LINES: usize = 40;

/// Farthest from an edge that is looked at, pixels.
const FARTHEST: usize = 110;

/// Pixels beside the edge in which a fringe is looked for.
const FRINGE: usize = 14;

/// Pixels averaged along the profile.
const SMOOTH: usize = 3;

/// Smallest height of an edge, share of the code range.
const LEAST_HEIGHT: f64 = 0.03;

/// Edges that rise within this many pixels are crisp: fringes show best there.
const CRISP: f64 = 10.0;

/// Height of a fringe as a share of the edge, from which it is told: median over crisp edges,
/// and over soft ones, where a fringe is always much lower.
const TOLD: [f64; 2] = [0.06, 0.03];

/// Edges of one sort needed.
const LEAST_EDGES: usize = 3;

/// What an edge shows.
#[derive(Debug, Clone, Copy)]
struct Look {
    /// Pixels from 10 to 90 % of the way.
    rise: f64,
    /// Fringe height as a share of the edge's, mean of both sides, noise taken off.
    fringe: f64,
    /// How far from the edge the fringe is highest, pixels.
    reach: f64,
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
            (1..target.shape.fields.len())
                .filter_map(|edge| look(&profile(raster, target.shape, edge, channel)?))
        })
        .collect();
    let (crisp, soft): (Vec<Look>, Vec<Look>) =
        looks.into_iter().partition(|look| look.rise <= CRISP);
    let (looks, told) = if crisp.len() >= LEAST_EDGES {
        (crisp, TOLD[0])
    } else {
        (soft, TOLD[1])
    };
    if looks.len() < LEAST_EDGES {
        return None;
    }
    let fringe = median(looks.iter().map(|look| look.fringe))?;
    let reach = median(looks.iter().map(|look| look.reach))?;
    (fringe > told).then(|| Finding {
        kind: Kind::SharpeningHalos,
        weight: Weight::Note,
        place: Place::scan(scan),
        seen: format!(
            "Edges of fields have light and dark fringes of {:.0} % of their height, about \
             {reach:.0} pixels off: the scan was sharpened.",
            100.0 * fringe,
        ),
        matters: "Means well inside the steps stay as they are, but noise and the unevenness of \
                  the coat are exaggerated, and so are the bounds."
            .to_owned(),
        remedy: "Scan with sharpening (unsharp mask, clarity) off.".to_owned(),
    })
}

fn median(values: impl Iterator<Item = f64>) -> Option<f64> {
    let mut sorted: Vec<f64> = values.collect();
    sorted.sort_unstable_by(f64::total_cmp);
    quantile(&sorted, 0.5)
}

/// Mean code share across an edge, pixel by pixel along the strip; each place is the median of
/// lines spread over the width, so that specks and hairs don't count.
fn profile(raster: &Raster, shape: &StripShape, edge: usize, channel: usize) -> Option<Vec<f64>> {
    let length = shape.length();
    let room = |field: usize| {
        (shape.edges[field + 1].middle() - shape.edges[field].middle()) * length * 0.42
    };
    let half = (room(edge - 1).min(room(edge)) as usize).min(FARTHEST);
    if half < 2 * FRINGE {
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
    Some(
        sums.windows(SMOOTH)
            .map(|few| few.iter().sum::<f64>() / SMOOTH as f64)
            .collect(),
    )
}

fn look(profile: &[f64]) -> Option<Look> {
    // The edge may lie a little off where it was found.
    let count = profile.len();
    let (quarter, reach) = (count / 4, 2);
    let steepest = (quarter..count - quarter).max_by(|&a, &b| {
        let rise = |at: usize| (profile[at + reach] - profile[at - reach]).abs();
        rise(a).total_cmp(&rise(b))
    })?;
    let far = |at: usize| at.abs_diff(steepest) > 2 * FRINGE;
    let level =
        |range: std::ops::Range<usize>| median(range.filter(|&at| far(at)).map(|at| profile[at]));
    let (before, after) = (level(0..steepest)?, level(steepest..count)?);
    let height = (before - after).abs();
    if height < LEAST_HEIGHT {
        return None;
    }
    // From here on the strip gets darker along the profile.
    let sign = if before > after { 1.0 } else { -1.0 };
    let share = |at: usize| (profile[at] - after) / (before - after);
    let start = (0..=steepest).rev().find(|&at| share(at) > 0.9)?;
    let end = (steepest..count).find(|&at| share(at) < 0.1)?;
    let light = side((0..=start).rev().map(|at| sign * profile[at]))?;
    let dark = side((end..count).map(|at| -sign * profile[at]))?;
    let noise = light.noise.max(dark.noise);
    if height < 12.0 * noise {
        return None;
    }
    let fringe = |side: &Side| (side.fringe - 2.5 * side.noise).max(0.0) / height;
    Some(Look {
        rise: (end - start) as f64,
        fringe: (fringe(&light) + fringe(&dark)) / 2.0,
        reach: (light.reach + dark.reach) / 2.0 + (end - start) as f64 / 2.0,
    })
}

/// One side of an edge.
struct Side {
    /// Highest rise beside the edge above a line through the rest.
    fringe: f64,
    /// Where it is, pixels from the end of the edge's rise.
    reach: f64,
    /// Standard deviation of the rest about its line.
    noise: f64,
}

/// Takes code shares from the edge outward, turned so that a fringe is a rise.
fn side(values: impl Iterator<Item = f64>) -> Option<Side> {
    let values: Vec<f64> = values.collect();
    let rest: Vec<(f64, f64)> = (FRINGE..values.len())
        .map(|at| (at as f64, values[at]))
        .collect();
    if rest.len() < FRINGE {
        return None;
    }
    let count = rest.len() as f64;
    let mean_x = rest.iter().map(|(x, _)| x).sum::<f64>() / count;
    let mean_y = rest.iter().map(|(_, y)| y).sum::<f64>() / count;
    let slope = rest
        .iter()
        .map(|(x, y)| (x - mean_x) * (y - mean_y))
        .sum::<f64>()
        / rest.iter().map(|(x, _)| (x - mean_x).powi(2)).sum::<f64>();
    let line = |x: f64| mean_y + slope * (x - mean_x);
    let noise = (rest
        .iter()
        .map(|(x, y)| (y - line(*x)).powi(2))
        .sum::<f64>()
        / count)
        .sqrt();
    let (reach, fringe) = (0..FRINGE)
        .map(|at| (at as f64, values[at] - line(at as f64)))
        .max_by(|a, b| a.1.total_cmp(&b.1))?;
    Some(Side {
        fringe,
        reach,
        noise,
    })
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::measure::check::synthetic::{Bench, target};

    fn found(bench: &Bench) -> Option<Finding> {
        let (raster, shape) = bench.make();
        halos(&raster, 0, &[target(&shape)], 0)
    }

    /// Unsharp mask along the rows: adds what a running mean takes away.
    fn sharpen(amount: f64, reach: usize) -> Box<dyn Fn(&mut [f64], usize)> {
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
            for bench in Bench::clean() {
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
