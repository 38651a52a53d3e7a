//! Two strips against each other: speed ratio, contrast difference, ratio by tone, budget.

mod answer;
mod budget;
pub mod eye;
mod findings;
mod solve;

use serde::Serialize;

use super::curve::CurveAnswer;
use super::estimate::{Estimate, Gap};

pub use super::curve::StripEvidence;
pub use solve::solve;

/// The speed ratio at one tone.
#[derive(Debug, Clone, Copy, PartialEq, Serialize)]
pub struct ToneRatio {
    /// Net density of the tone.
    pub net_density: f64,
    /// Stops slower (positive) at that tone.
    pub stops: Estimate,
}

/// A source of the ratio's uncertainty.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Serialize)]
#[serde(rename_all = "kebab-case")]
pub enum Source {
    /// Finite steps, noise, the curve's shape.
    Fit,
    /// The coat's unevenness.
    Unevenness,
    /// The wedge and the density scale.
    DensityScale,
    /// The lamp's dead time.
    LampLag,
    /// Click stops aren't exact.
    Aperture,
    /// Session to session (known only from repeats).
    Repeats,
    /// The scanner reads a strip otherwise from scan to scan (known only from strips or wedges
    /// scanned more than once).
    ScanRepeats,
}

/// One part of the budget of the ratio.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct BudgetPart {
    /// Which source.
    pub source: Source,
    /// Standard error it adds, in stops.
    pub stops: f64,
    /// Share of the total variance, 0 to 1.
    pub share: f64,
    /// What to do about it: one sentence.
    pub remedy: String,
}

/// What a reference and a coupon say together.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct PairAnswer {
    /// Curve of the reference.
    pub reference: CurveAnswer,
    /// Curve of the coupon.
    pub coupon: CurveAnswer,
    /// Stops the coupon is slower (positive) or faster (negative), all sources counted.
    pub stops: Estimate,
    /// The same as a factor of exposure: how many times the exposure the emulsion needs.
    pub ratio: Estimate,
    /// Stops with the aperture taken as exact.
    pub stops_exact_aperture: Estimate,
    /// Factor with the aperture taken as exact.
    pub ratio_exact_aperture: Estimate,
    /// ISO range of coupon minus reference: positive is softer.
    pub contrast_difference: Estimate,
    /// Ratio by tone, the aperture's error counted; only tones that both strips bracket.
    pub by_tone: Vec<ToneRatio>,
    /// Sources of the ratio's uncertainty, biggest first.
    pub budget: Vec<BudgetPart>,
}

impl PairAnswer {
    /// Takes back what is said of the pair, for a reason that lies in the scan; the points as
    /// measured stay for a person to look at.
    pub fn withhold(&mut self, why: Gap) {
        let absent = Estimate::absent(why);
        self.stops = absent;
        self.ratio = absent;
        self.stops_exact_aperture = absent;
        self.ratio_exact_aperture = absent;
        self.contrast_difference = absent;
        self.by_tone.clear();
        self.budget.clear();
    }
}
