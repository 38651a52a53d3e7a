//! `twinstrip preview`: what the paper print would look like on the coating.

use std::fmt::Write as _;
use std::path::{Path, PathBuf};

use clap::Args;
use serde::Serialize;

use super::{Printed, no_answer, solved};
use crate::document::report::{said_findings, shares_said};
use crate::files::output::{Kind, Replace, check, make_way};
use crate::files::scan::{
    Container, Mark, Packing, Picture, WriteOptions, read_scan, write_picture,
};
use crate::headless::arguments::Reading;
use crate::headless::exit::{Failure, Outcome};
use crate::headless::progress::Progress;
use crate::headless::{json, load, output};
use crate::measure::check::notes::notes;
use crate::measure::estimate::Gap;
use crate::measure::finding::{Finding, Place};
use crate::measure::preview::{Closest, Prepared, Shares, findings, full_size, prepare, shares};
use crate::measure::raster::{Raster, Samples};

/// Longer side of the picture that is written, unless it is wanted whole.
const LONGEST: usize = 2_000;

#[derive(Debug, Args)]
#[command(after_help = "\
Example:
  twinstrip preview session.ron --print harbour.tif --stops 2.5 --write harbour-on-slate.png")]
pub(in crate::headless) struct PreviewTask {
    /// The session file
    #[arg(value_name = "SESSION")]
    session: PathBuf,
    #[command(flatten)]
    printed: Printed,
    /// Stops that the coating gets more than the paper got; by the plan or the speed ratio if left out
    #[arg(long, value_name = "STOPS", value_parser = stops, allow_hyphen_values = true)]
    stops: Option<f64>,
    /// Write the picture (PNG or TIFF, by the ending)
    #[arg(long, value_name = "FILE")]
    write: Option<PathBuf>,
    /// Write it in the size of the scan, 16 bits; else at most 2,000 pixels long, 8 bits
    #[arg(long, requires = "write")]
    full_size: bool,
    /// Hatch what is lost: highlights that go blank, shadows that block
    #[arg(long, requires = "write", conflicts_with = "full_size")]
    marks: bool,
    /// Replace a picture that is there; it is kept with `.before` added to its name
    #[arg(long, requires = "write")]
    overwrite: bool,
    /// Print JSON (docs/json.md) instead of text
    #[arg(long)]
    json: bool,
    #[command(flatten)]
    reading: Reading,
}

/// Stops either way.
fn stops(text: &str) -> Result<f64, String> {
    crate::measure::exposure::entry::stops(text).map_err(|error| error.to_string())
}

#[derive(Serialize)]
struct PreviewAnswer<'a> {
    schema: u32,
    program: &'static str,
    task: &'static str,
    answered: bool,
    stops: f64,
    shares: Shares,
    closest: Option<Closest>,
    findings: &'a [Finding],
}

pub(in crate::headless) fn run(task: &PreviewTask) -> Result<Outcome, Failure> {
    let container = task.write.as_deref().map(container_of).transpose()?;
    let replace = Replace::when(task.overwrite);
    if let Some(file) = &task.write {
        check(file, replace, &Kind::Other)?;
    }
    let progress = Progress::start(task.reading.quiet);
    let mut solved = solved(&task.session, &task.reading, None, &progress)?;
    let folder = task.session.parent().unwrap_or(Path::new(""));
    let printing = task.printed.printing(&solved.loaded.session, folder)?;
    let Some(scan) = printing.print.clone() else {
        return Err(Failure::usage(
            "which print? give its scan with --print harbour.tif",
        ));
    };
    let pair = task.printed.pair(&solved.analysis)?;
    progress.stage(format!("reading {}", scan.path.display()));
    let options = load::options(&scan, &task.reading);
    let print = read_scan(&scan.path, &options, &progress)?;
    progress.stage("carrying tones over");
    let prepared = prepare(
        &print,
        &solved.question,
        &solved.analysis,
        pair,
        LONGEST,
        &progress,
    )?
    .map_err(|gap| no_answer(format!("there is no preview: {}", gap.reason())))?;
    solved.loaded.session.printing = Some(Box::new(printing));
    let planned = match solved.loaded.session.planned(&solved.analysis, pair) {
        Some(Ok(planned)) => planned
            .plan
            .exposure
            .and_then(|exposure| exposure.stops.value),
        _ => None,
    };
    let measured = || solved.analysis.pairs.get(pair)?.answer.stops.value;
    let stops = task.stops.or(planned).or_else(measured).ok_or_else(|| {
        no_answer(format!(
            "at which exposure? give it with --stops; the session has no ratio: {}",
            Gap::NotMeasured.reason()
        ))
    })?;
    let table = prepared.tones.table(stops);
    let shares = shares(&prepared.tones, &table, &prepared.picture.histogram);
    if let (Some(file), Some(container)) = (&task.write, container) {
        write(task, (file, container), &print, &prepared, stops, &progress)?;
    }
    progress.finish();
    let told: Vec<Finding> = notes(&print, &Place::default())
        .into_iter()
        .chain(prepared.findings.iter().cloned())
        .chain(findings(&shares))
        .collect();
    let text = if task.json {
        json::text(&PreviewAnswer {
            schema: json::SCHEMA,
            program: json::PROGRAM,
            task: "preview",
            answered: true,
            stops,
            shares,
            closest: prepared.closest,
            findings: &told,
        })
    } else {
        let mut text = shares_said(stops, &shares, prepared.closest.as_ref());
        writeln!(text).ok();
        text.push_str(&said_findings(&told));
        text
    };
    output::print(&text)?;
    Ok(Outcome::Answered)
}

/// How a picture of this name is written.
fn container_of(file: &Path) -> Result<Container, Failure> {
    let ending = file.extension().map(|ending| ending.to_ascii_lowercase());
    match ending.as_deref().and_then(|ending| ending.to_str()) {
        Some("png") => Ok(Container::Png),
        Some("tif" | "tiff") => Ok(Container::tiff(Packing::Deflate)),
        _ => Err(Failure::usage(format!(
            "{}: the picture is written as .png or .tif",
            file.display()
        ))),
    }
}

fn write(
    task: &PreviewTask,
    (file, container): (&Path, Container),
    print: &Raster,
    prepared: &Prepared,
    stops: f64,
    progress: &Progress,
) -> Result<(), Failure> {
    let table = prepared.tones.table(stops);
    let (samples, width, height) = if task.full_size {
        progress.stage("carrying every pixel over");
        let samples = full_size(print, &*prepared.scale, prepared.channel, &table, progress)?;
        (samples, print.width, print.height)
    } else {
        let shown = prepared.picture.shown(&table, task.marks);
        let samples = Samples::Eight(shown.into_flattened());
        (samples, prepared.picture.width, prepared.picture.height)
    };
    let picture = Picture {
        width,
        height,
        channels: 3,
        samples: &samples,
    };
    let options = WriteOptions {
        container,
        pixels_per_mm: task.full_size.then_some(print.pixels_per_mm).flatten(),
        mark: if container == Container::Png {
            Mark::PngSrgb
        } else {
            Mark::None
        },
    };
    make_way(file, Replace::when(task.overwrite), &Kind::Other)?;
    write_picture(file, &picture, &options).map_err(|error| Failure::not_written(error.to_string()))
}
