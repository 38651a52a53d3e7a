//! Even tones along a look: what lies beyond the soft edge of a step.

use super::looks::{End, Look, PITCH};
use super::plane::Tone;
use crate::measure::reading::robust::median;

/// Fewest samples of a constant piece: half a millimetre.
const LEAST_PIECE: usize = 4;
/// What a cut costs, in squares of the texture over a millimetre. Pixel noise is far too small a
/// measure here and shatters plateaus.
const CUT: f64 = 72.0;
/// Neighbouring pieces are one tone when they differ by less than this, density (or than this
/// many times the texture),
const ONE_TONE: (f64, f64) = (0.009, 1.2);
/// or by less than this without a jump where they meet: fog and stain rise slowly, edges don't.
const SLOPING: f64 = 0.03;
/// Share of their difference that counts as a jump.
const JUMP: f64 = 0.5;
/// Least length of a plateau, millimetres.
const LEAST_LENGTH: f64 = 0.75;
/// Where it must have come to at least, millimetres outside the border.
const LEAST_REACH: f64 = 0.3;
/// Most that it may change over its length, or over this many millimetres of it.
const EVEN: (f64, f64) = (0.03, 2.0);
/// Its tone comes from what lies beyond this share of it: light creeps under a mask.
pub(super) const INNER_SHARE: f64 = 0.3;
/// The step's own tone, or its neighbour's, is no plateau: density.
const OWN_TONE: f64 = 0.03;
/// Most plateaus of one look that are told apart.
const MOST: usize = 4;
/// Least difference from the step at which its edge can be looked at, density.
const SHOWS_EDGE: f64 = 0.10;
/// How near the end of sight a plateau must go to be open, millimetres.
const OPEN: f64 = 0.6;

/// One even tone along a look.
#[derive(Debug, Clone)]
pub(super) struct Plateau {
    /// Place of its look in the list.
    pub look: usize,
    /// 0 is the first beyond the step, and so on.
    pub rank: usize,
    /// From where to where, millimetres outside the border.
    pub from: f64,
    pub to: f64,
    pub tone: Tone,
    /// Goes on to the end of sight with nothing behind it.
    pub open: bool,
    /// Ends at another step.
    pub gap: bool,
    /// Width of the step's edge before it and where the middle of that lies, millimetres.
    pub edge: Option<(f64, f64)>,
}

/// Texture over a millimetre as the looks see it beyond the first three, density.
pub(super) fn texture(looks: &[Look]) -> f64 {
    let lag = (1.0 / PITCH) as usize;
    let mut changes: Vec<f64> = Vec::new();
    for look in looks {
        for sample in 0..look.tones.len().saturating_sub(lag) {
            if look.distance(sample + lag) > 3.0 {
                let change = look.tones[sample + lag][0] - look.tones[sample][0];
                changes.push(f64::from(change.abs()));
            }
        }
    }
    changes.retain(|&change| change > 0.0);
    if changes.len() <= 50 {
        return 0.006;
    }
    let middle = median(&mut changes).unwrap_or(0.006);
    (middle / 0.6745 / 1.414).clamp(0.003, 0.02)
}

/// The plateaus of one look. `own` is the step's tone, `neighbours` are the densities of the steps
/// beside it.
pub(super) fn plateaus(
    (index, look): (usize, &Look),
    own: &Tone,
    neighbours: &[f64],
    texture: f64,
) -> Vec<Plateau> {
    let densities = look.densities();
    let count = densities.len();
    let end = look.distance(count - 1);
    let mut found: Vec<(usize, Plateau)> = Vec::new();
    for (from, to) in joined(&densities, &pieces(&densities, texture), texture) {
        let length = (to - from) as f64 * PITCH;
        if length < LEAST_LENGTH || look.distance(to - 1) < LEAST_REACH {
            continue;
        }
        if slope(&densities[from..to]).abs() / PITCH * length.min(EVEN.1) > EVEN.0 + texture {
            continue;
        }
        let first = from + (INNER_SHARE * (to - from) as f64) as usize;
        let past = to.saturating_sub(2).max(first + 3).min(count);
        let tone: Tone = std::array::from_fn(|channel| {
            let mut all: Vec<f32> = look.tones[first..past]
                .iter()
                .map(|tone| tone[channel])
                .collect();
            let half = all.len() / 2;
            *all.select_nth_unstable_by(half, f32::total_cmp).1
        });
        if from == 0 && f64::from((tone[0] - own[0]).abs()) < OWN_TONE {
            continue;
        }
        let plateau = Plateau {
            look: index,
            rank: found.len(),
            from: look.distance(from),
            to: look.distance(to - 1),
            tone,
            open: false,
            gap: false,
            edge: None,
        };
        found.push((from, plateau));
    }
    if let Some((from, first)) = found.first_mut() {
        first.edge = edge(look, &densities[..(*from + 3).min(count)], own, &first.tone);
    }
    if let Some((_, last)) = found.last_mut() {
        last.open = matches!(look.end, End::Far | End::Scan) && last.to > end - OPEN;
        last.gap = look.end == End::Step;
        let slip = |&density: &f64| (f64::from(last.tone[0]) - density).abs() < OWN_TONE;
        if last.gap && neighbours.iter().any(slip) {
            // A slip of the neighbour's own tone is no gap.
            found.pop();
        }
    }
    found
        .into_iter()
        .map(|(_, plateau)| plateau)
        .take(MOST)
        .collect()
}

