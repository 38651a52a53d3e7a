//! What is told of strips that can be read in more than one way.

use super::alternatives::Way;
use super::{PairResult, Question};
use crate::measure::estimate::{End, Estimate, Gap};
use crate::measure::finding::{Finding, Kind, Place, Weight};
use crate::measure::geometry::{Field, Point, StripShape};

/// Most readings that one sentence tells of.
const MOST_TOLD: usize = 4;
/// Places of two readings this near, as a share of a step, are the same.
const SAME_PLACE: f64 = 0.15;
/// Chance of the other readings from which to beware.
const CAUTION: f64 = 0.1;

/// One finding a strip that can be read in more than one way.
pub(super) fn findings(
    question: &Question,
    ways: &[Vec<Way>],
    pairs: &[PairResult],
) -> Vec<Finding> {
    let strips = ways.iter().enumerate();
    strips
        .filter(|(_, ways)| ways.len() > 1)
        .map(|(strip, ways)| finding(question, strip, ways, pairs))
        .collect()
}

fn finding(question: &Question, strip: usize, ways: &[Way], pairs: &[PairResult]) -> Finding {
    let pair = pairs
        .iter()
        .find(|pair| [pair.reference, pair.coupon].contains(&strip) && !pair.readings.is_empty());
    let told: Vec<String> = ways
        .iter()
        .enumerate()
        .take(MOST_TOLD)
        .map(|(number, way)| {
            let gives = pair
                .and_then(|pair| stops(pair, strip, number))
                .map_or_else(String::new, |stops| format!(", which gives {stops}"));
            format!(
                "{} (chance {:.0} %{gives})",
                described(question, way, ways),
                100.0 * way.chance
            )
        })
        .collect();
    let more = match ways.len().saturating_sub(MOST_TOLD) {
        0 => String::new(),
        1 => "; and one more".to_owned(),
        more => format!("; and {more} more"),
    };
    let withheld =
        pair.is_some_and(|pair| pair.answer.stops.lower == End::Open(Gap::UncertainSteps));
    let doubt = 1.0 - ways[0].chance;
    let matters = match (pair, withheld) {
        (_, true) => "The readings lie too far apart for one answer, so none is given.",
        (Some(_), false) => {
            "The answer is the mixture of all readings by their chances, and its bounds hold what \
             they differ by."
        }
        (None, false) => "The strip's densities are those of the likeliest reading.",
    };
    Finding {
        kind: Kind::AmbiguousStrip,
        weight: if withheld || doubt > CAUTION {
            Weight::Caution
        } else {
            Weight::Note
        },
        place: Place {
            area: ways[0].shape.corners.to_vec(),
            ..Place::strip(strip)
        },
        seen: format!(
            "{} can be read in {} ways: {}{more}.",
            name(question, strip),
            ways.len(),
            told.join("; ")
        ),
        matters: matters.to_owned(),
        remedy:
            "Look at the readings on the scan and choose the right one; the session then keeps \
                 it as the strip's shape and its unexposed coat."
                .to_owned(),
    }
}

fn name(question: &Question, strip: usize) -> String {
    let spec = question.strips.get(strip);
    spec.map_or_else(|| format!("Strip {}", strip + 1), |spec| spec.name.clone())
}

/// What the likeliest joint reading with this reading of the strip gives.
fn stops(pair: &PairResult, strip: usize, number: usize) -> Option<String> {
    let joint = pair
        .readings
        .iter()
        .filter(|joint| {
            let own = if pair.reference == strip {
                joint.reference
            } else {
                joint.coupon
            };
            own == number
        })
        .max_by(|a, b| a.chance.total_cmp(&b.chance))?;
    Some(said(&joint.stops))
}

fn said(stops: &Estimate) -> String {
    match stops.value {
        Some(value) if value < 0.0 => format!("{:.2} stops faster", -value),
        Some(value) => format!("{value:.2} stops slower"),
        None => "no ratio".to_owned(),
    }
}

/// A reading in words: what sets it apart from the others.
fn described(question: &Question, way: &Way, ways: &[Way]) -> String {
    let first = &ways[0].shape;
    let differs = |how: fn(&StripShape, &StripShape) -> bool| {
        ways.iter().any(|other| how(first, &other.shape))
    };
    let mut words = Vec::new();
    if differs(elsewhere) {
        words.push(place(question, &way.shape));
    }
    if differs(other_steps) {
        words.push(steps(question, &way.shape, first));
    }
    if differs(turned) {
        words.push(direction(&way.shape));
    }
    if differs(other_coat) {
        words.push(coat(&way.shape));
    }
    if words.is_empty() {
        words.push("a little off".to_owned());
    }
    words.join(", ")
}

/// Centres of the steps, by their number.
fn centres(shape: &StripShape) -> Vec<(usize, Point)> {
    let fields = shape.fields.iter().enumerate();
    let mut centres: Vec<(usize, Point)> = fields
        .filter_map(|(field, what)| match what {
            Field::Step(step) => Some((*step, shape.field_centre(field))),
            Field::Margin | Field::Ignored => None,
        })
        .collect();
    centres.sort_by_key(|(step, _)| *step);
    centres
}

