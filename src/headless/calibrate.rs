//! `twinstrip calibrate`: from scans of a wedge to a scanner's calibration; `twinstrip show`:
//! what a calibration says.

use std::path::{Path, PathBuf};

use super::arguments::{Calibrate, Show};
use super::exit::{Failure, Outcome};
use super::output::{print, remark};
use super::progress::Progress;
use super::{entry, json, load};
use crate::document::plain::check_line;
use crate::document::report::{calibration_picture, calibration_report};
use crate::document::{Scan, WEDGE_UNCERTAINTY};
use crate::files::calibration::{Making, make, read_calibration, write_calibration};
use crate::files::clock::today;
use crate::files::output::{self, Kind, Replace};
use crate::measure::calibrating::{Judged, References, judge};
use crate::measure::scale::calibration::Calibration;

pub(super) fn run(task: &Calibrate) -> Result<Outcome, Failure> {
    let replace = Replace::when(task.overwrite);
    output::check(&task.calibration, replace, &Kind::Calibration)?;
    may_draw(task.picture.as_deref(), replace)?;
    let twice = |picture: &Path| output::same(picture, &task.calibration);
    if task.picture.as_deref().is_some_and(twice) {
        return Err(Failure::usage(
            "the picture and the calibration can't be one file; give the picture another name",
        ));
    }
    for said in [&task.scanner, &task.settings] {
        check_line(said).map_err(Failure::usage)?;
    }
    let references = references(task)?;
    let progress = Progress::start(task.reading.quiet);
    let read = |path: &PathBuf| load::options(&Scan::new(path), &task.reading);
    let scans = task.scan.iter().zip(references);
    let making = Making {
        scans: scans
            .map(|(path, references)| (path.clone(), read(path), references))
            .collect(),
        scanner: task.scanner.clone(),
        settings: task.settings.clone(),
        made: task.date.clone().unwrap_or_else(|| today().to_string()),
        uncertainty: task.uncertainty.unwrap_or(WEDGE_UNCERTAINTY),
    };
    let (calibration, judged) = make(making, &|stage| progress.stage(stage), &progress)?;
    progress.finish();
    let outcome = say(&calibration, &judged, task.json)?;
    if outcome == Outcome::Answered {
        // Again, now that all is read that was to be read: neither may take the other's place.
        output::check(&task.calibration, replace, &Kind::Calibration)?;
        draw(&calibration, task.picture.as_deref(), replace)?;
        write_calibration(&task.calibration, &calibration)?;
        remark(
            &format!("{} written", task.calibration.display()),
            task.reading.quiet,
        );
    }
    Ok(outcome)
}

pub(super) fn show(task: &Show) -> Result<Outcome, Failure> {
    let replace = Replace::when(task.overwrite);
    let (calibration, _) = read_calibration(&task.calibration)?;
    may_draw(task.picture.as_deref(), replace)?;
    let outcome = say(&calibration, &judge(&calibration, Vec::new()), task.json)?;
    draw(&calibration, task.picture.as_deref(), replace)?;
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

/// Prints what a calibration says. Without a curve in any channel there is no answer.
fn say(calibration: &Calibration, judged: &Judged, as_json: bool) -> Result<Outcome, Failure> {
    let text = if as_json {
        json::calibration(calibration, judged)
    } else {
        calibration_report(calibration, judged)
    };
    print(&text)?;
    Ok(if judged.answered() {
        Outcome::Answered
    } else {
        Outcome::NoAnswer
    })
}

fn may_draw(picture: Option<&Path>, replace: Replace) -> Result<(), Failure> {
    picture.map_or(Ok(()), |path| {
        Ok(output::check(path, replace, &Kind::Other)?)
    })
}

fn draw(
    calibration: &Calibration,
    picture: Option<&Path>,
    replace: Replace,
) -> Result<(), Failure> {
    let Some(path) = picture else {
        return Ok(());
    };
    let drawing = calibration_picture(calibration).map_err(|gap| Failure {
        outcome: Outcome::NoAnswer,
        message: format!("{}: nothing to draw: {gap}", path.display()),
    })?;
    Ok(output::write(path, drawing.as_bytes(), replace)?)
}
