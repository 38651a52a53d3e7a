//! How sure the borders of a reading are: all ways of laying the fields, each by its weight.
//!
//! The same sums as the best reading (steps.rs), added instead of maximised: forward and
//! backward over the grid, for every common width near the best.

use super::grid::{Grid, Sides};
use super::profile::Sums;
use super::steps::{Pattern, Steps, WIDTH_RATIO, Widths};

/// Neighbouring samples share their errors, so evidence counts for less than its sum.
/// Found by comparing confidence with truth on practice sessions.
const TEMPER: f64 = 0.5;
/// Common widths looked at on either side of the best.
const EACH_SIDE: i32 = 4;
/// A border belongs to the same reading as long as it lies within this share of a width.
pub(super) const SAME_READING: f64 = 0.4;
/// A border is right within this share of a width.
const RIGHT: f64 = 0.22;

/// What all readings say about one border.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) struct Certainty {
    /// Mean place among readings like the best one, samples.
    pub mean: f64,
    /// Standard deviation about it, samples.
    pub deviation: f64,
    /// Chance that it lies near that place.
    pub right: f64,
    /// Chance that it lies somewhere else altogether: another reading.
    pub elsewhere: f64,
}

/// Chances of one border's places at one common width.
struct Marginal {
    pitch: f64,
    chance: Vec<f64>,
}

/// Certainty of each border of a reading.
pub(super) fn certainty(
    sums: &Sums,
    pattern: Pattern,
    steps: &Steps,
    sides: Sides,
) -> Vec<Certainty> {
    let count = steps.borders.len() - 1;
    let all: Vec<(f64, Vec<Marginal>)> = (-EACH_SIDE..=EACH_SIDE)
        .flat_map(|power| {
            let width = steps.width * WIDTH_RATIO.powi(power);
            let mut grid = Grid::new(sums, width, sides);
            grid.find_ends(pattern.ends, width / grid.pitch);
            let spreads = pattern.spreads(sides).iter();
            spreads
                .filter_map(|&spread| marginals(&grid, spread, width, count))
                .collect::<Vec<_>>()
        })
        .collect();
    let most = all
        .iter()
        .map(|(log, _)| *log)
        .fold(f64::NEG_INFINITY, f64::max);
    let weights: Vec<f64> = all.iter().map(|(log, _)| (log - most).exp()).collect();
    let total: f64 = weights.iter().sum();
    (0..=count)
        .map(|border| {
            let places = || {
                all.iter()
                    .zip(&weights)
                    .flat_map(|((_, marginals), weight)| {
                        let Marginal { pitch, chance } = &marginals[border];
                        let weight = weight / total;
                        chance
                            .iter()
                            .enumerate()
                            .map(move |(place, chance)| (place as f64 * pitch, chance * weight))
                    })
            };
            let near = |at: f64, within: f64| {
                places().filter(move |(place, _)| (place - at).abs() <= within * steps.width)
            };
            let same = || near(steps.borders[border], SAME_READING);
            let weight: f64 = same().map(|(_, chance)| chance).sum();
            if weight <= 0.0 {
                return Certainty {
                    mean: steps.borders[border],
                    deviation: steps.width,
                    right: 0.0,
                    elsewhere: 1.0,
                };
            }
            let mean = same().map(|(place, chance)| place * chance).sum::<f64>() / weight;
            let square = same().map(|(place, chance)| (place - mean).powi(2) * chance);
            Certainty {
                mean,
                deviation: (square.sum::<f64>() / weight).sqrt(),
                right: near(mean, RIGHT).map(|(_, chance)| chance).sum(),
                elsewhere: (1.0 - weight).max(0.0),
            }
        })
        .collect()
}

/// Log weight of all readings at a common width, and the chances of each border's places.
fn marginals(grid: &Grid, spread: f64, width: f64, count: usize) -> Option<(f64, Vec<Marginal>)> {
    let places = grid.z.len();
    let Widths { least, gain } = Widths::of(spread, width / grid.pitch);
    let links: Vec<f64> = (0..places)
        .flat_map(|place| {
            gain.iter().enumerate().map(move |(index, gain)| {
                place.checked_sub(least + index).map_or(0.0, |from| {
                    (TEMPER * (gain - grid.inside(from, place))).exp()
                })
            })
        })
        .collect();
    let link = |place: usize, index: usize| links[place * gain.len() + index];
    let weigh = |gains: &[f64]| -> Vec<f64> { gains.iter().map(|g| (TEMPER * g).exp()).collect() };
    let (border, last) = (weigh(&grid.border), weigh(&grid.last));
    let mut log = 0.0;
    let mut scaled = |layer: &mut Vec<f64>| -> Option<()> {
        let most = layer.iter().copied().fold(0.0, f64::max);
        if !(most > 0.0 && most.is_finite()) {
            return None;
        }
        log += most.ln();
        layer.iter_mut().for_each(|weight| *weight /= most);
        Some(())
    };
    let mut forward = vec![weigh(&grid.first)];
    scaled(&mut forward[0])?;
    for field in 0..count {
        let node = if field + 1 < count { &border } else { &last };
        let mut layer: Vec<f64> = (0..places)
            .map(|place| {
                let reached: f64 = (0..gain.len().min((place + 1).saturating_sub(least)))
                    .map(|index| forward[field][place - least - index] * link(place, index))
                    .sum();
                reached * node[place]
            })
            .collect();
        scaled(&mut layer)?;
        forward.push(layer);
    }
    log += forward[count].iter().sum::<f64>().ln();
    let mut backward = vec![1.0; places];
    let mut all = Vec::with_capacity(count + 1);
    for field in (0..=count).rev() {
        let mut chance: Vec<f64> = forward[field]
            .iter()
            .zip(&backward)
            .map(|(before, after)| before * after)
            .collect();
        let total: f64 = chance.iter().sum();
        if !(total > 0.0 && total.is_finite()) {
            return None;
        }
        chance.iter_mut().for_each(|chance| *chance /= total);
        all.push(Marginal {
            pitch: grid.pitch,
            chance,
        });
        if field == 0 {
            break;
        }
        let node = if field < count { &border } else { &last };
        let mut before: Vec<f64> = (0..places)
            .map(|place| {
                (0..gain.len())
                    .map_while(|index| {
                        let next = place + least + index;
                        (next < places).then(|| link(next, index) * node[next] * backward[next])
                    })
                    .sum()
            })
            .collect();
        let most = before.iter().copied().fold(f64::MIN_POSITIVE, f64::max);
        before.iter_mut().for_each(|weight| *weight /= most);
        backward = before;
    }
    all.reverse();
    Some((log, all))
}
