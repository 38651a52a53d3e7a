//! What a run may write to: an output never destroys an input.
//!
//! A coated scrap can't be scanned again once it is gone; so no output ever takes the place of a
//! scan, a session, a profile or a calibration, nor of anything else that this run has read.
#![expect(
    clippy::disallowed_methods,
    reason = "what a file is, is told by its first bytes"
)]

use std::io::Read as _;
use std::path::{Path, PathBuf};

use super::atomic::{self, Unfinished, WriteRefused, backup};
use super::{inputs, scan, shelf};

/// Bytes from the start of a file that tell what it is.
const HEAD: u64 = 64 * 1024;

/// What becomes of a file that is there.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Replace {
    /// It stays, and the output is refused.
    Never,
    /// The person said so: it is replaced, and kept beside with `.before` added to its name.
    Said,
}

impl Replace {
    /// By whether `--overwrite` was said.
    pub fn when(said: bool) -> Self {
        if said { Self::Said } else { Self::Never }
    }
}

/// What a file is, as far as that matters to whoever wants to write in its place.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum Kind {
    /// A picture that this program didn't make.
    Scan,
    /// A session's file.
    Session,
    /// A profile.
    Profile,
    /// A scanner's calibration.
    Calibration,
    /// Something in the form that this program keeps its files in.
    Kept,
    /// Something with the ending of such files and not in their form: notes, or a damaged file.
    Ending,
    /// Anything else.
    Other,
}

impl std::fmt::Display for Kind {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        f.write_str(match self {
            Self::Scan => "a scan",
            Self::Session => "a session",
            Self::Profile => "a profile",
            Self::Calibration => "a calibration",
            Self::Kept | Self::Ending => "a file that this program keeps things in",
            Self::Other => "a file",
        })
    }
}

/// Why an output was not written.
#[derive(Debug, thiserror::Error)]
pub enum OutputRefused {
    /// It was read by this run.
    #[error(
        "{}: this file was read to make what would be written over it; give the output another \
         name", path.display()
    )]
    Input {
        /// The file.
        path: PathBuf,
    },
    /// It is something that can't be made again.
    #[error("{}: this is {kind}, and outputs never replace one; give the output another name", path.display())]
    Precious {
        /// The file.
        path: PathBuf,
        /// What it is.
        kind: Kind,
    },
    /// There is a file, and nobody said that it may be replaced.
    #[error("{}: a file of that name is there; say --overwrite to replace it", path.display())]
    Exists {
        /// The file.
        path: PathBuf,
    },
    /// The disk refused, or it is no regular file.
    #[error(transparent)]
    Write(#[from] WriteRefused),
}

/// Whether an output may be written to this file; to be asked before minutes are spent on making
/// it. `own` is the kind that it is itself, and may replace.
///
/// # Errors
/// [`OutputRefused`] when it may not.
pub fn check(path: &Path, replace: Replace, own: &Kind) -> Result<(), OutputRefused> {
    if std::fs::symlink_metadata(path).is_err() {
        return Ok(());
    }
    // Devices, pipes, folders and links to nothing are refused here, before anything is opened.
    drop(Unfinished::begin(path)?);
    let there = || path.to_owned();
    if inputs::holds(path) {
        return Err(OutputRefused::Input { path: there() });
    }
    let kind = kind_of(path);
    // What itself is kept under such a name may take the place of what only has the name.
    let named_alike = kind == Kind::Ending && *own != Kind::Other;
    if kind != Kind::Other && kind != *own && !named_alike {
        return Err(OutputRefused::Precious {
            path: there(),
            kind,
        });
    }
    if replace == Replace::Never {
        return Err(OutputRefused::Exists { path: there() });
    }
    let copy = backup(path);
    if copy.exists() && inputs::holds(&copy) {
        return Err(OutputRefused::Input { path: copy });
    }
    Ok(())
}

/// Checks once more, and keeps a file that is about to be replaced; then it may be written.
///
/// # Errors
/// [`OutputRefused`] when it may not be.
pub fn make_way(path: &Path, replace: Replace, own: &Kind) -> Result<(), OutputRefused> {
    check(path, replace, own)?;
    Ok(atomic::keep_before(path)?)
}

/// Writes an output, whole or not at all.
///
/// # Errors
/// [`OutputRefused`]; what was there before is untouched then.
pub fn write(path: &Path, content: &[u8], replace: Replace) -> Result<(), OutputRefused> {
    make_way(path, replace, &Kind::Other)?;
    match replace {
        Replace::Never => atomic::write_new(path, content)?,
        Replace::Said => atomic::write(path, content)?,
    }
    Ok(())
}

/// Writes a profile elsewhere than on its shelf. It replaces an older state of itself at most.
///
/// # Errors
/// [`OutputRefused`]; what was there before is untouched then.
pub fn write_profile(
    path: &Path,
    profile: &crate::document::profile::Profile,
    replace: Replace,
) -> Result<(), OutputRefused> {
    let same = shelf::read_card(path).is_ok_and(|card| card.name == profile.name);
    let own = if same { Kind::Profile } else { Kind::Other };
    make_way(path, replace, &own)?;
    Ok(shelf::write(path, profile)?)
}

/// Whether two names mean one file, as far as both are there.
pub fn same(one: &Path, other: &Path) -> bool {
    one == other || same_file::is_same_file(one, other).unwrap_or(false)
}

/// What a file is. One that can't be read is taken for the worst, a scan.
pub fn kind_of(path: &Path) -> Kind {
    let mut head = Vec::new();
    let read = std::fs::File::open(path).and_then(|file| file.take(HEAD).read_to_end(&mut head));
    if read.is_err() {
        return Kind::Scan;
    }
    if scan::is_picture(&head) {
        return if scan::is_own_picture(path) {
            Kind::Other
        } else {
            Kind::Scan
        };
    }
    let text = String::from_utf8_lossy(&head);
    match first_word(&text) {
        Some("Session") => Kind::Session,
        Some("Profile") => Kind::Profile,
        Some("Calibration") => Kind::Calibration,
        Some("" | "Recipe") => Kind::Kept,
        _ if path.extension().is_some_and(|ending| ending == "ron") => Kind::Ending,
        _ => Kind::Other,
    }
}

/// The word before the first bracket of a text in the form of our files (RON), behind comments.
fn first_word(text: &str) -> Option<&str> {
    let mut rest = text.trim_start_matches('\u{feff}').trim_start();
    loop {
        let behind = if let Some(comment) = rest.strip_prefix("//") {
            comment.split_once('\n')?.1
        } else if let Some(comment) = rest.strip_prefix("/*") {
            comment.split_once("*/")?.1
        } else if let Some(wish) = rest.strip_prefix("#![") {
            wish.split_once(']')?.1
        } else {
            break;
        };
        rest = behind.trim_start();
    }
    let (word, _) = rest.split_once('(')?;
    let word = word.trim_end();
    word.chars().all(char::is_alphanumeric).then_some(word)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn our_files_are_known_behind_comments_and_by_their_word() {
        for (text, word) in [
            ("Session(version: 1)", Some("Session")),
            ("// sealed 12\nProfile(\n", Some("Profile")),
            (
                "\u{feff}/* slates */ #![enable(implicit_some)] Calibration (",
                Some("Calibration"),
            ),
            ("(version: 1)", Some("")),
            ("Bath notes: two minutes (at most)", None),
            ("%PDF-1.7", None),
        ] {
            assert_eq!(first_word(text), word, "{text}");
        }
    }
}
