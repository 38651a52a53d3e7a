//! What speaks for and against a candidate being coat that got no light.

use std::collections::{BTreeMap, BTreeSet};

use super::candidates::Candidate;
use super::looks::{GROUP, Look};
use super::plane::Tone;
use super::plateaus::Plateau;
use super::toe::Toe;
use crate::measure::reading::robust::{median, median_and_spread};

/// How many kinds of evidence there are.
pub const KINDS: usize = 19;

/// Their names, in the order of [`Evidence`].
pub const NAMES: [&str; KINDS] = [
    "toe", "above", "share", "inner", "behind", "open", "soft", "wobble", "rag", "lid", "colour",
    "gap", "sides", "steps", "then", "preceded", "width", "size", "scatter",
];

/// The evidence of one candidate, in the order of [`NAMES`]:
///
/// - toe: log odds of Dmin there by the steps alone, held within -4 and 3;
/// - above: hundredths of a density by which it is darker than the lightest step, at most 5;
/// - share: log of its share of all first plateaus;
/// - inner: share of its looks where it is met first and ends in sight; behind: where another
///   plateau lies before it; open: where it goes on to the end of sight;
/// - soft: width of the step's edge beyond 0.35 mm, in 0.4 mm: a mask's edge is soft, a coat's or
///   a sheet's isn't;
/// - wobble: raggedness of that edge about a straight line; rag: of its own outer edge;
/// - lid: likeness to the rim of the scan; colour: how far off the coat's line of colour;
/// - gap: share of its looks that end at another step; sides, steps: from how many it is seen;
/// - then: share of its looks beyond which comes a tone that touches steps elsewhere; preceded: length of
///   looks (6 mm and up count alike) where another light tone lies before it;
/// - width: half of its own width in millimetres, at most 2; size: log of the border that it is
///   seen from, in centimetres; scatter: of its tone, in hundredths of a density.
pub type Evidence = [f64; KINDS];

/// Everything that evidence is taken from.
pub(super) struct Seen<'a> {
    pub looks: &'a [Look],
    pub plateaus: &'a [Plateau],
    pub candidates: &'a [Candidate],
    pub toe: &'a Toe,
    /// Tones of the steps.
    pub steps: &'a [Tone],
    /// Tone of the scan's rim.
    pub rim: Tone,
}

