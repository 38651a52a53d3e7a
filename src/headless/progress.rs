//! Progress on standard error, and Ctrl-C.

use std::io::{self, IsTerminal as _, Write as _};
use std::sync::atomic::{AtomicBool, AtomicU64, Ordering};
use std::sync::{Mutex, Once, PoisonError};

use crate::document::plain::spelled_line;
use crate::measure::watch::{Cancelled, Watch};

static CALLED_OFF: AtomicBool = AtomicBool::new(false);
/// Whether Ctrl-C ends the program at once: where nothing is written that could be left half done.
static AT_ONCE: AtomicBool = AtomicBool::new(false);
static LISTEN: Once = Once::new();

/// Exit code after a second Ctrl-C, when the work doesn't come to its next report.
const CANCELLED: i32 = 130;

/// A line on standard error, and the flag that Ctrl-C sets.
#[derive(Debug)]
pub(super) struct Progress {
    shown: bool,
    stage: Mutex<String>,
    /// Last percentage shown, to write a line a hundred times at most.
    last: AtomicU64,
}

impl Progress {
    /// Begins to listen for Ctrl-C; shows progress on a terminal, unless it is to be quiet.
    pub(super) fn start(quiet: bool) -> Self {
        LISTEN.call_once(|| {
            // Without a handler Ctrl-C ends the program at once, which is no worse.
            ctrlc::set_handler(|| {
                if CALLED_OFF.swap(true, Ordering::SeqCst) || AT_ONCE.load(Ordering::SeqCst) {
                    std::process::exit(CANCELLED);
                }
            })
            .ok();
        });
        Self {
            shown: !quiet && io::stderr().is_terminal(),
            stage: Mutex::new(String::new()),
            last: AtomicU64::new(u64::MAX),
        }
    }

    /// As [`Self::start`], for work that only reads and prints: Ctrl-C ends it at once.
    pub(super) fn start_reading(quiet: bool) -> Self {
        AT_ONCE.store(true, Ordering::SeqCst);
        Self::start(quiet)
    }

    /// Says what is being done from now on.
    pub(super) fn stage(&self, what: impl Into<String>) {
        let mut stage = self.stage.lock().unwrap_or_else(PoisonError::into_inner);
        *stage = spelled_line(&what.into());
        self.last.store(u64::MAX, Ordering::Relaxed);
    }

    /// Wipes the line.
    pub(super) fn finish(&self) {
        if self.shown {
            write!(io::stderr(), "\r\x1b[2K").ok();
        }
    }

    fn show(&self, percent: u64) {
        if self.last.swap(percent, Ordering::Relaxed) == percent {
            return;
        }
        let stage = self.stage.lock().unwrap_or_else(PoisonError::into_inner);
        write!(io::stderr(), "\r\x1b[2K{stage} {percent} %").ok();
    }
}

impl Watch for Progress {
    fn at(&self, done: usize, of: usize) -> Result<(), Cancelled> {
        if CALLED_OFF.load(Ordering::Relaxed) {
            self.finish();
            return Err(Cancelled);
        }
        if self.shown {
            self.show((100 * done / of.max(1)).min(100) as u64);
        }
        Ok(())
    }
}

impl Drop for Progress {
    fn drop(&mut self) {
        self.finish();
    }
}
