//! The session as a person describes it, edits as values, and their history.

pub mod check;
pub mod comparing;
pub mod day;
pub mod edit;
pub mod history;
pub mod plain;
pub mod planning;
pub mod printing;
pub mod profile;
pub mod report;
mod same_strip;
pub mod sheet;

#[cfg(test)]
mod tests;

use std::path::PathBuf;
use std::sync::Arc;

use crate::measure::analysis::{Question, Settings, StripSpec, WedgeSpec};
use crate::measure::compare::eye::Match;
use crate::measure::exposure::Exposure;
use crate::measure::geometry::{Area, Point, StripShape};
use crate::measure::raster::Raster;
use crate::measure::scale::calibration::Calibration;
use crate::measure::strip::Role;

pub use check::SessionError;
pub use edit::{Edit, EditError};
pub use history::{Gesture, History, Revision};
pub use printing::Printing;

/// Standard uncertainty of a wedge's listed densities where nobody says: a printed list with
/// two decimals, from a wedge that has aged a little (common practice, no source).
pub const WEDGE_UNCERTAINTY: f64 = 0.01;

/// How code values of a scan became what they are, said by the person.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum Encoding {
    /// sRGB (IEC 61966-2-1).
    Srgb,
    /// Code = light^(1/gamma), such as 2.2.
    Gamma(f64),
    /// Codes proportional to light.
    Linear,
}

/// A scan of the session.
#[derive(Debug, Clone, PartialEq)]
pub struct Scan {
    /// Where the file lies, from the session file's folder.
    pub path: PathBuf,
    /// BLAKE3 hash of the file's bytes in hex, to notice that it was changed.
    pub hash: Option<String>,
    /// How its code values are encoded, where the file doesn't say or says it wrongly.
    pub encoding: Option<Encoding>,
}

impl Scan {
    /// A scan of which nothing but the place is known.
    pub fn new(path: impl Into<PathBuf>) -> Self {
        Self {
            path: path.into(),
            hash: None,
            encoding: None,
        }
    }
}

/// The wedge that was scanned along.
#[derive(Debug, Clone, PartialEq)]
pub struct Wedge {
    /// Reflection densities of its fields in order.
    pub densities: Vec<f64>,
    /// Standard uncertainty of each listed density.
    pub uncertainty: f64,
    /// The list that the densities come from, from the session file's folder; `None` when
    /// they stand in the session itself.
    pub file: Option<PathBuf>,
    /// Where it lies on the scan, when the person says so.
    pub shape: Option<StripShape>,
}

impl Wedge {
    /// A wedge with these densities, of usual quality.
    pub fn new(densities: Vec<f64>) -> Self {
        Self {
            densities,
            uncertainty: WEDGE_UNCERTAINTY,
            file: None,
            shape: None,
        }
    }
}

/// The scanner calibration that a session is measured with.
#[derive(Debug, Clone, PartialEq)]
pub struct UsedCalibration {
    /// The calibration itself, so that the session's numbers stay what they are.
    pub calibration: Arc<Calibration>,
    /// The file it comes from, from the session file's folder; `None` when it stands in the
    /// session itself.
    pub file: Option<PathBuf>,
    /// BLAKE3 hash of that file, in hex, to notice that it was changed.
    pub hash: Option<String>,
}

/// A strip of the session.
#[derive(Debug, Clone, PartialEq)]
pub struct Strip {
    /// What the person calls it ("slate, two coats").
    pub name: String,
    /// Paper or coated.
    pub role: Role,
    /// How it was exposed; without, it is measured but not solved.
    pub exposure: Option<Exposure>,
    /// Steps left out of the fit, from 0 in the order of the series, ascending.
    pub excluded: Vec<usize>,
    /// Where fields are read, when the person says so: at most one area a field.
    pub areas: Vec<Area>,
    /// Where it lies on a scan, when the person says so; patches of unexposed coat stand in
    /// `unexposed`.
    pub shape: Option<StripShape>,
    /// Where its coat got no light, when the person says so: patches on its scan, their corners
    /// in pixels in turn, beside the fields of a given shape that are margins. Empty: nowhere.
    /// `None`: it is looked for.
    pub unexposed: Option<Vec<[Point; 4]>>,
    /// The strip of the session that this one is, seen once more. Role, exposure and what is
    /// excluded are then those of that one.
    pub same_as: Option<usize>,
}

impl Strip {
    /// A strip with nothing more said.
    pub fn new(name: impl Into<String>, role: Role) -> Self {
        Self {
            name: name.into(),
            role,
            exposure: None,
            excluded: vec![],
            areas: vec![],
            shape: None,
            unexposed: None,
            same_as: None,
        }
    }
}

/// One testing session, as it is saved.
#[derive(Debug, Clone, PartialEq, Default)]
pub struct Session {
    /// The scans.
    pub scans: Vec<Scan>,
    /// A scan of the empty glass with the settings of the others, to tell how it is lit.
    pub empty: Option<Scan>,
    /// The wedge, if one was scanned along.
    pub wedge: Option<Wedge>,
    /// A calibration of the scanner, for scans without a wedge.
    pub calibration: Option<UsedCalibration>,
    /// The strips in reading order: scan by scan, rows from the top, each from the left.
    pub strips: Vec<Strip>,
    /// Choices for the whole session.
    pub settings: Settings,
    /// Steps that a person found to look alike. They change nothing that is measured.
    pub matches: Vec<Match>,
    /// The print that is planned, if one is.
    pub printing: Option<Box<Printing>>,
    /// Whatever the person wants to remember.
    pub notes: String,
}

impl Session {
    /// What the analysis is asked, given the decoded scans in the order of the session.
    /// The empty scan joins it by [`Question::on_glass`].
    pub fn question(&self, scans: Vec<Arc<Raster>>) -> Question {
        debug_assert_eq!(scans.len(), self.scans.len(), "one raster a scan");
        Question {
            scans,
            empty: None,
            wedge: self.wedge.as_ref().map(|wedge| WedgeSpec {
                densities: wedge.densities.clone(),
                uncertainty: wedge.uncertainty,
                shape: wedge.shape.clone(),
            }),
            calibration: self
                .calibration
                .as_ref()
                .map(|used| Arc::clone(&used.calibration)),
            strips: self.strips.iter().map(spec).collect(),
            settings: self.settings.clone(),
        }
    }
}

fn spec(strip: &Strip) -> StripSpec {
    StripSpec {
        name: strip.name.clone(),
        role: strip.role,
        exposures: strip.exposure.as_ref().map(Exposure::exposures),
        engraved_f_number: strip
            .exposure
            .as_ref()
            .and_then(|exposure| exposure.aperture.engraved),
        shape: strip.shape.clone(),
        unexposed: strip.unexposed.clone(),
        excluded: strip.excluded.clone(),
        areas: strip.areas.clone(),
        same_as: strip.same_as,
    }
}
