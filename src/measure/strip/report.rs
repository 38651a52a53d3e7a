//! What a person should be told about what was found and what was not.

use super::view::View;
use super::{Found, Wanted};
use crate::measure::finding::{Finding, Kind, Place, Weight};

/// Adds the findings.
pub(super) fn report(found: &mut Found, wanted: &Wanted, _views: &[View]) {
    let mut findings = vec![];
    for (index, strip) in found.strips.iter().enumerate() {
        if strip.is_none() && !wanted.strips.is_empty() {
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
                remedy: "check that it lies on the scan, or give its corners in the session"
                    .to_owned(),
            });
        }
    }
    found.findings.extend(findings);
}
