//! What this bench works out in the background: making, opening and writing a calibration.

use std::path::PathBuf;
use std::sync::atomic::{AtomicUsize, Ordering};
use std::sync::{Arc, Mutex, PoisonError};

use crate::document::Encoding;
use crate::files::calibration::{Making, NotMade, make, read_calibration, write_calibration};
use crate::files::scan::ScanOptions;
use crate::measure::calibrating::{Judged, References, judge};
use crate::measure::scale::calibration::Calibration;
use crate::measure::watch::{Cancelled, Watch};
use crate::window::jobs::{Job, Latest, Outcome, Wake};

/// All that a calibration's figures hang on.
#[derive(Debug, Clone, PartialEq)]
pub struct Question {
    /// Scans of the wedge.
    pub scans: Vec<PathBuf>,
    /// How their code values are encoded, where the person says so.
    pub encoding: Option<Encoding>,
    /// The wedge's densities.
    pub references: References,
    /// Standard uncertainty of each.
    pub uncertainty: f64,
}

/// A calibration and what it is good for.
#[derive(Debug, Clone)]
pub struct Known {
    /// The calibration; one that is being made has no names yet.
    pub calibration: Arc<Calibration>,
    /// What it is good for.
    pub judged: Arc<Judged>,
}

/// A calibration on show that stands in a file.
#[derive(Debug, Clone)]
pub struct Kept {
    /// The file.
    pub file: PathBuf,
    /// BLAKE3 of its content.
    pub hash: String,
    /// What stands in it.
    pub known: Known,
}

/// How the calibration that is being made stands.
pub enum Standing<'a> {
    /// Nothing was asked.
    Nothing,
    /// Being worked out: share done, and what is being done.
    Working(f32, String),
    /// The person called it off.
    CalledOff,
    /// Scans can't be read, and why.
    Failed(&'a str),
    /// It broke down.
    Crashed,
    /// Worked out.
    Made(&'a Known),
}

/// What is to be told of work that is done.
pub enum News {
    /// A calibration was read: it is on show.
    Opened,
    /// A calibration was written.
    Written(Kept),
    /// Something failed.
    Failed(String),
}

type Written = Result<Kept, String>;

/// Making, opening and writing.
#[derive(Default)]
pub struct Work {
    made: Latest<u64, Result<Known, String>>,
    question: Option<Question>,
    asked: u64,
    called_off: Option<u64>,
    stage: Arc<Mutex<String>>,
    opening: Option<Job<Written>>,
    writing: Option<Job<Written>>,
    /// The one that was opened, on show instead of the one that is made.
    pub opened: Option<Kept>,
    /// The one that was made and written last.
    written: Option<Kept>,
}

impl Work {
    /// Looks after the work; once a frame.
    pub fn tend(&mut self, question: Option<Question>, wake: &Wake) -> Option<News> {
        if question != self.question {
            self.asked += 1;
            self.question = question;
        }
        let (asked, stage) = (self.asked, &self.stage);
        if let Some(question) = &self.question
            && self.called_off != Some(asked)
        {
            self.made
                .ask(asked, || making(question.clone(), Arc::clone(stage), wake));
        }
        if let Some(came) = finished(&mut self.opening) {
            return Some(match came {
                Ok(kept) => {
                    self.opened = Some(kept);
                    News::Opened
                }
                Err(why) => News::Failed(why),
            });
        }
        finished(&mut self.writing).map(|came| match came {
            Ok(kept) => {
                self.written = Some(kept.clone());
                News::Written(kept)
            }
            Err(why) => News::Failed(why),
        })
    }

    /// How the one that is being made stands.
    pub fn standing(&self) -> Standing<'_> {
        if self.question.is_none() {
            return Standing::Nothing;
        }
        if self.called_off == Some(self.asked) {
            return Standing::CalledOff;
        }
        if self.made.crashed(self.asked) {
            return Standing::Crashed;
        }
        match self.made.shown().map(AsRef::as_ref) {
            Some(Ok(known)) if self.made.is_current(self.asked) => Standing::Made(known),
            Some(Err(why)) if self.made.is_current(self.asked) => Standing::Failed(why),
            _ => {
                let stage = self.stage.lock().unwrap_or_else(PoisonError::into_inner);
                Standing::Working(self.made.progress().unwrap_or(0.0), stage.clone())
            }
        }
    }

    /// Calls off what is being made.
    pub fn call_off(&mut self) {
        self.called_off = Some(self.asked);
        self.made.clear();
    }

    /// Begins again what was called off.
    pub fn again(&mut self) {
        self.called_off = None;
    }

    /// Reads a calibration's file.
    pub fn open(&mut self, file: PathBuf, wake: &Wake) {
        self.opening = Some(Job::start("open calibration", wake, move |_| {
            Ok(read_calibration(&file)
                .map(|(calibration, hash)| Kept {
                    file,
                    hash,
                    known: known(calibration),
                })
                .map_err(|error| error.to_string()))
        }));
    }

    /// Whether a file is being read or written.
    pub fn is_busy(&self) -> bool {
        self.opening.is_some() || self.writing.is_some()
    }

    /// Writes a calibration; what stood in the file is kept beside it.
    pub fn write(&mut self, file: PathBuf, known: Known, wake: &Wake) {
        self.writing = Some(Job::start("write calibration", wake, move |_| {
            Ok(write_calibration(&file, &known.calibration)
                .map(|hash| Kept { file, hash, known })
                .map_err(|error| error.to_string()))
        }));
    }

    /// The file of a calibration that was made here, if it was written as it is.
    pub fn kept(&self, calibration: &Calibration) -> Option<&Kept> {
        self.written
            .as_ref()
            .filter(|kept| *kept.known.calibration == *calibration)
    }
}

