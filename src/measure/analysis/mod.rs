//! From a question (scans and what is known of them) to everything that is found.
//!
//! [`analyse`] is the one function behind the window and the command line; what either shows
//! comes out of the [`Analysis`] it returns.

mod alternatives;
mod chain;
mod checks;
mod coat;
mod doubt;
mod gate;
mod kept;
mod repeated;
mod results;
mod scales;

pub use chain::{analyse, analyse_again};
pub use kept::Kept;
pub use scales::scale_of_wedge;

use std::sync::Arc;

use serde::Serialize;

use super::compare::{PairAnswer, StripEvidence};
use super::estimate::Estimate;
use super::exposure::Exposures;
use super::finding::Finding;
use super::geometry::{Area, Point, StripShape};
use super::raster::{Channel, Raster};
use super::scale::calibration::Calibration;
use super::scale::repeats::Repeat;
use super::strip::{Located, Role};

/// A strip as the session describes it.
#[derive(Debug, Clone, PartialEq)]
pub struct StripSpec {
    /// Name for the report ("slate, two coats").
    pub name: String,
    /// Paper or coated.
    pub role: Role,
    /// How it was exposed; without, it is measured but not solved.
    pub exposures: Option<Exposures>,
    /// The f-number as engraved, to say how it was read.
    pub engraved_f_number: Option<f64>,
    /// Geometry given in the session.
    pub shape: Option<StripShape>,
    /// Patches of unexposed coat given in the session, beside the margins of a given shape; empty:
    /// there are none; `None`: to be looked for.
    pub unexposed: Option<Vec<[Point; 4]>>,
    /// Steps (from 0, in the order of the series) left out of the fit.
    pub excluded: Vec<usize>,
    /// Areas placed by hand, at most one a field.
    pub areas: Vec<Area>,
    /// The strip of the list that this one is, seen once more; it makes no pair of its own.
    pub same_as: Option<usize>,
}

/// The wedge as the session describes it.
#[derive(Debug, Clone, PartialEq)]
pub struct WedgeSpec {
    /// Densities of its fields in order.
    pub densities: Vec<f64>,
    /// Standard uncertainty of each listed density.
    pub uncertainty: f64,
    /// Geometry given in the session.
    pub shape: Option<StripShape>,
}

/// Standard error of a burst whose time was typed by hand, seconds, where nobody says: a finger on a
/// switch and an eye on a clock (common practice, no source).
pub const TIMING_ERROR: f64 = 0.1;
/// Standard error of a step tablet's listed density where nobody says: lists have two decimals, and
/// tablets age (common practice, no source).
pub const TABLET_ERROR: f64 = 0.02;

/// What the person chose for the whole session.
#[derive(Debug, Clone, PartialEq)]
pub struct Settings {
    /// Channel that densities are read from.
    pub channel: Channel,
    /// The lamp's dead time per burst in seconds, and its standard uncertainty.
    pub lag: (f64, f64),
    /// Standard error of one click stop of the aperture, in stops, for each strip whose
    /// f-number differs from the reference's.
    pub aperture_error_stops: f64,
    /// Standard error of a burst that a hand times, in seconds; 0 for a switch or clock timer.
    /// Strips through a step tablet have none.
    pub timing_error: f64,
    /// Standard error of each listed transmission density of a step tablet.
    pub tablet_error: f64,
    /// Whether weak priors support what the steps leave free.
    pub priors: bool,
    /// Seed of the importance draws: same session, same bounds.
    pub seed: u64,
}

impl Default for Settings {
    fn default() -> Self {
        Self {
            channel: Channel::Luminance,
            lag: (0.0, 0.05),
            aperture_error_stops: 0.1,
            timing_error: TIMING_ERROR,
            tablet_error: TABLET_ERROR,
            priors: true,
            seed: 1,
        }
    }
}

