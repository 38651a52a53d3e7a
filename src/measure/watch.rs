//! Progress and cancellation of long work.

/// The work was called off; not an error, and nothing to tell the person.
#[derive(Debug, Clone, Copy, PartialEq, Eq, thiserror::Error)]
#[error("cancelled")]
pub struct Cancelled;

/// Watches long work.
///
/// Reporting progress and noticing cancellation are one call, so work that reports can't
/// forget to stop. `Sync`, because pixel work reports from several threads.
pub trait Watch: Sync {
    /// Says that `done` of `of` parts are finished.
    ///
    /// # Errors
    /// [`Cancelled`] when the work should stop.
    fn at(&self, done: usize, of: usize) -> Result<(), Cancelled>;
}

/// Watches nothing and never cancels.
#[derive(Debug, Clone, Copy, Default)]
pub struct Unwatched;

impl Watch for Unwatched {
    fn at(&self, _done: usize, _of: usize) -> Result<(), Cancelled> {
        Ok(())
    }
}
