//! Where the fields lie along a lane: dynamic programming over their borders.
//!
//! Every border has its evidence ([`Grid`]); widths have a prior about a common width that is
//! searched over. The sum is maximised exactly for a known count of fields.

use rayon::prelude::*;

use super::grid::{Grid, SHORT, Sides};
use super::profile::Sums;

/// What lies beyond the first and the last field.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) enum Ends {
    /// A margin before the lightest step as a rule, and one beyond the darkest now and then.
    Margins,
    /// Nothing.
    Bare,
}

/// What fields to expect.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) struct Pattern {
    /// How far a field's width may be from the common width, as a share of it: all of these
    /// are tried, since one hand is steadier than another.
    pub spreads: &'static [f64],
    /// What lies beyond them.
    pub ends: Ends,
}

impl Pattern {
    /// The spreads to try: on a rough lane the widest alone will do.
    pub fn spreads(&self, sides: Sides) -> &'static [f64] {
        match sides {
            Sides::Rough => &self.spreads[self.spreads.len().saturating_sub(1)..],
            Sides::Fitted => self.spreads,
        }
    }
}

/// Borders found along a lane.
#[derive(Debug, Clone, PartialEq)]
pub(super) struct Steps {
    /// Log likelihood ratio against an empty lane.
    pub score: f64,
    /// Common width, samples.
    pub width: f64,
    /// Borders, samples from the profile's start, one more than fields.
    pub borders: Vec<f64>,
    /// Evidence in standard errors at each border (positive: darker onward).
    pub evidence: Vec<f64>,
    /// Where the margin before the first border begins, if there is one.
    pub begins: Option<f64>,
    /// Where a margin beyond the last border ends, if there is one.
    pub ends: Option<f64>,
}

/// What is searched through.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) struct Search {
    /// Least and most common width, samples.
    pub widths: (f64, f64),
    /// Whether the lane's sides can be trusted.
    pub sides: Sides,
}

/// Ratio of neighbouring common widths that are tried.
pub(super) const WIDTH_RATIO: f64 = 1.06;
const FORBID: f64 = f64::NEG_INFINITY;

/// Widths of a field that are allowed, in grid places, with the log prior of each.
pub(super) struct Widths {
    pub least: usize,
    pub gain: Vec<f64>,
}

impl Widths {
    /// Any width within the spread is as likely as another; beyond, the chance falls off, over
    /// no less than what the grid itself leaves uncertain.
    pub fn of(spread: f64, unit: f64) -> Self {
        let soft = (spread / 6.0).max(0.35 / unit);
        let most_off = spread + 5.0 * soft;
        let least = ((1.0 - most_off) * unit).floor().max(1.0) as usize;
        let most = ((1.0 + most_off) * unit).ceil() as usize;
        let chance: Vec<f64> = (least..=most)
            .map(|width| {
                let off = (width as f64 / unit - 1.0).abs();
                1.0 / (1.0 + ((off - spread) / soft).exp())
            })
            .collect();
        let total: f64 = chance.iter().sum();
        Self {
            least,
            gain: chance.iter().map(|chance| (chance / total).ln()).collect(),
        }
    }

    /// Each width, narrowest first, with its gain.
    pub fn each(&self) -> impl Iterator<Item = (usize, f64)> + Clone + '_ {
        (self.least..).zip(self.gain.iter().copied())
    }
}

/// All ways to lay fields side by side on a grid, the best one to each place.
struct Laid<'a> {
    grid: &'a Grid,
    widths: Widths,
    /// For each count of fields, the gain with which a field may begin at each place.
    begun: Vec<Vec<f64>>,
}

impl Laid<'_> {
    /// Gain of the best way to end a further field at each place.
    ///
    /// The stray cost within a field is the difference of a running sum, so that what belongs
    /// to its start can be added there once, and the search for the best is a plain maximum.
    fn reached(&self) -> Option<Vec<f64>> {
        let begun = self.begun.last()?;
        let open: Vec<f64> = begun
            .iter()
            .enumerate()
            .map(|(start, gain)| gain + self.grid.stray_after(start))
            .collect();
        let mut short = vec![FORBID; begun.len()];
        let mut long = vec![FORBID; begun.len()];
        for (width, gain) in self.widths.each() {
            let (best, from) = if width > SHORT {
                (&mut long, &open)
            } else {
                (&mut short, begun)
            };
            for (best, from) in best.iter_mut().skip(width).zip(from) {
                // Unlike `f64::max` this is one instruction: nothing here is not a number.
                let total = from + gain;
                *best = if total > *best { total } else { *best };
            }
        }
        for (place, (short, long)) in short.iter_mut().zip(&long).enumerate() {
            *short = short.max(long - self.grid.stray_before(place));
        }
        Some(short)
    }

    /// Borders of the best way to end at a place after so many fields.
    fn borders(&self, fields: usize, end: usize) -> Vec<usize> {
        let mut borders = vec![end];
        let mut place = end;
        for begun in self.begun[..fields].iter().rev() {
            let gain_from = |(width, gain): (usize, f64)| {
                let start = place.checked_sub(width)?;
                Some((begun[start] + gain - self.grid.inside(start, place), start))
            };
            let better = |best: (f64, usize), other: (f64, usize)| {
                if other.0 > best.0 { other } else { best }
            };
            (_, place) = self
                .widths
                .each()
                .filter_map(gain_from)
                .fold((FORBID, 0), better);
            borders.push(place);
        }
        borders.reverse();
        borders
    }
}

