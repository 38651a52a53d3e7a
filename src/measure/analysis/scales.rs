//! The density scale that each scan is read with.

use std::collections::{BTreeMap, BTreeSet};
use std::sync::Arc;

use nalgebra::DMatrix;

use super::chain::{cells_of, glass_of, lighting_of};
use super::kept::{ByAddress, Kept, Reused, ScaleMade};
use super::{Question, WedgeSpec};
use crate::measure::finding::Finding;
use crate::measure::geometry::StripShape;
use crate::measure::reading::{Cell, STRAY_MODES};
use crate::measure::scale::calibration::see;
use crate::measure::scale::lid::Levelled;
use crate::measure::scale::repeats::Repeat;
use crate::measure::scale::{self, DensityScale, lighting, reuse};
use crate::measure::strip::{Found, Located};
use crate::measure::watch::{Cancelled, Watch};

/// The density scales of a session and which one each scan is read with.
pub(super) struct Scales {
    /// The scales.
    all: Vec<Arc<dyn DensityScale>>,
    /// For each scan, its place in `all`.
    of_scan: Vec<usize>,
    /// For each scale, the place of the one that it follows but for the level, if it does.
    follows: Vec<Option<usize>>,
    /// By scan: its scale, when it is that of another scan's wedge, and that scan.
    levelled: BTreeMap<usize, (Arc<Levelled>, usize)>,
    /// Scans that are read by the session's calibration.
    calibrated: BTreeSet<usize>,
}

impl Scales {
    /// The scale that a scan is read with.
    pub(super) fn of(&self, scan: usize) -> &Arc<dyn DensityScale> {
        &self.all[self.of_scan[scan]]
    }

    /// Scans that are read by the wedge of another scan, and that one.
    pub(super) fn levelled(&self) -> Vec<(usize, Arc<Levelled>, usize)> {
        let all = self.levelled.iter();
        all.map(|(scan, (scale, other))| (*scan, Arc::clone(scale), *other))
            .collect()
    }

    /// Whether a scan is read by the session's calibration.
    pub(super) fn is_calibrated(&self, scan: usize) -> bool {
        self.calibrated.contains(&scan)
    }

    /// The repeat error that the calibration knows of, where a scan is read by it.
    pub(super) fn calibration_repeats(&self, question: &Question, kept: &mut Kept) -> Vec<Repeat> {
        let scan = self.calibrated.first();
        let made = scan.and_then(|&scan| reused(question, kept, scan));
        let fit = made.as_ref().and_then(|made| made.as_ref().as_ref().ok());
        fit.map_or_else(Vec::new, |(fit, _)| fit.repeats.clone())
    }

    /// Reads a scan that is read by another's wedge at this level, with its standard error.
    pub(super) fn relevel(
        &mut self,
        question: &Question,
        kept: &mut Kept,
        scan: usize,
        level: (f64, f64),
    ) {
        let Some((known, other)) = self.levelled.get_mut(&scan) else {
            return;
        };
        let base = &self.all[self.of_scan[*other]];
        let key = (
            ByAddress(Arc::clone(base)),
            ByAddress(Arc::clone(&question.scans[scan])),
            Some([level.0.to_bits(), level.1.to_bits()]),
        );
        // The same scale after an edit that leaves the level alone: readings by it still hold.
        let scale = kept.levelled.get(&key).unwrap_or_else(|| {
            let made = Arc::new(known.at_level(level));
            kept.levelled.put(key, Arc::clone(&made));
            made
        });
        *known = Arc::clone(&scale);
        self.all[self.of_scan[scan]] = scale;
    }

    /// The modes of a reading, in columns of its own scale: what is common to strips read
    /// with one scale stays common, and scales of different scans stay independent.
    pub(super) fn spread(&self, scan: usize, modes: &DMatrix<f64>) -> DMatrix<f64> {
        let own = self.of_scan[scan];
        let counts: Vec<usize> = self
            .all
            .iter()
            .map(|scale| scale.modes(0.5).len() + STRAY_MODES)
            .collect();
        let mut wide = DMatrix::zeros(modes.nrows(), counts.iter().sum());
        let before = |scale: usize| -> usize { counts[..scale].iter().sum() };
        let Some(base) = self.follows[own] else {
            wide.columns_mut(before(own), modes.ncols())
                .copy_from(modes);
            return wide;
        };
        // Its modes are the other's, its own level, and stray light, which is the scanner's.
        let shared = counts[base] - STRAY_MODES;
        let columns = (0..shared)
            .map(|mode| before(base) + mode)
            .chain([before(own)])
            .chain((0..STRAY_MODES).map(|mode| before(base) + shared + mode));
        for (from, to) in columns.enumerate().take(modes.ncols()) {
            wide.set_column(to, &modes.column(from));
        }
        wide
    }
}

