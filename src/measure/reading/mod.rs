//! A strip's densities: cells inside the steps, and one generalised-least-squares pass.

use nalgebra::{DMatrix, DVector};

use super::geometry::Point;

pub mod areas;
pub mod cells;
mod gls;
pub(in crate::measure) mod kernel;
pub mod look;
mod mixture;
pub mod patch;
pub(in crate::measure) mod robust;
mod strip;
mod tone;

pub use gls::{Prior, Theta};
pub use strip::{ReadingOptions, read_strip};

/// Reaches at which a neighbourhood's light is looked at, millimetres (standard deviations): the
/// near part of a flatbed scanner's stray light comes from some millimetres to a centimetre and
/// a half around (common practice, no source).
pub const REACHES_MM: [f64; 4] = [4.0, 6.5, 10.0, 15.0];

/// Linear light of a cell's neighbourhood at each of [`REACHES_MM`].
pub type Around = [f64; REACHES_MM.len()];

/// Modes of error that a reading adds to those of its density scale: light from the neighbourhood
/// that was taken off, by reach: what is added, and what multiplies; and what multiplies unseen.
pub const STRAY_MODES: usize = 2 * REACHES_MM.len() + 1;

/// A few square millimetres inside a step: robust mean of linear light.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Cell {
    /// Index of the part in the strip's shape: its fields, then its patches of unexposed coat.
    pub field: usize,
    /// Centre on the strip in millimetres: along, across, from the strip's start-left corner
    /// (from pixels and the scan's resolution; when that is unknown, the strip's width counts
    /// as 30 mm).
    pub at_mm: (f64, f64),
    /// Centre on the scan.
    pub at: Point,
    /// Robust mean of linear light.
    pub light: f64,
    /// Standard error of `light` from the pixels' scatter.
    pub light_error: f64,
    /// Pixels that counted.
    pub pixels: usize,
    /// Share of pixels rejected as bubbles, dust, hairs, pinholes.
    pub rejected: f64,
    /// Share of pixels at the bottom or the top of the code range.
    pub clipped: f64,
    /// Linear light of the neighbourhood, which lends stray light.
    pub around: Around,
}

/// The densities of one strip: margin first if there is one, then its steps by number.
#[derive(Debug, Clone, PartialEq)]
pub struct StripReading {
    /// Whether entry 0 is the margin.
    pub has_margin: bool,
    /// Step numbers (from 0, in the order of the series) of the entries after the margin.
    pub steps: Vec<usize>,
    /// Scanner density (-log10 linear light) of each entry.
    pub scanner: DVector<f64>,
    /// Density of each entry.
    pub density: DVector<f64>,
    /// Covariance of the densities from unevenness and noise, without the scale's own error.
    pub covariance: DMatrix<f64>,
    /// Error modes of the density scale at each entry (entries x modes): shared between strips.
    pub scale_modes: DMatrix<f64>,
    /// How many of the last columns of `scale_modes` are the scanner's repeat error.
    pub repeat_modes: usize,
    /// How uneven the coat was found to be.
    pub unevenness: Unevenness,
}

/// Unevenness of a strip as estimated by REML.
#[derive(Debug, Clone, Copy, PartialEq, Default, serde::Serialize)]
pub struct Unevenness {
    /// Standard deviation of the smooth field that acts like exposure, decades.
    pub exposure_decades: f64,
    /// Standard deviation of the mottle as a share of net density.
    pub net_share: f64,
    /// Correlation length, millimetres.
    pub scale_mm: f64,
}
