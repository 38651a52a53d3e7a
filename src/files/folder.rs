//! What lies in folders that a person points at.

use std::path::{Path, PathBuf};

/// The files among `paths` and in folders among them: a folder's session file if it has exactly
/// one, else its scans (files with one of these endings), by name.
pub fn scans_and_sessions(paths: &[PathBuf], scan_endings: &[&str]) -> Vec<PathBuf> {
    let mut files = Vec::new();
    for path in paths {
        if path.is_dir() {
            files.extend(of_folder(path, scan_endings));
        } else if ends_with(path, scan_endings) || ends_with(path, &["ron"]) {
            files.push(path.clone());
        }
    }
    files
}

/// Whether the file's name ends in one of `endings` (without the dot), in capitals or not.
pub fn ends_with(path: &Path, endings: &[&str]) -> bool {
    path.extension()
        .and_then(|ending| ending.to_str())
        .is_some_and(|ending| {
            endings
                .iter()
                .any(|known| known.eq_ignore_ascii_case(ending))
        })
}

fn of_folder(folder: &Path, scan_endings: &[&str]) -> Vec<PathBuf> {
    let Ok(entries) = std::fs::read_dir(folder) else {
        return Vec::new();
    };
    let mut files: Vec<PathBuf> = entries
        .filter_map(|entry| Some(entry.ok()?.path()))
        .collect();
    files.sort();
    let sessions: Vec<PathBuf> = files
        .iter()
        .filter(|path| ends_with(path, &["ron"]))
        .cloned()
        .collect();
    if sessions.len() == 1 {
        return sessions;
    }
    files.retain(|path| ends_with(path, scan_endings));
    files
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_folder_gives_its_one_session_or_else_its_scans() {
        let demo = Path::new(env!("CARGO_MANIFEST_DIR"))
            .join("testdata")
            .join("demo");
        let endings = ["tif"];
        let found = scans_and_sessions(std::slice::from_ref(&demo), &endings);
        assert_eq!(found, [demo.join("session.ron")]);
        assert!(scans_and_sessions(&[demo.join("README.md")], &endings).is_empty());
        let scan = demo.join("scan-1.tif");
        assert_eq!(
            scans_and_sessions(std::slice::from_ref(&scan), &endings),
            [scan]
        );
    }
}
