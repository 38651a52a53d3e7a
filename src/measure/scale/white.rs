//! The scale without a wedge: density relative to something white, with what that may be off.
//!
//! Nothing on such a scan shows the scanner's tone curve. What a file says of its encoding, or a
//! person, is what software meant to write; the tones may be anything from light itself (gamma 1) to
//! gamma 3, and a density is off by the ratio of the exponents.

use super::DensityScale;
use super::stray::{NearStray, StrayCorrection};
use crate::measure::finding::{Finding, Kind, Place, Weight};
use crate::measure::reading::{Around, Cell};

/// Stray light in the scanner as a share of white: usual value and its uncertainty (common
/// practice, no source: flatbed scanners show 0.1 to 1.2 %).
const HAZE: (f64, f64) = (0.004, 0.003);
/// Light of a usual neighbourhood as a share of white: that haze is meant for this.
const USUAL_SURROUND: f64 = 0.6;
/// Density of what is white on a scan, a scanner's lid or bare paper, and its standard error
/// (common practice, no source: they reflect 80 to 92 %).
const WHITE: (f64, f64) = (0.06, 0.03);
/// Standard error of the tone curve's exponent, relative. Of sRGB, about 2.2, gamma 1 and 3 are 1.8 such errors below
/// and 1.2 above.
const EXPONENT_ERROR: f64 = 0.3;
/// The same where codes are read as proportional to light, of which gamma 1.7 is two such errors
/// above, and the exponent below which they are.
const LINEAR_EXPONENT_ERROR: (f64, f64) = (0.35, 1.5);
/// Standard error of how much the exponent changes towards the dark: density per square of
/// density. Of 281 patches that a real flatbed read (testdata/flatbed) it changes from 1.62 in the
/// lights to 1.82 from 0.8 to 1.2 D: a tenth, and 0.03 times the square of the density.
const BEND_ERROR: f64 = 0.03;
/// Beyond this density nothing but the assumption speaks.
const SUPPORTED_DENSITY: f64 = 2.0;

/// Density relative to an assumed white.
#[derive(Debug, Clone, PartialEq)]
pub struct AssumedWhite {
    /// Scanner density of a perfect white.
    white: f64,
    /// Standard error of the tone curve's exponent, relative.
    exponent_error: f64,
    stray: NearStray,
}

/// A scale from the light of something white on the scan, the scanner's lid or bare paper, which
/// is taken to have 0.06 D.
///
/// `light` is linear light, above 0 (else 1.0, the encoding's white, is taken). The usual
/// stray light is taken off, softly, so that the map rises strictly everywhere:
/// R = x^2/(x + haze) with x the light over white, which is x - haze for x far above haze.
/// Modes: the white level (0.03 D), the exponent of the tone curve (30 %), how it changes towards
/// the dark, and the stray light (0.3 % of white).
pub fn assumed_white(light: f64) -> AssumedWhite {
    let light = if light.is_finite() && light > 0.0 {
        light
    } else {
        1.0
    };
    let white = -light.log10() - WHITE.0;
    AssumedWhite {
        white,
        exponent_error: EXPONENT_ERROR,
        stray: NearStray::usual(white, USUAL_SURROUND),
    }
}

/// What a person is told when there is no wedge.
pub fn no_wedge(scan: usize) -> Finding {
    Finding {
        kind: Kind::NoWedge,
        weight: Weight::Caution,
        place: Place::scan(scan),
        seen: format!(
            "There is no step wedge on scan {}, and nothing else shows the scanner's tone curve. \
             Densities are relative to an assumed white, with the usual stray light taken off.",
            scan + 1
        ),
        matters: format!(
            "The white level may be off by 0.03 D and every density by {:.0} % (one standard \
             error), the darkest tones by more. The bounds allow for that and are wider for it.",
            100.0 * EXPONENT_ERROR
        ),
        remedy: "Scan a wedge of known reflection densities beside the strips, or make a \
                 calibration of the scanner."
            .into(),
    }
}

impl AssumedWhite {
    /// The same on a scan whose codes are read with this exponent.
    #[must_use]
    pub fn read_with(self, exponent: f64) -> Self {
        let (error, below) = LINEAR_EXPONENT_ERROR;
        Self {
            exponent_error: if exponent < below {
                error
            } else {
                EXPONENT_ERROR
            },
            ..self
        }
    }

    /// The same, with what the cells of strips on its scan show of stray light.
    #[must_use]
    pub fn beside(self, strips: &[&[Cell]]) -> Self {
        Self {
            stray: self.stray.beside(strips),
            ..self
        }
    }