/// A wedge's scale for every scan that has one. A scan without is read with the scale of the
/// session's other wedge, if there is one, moved to the level that the lid shows; else by the session's calibration, and else relative
/// to its own white.
pub(super) fn scales(
    question: &Question,
    found: &Found,
    strip_cells: &[Option<Arc<Vec<Cell>>>],
    kept: &mut Kept,
    (watch, findings): (&dyn Watch, &mut Vec<Finding>),
) -> Result<Scales, Cancelled> {
    let on_scan = |scan: usize| -> Vec<ByAddress<Vec<Cell>>> {
        let strips = found.strips.iter().zip(strip_cells);
        let here = strips.filter(|(located, _)| {
            let located = located.as_ref().filter(|located| located.is_sure());
            located.is_some_and(|located| located.shape.scan == scan)
        });
        here.filter_map(|(_, cells)| Some(ByAddress(Arc::clone(cells.as_ref()?))))
            .collect()
    };
    let mut by_wedge: BTreeMap<usize, Arc<dyn DensityScale>> = BTreeMap::new();
    if let Some(spec) = &question.wedge {
        for located in &found.wedges {
            let scan = located.shape.scan;
            let channel = question.settings.channel;
            let cells = cells_of(question, (&located.shape, &[]), kept, watch)?;
            findings.extend(drift(question, kept, &cells, &located.shape, spec));
            let wedge = (
                ByAddress(Arc::clone(&cells)),
                located.shape.clone(),
                spec.densities.clone(),
                spec.uncertainty,
            );
            let key = (
                ByAddress(Arc::clone(&question.scans[scan])),
                channel,
                Some(wedge),
                on_scan(scan),
            );
            if let Some(made) = kept.scales.get(&key) {
                findings.extend(made.findings.iter().cloned());
                by_wedge.insert(scan, made.scale);
                continue;
            }
            match scale::fit_wedge(&cells, &located.shape, &spec.densities, spec.uncertainty) {
                Ok(fit) => {
                    let made = ScaleMade {
                        scale: Arc::new(fit.scale.beside(&slices(&key.3))),
                        findings: fit.findings,
                    };
                    findings.extend(made.findings.iter().cloned());
                    by_wedge.insert(scan, Arc::clone(&made.scale));
                    kept.scales.put(key, made);
                }
                Err(why) => findings.push(*why),
            }
        }
    }
    let mut all: Vec<Arc<dyn DensityScale>> = Vec::new();
    let mut of_scan = Vec::new();
    let mut index_of_wedge = BTreeMap::new();
    for (scan, scale) in &by_wedge {
        index_of_wedge.insert(*scan, all.len());
        all.push(Arc::clone(scale));
    }
    let mut follows = vec![None; all.len()];
    let mut levelled = BTreeMap::new();
    let mut calibrated_scans = BTreeSet::new();
    for (scan, raster) in question.scans.iter().enumerate() {
        if let Some(&index) = index_of_wedge.get(&scan) {
            of_scan.push(index);
        } else if let Some((&other, &index)) = index_of_wedge.first_key_value() {
            let there = lighting_of(question, other, kept);
            let here = lighting_of(question, scan, kept);
            let key = (
                ByAddress(Arc::clone(&all[index])),
                ByAddress(Arc::clone(raster)),
                None,
            );
            let scale = kept.levelled.get(&key).unwrap_or_else(|| {
                let base = Arc::clone(&all[index]);
                let made = Arc::new(Levelled::new(base, there.lid(), here.lid()));
                kept.levelled.put(key, Arc::clone(&made));
                made
            });
            findings.push(scale.finding(scan, other));
            of_scan.push(all.len());
            follows.push(Some(index));
            levelled.insert(scan, (Arc::clone(&scale), other));
            all.push(scale);
        } else if let Some(scale) = calibrated(question, kept, scan, findings) {
            calibrated_scans.insert(scan);
            of_scan.push(all.len());
            follows.push(None);
            all.push(scale);
        } else {
            findings.push(scale::no_wedge(scan));
            of_scan.push(all.len());
            let channel = question.settings.channel;
            let key = (ByAddress(Arc::clone(raster)), channel, None, on_scan(scan));
            let made = kept.scales.get(&key).unwrap_or_else(|| {
                let white = scale::assumed_white(raster.white(channel));
                let white = white.read_with(raster.light.exponent());
                let made = ScaleMade {
                    scale: Arc::new(white.beside(&slices(&key.3))),
                    findings: Vec::new(),
                };
                kept.scales.put(key, made.clone());
                made
            });
            follows.push(None);
            all.push(made.scale);
        }
    }
    if let Some(glass) = glass_of(question, kept)
        && let Err(why) = &*glass
    {
        findings.push(lighting::not_empty(*why));
    }
    for scan in 0..question.scans.len() {
        findings.extend(lighting_of(question, scan, kept).findings(scan));
    }
    Ok(Scales {
        all,
        of_scan,
        follows,
        levelled,
        calibrated: calibrated_scans,
    })
}

