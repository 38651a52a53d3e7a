//! Evidence of the demo session, analysed once.

use std::path::{Path, PathBuf};
use std::sync::{Arc, OnceLock};

use twinstrip::document::Session;
use twinstrip::document::day::Day;
use twinstrip::document::profile::{Evidence, Origin, ScanMark};
use twinstrip::files::scan::{ScanOptions, StatedEncoding, read_scan};
use twinstrip::files::session::read_session;
use twinstrip::measure::analysis::{Analysis, analyse};
use twinstrip::measure::watch::Unwatched;

pub fn testdata(name: &str) -> PathBuf {
    Path::new(env!("CARGO_MANIFEST_DIR"))
        .join("testdata")
        .join(name)
}

/// The demo session and its analysis.
pub fn demo_analysis() -> &'static (Session, Arc<Analysis>) {
    static DEMO: OnceLock<(Session, Arc<Analysis>)> = OnceLock::new();
    DEMO.get_or_init(|| {
        let session = read_session(&testdata("demo/session.ron")).unwrap();
        let options = ScanOptions {
            stated: Some(StatedEncoding::Srgb),
            ..ScanOptions::default()
        };
        let scan = read_scan(&testdata("demo/scan-1.tif"), &options, &Unwatched).unwrap();
        let question = session.question(vec![Arc::new(scan)]);
        let analysis = analyse(&question, &Unwatched).unwrap();
        (session, Arc::new(analysis))
    })
}

/// What the demo brings, as if it had been scanned on day `number`.
pub fn evidence(number: u32) -> Evidence {
    let (session, analysis) = demo_analysis();
    let origin = Origin {
        session: format!("slates-{number}.ron"),
        hash: format!("{number:064x}"),
        scans: vec![ScanMark {
            path: "scan-1.tif".into(),
            hash: format!("{:064x}", u64::from(number) << 32),
        }],
        date: Some(Day::since_1970(20_000 + i64::from(number))),
        remelts: Some(number),
        program: "twinstrip test".into(),
        ..Origin::default()
    };
    Evidence::of(session, analysis, 0, origin).unwrap()
}

/// A number from the environment.
pub fn wished(name: &str, usual: usize) -> usize {
    std::env::var(name)
        .ok()
        .and_then(|text| text.parse().ok())
        .unwrap_or(usual)
}