    /// What is known of stray light from the neighbourhood.
    pub fn near_stray(&self) -> &NearStray {
        &self.stray
    }

    fn light(&self, s: f64) -> f64 {
        10f64.powf(self.white - s)
    }
}

impl DensityScale for AssumedWhite {
    fn density(&self, s: f64) -> f64 {
        // -log10(x^2/(x + haze)) + log10 of the same at white, written to stay finite.
        let t = s - self.white;
        t + (1.0 + HAZE.0 / self.light(s)).log10() - (1.0 + HAZE.0).log10()
    }

    fn slope(&self, s: f64) -> f64 {
        // Towards the dark the slope tends to 2, never beyond.
        1.0 + HAZE.0 / (self.light(s) + HAZE.0)
    }

    fn modes(&self, s: f64) -> Vec<f64> {
        let haze = HAZE.1 / ((self.light(s) + HAZE.0) * std::f64::consts::LN_10);
        let at_white = HAZE.1 / ((1.0 + HAZE.0) * std::f64::consts::LN_10);
        // Relative to white, which is what it is whatever the tone curve.
        let below_white = s - self.white;
        vec![
            WHITE.1,
            self.exponent_error * below_white,
            BEND_ERROR * below_white * below_white.abs(),
            haze - at_white,
        ]
    }

    fn stray(&self, s: f64, around: &Around) -> StrayCorrection {
        self.stray.correction(s, around, self.density(s))
    }

    fn supported(&self) -> (f64, f64) {
        (self.white - 0.05, self.white + SUPPORTED_DENSITY)
    }

    fn by_wedge(&self) -> bool {
        false
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::measure::scale::standard_error;
    use crate::measure::units::reflectance_of;

    #[test]
    fn white_has_no_density_and_the_usual_haze_is_taken_off_the_shadows() {
        let scale = assumed_white(0.8);
        let s_of = |reflectance: f64| {
            let lid = reflectance_of(WHITE.0);
            -(0.8 / lid * (reflectance + 0.004) / 1.004).log10()
        };
        assert!((scale.density(-0.8f64.log10()) - WHITE.0).abs() < 1e-3);
        // Chart densities 0.23, 0.70, 1.50: McCamy, Marcus & Davidson 1976, seen with haze.
        for density in [0.23, 0.70, 1.50] {
            let read = scale.density(s_of(10f64.powf(-density)));
            assert!((read - density).abs() < 0.012, "{density}: {read}");
        }
    }

    #[test]
    fn any_exponent_from_one_to_three_lies_within_the_bounds() {
        // Read as light itself, what a flatbed of gamma 1.6 wrote.
        let linear = assumed_white(1.0).read_with(1.0);
        for density in [0.2, 0.6, 1.0, 1.4] {
            let s = (density - WHITE.0) / 1.6;
            let off = linear.density(s) - density;
            let error = standard_error(&linear, s);
            assert!(off.abs() < 2.0 * error, "{density}: {off} {error}");
        }
        // Codes of a scanner of another exponent, read as sRGB or as gamma 2.2 without a word.
        let scale = assumed_white(1.0);
        for exponent in [1.0, 1.585, 1.8, 2.2, 2.6, 3.0] {
            for density in [0.2, 0.6, 1.0, 1.4, 1.8] {
                // White of 0.06 D is the brightest code.
                let read_as = 2.2 / exponent;
                let s = read_as * (density - WHITE.0);
                // Darker than any print: told as such, and not answered.
                if scale.density(s) > 2.4 {
                    continue;
                }
                let off = scale.density(s) - density;
                let error = standard_error(&scale, s);
                assert!(
                    off.abs() < 2.0 * error,
                    "{exponent} {density}: {off} {error}"
                );
            }
        }
    }

    #[test]
    fn without_a_wedge_the_error_grows_towards_the_dark_and_the_map_still_rises() {
        let scale = assumed_white(1.0);
        let errors: Vec<f64> = [0.0, 0.5, 1.0, 1.5, 2.0]
            .map(|s| standard_error(&scale, s))
            .into();
        assert!(errors.is_sorted() && errors[0] >= 0.03 && errors[4] > 0.08);
        let step = 1e-6;
        for s in [-0.5, 0.0, 1.0, 2.0, 3.0, 6.0] {
            let rise = (scale.density(s + step) - scale.density(s - step)) / (2.0 * step);
            assert!((rise - scale.slope(s)).abs() < 1e-6 && rise > 0.9);
        }
    }
}
