//! Plateaus of one tone are one candidate, wherever they lie.

use super::looks::{GROUP, Look};
use super::plane::Tone;
use super::plateaus::Plateau;
use crate::measure::reading::robust::{median, median_and_spread};

/// Plateaus of neighbouring looks are one where every channel is nearer than this, density,
const CHAIN: f64 = 0.012;
/// and where they overlap by this much, millimetres.
const OVERLAP: f64 = 0.5;
/// Looks as far apart as this many groups are neighbours.
const NEIGHBOURS: f64 = 1.8;
/// Groups nearer in tone than this (or than the texture) are one candidate, density.
const ALIKE: f64 = 0.010;
/// Groups as near as this are one too, unless the looks show an edge between them: fog and stain
/// would split one coat into rivals.
const NO_EDGE: f64 = 0.022;
/// Share of the smaller group's looks that must show an edge for there to be one.
const EDGE_SHARE: f64 = 0.2;
/// Least border of a candidate, millimetres.
const LEAST: f64 = 2.0;
/// Standard error that every tone has, density.
const FLOOR: f64 = 0.0035;
/// Length of border that counts as one independent look, millimetres.
const INDEPENDENT: f64 = 6.0;

/// Plateaus of one tone.
#[derive(Debug, Clone)]
pub(super) struct Candidate {
    /// Places in the list of plateaus.
    pub plateaus: Vec<usize>,
    /// Median tone.
    pub tone: Tone,
    /// Robust standard deviation over its plateaus, density.
    pub scatter: f64,
    /// Standard error of its density.
    pub error: f64,
    /// Length of border that it is seen from, millimetres.
    pub border: f64,
}

impl Candidate {
    /// Its density.
    pub fn density(&self) -> f64 {
        f64::from(self.tone[0])
    }
}

fn apart(a: &Tone, b: &Tone) -> f64 {
    let channels = a.iter().zip(b).skip(1);
    f64::from(channels.fold(0f32, |most, (a, b)| most.max((a - b).abs())))
}

fn middle(plateaus: &[Plateau], group: &[usize]) -> Tone {
    std::array::from_fn(|channel| {
        let tones = group.iter().map(|&index| plateaus[index].tone[channel]);
        let mut tones: Vec<f64> = tones.map(f64::from).collect();
        median(&mut tones).unwrap_or(0.0) as f32
    })
}

/// Groups the plateaus; `texture` is that of the coat over a millimetre, density.
pub(super) fn candidates(plateaus: &[Plateau], looks: &[Look], texture: f64) -> Vec<Candidate> {
    let groups = chained(plateaus, looks);
    let groups = joined(plateaus, groups, ALIKE.max(texture), None);
    let ranks = ranks(plateaus, looks);
    let groups = joined(plateaus, groups, NO_EDGE, Some(&ranks));
    groups
        .into_iter()
        .filter(|group| group.len() as f64 * GROUP >= LEAST)
        .map(|group| candidate(plateaus, looks, group))
        .collect()
}

/// Chains along each border.
fn chained(plateaus: &[Plateau], looks: &[Look]) -> Vec<Vec<usize>> {
    let mut root: Vec<usize> = (0..plateaus.len()).collect();
    fn find(root: &mut [usize], mut index: usize) -> usize {
        while root[index] != index {
            root[index] = root[root[index]];
            index = root[index];
        }
        index
    }
    for (i, a) in plateaus.iter().enumerate() {
        let here = &looks[a.look];
        for (j, b) in plateaus.iter().enumerate().skip(i + 1).take(9) {
            let there = &looks[b.look];
            let along = there.along - here.along;
            let one_border = (here.step, here.border) == (there.step, there.border);
            let near = along > 0.0 && along < NEIGHBOURS * GROUP;
            let overlap = a.to.min(b.to) - a.from.max(b.from);
            if one_border && near && overlap > OVERLAP && apart(&a.tone, &b.tone) < CHAIN {
                let (from, to) = (find(&mut root, i), find(&mut root, j));
                root[from] = to;
            }
        }
    }
    let mut groups: Vec<Vec<usize>> = vec![Vec::new(); plateaus.len()];
    for index in 0..plateaus.len() {
        groups[find(&mut root, index)].push(index);
    }
    groups.retain(|group| !group.is_empty());
    groups
}

