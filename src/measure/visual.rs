//! What the eye makes of a spectrum, and of three channels: visual density by ISO 5-3.

use super::units::density_of;

/// Wavelength of the first weight and the distance to the next, nanometres.
const FIRST: f64 = 380.0;
const STEP: f64 = 10.0;

/// CIE illuminant A times the luminous efficiency V(lambda), as log10 with its peak at 5, from
/// 380 to 780 nm.
///
/// Source: the spectral product of ISO 5-3 visual density is defined so; recomputed from the CIE
/// tables, since the table of ISO 5-3 itself was not seen.
/// Checked against: testdata/references/colour/visual_density_weighting.csv.
const LOG_WEIGHTS: [f64; 41] = [
    -0.4267, 0.1527, 0.7565, 1.3214, 1.9154, 2.4479, 2.8109, 3.0907, 3.3470, 3.5823, 3.8177,
    4.0410, 4.2776, 4.5128, 4.7028, 4.8251, 4.9050, 4.9571, 4.9891, 5.0000, 4.9893, 4.9557, 4.9020,
    4.8274, 4.7294, 4.5930, 4.4329, 4.2382, 4.0120, 3.7487, 3.4899, 3.1887, 2.9015, 2.6221, 2.3342,
    2.0419, 1.7335, 1.4264, 1.1351, 0.8431, 0.5503,
];

/// Wavelengths that a spectrum must reach for a visual density, nanometres: outside lie 0.3 % of
/// the weight.
const NEEDED: (f64, f64) = (420.0, 680.0);

/// Share of X, Y and Z (CIE 1931 under D50, each relative to white) in the light that ISO 5-3
/// weighs; they sum to 1, so that a neutral tone keeps its luminance.
///
/// Three numbers can't tell a spectrum: these are the least-squares weights, in density, over the
/// 24-field chart (N. Ohta 1997) and 126 invented spectra of toned silver on white and cream.
/// They meet the spectral density to 0.002 D root mean square and 0.006 D at most on the
/// CIE's 14 test colours (CIE 13.3), which were not used; luminance lies 0.053 and 0.127 D off.
/// Checked against: testdata/references/colour, tests/references/spectra.rs.
const OF_XYZ: [f64; 3] = [0.330, 0.734, -0.064];

/// Weights of linear red, green and blue in the light that a visual densitometer weighs
/// (ISO 5-3: illuminant A, V(lambda)), for the X, Y, Z of each primary as profiles have them
/// (adapted to D50); together the primaries make white.
///
/// They sum to 1. What they give is off by about a twentieth of what luminance is.
pub fn of_primaries(primaries: [[f64; 3]; 3]) -> [f32; 3] {
    let white = |axis: usize| -> f64 { primaries.iter().map(|primary| primary[axis]).sum() };
    primaries.map(|primary| {
        let shares = (0..3).map(|axis| OF_XYZ[axis] * primary[axis] / white(axis));
        shares.sum::<f64>() as f32
    })
}

/// Visual density of a reflectance spectrum: wavelengths in nanometres, ascending, and the
/// reflectance factor (1 is the perfect diffuser) at each.
///
/// Between the wavelengths the spectrum goes straight, beyond them it stays as at its ends.
/// `None` when it doesn't reach from 420 to 680 nm or isn't ascending.
pub fn visual_density(spectrum: &[(f64, f64)]) -> Option<f64> {
    let (first, last) = (spectrum.first()?, spectrum.last()?);
    let ascending = spectrum.windows(2).all(|pair| pair[1].0 > pair[0].0);
    if !ascending || first.0 > NEEDED.0 || last.0 < NEEDED.1 {
        return None;
    }
    let (mut sum, mut weights) = (0.0, 0.0);
    for (place, log_weight) in LOG_WEIGHTS.iter().enumerate() {
        let weight = 10f64.powf(*log_weight);
        sum += weight * at(spectrum, FIRST + STEP * place as f64)?;
        weights += weight;
    }
    let density = density_of(sum / weights);
    density.is_finite().then_some(density)
}

/// The spectrum at a wavelength.
fn at(spectrum: &[(f64, f64)], wavelength: f64) -> Option<f64> {
    let above = spectrum.partition_point(|&(at, _)| at < wavelength);
    let low = above.checked_sub(1).and_then(|i| spectrum.get(i));
    Some(match (low, spectrum.get(above)) {
        (Some(low), Some(high)) => {
            low.1 + (high.1 - low.1) * (wavelength - low.0) / (high.0 - low.0)
        }
        (Some(end), None) | (None, Some(end)) => end.1,
        (None, None) => return None,
    })
}

#[cfg(test)]
mod tests {
    use super::*;

    fn flat(reflectance: f64) -> Vec<(f64, f64)> {
        (0..36)
            .map(|i| (380.0 + 10.0 * f64::from(i), reflectance))
            .collect()
    }

    #[test]
    fn a_grey_has_the_density_of_its_reflectance_and_a_colour_that_of_its_green() {
        assert!((visual_density(&flat(0.18)).unwrap() - 0.744_727).abs() < 1e-6);
        // All the weight lies between: what reflects beyond 700 nm alone is black to the eye.
        let deep_red: Vec<(f64, f64)> = flat(0.01)
            .into_iter()
            .map(|(nm, r)| (nm, if nm > 700.0 { 1.0 } else { r }))
            .collect();
        assert!((visual_density(&deep_red).unwrap() - 2.0).abs() < 0.05);
    }

    #[test]
    fn a_spectrum_that_misses_a_part_of_what_is_seen_has_no_visual_density() {
        assert_eq!(visual_density(&flat(0.18)[6..]), None);
        assert_eq!(
            visual_density(&[(500.0, 0.2), (450.0, 0.2), (700.0, 0.2)]),
            None
        );
        assert_eq!(visual_density(&[]), None);
        assert_eq!(visual_density(&flat(0.0)), None);
    }
}
