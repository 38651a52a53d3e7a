//! What the window keeps between runs: choices, recent sessions, and a rescue copy of every
//! session that is being worked on.
#![expect(
    clippy::disallowed_methods,
    reason = "rescue copies are written after every edit, without waiting for the disk"
)]

use std::fs::{self, File, TryLockError};
use std::io::Write as _;
use std::path::{Path, PathBuf};

use super::atomic::{self, WriteRefused};
use super::paths::{custom, named};

/// Most recent sessions that are remembered.
const MOST_RECENT: usize = 8;

/// The folder for what is kept, by the customs of the system; `TWINSTRIP_STATE` names another.
pub fn folder() -> Option<PathBuf> {
    named("TWINSTRIP_STATE").or_else(|| custom("XDG_STATE_HOME", [".local", "state"]))
}

/// Choices and recent sessions.
#[derive(Debug, Clone, PartialEq, Default)]
pub struct Remembered {
    /// Which light, by its word.
    pub light: String,
    /// What bench sheets are written on, by its word.
    pub paper: String,
    /// Sessions opened or saved last, newest first.
    pub recent: Vec<PathBuf>,
    /// Whether the tour was shown.
    pub tour_seen: bool,
    /// The folder whose new scans are taken in.
    pub watched: Option<PathBuf>,
}

impl Remembered {
    /// What was kept in this folder; nothing if there is nothing to be read.
    pub fn read(folder: &Path) -> Self {
        let mut kept = Self::default();
        let text = fs::read_to_string(folder.join("window.txt")).unwrap_or_default();
        for line in text.lines() {
            match line.split_once(' ') {
                Some(("light", word)) => kept.light = word.to_owned(),
                Some(("paper", word)) => kept.paper = word.to_owned(),
                Some(("recent", path)) => kept.recent.push(path.into()),
                Some(("tour", "seen")) => kept.tour_seen = true,
                Some(("watched", path)) => kept.watched = Some(path.into()),
                _ => {}
            }
        }
        kept
    }

    /// Puts a session in front of the recent ones.
    pub fn opened(&mut self, path: &Path) {
        self.recent.retain(|known| known != path);
        self.recent.insert(0, path.to_owned());
        self.recent.truncate(MOST_RECENT);
    }

    /// Keeps it.
    ///
    /// # Errors
    /// When the disk refuses.
    pub fn write(&self, folder: &Path) -> Result<(), WriteRefused> {
        let mut text = String::new();
        if !self.light.is_empty() {
            text.push_str(&format!("light {}\n", self.light));
        }
        if !self.paper.is_empty() {
            text.push_str(&format!("paper {}\n", self.paper));
        }
        if self.tour_seen {
            text.push_str("tour seen\n");
        }
        if let Some(path) = self.watched.as_deref().and_then(Path::to_str) {
            text.push_str(&format!("watched {path}\n"));
        }
        for path in self.recent.iter().filter_map(|path| path.to_str()) {
            text.push_str(&format!("recent {path}\n"));
        }
        atomic::make_folder(folder)?;
        atomic::write(&folder.join("window.txt"), text.as_bytes())
    }
}

/// The rescue copy of the session that this window works on.
///
/// A lock says that its owner is alive; the system lets go of it however the owner ends, so
/// that a copy without a lock belongs to a window that was killed.
#[derive(Debug)]
pub struct Rescue {
    copy: PathBuf,
    lock_path: PathBuf,
    _lock: File,
}

impl Rescue {
    /// Takes a place for a copy.
    ///
    /// # Errors
    /// When the disk refuses.
    pub fn begin(folder: &Path) -> std::io::Result<Self> {
        fs::create_dir_all(folder)?;
        let mut number = 1u32;
        loop {
            let lock_path = folder.join(format!("rescue-{number}.lock"));
            let copy = folder.join(format!("rescue-{number}.ron"));
            let lock = File::create(&lock_path)?;
            // A copy that is there belongs to somebody who may want it back.
            if lock.try_lock().is_ok() && !copy.exists() {
                return Ok(Self {
                    copy,
                    lock_path,
                    _lock: lock,
                });
            }
            number += 1;
        }
    }

