//! Reading later scans by a calibration: the scale, and whether it still holds.

use super::calibration::{Calibration, CalibrationFit, CalibrationGap, SeenField};
use super::repeats::{self, Repeat};
use super::wedge::WedgeScale;
use super::{DensityScale, StrayCorrection, standard_error};
use crate::measure::finding::{Finding, Kind, Place, Weight};
use crate::measure::reading::Around;

/// Root mean square difference, density, from which a calibration no longer holds; the same that
/// two scans of one wedge may differ by.
const DRIFTED: f64 = 0.02;
/// And how many times the expected error it must be.
const DRIFT_CERTAINTY: f64 = 2.0;
/// Ratio of two resolutions from which they count as two settings.
const OTHER_RESOLUTION: f64 = 1.05;

/// The scale of a calibration on a scan that was made later: the level may have changed.
#[derive(Debug, Clone)]
pub struct ReusedScale {
    scale: WedgeScale,
    /// Standard deviation of the level, scanner density.
    level: f64,
    /// Repeat error by density.
    repeats: Vec<Repeat>,
}

impl ReusedScale {
    /// A curve, the standard deviation of the level, scanner density, and what else differs from
    /// scan to scan.
    pub(super) fn new(scale: WedgeScale, level: f64, repeats: Vec<Repeat>) -> Self {
        Self {
            scale,
            level,
            repeats,
        }
    }

    /// Fields (places in the list) that were left out of the curve.
    pub fn left_out(&self) -> &[usize] {
        self.scale.left_out()
    }

    /// Standard error of the curve alone at scanner density `s`, the level left aside.
    pub fn curve_error(&self, s: f64) -> f64 {
        standard_error(&self.scale, s)
    }
}

impl DensityScale for ReusedScale {
    fn density(&self, s: f64) -> f64 {
        self.scale.density(s)
    }

    fn slope(&self, s: f64) -> f64 {
        self.scale.slope(s)
    }

    fn modes(&self, s: f64) -> Vec<f64> {
        let mut modes = self.scale.modes(s);
        modes.push(self.level * self.scale.slope(s));
        modes.extend(repeats::modes(&self.repeats, self.scale.density(s)));
        modes
    }

    fn supported(&self) -> (f64, f64) {
        self.scale.supported()
    }

    fn stray(&self, s: f64, around: &Around) -> StrayCorrection {
        self.scale.stray(s, around)
    }

    fn by_wedge(&self) -> bool {
        true
    }
}

/// What is known of a scan that is to be read by a calibration.
#[derive(Debug, Clone, Copy)]
pub struct LaterScan<'a> {
    /// Its index.
    pub scan: usize,
    /// Where its linear light comes from, in words.
    pub encoding: &'a str,
    /// Bits a code value.
    pub bits: u8,
    /// Pixels per millimetre, where the file says so.
    pub pixels_per_mm: Option<f64>,
}

/// What a person is told when a scan without a wedge is read by a calibration.
pub fn read_by(calibration: &Calibration, fit: &CalibrationFit, later: LaterScan<'_>) -> Finding {
    let differs = differences(calibration, later);
    let (low, high) = fit.usable;
    let seen = format!(
        "Scan {} has no wedge and is read by the calibration of {} made on {}, good from \
         {low:.2} to {high:.2} D.",
        later.scan + 1,
        calibration.scanner,
        calibration.made
    );
    if differs.is_empty() {
        return Finding {
            kind: Kind::CalibrationUsed,
            weight: Weight::Note,
            place: Place::scan(later.scan),
            seen,
            matters: format!(
                "Its level may have changed since by about {:.3} D; the bounds allow for that.",
                fit.level
            ),
            remedy: "Scan the wedge along now and then: it shows whether the calibration holds."
                .into(),
        };
    }
    Finding {
        kind: Kind::CalibrationUsed,
        weight: Weight::Caution,
        place: Place::scan(later.scan),
        seen: format!("{seen} But {}.", differs.join(" and ")),
        matters: "A calibration holds for one scanner set one way; densities may be off by more \
                  than the bounds say."
            .into(),
        remedy: "Scan with the settings of the calibration, or make one with these settings."
            .into(),
    }
}

