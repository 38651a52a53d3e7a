//! What a person should be told about what was found and what was not.

use super::view::View;
use super::{Alternative, Found, Located, Wanted};
use crate::measure::finding::{Finding, Kind, Place, Weight};
use crate::measure::geometry::{Edge, Field, StripShape};

/// Chance of being right below which nothing can be built on a reading.
const LEAST_CONFIDENCE: f64 = 0.65;
/// Chance of being right below which to beware.
const DOUBTFUL: f64 = 0.8;
/// Chance of being right below which the doubt is mentioned, so that nobody builds on a border
/// that melted away without having been told to look at it.
const MENTIONED: f64 = 0.9;

/// How much the doubt about a thing's place matters.
fn weight(located: &Located) -> Weight {
    if !located.is_sure() {
        Weight::Blocking
    } else if located.confidence < DOUBTFUL || !located.others().is_empty() {
        Weight::Caution
    } else {
        Weight::Note
    }
}

/// Whether the place of a thing is sure enough to build on.
pub(super) fn is_sure(located: &Located) -> bool {
    located.confidence >= LEAST_CONFIDENCE
}

/// Adds the findings.
pub(super) fn report(found: &mut Found, wanted: &Wanted, views: &[&View]) {
    let mut findings = vec![];
    if !wanted.strips.is_empty() {
        findings.extend(numbers(found, wanted));
    }
    for (index, strip) in found.strips.iter().enumerate() {
        if let Some(located) = strip {
            findings.extend(doubt(index, located, views));
        }
    }
    findings.extend(found.wedges.iter().filter_map(doubtful_wedge));
    found.findings.extend(findings);
}

/// Strips missing, and things that look like strips and aren't described.
fn numbers(found: &Found, wanted: &Wanted) -> Vec<Finding> {
    let mut findings = vec![];
    let missing = found.strips.iter().enumerate().filter(|(_, s)| s.is_none());
    for (index, _) in missing {
        findings.push(Finding {
            kind: Kind::StripNotFound,
            weight: Weight::Blocking,
            place: Place::strip(index),
            seen: format!(
                "strip {} of the {} described was not found on the scans",
                index + 1,
                wanted.strips.len()
            ),
            matters: "nothing can be measured or solved for it".to_owned(),
            remedy: "check that it lies on the scan, or give its corners in the session".to_owned(),
        });
    }
    for spare in found.spare.iter().filter(|spare| spare.is_sure()) {
        findings.push(Finding {
            kind: Kind::StripNotDescribed,
            weight: Weight::Blocking,
            place: Place {
                area: spare.shape.corners.to_vec(),
                ..Place::scan(spare.shape.scan)
            },
            seen: format!(
                "scan {} holds one more thing that looks like a strip than the session describes",
                spare.shape.scan + 1
            ),
            matters: "which strip is which is then a guess, so nothing is solved from this scan"
                .to_owned(),
            remedy: "describe it in the session, take it off the scan, or give the corners of the \
                     strips"
                .to_owned(),
        });
    }
    findings
}

/// Another reading that is possible, or borders that are not sure.
fn doubt(index: usize, located: &Located, views: &[&View]) -> Option<Finding> {
    let weight = weight(located);
    let place = Place {
        area: located.shape.corners.to_vec(),
        ..Place::strip(index)
    };
    let matters = match weight {
        Weight::Blocking => {
            "nothing is solved from it: a step counted wrongly shifts the ratio by \
                             the whole exposure of a step"
        }
        Weight::Caution | Weight::Note => {
            "the likelier reading is used; were it wrong, the ratio would be off by the exposure \
             of a step"
        }
    };
    if let Some(Alternative {
        shape: other,
        chance: share,
    }) = located.others().first()
    {
        return Some(Finding {
            kind: Kind::AmbiguousStrip,
            weight,
            place,
            seen: format!(
                "the steps of strip {} can lie in two ways: {} (chance {:.0} %), or {} ({:.0} %)",
                index + 1,
                lay(&located.shape, &located.shape, views),
                100.0 * (1.0 - share),
                lay(other, &located.shape, views),
                100.0 * share,
            ),
            matters: matters.to_owned(),
            remedy: "give the strip's corners and step edges in the session, or expose the next \
                     strip so that its first and last steps differ more from their neighbours"
                .to_owned(),
        });
    }
    (located.confidence < MENTIONED).then(|| Finding {
        kind: Kind::UncertainEdges,
        weight,
        place,
        seen: format!(
            "some step edges of strip {} hardly show: the chance that all are right is {:.0} %",
            index + 1,
            100.0 * located.confidence
        ),
        matters: "steps that melt into their neighbours are placed by the widths of the others"
            .to_owned(),
        remedy: "look at the steps as found, and give their edges in the session if they are off"
            .to_owned(),
    })
}

/// Where the edges of the steps lie, from the start of the reading that is used.
fn lay(shape: &StripShape, used: &StripShape, views: &[&View]) -> String {
    let steps: Vec<usize> = (0..shape.fields.len())
        .filter(|&field| matches!(shape.fields[field], Field::Step(_)))
        .collect();
    let (Some(&first), Some(&last)) = (steps.first(), steps.last()) else {
        return "no steps".to_owned();
    };
    let from = used.on_scan(0.0, 0.5);
    let to = used.on_scan(1.0, 0.5);
    let along = |edge: Edge| {
        let place = shape.on_scan(edge.middle(), 0.5);
        let length = from.distance(to).max(1.0);
        ((place.x - from.x) * (to.x - from.x) + (place.y - from.y) * (to.y - from.y)) / length
    };
    let per_mm = views
        .get(shape.scan)
        .and_then(|view| Some(view.per_mm? * view.step as f64));
    let borders: Vec<String> = shape.edges[first..=last + 1]
        .iter()
        .map(|&edge| match per_mm {
            Some(per_mm) => format!("{:.0}", along(edge) / per_mm),
            None => format!("{:.0}", along(edge)),
        })
        .collect();
    let unit = if per_mm.is_some() { "mm" } else { "pixels" };
    format!("edges at {} {unit}", borders.join(", "))
}

/// A wedge whose fields are not sure.
fn doubtful_wedge(located: &Located) -> Option<Finding> {
    (located.confidence < MENTIONED).then(|| Finding {
        kind: Kind::UncertainEdges,
        weight: weight(located),
        place: Place {
            area: located.shape.corners.to_vec(),
            ..Place::scan(located.shape.scan)
        },
        seen: format!(
            "some field edges of the wedge on scan {} hardly show: the chance that all are right \
             is {:.0} %",
            located.shape.scan + 1,
            100.0 * located.confidence
        ),
        matters: "densities read against the wrong fields would all be wrong".to_owned(),
        remedy: "look at the fields as found; give the wedge's corners in the session, or check \
                 the list of its densities"
            .to_owned(),
    })
}
