//! Everything a person should be told: what was seen, how much it matters, what to do.

use std::collections::BTreeSet;

use serde::Serialize;

use super::geometry::Point;

/// How much a finding matters to the answer.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash, Serialize)]
#[serde(rename_all = "kebab-case")]
pub enum Weight {
    /// Worth knowing; the figures and bounds stand.
    Note,
    /// The bounds may be too narrow or the answer shifted; the text says by how much if known.
    Caution,
    /// No answer can be trusted; the analysis withholds it.
    Blocking,
}

/// What kind of thing was found. The names are stable: they stand in the JSON.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash, Serialize)]
#[serde(rename_all = "kebab-case")]
pub enum Kind {
    /// Alpha was ignored, orientation applied and the like.
    ScanNote,
    /// Code values stuck at black inside a strip.
    ClippedBlacks,
    /// Code values stuck at white inside a strip.
    ClippedWhites,
    /// The histogram was stretched or combed by the scanning software.
    AutoLevels,
    /// Light and dark fringes along step edges.
    SharpeningHalos,
    /// JPEG block edges.
    CompressionBlocks,
    /// 8 bits are too coarse for the darkest steps.
    CoarseQuantisation,
    /// Two scans disagree on the same wedge.
    ScansDisagree,
    /// The wedge's fields do not go one way.
    WedgeNotMonotone,
    /// The wedge has another number of fields than densities, or too few could be read.
    WedgeFieldCount,
    /// Something shades a part of the wedge.
    WedgeShadowed,
    /// Too few pixels per step.
    ResolutionTooLow,
    /// Reference and coupon differ in colour, so that the choice of channel moves the answer.
    ColourCast,
    /// The steps carry picture detail: not even fields.
    PictureDetail,
    /// The strips were exposed at different f-numbers.
    DifferentApertures,
    /// No wedge: densities are relative to an assumed white.
    NoWedge,
    /// The densities go beyond the wedge's.
    BeyondWedge,
    /// A scan without a wedge is read by a calibration made earlier.
    CalibrationUsed,
    /// A calibration can't be used for a scan.
    CalibrationUnfit,
    /// How far a calibration is off on a scan that has a wedge.
    CalibrationDrift,
    /// The glass is lit unevenly, as the scanner's lid shows.
    UnevenLight,
    /// What a scan of the empty glass tells, or why it isn't used.
    EmptyScan,
    /// Densities that no print has: the tone curve, the white or the wedge is not what was taken.
    ImplausibleDensities,
    /// What is said to be one strip seen more than once doesn't look like one.
    RepeatsDisagree,
    /// The scanner stops telling neighbouring fields of the wedge apart.
    IndistinctTones,
    /// A strip could not be found.
    StripNotFound,
    /// Something that looks like a strip isn't described in the session.
    StripNotDescribed,
    /// A strip, its direction or its count of steps can be read in more than one way.
    AmbiguousStrip,
    /// A strip or its step edges were found with little confidence.
    UncertainEdges,
    /// The scan shows another count of steps than the series lists.
    StepCount,
    /// The wedge on the scan and its list do not belong together.
    WedgeMismatch,
    /// No coat that got no light is sure around a strip: Dmin is left to the curve too.
    NoMargin,
    /// What was taken for coat that got no light.
    UnexposedCoat,
    /// Densities do not rise with exposure.
    NotMonotone,
    /// The steps do not bracket the speed criterion.
    CriterionNotBracketed,
    /// The steps do not reach the toe or the shoulder; the range is mostly prior.
    RangeNotBracketed,
    /// A step was rejected or is mostly bubbles and dust.
    DirtyStep,
    /// Magnification, filter or height is said of one of two strips only.
    LightNotSaid,
    /// The lamp's dead time matters and was not given.
    LampLag,
    /// The f-number as engraved was read as the exact one of the series.
    ExactAperture,
    /// Exposure is not even along or across the strip.
    LightFallOff,
    /// Too few steps for an answer.
    TooFewSteps,
    /// The times of the two strips differ so much that reciprocity failure may show.
    Reciprocity,
    /// One step doesn't go with the others.
    OddStep,
    /// The fit leaves residuals that chance does not explain.
    PoorFit,
    /// Tones of a print lie beyond the steps that were tested.
    TonesBeyondSteps,
    /// A print was scanned without a wedge or calibration: its densities hang on its white.
    PrintWhiteAssumed,
    /// The coating's contrast is too low (it is too soft) for the negative.
    ContrastTooLow,
    /// The coating's contrast is too high (it is too hard) for the negative.
    ContrastTooHigh,
    /// A tone of the print that a curve doesn't come to.
    ToneOutOfReach,
    /// A burn on paper that is a dodge on the coating, a dodge that is a burn, or one that the
    /// coating doesn't need.
    ChangeTurns,
    /// The criterion of speed lies near the coating's full density.
    CriterionNearDmax,
    /// The lightest or darkest tone of the print comes out far from what it is on paper.
    ScaleNotKept,
    /// A time that a hand can't keep.
    HardToTime,
    /// A grade of the recipe without its factor.
    GradeUnknown,
    /// The height of the piece can't be allowed for, or the picture can't be made sharp on it.
    PieceHeight,
    /// The piece doesn't lie within the depth of focus, or the lens must be focused anew.
    DepthOfFocus,
    /// The emulsion's speed changes from session to session.
    Drifting,
    /// The doubt about the exposure rests on figures that were taken and not measured.
    AssumedScatter,
}

/// Where in the session a finding belongs.
#[derive(Debug, Clone, PartialEq, Default, Serialize)]
pub struct Place {
    /// Index of the scan.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub scan: Option<usize>,
    /// Index of the strip in the session.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub strip: Option<usize>,
    /// Step number, from 1 in the order of exposure.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub step: Option<usize>,
    /// The area of the scan, in pixels, as a polygon.
    #[serde(skip_serializing_if = "Vec::is_empty")]
    pub area: Vec<Point>,
}

impl Place {
    /// The whole of a scan.
    pub fn scan(scan: usize) -> Self {
        Self {
            scan: Some(scan),
            ..Self::default()
        }
    }

    /// The whole of a strip.
    pub fn strip(strip: usize) -> Self {
        Self {
            strip: Some(strip),
            ..Self::default()
        }
    }

    /// One step of a strip; `step` counts from 1 in the order of exposure.
    pub fn step(strip: usize, step: usize) -> Self {
        Self {
            strip: Some(strip),
            step: Some(step),
            ..Self::default()
        }
    }
}

/// Something a person should be told.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct Finding {
    /// What kind of thing.
    pub kind: Kind,
    /// How much it matters.
    pub weight: Weight,
    /// Where.
    pub place: Place,
    /// What was seen, with numbers: one sentence.
    pub seen: String,
    /// What it does to the answer: one sentence.
    pub matters: String,
    /// What to do about it: one sentence.
    pub remedy: String,
}

/// Puts findings in order, heaviest first, and keeps one of those that say the same thing of
/// the same place (two checks may see it by different signs): the heaviest, first said.
pub fn settle(findings: &mut Vec<Finding>) {
    findings.sort_by_key(|finding| std::cmp::Reverse(finding.weight));
    let mut told = BTreeSet::new();
    findings.retain(|Finding { kind, place, .. }| {
        // A strip lies on one scan; what is said of the strip is said of it there.
        let scan = place.scan.filter(|_| place.strip.is_none());
        told.insert((*kind, scan, place.strip, place.step))
    });
}
