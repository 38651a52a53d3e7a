//! How sure a reading is, and which others there are: whole readings drawn by their weight.
//!
//! The same sums as the best reading (steps.rs), added instead of maximised, forward over the
//! grid for every common width near the best; whole readings are then drawn backward. Those whose
//! steps lie alike are one reading, and the share of them is its chance: all borders are right
//! together or not.
//!
//! Method: forward filtering, backward sampling of a hidden semi-Markov chain.

use rand::{Rng as _, SeedableRng as _};
use rand_chacha::ChaCha8Rng;

use super::grid::{Grid, Sides};
use super::profile::Sums;
use super::steps::{Pattern, Steps, WIDTH_RATIO, Widths};

/// Neighbouring samples share their errors, so evidence counts for less than its sum.
/// Found by comparing chance with truth on practice sessions.
const TEMPER: f64 = 0.8;
/// Common widths looked at on either side of the best.
const EACH_SIDE: i32 = 4;
/// Steps are the same ones while the centre of each lies within this share of its width.
const SAME: f64 = 0.15;
/// Readings drawn.
const DRAWN: usize = 240;
/// Most readings that are told apart, and the least share of the drawn ones that makes one.
const MOST: usize = 6;
const LEAST: f64 = 0.03;
/// The same strip is read in the same way every time.
const SEED: u64 = 7;

/// What the readings that are the same say about one border.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) struct Certainty {
    /// Mean place, samples.
    pub mean: f64,
    /// Standard deviation about it, samples.
    pub deviation: f64,
}

/// One way to read a lane.
#[derive(Debug, Clone)]
pub(super) struct Reading {
    /// The middle one of those drawn.
    pub steps: Steps,
    /// How sure its borders are.
    pub certainty: Vec<Certainty>,
    /// Chance that this is how the steps lie.
    pub chance: f64,
}

/// The readings near the best one of a count of fields, likeliest first.
pub(super) fn readings(sums: &Sums, pattern: Pattern, steps: &Steps, sides: Sides) -> Vec<Reading> {
    let count = steps.borders.len() - 1;
    let all: Vec<Forward> = (-EACH_SIDE..=EACH_SIDE)
        .flat_map(|power| {
            let width = steps.width * WIDTH_RATIO.powi(power);
            let spreads = pattern.spreads(sides).iter();
            spreads
                .filter_map(|&spread| {
                    let mut grid = Grid::new(sums, width, sides);
                    grid.find_ends(pattern.ends, width / grid.pitch);
                    Forward::over(grid, spread, width, count)
                })
                .collect::<Vec<_>>()
        })
        .collect();
    told_apart(drawn(&all), steps)
}

/// Readings drawn by their weight.
fn drawn(all: &[Forward]) -> Vec<Steps> {
    let most = all
        .iter()
        .map(|forward| forward.log)
        .fold(f64::NEG_INFINITY, f64::max);
    let weights: Vec<f64> = all.iter().map(|f| (f.log - most).exp()).collect();
    let total: f64 = weights.iter().sum();
    let mut rng = ChaCha8Rng::seed_from_u64(SEED);
    let mut due = rng.random::<f64>();
    let mut drawn = Vec::with_capacity(DRAWN);
    for (forward, weight) in all.iter().zip(&weights) {
        due += DRAWN as f64 * weight / total;
        while due >= 1.0 {
            due -= 1.0;
            drawn.extend(forward.draw(&mut rng));
        }
    }
    drawn
}

/// Sorts readings by where their steps lie. Nothing drawn: the best one, of no chance.
fn told_apart(drawn: Vec<Steps>, best: &Steps) -> Vec<Reading> {
    let count = drawn.len() as f64;
    let mut left = drawn;
    let mut readings = vec![];
    while readings.len() < MOST {
        // The reading with the most like it; then all that are like the mean of those.
        let Some(middle) = left
            .iter()
            .max_by_key(|one| like(&left, &one.borders).count())
        else {
            break;
        };
        let mean = mean_of(like(&left, &middle.borders));
        let members: Vec<Steps> = like(&left, &mean).cloned().collect();
        let chance = members.len() as f64 / count;
        if chance < LEAST {
            break;
        }
        readings.push(reading(&members, &mean, chance));
        left.retain(|one| !same(&one.borders, &mean));
    }
    if readings.is_empty() {
        let unsure = |&at: &f64| Certainty {
            mean: at,
            deviation: best.width,
        };
        readings.push(Reading {
            certainty: best.borders.iter().map(unsure).collect(),
            steps: best.clone(),
            chance: 0.0,
        });
    }
    readings.sort_by(|a, b| b.chance.total_cmp(&a.chance));
    readings
}

fn like<'a>(among: &'a [Steps], borders: &'a [f64]) -> impl Iterator<Item = &'a Steps> {
    among.iter().filter(|one| same(&one.borders, borders))
}

