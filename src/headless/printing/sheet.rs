//! `twinstrip sheet`: the page for the bench.

use std::path::{Path, PathBuf};

use clap::{Args, ValueEnum};
use serde::Serialize;

use super::{Printed, no_answer, process, solved};
use crate::document::sheet::{Process, Sheet, Source};
use crate::files::sheet::{PaperSize, Thumbnail, pdf, plain_text};
use crate::files::{atomic, scan};
use crate::headless::arguments::Reading;
use crate::headless::exit::{Failure, Outcome};
use crate::headless::progress::Progress;
use crate::headless::{entry, json, load, output};
use crate::measure::estimate::Gap;
use crate::measure::finding::Finding;
use crate::measure::preview::PrintPicture;
use crate::measure::raster::Channel;
use crate::measure::scale::assumed_white;

#[derive(Debug, Args)]
#[command(after_help = "\
Example:
  twinstrip sheet session.ron --picture \"Harbour at low tide\" \\
    --recipe \"10s at f/11, magnified 4x, lens 80mm; burn sky: 1/2 stop\" \\
    --piece \"slate 3\" --size 240x300 --height 6mm --pieces 3 --pdf sheet.pdf

The sheet reminds of dangers; the safety data sheets of your products, your local rules and
licensed practice come before it.")]
pub(in crate::headless) struct SheetTask {
    /// The session file
    #[arg(value_name = "SESSION")]
    session: PathBuf,
    #[command(flatten)]
    printed: Printed,
    /// Baths in order with your times: "developer 2min; stop bath 30s; ..."
    #[arg(long, value_name = "BATHS", value_parser = process)]
    process: Option<Process>,
    /// Day of the sheet, such as 2026-11-25; today if left out
    #[arg(long, value_name = "DATE", value_parser = entry::date)]
    date: Option<String>,
    /// Day of the test
    #[arg(long, value_name = "DATE", value_parser = entry::date)]
    tested: Option<String>,
    /// Write the sheet as a page (PDF)
    #[arg(long, value_name = "FILE")]
    pdf: Option<PathBuf>,
    /// Size of the page
    #[arg(long, value_enum, default_value_t = PaperWord::A4)]
    paper: PaperWord,
    /// Print JSON (docs/json.md) instead of text
    #[arg(long)]
    json: bool,
    #[command(flatten)]
    reading: Reading,
}

/// Size of the page.
#[derive(Debug, Clone, Copy, PartialEq, Eq, ValueEnum)]
enum PaperWord {
    /// 210 x 297 mm
    A4,
    /// 8.5 x 11 inches
    Letter,
}

#[derive(Serialize)]
struct SheetAnswer<'a> {
    schema: u32,
    program: &'static str,
    task: &'static str,
    answered: bool,
    sheet: &'a Sheet,
    findings: &'a [Finding],
}

pub(in crate::headless) fn run(task: &SheetTask) -> Result<Outcome, Failure> {
    let progress = Progress::start(task.reading.quiet);
    let solved = solved(&task.session, &task.reading, None, &progress)?;
    let folder = task.session.parent().unwrap_or(Path::new(""));
    let mut printing = task.printed.printing(&solved.loaded.session, folder)?;
    if let Some(process) = &task.process {
        printing.process = process.clone();
    }
    if printing.recipe.is_none() {
        return Err(Failure::usage(
            "the session has no recipe yet: give it with --recipe \"10s at f/8\"",
        ));
    }
    let pair = task.printed.pair(&solved.analysis)?;
    let mut session = solved.loaded.session;
    session.printing = Some(Box::new(printing));
    let said = |gap: Gap| no_answer(format!("no exposure can be planned: {}", gap.reason()));
    let basis = session.basis(&solved.analysis, pair).map_err(said)?;
    let plan = match session.plan(&solved.analysis, pair) {
        Some(plan) => plan.map_err(said)?,
        None => return Err(said(Gap::NotMeasured)),
    };
    let printing = session.printing.take().unwrap_or_default();
    let source = Source {
        name: task.session.file_stem().map_or_else(String::new, |stem| {
            format!("session {}", stem.to_string_lossy())
        }),
        tested: task.tested.clone().unwrap_or_default(),
        made: task
            .date
            .clone()
            .unwrap_or_else(|| output::today().to_string()),
    };
    let sheet = Sheet::filled(&printing, &plan, &basis, &source);
    if let Some(file) = &task.pdf {
        let picture = match &printing.print {
            Some(print) => Some(thumbnail(print, &task.reading, &progress)?),
            None => None,
        };
        let paper = match task.paper {
            PaperWord::A4 => PaperSize::A4,
            PaperWord::Letter => PaperSize::Letter,
        };
        let page = pdf(&sheet, picture.flatten().as_ref(), paper)
            .map_err(|error| Failure::not_written(error.to_string()))?;
        atomic::write(file, &page)?;
    }
    progress.finish();
    let text = if task.json {
        json::text(&SheetAnswer {
            schema: json::SCHEMA,
            program: json::PROGRAM,
            task: "sheet",
            answered: plan.printable(),
            sheet: &sheet,
            findings: &plan.findings,
        })
    } else {
        plain_text(&sheet)
    };
    output::print(&text)?;
    Ok(if plan.printable() {
        Outcome::Answered
    } else {
        Outcome::NoAnswer
    })
}

/// The print's scan as a small picture.
fn thumbnail(
    print: &crate::document::Scan,
    reading: &Reading,
    progress: &Progress,
) -> Result<Option<Thumbnail>, Failure> {
    progress.stage(format!("reading {}", print.path.display()));
    let options = load::options(print, reading);
    let read = scan::read_scan(&print.path, &options, progress)?;
    // For a thumbnail the encoding's own white will do.
    let scale = assumed_white(1.0);
    let channel = Channel::Luminance;
    let small = PrintPicture::new(&read, &scale, channel, Thumbnail::LONGEST, progress)?;
    Ok(Thumbnail::of(&small.screen, small.width, small.height))
}
