//! The density scale that each scan is read with.

use std::collections::BTreeMap;
use std::sync::Arc;

use nalgebra::DMatrix;

use super::Question;
use super::chain::cells_of;
use super::kept::{ByAddress, Kept, ScaleMade};
use crate::measure::check;
use crate::measure::finding::Finding;
use crate::measure::reading::STRAY_MODES;
use crate::measure::scale::{self, DensityScale};
use crate::measure::strip::Found;
use crate::measure::watch::{Cancelled, Watch};

/// The density scales of a session and which one each scan is read with.
pub(super) struct Scales {
    /// The scales.
    all: Vec<Arc<dyn DensityScale>>,
    /// For each scan, its place in `all`.
    of_scan: Vec<usize>,
}

impl Scales {
    /// The scale that a scan is read with.
    pub(super) fn of(&self, scan: usize) -> &Arc<dyn DensityScale> {
        &self.all[self.of_scan[scan]]
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
        let before: usize = counts[..own].iter().sum();
        wide.columns_mut(before, modes.ncols()).copy_from(modes);
        wide
    }
}

/// A wedge's scale for every scan that has one. A scan without is read with the scale of the
/// session's other wedge, if there is one, and else relative to its own white.
pub(super) fn scales(
    question: &Question,
    found: &Found,
    kept: &mut Kept,
    watch: &dyn Watch,
    findings: &mut Vec<Finding>,
) -> Result<Scales, Cancelled> {
    let mut by_wedge: BTreeMap<usize, Arc<dyn DensityScale>> = BTreeMap::new();
    if let Some(spec) = &question.wedge {
        for located in &found.wedges {
            let scan = located.shape.scan;
            let channel = question.settings.channel;
            let cells = cells_of(
                &question.scans[scan],
                (&located.shape, &[]),
                channel,
                kept,
                watch,
            )?;
            let key = (
                ByAddress(cells),
                located.shape.clone(),
                spec.densities.clone(),
                spec.uncertainty,
            );
            if let Some(made) = kept.scales.get(&key) {
                findings.extend(made.findings.iter().cloned());
                by_wedge.insert(scan, made.scale);
                continue;
            }
            match scale::fit_wedge(&key.0.0, &located.shape, &spec.densities, spec.uncertainty) {
                Ok(fit) => {
                    let made = ScaleMade {
                        scale: Arc::new(fit.scale),
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
    for (scan, raster) in question.scans.iter().enumerate() {
        if let Some(&index) = index_of_wedge.get(&scan) {
            of_scan.push(index);
        } else if let Some(index) = index_of_wedge.values().next() {
            findings.push(check::wedge_of_another_scan(scan));
            of_scan.push(*index);
        } else {
            findings.push(scale::no_wedge(scan));
            of_scan.push(all.len());
            all.push(Arc::new(scale::assumed_white(
                raster.white(question.settings.channel),
            )));
        }
    }
    Ok(Scales { all, of_scan })
}
