//! What is true of a practice session.

use serde::{Deserialize, Serialize};

use super::recipe::{Encoding, Recipe};
use super::shape::Shape;
use crate::measure::geometry::{Point, StripShape};
use crate::measure::strip::Role;

/// The true curve of a strip.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
pub struct CurveTruth {
    /// Shape of the curve.
    pub shape: Shape,
    /// Density without exposure.
    pub dmin: f64,
    /// Density the curve tends to.
    pub dmax: f64,
    /// Log exposure at net 0.60, decades, on the scale of the true exposures.
    pub speed_point: f64,
    /// ISO range R.
    pub range: f64,
    /// Net density per decade over the ISO range.
    pub mean_gradient: f64,
}

/// One step.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
pub struct StepTruth {
    /// Light that it really got, log10 (lag and aperture as they were).
    pub log_exposure: f64,
    /// Density on the curve, without the coat's unevenness.
    pub density: f64,
    /// Density of the mean reflectance of the area that is read when nobody says, as the coat
    /// came out: what a densitometer would read there. `None` when it isn't on a scan.
    #[serde(default)]
    pub area_density: Option<f64>,
    /// Where it lies on its scan.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub patch: Option<Patch>,
}

/// Where a step lies, in pixels of its scan.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum Patch {
    /// Between four corners: start-left, start-right, end-right, end-left.
    Quad([Point; 4]),
    /// In a disc.
    Disc {
        /// Its centre.
        centre: Point,
        /// Its radius.
        radius: f64,
    },
}

impl Patch {
    /// Its middle.
    pub fn centre(&self) -> Point {
        match *self {
            Self::Disc { centre, .. } => centre,
            Self::Quad([a, b, c, d]) => a.toward(c, 0.5).toward(b.toward(d, 0.5), 0.5),
        }
    }
}

/// One strip.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct StripTruth {
    /// Name as in the session.
    pub name: String,
    /// Paper or coated.
    pub role: Role,
    /// Where it lies as a session file can tell it; `None` when it is described but not on a
    /// scan, or lies in two rows.
    pub shape: Option<StripShape>,
    /// Index of its scan; `None` when it isn't on one.
    #[serde(default)]
    pub scan: Option<usize>,
    /// Corners of the coat, of each of its pieces if it was cut apart.
    #[serde(default)]
    pub outline: Vec<[Point; 4]>,
    /// Corners of all coat that got no light, penumbra and ragged borders left out of account.
    #[serde(default)]
    pub unexposed: Vec<[Point; 4]>,
    /// Steps in the order of the series.
    pub steps: Vec<StepTruth>,
    /// The same density of the margin's area, as for a step.
    #[serde(default)]
    pub margin_area_density: Option<f64>,
    /// Its curve.
    pub curve: CurveTruth,
    /// How far the aperture was from the exact f-number, in stops of light: positive, more
    /// light than told.
    pub aperture_error_stops: f64,
    /// Standard deviation of the field that acts like exposure, decades.
    pub exposure_unevenness: f64,
    /// Standard deviation of the mottle, share of net density.
    pub net_unevenness: f64,
}

/// The wedge on one scan.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct WedgeTruth {
    /// Where it lies; steps are fields in the order of the list.
    pub shape: StripShape,
    /// True densities in the order of the list.
    pub densities: Vec<f64>,
}

/// What a reference and a coupon have between them.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
pub struct PairTruth {
    /// Index of the reference strip.
    pub reference: usize,
    /// Index of the coupon.
    pub coupon: usize,
    /// log2 of the true speed ratio: stops the coupon is slower.
    pub stops: f64,
    /// What a perfect reader would find with the f-numbers taken as exact: `stops` less the
    /// aperture error of the coupon, plus that of the reference.
    pub stops_as_exposed: f64,
    /// ISO range of the coupon minus that of the reference.
    pub contrast_difference: f64,
    /// False where the right answer is "cannot be measured".
    pub measurable: bool,
}

/// Everything that is true of a practice session.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct Truth {
    /// What was asked.
    pub recipe: Recipe,
    /// Resolution of the scans, dots per inch.
    pub dpi: f64,
    /// How the codes follow from light.
    pub encoding: Encoding,
    /// The lamp's dead time a burst, seconds.
    pub lag: f64,
    /// Share of stray light.
    pub haze: f64,
    /// The part of it that comes from the neighbourhood, and how far it comes from (the standard
    /// deviation of a blur, millimetres).
    #[serde(default)]
    pub near_haze: (f64, f64),
    /// Strips in the order of the question; one that is missing from the scans is here too.
    pub strips: Vec<StripTruth>,
    /// Strips on the scans that the question doesn't describe.
    pub undescribed: Vec<StripTruth>,
    /// One entry a scan with the wedge.
    pub wedges: Vec<WedgeTruth>,
    /// One entry a coupon.
    pub pairs: Vec<PairTruth>,
}
