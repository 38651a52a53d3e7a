//! What an earlier analysis worked out, kept so that an edit repeats only what it touches.

use std::sync::Arc;

use crate::measure::check::Checked;
use crate::measure::compare::Compared;
use crate::measure::curve::StripEvidence;
use crate::measure::finding::Finding;
use crate::measure::geometry::{Area, StripShape};
use crate::measure::raster::{Channel, Raster};
use crate::measure::reading::{Cell, StripReading};
use crate::measure::scale::DensityScale;
use crate::measure::scale::calibration::{Calibration, CalibrationFit, CalibrationGap};
use crate::measure::scale::glass::{Glass, NotEmpty};
use crate::measure::scale::lid::Levelled;
use crate::measure::scale::lighting::Lighting;
use crate::measure::strip::{Asked, Found, Seen, Wanted};
use crate::measure::unexposed::{Quad, Search};

use super::Settings;

/// A scan told from another by being the same decoded pixels (rasters never change).
pub(super) type ScanKey = ByAddress<Raster>;

/// One scan's density scale and what was said while making it.
#[derive(Clone)]
pub(super) struct ScaleMade {
    /// The scale.
    pub scale: Arc<dyn DensityScale>,
    /// Findings about the wedge or its absence.
    pub findings: Vec<Finding>,
}

/// The curve of a calibration as one scan is read by it, or why there is none.
pub(super) type Reused = Arc<Result<(CalibrationFit, Arc<dyn DensityScale>), CalibrationGap>>;

/// Everything a reading depends on.
#[derive(Clone)]
pub(super) struct ReadingKey {
    /// The cells.
    pub cells: Arc<Vec<Cell>>,
    /// Which fields are steps.
    pub shape: StripShape,
    /// The scale.
    pub scale: Arc<dyn DensityScale>,
    /// Log exposures by step.
    pub log_exposures: Option<Vec<f64>>,
}

impl PartialEq for ReadingKey {
    fn eq(&self, other: &Self) -> bool {
        Arc::ptr_eq(&self.cells, &other.cells)
            && Arc::ptr_eq(&self.scale, &other.scale)
            && self.shape == other.shape
            && self.log_exposures == other.log_exposures
    }
}

/// Answers by what they were asked; answers that a round did not use are let go after it.
pub(super) struct Answers<K, V> {
    entries: Vec<(K, V, bool)>,
}

impl<K, V> Default for Answers<K, V> {
    fn default() -> Self {
        Self {
            entries: Vec::new(),
        }
    }
}

impl<K: PartialEq, V: Clone> Answers<K, V> {
    /// The answer to this question, if it was given before.
    pub fn get(&mut self, key: &K) -> Option<V> {
        let (_, answer, used) = self.entries.iter_mut().find(|(known, ..)| known == key)?;
        *used = true;
        Some(answer.clone())
    }

    /// Keeps an answer.
    pub fn put(&mut self, key: K, answer: V) {
        self.entries.push((key, answer, true));
    }

    /// Keeps every answer for one round more, used or not.
    pub fn keep(&mut self) {
        for (.., used) in &mut self.entries {
            *used = true;
        }
    }

    /// Ends a round: lets go of what it did not use.
    fn sweep(&mut self) {
        self.entries.retain(|(.., used)| *used);
        for (.., used) in &mut self.entries {
            *used = false;
        }
    }
}

/// What an earlier analysis worked out. Empty at first; hand it to
/// [`analyse_again`](super::analyse_again) with every edit of the same session.
#[derive(Default)]
pub struct Kept {
    pub(super) seen: Answers<(usize, ScanKey, Asked), Arc<Seen>>,
    pub(super) found: Answers<(Vec<ScanKey>, Wanted), Found>,
    pub(super) glasses: Answers<(ScanKey, Channel), Arc<Result<Glass, NotEmpty>>>,
    pub(super) lightings: Answers<(ScanKey, Option<ScanKey>, Channel), Arc<Lighting>>,
    pub(super) cells: Answers<CellsKey, Arc<Vec<Cell>>>,
    pub(super) scales: Answers<ScaleKey, ScaleMade>,
    pub(super) levelled: Answers<LevelledKey, Arc<Levelled>>,
    pub(super) reused: Answers<(Arc<Calibration>, Channel, ScanKey), Reused>,
    pub(super) readings: Answers<ReadingKey, Arc<StripReading>>,
    pub(super) coats: Answers<CoatKey, Option<Arc<Search>>>,
    pub(super) checks: Answers<CheckKey, Checked>,
    pub(super) pairs: Answers<PairKey, Compared>,
}

/// Everything the answer of a pair depends on.
pub(super) type PairKey = (Arc<[StripEvidence; 2]>, Settings);

/// Another scan's scale, the scan that is read by it, and the level with its error (bits of the
/// numbers) where more than the lid shows it.
pub(super) type LevelledKey = (ByAddress<dyn DensityScale>, ScanKey, Option<[u64; 2]>);

/// Everything the cells of a strip or wedge depend on; the second scan is that of the empty glass.
pub(super) type CellsKey = (ScanKey, Option<ScanKey>, StripShape, Vec<Area>, Channel);

/// Everything the scale of a scan depends on: its pixels and the channel, its wedge if it has one
/// (cells, shape, list and the list's uncertainty), and the strips' cells, which show stray light.
pub(super) type ScaleKey = (
    ScanKey,
    Channel,
    Option<(ByAddress<Vec<Cell>>, StripShape, Vec<f64>, f64)>,
    Vec<ByAddress<Vec<Cell>>>,
);

/// Everything that unexposed coat is looked for by: the scan, its scale, the channel, the steps'
/// corners with the bits of their log exposures, and the outlines of other things.
pub(super) type CoatKey = (
    ScanKey,
    ByAddress<dyn DensityScale>,
    Channel,
    (Vec<Quad>, Vec<u64>),
    Vec<Quad>,
);

/// Everything the checks of one scan depend on: the scan, what lies where, the channel.
pub(super) type CheckKey = (
    ScanKey,
    Vec<(usize, StripShape, Vec<Area>)>,
    Option<StripShape>,
    Option<Vec<f64>>,
    Channel,
);

/// Shared data told apart by where it lies, not by what it holds.
#[derive(Debug)]
pub(super) struct ByAddress<T: ?Sized>(pub Arc<T>);

impl<T: ?Sized> Clone for ByAddress<T> {
    fn clone(&self) -> Self {
        Self(Arc::clone(&self.0))
    }
}

impl<T: ?Sized> PartialEq for ByAddress<T> {
    fn eq(&self, other: &Self) -> bool {
        Arc::ptr_eq(&self.0, &other.0)
    }
}

impl Kept {
    /// Ends a round of analysis.
    pub(super) fn sweep(&mut self) {
        self.found.sweep();
        self.seen.sweep();
        self.glasses.sweep();
        self.lightings.sweep();
        self.cells.sweep();
        self.scales.sweep();
        self.levelled.sweep();
        self.reused.sweep();
        self.readings.sweep();
        self.coats.sweep();
        self.checks.sweep();
        self.pairs.sweep();
    }
}
