//! The newest answer to a question that changes.

use std::sync::Arc;

use super::{Job, Outcome};

/// Keeps the newest answer on show while a newer one is worked out.
///
/// At most one job runs. When the key changes it is called off, and the next starts once it
/// has stopped. A question that crashed is not asked again.
pub struct Latest<K, T> {
    shown: Option<(K, Arc<T>)>,
    running: Option<(K, Job<T>)>,
    crashed: Option<K>,
}

impl<K, T> Default for Latest<K, T> {
    fn default() -> Self {
        Self {
            shown: None,
            running: None,
            crashed: None,
        }
    }
}

impl<K: Copy + PartialEq, T: Send + 'static> Latest<K, T> {
    /// Asks for the answer to `key`; call once a frame. Tells whether a new answer came in.
    pub fn ask(&mut self, key: K, start: impl FnOnce() -> Job<T>) -> bool {
        let mut new = false;
        if let Some((asked, job)) = &self.running {
            let asked = *asked;
            match job.poll() {
                Outcome::Working => {
                    if asked != key {
                        job.cancel();
                    }
                    return false;
                }
                Outcome::Done(answer) => {
                    self.shown = Some((asked, Arc::new(answer)));
                    new = true;
                }
                Outcome::Crashed => self.crashed = Some(asked),
                Outcome::Cancelled => {}
            }
            self.running = None;
        }
        let known = self.shown.as_ref().is_some_and(|(shown, _)| *shown == key);
        if !known && self.crashed != Some(key) {
            self.running = Some((key, start()));
        }
        new
    }

    /// The newest answer there is.
    pub fn shown(&self) -> Option<&Arc<T>> {
        self.shown.as_ref().map(|(_, answer)| answer)
    }

    /// Whether the newest answer is the one to `key`.
    pub fn is_current(&self, key: K) -> bool {
        self.shown.as_ref().is_some_and(|(shown, _)| *shown == key)
    }

    /// Whether the question `key` broke down.
    pub fn crashed(&self, key: K) -> bool {
        self.crashed == Some(key)
    }

    /// Share done of what is being worked out; `None` when nothing is.
    pub fn progress(&self) -> Option<f32> {
        let (_, job) = self.running.as_ref()?;
        Some(job.progress().unwrap_or(0.0))
    }

    /// Forgets everything and calls off what runs.
    pub fn clear(&mut self) {
        *self = Self::default();
    }
}
