//! What a strip's exposures say of a reading: how densities grow with exposure.
//!
//! The levels of the steps must follow a curve that rises from base to Dmax (a generalised
//! logistic in log exposure). Where the series is even, one step too far is as good a curve; where
//! it isn't (equal increments of time, a step of another length), it isn't.

/// Steepnesses tried, per decade of exposure, and how lopsided the curve may be.
const STEEP: [f64; 10] = [1.2, 1.7, 2.3, 3.0, 3.8, 4.8, 6.0, 7.6, 9.6, 12.0];
const LOPSIDED: [f64; 3] = [0.5, 1.0, 2.0];
/// Spacing of the places tried for the curve's middle, and how far beyond the steps they reach,
/// decades.
const MIDDLES: (f64, f64) = (0.08, 0.8);
/// What a step may be off the curve: density, and a share of net density.
const OFF: (f64, f64) = (0.008, 0.025);
/// Degrees of freedom of the errors: a step that is spoiled must not decide.
const FREEDOM: f64 = 4.0;

/// How well levels, from the lightest step to the darkest, go with log exposures in the same
/// order: a log likelihood, to be compared between readings of one strip.
pub(super) fn agreement(levels: &[f64], log_exposures: &[f64]) -> f64 {
    let count = levels.len();
    if count < 4 || count != log_exposures.len() {
        return 0.0;
    }
    let base = levels.iter().copied().fold(f64::INFINITY, f64::min);
    let weights: Vec<f64> = levels
        .iter()
        .map(|level| 1.0 / (OFF.0.powi(2) + (OFF.1 * (level - base)).powi(2)))
        .collect();
    let from = log_exposures.iter().copied().fold(f64::INFINITY, f64::min) - MIDDLES.1;
    let to = log_exposures
        .iter()
        .copied()
        .fold(f64::NEG_INFINITY, f64::max)
        + MIDDLES.1;
    let middles = ((to - from) / MIDDLES.0).clamp(1.0, 200.0) as usize;
    let mut least = f64::INFINITY;
    let mut shape = vec![0.0; count];
    for steep in STEEP {
        for lopsided in LOPSIDED {
            for middle in 0..=middles {
                let middle = from + (to - from) * middle as f64 / middles as f64;
                for (shape, exposure) in shape.iter_mut().zip(log_exposures) {
                    *shape = (1.0 + (-steep * (exposure - middle)).exp()).powf(-lopsided);
                }
                least = least.min(misfit(levels, &shape, &weights));
            }
        }
    }
    let count = count as f64;
    -0.5 * (FREEDOM + count) * (1.0 + least / FREEDOM).ln()
}

/// Weighted sum of squares about the best rising multiple of a curve's shape.
fn misfit(levels: &[f64], shape: &[f64], weights: &[f64]) -> f64 {
    let (mut w, mut ws, mut wl, mut wss, mut wsl, mut wll) = (0.0, 0.0, 0.0, 0.0, 0.0, 0.0);
    for ((&level, &shape), &weight) in levels.iter().zip(shape).zip(weights) {
        w += weight;
        ws += weight * shape;
        wl += weight * level;
        wss += weight * shape * shape;
        wsl += weight * shape * level;
        wll += weight * level * level;
    }
    let (square, cross) = (wss - ws * ws / w, wsl - ws * wl / w);
    let about_mean = wll - wl * wl / w;
    if square <= 1e-9 * w || cross <= 0.0 {
        return about_mean;
    }
    (about_mean - cross * cross / square).max(0.0)
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Twelve steps of a hard-working paper: the logistic in log exposure is common practice in
    /// sensitometry, no source.
    fn levels(log_exposures: &[f64]) -> Vec<f64> {
        let curve = |x: &f64| 0.08 + 1.9 / (1.0 + (-4.2 * (x - 0.75)).exp());
        log_exposures.iter().map(curve).collect()
    }

    #[test]
    fn steps_of_even_times_tell_where_the_series_begins() {
        let times: Vec<f64> = (0..=12)
            .map(|k| (2.0 * f64::from(k)).max(0.01).log10())
            .collect();
        let all = levels(&times);
        // The margin taken for the first step, and the last step left out.
        let right = agreement(&all[1..], &times[1..]);
        let shifted = agreement(&all[..12], &times[1..]);
        assert!(right > shifted + 3.0, "{right} {shifted}");
    }

    #[test]
    fn an_even_series_does_not() {
        let stops: Vec<f64> = (0..=12).map(|k| f64::from(k) * 0.15).collect();
        let all = levels(&stops);
        let right = agreement(&all[1..], &stops[1..]);
        let shifted = agreement(&all[..12], &stops[1..]);
        assert!((right - shifted).abs() < 1.0, "{right} {shifted}");
    }
}
