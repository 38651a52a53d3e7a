//! Sessions and scans into memory.

use std::path::{Path, PathBuf};
use std::sync::Arc;

use super::arguments::{Measuring, Reading};
use super::exit::{Failure, Outcome};
use super::progress::Progress;
use crate::document::day::Day;
use crate::document::profile::ScanMark;
use crate::document::{Scan, Session, UsedCalibration};
use crate::files::calibration::read_calibration;
use crate::files::clock::day_of_session;
use crate::files::scan::{Limits, ScanOptions, content_hash, read_scan_and_hash};
use crate::files::session::read_session_and_hash;
use crate::files::text::{read_text, text_hash};
use crate::measure::analysis::Question;
use crate::measure::finding::{Finding, Kind, Place, Weight};
use crate::measure::raster::Raster;

/// A session and its decoded scans.
pub(super) struct Loaded {
    pub(super) session: Session,
    pub(super) scans: Vec<Arc<Raster>>,
    /// The scan of the empty glass.
    pub(super) empty: Option<Arc<Raster>>,
    /// What loading itself has to say.
    pub(super) findings: Vec<Finding>,
    /// Hash of the session file's text as it was read; empty without a file.
    hash: String,
    /// Fingerprints of the scans as they were read.
    hashes: Vec<String>,
}

impl Loaded {
    /// What the analysis is asked.
    pub(super) fn question(&self) -> Question {
        let question = self.session.question(self.scans.clone());
        question.on_glass(self.empty.clone())
    }

    /// The day of the session, as its scans tell it.
    pub(super) fn day(&self, session: &Path) -> Option<Day> {
        let folder = session.parent().unwrap_or(Path::new(""));
        let scans: Vec<PathBuf> = self
            .session
            .scans
            .iter()
            .map(|scan| folder.join(&scan.path))
            .collect();
        day_of_session(scans.iter().map(PathBuf::as_path))
    }

    /// Hash of the session file's text as it was read.
    pub(super) fn session_hash(&self) -> &str {
        &self.hash
    }

    /// Where the scans lie, as the session file says, and what they held when they were read.
    pub(super) fn scan_marks(&self) -> Vec<ScanMark> {
        let scans = self.session.scans.iter().zip(&self.hashes);
        scans
            .map(|(scan, hash)| ScanMark {
                path: scan.path.display().to_string(),
                hash: hash.clone(),
            })
            .collect()
    }

    /// Refuses a session whose file or scans were changed since they were read: what was solved
    /// is no longer what stands there.
    pub(super) fn unchanged(&self, session: &Path, progress: &Progress) -> Result<(), Failure> {
        let changed = |path: &Path| Failure {
            outcome: Outcome::UnreadableInput,
            message: format!(
                "{}: this file was changed while the session was solved; nothing was kept. Solve \
                 it again",
                path.display()
            ),
        };
        if text_hash(&read_text(session)?) != self.hash {
            return Err(changed(session));
        }
        let folder = session.parent().unwrap_or(Path::new(""));
        for (scan, hash) in self.session.scans.iter().zip(&self.hashes) {
            let path = folder.join(&scan.path);
            if content_hash(&path, progress)? != *hash {
                return Err(changed(&path));
            }
        }
        Ok(())
    }
}

/// Reads a session file and its scans. A scan of the empty glass given here goes before the one
/// that the session names, which then needn't be there.
pub(super) fn session(
    path: &Path,
    reading: &Reading,
    empty: Option<&Path>,
    progress: &Progress,
) -> Result<Loaded, Failure> {
    let (session, hash) = read_session_and_hash(path)?;
    let folder = path.parent().unwrap_or(Path::new(""));
    let loaded = scans(session, folder, reading, empty, progress)?;
    Ok(Loaded { hash, ..loaded })
}

