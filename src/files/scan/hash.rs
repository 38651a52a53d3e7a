//! The fingerprint of a scan file, by which a session knows it again.

use std::io::Read;
use std::path::Path;

use super::error::{Problem, ScanError};
use super::source::Source;
use crate::measure::watch::Watch;

/// BLAKE3 of the file's content, 64 hexadecimal digits.
///
/// Reads the whole file once more than decoding it does: about 0.1 s for 209 MB that the
/// system still holds in memory. So it is made only when asked for: when a session is saved,
/// or to tell whether a scan was changed since.
///
/// # Errors
/// Those of the disk and cancellation.
pub fn content_hash(path: &Path, watch: &dyn Watch) -> Result<String, ScanError> {
    let failed = |problem| ScanError::new(path, problem);
    let source = Source::open(path, watch).map_err(failed)?;
    hash_of(&source).map_err(failed)
}

/// The fingerprint of an opened file, if nobody wrote to it since it was opened.
pub(super) fn hash_of(source: &Source<'_>) -> Result<String, Problem> {
    let hash = || {
        let mut stream = source.reader();
        let mut hasher = blake3::Hasher::new();
        let mut bytes = vec![0; 1 << 20];
        loop {
            match stream.read(&mut bytes)? {
                0 => return Ok(hasher.finalize().to_hex().to_string()),
                count => hasher.update(&bytes[..count]),
            };
        }
    };
    let hash = hash().map_err(|error: std::io::Error| {
        if source.cancelled() {
            Problem::Cancelled
        } else {
            Problem::Broken(error)
        }
    })?;
    source.unchanged()?;
    Ok(hash)
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::measure::watch::Unwatched;
    use std::io::Write;

    /// Test vector of the BLAKE3 reference implementation: bytes 0 to 250 repeated, length 1.
    #[test]
    fn the_fingerprint_is_blake3_of_the_content() {
        let mut file = tempfile::NamedTempFile::new().unwrap();
        file.write_all(&[0]).unwrap();
        assert_eq!(
            content_hash(file.path(), &Unwatched).unwrap(),
            "2d3adedff11b61f14c886e35afa036736dcd87a74d27b5c1510225d0f592e213"
        );
    }

    #[test]
    fn a_missing_file_has_no_fingerprint() {
        let folder = tempfile::tempdir().unwrap();
        let error = content_hash(&folder.path().join("slate.tif"), &Unwatched).unwrap_err();
        assert!(matches!(error.problem, Problem::Missing));
    }
}
