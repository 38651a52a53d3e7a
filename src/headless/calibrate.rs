//! `twinstrip calibrate`: from scans of a wedge to a scanner's calibration; `twinstrip show`:
//! what a calibration says.

use std::path::{Path, PathBuf};
use std::sync::Arc;

use super::arguments::{Calibrate, Show};
use super::exit::{Failure, Outcome};
use super::progress::Progress;
use super::{entry, json, load, output};
use crate::document::report::{calibration_picture, calibration_report};
use crate::document::{Scan, WEDGE_UNCERTAINTY};
use crate::files::atomic;
use crate::files::calibration::{read_calibration, write_calibration};
use crate::files::scan::{content_hash, read_scan};
use crate::measure::calibrating::{References, WedgeScan, curve_findings, look};
use crate::measure::finding::{Finding, Weight, settle};
use crate::measure::raster::Raster;
use crate::measure::scale::calibration::{Calibration, CalibrationScan};

pub(super) fn run(task: &Calibrate) -> Result<Outcome, Failure> {
    if task.calibration.exists() && !task.overwrite {
        return Err(Failure::not_written(format!(
            "{}: a file of that name is there; say --overwrite to replace it",
            task.calibration.display()
        )));
    }
    let references = references(task)?;
    let progress = Progress::start(task.reading.quiet);
    let mut scans = Vec::new();
    let mut facts = Vec::new();
    for (path, references) in task.scan.iter().zip(references) {
        progress.stage(format!("reading {}", path.display()));
        let options = load::options(&Scan::new(path), &task.reading);
        let raster = Arc::new(read_scan(path, &options, &progress)?);
        facts.push(facts_of(path, &raster, content_hash(path, &progress)?));
        scans.push(WedgeScan { raster, references });
    }
    progress.stage("measuring");
    let looked = look(&scans, &progress)?;
    progress.finish();
    let calibration = Calibration {
        scanner: task.scanner.clone(),
        settings: task.settings.clone(),
        made: task
            .date
            .clone()
            .unwrap_or_else(|| output::today().to_string()),
        uncertainty: task.uncertainty.unwrap_or(WEDGE_UNCERTAINTY),
        scans: facts,
        channels: looked.channels,
    };
    let outcome = say(&calibration, looked.findings, task.json)?;
    if outcome == Outcome::Answered {
        draw(&calibration, task.picture.as_deref())?;
        write_calibration(&task.calibration, &calibration)?;
        output::remark(
            &format!("{} written", task.calibration.display()),
            task.reading.quiet,
        );
    }
    Ok(outcome)
}

pub(super) fn show(task: &Show) -> Result<Outcome, Failure> {
    let (calibration, _) = read_calibration(&task.calibration)?;
    let outcome = say(&calibration, Vec::new(), task.json)?;
    draw(&calibration, task.picture.as_deref())?;
    Ok(outcome)
}

/// One list for all scans, or one a scan.
fn references(task: &Calibrate) -> Result<Vec<References>, Failure> {
    let lists = task
        .wedge
        .iter()
        .map(|text| Ok(entry::references(text).map_err(Failure::usage)??))
        .collect::<Result<Vec<References>, Failure>>()?;
    match lists.as_slice() {
        [one] => Ok(vec![one.clone(); task.scan.len()]),
        several if several.len() == task.scan.len() => Ok(lists),
        several => Err(Failure::usage(format!(
            "{} lists of densities for {} scans: give one for all, or one for each in order",
            several.len(),
            task.scan.len()
        ))),
    }
}

fn facts_of(path: &Path, raster: &Raster, hash: String) -> CalibrationScan {
    let name = path.file_name().map(PathBuf::from);
    CalibrationScan {
        path: name.unwrap_or_default().display().to_string(),
        hash,
        encoding: raster.light.source.clone(),
        bits: raster.origin.bits,
        pixels_per_mm: raster.pixels_per_mm,
    }
}

/// Prints what a calibration says. Without a curve in any channel there is no answer.
fn say(
    calibration: &Calibration,
    mut findings: Vec<Finding>,
    as_json: bool,
) -> Result<Outcome, Failure> {
    let fits: Vec<_> = calibration
        .channels
        .iter()
        .map(|seen| (seen.channel, calibration.fit(seen.channel)))
        .collect();
    for (channel, fit) in &fits {
        if let Ok(fit) = fit {
            findings.extend(curve_findings(*channel, fit));
        }
    }
    settle_by_weight(&mut findings);
    let text = if as_json {
        json::calibration(calibration, &fits, &findings)
    } else {
        calibration_report(calibration, &fits, &findings)
    };
    output::print(&text)?;
    let blocked = findings.iter().any(|f| f.weight == Weight::Blocking);
    let answered = !blocked && fits.iter().any(|(_, fit)| fit.is_ok());
    Ok(if answered {
        Outcome::Answered
    } else {
        Outcome::NoAnswer
    })
}

/// Heaviest first; [`settle`] would keep one of those that are about no place.
fn settle_by_weight(findings: &mut Vec<Finding>) {
    let (placed, unplaced): (Vec<Finding>, Vec<Finding>) = findings
        .drain(..)
        .partition(|finding| finding.place.scan.is_some());
    *findings = placed;
    settle(findings);
    findings.extend(unplaced);
    findings.sort_by_key(|finding| std::cmp::Reverse(finding.weight));
}

fn draw(calibration: &Calibration, picture: Option<&Path>) -> Result<(), Failure> {
    let Some(path) = picture else {
        return Ok(());
    };
    let drawing = calibration_picture(calibration).map_err(|gap| Failure {
        outcome: Outcome::NoAnswer,
        message: format!("{}: nothing to draw: {gap}", path.display()),
    })?;
    Ok(atomic::write(path, drawing.as_bytes())?)
}
