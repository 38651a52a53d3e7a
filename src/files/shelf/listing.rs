//! What is on a shelf, what of it is damaged, and which profile is meant by a name.

use std::io::Read as _;
use std::path::Path;

use super::file::read_card;
use super::file_name;
use crate::document::profile::Card;
use crate::files::atomic::backup;
use crate::files::layout::ron_options;
use crate::files::text::TextError;
use crate::measure::nearest::{hint, nearest};

/// Bytes of a damaged file among which its name is looked for.
const HEAD: u64 = 4096;

/// A file of the shelf that can't be used.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Damaged {
    /// Its name on the shelf.
    pub file: String,
    /// The profile's name, if that much can still be read.
    pub name: Option<String>,
    /// What is wrong with it.
    pub error: TextError,
    /// The file beside it with the state before the last save, if that is sound.
    pub before: Option<String>,
}

impl std::fmt::Display for Damaged {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        write!(f, "{}", self.error)?;
        match &self.before {
            Some(before) => write!(
                f,
                ". The state before the last save is sound: rename {before} to {} to go on from \
                 there",
                self.file
            ),
            None => Ok(()),
        }
    }
}

impl Damaged {
    pub(super) fn of(folder: &Path, file: String, error: TextError) -> Self {
        let path = folder.join(&file);
        let before = backup(&path);
        let before = read_card(&before).is_ok().then(|| {
            let name = before.file_name().unwrap_or_default();
            name.to_string_lossy().into_owned()
        });
        Self {
            name: name_in(&path),
            file,
            error,
            before,
        }
    }

    /// Whether it may be the profile of this name: by the name in it, or where none can be read by
    /// the file that such a profile gets.
    pub fn may_be(&self, wanted: &str) -> bool {
        let plain = |name: &str| name.trim().to_lowercase();
        match &self.name {
            Some(name) => plain(name) == plain(wanted),
            None => self.file == file_name(wanted, 1),
        }
    }

    fn is_called(&self, wanted: &str) -> bool {
        self.may_be(wanted) || is_file(&self.file, &wanted.trim().to_lowercase())
    }
}

/// The name in the head of a file that can't be read as a whole.
#[expect(
    clippy::disallowed_methods,
    reason = "a damaged file is looked at by its bytes"
)]
fn name_in(path: &Path) -> Option<String> {
    let mut head = Vec::new();
    if !path.is_file() {
        return None;
    }
    let file = std::fs::File::open(path).ok()?;
    file.take(HEAD).read_to_end(&mut head).ok()?;
    let head = String::from_utf8_lossy(&head).into_owned();
    let line = head
        .lines()
        .find_map(|line| line.trim_start().strip_prefix("name:"))?;
    let quoted = line.trim().trim_end_matches(',');
    ron_options().from_str(quoted).ok()
}

fn is_file(file: &str, plain: &str) -> bool {
    let file = file.to_lowercase();
    file == plain || file.strip_suffix(".ron") == Some(plain)
}

/// All that is on a shelf.
#[derive(Debug, Clone, PartialEq, Default)]
pub struct Listing {
    /// The profiles, each with the name of its file, by name.
    pub cards: Vec<(String, Card)>,
    /// Files that can't be read.
    pub damaged: Vec<Damaged>,
}

impl Listing {
    /// The profile that is meant by its name or its file's name, capitals or not.
    ///
    /// # Errors
    /// [`NoProfile`] when there is none or several, or a damaged one.
    pub fn find(&self, wanted: &str) -> Result<&(String, Card), NoProfile> {
        let plain = wanted.trim().to_lowercase();
        let meant: Vec<&(String, Card)> = self
            .cards
            .iter()
            .filter(|(file, card)| {
                card.name.trim().to_lowercase() == plain || is_file(file, &plain)
            })
            .collect();
        let damaged = self.damaged.iter().find(|one| one.is_called(wanted));
        match (&meant[..], damaged) {
            ([], Some(damaged)) => Err(NoProfile::Damaged(Box::new(damaged.clone()))),
            ([one], _) => Ok(one),
            ([], None) => {
                let names: Vec<&str> = self.cards.iter().map(|(_, c)| c.name.as_str()).collect();
                Err(NoProfile::None {
                    wanted: wanted.to_owned(),
                    hint: hint(nearest(wanted, &names)),
                })
            }
            (several, _) => {
                let files: Vec<&str> = several.iter().map(|(file, _)| file.as_str()).collect();
                Err(NoProfile::Several {
                    wanted: wanted.to_owned(),
                    files: files.join(", "),
                })
            }
        }
    }
}

/// No one profile is meant.
#[derive(Debug, Clone, PartialEq, Eq, thiserror::Error)]
pub enum NoProfile {
    /// There is none.
    #[error("no profile is called `{wanted}`{hint}")]
    None {
        /// What was asked for.
        wanted: String,
        /// Which one may have been meant.
        hint: String,
    },
    /// There are several.
    #[error("several profiles are called `{wanted}`: say which file you mean: {files}")]
    Several {
        /// What was asked for.
        wanted: String,
        /// Their files.
        files: String,
    },
    /// It can't be read.
    #[error("{0}")]
    Damaged(Box<Damaged>),
}
