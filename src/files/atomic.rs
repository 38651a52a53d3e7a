//! Writes that happen whole or not at all.
#![expect(
    clippy::disallowed_methods,
    reason = "this is the one place that creates files of text"
)]

use std::io::Write as _;
use std::path::{Path, PathBuf};

/// How the names of files begin that are being written.
pub const UNFINISHED: &str = ".writing";

/// A file could not be written; what was there before still is.
#[derive(Debug, thiserror::Error)]
#[error("{}: could not be written: {source}; the file is as it was before", path.display())]
pub struct WriteRefused {
    /// The file.
    pub path: PathBuf,
    /// What the system said.
    pub source: std::io::Error,
}

/// Writes a file so that a reader, a crash or a full disk never meets half of it: into a
/// file beside it, flushed to the disk, then renamed. Permissions of a file that was there
/// before are kept.
///
/// # Errors
/// [`WriteRefused`] when the disk refuses; the old file is then untouched.
pub fn write(path: &Path, content: &[u8]) -> Result<(), WriteRefused> {
    let refused = |source| WriteRefused {
        path: path.to_owned(),
        source,
    };
    // Through a link to the file itself, or the rename would replace the link.
    let target = path.canonicalize().unwrap_or_else(|_| path.to_owned());
    let folder = match target.parent() {
        Some(folder) if !folder.as_os_str().is_empty() => folder,
        _ => Path::new("."),
    };
    let permissions = match target.metadata() {
        Ok(facts) if facts.is_dir() => {
            return Err(refused(std::io::ErrorKind::IsADirectory.into()));
        }
        Ok(facts) if facts.permissions().readonly() => {
            return Err(refused(std::io::ErrorKind::PermissionDenied.into()));
        }
        Ok(facts) => Some(facts.permissions()),
        Err(_) => None,
    };
    let mut builder = tempfile::Builder::new();
    builder.prefix(UNFINISHED);
    // A new file gets what the person's mask allows, not the closed mode of temporary files.
    #[cfg(unix)]
    builder.permissions(std::os::unix::fs::PermissionsExt::from_mode(0o666));
    let mut file = builder.tempfile_in(folder).map_err(refused)?;
    file.write_all(content).map_err(refused)?;
    if let Some(permissions) = permissions {
        file.as_file()
            .set_permissions(permissions)
            .map_err(refused)?;
    }
    file.as_file().sync_all().map_err(refused)?;
    file.persist(&target)
        .map_err(|error| refused(error.error))?;
    // The name, too, should outlive a power cut; where a folder can't be synced, so be it.
    if let Ok(folder) = std::fs::File::open(folder) {
        folder.sync_all().ok();
    }
    Ok(())
}

/// Where the file that stood there before is kept: under its name with `.before` added.
pub fn backup(path: &Path) -> PathBuf {
    let mut name = path.as_os_str().to_owned();
    name.push(".before");
    name.into()
}

/// Makes a folder and those above it, where they aren't there.
///
/// # Errors
/// [`WriteRefused`] when the disk refuses.
pub fn make_folder(path: &Path) -> Result<(), WriteRefused> {
    std::fs::create_dir_all(path).map_err(|source| WriteRefused {
        path: path.to_owned(),
        source,
    })
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_file_is_replaced_whole_and_keeps_its_permissions() {
        let folder = tempfile::tempdir().unwrap();
        let path = folder.path().join("session.ron");
        write(&path, b"first, and longer").unwrap();
        #[cfg(unix)]
        {
            use std::os::unix::fs::PermissionsExt;
            std::fs::set_permissions(&path, PermissionsExt::from_mode(0o640)).unwrap();
            write(&path, b"second").unwrap();
            assert_eq!(path.metadata().unwrap().permissions().mode() & 0o777, 0o640);
        }
        assert_eq!(std::fs::read(&path).unwrap(), b"second");
        assert_eq!(std::fs::read_dir(folder.path()).unwrap().count(), 1);
    }

    #[test]
    fn a_write_that_is_refused_names_the_file_and_leaves_the_old_one() {
        let folder = tempfile::tempdir().unwrap();
        let missing = folder.path().join("no such folder").join("session.ron");
        let error = write(&missing, b"text").unwrap_err().to_string();
        assert!(
            error.contains("session.ron: could not be written"),
            "{error}"
        );
        assert!(write(folder.path(), b"text").is_err());
    }
}
