//! From files to a calibration: the one way there, for the command line and the window.

use std::path::{Path, PathBuf};
use std::sync::Arc;

use crate::files::scan::{Problem, ScanError, ScanOptions, read_scan_and_hash};
use crate::measure::calibrating::{Judged, References, WedgeScan, judge, look};
use crate::measure::raster::Raster;
use crate::measure::scale::calibration::{Calibration, CalibrationScan};
use crate::measure::watch::{Cancelled, Watch};

/// What a calibration is made of.
#[derive(Debug, Clone)]
pub struct Making {
    /// A scan of a wedge, how it is read, and the densities of its wedge.
    pub scans: Vec<(PathBuf, ScanOptions, References)>,
    /// What the person calls the scanner.
    pub scanner: String,
    /// How it was set, in the person's words.
    pub settings: String,
    /// The day, such as 2026-11-25.
    pub made: String,
    /// Standard uncertainty of the listed densities.
    pub uncertainty: f64,
}

/// Why nothing came of it.
#[derive(Debug, thiserror::Error)]
pub enum NotMade {
    /// A scan can't be read.
    #[error(transparent)]
    Scan(ScanError),
    /// It was called off.
    #[error(transparent)]
    Cancelled(#[from] Cancelled),
}

impl From<ScanError> for NotMade {
    fn from(error: ScanError) -> Self {
        match error.problem {
            Problem::Cancelled => Self::Cancelled(Cancelled),
            _ => Self::Scan(error),
        }
    }
}

/// Reads the scans, finds and measures the wedge on each, and says what the calibration is good
/// for. `stage` is told what is done from now on, the watch how far that is.
///
/// # Errors
/// [`NotMade`] when a scan can't be read or the watch cancels. A wedge that can't be found is a
/// finding, not an error.
pub fn make(
    making: Making,
    stage: &dyn Fn(String),
    watch: &dyn Watch,
) -> Result<(Calibration, Judged), NotMade> {
    let mut scans = Vec::new();
    let mut facts = Vec::new();
    for (path, options, references) in making.scans {
        stage(format!("reading {}", path.display()));
        let (raster, hash) = read_scan_and_hash(&path, &options, watch)?;
        facts.push(facts_of(&path, &raster, hash));
        let raster = Arc::new(raster);
        scans.push(WedgeScan { raster, references });
    }
    stage("measuring".into());
    let looked = look(&scans, watch)?;
    let calibration = Calibration {
        scanner: making.scanner,
        settings: making.settings,
        made: making.made,
        uncertainty: making.uncertainty,
        scans: facts,
        channels: looked.channels,
    };
    let judged = judge(&calibration, looked.findings);
    Ok((calibration, judged))
}

fn facts_of(path: &Path, raster: &Raster, hash: String) -> CalibrationScan {
    let name = path.file_name().map(PathBuf::from);
    CalibrationScan {
        path: name.unwrap_or_default().display().to_string(),
        hash,
        encoding: raster.light.source.clone(),
        bits: raster.origin.bits,
        pixels_per_mm: raster.pixels_per_mm,
    }
}
