//! The machine-readable answer; docs/json.md describes it word for word.

use serde::Serialize;

use super::load::Loaded;
use crate::measure::analysis::{Analysis, PairResult, StripResult};
use crate::measure::finding::Finding;
use crate::measure::strip::Located;

/// Raised when a word of the schema is removed or changes its meaning.
const SCHEMA: u32 = 1;

#[derive(Serialize)]
struct Answer<'a> {
    schema: u32,
    program: &'static str,
    task: &'static str,
    answered: bool,
    scans: Vec<ScanFacts>,
    strips: &'a [StripResult],
    wedges: &'a [Located],
    #[serde(skip_serializing_if = "Option::is_none")]
    pairs: Option<&'a [PairResult]>,
    findings: &'a [Finding],
}

#[derive(Serialize)]
struct ScanFacts {
    path: String,
    width: usize,
    height: usize,
    channels: usize,
    bits: u8,
    pixels_per_mm: Option<f64>,
    encoding: String,
}

/// The JSON of `twinstrip solve`.
pub(super) fn solved(loaded: &Loaded, analysis: &Analysis) -> String {
    let mut answer = answer(loaded, analysis, "solve");
    answer.answered = analysis.answered();
    answer.pairs = Some(&analysis.pairs);
    text(&answer)
}

/// The JSON of `twinstrip measure`.
pub(super) fn measured(loaded: &Loaded, analysis: &Analysis) -> String {
    text(&answer(loaded, analysis, "measure"))
}

fn answer<'a>(loaded: &Loaded, analysis: &'a Analysis, task: &'static str) -> Answer<'a> {
    Answer {
        schema: SCHEMA,
        program: concat!("twinstrip ", env!("CARGO_PKG_VERSION")),
        task,
        answered: analysis.strips.iter().any(|strip| !strip.steps.is_empty()),
        scans: loaded
            .session
            .scans
            .iter()
            .zip(&loaded.scans)
            .map(|(scan, raster)| ScanFacts {
                path: scan.path.display().to_string(),
                width: raster.width,
                height: raster.height,
                channels: raster.channels,
                bits: raster.origin.bits,
                pixels_per_mm: raster.pixels_per_mm,
                encoding: raster.light.source.clone(),
            })
            .collect(),
        strips: &analysis.strips,
        wedges: &analysis.wedges,
        pairs: None,
        findings: &analysis.findings,
    }
}

fn text(answer: &Answer<'_>) -> String {
    let mut text = serde_json::to_string_pretty(answer)
        .expect("every key is a word and every value a number, a text or a list");
    text.push('\n');
    text
}
