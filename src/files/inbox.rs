//! A folder that scanning software saves in: which files came in and are written to their end.

use std::collections::BTreeMap;
use std::fs;
use std::path::{Path, PathBuf};
use std::time::{Duration, SystemTime};

use super::folder::ends_with;
use super::scan::is_whole;
use crate::measure::watch::{Cancelled, Watch};

/// Looks at which a file must be the same before it is taken to be finished. A scanner writes
/// on and off; a file must also be whole by its own account.
const QUIET: u32 = 2;
/// Looks after which a file that stopped growing is handed over though it isn't whole, so that
/// the person is told what is wrong with it.
const PATIENCE: u32 = 60;
/// Time from one look to the next, and the part of it after which a call to stop is heeded.
const BETWEEN: Duration = Duration::from_millis(700);
const NAP: Duration = Duration::from_millis(70);

/// How a file stands.
#[derive(Debug, Clone, PartialEq)]
enum Seen {
    /// It was there before, or was handed over; when it was last changed and how long it was.
    Known(Stamp),
    /// It came in, and was the same at so many looks.
    Fresh(Stamp, u32),
}

/// Length and time of the last change.
type Stamp = (u64, Option<SystemTime>);

/// A watched folder.
#[derive(Debug, Clone, PartialEq)]
pub struct Inbox {
    folder: PathBuf,
    endings: Vec<String>,
    files: BTreeMap<PathBuf, Seen>,
}

impl Inbox {
    /// Begins to watch a folder for files with one of these endings; what lies there already
    /// counts as known.
    pub fn of(folder: &Path, endings: &[&str]) -> Self {
        let mut inbox = Self {
            folder: folder.to_owned(),
            endings: endings.iter().map(|&ending| ending.to_owned()).collect(),
            files: BTreeMap::new(),
        };
        for (path, stamp) in inbox.list() {
            inbox.files.insert(path, Seen::Known(stamp));
        }
        inbox
    }

    /// The folder.
    pub fn folder(&self) -> &Path {
        &self.folder
    }

    fn list(&self) -> Vec<(PathBuf, Stamp)> {
        let endings: Vec<&str> = self.endings.iter().map(String::as_str).collect();
        let Ok(entries) = fs::read_dir(&self.folder) else {
            return Vec::new();
        };
        let mut files: Vec<(PathBuf, Stamp)> = entries
            .filter_map(|entry| {
                let entry = entry.ok()?;
                let facts = entry.metadata().ok().filter(fs::Metadata::is_file)?;
                Some((entry.path(), (facts.len(), facts.modified().ok())))
            })
            .filter(|(path, _)| ends_with(path, &endings))
            .collect();
        files.sort();
        files
    }

    /// Looks once: the files that came in and are finished, each told once. A known file that
    /// was written anew comes in again.
    pub fn look(&mut self, watch: &dyn Watch) -> Vec<PathBuf> {
        let listed = self.list();
        self.files
            .retain(|path, _| listed.iter().any(|(there, _)| there == path));
        let mut finished = Vec::new();
        for (path, stamp) in listed {
            let seen = match self.files.get(&path) {
                Some(Seen::Known(known)) if *known == stamp => continue,
                Some(Seen::Fresh(before, times)) if *before == stamp => times + 1,
                _ => 0,
            };
            let quiet = seen >= QUIET && stamp.0 > 0;
            let done = quiet && (seen >= PATIENCE || is_whole(&path, watch));
            if done {
                finished.push(path.clone());
                self.files.insert(path, Seen::Known(stamp));
            } else {
                self.files.insert(path, Seen::Fresh(stamp, seen));
            }
        }
        finished
    }

    /// Looks again and again until something is finished.
    ///
    /// # Errors
    /// [`Cancelled`] when the watch says so.
    pub fn wait(mut self, watch: &dyn Watch) -> Result<(Self, Vec<PathBuf>), Cancelled> {
        loop {
            let finished = self.look(&Quietly(watch));
            if !finished.is_empty() {
                return Ok((self, finished));
            }
            let mut slept = Duration::ZERO;
            while slept < BETWEEN {
                watch.at(0, 1)?;
                std::thread::sleep(NAP);
                slept += NAP;
            }
        }
    }
}

/// Passes a call to stop on, but no progress: a waiting folder has none.
struct Quietly<'a>(&'a dyn Watch);

impl Watch for Quietly<'_> {
    fn at(&self, _done: usize, _of: usize) -> Result<(), Cancelled> {
        self.0.at(0, 1)
    }
}

#[cfg(test)]
mod tests {
    #![expect(clippy::disallowed_methods, reason = "plays the scanning software")]

    use super::*;
    use crate::measure::watch::Unwatched;

    fn whole_png(path: &Path) -> Vec<u8> {
        image::GrayImage::new(60, 40).save(path).unwrap();
        fs::read(path).unwrap()
    }

    #[test]
    fn what_was_there_stays_out_and_what_comes_in_is_told_once() {
        let folder = tempfile::tempdir().unwrap();
        whole_png(&folder.path().join("old.png"));
        let mut inbox = Inbox::of(folder.path(), &["png"]);
        let new = folder.path().join("new.png");
        whole_png(&new);
        fs::write(folder.path().join("new.txt"), "notes").unwrap();
        let told: Vec<PathBuf> = (0..10).flat_map(|_| inbox.look(&Unwatched)).collect();
        assert_eq!(told, [new]);
    }

    #[test]
    fn a_file_that_grows_or_pauses_half_way_is_not_taken() {
        let folder = tempfile::tempdir().unwrap();
        let path = folder.path().join("scan.png");
        let bytes = whole_png(&path);
        fs::remove_file(&path).unwrap();
        let mut inbox = Inbox::of(folder.path(), &["png"]);
        for length in [0, 10, bytes.len() / 2, bytes.len() - 1] {
            fs::write(&path, &bytes[..length]).unwrap();
            // The scanner's carriage runs back meanwhile.
            for _ in 0..8 {
                assert!(inbox.look(&Unwatched).is_empty(), "{length} bytes");
            }
        }
        fs::write(&path, &bytes).unwrap();
        let told: Vec<PathBuf> = (0..=QUIET).flat_map(|_| inbox.look(&Unwatched)).collect();
        assert_eq!(told, [path]);
    }

    #[test]
    fn a_file_that_stays_damaged_is_told_in_the_end() {
        let folder = tempfile::tempdir().unwrap();
        let mut inbox = Inbox::of(folder.path(), &["png"]);
        let path = folder.path().join("scan.png");
        let bytes = whole_png(&path);
        fs::write(&path, &bytes[..bytes.len() / 2]).unwrap();
        let told: Vec<PathBuf> = (0..=PATIENCE)
            .flat_map(|_| inbox.look(&Unwatched))
            .collect();
        assert_eq!(told, [path]);
    }
}
