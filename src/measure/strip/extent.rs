//! How far a strip reaches to both sides: as far as its steps do.
//!
//! A step's border shows across the whole strip and nowhere else, be the coat lighter or
//! darker than what it lies on. So each clear border tells where both long sides are.

use super::lane::{Lane, median};
use super::view::View;

/// Standard errors from which a border tells anything.
const CLEAR: f64 = 4.0;
/// Least difference of density across a border that tells anything.
const LEAST_RISE: f64 = 0.025;
/// Differences beyond this show the sides no better.
const WEIGHTY_RISE: f64 = 0.15;
/// How far out a side is looked for, in half widths of the lane.
const REACH: f64 = 2.6;
/// Where a border has been gone for this share of a field's width, the strip has ended; what
/// shows farther out is another strip's.
const GONE: f64 = 0.2;
/// Places along, on each side of a border.
const COLUMNS: usize = 8;

/// A border along a lane as far as it is needed here: its place in lane coordinates and its
/// evidence in standard errors.
pub(super) type Seen = (f64, f64);

/// A lane with its sides where the borders end. `unit` is the width of a field. Without
/// enough clear borders the lane stays as it is.
pub(super) fn fitted(view: &View, lane: &Lane, borders: &[Seen], unit: f64) -> Lane {
    let reaches: Vec<Reach> = borders
        .iter()
        .filter(|(_, evidence)| evidence.abs() >= CLEAR)
        .filter_map(|&(at, _)| reach(view, lane, at, unit))
        .collect();
    if reaches.len() < 2 {
        return *lane;
    }
    let mut slopes: Vec<(f64, f64)> = vec![];
    for (index, a) in reaches.iter().enumerate() {
        for b in &reaches[index + 1..] {
            let apart = b.at - a.at;
            if apart.abs() > 1.5 * unit {
                let weight = apart.abs() * a.weight.min(b.weight);
                slopes.push(((b.left - a.left) / apart, weight));
                slopes.push(((b.right - a.right) / apart, weight));
            }
        }
    }
    let slope = weighted_median(&mut slopes).unwrap_or(0.0);
    let offset = |side: fn(&Reach) -> f64| {
        let mut offsets: Vec<(f64, f64)> = reaches
            .iter()
            .map(|r| (side(r) - slope * r.at, r.weight))
            .collect();
        weighted_median(&mut offsets)
    };
    let (Some(left), Some(right)) = (offset(|r| r.left), offset(|r| r.right)) else {
        return *lane;
    };
    let turn = slope.atan();
    let half_width = (right - left) / 2.0 * turn.cos();
    if half_width < 0.3 * lane.half_width {
        return *lane;
    }
    Lane {
        origin: lane.place(0.0, (left + right) / 2.0),
        angle: lane.angle + turn,
        half_width,
        ..*lane
    }
}

/// How far a border reaches to the left and to the right of the middle line.
struct Reach {
    at: f64,
    left: f64,
    right: f64,
    weight: f64,
}

fn reach(view: &View, lane: &Lane, at: f64, unit: f64) -> Option<Reach> {
    let gap = (0.08 * unit).max(1.5);
    let stretch = 0.3 * unit;
    let rise = |across: f64| {
        let mut sum = 0.0;
        for column in 0..COLUMNS {
            let away = gap + stretch * (column as f64 + 0.5) / COLUMNS as f64;
            let before = lane.place(at - away, across);
            let after = lane.place(at + away, across);
            if !view.holds(before) || !view.holds(after) {
                return None;
            }
            sum += f64::from(view.nearest(after) - view.nearest(before));
        }
        Some(sum / COLUMNS as f64)
    };
    let inner = 0.8 * lane.half_width;
    let count = (2.0 * inner) as usize;
    let mut middle: Vec<f64> = (0..=count)
        .filter_map(|index| rise(index as f64 - inner))
        .collect();
    let whole = median(&mut middle);
    if whole.abs() < LEAST_RISE {
        return None;
    }
    // Outward the rise falls from the whole to nothing: the side is where "more than half"
    // turns into "less than half" for good.
    let side = |sign: f64| {
        let (mut sum, mut best, mut best_at) = (0.0, 0.0, 0.0);
        let mut out = 0.5;
        while out < REACH * lane.half_width {
            let Some(rise) = rise(sign * out) else { break };
            sum += (rise / whole).clamp(-0.5, 1.5) - 0.5;
            if sum > best {
                (best, best_at) = (sum, out + 0.5);
            } else if sum < best - 0.5 * GONE * unit {
                break;
            }
            out += 1.0;
        }
        sign * best_at
    };
    Some(Reach {
        at,
        left: side(-1.0),
        right: side(1.0),
        weight: whole.abs().min(WEIGHTY_RISE),
    })
}

/// Weighted median, between the two in the middle where the weights divide evenly.
fn weighted_median(values: &mut [(f64, f64)]) -> Option<f64> {
    values.sort_unstable_by(|a, b| a.0.total_cmp(&b.0));
    let half = values.iter().map(|(_, weight)| weight).sum::<f64>() / 2.0;
    let mut sum = 0.0;
    for (index, &(value, weight)) in values.iter().enumerate() {
        sum += weight;
        if sum > half * (1.0 + 1e-9) {
            return Some(value);
        }
        if sum >= half * (1.0 - 1e-9) {
            let next = values.get(index + 1).map_or(value, |next| next.0);
            return Some((value + next) / 2.0);
        }
    }
    None
}
