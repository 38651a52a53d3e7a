//! What is asked of a plan, and what it says.

use serde::Serialize;

use super::bracket::Bracket;
use super::piece::HeadMove;
use super::recipe::Way;
use crate::measure::estimate::Estimate;
use crate::measure::exposure::Aperture;
use crate::measure::finding::{Finding, Weight};
use crate::measure::predictive::Predictive;

/// Shortest time that a hand and a lamp can be trusted with, seconds (common practice, no
/// source): a switch pressed a quarter of a second late is then a twelfth of a stop.
pub const SHORTEST_BY_HAND: f64 = 4.0;
/// Longest time that a print is willingly stood beside, seconds (common practice, no source).
pub const LONGEST_BY_HAND: f64 = 60.0;
/// Blur allowed on the print, mm: what an eye just tells from a point at reading distance
/// (common practice, no source; handbooks give 0.1 to 0.25).
pub const BLUR: f64 = 0.2;

/// The tone that is to come out as on the paper.
#[derive(Debug, Clone, Copy, PartialEq, Default, Serialize)]
#[serde(rename_all = "kebab-case")]
pub enum Aim {
    /// Middle grey, net density 0.60: where the ratio is surest.
    #[default]
    SpeedPoint,
    /// The highlights, [`super::Tone::HIGHLIGHTS`].
    Highlights,
    /// The shadows, [`super::Tone::SHADOWS`].
    Shadows,
    /// All tones, each by how much the eye sees of it.
    WholeScale,
    /// This net density.
    Net(f64),
}

/// What the printer chooses.
#[derive(Debug, Clone, PartialEq)]
pub struct Choices {
    /// The tone to be met.
    pub aim: Aim,
    /// What happens to the head.
    pub head: HeadMove,
    /// The aperture, if the printer has chosen one.
    pub aperture: Option<Aperture>,
    /// Widest and smallest engraved f-number of the lens.
    pub lens: (f64, f64),
    /// Blur allowed on the print, mm.
    pub blur: f64,
    /// Shortest and longest time that can be kept, seconds.
    pub times: (f64, f64),
    /// Pieces that are left, for the bracket.
    pub pieces: usize,
    /// How far off an exposure may be, stops.
    pub tolerance: f64,
}

impl Default for Choices {
    fn default() -> Self {
        Self {
            aim: Aim::default(),
            head: HeadMove::default(),
            aperture: None,
            lens: (2.8, 22.0),
            blur: BLUR,
            times: (SHORTEST_BY_HAND, LONGEST_BY_HAND),
            pieces: 1,
            tolerance: 1.0 / 6.0,
        }
    }
}

/// One source of doubt about the exposure that a piece needs.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct Doubt {
    /// What it is, in words.
    pub what: String,
    /// Standard deviation, stops.
    pub stops: f64,
}

/// The exposure of the coating.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct PlannedExposure {
    /// The exact f-number.
    #[serde(skip)]
    pub aperture: Aperture,
    /// The aperture as engraved, in words: `f/8`.
    pub f_number: String,
    /// Why that one: a sentence.
    pub why: String,
    /// Seconds that the lamp is on, with the prediction interval that holds 95 of 100 pieces.
    pub time: Estimate,
    /// Stops of light that the coating needs more than the paper got at the chosen tone, with
    /// the same interval.
    pub stops: Estimate,
    /// The same as a factor.
    pub factor: Estimate,
    /// What is foreseen of all pieces of this printing together, stops; a piece differs from
    /// it by `piece_scatter`.
    pub need: Predictive,
    /// Standard deviation from piece to piece, stops.
    pub piece_scatter: f64,
    /// Where the doubt comes from, biggest first.
    pub doubts: Vec<Doubt>,
}

/// The picture on the piece.
#[derive(Debug, Clone, Copy, PartialEq, Serialize)]
pub struct OnPiece {
    /// Magnification on the paper.
    pub magnification_on_paper: f64,
    /// Magnification on the piece.
    pub magnification: f64,
    /// Size of the picture on the piece over that on the paper.
    pub size: f64,
    /// Stops of light that the piece gets more than the paper did.
    pub stops_gained: f64,
    /// Whether the lens must be focused anew.
    pub refocus: bool,
    /// How far the lens then moves towards the piece, mm.
    pub lens_moves: Option<f64>,
    /// Depth of focus at the planned aperture, mm, the whole of it.
    pub depth_of_focus: f64,
    /// Whether the piece's face lies within it.
    pub fits: bool,
    /// Distance from negative to easel at which the picture has its size on the paper again,
    /// mm; `None` without a focal length.
    pub head_that_restores: Option<f64>,
    /// How far the head must go up for that, mm.
    pub raise_head: f64,
    /// Stops of light between the lowest and the highest part of the face.
    pub stops_across: Option<f64>,
}

/// A burn or dodge carried over.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct CarriedChange {
    /// What was done on paper.
    pub asked: Way,
    /// What takes the part to its tone on the coating: sometimes the opposite.
    pub way: Way,
    /// The part's name.
    pub name: String,
    /// Stops on the paper, without sign.
    pub stops_on_paper: f64,
    /// Stops of light on the coating, without sign.
    pub stops: f64,
    /// Seconds: of a burn after the base exposure, of a dodge within it.
    pub time: f64,
    /// Net density of the part in the finished print that this is worked out for.
    pub net_density: f64,
    /// Net density that the part of one piece comes out with, and the interval that holds 95 of
    /// 100 pieces; without ends beyond the tones that were compared.
    pub comes_out: Estimate,
    /// Whether the coating reaches that tone.
    pub reached: bool,
}

/// Where the lightest and the darkest tone of the paper print come out.
#[derive(Debug, Clone, Copy, PartialEq, Serialize)]
pub struct Scale {
    /// Net densities of the lightest and darkest tone on the paper.
    pub on_paper: (f64, f64),
    /// Net densities of the same places of the picture on the coating.
    pub on_coating: (f64, f64),
    /// Exposure range between the two, as ISO R: 100 times decades.
    pub needed_range: f64,
    /// ISO range of the coating.
    pub coating_range: f64,
}

/// The print plan.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct Plan {
    /// The tone that is to be met.
    pub aim: Aim,
    /// The exposure; `None` when none can be given.
    pub exposure: Option<PlannedExposure>,
    /// The picture on the piece; `None` when nothing is known of the enlarger.
    pub on_piece: Option<OnPiece>,
    /// Burns and dodges.
    pub changes: Vec<CarriedChange>,
    /// The scale of tones.
    pub scale: Option<Scale>,
    /// Exposures for the pieces that are left.
    pub bracket: Option<Bracket>,
    /// What a person should be told, heaviest first.
    pub findings: Vec<Finding>,
}

impl Plan {
    /// Whether there is an exposure and nothing speaks against printing.
    pub fn printable(&self) -> bool {
        self.exposure.is_some()
            && self
                .findings
                .iter()
                .all(|finding| finding.weight != Weight::Blocking)
    }

    /// Decades of light that the coating gets more than the paper got: what carries a tone of
    /// the paper to one of the coating.
    pub fn shift_decades(&self) -> Option<f64> {
        let stops = self.exposure.as_ref()?.stops.value?;
        Some(crate::measure::units::Stops(stops).decades())
    }
}
