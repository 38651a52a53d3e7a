//! What a person should be told about what was found and what was not.

use super::{Found, Located, Wanted};
use crate::measure::finding::{Finding, Kind, Place, Weight};

/// Chance that one of the readings that could be named is right, below which nothing can be built
/// on them.
const LEAST_CONFIDENCE: f64 = 0.65;
/// The same, below which to beware.
const DOUBTFUL: f64 = 0.8;
/// The same, below which the doubt is mentioned, so that nobody builds on a border
/// that melted away without having been told to look at it.
const MENTIONED: f64 = 0.9;

/// How much the doubt about a thing's place matters.
fn weight(located: &Located) -> Weight {
    if !located.is_sure() {
        Weight::Blocking
    } else if located.named() < DOUBTFUL {
        Weight::Caution
    } else {
        Weight::Note
    }
}

/// Whether the place of a thing is sure enough to build on.
pub(super) fn is_sure(located: &Located) -> bool {
    located.named() >= LEAST_CONFIDENCE
}

/// Adds the findings.
pub(super) fn report(found: &mut Found, wanted: &Wanted) {
    let mut findings = vec![];
    if !wanted.strips.is_empty() {
        findings.extend(numbers(found, wanted));
    }
    for (index, strip) in found.strips.iter().enumerate() {
        if let Some(located) = strip {
            findings.extend(doubt(index, located));
        }
    }
    findings.extend(found.wedges.iter().filter_map(doubtful_wedge));
    findings.extend(which(found));
    found.findings.extend(findings);
}

/// Strips that may be each other, or that lie otherwise than described.
fn which(found: &Found) -> Option<Finding> {
    let doubt: f64 = found.otherwise.iter().map(|other| other.chance).sum();
    let scan = found.strips.iter().flatten().next()?.shape.scan;
    if doubt >= 1.0 - MENTIONED {
        return Some(Finding {
            kind: Kind::AmbiguousStrip,
            weight: if doubt > 1.0 - DOUBTFUL {
                Weight::Caution
            } else {
                Weight::Note
            },
            place: Place::scan(scan),
            seen: format!(
                "Which strip is which can't be told for certain by their looks and exposures: the \
                 order used has a chance of {:.0} %.",
                100.0 * (1.0 - doubt)
            ),
            matters: "The answer allows for the other orders by their chances.".to_owned(),
            remedy: "Check on the scan that each strip carries its own name; give the corners of \
                     the strips in the session where they don't."
                .to_owned(),
        });
    }
    (found.reordered).then(|| Finding {
        kind: Kind::AmbiguousStrip,
        weight: Weight::Note,
        place: Place::scan(scan),
        seen: "The strips lie in another order than the session lists them: their looks and \
               exposures say so."
            .to_owned(),
        matters: "Each was taken for the strip that it looks like.".to_owned(),
        remedy: "Check on the scan that each strip carries its own name.".to_owned(),
    })
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

/// Borders of which no reading that could be named is sure.
fn doubt(index: usize, located: &Located) -> Option<Finding> {
    let weight = weight(located);
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
    (located.named() < MENTIONED).then(|| Finding {
        kind: Kind::UncertainEdges,
        weight,
        place: Place {
            area: located.shape.corners.to_vec(),
            ..Place::strip(index)
        },
        seen: format!(
            "some step edges of strip {} hardly show: the chance that all are right is {:.0} %",
            index + 1,
            100.0 * located.named()
        ),
        matters: matters.to_owned(),
        remedy: "look at the steps as found, and give their edges in the session if they are off"
            .to_owned(),
    })
}

/// A wedge whose fields are not sure.
fn doubtful_wedge(located: &Located) -> Option<Finding> {
    (located.named() < MENTIONED).then(|| Finding {
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
            100.0 * located.named()
        ),
        matters: "densities read against the wrong fields would all be wrong".to_owned(),
        remedy: "look at the fields as found; give the wedge's corners in the session, or check \
                 the list of its densities"
            .to_owned(),
    })
}