impl Seen<'_> {
    /// The evidence of every candidate.
    pub fn evidence(&self) -> Vec<Evidence> {
        let first = |candidate: &Candidate| {
            let all = candidate.plateaus.iter();
            all.filter(|&&index| self.plateaus[index].rank == 0).count()
        };
        let firsts: Vec<usize> = self.candidates.iter().map(first).collect();
        let all_first = self.plateaus.iter().filter(|p| p.rank == 0).count();
        let follows = self.follows();
        let line = self.colour_line();
        (0..self.candidates.len())
            .map(|index| self.of(index, &firsts, all_first.max(1), &follows, line))
            .collect()
    }

    /// Millimetres of looks that show one candidate first and another next.
    fn follows(&self) -> BTreeMap<(usize, usize), f64> {
        let mut owner = vec![None; self.plateaus.len()];
        for (index, candidate) in self.candidates.iter().enumerate() {
            candidate
                .plateaus
                .iter()
                .for_each(|&p| owner[p] = Some(index));
        }
        let mut first = vec![None; self.looks.len()];
        let mut next = vec![None; self.looks.len()];
        for (plateau, owner) in self.plateaus.iter().zip(owner) {
            match plateau.rank {
                0 => first[plateau.look] = owner,
                1 => next[plateau.look] = owner,
                _ => {}
            }
        }
        let mut follows = BTreeMap::new();
        for (a, b) in first.into_iter().zip(next) {
            if let (Some(a), Some(b)) = (a, b)
                && a != b
            {
                *follows.entry((a, b)).or_insert(0.0) += GROUP;
            }
        }
        follows
    }

    /// Red and blue less green along the lighter half of the steps: offset and slope by density.
    fn colour_line(&self) -> [(f64, f64); 2] {
        let mut order: Vec<&Tone> = self.steps.iter().collect();
        order.sort_by(|a, b| a[0].total_cmp(&b[0]));
        order.truncate((self.steps.len() / 2).max(3));
        let count = order.len().max(1) as f64;
        [1, 3].map(|channel: usize| {
            let x = |tone: &Tone| f64::from(tone[0]) - self.toe.lightest;
            let y = |tone: &Tone| f64::from(tone[channel] - tone[2]);
            let (mx, my) = (
                order.iter().map(|t| x(t)).sum::<f64>() / count,
                order.iter().map(|t| y(t)).sum::<f64>() / count,
            );
            let cross: f64 = order.iter().map(|t| (x(t) - mx) * (y(t) - my)).sum();
            let square: f64 = order.iter().map(|t| (x(t) - mx).powi(2)).sum();
            let slope = if square > 1e-9 { cross / square } else { 0.0 };
            (my - slope * mx, slope)
        })
    }

    fn of(
        &self,
        index: usize,
        firsts: &[usize],
        all_first: usize,
        follows: &BTreeMap<(usize, usize), f64>,
        line: [(f64, f64); 2],
    ) -> Evidence {
        let candidate = &self.candidates[index];
        let own: Vec<&Plateau> = candidate
            .plateaus
            .iter()
            .map(|&p| &self.plateaus[p])
            .collect();
        let first: Vec<&Plateau> = own.iter().copied().filter(|p| p.rank == 0).collect();
        let count = own.len().max(1) as f64;
        let share_of =
            |what: &dyn Fn(&Plateau) -> bool| own.iter().filter(|p| what(p)).count() as f64 / count;
        let density = candidate.density();
        let lightest = self.toe.lightest;
        let first_mm = (firsts[index] as f64 * GROUP).max(GROUP);
        let touches = |other: usize| firsts[other] as f64 * GROUP > 4.0;
        let then: f64 = follows
            .iter()
            .filter(|&(&(a, b), _)| a == index && touches(b))
            .map(|(_, mm)| mm)
            .sum();
        let light = |other: usize| self.candidates[other].density() < lightest + 0.02;
        let before = follows
            .iter()
            .filter(|&(&(a, b), _)| b == index && light(a))
            .map(|(_, mm)| *mm)
            .fold(0.0, f64::max);
        let mut widths: Vec<f64> = first.iter().filter_map(|p| Some(p.edge?.0)).collect();
        let edge = median(&mut widths);
        let wobble = self.raggedness(&first, |p| Some(p.edge?.1));
        let outer: Vec<&Plateau> = own.iter().copied().filter(|p| !p.open && !p.gap).collect();
        let rag = self.raggedness(&outer, |p| Some(p.to));
        let lid = (1..4)
            .map(|c| f64::from((candidate.tone[c] - self.rim[c]).abs()))
            .fold(0.0, f64::max);
        let colour: f64 = [1usize, 3]
            .into_iter()
            .zip(line)
            .map(|(channel, (offset, slope))| {
                let off = f64::from(candidate.tone[channel] - candidate.tone[2])
                    - (offset + slope * (density - lightest));
                (off / 0.012).powi(2)
            })
            .sum();
        let mut lengths: Vec<f64> = own.iter().map(|p| p.to - p.from).collect();
        let length = median(&mut lengths).unwrap_or(0.0);
        let seen_from = |what: &dyn Fn(&Look) -> usize| {
            let all = own.iter().map(|p| what(&self.looks[p.look]));
            all.collect::<BTreeSet<usize>>().len() as f64
        };
        [
            self.toe.ln_odds(density).clamp(-4.0, 3.0),
            ((density - lightest - 0.006).max(0.0) / 0.01).min(5.0),
            ((first.len() + 1) as f64 / (all_first + 2) as f64).ln(),
            share_of(&|p| p.rank == 0 && !p.open),
            share_of(&|p| p.rank > 0),
            share_of(&|p| p.open),
            edge.map_or(0.0, |mm| ((mm - 0.35) / 0.4).clamp(-0.5, 2.0)),
            wobble.map_or(0.0, |mm| ((mm - 0.12) / 0.15).clamp(-0.7, 2.0)),
            rag.map_or(0.0, |mm| ((mm - 0.12) / 0.2).clamp(-0.5, 2.0)),
            (-0.5 * (lid / 0.014).powi(2)).exp(),
            colour.min(9.0) / 2.0,
            share_of(&|p| p.gap),
            seen_from(&|look| look.border) / 4.0,
            seen_from(&|look| look.step) / self.steps.len().max(1) as f64,
            (then / first_mm).min(1.0),
            (before / 6.0).min(1.0),
            (length / 2.0).min(2.0),
            (candidate.border / 10.0).ln(),
            (candidate.scatter / 0.01).min(2.0),
        ]
    }

    /// Robust scatter of a place along its border about a straight line, millimetres: the median
    /// over all borders with five looks or more.
    fn raggedness(
        &self,
        plateaus: &[&Plateau],
        place: impl Fn(&Plateau) -> Option<f64>,
    ) -> Option<f64> {
        let mut borders: BTreeMap<(usize, usize), Vec<(f64, f64)>> = BTreeMap::new();
        for plateau in plateaus {
            let look = &self.looks[plateau.look];
            if let Some(at) = place(plateau) {
                let border = borders.entry((look.step, look.border)).or_default();
                border.push((look.along, at));
            }
        }
        let mut scatters: Vec<f64> = borders
            .values()
            .filter(|border| border.len() >= 5)
            .filter_map(|border| {
                let count = border.len() as f64;
                let mean = |of: fn(&(f64, f64)) -> f64| border.iter().map(of).sum::<f64>() / count;
                let (mx, my) = (mean(|p| p.0), mean(|p| p.1));
                let cross: f64 = border.iter().map(|p| (p.0 - mx) * (p.1 - my)).sum();
                let square: f64 = border.iter().map(|p| (p.0 - mx).powi(2)).sum();
                let slope = cross / square.max(1e-9);
                let away = border.iter().map(|p| p.1 - my - slope * (p.0 - mx));
                let mut away: Vec<f64> = away.collect();
                median_and_spread(&mut away).map(|(_, spread)| spread)
            })
            .collect();
        median(&mut scatters)
    }
}