/// The best borders for each of some counts of fields on a grid.
fn best_on_grid(grid: &Grid, spread: f64, counts: &[usize], width: f64) -> Vec<Option<Steps>> {
    let most_fields = counts.iter().copied().max().unwrap_or(0);
    let mut laid = Laid {
        grid,
        widths: Widths::of(spread, width / grid.pitch),
        begun: vec![grid.first.clone()],
    };
    let mut ends: Vec<Option<(f64, usize)>> = Vec::with_capacity(most_fields);
    for _ in 0..most_fields {
        let Some(mut reached) = laid.reached() else {
            break;
        };
        ends.push(
            reached
                .iter()
                .zip(&grid.last)
                .map(|(reached, last)| reached + last)
                .zip(0..)
                .filter(|(gain, _)| *gain > FORBID)
                .max_by(|a, b| a.0.total_cmp(&b.0)),
        );
        for (gain, total) in grid.border.iter().zip(&mut reached) {
            *total += gain;
        }
        laid.begun.push(reached);
    }
    counts
        .iter()
        .map(|&count| {
            let (score, end) = (*ends.get(count.checked_sub(1)?)?)?;
            let at = laid.borders(count, end);
            Some(grid.steps(&at, width, score))
        })
        .collect()
}

/// Common widths to try.
pub(super) fn widths(range: (f64, f64)) -> impl Iterator<Item = f64> {
    std::iter::successors(Some(range.0), |width| Some(width * WIDTH_RATIO))
        .take_while(move |&width| width <= range.1)
}

/// Best readings by their count of fields.
type Readings = Vec<(usize, Option<Steps>)>;

/// The best borders for each of some counts of fields, over a range of common widths
/// (samples); for several patterns at once, because the evidence is the same for them.
pub(super) fn best<const PATTERNS: usize>(
    sums: &Sums,
    asked: [(Pattern, &[usize]); PATTERNS],
    search: &Search,
) -> [Vec<Option<Steps>>; PATTERNS] {
    // Counts that don't fit on the lane at a width are left out.
    let fits = |count: usize, width: f64| (count as f64) * width <= 1.2 * sums.len() as f64;
    let at_width = |width: f64| {
        let mut grid = Grid::new(sums, width, search.sides);
        asked.map(|(pattern, counts)| {
            let counts = counts.iter().copied();
            let counts: Vec<usize> = counts.filter(|&count| fits(count, width)).collect();
            if counts.is_empty() {
                return vec![];
            }
            grid.find_ends(pattern.ends, width / grid.pitch);
            let spreads = pattern.spreads(search.sides).iter();
            spreads
                .flat_map(|&spread| {
                    let found = best_on_grid(&grid, spread, &counts, width);
                    counts.iter().copied().zip(found)
                })
                .collect()
        })
    };
    let fewest = asked.iter().flat_map(|(_, counts)| *counts).min();
    let widths: Vec<f64> = widths(search.widths)
        .take_while(|&width| fewest.is_some_and(|&count| fits(count, width)))
        .collect();
    let found: Vec<[Readings; PATTERNS]> = widths.into_par_iter().map(at_width).collect();
    let mut best = asked.map(|(_, counts)| vec![None::<Steps>; counts.len()]);
    for at_width in found {
        for ((found, (_, counts)), best) in at_width.into_iter().zip(&asked).zip(&mut best) {
            for (count, steps) in found {
                let Some(steps) = steps else { continue };
                for (known, best) in counts.iter().zip(best.iter_mut()) {
                    if *known == count && best.as_ref().is_none_or(|b| steps.score > b.score) {
                        *best = Some(steps.clone());
                    }
                }
            }
        }
    }
    best
}
