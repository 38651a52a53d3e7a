//! Which candidates are the strips and wedges that the session describes.

use super::again::Fields;
use super::assigning::assign;
use super::candidate::{BY_HAND, BY_MACHINE, Candidate, Counts};
use super::exposing::agreement;
use super::layout::{Made, layout, numbering};
use super::likeness;
use super::posterior::Reading;
use super::report;
use super::shape::shape;
use super::steps::Steps;
use super::view::View;
use super::{Alternative, Found, Located, Seen, Wanted};
use crate::measure::geometry::{Point, StripShape};

/// Counts of steps that are tried when the session doesn't say.
const ANY_COUNT: std::ops::RangeInclusive<usize> = 3..=24;
/// Score from which a refined lane may be a strip at all.
const LEAST_SCORE: f64 = 6.0;
/// Share of a candidate's area that may lie over a better one.
const MOST_OVERLAP: f64 = 0.15;

/// The counts of fields to try for: those of the strips that are described, outlined by a
/// person or not.
pub(super) fn counts(wanted: &Wanted) -> Counts {
    let mut strips: Vec<usize> = vec![];
    let mut any = wanted.strips.is_empty();
    for strip in &wanted.strips {
        match &strip.log_exposures {
            Some(exposures) => strips.push(exposures.len()),
            None => any = true,
        }
    }
    if any || strips.is_empty() {
        strips.extend(ANY_COUNT);
    }
    strips.sort_unstable();
    strips.dedup();
    strips.retain(|&count| count > 0);
    Counts {
        strips,
        wedge: wanted.wedge.as_ref().map(|wedge| wedge.densities.len()),
    }
}

/// One candidate as one thing.
pub(super) struct Thing<'a> {
    pub candidate: &'a Candidate,
    /// All ways to read it, likeliest first: at least one.
    readings: Vec<Alternative>,
    /// The likeliest.
    pub shape: StripShape,
    score: f64,
}

/// Assigns candidates to what is wanted.
pub(super) fn select(seen: &[&Seen], wanted: &Wanted) -> Found {
    let mut found = Found::default();
    let views: Vec<&View> = seen.iter().map(|seen| &seen.view).collect();
    let open_wedge = wanted.wedge.as_ref().filter(|wedge| wedge.given.is_none());
    let mut things: Vec<Thing<'_>> = vec![];
    let mut wedges: Vec<Thing<'_>> = vec![];
    for Seen { view, candidates } in seen {
        for candidate in candidates {
            if let (Some(steps), Some(wedge)) = (&candidate.wedge, open_wedge) {
                let (fit, falling) = likeness(candidate, steps, &wedge.densities);
                if fit > 0.0 {
                    let mut order: Vec<usize> = (0..wedge.densities.len()).collect();
                    if falling {
                        order.reverse();
                    }
                    wedges.push(Thing {
                        score: steps.score + fit,
                        ..thing(view, candidate, steps, Made::ByMachine, &order, None)
                    });
                }
            }
            if let Some((count, steps)) = candidate.likeliest()
                && steps.score > LEAST_SCORE
                && clear_borders(steps) >= 2
            {
                let order = numbering(*count, None);
                things.push(thing(view, candidate, steps, Made::ByHand, &order, None));
            }
        }
    }
    let wedges = apart(wedges, &[]);
    let mut per_scan: Vec<Thing<'_>> = vec![];
    for wedge in wedges {
        if !per_scan
            .iter()
            .any(|other| other.shape.scan == wedge.shape.scan)
        {
            per_scan.push(wedge);
        }
    }
    let taken: Vec<StripShape> = per_scan
        .iter()
        .map(|wedge| wedge.shape.clone())
        .chain(wanted.strips.iter().filter_map(|strip| strip.given.clone()))
        .chain(wanted.wedge.iter().filter_map(|wedge| wedge.given.clone()))
        .collect();
    let mut strips = apart(things, &taken);
    in_reading_order(&mut strips);
    found.wedges = per_scan.iter().map(|wedge| located(wedge)).collect();
    found
        .wedges
        .extend(wanted.wedge.iter().filter_map(|wedge| given(&wedge.given)));
    assign(&views, strips, wanted, &mut found);
    report::report(&mut found, wanted);
    found
}

pub(super) fn given(shape: &Option<StripShape>) -> Option<Located> {
    shape
        .as_ref()
        .map(|shape| Located::only(shape.clone(), 1.0))
}

pub(super) fn located(thing: &Thing<'_>) -> Located {
    Located {
        shape: thing.shape.clone(),
        confidence: thing.readings.first().map_or(0.0, |reading| reading.chance),
        readings: thing.readings.clone(),
    }
}

/// Borders between fields that are beyond doubt.
fn clear_borders(steps: &Steps) -> usize {
    let inner = &steps.evidence[1..steps.evidence.len() - 1];
    inner.iter().filter(|z| **z > 4.0).count()
}

pub(super) fn thing<'a>(
    view: &View,
    candidate: &'a Candidate,
    steps: &Steps,
    made: Made,
    order: &[usize],
    exposures: Option<&[f64]>,
) -> Thing<'a> {
    let pattern = match made {
        Made::ByHand => BY_HAND,
        Made::ByMachine => BY_MACHINE,
    };
    let near = candidate.near(steps, pattern);
    let chances = weighed(view.scan, candidate, &near, order, exposures);
    let as_read = |(reading, chance): (&Reading, f64)| {
        let layout = layout(candidate, reading, made, order);
        Alternative {
            shape: shape(view.scan, &candidate.lane, &layout, view.step),
            chance,
        }
    };
    let mut readings: Vec<Alternative> = near.iter().zip(chances).map(as_read).collect();
    readings.sort_by(|a, b| b.chance.total_cmp(&a.chance));
    Thing {
        candidate,
        shape: readings[0].shape.clone(),
        readings,
        score: steps.score,
    }
}