/// Reads the scans of a session that lie in this folder; the empty scan as with [`session`].
pub(super) fn scans(
    mut session: Session,
    folder: &Path,
    reading: &Reading,
    empty: Option<&Path>,
    progress: &Progress,
) -> Result<Loaded, Failure> {
    let mut findings = Vec::new();
    let mut scans = Vec::with_capacity(session.scans.len());
    let mut hashes = Vec::with_capacity(session.scans.len());
    for (index, scan) in session.scans.iter().enumerate() {
        let (raster, hash) = one_scan(scan, folder, reading, progress)?;
        scans.push(raster);
        if !is_expected(scan, &hash) {
            findings.push(changed(index, scan));
        }
        hashes.push(hash);
    }
    let mut empty_folder = folder;
    if let Some(file) = empty {
        session.empty = Some(Scan::new(file));
        empty_folder = Path::new("");
        let checked = session.check();
        checked.map_err(|error| Failure::usage(error.to_string()))?;
    }
    let mut empty = None;
    if let Some(scan) = &session.empty {
        let (raster, hash) = one_scan(scan, empty_folder, reading, progress)?;
        empty = Some(raster);
        if !is_expected(scan, &hash) {
            findings.push(changed_empty(scan));
        }
    }
    Ok(Loaded {
        session,
        scans,
        empty,
        findings,
        hash: String::new(),
        hashes,
    })
}

/// A decoded scan, and the fingerprint of what was read.
fn one_scan(
    scan: &Scan,
    folder: &Path,
    reading: &Reading,
    progress: &Progress,
) -> Result<(Arc<Raster>, String), Failure> {
    let path = folder.join(&scan.path);
    progress.stage(format!("reading {}", scan.path.display()));
    let (raster, hash) = read_scan_and_hash(&path, &options(scan, reading), progress)?;
    Ok((Arc::new(raster), hash))
}

/// Whether it is the file that the session was made with, as far as that is known.
fn is_expected(scan: &Scan, hash: &str) -> bool {
    scan.hash.as_ref().is_none_or(|expected| expected == hash)
}

/// A session of bare scans, with nothing known of their strips.
pub(super) fn bare(scans: &[PathBuf]) -> Session {
    Session {
        scans: scans.iter().map(Scan::new).collect(),
        ..Session::default()
    }
}

/// How a scan is read: what the arguments say goes before what the session says.
pub(super) fn options(scan: &Scan, reading: &Reading) -> ScanOptions {
    let usual = Limits::default();
    let max_pixels = reading.max_pixels.unwrap_or(usual.max_pixels);
    ScanOptions {
        limits: Limits {
            max_pixels,
            // Whoever raises the count of pixels means the memory too: six bytes a pixel.
            max_bytes: usual.max_bytes.max(max_pixels.saturating_mul(6)),
        },
        stated: reading.encoding.or(scan.encoding).map(Into::into),
    }
}

/// Takes what was said on the command line, before what the session says itself; the empty scan
/// was taken with the scans.
pub(super) fn measuring(loaded: &mut Loaded, said: &Measuring) -> Result<(), Failure> {
    if let Some(channel) = said.channel {
        loaded.session.settings.channel = channel;
    }
    calibration(&mut loaded.session, said.calibration.as_deref())
}

/// Takes a calibration file into a session, before the one that it names itself.
pub(super) fn calibration(session: &mut Session, file: Option<&Path>) -> Result<(), Failure> {
    if let Some(file) = file {
        let (calibration, hash) = read_calibration(file)?;
        session.calibration = Some(UsedCalibration {
            calibration: Arc::new(calibration),
            file: Some(file.to_owned()),
            hash: Some(hash),
        });
    }
    Ok(())
}

fn changed(index: usize, scan: &Scan) -> Finding {
    Finding {
        kind: Kind::ScanNote,
        weight: Weight::Caution,
        place: Place::scan(index),
        seen: format!(
            "{} is not the file that the session was made with",
            scan.path.display()
        ),
        matters: "Outlines and excluded steps in the session may belong to other places.".into(),
        remedy: "Check that it is the right scan; if it is, remove its hash from the session."
            .into(),
    }
}

fn changed_empty(scan: &Scan) -> Finding {
    Finding {
        kind: Kind::EmptyScan,
        weight: Weight::Caution,
        place: Place::default(),
        seen: format!(
            "{} is not the file that the session was made with",
            scan.path.display()
        ),
        matters: "The glass may be lit otherwise than it shows.".into(),
        remedy: "Check that it is the right empty scan; if it is, remove its hash from the \
                 session."
            .into(),
    }
}
