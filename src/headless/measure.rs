//! `twinstrip measure`: the density of every step.

use std::path::Path;

use super::arguments::Measure;
use super::exit::{Failure, Outcome};
use super::progress::Progress;
use super::{entry, json, load, output};
use crate::document::report;
use crate::measure::analysis::analyse;

pub(super) fn run(task: &Measure) -> Result<Outcome, Failure> {
    let progress = Progress::start(task.measuring.reading.quiet);
    let empty = task.measuring.empty.as_deref();
    let mut loaded = if let Some(session) = session_file(task)? {
        load::session(session, &task.measuring.reading, empty, &progress)?
    } else {
        let mut session = load::bare(&task.inputs);
        if let Some(text) = &task.wedge {
            session.wedge = Some(entry::wedge(text).map_err(Failure::usage)??);
        }
        load::scans(
            session,
            Path::new(""),
            &task.measuring.reading,
            empty,
            &progress,
        )?
    };
    load::measuring(&mut loaded, &task.measuring)?;
    progress.stage("measuring");
    let question = loaded.question();
    let mut analysis = analyse(&question, &progress)?;
    progress.finish();
    analysis.findings.append(&mut loaded.findings);
    // Without a pair to solve, measuring is all that was asked.
    analysis.pairs.clear();
    let measured = analysis.strips.iter().any(|strip| !strip.steps.is_empty());
    let text = if task.measuring.json {
        json::measured(&loaded, &analysis)
    } else {
        report::measured(&loaded.session, &analysis)
    };
    output::print(&text)?;
    Ok(if measured {
        Outcome::Answered
    } else {
        Outcome::NoAnswer
    })
}

/// The session file, when one is given rather than scans.
fn session_file(task: &Measure) -> Result<Option<&Path>, Failure> {
    let is_session = |path: &Path| path.extension().is_some_and(|ext| ext == "ron");
    match task.inputs.as_slice() {
        [only] if is_session(only) && task.wedge.is_none() => Ok(Some(only)),
        [only] if is_session(only) => Err(Failure::usage(
            "--wedge goes with scans; a session says itself which wedge it has",
        )),
        several if several.iter().any(|path| is_session(path)) => Err(Failure::usage(
            "give one session file, or scans, but not both",
        )),
        _ => Ok(None),
    }
}
