//! The density scale: from the scanner's log reflectance to density, with its own uncertainty.

use super::reading::Around;

pub mod calibration;
mod checks;
pub mod common;
pub mod glass;
pub mod lid;
pub mod lighting;
pub mod repeats;
pub mod reuse;
mod smooth;
mod stray;
mod wedge;
mod white;

pub use checks::{below_white, beyond_wedge};
pub use stray::{NearStray, StrayCorrection};
pub use wedge::{WedgeFit, WedgeScale, fit_wedge};
pub use white::{AssumedWhite, assumed_white, no_wedge};

/// A strictly increasing map from scanner density (-log10 of linear light) to density.
///
/// The uncertainty of the map is shared by everything read with it. It is carried as a few
/// modes: the error of the map at `s` is the sum over modes of `mode(s) * e`, with
/// independent standard normal `e`; so densities read on two strips with one scale have
/// their common error, and it cancels where it should.
pub trait DensityScale: Send + Sync {
    /// Density at scanner density `s`.
    fn density(&self, s: f64) -> f64;

    /// Slope of the map at `s`: density per scanner density.
    fn slope(&self, s: f64) -> f64;

    /// Standard-error modes at `s`, in density; the same count for every `s`.
    fn modes(&self, s: f64) -> Vec<f64>;

    /// Scanner densities between which the scale is supported by evidence.
    fn supported(&self) -> (f64, f64);

    /// Correction for stray light at scanner density `s` where the neighbourhood has this
    /// linear light. The scale itself holds for the stray light that the wedge had.
    fn stray(&self, _s: f64, _around: &Around) -> StrayCorrection {
        StrayCorrection::default()
    }

    /// Whether a wedge stands behind the scale.
    fn by_wedge(&self) -> bool;
}

/// Standard error of a scale at scanner density `s`, in density.
pub fn standard_error(scale: &dyn DensityScale, s: f64) -> f64 {
    let modes = scale.modes(s);
    modes.iter().map(|mode| mode * mode).sum::<f64>().sqrt()
}

#[cfg(test)]
mod calibration_tests;
#[cfg(test)]
mod stray_tests;
#[cfg(test)]
mod tests;