    /// Keeps the session as it stands. The old copy is replaced whole; it is not waited for
    /// the disk, since the system's memory outlives a killed program.
    ///
    /// # Errors
    /// When the disk refuses.
    pub fn keep(&self, text: &str) -> std::io::Result<()> {
        let beside = self.copy.with_extension("new");
        File::create(&beside)?.write_all(text.as_bytes())?;
        fs::rename(&beside, &self.copy)
    }

    /// Takes the copy away: the session is saved, or not wanted.
    pub fn discard(&self) {
        fs::remove_file(&self.copy).ok();
    }
}

impl Drop for Rescue {
    fn drop(&mut self) {
        self.discard();
        fs::remove_file(&self.lock_path).ok();
    }
}

/// Copies that killed windows left behind, each with its text.
pub fn left_behind(folder: &Path) -> Vec<(PathBuf, String)> {
    let Ok(entries) = fs::read_dir(folder) else {
        return Vec::new();
    };
    let mut copies: Vec<(PathBuf, String)> = entries
        .filter_map(|entry| Some(entry.ok()?.path()))
        .filter(|path| path.extension().is_some_and(|ending| ending == "ron"))
        .filter(|path| is_orphan(&path.with_extension("lock")))
        .filter_map(|path| Some((path.clone(), fs::read_to_string(&path).ok()?)))
        .collect();
    copies.sort();
    copies
}

fn is_orphan(lock: &Path) -> bool {
    match File::open(lock) {
        Ok(file) => !matches!(file.try_lock(), Err(TryLockError::WouldBlock)),
        Err(_) => true,
    }
}

/// Takes a copy away that was left behind.
pub fn forget(copy: &Path) {
    fs::remove_file(copy).ok();
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn what_is_kept_reads_back_newest_first_and_no_more_than_eight() {
        let folder = tempfile::tempdir().unwrap();
        let mut kept = Remembered {
            light: "evening".into(),
            tour_seen: true,
            watched: Some("scans come here".into()),
            ..Remembered::default()
        };
        for number in 0..10 {
            kept.opened(Path::new(&format!("slates {number}.ron")));
        }
        kept.opened(Path::new("slates 5.ron"));
        kept.write(folder.path()).unwrap();
        let read = Remembered::read(folder.path());
        assert_eq!(read, kept);
        assert_eq!(read.recent.len(), 8);
        assert_eq!(read.recent[0], Path::new("slates 5.ron"));
    }

    #[test]
    fn a_living_owners_copy_is_no_orphan_and_a_closed_one_leaves_none() {
        let folder = tempfile::tempdir().unwrap();
        let rescue = Rescue::begin(folder.path()).unwrap();
        rescue.keep("first").unwrap();
        rescue.keep("second").unwrap();
        assert!(left_behind(folder.path()).is_empty());
        let other = Rescue::begin(folder.path()).unwrap();
        assert_ne!(other.copy, rescue.copy);
        drop(rescue);
        assert!(left_behind(folder.path()).is_empty());
    }

    #[test]
    fn a_copy_without_an_owner_is_found_and_not_written_over() {
        let folder = tempfile::tempdir().unwrap();
        fs::write(folder.path().join("rescue-1.ron"), "left").unwrap();
        let found = left_behind(folder.path());
        assert_eq!(found.len(), 1);
        assert_eq!(found[0].1, "left");
        let rescue = Rescue::begin(folder.path()).unwrap();
        rescue.keep("mine").unwrap();
        assert_eq!(left_behind(folder.path())[0].1, "left");
        forget(&found[0].0);
        assert!(left_behind(folder.path()).is_empty());
    }
}