/// Whether the centre of each step lies where this one's does.
fn same(borders: &[f64], as_these: &[f64]) -> bool {
    let pairs = borders.windows(2).zip(as_these.windows(2));
    pairs
        .into_iter()
        .all(|(a, b)| (a[0] + a[1] - b[0] - b[1]).abs() / 2.0 <= SAME * (b[1] - b[0]))
}

fn mean_of<'a>(members: impl Iterator<Item = &'a Steps>) -> Vec<f64> {
    let mut sum: Vec<f64> = vec![];
    let mut count = 0.0;
    for member in members {
        sum.resize(member.borders.len(), 0.0);
        for (sum, at) in sum.iter_mut().zip(&member.borders) {
            *sum += at;
        }
        count += 1.0;
    }
    sum.iter().map(|sum| sum / count).collect()
}

fn reading(members: &[Steps], mean: &[f64], chance: f64) -> Reading {
    let off = |one: &Steps| -> f64 {
        let pairs = one.borders.iter().zip(mean);
        pairs.map(|(a, b)| (a - b).powi(2)).sum()
    };
    let nearest = members.iter().min_by(|a, b| off(a).total_cmp(&off(b)));
    let certainty = mean
        .iter()
        .enumerate()
        .map(|(border, &mean)| {
            let squares = members
                .iter()
                .map(|one| (one.borders[border] - mean).powi(2));
            Certainty {
                mean,
                deviation: (squares.sum::<f64>() / members.len() as f64).sqrt(),
            }
        })
        .collect();
    Reading {
        steps: nearest.unwrap_or(&members[0]).clone(),
        certainty,
        chance,
    }
}

/// Weights of all ways to lay fields up to each place, at one common width and spread.
struct Forward {
    grid: Grid,
    width: f64,
    widths: Widths,
    /// One a border: weight of the ways that put it at each place.
    layers: Vec<Vec<f64>>,
    /// Log of the weight of all readings together.
    log: f64,
}

impl Forward {
    fn over(grid: Grid, spread: f64, width: f64, count: usize) -> Option<Self> {
        let places = grid.z.len();
        let widths = Widths::of(spread, width / grid.pitch);
        let links: Vec<f64> = (0..places)
            .flat_map(|place| {
                let grid = &grid;
                widths.each().map(move |(width, gain)| {
                    place.checked_sub(width).map_or(0.0, |from| {
                        (TEMPER * (gain - grid.inside(from, place))).exp()
                    })
                })
            })
            .collect();
        let weigh =
            |gains: &[f64]| -> Vec<f64> { gains.iter().map(|g| (TEMPER * g).exp()).collect() };
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
        let mut layers = vec![weigh(&grid.first)];
        scaled(&mut layers[0])?;
        let (least, kinds) = (widths.least, widths.gain.len());
        for field in 0..count {
            let node = if field + 1 < count { &border } else { &last };
            let before = &layers[field];
            let mut layer: Vec<f64> = (0..places)
                .map(|place| {
                    let near = kinds.min((place + 1).saturating_sub(least));
                    let links = &links[place * kinds..place * kinds + near];
                    let reached = links.iter().enumerate();
                    let reached: f64 = reached
                        .map(|(index, link)| before[place - least - index] * link)
                        .sum();
                    reached * node[place]
                })
                .collect();
            scaled(&mut layer)?;
            layers.push(layer);
        }
        log += layers[count].iter().sum::<f64>().ln();
        Some(Self {
            grid,
            width,
            widths,
            layers,
            log,
        })
    }

    /// One reading, drawn by its weight.
    fn draw(&self, rng: &mut ChaCha8Rng) -> Option<Steps> {
        let count = self.layers.len() - 1;
        let mut place = one_of(self.layers[count].iter().copied(), rng)?;
        let mut at = vec![place];
        for layer in self.layers[..count].iter().rev() {
            let weight = |(width, gain): (usize, f64)| {
                place.checked_sub(width).map_or(0.0, |from| {
                    let link = TEMPER * (gain - self.grid.inside(from, place));
                    layer[from] * link.exp()
                })
            };
            let narrower = one_of(self.widths.each().map(weight), rng)?;
            place = place.checked_sub(self.widths.least + narrower)?;
            at.push(place);
        }
        at.reverse();
        Some(self.grid.steps(&at, self.width, self.log))
    }
}

/// The place of one of these weights, drawn by them.
fn one_of(weights: impl Iterator<Item = f64> + Clone, rng: &mut ChaCha8Rng) -> Option<usize> {
    let total: f64 = weights.clone().sum();
    let mut due = rng.random::<f64>() * total;
    let mut last = None;
    for (place, weight) in weights.enumerate() {
        if weight > 0.0 {
            last = Some(place);
            due -= weight;
            if due <= 0.0 {
                break;
            }
        }
    }
    last
}