/// Best cut of a profile into constant pieces, by dynamic programming: borders, ascending.
fn pieces(densities: &[f64], texture: f64) -> Vec<usize> {
    let count = densities.len();
    let cost_of_cut = CUT * texture * texture;
    let (mut sum, mut square) = (vec![0.0; count + 1], vec![0.0; count + 1]);
    for (index, &density) in densities.iter().enumerate() {
        sum[index + 1] = sum[index] + density;
        square[index + 1] = square[index] + density * density;
    }
    let shares: Vec<f64> = (0..=count).map(|n| 1.0 / n.max(1) as f64).collect();
    let mut best = vec![f64::INFINITY; count + 1];
    let mut before = vec![0usize; count + 1];
    best[0] = -cost_of_cut;
    for to in LEAST_PIECE..=count {
        let mut least = f64::INFINITY;
        for from in 0..=to - LEAST_PIECE {
            let total = sum[to] - sum[from];
            let cost = best[from] + square[to] - square[from] - total * total * shares[to - from];
            if cost < least {
                least = cost;
                before[to] = from;
            }
        }
        best[to] = least + cost_of_cut;
    }
    let mut cuts = vec![count];
    let mut at = count;
    while at > 0 {
        at = before[at];
        cuts.push(at);
    }
    cuts.reverse();
    cuts
}

/// Joins neighbouring pieces of nearly one tone, and slopes without a jump.
fn joined(densities: &[f64], cuts: &[usize], texture: f64) -> Vec<(usize, usize)> {
    let mut parts: Vec<(usize, usize)> = cuts.windows(2).map(|cut| (cut[0], cut[1])).collect();
    let mean = |from: usize, to: usize| {
        let part = &densities[from.min(to)..to];
        part.iter().sum::<f64>() / part.len() as f64
    };
    let mut index = 0;
    while index + 1 < parts.len() {
        let ((from, cut), (_, to)) = (parts[index], parts[index + 1]);
        let apart = mean(from, cut) - mean(cut, to);
        let before = mean(cut.saturating_sub(6), cut.saturating_sub(2).max(1));
        let after = mean((cut + 2).min(to), (cut + 6).min(densities.len()));
        let jump = (before - after) * apart.signum();
        let alike = apart.abs() < ONE_TONE.0.max(ONE_TONE.1 * texture);
        if alike || (apart.abs() < SLOPING && jump < JUMP * apart.abs()) {
            parts[index].1 = to;
            parts.remove(index + 1);
            index = index.saturating_sub(1);
        } else {
            index += 1;
        }
    }
    parts
}

/// Slope of a straight line through values one apart.
fn slope(values: &[f64]) -> f64 {
    if values.len() <= 4 {
        return 0.0;
    }
    let half = (values.len() as f64 - 1.0) / 2.0;
    let (mut cross, mut square) = (0.0, 0.0);
    for (index, value) in values.iter().enumerate() {
        let away = index as f64 - half;
        cross += away * value;
        square += away * away;
    }
    cross / square
}

/// Width (from four fifths of the way to a seventh) and middle of the edge between a step and the
/// plateau beyond it.
fn edge(look: &Look, densities: &[f64], own: &Tone, beyond: &Tone) -> Option<(f64, f64)> {
    let (step, plateau) = (f64::from(own[0]), f64::from(beyond[0]));
    if (step - plateau).abs() <= SHOWS_EDGE || densities.len() <= 3 {
        return None;
    }
    let below = |share: f64| {
        let at = densities
            .iter()
            .position(|density| (density - plateau) / (step - plateau) < share)?;
        Some(look.distance(at))
    };
    Some((below(0.15)? - below(0.8)?, below(0.5)?))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_profile_is_cut_where_its_tone_jumps() {
        let mut profile = vec![0.9; 12];
        profile.extend([0.1; 20]);
        profile.extend([0.05; 30]);
        assert_eq!(pieces(&profile, 0.003), [0, 12, 32, 62]);
    }

    #[test]
    fn a_slow_rise_of_fog_is_one_plateau_and_an_edge_of_the_same_height_is_two() {
        let fog: Vec<f64> = (0..80)
            .map(|i| 0.10 + 0.025 * f64::from(i) / 80.0)
            .collect();
        assert_eq!(joined(&fog, &pieces(&fog, 0.003), 0.003).len(), 1);
        let edge: Vec<f64> = (0..80).map(|i| if i < 40 { 0.10 } else { 0.125 }).collect();
        assert_eq!(joined(&edge, &pieces(&edge, 0.003), 0.003).len(), 2);
    }
}
