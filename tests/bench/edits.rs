//! From an edit of the demo to its answer.

use std::path::Path;
use std::sync::Arc;
use std::time::Instant;

use twinstrip::document::{Edit, Session};
use twinstrip::files::scan::{ScanOptions, StatedEncoding, read_scan};
use twinstrip::files::session::read_session;
use twinstrip::measure::analysis::{Analysis, Kept, analyse_again};
use twinstrip::measure::exposure::Exposure;
use twinstrip::measure::watch::Unwatched;

use crate::tell;

/// Times that each sort of edit is made.
const TIMES: usize = 15;

/// The demo's session.
pub fn demo() -> (std::path::PathBuf, Session) {
    let folder = Path::new(env!("CARGO_MANIFEST_DIR"))
        .join("testdata")
        .join("demo");
    let session = read_session(&folder.join("session.ron")).expect("the demo");
    (folder, session)
}

/// Times of edits that need no new pixels (a step left out, other exposures), and of those that
/// do (a border of one strip or the other moved).
pub fn run() {
    let (folder, session) = demo();
    let options = ScanOptions {
        stated: Some(StatedEncoding::Srgb),
        ..ScanOptions::default()
    };
    let scan = read_scan(&folder.join("scan-1.tif"), &options, &Unwatched);
    let scan = Arc::new(scan.expect("the demo's scan"));
    let mut kept = Kept::default();
    let mut solve = |session: &Session| {
        let begun = Instant::now();
        let question = session.question(vec![Arc::clone(&scan)]);
        let analysis = analyse_again(&question, &mut kept, &Unwatched).expect("nobody cancels");
        (begun.elapsed().as_secs_f64() * 1e3, analysis)
    };
    let (first, analysis) = solve(&session);
    println!("demo: first answer after {first:.0} ms");
    let mut time = |what: &str, edit: &dyn Fn(usize) -> Edit| {
        let times = (1..=TIMES).map(|count| {
            let edited = edit(count).apply(&session).expect("an edit that can be");
            solve(&edited).0
        });
        tell(&format!("demo: {what}"), times.collect());
    };
    time("a step left out", &|count| Edit::ExcludeStep {
        strip: 0,
        step: 1 + count % 5,
    });
    time("other exposures", &|count| {
        let words = format!("halves from {count}.5s, 10 steps at f/16");
        Edit::SetExposure {
            strip: 1,
            exposure: Some(Exposure::read(&words).expect("a series")),
        }
    });
    time("a border of the slate moved", &|count| {
        border(&analysis, 0, count)
    });
    time("a border of the paper moved", &|count| {
        border(&analysis, 1, count)
    });
}

fn border(analysis: &Analysis, strip: usize, moved: usize) -> Edit {
    let located = analysis.strips[strip].located.as_ref();
    let mut shape = located.expect("a strip of the demo").shape.clone();
    shape.edges[3].left += 0.0004 * moved as f64;
    shape.edges[3].right += 0.0004 * moved as f64;
    Edit::SetShape {
        strip,
        shape: Some(shape),
    }
}
