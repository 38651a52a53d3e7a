//! The shelf: a folder of profiles, one file each.
//!
//! docs/profiles.md describes the file. Whoever writes holds the shelf's lock, reads what stands
//! there, takes his changes over into it and replaces the file whole.

mod answer;
mod evidence;
mod fields;
mod file;
mod line;
mod listing;
mod names;
mod readings;

#[cfg(test)]
mod tests;

use std::fs;
use std::path::{Path, PathBuf};
use std::time::Duration;

use rayon::prelude::*;

use super::atomic::{self, WriteRefused, backup};
use super::folder::ends_with;
use super::paths::{custom, named};
use super::text::{TextError, check_size};
use crate::document::profile::{Card, Conflict, Merged, Profile, ProfileError, Put, merge};

pub use file::{LARGEST, VERSION, from_text, read_card, read_profile, to_text};
pub use listing::{Damaged, Listing, NoProfile};
pub use names::file_name;

/// Name of the file whose lock lets one program write at a time.
const LOCK: &str = ".lock";
/// How long is waited for another program that writes, in steps of [`PATIENCE_STEP`].
const PATIENCE_STEPS: u32 = 1_500;
/// A save takes a few hundredths of a second.
const PATIENCE_STEP: Duration = Duration::from_millis(20);

/// What can't be done with the shelf.
#[derive(Debug, thiserror::Error)]
pub enum ShelfError {
    /// A file of the shelf can't be used.
    #[error(transparent)]
    Text(#[from] TextError),
    /// The disk refused.
    #[error(transparent)]
    Write(#[from] WriteRefused),
    /// The folder can't be used.
    #[error("{}: the shelf can't be used: {what}; name another folder", path.display())]
    Folder {
        /// The folder.
        path: PathBuf,
        /// What the system said.
        what: String,
    },
    /// Another program writes for too long.
    #[error(
        "{}: another program has been writing to this shelf for half a minute; close it and try \
         again", path.display()
    )]
    Busy {
        /// The lock.
        path: PathBuf,
    },
    /// The profile makes no sense.
    #[error("{name}: {what}")]
    Wrong {
        /// Its name.
        name: String,
        /// Why.
        what: ProfileError,
    },
    /// There is another profile of this name.
    #[error("{}: a profile of that name is there; choose another name", path.display())]
    NameTaken {
        /// Its file.
        path: PathBuf,
    },
    /// A damaged file may be this profile.
    #[error("{0}; no second one is made beside it")]
    Damaged(Box<Damaged>),
    /// The profile is no longer there.
    #[error(
        "{}: this profile is no longer on the shelf; what was there is in {}",
        path.display(), backup(path).display()
    )]
    Gone {
        /// Its file.
        path: PathBuf,
    },
    /// Somebody else changed what was to be taken away.
    #[error(
        "{}: this profile was changed meanwhile and stays; retire it if it isn't wanted",
        path.display()
    )]
    Changed {
        /// Its file.
        path: PathBuf,
    },
}

/// What became of a change.
#[derive(Debug, Clone, PartialEq)]
pub struct Done {
    /// Name of the profile's file on the shelf.
    pub file: String,
    /// What stands there now; `None` after it was taken away.
    pub profile: Option<Profile>,
    /// What somebody else had changed meanwhile in another way.
    pub conflicts: Vec<Conflict>,
}

/// A folder of profiles.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Shelf {
    folder: PathBuf,
}

/// The folder of the shelf, by the customs of the system; `TWINSTRIP_SHELF` names another.
pub fn usual_folder() -> Option<PathBuf> {
    let usual = || Some(custom("XDG_DATA_HOME", [".local", "share"])?.join("profiles"));
    named("TWINSTRIP_SHELF").or_else(usual)
}

impl Shelf {
    /// The shelf in a folder, which need not be there yet.
    pub fn new(folder: impl Into<PathBuf>) -> Self {
        Self {
            folder: folder.into(),
        }
    }

    /// Its folder.
    pub fn folder(&self) -> &Path {
        &self.folder
    }

    /// Where a profile's file lies.
    pub fn path(&self, file: &str) -> PathBuf {
        self.folder.join(file)
    }

