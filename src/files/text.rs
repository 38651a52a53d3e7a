//! Text files that people write: reading them whole, and errors that say where.
#![expect(
    clippy::disallowed_methods,
    reason = "reading text files is what this module is for"
)]

use std::borrow::Cow;
use std::io::{self, Read as _};
use std::path::{Path, PathBuf};

use super::atomic::WriteRefused;
use super::inputs;
use super::layout::tamed;

/// Largest text file that is read, in bytes, and the largest that is written: what can't be read
/// again is not written.
pub(super) const LARGEST: u64 = 8 << 20;

/// A text file that can't be used. Sorted by who can act: the disk refused, the file is
/// wrong, the file is too new or too large for this program.
#[derive(Debug, Clone, PartialEq, Eq, thiserror::Error)]
pub enum TextError {
    /// The disk refused.
    #[error("{}: {what}", path.display())]
    Disk {
        /// The file.
        path: PathBuf,
        /// What the system said, and what to look at.
        what: String,
    },
    /// The file says something that can't be.
    #[error("{}:{line}:{column}: {what}", path.display())]
    Wrong {
        /// The file.
        path: PathBuf,
        /// Line from 1.
        line: usize,
        /// Column from 1, in characters.
        column: usize,
        /// What is wrong, and what would be right.
        what: String,
    },
    /// The file was written by a newer program.
    #[error(
        "{}:{line}:{column}: version {found} is newer than this program understands ({known}); \
         use a newer one", path.display()
    )]
    TooNew {
        /// The file.
        path: PathBuf,
        /// Line from 1.
        line: usize,
        /// Column from 1, in characters.
        column: usize,
        /// Version in the file.
        found: u64,
        /// Newest version that is understood.
        known: u64,
    },
    /// The file is larger than any of its kind.
    #[error("{}: {bytes} bytes are too many for such a file; {limit} is the limit", path.display())]
    TooLarge {
        /// The file.
        path: PathBuf,
        /// Its size.
        bytes: u64,
        /// The limit, bytes.
        limit: u64,
    },
}

impl TextError {
    /// A file whose version, said after the word `version`, is newer than what is known.
    pub(super) fn too_new(path: &Path, text: &str, found: u64, known: u64) -> Self {
        let (line, column) = line_and_column(text, text.find("version").unwrap_or(0));
        Self::TooNew {
            path: path.to_owned(),
            line,
            column,
            found,
            known,
        }
    }

    /// An error at a place of a text, given as a count of bytes from its start.
    pub(super) fn at(path: &Path, text: &str, byte: usize, what: impl Into<String>) -> Self {
        let (line, column) = line_and_column(text, byte);
        Self::Wrong {
            path: path.to_owned(),
            line,
            column,
            what: what.into(),
        }
    }
}

/// Line and column from 1, in characters, of a byte of a text.
pub(super) fn line_and_column(text: &str, byte: usize) -> (usize, usize) {
    let mut end = byte.min(text.len());
    while !text.is_char_boundary(end) {
        end -= 1;
    }
    let before = &text[..end];
    let line = before.matches('\n').count() + 1;
    let column = before.chars().rev().take_while(|&c| c != '\n').count() + 1;
    (line, column)
}

/// BLAKE3 of a text, in hex.
pub fn text_hash(text: &str) -> String {
    blake3::hash(text.as_bytes()).to_hex().to_string()
}

/// Refuses a text that could not be read again.
pub(super) fn check_size(path: &Path, text: &str, limit: u64) -> Result<(), WriteRefused> {
    if text.len() as u64 <= limit {
        return Ok(());
    }
    Err(WriteRefused {
        path: path.to_owned(),
        source: io::Error::other(format!(
            "it would take {} bytes, and files of more than {limit} can't be read again",
            text.len()
        )),
    })
}

/// Reads a whole text file (UTF-8, with or without byte order mark), which no output of this run
/// may replace from then on.
///
/// # Errors
/// [`TextError`]: missing, a folder, not readable, too large, empty, or not text.
pub fn read_text(path: &Path) -> Result<String, TextError> {
    let text = read_within(path, LARGEST)?;
    inputs::note(path);
    Ok(text)
}

/// Reads a whole text file of at most `limit` bytes.
///
/// # Errors
/// Those of [`read_text`].
pub(super) fn read_within(path: &Path, limit: u64) -> Result<String, TextError> {
    let refused = |what: String| TextError::Disk {
        path: path.to_owned(),
        what,
    };
    // Opening a pipe would wait for whoever writes into it.
    match path.metadata() {
        Ok(facts) if facts.is_dir() => {
            return Err(refused("this is a folder; give a file in it".into()));
        }
        Ok(facts) if !facts.is_file() => {
            return Err(refused("this is a device or a pipe; give a file".into()));
        }
        _ => {}
    }
    let file = std::fs::File::open(path).map_err(|error| refused(reason(&error)))?;
    let too_large = |bytes| TextError::TooLarge {
        path: path.to_owned(),
        bytes,
        limit,
    };
    let bytes = file.metadata().map_or(0, |facts| facts.len());
    if bytes > limit {
        return Err(too_large(bytes));
    }
    let mut content = Vec::new();
    file.take(limit + 1)
        .read_to_end(&mut content)
        .map_err(|error| refused(reason(&error)))?;
    if content.len() as u64 > limit {
        return Err(too_large(content.len() as u64));
    }
    let text = String::from_utf8(content).map_err(|error| {
        let good = error.utf8_error().valid_up_to();
        let text = String::from_utf8_lossy(&error.as_bytes()[..good]).into_owned();
        TextError::at(
            path,
            &text,
            good,
            "this is not text (UTF-8); save it as plain text",
        )
    })?;
    let text = match text.strip_prefix('\u{feff}') {
        Some(rest) => rest.to_owned(),
        None => text,
    };
    if text.trim().is_empty() {
        return Err(TextError::at(
            path,
            &text,
            0,
            "the file is empty; fetch a sound copy or write it anew",
        ));
    }
    let spelled = match tamed(&text) {
        Cow::Owned(spelled) => Some(spelled),
        Cow::Borrowed(_) => None,
    };
    Ok(spelled.unwrap_or(text))
}

fn reason(error: &io::Error) -> String {
    match error.kind() {
        io::ErrorKind::NotFound => "there is no such file; check its name and folder".into(),
        io::ErrorKind::PermissionDenied => "it may not be read; look at its permissions".into(),
        _ => format!("it could not be read: {error}"),
    }
}
