//! Work that the window waits for without standing still.
//!
//! [`Job`] is one piece of work on a thread of its own; [`Latest`] keeps the newest answer to a
//! question that changes. Neither knows the window: whoever starts a job hands it a [`Wake`].

mod latest;

#[cfg(test)]
mod tests;

use std::panic::{AssertUnwindSafe, catch_unwind};
use std::sync::Arc;
use std::sync::atomic::{AtomicBool, AtomicUsize, Ordering};
use std::sync::mpsc::{Receiver, TryRecvError, sync_channel};

use crate::measure::watch::{Cancelled, Watch};

pub use latest::Latest;

/// Asks whoever waits to look again.
pub type Wake = Arc<dyn Fn() + Send + Sync>;

/// Times a job wakes its waiter to show progress.
const WAKES: usize = 100;

/// How a job came out.
#[derive(Debug)]
pub enum Outcome<T> {
    /// It is still at work.
    Working,
    /// It has an answer.
    Done(T),
    /// It was called off; nothing to tell.
    Cancelled,
    /// It broke down.
    Crashed,
}

/// What both sides of a job see.
struct Shared {
    done: AtomicUsize,
    of: AtomicUsize,
    woken: AtomicUsize,
    cancelled: AtomicBool,
    wake: Wake,
}

impl Watch for Shared {
    fn at(&self, done: usize, of: usize) -> Result<(), Cancelled> {
        self.done.store(done, Ordering::Relaxed);
        self.of.store(of, Ordering::Relaxed);
        let part = done * WAKES / of.max(1);
        if self.woken.swap(part, Ordering::Relaxed) != part {
            (self.wake)();
        }
        if self.cancelled.load(Ordering::Relaxed) {
            Err(Cancelled)
        } else {
            Ok(())
        }
    }
}

struct WakeOnDrop(Arc<Shared>);

impl Drop for WakeOnDrop {
    fn drop(&mut self) {
        (self.0.wake)();
    }
}

/// One piece of work on its own thread. Letting go of it calls it off.
pub struct Job<T> {
    shared: Arc<Shared>,
    answer: Receiver<Option<T>>,
}

impl<T: Send + 'static> Job<T> {
    /// Starts work; it reports to the watch and stops when that says so.
    pub fn start(
        name: &str,
        wake: &Wake,
        work: impl FnOnce(&dyn Watch) -> Result<T, Cancelled> + Send + 'static,
    ) -> Self {
        let shared = Arc::new(Shared {
            done: AtomicUsize::new(0),
            of: AtomicUsize::new(0),
            woken: AtomicUsize::new(0),
            cancelled: AtomicBool::new(false),
            wake: Arc::clone(wake),
        });
        let (send, answer) = sync_channel(1);
        let theirs = Arc::clone(&shared);
        let body = move || {
            // Declared before `send`, hence dropped after it, also when `work` panics: the
            // window must find the answer, or its absence, when it wakes.
            let _wake = WakeOnDrop(Arc::clone(&theirs));
            let send = send;
            // Work that breaks down sends nothing; the closed channel tells.
            if let Ok(result) = catch_unwind(AssertUnwindSafe(|| work(&*theirs))) {
                send.send(result.ok()).ok();
            }
        };
        // Without a thread the channel is closed at once, which reads as a crash.
        std::thread::Builder::new()
            .name(name.to_owned())
            .spawn(body)
            .ok();
        Self { shared, answer }
    }
}

impl<T> Job<T> {
    /// How it stands. An answer is handed out once.
    pub fn poll(&self) -> Outcome<T> {
        match self.answer.try_recv() {
            Ok(Some(answer)) => Outcome::Done(answer),
            Ok(None) => Outcome::Cancelled,
            Err(TryRecvError::Empty) => Outcome::Working,
            Err(TryRecvError::Disconnected) => Outcome::Crashed,
        }
    }

    /// Share done so far, 0 to 1; `None` before it says anything.
    pub fn progress(&self) -> Option<f32> {
        let of = self.shared.of.load(Ordering::Relaxed);
        let done = self.shared.done.load(Ordering::Relaxed);
        (of > 0).then(|| (done as f32 / of as f32).min(1.0))
    }

    /// Calls it off; it ends at its next report.
    pub fn cancel(&self) {
        self.shared.cancelled.store(true, Ordering::Relaxed);
    }
}

impl<T> Drop for Job<T> {
    fn drop(&mut self) {
        self.cancel();
    }
}
