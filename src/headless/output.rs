//! Standard output and error.

use std::io::{self, ErrorKind, Write as _};

use super::exit::Failure;

/// Prints a text. A reader that has seen enough (`| head`) is no failure.
///
/// # Errors
/// When standard output can't be written for any other reason.
pub(super) fn print(text: &str) -> Result<(), Failure> {
    let mut out = io::stdout().lock();
    match out.write_all(text.as_bytes()).and_then(|()| out.flush()) {
        Err(error) if error.kind() != ErrorKind::BrokenPipe => Err(Failure::not_written(format!(
            "standard output could not be written: {error}"
        ))),
        _ => Ok(()),
    }
}

/// Says what went wrong; nothing when there is nothing to say.
pub(super) fn complain(message: &str) {
    if !message.is_empty() {
        // Nobody is left to tell when this fails.
        writeln!(io::stderr(), "twinstrip: {message}").ok();
    }
}

/// Says something by the way, unless it is to be quiet.
pub(super) fn remark(message: &str, quiet: bool) {
    if !quiet {
        writeln!(io::stderr(), "{message}").ok();
    }
}
