//! Standard output and error.

use std::io::{self, ErrorKind, Write as _};

use super::exit::Failure;
use crate::document::plain::spelled;

/// Prints a text. A reader that has seen enough (`| head`) is no failure; one that was gone before
/// the first byte is, for nobody has the answer then.
///
/// # Errors
/// When standard output can't be written.
pub(super) fn print(text: &str) -> Result<(), Failure> {
    let failed = |error: io::Error| {
        Failure::not_written(format!("standard output could not be written: {error}"))
    };
    let mut out = io::stdout().lock();
    // Whatever names and notes hold, a terminal gets letters only.
    let text = spelled(text);
    let bytes = text.as_bytes();
    let (first, rest) = bytes.split_at(bytes.len().min(1));
    out.write_all(first)
        .and_then(|()| out.flush())
        .map_err(failed)?;
    match out.write_all(rest).and_then(|()| out.flush()) {
        Err(error) if error.kind() != ErrorKind::BrokenPipe => Err(failed(error)),
        _ => Ok(()),
    }
}

/// Says what went wrong; nothing when there is nothing to say.
pub(super) fn complain(message: &str) {
    if !message.is_empty() {
        // Nobody is left to tell when this fails.
        writeln!(io::stderr(), "twinstrip: {}", spelled(message)).ok();
    }
}

/// Says something by the way, unless it is to be quiet.
pub(super) fn remark(message: &str, quiet: bool) {
    if !quiet {
        writeln!(io::stderr(), "{}", spelled(message)).ok();
    }
}

/// Says what was wrong with the arguments.
pub(super) fn explain(message: &str) {
    write!(io::stderr(), "{}", spelled(message)).ok();
}
