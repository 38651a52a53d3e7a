//! What a densitometer would read on an area: no curve, no model of the coat.

use super::{Cell, STRAY_MODES};
use crate::measure::scale::{DensityScale, StrayCorrection};
use crate::measure::units::{density_of, reflectance_of};

/// What becomes of the stray light that the scanner adds.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum StrayLight {
    /// The estimate of it is taken off.
    TakenOff,
    /// Left as the scale has it.
    LeftIn,
}

/// The density of an area.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct AreaDensity {
    /// Density of its mean reflectance.
    pub density: f64,
    /// Standard error from the scale, stray light and the pixels' noise.
    pub standard_error: f64,
}

/// Density of the mean reflectance over some cells, as a densitometer with an aperture of their
/// size would read it (ISO 5-4: reflected light is added up, densities are not).
///
/// `None` when no cell can be read.
pub fn area_density<'a>(
    cells: impl IntoIterator<Item = &'a Cell>,
    scale: &dyn DensityScale,
    stray: StrayLight,
) -> Option<AreaDensity> {
    let (mut pixels, mut reflectance, mut noise) = (0.0, 0.0, 0.0);
    let mut modes: Vec<f64> = Vec::new();
    for cell in cells {
        if !(cell.light.is_finite() && cell.light > 0.0) {
            continue;
        }
        let s = -cell.light.log10();
        let (taken_off, stray_modes) = match stray {
            StrayLight::TakenOff => {
                let StrayCorrection { density, modes } = scale.stray(s, &cell.around);
                (density, modes)
            }
            StrayLight::LeftIn => (0.0, [0.0; STRAY_MODES]),
        };
        let weight = cell.pixels as f64;
        let own = weight * reflectance_of(scale.density(s) + taken_off);
        pixels += weight;
        reflectance += own;
        // In density an error counts by the share of the light that it touches.
        let relative = cell.light_error / (cell.light * std::f64::consts::LN_10);
        noise += (own * scale.slope(s) * relative).powi(2);
        let here = scale.modes(s).into_iter().chain(stray_modes);
        for (place, mode) in here.enumerate() {
            if modes.len() <= place {
                modes.push(0.0);
            }
            modes[place] += own * mode;
        }
    }
    let variance = noise + modes.iter().map(|mode| mode * mode).sum::<f64>();
    (reflectance > 0.0).then(|| AreaDensity {
        density: density_of(reflectance / pixels),
        standard_error: variance.sqrt() / reflectance,
    })
}
