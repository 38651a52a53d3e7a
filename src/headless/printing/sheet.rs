//! `twinstrip sheet`: the page for the bench.

use std::path::{Path, PathBuf};

use clap::{Args, ValueEnum};
use serde::Serialize;

use super::{Printed, no_answer, process, solved};
use crate::document::planning::{NoBasis, basis_of_profile};
use crate::document::printing::Planned;
use crate::document::sheet::{Process, Sheet, Source};
use crate::document::{Printing, Session};
use crate::files::clock::today;
use crate::files::output::{Kind, Replace, check, write};
use crate::files::scan;
use crate::files::sheet::{PaperSize, Thumbnail, lacking_said, pdf, plain_text, unshown};
use crate::headless::arguments::Reading;
use crate::headless::exit::{Failure, Outcome};
use crate::headless::progress::Progress;
use crate::headless::{entry, json, load, output, profile};
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
    /// The session file whose pair is planned by
    #[arg(value_name = "SESSION", required_unless_present = "profile")]
    session: Option<PathBuf>,
    /// A profile on the shelf to plan by, instead of a session
    #[arg(long, value_name = "PROFILE", conflicts_with = "session")]
    profile: Option<String>,
    /// Folder of the profiles; TWINSTRIP_SHELF or your data folder if left out
    #[arg(long, value_name = "FOLDER")]
    shelf: Option<PathBuf>,
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
    /// Replace a page that is there; it is kept with `.before` added to its name
    #[arg(long, requires = "pdf")]
    overwrite: bool,
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
    let replace = Replace::when(task.overwrite);
    if let Some(file) = &task.pdf {
        check(file, replace, &Kind::Other)?;
    }
    let progress = Progress::start(task.reading.quiet);
    let (printing, planned, source) = match (&task.profile, &task.session) {
        (Some(wanted), _) => by_profile(task, wanted)?,
        (None, Some(session)) => by_session(task, session, &progress)?,
        (None, None) => return Err(Failure::usage("give a session file, or --profile")),
    };
    let plan = &planned.plan;
    let sheet = Sheet::filled(&printing, &planned, &source);
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
        write(file, &page, replace)?;
        if let Some(said) = lacking_said(&unshown(&sheet)) {
            output::remark(&said, false);
        }
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

/// What is printed, the plan for it, and where the knowledge comes from.
type Found = (Printing, Planned, Source);

/// The print with the baths from the arguments, once it has a recipe.
fn complete(task: &SheetTask, mut printing: Printing) -> Result<Printing, Failure> {
    if let Some(process) = &task.process {
        printing.process = process.clone();
    }
    if printing.recipe.is_none() {
        return Err(Failure::usage(
            "there is no recipe yet: give it with --recipe \"10s at f/8\"",
        ));
    }
    Ok(printing)
}

fn source(task: &SheetTask, name: String, tested: Option<String>) -> Source {
    Source {
        name,
        tested: task.tested.clone().or(tested).unwrap_or_default(),
        made: task.date.clone().unwrap_or_else(|| today().to_string()),
    }
}

fn nothing(none: NoBasis) -> Failure {
    no_answer(format!("nothing can be planned: {none}"))
}

fn by_session(task: &SheetTask, file: &Path, progress: &Progress) -> Result<Found, Failure> {
    let solved = solved(file, &task.reading, None, progress)?;
    let folder = file.parent().unwrap_or(Path::new(""));
    let mut session = solved.loaded.session;
    let printing = complete(task, task.printed.printing(&session, folder)?)?;
    let pair = task.printed.pair(&solved.analysis)?;
    session.printing = Some(Box::new(printing.clone()));
    let planned = session
        .planned(&solved.analysis, pair)
        .ok_or_else(|| nothing(NoBasis::NoPair(String::new())))?
        .map_err(nothing)?;
    let name = file.file_name().unwrap_or_default().to_string_lossy();
    Ok((printing, planned, source(task, name.into_owned(), None)))
}

fn by_profile(task: &SheetTask, wanted: &str) -> Result<Found, Failure> {
    let profile = profile::found(task.shelf.clone(), wanted)?;
    let printing = task.printed.printing(&Session::default(), Path::new(""))?;
    let printing = complete(task, printing)?;
    let basis = basis_of_profile(&profile).map_err(nothing)?;
    let planned = printing
        .planned(basis)
        .ok_or_else(|| nothing(NoBasis::Nothing(profile.name.clone())))?;
    let newest = profile
        .evidence
        .iter()
        .filter_map(|one| one.origin.date)
        .max();
    let name = format!("profile of {} sessions", profile.evidence.len());
    let tested = newest.map(|day| day.to_string());
    Ok((printing, planned, source(task, name, tested)))
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