fn known(calibration: Calibration) -> Known {
    let judged = judge(&calibration, Vec::new());
    Known {
        calibration: Arc::new(calibration),
        judged: Arc::new(judged),
    }
}

/// The outcome of a job, once.
fn finished(job: &mut Option<Job<Written>>) -> Option<Written> {
    let came = match job.as_ref()?.poll() {
        Outcome::Working => return None,
        Outcome::Done(came) => came,
        Outcome::Cancelled => Err("That was called off.".into()),
        Outcome::Crashed => Err("That broke down; please report this.".into()),
    };
    *job = None;
    Some(came)
}

/// A part of the work after the other, as one progress that never goes back.
struct Parts<'a> {
    watch: &'a dyn Watch,
    /// Parts begun.
    begun: AtomicUsize,
    of: usize,
    /// Thousandths of all that were told.
    told: AtomicUsize,
}

impl Watch for Parts<'_> {
    fn at(&self, done: usize, of: usize) -> Result<(), Cancelled> {
        let before = self.begun.load(Ordering::Relaxed).saturating_sub(1);
        let now = (1000 * before + 1000 * done.min(of) / of.max(1)) / self.of.max(1);
        let told = self.told.fetch_max(now, Ordering::Relaxed).max(now);
        self.watch.at(told, 1000)
    }
}

fn making(
    question: Question,
    stage: Arc<Mutex<String>>,
    wake: &Wake,
) -> Job<Result<Known, String>> {
    let options = ScanOptions {
        stated: question.encoding.map(Into::into),
        ..ScanOptions::default()
    };
    let making = Making {
        scans: question
            .scans
            .into_iter()
            .map(|path| (path, options, question.references.clone()))
            .collect(),
        scanner: String::new(),
        settings: String::new(),
        made: String::new(),
        uncertainty: question.uncertainty,
    };
    Job::start("calibrate", wake, move |watch| {
        let parts = Parts {
            watch,
            begun: AtomicUsize::new(0),
            of: making.scans.len() + 1,
            told: AtomicUsize::new(0),
        };
        let say = |words: String| {
            parts.begun.fetch_add(1, Ordering::Relaxed);
            *stage.lock().unwrap_or_else(PoisonError::into_inner) = words;
        };
        match make(making, &say, &parts) {
            Ok((calibration, judged)) => Ok(Ok(Known {
                calibration: Arc::new(calibration),
                judged: Arc::new(judged),
            })),
            Err(NotMade::Cancelled(cancelled)) => Err(cancelled),
            Err(NotMade::Scan(error)) => Ok(Err(error.to_string())),
        }
    })
}

#[cfg(test)]
mod tests {
    use super::*;

    fn question(file: &str) -> Question {
        Question {
            scans: vec![file.into()],
            encoding: None,
            references: References {
                visual: vec![0.1, 0.5, 1.0],
                channels: None,
            },
            uncertainty: 0.01,
        }
    }

    fn until_done(work: &mut Work, asked: &Question) {
        let wake: Wake = Arc::new(|| {});
        for _ in 0..2_000 {
            work.tend(Some(asked.clone()), &wake);
            if !matches!(work.standing(), Standing::Working(..)) {
                return;
            }
            std::thread::sleep(std::time::Duration::from_millis(5));
        }
        panic!("it never ends");
    }

    #[test]
    fn what_was_called_off_stays_so_until_it_is_asked_for_again() {
        let mut work = Work::default();
        assert!(matches!(work.standing(), Standing::Nothing));
        let asked = question("no such scan.tif");
        until_done(&mut work, &asked);
        let failed = |work: &Work| match work.standing() {
            Standing::Failed(why) => why.contains("no such scan.tif"),
            _ => false,
        };
        assert!(failed(&work));
        work.call_off();
        until_done(&mut work, &asked);
        assert!(matches!(work.standing(), Standing::CalledOff));
        work.again();
        until_done(&mut work, &asked);
        assert!(failed(&work));
        // Another question is asked of its own accord.
        work.call_off();
        until_done(&mut work, &question("another.tif"));
        assert!(matches!(work.standing(), Standing::Failed(_)));
    }

    #[test]
    fn progress_over_several_parts_never_goes_back() {
        struct Seen(Mutex<Vec<usize>>);
        impl Watch for Seen {
            fn at(&self, done: usize, of: usize) -> Result<(), Cancelled> {
                assert_eq!(of, 1000);
                self.0.lock().unwrap().push(done);
                Ok(())
            }
        }
        let seen = Seen(Mutex::default());
        let parts = Parts {
            watch: &seen,
            begun: AtomicUsize::new(0),
            of: 2,
            told: AtomicUsize::new(0),
        };
        for _ in 0..2 {
            parts.begun.fetch_add(1, Ordering::Relaxed);
            // Measuring begins anew for every channel.
            for (done, of) in [(0, 4), (3, 4), (1, 4), (4, 4)] {
                parts.at(done, of).unwrap();
            }
        }
        let told = seen.0.into_inner().unwrap();
        assert!(told.is_sorted(), "{told:?}");
        assert_eq!(told.last(), Some(&1000));
    }
}