/// Everything the analysis is asked about.
#[derive(Debug, Clone)]
pub struct Question {
    /// The decoded scans.
    pub scans: Vec<Arc<Raster>>,
    /// A scan of the empty glass, with the settings and the area of the others.
    pub empty: Option<Arc<Raster>>,
    /// The wedge, if one was scanned along.
    pub wedge: Option<WedgeSpec>,
    /// A calibration of the scanner, for scans without a wedge.
    pub calibration: Option<Arc<Calibration>>,
    /// The strips in reading order; empty: measure whatever is found.
    pub strips: Vec<StripSpec>,
    /// Choices.
    pub settings: Settings,
}

impl Question {
    /// The same, with a scan of the empty glass if there is one.
    #[must_use]
    pub fn on_glass(self, empty: Option<Arc<Raster>>) -> Self {
        Self { empty, ..self }
    }
}

/// One step as measured.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct StepResult {
    /// Step number from 1 in the order of the series; 0 is the margin.
    pub step: usize,
    /// Corners on the scan, pixels.
    pub corners: [Point; 4],
    /// Density.
    pub density: f64,
    /// Its standard error, all sources of the strip counted.
    pub standard_error: f64,
    /// Scanner density (-log10 of linear light).
    pub scanner_density: f64,
    /// Log exposure in decades, when the exposures are known.
    pub log_exposure: Option<f64>,
    /// Share of pixels rejected as bubbles, dust, hairs.
    pub rejected: f64,
    /// Share of pixels at the bottom or top of the code range.
    pub clipped: f64,
}

/// One strip as found and measured.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct StripResult {
    /// Name from the session or "strip 1".
    pub name: String,
    /// Paper or coated; `None` when the session doesn't say.
    pub role: Option<Role>,
    /// The strip (index) that this one is, seen once more.
    pub same_as: Option<usize>,
    /// Where it lies; `None` when it was not found.
    pub located: Option<Located>,
    /// Its margin (step 0) and steps; empty when not found.
    pub steps: Vec<StepResult>,
    /// How uneven the coat is.
    pub unevenness: Option<super::reading::Unevenness>,
}

/// What one reading of a reference and one of a coupon would give alone.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct JointReading {
    /// Its chance among those that were solved.
    pub chance: f64,
    /// Which of the reference's readings (`located.readings`), from 0.
    pub reference: usize,
    /// Which of the coupon's readings, from 0.
    pub coupon: usize,
    /// Stops the coupon would be slower.
    pub stops: Estimate,
    /// The same as a factor of exposure.
    pub ratio: Estimate,
    /// The contrast difference it would give, ISO R.
    pub contrast_difference: Estimate,
}

/// A reference and a coupon, solved.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct PairResult {
    /// Index of the reference strip.
    pub reference: usize,
    /// Index of the coupon.
    pub coupon: usize,
    /// The answer, all readings counted.
    pub answer: PairAnswer,
    /// What the joint readings would give alone, where there is more than one.
    #[serde(skip_serializing_if = "Vec::is_empty")]
    pub readings: Vec<JointReading>,
    /// What it was worked out from, reference first: whoever keeps it can work it out again.
    #[serde(skip)]
    pub evidence: Arc<[StripEvidence; 2]>,
}

/// Everything that is found.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct Analysis {
    /// One entry a strip of the session (or found).
    pub strips: Vec<StripResult>,
    /// The wedge on each scan where it was seen.
    pub wedges: Vec<Located>,
    /// Strip-like things that the session doesn't describe: for whoever points at one. They are
    /// told of in the findings.
    #[serde(skip)]
    pub spare: Vec<Located>,
    /// One entry a coupon that could be solved.
    pub pairs: Vec<PairResult>,
    /// How differently the scanner reads one field from scan to scan once levels are brought
    /// together, by density, as strips that were seen more than once show it; a calibration's
    /// repeats are pooled in. Empty where no strip was.
    pub repeats: Vec<Repeat>,
    /// What a person should be told, heaviest first.
    pub findings: Vec<Finding>,
}

impl Analysis {
    /// Whether at least one pair has a speed ratio and nothing forbids to trust it.
    pub fn answered(&self) -> bool {
        self.pairs
            .iter()
            .any(|pair| pair.answer.stops.value.is_some())
    }
}
