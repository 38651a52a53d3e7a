//! Paths as seen from a session's folder, so that session and scans can be moved together.

use std::path::{Component, Path, PathBuf};

use crate::document::Session;

/// A path as it is from a folder.
pub fn seen_from(folder: &Path, path: &Path) -> PathBuf {
    let absolute = |path: &Path| std::path::absolute(path).ok();
    let here = if folder.as_os_str().is_empty() {
        Path::new(".")
    } else {
        folder
    };
    let (Some(folder), Some(file)) = (absolute(here), absolute(path)) else {
        return path.to_owned();
    };
    let shared = folder
        .components()
        .zip(file.components())
        .take_while(|(a, b)| a == b)
        .count();
    let up = folder
        .components()
        .skip(shared)
        .map(|_| Component::ParentDir);
    let seen: PathBuf = up.chain(file.components().skip(shared)).collect();
    // On another drive there is no way but the whole path.
    if shared == 0 { file } else { seen }
}

/// A session with every path changed by `change`.
pub fn with_paths(session: &Session, change: impl Fn(&Path) -> PathBuf) -> Session {
    let mut session = session.clone();
    for scan in session.scans.iter_mut().chain(&mut session.empty) {
        scan.path = change(&scan.path);
    }
    if let Some(file) = session.wedge.as_mut().and_then(|wedge| wedge.file.as_mut()) {
        *file = change(file);
    }
    if let Some(used) = &mut session.calibration {
        used.file = used.file.take().map(|file| change(&file));
    }
    let printing = session.printing.as_mut();
    if let Some(print) = printing.and_then(|printing| printing.print.as_mut()) {
        print.path = change(&print.path);
    }
    session
}

/// A whole path, without `.` and `..` where they can be resolved by their words alone.
pub fn whole(folder: &Path, path: &Path) -> PathBuf {
    let joined = folder.join(path);
    let absolute = std::path::absolute(&joined).unwrap_or(joined);
    let mut plain = PathBuf::new();
    for part in absolute.components() {
        if part == Component::ParentDir {
            plain.pop();
        } else {
            plain.push(part);
        }
    }
    plain
}

/// The folder in which programs keep things, by the customs of the system: named by `xdg`, or on
/// Windows by the system, or these folders below the person's own.
///
/// A relative path in `xdg` is passed over, as the XDG Base Directory Specification asks.
pub(super) fn custom(xdg: &str, below_home: [&str; 2]) -> Option<PathBuf> {
    let from = |name: &str| {
        let value = std::env::var_os(name).filter(|value| !value.is_empty());
        value.map(PathBuf::from)
    };
    from(xdg)
        .filter(|folder| folder.is_absolute())
        .or_else(|| from("LOCALAPPDATA"))
        .or_else(|| Some(from("HOME")?.join(below_home[0]).join(below_home[1])))
        .map(|folder| folder.join("twinstrip"))
}

/// A folder that the person named in the environment.
pub(super) fn named(variable: &str) -> Option<PathBuf> {
    let value = std::env::var_os(variable).filter(|value| !value.is_empty());
    value.map(PathBuf::from)
}
