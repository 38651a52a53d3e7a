//! Text files that people write: reading them whole, and errors that say where.
#![expect(
    clippy::disallowed_methods,
    reason = "reading text files is what this module is for"
)]

use std::io::{self, Read as _};
use std::path::{Path, PathBuf};

/// Largest text file that is read, in bytes.
const LARGEST: u64 = 8 << 20;

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
    #[error("{}: {bytes} bytes are too many for such a file; {LARGEST} is the limit", path.display())]
    TooLarge {
        /// The file.
        path: PathBuf,
        /// Its size.
        bytes: u64,
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

/// Reads a whole text file (UTF-8, with or without byte order mark).
///
/// # Errors
/// [`TextError`]: missing, a folder, not readable, too large, empty, or not text.
pub fn read_text(path: &Path) -> Result<String, TextError> {
    let refused = |what: String| TextError::Disk {
        path: path.to_owned(),
        what,
    };
    if path.is_dir() {
        return Err(refused("this is a folder; give a file in it".into()));
    }
    let file = std::fs::File::open(path).map_err(|error| refused(reason(&error)))?;
    let bytes = file.metadata().map_or(0, |facts| facts.len());
    if bytes > LARGEST {
        return Err(TextError::TooLarge {
            path: path.to_owned(),
            bytes,
        });
    }
    let mut content = Vec::new();
    file.take(LARGEST)
        .read_to_end(&mut content)
        .map_err(|error| refused(reason(&error)))?;
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
    Ok(text)
}

fn reason(error: &io::Error) -> String {
    match error.kind() {
        io::ErrorKind::NotFound => "there is no such file; check its name and folder".into(),
        io::ErrorKind::PermissionDenied => "it may not be read; look at its permissions".into(),
        _ => format!("it could not be read: {error}"),
    }
}