    /// What is on the shelf. A file that can't be read is told of; the others are there.
    ///
    /// # Errors
    /// [`ShelfError::Folder`] when the folder can't be looked into; a shelf that isn't there yet
    /// is an empty one.
    pub fn list(&self) -> Result<Listing, ShelfError> {
        let mut files: Vec<String> = self
            .entries()?
            .into_iter()
            .filter(|name| ends_with(Path::new(name), &["ron"]))
            .collect();
        files.sort();
        let read: Vec<_> = files
            .into_par_iter()
            .map(|file| match read_card(&self.path(&file)) {
                Ok(card) => Ok((file, card)),
                Err(error) => Err(Box::new(Damaged::of(&self.folder, file, error))),
            })
            .collect();
        let mut listing = Listing::default();
        for one in read {
            match one {
                Ok(found) => listing.cards.push(found),
                Err(damaged) => listing.damaged.push(*damaged),
            }
        }
        let key = |(file, card): &(String, Card)| (card.name.to_lowercase(), file.clone());
        listing.cards.sort_by_cached_key(key);
        Ok(listing)
    }

    /// Reads a profile.
    ///
    /// # Errors
    /// [`TextError`] with line and column.
    pub fn read(&self, file: &str) -> Result<Profile, TextError> {
        read_profile(&self.path(file))
    }

    /// Makes, changes or takes away a profile. `file` is its file's name, `None` for a new one.
    ///
    /// What somebody else did to it since [`Put::before`] was read is kept.
    ///
    /// # Errors
    /// [`ShelfError`]; the shelf is then as it was.
    pub fn put(&self, file: Option<&str>, put: &Put) -> Result<Done, ShelfError> {
        if let Some(after) = &put.after {
            check(after)?;
        }
        let _lock = self.lock()?;
        match (&put.before, &put.after) {
            (Some(before), Some(after)) => self.change(known(file, before), before, after),
            (None, Some(after)) => self.make(file, after),
            (Some(before), None) => self.take_away(known(file, before), before),
            (None, None) => Ok(Done {
                file: file.unwrap_or_default().to_owned(),
                profile: None,
                conflicts: vec![],
            }),
        }
    }

    /// Changes what stands on the shelf now, whatever that is.
    ///
    /// # Errors
    /// [`ShelfError`]; the shelf is then as it was.
    pub fn edit(
        &self,
        file: &str,
        edit: impl FnOnce(&Profile) -> Profile,
    ) -> Result<(Put, Done), ShelfError> {
        let _lock = self.lock()?;
        let before = self.read(file)?;
        let after = edit(&before);
        check(&after)?;
        let done = self.change(file.to_owned(), &before, &after)?;
        let put = Put {
            before: Some(before),
            after: Some(after),
        };
        Ok((put, done))
    }

    fn change(&self, file: String, before: &Profile, after: &Profile) -> Result<Done, ShelfError> {
        let path = self.path(&file);
        if !path.exists() {
            return Err(ShelfError::Gone { path });
        }
        let there = read_profile(&path)?;
        let Merged { profile, conflicts } = merge(before, after, &there);
        check(&profile)?;
        if profile.name != there.name {
            self.refuse_taken(&profile.name, &file)?;
        }
        if profile != there {
            self.keep_before(&path, &there)?;
            write(&path, &profile)?;
        }
        Ok(Done {
            file,
            profile: Some(profile),
            conflicts,
        })
    }

    fn make(&self, wanted: Option<&str>, profile: &Profile) -> Result<Done, ShelfError> {
        let file = match wanted.filter(|file| !self.path(file).exists()) {
            Some(file) => file.to_owned(),
            None => self.free_name(&profile.name),
        };
        self.refuse_taken(&profile.name, &file)?;
        write(&self.path(&file), profile)?;
        Ok(Done {
            file,
            profile: Some(profile.clone()),
            conflicts: vec![],
        })
    }

