//! Quantities that carry their unit in the type, and the conversions between them.

use serde::{Deserialize, Serialize};

/// log10 of 2: one stop in decades of exposure.
pub const DECADES_PER_STOP: f64 = std::f64::consts::LOG10_2;

/// Exposure differences and ratios in stops (log2).
#[derive(Debug, Clone, Copy, PartialEq, PartialOrd, Serialize, Deserialize)]
pub struct Stops(pub f64);

impl Stops {
    /// From decades of exposure (log10 units).
    pub fn from_decades(decades: f64) -> Self {
        Self(decades / DECADES_PER_STOP)
    }

    /// In decades of exposure (log10 units).
    pub fn decades(self) -> f64 {
        self.0 * DECADES_PER_STOP
    }

    /// As a factor of exposure: 2 to the power of the stops.
    pub fn factor(self) -> f64 {
        self.0.exp2()
    }
}

/// Time in seconds.
#[derive(Debug, Clone, Copy, PartialEq, PartialOrd, Serialize, Deserialize)]
pub struct Seconds(pub f64);

/// Reflection density from a reflectance factor (ISO 5-4): -log10 R.
///
/// `reflectance` in (0, inf); zero or less gives infinity.
pub fn density_of(reflectance: f64) -> f64 {
    if reflectance > 0.0 {
        -reflectance.log10()
    } else {
        f64::INFINITY
    }
}

/// Reflectance factor from a reflection density (ISO 5-4): 10^-D.
pub fn reflectance_of(density: f64) -> f64 {
    10f64.powf(-density)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_coating_five_point_eight_times_slower_is_two_and_a_half_stops_slower() {
        // Common practice, no source: the figure is plain arithmetic.
        assert!((Stops::from_decades(5.8f64.log10()).0 - 2.54).abs() < 0.005);
        assert!((Stops(2.54).factor() - 5.8).abs() < 0.02);
    }
}
