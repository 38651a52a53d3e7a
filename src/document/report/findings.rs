//! What a person should be told, heaviest first.

use super::name;
use super::words::wrapped;
use crate::document::Session;
use crate::measure::analysis::Analysis;
use crate::measure::finding::{Finding, Weight};

pub(super) fn list(session: &Session, analysis: &Analysis) -> String {
    if analysis.findings.is_empty() {
        return String::new();
    }
    let mut text = String::from("Findings\n");
    for finding in &analysis.findings {
        let said = format!(
            "{}{}: {} {} {}",
            weight_word(finding.weight),
            place(session, analysis, finding),
            sentence(&finding.seen),
            sentence(&finding.matters),
            sentence(&finding.remedy)
        );
        text.push_str(&wrapped(&said, "  - ", "    "));
    }
    text.push('\n');
    text
}

/// Findings about no session.
pub fn said(findings: &[Finding]) -> String {
    let mut text = String::new();
    for finding in findings {
        let scan = finding.place.scan;
        let place = scan.map_or_else(String::new, |scan| format!(", scan {}", scan + 1));
        let said = format!(
            "{}{place}: {} {} {}",
            weight_word(finding.weight),
            sentence(&finding.seen),
            sentence(&finding.matters),
            sentence(&finding.remedy)
        );
        text.push_str(&wrapped(&said, "  - ", "    "));
    }
    if !text.is_empty() {
        text.insert_str(0, "Findings\n");
        text.push('\n');
    }
    text
}

fn weight_word(weight: Weight) -> &'static str {
    match weight {
        Weight::Blocking => "BLOCKING",
        Weight::Caution => "CAUTION",
        Weight::Note => "NOTE",
    }
}

fn place(session: &Session, analysis: &Analysis, finding: &Finding) -> String {
    let mut place = String::new();
    if let Some(strip) = finding.place.strip {
        place.push_str(&format!(", {}", name(analysis, strip)));
    } else if let Some(scan) = finding.place.scan
        && let Some(scan) = session.scans.get(scan)
    {
        place.push_str(&format!(", {}", scan.path.display()));
    }
    match finding.place.step {
        Some(0) => place.push_str(", margin"),
        Some(step) => place.push_str(&format!(", step {step}")),
        None => {}
    }
    place
}

/// A sentence that begins and ends like one.
fn sentence(text: &str) -> String {
    let mut letters = text.trim().chars();
    let Some(first) = letters.next() else {
        return String::new();
    };
    let text: String = first.to_uppercase().chain(letters).collect();
    match text.chars().last() {
        Some('.' | '!' | '?') => text,
        _ => format!("{text}."),
    }
}
