//! How like a wedge the levels of a lane are, whatever the scanner's tone curve.
//!
//! A wedge's fields get darker with its list along one smooth rising curve: straight, or bent by
//! an exponent that nobody named, or flat towards the dark where the scanner's own light drowns
//! the last fields. What an exposure series does (a toe, a rise, a shoulder) no tone curve does,
//! so a curve that may bend one way only, and only so far, tells the two apart.

/// Root mean square distance from the curve, as a share of the standard deviation of the levels,
/// where likeness ends. Real wedges of 9 to 21 fields on a flatbed of gamma 1.585, up to 2.6 D
/// and read by four encodings, lie within 0.049; of exposure series with as many steps 7 in 100
/// come below it and keep the bends too.
const MISFIT: f64 = 0.07;
/// Scanner density per density over the whole wedge: exponents of 1 to 3, encoded as anything
/// from straight to 2.2.
const RISE: std::ops::Range<f64> = 0.3..3.0;
/// How much steeper the dark end may be than the light one: an sRGB file read as linear is 2.3
/// times as steep there, and stray light flattens it to a fifth.
const BEND: std::ops::Range<f64> = 0.15..2.6;
/// Standard deviations of the logarithms of rise and bend over usual scans.
const USUAL: (f64, f64) = (0.45, 0.7);

/// How well levels that get darker follow a wedge's densities: a log likelihood ratio, about, and
/// negative where they don't; and whether the list falls where the levels rise.
pub(super) fn likeness(levels: &[f64], densities: &[f64]) -> (f64, bool) {
    let falling = densities.first() > densities.last();
    let mut listed = densities.to_vec();
    if falling {
        listed.reverse();
    }
    let unlike = (f64::NEG_INFINITY, falling);
    if levels.len() != listed.len() {
        return unlike;
    }
    let Some(curve) = Curve::through(&listed, levels) else {
        return unlike;
    };
    if !(RISE.contains(&curve.rise) && BEND.contains(&curve.bend)) {
        return unlike;
    }
    let off = curve.misfit / MISFIT;
    let unusual = (curve.rise.ln() / USUAL.0).powi(2) + (curve.bend.ln() / USUAL.1).powi(2);
    let fit = levels.len() as f64 * (1.0 - off) - unusual / 2.0;
    (fit, falling)
}

/// The best rising parabola.
struct Curve {
    /// Mean slope.
    rise: f64,
    /// Slope at the dark end over that at the light one.
    bend: f64,
    /// Root mean square distance, as a share of the levels' standard deviation.
    misfit: f64,
}

