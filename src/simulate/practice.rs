//! What a practice session hands out.

use std::sync::Arc;

use super::truth::Truth;
use crate::measure::analysis::{Question, Settings, StripSpec, WedgeSpec};
use crate::measure::raster::Raster;

/// Scans, what a person would say about them, and the truth.
#[derive(Debug, Clone)]
pub struct Practice {
    /// The scans; how their codes follow from light is in `truth.encoding`.
    pub scans: Vec<Arc<Raster>>,
    /// The strips in reading order, as told: no geometry.
    pub strips: Vec<StripSpec>,
    /// The wedge as listed.
    pub wedge: Option<WedgeSpec>,
    /// The lamp's dead time as told: value and standard uncertainty, seconds.
    pub lag: (f64, f64),
    /// What is true.
    pub truth: Truth,
}

/// The session as a person would describe it: no geometry given.
pub fn question(practice: &Practice) -> Question {
    Question {
        scans: practice.scans.clone(),
        empty: None,
        wedge: practice.wedge.clone(),
        calibration: None,
        strips: practice.strips.clone(),
        settings: Settings {
            lag: practice.lag,
            seed: practice.truth.recipe.seed,
            timing_error: practice.truth.recipe.timing_error,
            tablet_error: practice.truth.recipe.tablet_error,
            ..Settings::default()
        },
    }
}
