//! How the program ends.

use std::process::ExitCode;

use crate::files::atomic::WriteRefused;
use crate::files::calibration::NotMade;
use crate::files::output::OutputRefused;
use crate::files::scan::{Problem, ScanError};
use crate::files::text::TextError;
use crate::measure::watch::Cancelled;

/// How the program ended; each has its exit code.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) enum Outcome {
    /// What was asked has been answered.
    Answered,
    /// The arguments make no sense.
    BadUsage,
    /// A scan, a session or a list can't be read.
    UnreadableInput,
    /// Everything was read and measured, but no answer can be given.
    NoAnswer,
    /// A file could not be written.
    NotWritten,
    /// The person called it off.
    Cancelled,
}

impl Outcome {
    /// The exit code.
    pub(super) fn code(self) -> ExitCode {
        ExitCode::from(match self {
            Self::Answered => 0,
            Self::BadUsage => 2,
            Self::UnreadableInput => 3,
            Self::NoAnswer => 4,
            Self::NotWritten => 5,
            Self::Cancelled => 130,
        })
    }
}

/// An end before the answer, with what to tell the person (nothing when it was called off).
#[derive(Debug)]
pub(super) struct Failure {
    pub(super) outcome: Outcome,
    pub(super) message: String,
}

impl Failure {
    pub(super) fn usage(message: impl Into<String>) -> Self {
        Self {
            outcome: Outcome::BadUsage,
            message: message.into(),
        }
    }

    pub(super) fn not_written(message: impl Into<String>) -> Self {
        Self {
            outcome: Outcome::NotWritten,
            message: message.into(),
        }
    }
}

impl From<TextError> for Failure {
    fn from(error: TextError) -> Self {
        Self {
            outcome: Outcome::UnreadableInput,
            message: error.to_string(),
        }
    }
}

impl From<NotMade> for Failure {
    fn from(error: NotMade) -> Self {
        match error {
            NotMade::Scan(error) => error.into(),
            NotMade::Cancelled(cancelled) => cancelled.into(),
        }
    }
}

impl From<ScanError> for Failure {
    fn from(error: ScanError) -> Self {
        if matches!(error.problem, Problem::Cancelled) {
            return Cancelled.into();
        }
        Self {
            outcome: Outcome::UnreadableInput,
            message: error.to_string(),
        }
    }
}

impl From<WriteRefused> for Failure {
    fn from(error: WriteRefused) -> Self {
        Self::not_written(error.to_string())
    }
}

impl From<OutputRefused> for Failure {
    fn from(error: OutputRefused) -> Self {
        Self::not_written(error.to_string())
    }
}

impl From<Cancelled> for Failure {
    fn from(_: Cancelled) -> Self {
        Self {
            outcome: Outcome::Cancelled,
            message: String::new(),
        }
    }
}