/// Mean length of a step, pixels.
fn step_length(shape: &StripShape) -> f64 {
    let lengths: Vec<f64> = (0..shape.fields.len())
        .filter(|&field| matches!(shape.fields[field], Field::Step(_)))
        .map(|field| shape.edges[field + 1].middle() - shape.edges[field].middle())
        .collect();
    shape.length() * lengths.iter().sum::<f64>() / lengths.len().max(1) as f64
}

/// Whether one lies altogether elsewhere than the other: another thing on the scans.
fn elsewhere(one: &StripShape, other: &StripShape) -> bool {
    let apart = one.on_scan(0.5, 0.5).distance(other.on_scan(0.5, 0.5));
    one.scan != other.scan || apart > 0.5 * one.length().max(one.width())
}

/// Whether the steps lie at other places, whatever their numbers.
fn other_steps(one: &StripShape, other: &StripShape) -> bool {
    let (a, b) = (centres(one), centres(other));
    let near = SAME_PLACE * step_length(one);
    let met = |(_, at): &(usize, Point)| b.iter().any(|(_, there)| at.distance(*there) <= near);
    !elsewhere(one, other) && (a.len() != b.len() || !a.iter().all(met))
}

/// Whether the steps are numbered the other way.
fn turned(one: &StripShape, other: &StripShape) -> bool {
    let ends = |shape: &StripShape| {
        let centres = centres(shape);
        Some((centres.first()?.1, centres.last()?.1))
    };
    let (Some((start, end)), Some((from, to))) = (ends(one), ends(other)) else {
        return false;
    };
    let along = (end.x - start.x) * (to.x - from.x) + (end.y - start.y) * (to.y - from.y);
    !elsewhere(one, other) && along < 0.0
}

/// Whether other coat is taken for the unexposed one.
fn other_coat(one: &StripShape, other: &StripShape) -> bool {
    !elsewhere(one, other) && coat(one) != coat(other)
}

fn place(question: &Question, shape: &StripShape) -> String {
    let at = shape.on_scan(0.5, 0.5);
    let scan = if question.scans.len() > 1 {
        format!(" on scan {}", shape.scan + 1)
    } else {
        String::new()
    };
    format!("the strip about ({:.0}, {:.0}){scan}", at.x, at.y)
}

/// Where the edges of the steps lie, from the start of the reading that is used.
fn steps(question: &Question, shape: &StripShape, used: &StripShape) -> String {
    let of_steps = |field: &usize| matches!(shape.fields[*field], Field::Step(_));
    let mut fields = (0..shape.fields.len()).filter(of_steps);
    let Some(first) = fields.next() else {
        return "no steps".to_owned();
    };
    let last = fields.last().unwrap_or(first);
    let per_mm = question
        .scans
        .get(shape.scan)
        .and_then(|scan| scan.pixels_per_mm);
    let mut borders: Vec<f64> = shape.edges[first..=last + 1]
        .iter()
        .map(|edge| {
            let along = used.frame_of(shape.on_scan(edge.middle(), 0.5)).0;
            per_mm.map_or(along, |per_mm| along / per_mm)
        })
        .collect();
    borders.sort_by(f64::total_cmp);
    let borders: Vec<String> = borders.iter().map(|at| format!("{at:.0}")).collect();
    let unit = if per_mm.is_some() { "mm" } else { "pixels" };
    format!("edges at {} {unit}", borders.join(", "))
}

/// Which way the steps run on the scan.
fn direction(shape: &StripShape) -> String {
    let centres = centres(shape);
    let (Some((_, from)), Some((_, to))) = (centres.first(), centres.last()) else {
        return "no steps".to_owned();
    };
    let (x, y) = (to.x - from.x, to.y - from.y);
    let to = match (x.abs() > y.abs(), x > 0.0, y > 0.0) {
        (true, true, _) => "right",
        (true, false, _) => "left",
        (false, _, true) => "bottom",
        (false, _, false) => "top",
    };
    format!("steps numbered towards the {to}")
}

/// Where the unexposed coat lies.
fn coat(shape: &StripShape) -> String {
    let last = shape.fields.len().saturating_sub(1);
    let steps: Vec<usize> = (0..shape.fields.len())
        .filter(|&field| matches!(shape.fields[field], Field::Step(_)))
        .collect();
    let (first_step, last_step) = (
        steps.first().copied().unwrap_or(0),
        steps.last().copied().unwrap_or(last),
    );
    let margin = |field: usize| shape.fields[field] == Field::Margin;
    let mut places = Vec::new();
    if (0..first_step).any(margin) {
        places.push("before the first field".to_owned());
    }
    if (first_step..=last_step).any(margin) {
        places.push("between the steps".to_owned());
    }
    if (last_step + 1..shape.fields.len()).any(margin) {
        places.push("after the last field".to_owned());
    }
    let beside: Vec<Point> = shape
        .unexposed
        .iter()
        .map(|[a, _, c, _]| a.toward(*c, 0.5))
        .collect();
    if let Some(first) = beside.first() {
        let more = match beside.len() - 1 {
            0 => String::new(),
            1 => " and one more place".to_owned(),
            more => format!(" and {more} more places"),
        };
        places.push(format!("about ({:.0}, {:.0}){more}", first.x, first.y));
    }
    if places.is_empty() {
        "no unexposed coat".to_owned()
    } else {
        format!("unexposed coat {}", places.join(" and "))
    }
}
