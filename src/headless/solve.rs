//! `twinstrip solve`: from the session to the answer.

use super::arguments::Solve;
use super::choose::choose;
use super::exit::{Failure, Outcome};
use super::progress::Progress;
use super::{json, load, output};
use crate::document::report;
use crate::measure::analysis::{Kept, analyse_again};
use crate::measure::finding::Weight;

pub(super) fn run(task: &Solve) -> Result<Outcome, Failure> {
    let progress = Progress::start(task.measuring.reading.quiet);
    let empty = task.measuring.empty.as_deref();
    let mut loaded = load::session(&task.session, &task.measuring.reading, empty, &progress)?;
    load::measuring(&mut loaded, &task.measuring)?;
    progress.stage("measuring and solving");
    let mut kept = Kept::default();
    let mut analysis = analyse_again(&loaded.question(), &mut kept, &progress)?;
    if !task.choose.is_empty() {
        let quiet = task.measuring.reading.quiet;
        choose(&task.choose, &task.session, &mut loaded, &analysis, quiet)?;
        analysis = analyse_again(&loaded.question(), &mut kept, &progress)?;
    }
    progress.finish();
    analysis.findings.append(&mut loaded.findings);
    // Heaviest first, else as they were found.
    analysis
        .findings
        .sort_by_key(|finding| std::cmp::Reverse(finding.weight));
    debug_assert!(Weight::Blocking > Weight::Note);
    let text = if task.measuring.json {
        json::solved(&loaded, &analysis)
    } else {
        report::solved(&loaded.session, &analysis)
    };
    output::print(&text)?;
    Ok(if analysis.answered() {
        Outcome::Answered
    } else {
        Outcome::NoAnswer
    })
}