    fn take_away(&self, file: String, before: &Profile) -> Result<Done, ShelfError> {
        let path = self.path(&file);
        if !path.exists() {
            return Err(ShelfError::Gone { path });
        }
        let there = read_profile(&path)?;
        if there != *before {
            return Err(ShelfError::Changed { path });
        }
        self.keep_before(&path, &there)?;
        fs::remove_file(&path).map_err(|source| WriteRefused { path, source })?;
        Ok(Done {
            file,
            profile: None,
            conflicts: vec![],
        })
    }

    /// Two profiles of one name could not be told apart by it.
    fn refuse_taken(&self, name: &str, own: &str) -> Result<(), ShelfError> {
        let listing = self.list()?;
        if let Some(damaged) = listing.damaged.iter().find(|one| one.may_be(name)) {
            return Err(ShelfError::Damaged(Box::new(damaged.clone())));
        }
        let wanted = name.trim().to_lowercase();
        let taken = listing
            .cards
            .iter()
            .find(|(file, card)| file != own && card.name.trim().to_lowercase() == wanted);
        match taken {
            Some((file, _)) => Err(ShelfError::NameTaken {
                path: self.path(file),
            }),
            None => Ok(()),
        }
    }

    fn keep_before(&self, path: &Path, there: &Profile) -> Result<(), ShelfError> {
        Ok(write(&backup(path), there)?)
    }

    /// A file name that no other profile has.
    fn free_name(&self, name: &str) -> String {
        let mut number = 1;
        loop {
            let file = file_name(name, number);
            if !self.path(&file).exists() {
                return file;
            }
            number += 1;
        }
    }

    fn entries(&self) -> Result<Vec<String>, ShelfError> {
        match fs::read_dir(&self.folder) {
            Ok(entries) => Ok(entries
                .filter_map(|entry| entry.ok()?.file_name().into_string().ok())
                .collect()),
            Err(error) if error.kind() == std::io::ErrorKind::NotFound => Ok(vec![]),
            Err(error) => Err(self.refused(&error)),
        }
    }

    fn refused(&self, error: &std::io::Error) -> ShelfError {
        ShelfError::Folder {
            path: self.folder.clone(),
            what: error.to_string(),
        }
    }

    /// Waits until nobody else writes. The system lets go of the lock however its owner ends.
    #[expect(
        clippy::disallowed_methods,
        reason = "a lock needs an open file; nothing is ever written into it"
    )]
    fn lock(&self) -> Result<fs::File, ShelfError> {
        atomic::make_folder(&self.folder)?;
        let path = self.folder.join(LOCK);
        // A shelf that can't be written to is read all the same.
        let lock = fs::File::create(&path).map_err(|source| WriteRefused {
            path: path.clone(),
            source,
        })?;
        for _ in 0..PATIENCE_STEPS {
            match lock.try_lock() {
                Ok(()) => {
                    self.sweep()?;
                    return Ok(lock);
                }
                Err(fs::TryLockError::WouldBlock) => std::thread::sleep(PATIENCE_STEP),
                Err(fs::TryLockError::Error(error)) => return Err(self.refused(&error)),
            }
        }
        Err(ShelfError::Busy { path })
    }

    /// Takes away what a program that was killed had begun to write; nobody else writes now.
    fn sweep(&self) -> Result<(), ShelfError> {
        for name in self.entries()? {
            if name.starts_with(atomic::UNFINISHED) {
                fs::remove_file(self.path(&name)).ok();
            }
        }
        Ok(())
    }
}

fn known(file: Option<&str>, before: &Profile) -> String {
    file.map_or_else(|| file_name(&before.name, 1), str::to_owned)
}

fn check(profile: &Profile) -> Result<(), ShelfError> {
    profile.check().map_err(|what| ShelfError::Wrong {
        name: profile.name.clone(),
        what,
    })
}

/// Writes a profile's file, whole or not at all.
///
/// # Errors
/// [`WriteRefused`] when the disk refuses.
pub fn write(path: &Path, profile: &Profile) -> Result<(), WriteRefused> {
    let text = to_text(profile).map_err(|what| WriteRefused {
        path: path.to_owned(),
        source: std::io::Error::new(std::io::ErrorKind::InvalidData, what),
    })?;
    check_size(path, &text, LARGEST)?;
    atomic::write(path, text.as_bytes())
}
