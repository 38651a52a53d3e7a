//! The calibration file: versioned RON, written whole or not at all.
//!
//! docs/calibrations.md describes it.

mod dto;
mod making;

#[cfg(test)]
mod tests;

use std::path::Path;

use super::atomic::{self, WriteRefused};
use super::explain::explain;
use super::layout::{file_text, ron_options, tamed};
use super::text::{LARGEST, TextError, check_size, read_text, text_hash};
use crate::measure::scale::calibration::Calibration;
pub(super) use dto::CalibrationFields;
pub use making::{Making, NotMade, make};

/// Version of the calibration file that this program writes, and the newest that it reads.
pub const VERSION: u64 = 1;

/// Reads a calibration file, and gives the hash of its content (BLAKE3, in hex).
///
/// # Errors
/// [`TextError`] with line and column.
pub fn read_calibration(path: &Path) -> Result<(Calibration, String), TextError> {
    let text = read_text(path)?;
    let calibration = from_text(path, &text)?;
    Ok((calibration, text_hash(&text)))
}

/// Reads the text of a calibration file; `path` is for messages.
///
/// # Errors
/// [`TextError`] with line and column.
pub fn from_text(path: &Path, text: &str) -> Result<Calibration, TextError> {
    let text = &*tamed(text);
    refuse_newer(path, text)?;
    let fields: CalibrationFields = ron_options()
        .from_str(text)
        .map_err(|error| explain(path, text, &error))?;
    fields.calibration().map_err(|(word, what)| {
        let byte = text.find(word).unwrap_or(0);
        TextError::at(path, text, byte, what)
    })
}

/// The version alone, so that a newer file is refused for being newer and not for a word that
/// this program doesn't know yet.
fn refuse_newer(path: &Path, text: &str) -> Result<(), TextError> {
    #[derive(serde::Deserialize)]
    #[serde(rename = "Calibration")]
    struct OnlyVersion {
        version: u64,
    }
    match ron_options().from_str::<OnlyVersion>(text) {
        Ok(only) if only.version > VERSION => {
            Err(TextError::too_new(path, text, only.version, VERSION))
        }
        // What is wrong with the text is said in full when it is read in full.
        _ => Ok(()),
    }
}

/// The text of a calibration file; reading it gives the same calibration.
///
/// # Errors
/// When a number can't be written.
pub fn to_text(calibration: &Calibration) -> Result<String, String> {
    file_text(&CalibrationFields::of(calibration), 4)
}

/// Writes a calibration file, whole or not at all. What stood there before is kept beside it
/// under the name with `.before` added. Gives the hash of the content.
///
/// # Errors
/// [`WriteRefused`] when the disk refuses.
pub fn write_calibration(path: &Path, calibration: &Calibration) -> Result<String, WriteRefused> {
    let text = to_text(calibration).map_err(|what| WriteRefused {
        path: path.to_owned(),
        source: std::io::Error::new(std::io::ErrorKind::InvalidData, what),
    })?;
    check_size(path, &text, LARGEST)?;
    atomic::keep_before(path)?;
    atomic::write(path, text.as_bytes())?;
    Ok(text_hash(&text))
}
