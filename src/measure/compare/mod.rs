//! Two strips against each other: speed ratio, contrast difference, ratio by tone, budget.

mod answer;
mod budget;
pub mod eye;
mod findings;
mod mixture;
#[cfg(test)]
mod mixture_tests;
mod odd_step;
mod solve;
mod tone;

use serde::Serialize;

use super::curve::CurveAnswer;
use super::estimate::{Estimate, Gap};

pub use super::curve::{OtherReading, StripEvidence};
pub use solve::{solve, solve_readings};

/// The speed ratio at one tone.
#[derive(Debug, Clone, Copy, PartialEq, Serialize)]
pub struct ToneRatio {
    /// Net density of the tone.
    pub net_density: f64,
    /// Stops slower (positive) at that tone.
    pub stops: Estimate,
}

/// Contrast of the coupon against the reference, over the tones that both strips show.
///
/// From the light tone to the dark one the coupon takes so many stops of exposure more (softer)
/// or fewer (harder) than the reference. Unlike the difference of ISO ranges it asks nothing of
/// the ends of the curves, where steps are rare.
#[derive(Debug, Clone, Copy, PartialEq, Serialize)]
pub struct ToneContrast {
    /// Net density of the light tone: 0.10, or the lightest that both strips show.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub light: Option<f64>,
    /// Net density of the dark tone: the darkest tenth that both strips show.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub dark: Option<f64>,
    /// Stops more that the coupon takes between them: positive is softer.
    pub stops: Estimate,
    /// The coupon's stops between them over the reference's: above 1 is softer. One over it is
    /// the quotient of the mean gradients between the two tones.
    pub quotient: Estimate,
}

impl ToneContrast {
    /// None, and why.
    pub fn absent(why: Gap) -> Self {
        Self {
            light: None,
            dark: None,
            stops: Estimate::absent(why),
            quotient: Estimate::absent(why),
        }
    }
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
    /// A hand times the bursts; a step tablet's densities aren't exact.
    Timing,
    /// Click stops aren't exact.
    Aperture,
    /// It isn't certain how the strips are to be read: where steps and unexposed coat lie, which
    /// way they run, which strip is which.
    Places,
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
    /// Contrast over the tones that both strips show.
    pub contrast_by_tones: ToneContrast,
    /// ISO range of coupon minus reference: positive is softer. As ISO 6846 defines it, for
    /// comparing strips; not a paper's printed grade.
    pub contrast_difference: Estimate,
    /// Ratio by tone, the aperture's error counted; only tones that both strips bracket.
    pub by_tone: Vec<ToneRatio>,
    /// Sources of the ratio's uncertainty, biggest first.
    pub budget: Vec<BudgetPart>,
}

/// What one joint reading of both strips would give alone.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct ReadAs {
    /// Its chance among the readings that were solved, 0 to 1.
    pub chance: f64,
    /// Which reading of reference and coupon: 0 for the one used, then [`StripEvidence::others`]
    /// from 1.
    #[serde(skip)]
    pub of: [usize; 2],
    /// Stops the coupon would be slower.
    pub stops: Estimate,
    /// The same as a factor of exposure.
    pub ratio: Estimate,
    /// The contrast difference it would give.
    pub contrast_difference: Estimate,
}

/// What comes of comparing a reference and a coupon.
#[derive(Debug, Clone, PartialEq)]
pub struct Compared {
    /// The answer, all readings counted.
    pub answer: PairAnswer,
    /// What should be told about it.
    pub findings: Vec<super::finding::Finding>,
    /// Every joint reading that was solved, likeliest first; empty where there is but one.
    pub readings: Vec<ReadAs>,
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
        self.contrast_by_tones = ToneContrast::absent(why);
        self.contrast_difference = absent;
        self.by_tone.clear();
        self.budget.clear();
    }
}