/// In what a scan differs from those of the calibration.
fn differences(calibration: &Calibration, later: LaterScan<'_>) -> Vec<String> {
    let Some(made) = calibration.scans.first() else {
        return Vec::new();
    };
    let mut differs = Vec::new();
    if made.encoding != later.encoding {
        differs.push(format!(
            "its encoding ({}) is not that of the calibration ({})",
            later.encoding, made.encoding
        ));
    }
    if made.bits != later.bits {
        differs.push(format!(
            "it has {} bits instead of {}",
            later.bits, made.bits
        ));
    }
    if let (Some(then), Some(now)) = (made.pixels_per_mm, later.pixels_per_mm)
        && (then / now).max(now / then) > OTHER_RESOLUTION
    {
        differs.push(format!(
            "it was scanned at {:.0} dots per inch instead of {:.0}",
            now * 25.4,
            then * 25.4
        ));
    }
    differs
}

/// What a person is told when a scan can't be read by a calibration.
pub fn not_read_by(calibration: &Calibration, gap: &CalibrationGap, scan: usize) -> Finding {
    Finding {
        kind: Kind::CalibrationUnfit,
        weight: Weight::Caution,
        place: Place::scan(scan),
        seen: format!(
            "The calibration of {} can't be used: {gap}.",
            calibration.scanner
        ),
        matters: "The scan is read without it.".into(),
        remedy: "Make a calibration from a colour scan of the wedge, or choose the channel \
                 luminance."
            .into(),
    }
}

/// How far a wedge on a later scan lies from what a calibration foretells.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Drift {
    /// Mean of calibrated less listed density.
    pub mean: f64,
    /// Root mean square of it.
    pub rms: f64,
    /// Largest, signed.
    pub worst: f64,
    /// Root mean square expected from the stated errors.
    pub expected: f64,
}

impl Drift {
    /// Whether the calibration no longer holds.
    pub fn is_real(&self) -> bool {
        self.rms > DRIFTED && self.rms > DRIFT_CERTAINTY * self.expected
    }
}

/// Compares a calibration with a wedge on a later scan, over the densities where it is good.
/// `None` when no field lies there.
pub fn drift(fit: &CalibrationFit, seen: &[SeenField], uncertainty: f64) -> Option<Drift> {
    let scale = &fit.scale;
    let within: Vec<&SeenField> = seen
        .iter()
        .filter(|field| (fit.usable.0..=fit.usable.1).contains(&field.listed))
        .collect();
    if within.is_empty() {
        return None;
    }
    let count = within.len() as f64;
    let away: Vec<f64> = within
        .iter()
        .map(|field| scale.density(field.scanner) - field.listed)
        .collect();
    let expected: f64 = within
        .iter()
        .map(|field| {
            standard_error(scale, field.scanner).powi(2)
                + uncertainty.powi(2)
                + (field.error * scale.slope(field.scanner)).powi(2)
        })
        .sum();
    let worst = away
        .iter()
        .copied()
        .max_by(|a, b| a.abs().total_cmp(&b.abs()))?;
    Some(Drift {
        mean: away.iter().sum::<f64>() / count,
        rms: (away.iter().map(|d| d * d).sum::<f64>() / count).sqrt(),
        worst,
        expected: (expected / count).sqrt(),
    })
}

/// What a person is told of it.
pub fn drift_finding(calibration: &Calibration, drift: Drift, scan: usize) -> Finding {
    let real = drift.is_real();
    Finding {
        kind: Kind::CalibrationDrift,
        weight: if real { Weight::Caution } else { Weight::Note },
        place: Place::scan(scan),
        seen: format!(
            "By the calibration of {} made on {}, the wedge on scan {} reads {:+.3} D off on the \
             mean, {:.3} D root mean square and {:+.3} D at worst, where {:.3} D is expected.",
            calibration.scanner,
            calibration.made,
            scan + 1,
            drift.mean,
            drift.rms,
            drift.worst,
            drift.expected
        ),
        matters: if real {
            "The scanner has drifted or is set otherwise; this scan is read by its own wedge, but \
             scans without one can't be trusted to the calibration."
        } else {
            "The calibration still holds; this scan is read by its own wedge."
        }
        .into(),
        remedy: if real {
            "Check the scanner's settings; if they are right, make a new calibration."
        } else {
            "Nothing to do."
        }
        .into(),
    }
}