impl Curve {
    /// Least squares over parabolas that rise everywhere between the ends of `x`: sums of the
    /// rising Bernstein polynomials of second order with weights not below zero.
    fn through(x: &[f64], y: &[f64]) -> Option<Self> {
        let low = x.iter().copied().fold(f64::INFINITY, f64::min);
        let high = x.iter().copied().fold(f64::NEG_INFINITY, f64::max);
        let (span, count) = (high - low, x.len() as f64);
        // Not a number counts as no span, too.
        if !(span > 0.0 && y.iter().all(|y| y.is_finite())) {
            return None;
        }
        let centred = |values: &mut dyn Iterator<Item = f64>| -> Vec<f64> {
            let values: Vec<f64> = values.collect();
            let mean = values.iter().sum::<f64>() / count;
            values.into_iter().map(|value| value - mean).collect()
        };
        let share = |x: f64| (x - low) / span;
        // 1 - (1 - t)^2 rises at the light end, t^2 at the dark one.
        let light = centred(&mut x.iter().map(|&x| 1.0 - (1.0 - share(x)).powi(2)));
        let dark = centred(&mut x.iter().map(|&x| share(x).powi(2)));
        let y = centred(&mut y.iter().copied());
        let dot = |a: &[f64], b: &[f64]| a.iter().zip(b).map(|(a, b)| a * b).sum::<f64>();
        let (ll, ld, dd) = (dot(&light, &light), dot(&light, &dark), dot(&dark, &dark));
        let (ly, dy) = (dot(&light, &y), dot(&dark, &y));
        let determinant = ll * dd - ld * ld;
        let both = (
            (dd * ly - ld * dy) / determinant,
            (ll * dy - ld * ly) / determinant,
        );
        let (at_light, at_dark) = match both {
            (a, b) if a >= 0.0 && b >= 0.0 => both,
            (a, _) if a < 0.0 => (0.0, (dy / dd).max(0.0)),
            _ => ((ly / ll).max(0.0), 0.0),
        };
        let total = dot(&y, &y);
        let left: f64 = y
            .iter()
            .zip(light.iter().zip(&dark))
            .map(|(y, (light, dark))| (y - at_light * light - at_dark * dark).powi(2))
            .sum();
        let curve = Self {
            rise: (at_light + at_dark) / span,
            bend: at_dark / at_light,
            misfit: (left / total).sqrt(),
        };
        (curve.bend.is_finite() && curve.misfit.is_finite()).then_some(curve)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Code values (green of 255) and visual densities of near-neutral patches on a real flatbed
    /// without a profile, tone curve about gamma 1.585, in order (testdata/flatbed/README.md).
    const FLATBED: [(f64, f64); 12] = [
        (232.31, 0.0600),
        (168.95, 0.2807),
        (125.46, 0.5044),
        (92.68, 0.7256),
        (70.38, 0.9486),
        (50.89, 1.1947),
        (40.91, 1.3588),
        (30.45, 1.5799),
        (22.66, 1.8618),
        (17.94, 2.0760),
        (14.69, 2.2788),
        (12.55, 2.4960),
    ];

    fn levels(decode: impl Fn(f64) -> f64) -> (Vec<f64>, Vec<f64>) {
        let level = |&(code, _): &(f64, f64)| -decode(code / 255.0).log10();
        let densities = FLATBED.iter().map(|(_, density)| *density).collect();
        (FLATBED.iter().map(level).collect(), densities)
    }

    fn srgb(code: f64) -> f64 {
        if code <= 0.04045 {
            code / 12.92
        } else {
            ((code + 0.055) / 1.055).powf(2.4)
        }
    }

    #[test]
    fn a_wedge_is_a_wedge_whatever_the_tone_curve() {
        let encodings: [fn(f64) -> f64; 5] = [
            srgb,
            |c| c,
            |c| c.powf(1.585),
            |c| c.powf(2.2),
            |c| c.powf(3.0),
        ];
        for decode in encodings {
            let (levels, mut densities) = levels(decode);
            let (fit, falling) = likeness(&levels, &densities);
            assert!(fit > 2.0 && !falling, "{fit}");
            densities.reverse();
            let (turned, falling) = likeness(&levels, &densities);
            assert!(falling && (turned - fit).abs() < 1e-9);
        }
    }

    #[test]
    fn an_exposure_series_is_no_wedge() {
        // Toe, straight part and shoulder: a logistic curve, as in ISO 6846's figure.
        let densities: Vec<f64> = (0..9).map(|i| 0.05 + 0.2 * f64::from(i)).collect();
        for (pace, middle) in [(1.0, 4.0), (1.4, 4.0), (0.9, 6.5), (2.0, 3.0)] {
            let levels: Vec<f64> = (0..9)
                .map(|i| 0.1 + 1.6 / (1.0 + (-pace * (f64::from(i) - middle)).exp()))
                .collect();
            let (fit, _) = likeness(&levels, &densities);
            assert!(fit < 0.0, "{pace} {middle}: {fit}");
        }
        let flat = [0.1; 9];
        assert!(likeness(&flat, &densities).0 < 0.0);
        assert!(likeness(&flat[..8], &densities).0 < 0.0);
    }
}
