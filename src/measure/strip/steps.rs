//! Where the fields lie along a lane: dynamic programming over their borders.
//!
//! Every border has its evidence ([`Grid`]); widths have a prior about a common width that is
//! searched over. The sum is maximised exactly for a known count of fields.

use super::grid::{Grid, Sides};
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
    /// The spreads to try: on a rough lane the widest alone.
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

/// A border that must lie away from a place (samples), to see what else is possible.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) struct Barred {
    pub border: usize,
    pub at: f64,
    pub within: f64,
}

/// What is searched through.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) struct Search {
    /// Least and most common width, samples.
    pub widths: (f64, f64),
    /// Whether the lane's sides can be trusted.
    pub sides: Sides,
    /// What is not to be found again.
    pub barred: Option<Barred>,
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
}

/// The best borders for each of some counts of fields on a grid.
fn best_on_grid(
    grid: &Grid,
    spread: f64,
    counts: &[usize],
    width: f64,
    search: &Search,
) -> Vec<Option<Steps>> {
    let places = grid.z.len();
    let most_fields = counts.iter().copied().max().unwrap_or(0);
    let Widths { least, gain } = Widths::of(spread, width / grid.pitch);
    let barred = |border: usize, place: usize| {
        search.barred.is_some_and(|barred| {
            barred.border == border && (place as f64 * grid.pitch - barred.at).abs() < barred.within
        })
    };
    let mut score: Vec<f64> = grid.first.clone();
    bar(&mut score, |place| barred(0, place));
    let mut back: Vec<Vec<u32>> = Vec::with_capacity(most_fields);
    let mut ends: Vec<Option<(f64, usize)>> = Vec::with_capacity(most_fields);
    for field in 0..most_fields {
        let mut reached = vec![FORBID; places];
        let mut from = vec![0u32; places];
        for place in least..places {
            let (mut best, mut best_from) = (FORBID, 0);
            for (index, gain) in gain.iter().enumerate() {
                let Some(start) = place.checked_sub(least + index) else {
                    break;
                };
                if score[start] > FORBID {
                    let total = score[start] + gain - grid.inside(start, place);
                    if total > best {
                        (best, best_from) = (total, start);
                    }
                }
            }
            reached[place] = best;
            from[place] = best_from as u32;
        }
        bar(&mut reached, |place| barred(field + 1, place));
        ends.push(
            (0..places)
                .filter(|&place| reached[place] > FORBID)
                .map(|place| (reached[place] + grid.last[place], place))
                .max_by(|a, b| a.0.total_cmp(&b.0)),
        );
        back.push(from);
        for (gain, total) in grid.border.iter().zip(&mut reached) {
            *total += gain;
        }
        score = reached;
    }
    counts
        .iter()
        .map(|&count| {
            let (score, mut place) = (*ends.get(count.checked_sub(1)?)?)?;
            let mut at = vec![place];
            for from in back[..count].iter().rev() {
                place = from[place] as usize;
                at.push(place);
            }
            at.reverse();
            let sample = |place: usize| place as f64 * grid.pitch;
            let other = |place: usize, own: usize| (place != own).then(|| sample(place));
            Some(Steps {
                score,
                width,
                begins: other(grid.begins[at[0]], at[0]),
                ends: other(grid.ends[at[count]], at[count]),
                borders: at.iter().map(|&p| sample(p)).collect(),
                evidence: at.iter().map(|&p| grid.z[p]).collect(),
            })
        })
        .collect()
}

fn bar(scores: &mut [f64], barred: impl Fn(usize) -> bool) {
    for (place, score) in scores.iter_mut().enumerate() {
        if barred(place) {
            *score = FORBID;
        }
    }
}

/// Common widths to try.
pub(super) fn widths(range: (f64, f64)) -> impl Iterator<Item = f64> {
    std::iter::successors(Some(range.0), |width| Some(width * WIDTH_RATIO))
        .take_while(move |&width| width <= range.1)
}

/// The best borders for each of some counts of fields, over a range of common widths
/// (samples).
pub(super) fn best(
    sums: &Sums,
    pattern: Pattern,
    counts: &[usize],
    search: &Search,
) -> Vec<Option<Steps>> {
    let mut best: Vec<Option<Steps>> = vec![None; counts.len()];
    for width in widths(search.widths) {
        // Counts that don't fit on the lane at this width are left out.
        let fits = |count: usize| (count as f64) * width <= 1.2 * sums.len() as f64;
        let fitting: Vec<usize> = counts.iter().copied().filter(|&c| fits(c)).collect();
        if fitting.is_empty() {
            break;
        }
        let grid = Grid::new(sums, width, pattern, search.sides);
        for &spread in pattern.spreads(search.sides) {
            let found = best_on_grid(&grid, spread, &fitting, width, search);
            for (count, steps) in fitting.iter().zip(found) {
                let Some(steps) = steps else { continue };
                for (known, known_best) in counts.iter().zip(&mut best) {
                    if known == count && known_best.as_ref().is_none_or(|b| steps.score > b.score) {
                        *known_best = Some(steps.clone());
                    }
                }
            }
        }
    }
    best
}
