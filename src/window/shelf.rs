//! The decoded scans of the session, read in the background.

use std::path::{Path, PathBuf};
use std::sync::Arc;

use super::jobs::{Job, Outcome, Wake};
use super::scan::pyramid::Pyramid;
use crate::document::{Encoding, Scan};
use crate::files::scan::{Problem, ScanOptions, read_scan_and_hash};
use crate::measure::raster::Raster;
use crate::measure::watch::Cancelled;

/// A scan that was read.
#[derive(Clone)]
pub struct Opened {
    /// Its pixels.
    pub raster: Arc<Raster>,
    /// Smaller copies of it for the screen.
    pub pyramid: Arc<Pyramid>,
    /// BLAKE3 of the file.
    pub hash: String,
}

/// How a scan stands.
pub enum State {
    /// Being read.
    Reading(Job<Result<Opened, String>>),
    /// Read.
    Ready(Opened),
    /// Could not be read, and why.
    Failed(String),
    /// Called off by the person.
    CalledOff,
}

struct Entry {
    path: PathBuf,
    encoding: Option<Encoding>,
    state: State,
}

/// Every scan that the session or its history names.
#[derive(Default)]
pub struct Shelf {
    entries: Vec<Entry>,
}

/// How a scan of the session stands for the analysis.
#[derive(Debug, Clone, PartialEq)]
pub enum Standing {
    /// Being read; the share done.
    Reading(f32),
    /// Read, and the file that the session was made with.
    Ready,
    /// Read, but another file than the session was made with.
    Changed,
    /// Not to be had, and why.
    Missing(String),
}

impl Shelf {
    /// Begins to read what the session names and isn't there yet; tells whether anything came in.
    pub fn tend(&mut self, scans: &[Scan], wake: &Wake) -> bool {
        let mut news = false;
        for scan in scans {
            if self.entry(scan).is_none() {
                let state = State::Reading(read(scan, wake));
                self.entries.push(Entry {
                    path: scan.path.clone(),
                    encoding: scan.encoding,
                    state,
                });
            }
        }
        for entry in &mut self.entries {
            if let State::Reading(job) = &entry.state {
                let state = match job.poll() {
                    Outcome::Working => continue,
                    Outcome::Done(Ok(opened)) => State::Ready(opened),
                    Outcome::Done(Err(why)) => State::Failed(why),
                    Outcome::Cancelled => State::CalledOff,
                    Outcome::Crashed => State::Failed("reading it broke down".into()),
                };
                entry.state = state;
                news = true;
            }
        }
        news
    }

    fn entry(&self, scan: &Scan) -> Option<&Entry> {
        self.entries
            .iter()
            .find(|entry| entry.path == scan.path && entry.encoding == scan.encoding)
    }

    /// The scan, if it was read.
    pub fn opened(&self, scan: &Scan) -> Option<&Opened> {
        match &self.entry(scan)?.state {
            State::Ready(opened) => Some(opened),
            _ => None,
        }
    }

    /// How a scan stands.
    pub fn standing(&self, scan: &Scan) -> Standing {
        match self.entry(scan).map(|entry| &entry.state) {
            None => Standing::Reading(0.0),
            Some(State::Reading(job)) => Standing::Reading(job.progress().unwrap_or(0.0)),
            Some(State::Ready(opened)) => match &scan.hash {
                Some(hash) if *hash != opened.hash => Standing::Changed,
                _ => Standing::Ready,
            },
            Some(State::Failed(why)) => Standing::Missing(why.clone()),
            Some(State::CalledOff) => Standing::Missing("reading it was called off".into()),
        }
    }

    /// Calls off what is being read.
    pub fn cancel(&self) {
        for entry in &self.entries {
            if let State::Reading(job) = &entry.state {
                job.cancel();
            }
        }
    }

    /// Reads a scan anew.
    pub fn again(&mut self, path: &Path) {
        self.entries.retain(|entry| entry.path != path);
    }

    /// Puts everything away.
    pub fn clear(&mut self) {
        self.entries.clear();
    }
}

/// Part of the work of opening a scan that is reading it, for its progress.
const HASHED: usize = 80;

fn read(scan: &Scan, wake: &Wake) -> Job<Result<Opened, String>> {
    let path = scan.path.clone();
    let options = ScanOptions {
        stated: scan.encoding.map(Into::into),
        ..ScanOptions::default()
    };
    Job::start("read scan", wake, move |watch| {
        let part = |from: usize, to: usize| Part { watch, from, to };
        let (raster, hash) = match read_scan_and_hash(&path, &options, &part(0, HASHED)) {
            Ok((raster, hash)) => (Arc::new(raster), hash),
            Err(error) if matches!(error.problem, Problem::Cancelled) => return Err(Cancelled),
            Err(error) => return Ok(Err(error.to_string())),
        };
        let pyramid = Arc::new(Pyramid::of(&raster, &part(HASHED, 100))?);
        Ok(Ok(Opened {
            raster,
            pyramid,
            hash,
        }))
    })
}

/// A part of a longer work, in hundredths of the whole.
struct Part<'a> {
    watch: &'a dyn crate::measure::watch::Watch,
    from: usize,
    to: usize,
}

impl crate::measure::watch::Watch for Part<'_> {
    fn at(&self, done: usize, of: usize) -> Result<(), Cancelled> {
        let share = done as f64 / of.max(1) as f64;
        let span = (self.to - self.from) as f64;
        self.watch
            .at(self.from + (span * share.min(1.0)) as usize, 100)
    }
}