fn slices(strips: &[ByAddress<Vec<Cell>>]) -> Vec<&[Cell]> {
    strips.iter().map(|cells| cells.0.as_slice()).collect()
}

/// The scale of the first wedge that could be read, for a scan that is none of the session's:
/// the paper print. What is doubtful about it was told with the analysis.
///
/// # Errors
/// When it is called off.
pub fn scale_of_wedge(
    question: &Question,
    wedges: &[Located],
    watch: &dyn Watch,
) -> Result<Option<Arc<dyn DensityScale>>, Cancelled> {
    let Some(spec) = &question.wedge else {
        return Ok(None);
    };
    for located in wedges {
        if located.shape.scan >= question.scans.len() {
            continue;
        }
        let mut kept = Kept::default();
        let cells = cells_of(question, (&located.shape, &[]), &mut kept, watch)?;
        let fit = scale::fit_wedge(&cells, &located.shape, &spec.densities, spec.uncertainty);
        if let Ok(fit) = fit {
            return Ok(Some(Arc::new(fit.scale)));
        }
    }
    Ok(None)
}

/// The calibration's curve for a scan. Each scan has one of its own: its level is its own.
fn reused(question: &Question, kept: &mut Kept, scan: usize) -> Option<Reused> {
    let calibration = question.calibration.as_ref()?;
    let channel = question.settings.channel;
    let raster = ByAddress(Arc::clone(&question.scans[scan]));
    let key = (Arc::clone(calibration), channel, raster);
    Some(kept.reused.get(&key).unwrap_or_else(|| {
        let made: Reused = Arc::new(calibration.fit(channel).map(|fit| {
            let scale: Arc<dyn DensityScale> = Arc::new(fit.scale.clone());
            (fit, scale)
        }));
        kept.reused.put(key, Arc::clone(&made));
        made
    }))
}

/// The scale of a scan without a wedge by the session's calibration.
fn calibrated(
    question: &Question,
    kept: &mut Kept,
    scan: usize,
    findings: &mut Vec<Finding>,
) -> Option<Arc<dyn DensityScale>> {
    let calibration = question.calibration.as_ref()?;
    match &*reused(question, kept, scan)? {
        Ok((fit, scale)) => {
            let raster = &question.scans[scan];
            let later = reuse::LaterScan {
                scan,
                encoding: &raster.light.source,
                bits: raster.origin.bits,
                pixels_per_mm: raster.pixels_per_mm,
            };
            findings.push(reuse::read_by(calibration, fit, later));
            Some(Arc::clone(scale))
        }
        Err(gap) => {
            findings.push(reuse::not_read_by(calibration, gap, scan));
            None
        }
    }
}

/// Whether the session's calibration still holds, on a scan that has a wedge.
fn drift(
    question: &Question,
    kept: &mut Kept,
    cells: &[Cell],
    shape: &StripShape,
    spec: &WedgeSpec,
) -> Option<Finding> {
    let calibration = question.calibration.as_ref()?;
    let made = reused(question, kept, shape.scan)?;
    let (fit, _) = made.as_ref().as_ref().ok()?;
    // A wedge that can't be read says so itself.
    let (seen, _) = see(shape.scan, cells, shape, &spec.densities).ok()?;
    let drift = reuse::drift(fit, &seen, spec.uncertainty)?;
    Some(reuse::drift_finding(calibration, drift, shape.scan))
}