/// Chances of readings once the exposures have had their say. What no reading accounts for stays
/// what it is.
fn weighed(
    scan: usize,
    candidate: &Candidate,
    readings: &[Reading],
    order: &[usize],
    exposures: Option<&[f64]>,
) -> Vec<f64> {
    let as_they_lie = || readings.iter().map(|reading| reading.chance).collect();
    let exposures = exposures.filter(|exposures| exposures.len() == order.len());
    let Some(exposures) = exposures.filter(|_| readings.len() > 1) else {
        return as_they_lie();
    };
    let ascending: Vec<f64> = order.iter().map(|&step| exposures[step]).collect();
    let agreements: Vec<f64> = readings
        .iter()
        .map(|reading| {
            let fields = Fields::of(scan, candidate, &reading.steps);
            agreement(&fields.levels, &ascending)
        })
        .collect();
    let most = agreements.iter().copied().fold(f64::NEG_INFINITY, f64::max);
    let weights: Vec<f64> = readings
        .iter()
        .zip(&agreements)
        .map(|(reading, agreement)| reading.chance * (agreement - most).exp())
        .collect();
    let named: f64 = readings.iter().map(|reading| reading.chance).sum();
    let total: f64 = weights.iter().sum();
    if total <= 0.0 {
        return as_they_lie();
    }
    weights
        .iter()
        .map(|weight| weight * named / total)
        .collect()
}

/// How well the levels of a lane follow a wedge's densities, and whether the list falls where the
/// lane gets darker.
fn likeness(candidate: &Candidate, steps: &Steps, densities: &[f64]) -> (f64, bool) {
    let levels: Vec<f64> = steps
        .borders
        .windows(2)
        .map(|pair| {
            let inset = (pair[1] - pair[0]) * 0.2;
            candidate.sums.level(pair[0] + inset, pair[1] - inset)
        })
        .collect();
    likeness::likeness(&levels, densities)
}

/// The best things that don't lie over one another or over what is taken.
fn apart<'a>(mut things: Vec<Thing<'a>>, taken: &[StripShape]) -> Vec<Thing<'a>> {
    things.sort_by(|a, b| b.score.total_cmp(&a.score));
    let mut kept: Vec<Thing<'a>> = vec![];
    for thing in things {
        let clear = kept
            .iter()
            .map(|other| &other.shape)
            .chain(taken)
            .all(|other| {
                other.scan != thing.shape.scan
                    || (overlap(&thing.shape, other) < MOST_OVERLAP
                        && overlap(other, &thing.shape) < MOST_OVERLAP)
            });
        if clear {
            kept.push(thing);
        }
    }
    kept
}

/// Share of the exposed part of one shape that lies inside another.
fn overlap(one: &StripShape, other: &StripShape) -> f64 {
    let (mut inside, mut all) = (0usize, 0usize);
    for i in 0..24 {
        for j in 0..8 {
            let place = one.on_scan((f64::from(i) + 0.5) / 24.0, (f64::from(j) + 0.5) / 8.0);
            all += 1;
            inside += usize::from(holds(other, place));
        }
    }
    inside as f64 / all as f64
}

fn holds(shape: &StripShape, place: Point) -> bool {
    let corners = &shape.corners;
    let side = |a: Point, b: Point| (b.x - a.x) * (place.y - a.y) - (b.y - a.y) * (place.x - a.x);
    let signs: Vec<bool> = (0..4)
        .map(|i| side(corners[i], corners[(i + 1) % 4]) > 0.0)
        .collect();
    signs.iter().all(|&s| s) || signs.iter().all(|&s| !s)
}

/// Scan by scan, rows from the top, then from the left.
fn in_reading_order(things: &mut Vec<Thing<'_>>) {
    let middle = |shape: &StripShape| shape.on_scan(0.5, 0.5);
    let height = |shape: &StripShape| {
        let ys = shape.corners.map(|corner| corner.y);
        let top = ys.iter().copied().fold(f64::INFINITY, f64::min);
        let bottom = ys.iter().copied().fold(f64::NEG_INFINITY, f64::max);
        (top, bottom)
    };
    things.sort_by(|a, b| {
        let key = |t: &Thing<'_>| (t.shape.scan, middle(&t.shape).y);
        key(a).0.cmp(&key(b).0).then(key(a).1.total_cmp(&key(b).1))
    });
    // A row is a run whose middles lie within the height of its first.
    let mut row_of = vec![0usize; things.len()];
    let mut row_start = 0;
    for index in 1..things.len() {
        let (top, bottom) = height(&things[row_start].shape);
        let y = middle(&things[index].shape).y;
        let same_scan = things[index].shape.scan == things[row_start].shape.scan;
        row_of[index] = row_of[index - 1];
        if !(same_scan && y > top && y < bottom) {
            row_of[index] += 1;
            row_start = index;
        }
    }
    let mut rows: Vec<(usize, Thing<'_>)> = row_of.into_iter().zip(things.drain(..)).collect();
    rows.sort_by(|a, b| {
        a.0.cmp(&b.0)
            .then(middle(&a.1.shape).x.total_cmp(&middle(&b.1.shape).x))
    });
    things.extend(rows.into_iter().map(|(_, thing)| thing));
}
