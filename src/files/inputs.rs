//! What this run has read: never to be written over by what comes of it.

use std::collections::BTreeSet;
use std::path::{Path, PathBuf};
use std::sync::{Mutex, PoisonError};

use same_file::is_same_file;

static READ: Mutex<BTreeSet<PathBuf>> = Mutex::new(BTreeSet::new());

/// Remembers a file that is being read.
pub(super) fn note(path: &Path) {
    let path = std::path::absolute(path).unwrap_or_else(|_| path.to_owned());
    let mut read = READ.lock().unwrap_or_else(PoisonError::into_inner);
    read.insert(path);
}

/// Whether this is a file that was read, by whatever name or link it is called now.
pub(super) fn holds(path: &Path) -> bool {
    let read = READ.lock().unwrap_or_else(PoisonError::into_inner);
    read.iter()
        .any(|known| is_same_file(known, path).unwrap_or(false))
}
