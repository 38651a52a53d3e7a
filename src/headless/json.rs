//! The machine-readable answer; docs/json.md describes it word for word.

use serde::Serialize;

use super::load::Loaded;
use crate::document::plain::is_code;
use crate::document::report::errors_by_density;
use crate::measure::analysis::{Analysis, PairResult, StripResult};
use crate::measure::calibrating::Judged;
use crate::measure::finding::Finding;
use crate::measure::raster::Channel;
use crate::measure::scale::calibration::{
    Calibration, CalibrationFit, CalibrationGap, CalibrationScan,
};
use crate::measure::scale::repeats::Repeat;
use crate::measure::strip::Located;

/// Raised when a word of the schema is removed or changes its meaning.
pub(super) const SCHEMA: u32 = 1;

/// Who answers.
pub(super) const PROGRAM: &str = concat!("twinstrip ", env!("CARGO_PKG_VERSION"));

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
    repeats: &'a [Repeat],
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

#[derive(Serialize)]
struct CalibrationAnswer<'a> {
    schema: u32,
    program: &'static str,
    task: &'static str,
    answered: bool,
    scanner: &'a str,
    settings: &'a str,
    made: &'a str,
    uncertainty: f64,
    scans: Vec<CalibratedScan<'a>>,
    channels: Vec<ChannelAnswer>,
    findings: &'a [Finding],
}

#[derive(Serialize)]
struct CalibratedScan<'a> {
    path: &'a str,
    hash: &'a str,
    encoding: &'a str,
    bits: u8,
    pixels_per_mm: Option<f64>,
}

#[derive(Serialize)]
struct ChannelAnswer {
    channel: Channel,
    #[serde(skip_serializing_if = "Option::is_none")]
    missing: Option<String>,
    #[serde(flatten)]
    curve: Option<CurveAnswer>,
}

#[derive(Serialize)]
struct CurveAnswer {
    usable: [f64; 2],
    leave_one_out: f64,
    level: f64,
    repeats: Vec<RepeatAnswer>,
    fields: Vec<FieldAnswer>,
    errors: Vec<ErrorAnswer>,
}

#[derive(Serialize)]
struct RepeatAnswer {
    density: f64,
    error: f64,
    freedom: f64,
}

#[derive(Serialize)]
struct FieldAnswer {
    field: usize,
    density: f64,
    reading: f64,
    reading_error: f64,
    residual: f64,
    foretold_error: Option<f64>,
}

#[derive(Serialize)]
struct ErrorAnswer {
    density: f64,
    standard_error: f64,
}

/// The JSON of `twinstrip calibrate` and `twinstrip show`.
pub(super) fn calibration(calibration: &Calibration, judged: &Judged) -> String {
    text(&CalibrationAnswer {
        schema: SCHEMA,
        program: PROGRAM,
        task: "calibrate",
        answered: judged.answered(),
        scanner: &calibration.scanner,
        settings: &calibration.settings,
        made: &calibration.made,
        uncertainty: calibration.uncertainty,
        scans: calibration.scans.iter().map(calibrated_scan).collect(),
        channels: judged.fits.iter().map(channel_answer).collect(),
        findings: &judged.findings,
    })
}

fn calibrated_scan(scan: &CalibrationScan) -> CalibratedScan<'_> {
    CalibratedScan {
        path: &scan.path,
        hash: &scan.hash,
        encoding: &scan.encoding,
        bits: scan.bits,
        pixels_per_mm: scan.pixels_per_mm,
    }
}

fn channel_answer(
    (channel, fit): &(Channel, Result<CalibrationFit, CalibrationGap>),
) -> ChannelAnswer {
    let curve = |fit: &CalibrationFit| CurveAnswer {
        usable: [fit.usable.0, fit.usable.1],
        leave_one_out: fit.leave_one_out,
        level: fit.level,
        repeats: fit
            .repeats
            .iter()
            .map(|repeat| RepeatAnswer {
                density: repeat.density,
                error: repeat.error,
                freedom: repeat.freedom,
            })
            .collect(),
        fields: fit
            .fields
            .iter()
            .map(|field| FieldAnswer {
                field: field.number + 1,
                density: field.listed,
                reading: field.scanner,
                reading_error: field.error,
                residual: field.residual,
                foretold_error: field.left_out,
            })
            .collect(),
        errors: errors_by_density(fit)
            .into_iter()
            .map(|(density, standard_error)| ErrorAnswer {
                density,
                standard_error,
            })
            .collect(),
    };
    ChannelAnswer {
        channel: *channel,
        missing: fit.as_ref().err().map(ToString::to_string),
        curve: fit.as_ref().ok().map(curve),
    }
}

fn answer<'a>(loaded: &Loaded, analysis: &'a Analysis, task: &'static str) -> Answer<'a> {
    Answer {
        schema: SCHEMA,
        program: PROGRAM,
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
        repeats: &analysis.repeats,
        findings: &analysis.findings,
    }
}

pub(super) fn text(answer: &impl Serialize) -> String {
    let mut text = serde_json::to_string_pretty(answer)
        .expect("every key is a word and every value a number, a text or a list");
    text.push('\n');
    // Codes below the blank are escaped already; direction marks are as dangerous to a terminal.
    let code = |letter: char| is_code(letter) && letter != '\n';
    if !text.contains(code) {
        return text;
    }
    let escaped = text.chars().map(|letter| {
        if code(letter) {
            format!("\\u{:04x}", u32::from(letter))
        } else {
            letter.to_string()
        }
    });
    escaped.collect()
}