/// For each look, its plateaus by rank.
fn ranks(plateaus: &[Plateau], looks: &[Look]) -> Vec<Vec<usize>> {
    let mut ranks = vec![Vec::new(); looks.len()];
    for (index, plateau) in plateaus.iter().enumerate() {
        ranks[plateau.look].push(index);
    }
    ranks
}

/// Joins the two groups nearest in tone again and again; with `ranks`, only where hardly a look
/// shows an edge between them.
fn joined(
    plateaus: &[Plateau],
    mut groups: Vec<Vec<usize>>,
    nearer: f64,
    ranks: Option<&[Vec<usize>]>,
) -> Vec<Vec<usize>> {
    let mut tones: Vec<Tone> = groups.iter().map(|g| middle(plateaus, g)).collect();
    loop {
        let edges = ranks.map(|ranks| edges(plateaus.len(), &groups, ranks));
        let mut best: Option<(f64, usize, usize)> = None;
        for i in 0..groups.len() {
            for j in i + 1..groups.len() {
                let away = apart(&tones[i], &tones[j]);
                if away >= best.map_or(nearer, |best| best.0) {
                    continue;
                }
                let smaller = groups[i].len().min(groups[j].len()) as f64;
                let edge = edges
                    .as_ref()
                    .map_or(0, |edges| edges[i * groups.len() + j]);
                if f64::from(edge) <= EDGE_SHARE * smaller {
                    best = Some((away, i, j));
                }
            }
        }
        let Some((_, i, j)) = best else { return groups };
        let other = groups.remove(j);
        tones.remove(j);
        groups[i].extend(other);
        tones[i] = middle(plateaus, &groups[i]);
    }
}

/// How many looks show each pair of groups one after the other.
fn edges(plateaus: usize, groups: &[Vec<usize>], ranks: &[Vec<usize>]) -> Vec<u32> {
    let count = groups.len();
    let mut of = vec![usize::MAX; plateaus];
    for (index, group) in groups.iter().enumerate() {
        group.iter().for_each(|&plateau| of[plateau] = index);
    }
    let mut edges = vec![0u32; count * count];
    for pair in ranks.iter().flat_map(|look| look.windows(2)) {
        let (a, b) = (of[pair[0]], of[pair[1]]);
        edges[a * count + b] += 1;
        edges[b * count + a] += 1;
    }
    edges
}

fn candidate(plateaus: &[Plateau], looks: &[Look], group: Vec<usize>) -> Candidate {
    let tone = middle(plateaus, &group);
    let density = |&index: &usize| f64::from(plateaus[index].tone[0]);
    let mut levels: Vec<f64> = group.iter().map(density).collect();
    let scatter = median_and_spread(&mut levels).map_or(0.0, |(_, spread)| spread);
    let mut sides: [Vec<f64>; 4] = Default::default();
    for index in &group {
        sides[looks[plateaus[*index].look].border].push(density(index));
    }
    let sides: Vec<f64> = sides
        .iter_mut()
        .filter(|side| side.len() > 3)
        .filter_map(|side| median(side))
        .collect();
    let spread = deviation(&sides);
    let border = group.len() as f64 * GROUP;
    let independent = (border / INDEPENDENT).max(1.0);
    let variance = scatter.powi(2) / independent + FLOOR.powi(2) + (0.5 * spread).powi(2);
    Candidate {
        plateaus: group,
        tone,
        scatter,
        error: variance.sqrt(),
        border,
    }
}

/// Standard deviation of a few values; 0 of fewer than two.
fn deviation(values: &[f64]) -> f64 {
    if values.len() < 2 {
        return 0.0;
    }
    let count = values.len() as f64;
    let mean = values.iter().sum::<f64>() / count;
    (values.iter().map(|v| (v - mean).powi(2)).sum::<f64>() / count).sqrt()
}
