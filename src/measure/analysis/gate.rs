//! When an answer is withheld: never a confident one from a bad scan.

use std::collections::BTreeSet;

use crate::measure::estimate::Gap;
use crate::measure::finding::{Finding, Kind, Weight};
use crate::measure::strip::Found;

/// Which strips no answer may rest on, and why.
pub(super) struct Gate {
    closed: Vec<(usize, Gap)>,
}

impl Gate {
    /// Closes for every strip that a blocking finding stands on, directly or by its scan, or
    /// none of whose readings is likely enough: its steps may be counted wrongly, which would
    /// shift the ratio by a whole step. Doubt between readings that are known closes nothing:
    /// the answer is their mixture.
    pub fn new(found: &Found, findings: &[Finding]) -> Self {
        let mut closed = Vec::new();
        let scans_of = |strip: usize| {
            found
                .strips
                .get(strip)
                .and_then(|located| Some(located.as_ref()?.shape.scan))
        };
        for finding in findings
            .iter()
            .filter(|finding| finding.weight == Weight::Blocking)
        {
            let gap = match finding.kind {
                Kind::PictureDetail => Gap::PictureDetail,
                Kind::TooFewSteps => Gap::TooFewSteps,
                Kind::AmbiguousStrip | Kind::UncertainEdges | Kind::StepCount => {
                    Gap::UncertainSteps
                }
                _ => Gap::NotMeasured,
            };
            match (finding.place.strip, finding.place.scan) {
                (Some(strip), _) => closed.push((strip, gap)),
                (None, Some(scan)) => {
                    let on_it =
                        (0..found.strips.len()).filter(|&strip| scans_of(strip) == Some(scan));
                    closed.extend(on_it.map(|strip| (strip, gap)));
                }
                (None, None) => closed.extend((0..found.strips.len()).map(|strip| (strip, gap))),
            }
        }
        for (strip, located) in found.strips.iter().enumerate() {
            if located.as_ref().is_some_and(|located| !located.is_sure()) {
                closed.push((strip, Gap::UncertainSteps));
            }
        }
        Self { closed }
    }

    /// Why nothing may be solved from these strips, if so.
    pub fn closed_for(&self, strips: &[usize]) -> Option<Gap> {
        let wanted: BTreeSet<usize> = strips.iter().copied().collect();
        self.closed
            .iter()
            .find(|(strip, _)| wanted.contains(strip))
            .map(|&(_, gap)| gap)
    }
}
