//! Writes that happen whole or not at all.
#![expect(
    clippy::disallowed_methods,
    reason = "this is the one place that creates files of text"
)]

use std::io::{self, Write as _};
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

/// A file that is being written beside the one that it takes the place of.
#[derive(Debug)]
pub struct Unfinished {
    file: tempfile::NamedTempFile,
    /// The name as it was asked for, for messages.
    asked: PathBuf,
    target: PathBuf,
    permissions: Option<std::fs::Permissions>,
}

impl Unfinished {
    /// Begins a file under a name of its own in the folder of the one that is meant.
    ///
    /// Only a regular file is ever replaced: not a folder, a device, a pipe, nor a link that leads
    /// nowhere.
    ///
    /// # Errors
    /// [`WriteRefused`] when the place can't be written to; nothing was changed then.
    pub fn begin(path: &Path) -> Result<Self, WriteRefused> {
        let refused = |source| WriteRefused {
            path: path.to_owned(),
            source,
        };
        let permissions = replaceable(path).map_err(refused)?;
        // Through a link to the file itself, or the rename would replace the link.
        let target = path.canonicalize().unwrap_or_else(|_| path.to_owned());
        let mut builder = tempfile::Builder::new();
        builder.prefix(UNFINISHED);
        // A new file gets what the person's mask allows, not the closed mode of temporary files.
        #[cfg(unix)]
        builder.permissions(std::os::unix::fs::PermissionsExt::from_mode(0o666));
        let file = builder.tempfile_in(folder_of(&target)).map_err(refused)?;
        Ok(Self {
            file,
            asked: path.to_owned(),
            target,
            permissions,
        })
    }

    /// Where the content goes.
    pub fn as_file_mut(&mut self) -> &mut std::fs::File {
        self.file.as_file_mut()
    }

    /// Flushes the content to the disk and puts the file in its place. Permissions of a file that
    /// was there before are kept.
    ///
    /// # Errors
    /// [`WriteRefused`] when the disk refuses; the old file is then untouched.
    pub fn finish(self) -> Result<(), WriteRefused> {
        self.put_in_place(true)
    }

    /// As [`Self::finish`], but never over a file: one that came into being meanwhile stays.
    ///
    /// # Errors
    /// [`WriteRefused`] when the disk refuses or there is a file of that name.
    pub fn finish_new(self) -> Result<(), WriteRefused> {
        self.put_in_place(false)
    }

    fn put_in_place(self, replace: bool) -> Result<(), WriteRefused> {
        let Self {
            file,
            asked,
            target,
            permissions,
        } = self;
        let refused = |source| WriteRefused {
            path: asked.clone(),
            source,
        };
        if let Some(permissions) = permissions {
            let set = file.as_file().set_permissions(permissions);
            set.map_err(refused)?;
        }
        file.as_file().sync_all().map_err(refused)?;
        let put = if replace {
            file.persist(&target)
        } else {
            file.persist_noclobber(&target)
        };
        put.map_err(|error| refused(error.error))?;
        // The name, too, should outlive a power cut; where a folder can't be synced, so be it.
        if let Ok(folder) = std::fs::File::open(folder_of(&target)) {
            folder.sync_all().ok();
        }
        Ok(())
    }
}

fn folder_of(path: &Path) -> &Path {
    match path.parent() {
        Some(folder) if !folder.as_os_str().is_empty() => folder,
        _ => Path::new("."),
    }
}

/// The permissions of the regular file of that name; `None` when there is nothing yet.
fn replaceable(path: &Path) -> io::Result<Option<std::fs::Permissions>> {
    if std::fs::symlink_metadata(path).is_err() {
        return Ok(None);
    }
    let Ok(facts) = path.metadata() else {
        let what = "this is a link that leads nowhere; remove it, or give another name";
        return Err(io::Error::other(what));
    };
    if facts.is_dir() {
        return Err(io::ErrorKind::IsADirectory.into());
    }
    if !facts.is_file() {
        let what = "this is a device or a pipe, not a file; give another name";
        return Err(io::Error::other(what));
    }
    if facts.permissions().readonly() {
        return Err(io::ErrorKind::PermissionDenied.into());
    }
    Ok(Some(facts.permissions()))
}

/// Writes a file so that a reader, a crash or a full disk never meets half of it: into a
/// file beside it, flushed to the disk, then renamed. Permissions of a file that was there
/// before are kept.
///
/// # Errors
/// [`WriteRefused`] when the disk refuses; the old file is then untouched.
pub fn write(path: &Path, content: &[u8]) -> Result<(), WriteRefused> {
    filled(path, content)?.finish()
}

/// As [`write`], but never over a file.
///
/// # Errors
/// [`WriteRefused`] when the disk refuses or there is a file of that name.
pub fn write_new(path: &Path, content: &[u8]) -> Result<(), WriteRefused> {
    filled(path, content)?.finish_new()
}

fn filled(path: &Path, content: &[u8]) -> Result<Unfinished, WriteRefused> {
    let mut file = Unfinished::begin(path)?;
    let written = file.as_file_mut().write_all(content);
    written.map_err(|source| WriteRefused {
        path: path.to_owned(),
        source,
    })?;
    Ok(file)
}

/// Keeps what stands in a file beside it, under its name with `.before` added. Nothing happens
/// when there is no such file.
///
/// # Errors
/// [`WriteRefused`], naming the copy, when the disk refuses.
pub fn keep_before(path: &Path) -> Result<(), WriteRefused> {
    let copy = backup(path);
    let refused = |source| WriteRefused {
        path: copy.clone(),
        source,
    };
    let mut old = match std::fs::File::open(path) {
        Ok(old) => old,
        Err(error) if error.kind() == io::ErrorKind::NotFound => return Ok(()),
        Err(error) => return Err(refused(error)),
    };
    let mut file = Unfinished::begin(&copy)?;
    io::copy(&mut old, file.as_file_mut()).map_err(refused)?;
    file.finish()
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

    #[cfg(unix)]
    #[test]
    fn only_regular_files_are_replaced() {
        let folder = tempfile::tempdir().unwrap();
        let nowhere = folder.path().join("nowhere.ron");
        std::os::unix::fs::symlink(folder.path().join("gone.ron"), &nowhere).unwrap();
        let error = write(&nowhere, b"text").unwrap_err().to_string();
        assert!(error.contains("leads nowhere"), "{error}");
        assert!(std::fs::read_link(&nowhere).is_ok());
        let error = write(Path::new("/dev/null"), b"text").unwrap_err();
        assert!(error.to_string().contains("device"), "{error}");
    }

    #[test]
    fn a_new_file_is_not_written_over_one_that_came_meanwhile() {
        let folder = tempfile::tempdir().unwrap();
        let path = folder.path().join("sheet.pdf");
        let mut late = Unfinished::begin(&path).unwrap();
        late.as_file_mut().write_all(b"late").unwrap();
        write_new(&path, b"early").unwrap();
        assert!(late.finish_new().is_err());
        assert_eq!(std::fs::read(&path).unwrap(), b"early");
        keep_before(&path).unwrap();
        assert_eq!(std::fs::read(backup(&path)).unwrap(), b"early");
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
