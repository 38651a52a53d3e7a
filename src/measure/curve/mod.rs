//! The characteristic curve of one strip: what the fit says, with bounds.

mod answer;
mod drawn;
mod evidence;
mod findings;
mod fit;
mod importance;
pub mod model;
mod pieces;
mod points;
mod posterior;
pub mod priors;
mod solve;
mod summary;
mod target;
pub(super) mod tones;
mod warp;

pub(super) use answer::mix;
pub use drawn::DrawnCurve;
pub use evidence::{FEWEST_STEPS, OtherReading, StripEvidence};
pub(super) use findings::{Subject, about_strip};
pub(super) use fit::{Best, Joint};
pub(super) use points::StripDraws;
pub(super) use posterior::KEPT;
pub use solve::solve_one;
pub(super) use solve::{Fitted, Outcome, Solved, solve_strips};
pub(super) use summary::{estimate, one_sided};

use serde::Serialize;

use super::estimate::Estimate;

/// One measured step on the curve.
#[derive(Debug, Clone, Copy, PartialEq, Serialize)]
pub struct MeasuredPoint {
    /// Step number from 0; `None` is the margin. In JSON steps count from 1, and the margin
    /// is 0, as everywhere in it.
    #[serde(serialize_with = "step_number")]
    pub step: Option<usize>,
    /// Log exposure in decades; minus infinity for the margin (left out of the JSON).
    #[serde(skip_serializing_if = "Option::is_none")]
    pub log_exposure: Option<f64>,
    /// Density as read.
    pub density: f64,
    /// Its standard error.
    pub standard_error: f64,
    /// Density as read minus as fitted; absent when nothing was fitted.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub residual: Option<f64>,
    /// Left out of the fit by the person.
    pub excluded: bool,
}

fn step_number<S: serde::Serializer>(step: &Option<usize>, to: S) -> Result<S::Ok, S::Error> {
    to.serialize_u64(step.map_or(0, |step| step as u64 + 1))
}

/// The fitted curve at one exposure with its 95 % band.
#[derive(Debug, Clone, Copy, PartialEq, Serialize)]
pub struct CurvePoint {
    /// Log exposure in decades.
    pub log_exposure: f64,
    /// Fitted density.
    pub density: f64,
    /// Lower end of the band.
    pub lower: f64,
    /// Upper end of the band.
    pub upper: f64,
}

/// All that one strip says about its material.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct CurveAnswer {
    /// Density of the margin.
    pub dmin: Estimate,
    /// Density the curve tends to.
    pub dmax: Estimate,
    /// Log exposure (decades) where net density is 0.60 (ISO 6846).
    pub speed_point: Estimate,
    /// ISO range R (ISO 6846): 100 times the decades between net 0.04 and 90 % of full net.
    pub range: Estimate,
    /// Net density gained between those two points per decade.
    pub mean_gradient: Estimate,
    /// The steps as measured.
    pub points: Vec<MeasuredPoint>,
    /// The fitted curve, for drawing.
    pub curve: Vec<CurvePoint>,
}
