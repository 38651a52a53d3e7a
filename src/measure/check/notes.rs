//! What was passed over, assumed or put right while the file was decoded: told, whatever it is.

use crate::measure::finding::{Finding, Kind, Place, Weight};
use crate::measure::raster::Raster;

/// A finding for each note of the file's reader; `place` is the scan's.
pub fn notes(raster: &Raster, place: &Place) -> Vec<Finding> {
    let told = |note: &String| Finding {
        kind: Kind::ScanNote,
        weight: Weight::Note,
        place: place.clone(),
        seen: note.clone(),
        matters: "The result is that of the picture as it was read.".into(),
        remedy: "Nothing, if that is what you meant. Otherwise save the scan as one upright page \
                 without extra channels, and state its encoding."
            .into(),
    };
    raster.origin.notes.iter().map(told).collect()
}
