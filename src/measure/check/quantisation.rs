//! Too few code values where the image is dark.
//!
//! A code value spans more density the darker the field: in 8-bit sRGB 0.02 D at 1.8 D. The
//! mean over a field is finer than one code only when noise or the coat spreads the pixels
//! over several codes: for a normal spread of `s` codes the largest error of the mean is
//! (1/pi) exp(-2 (pi s)^2) codes (first term of the Fourier series of rounding; Widrow,
//! "Statistical analysis of amplitude-quantized sampled-data systems", Trans. AIEE 79 (1961),
//! from memory; derived again in the test).

use super::sample::{Target, codes, density_per_code, light_of, main_channel};
use crate::measure::finding::{Finding, Kind, Weight};
use crate::measure::raster::{Channel, Raster, Samples};
use crate::measure::units::density_of;

/// Density error, or code step, from which it is told.
const TOLD: f64 = 0.01;

/// A 16-bit field with no more different codes than this may be 8 bits in disguise.
const FEW_CODES: usize = 64;

/// Codes of one field.
struct FieldCodes {
    field: usize,
    density: f64,
    mean: f64,
    deviation: f64,
    sorted: Vec<u16>,
}

/// Finds a strip whose darkest step is rounded by more than 0.01 D: a caution when that is the
/// error of its mean, a note when noise averages it out.
pub fn quantisation(
    raster: &Raster,
    scan: usize,
    target: &Target<'_>,
    channel: Channel,
) -> Option<Finding> {
    let channel = main_channel(raster, channel);
    let darkest = target
        .fields()
        .filter_map(|field| field_codes(raster, target, field, channel))
        .max_by(|a, b| a.density.total_cmp(&b.density))?;
    let gap = code_gap(raster, &darkest.sorted)?;
    let step = gap * density_per_code(raster, channel, darkest.mean);
    if step < TOLD {
        return None;
    }
    // Rounding itself adds 1/12 of a code to the variance.
    let spread = ((darkest.deviation / gap).powi(2) - 1.0 / 12.0)
        .max(0.0)
        .sqrt();
    let error = step * rounding_error(spread);
    let cost = if error >= TOLD {
        format!(
            "The mean of that step can be off by up to {error:.3} D, and Dmax and the contrast \
             with it."
        )
    } else {
        format!(
            "The pixels spread over enough codes ({spread:.1}) to average it down to {error:.3} D."
        )
    };
    Some(Finding {
        kind: Kind::CoarseQuantisation,
        weight: if error >= TOLD {
            Weight::Caution
        } else {
            Weight::Note
        },
        place: target.field_place(scan, darkest.field),
        seen: format!(
            "In {}, the darkest, one code value spans {step:.3} D: {}.",
            target.field_name(darkest.field),
            if raster.origin.bits == 8 {
                "the scan has 8 bits"
            } else {
                "the scan has fewer real levels than its bits"
            },
        ),
        matters: cost,
        remedy: "Scan with 16 bits per channel.".to_owned(),
    })
}

fn field_codes(
    raster: &Raster,
    target: &Target<'_>,
    field: usize,
    channel: usize,
) -> Option<FieldCodes> {
    let mut sorted = vec![];
    let mut row = vec![];
    for span in target.spans(raster, field) {
        codes(raster, span, channel, &mut row);
        sorted.extend_from_slice(&row);
    }
    sorted.sort_unstable();
    // Bubbles and hairs are not the coat: the tails are left out.
    let core = &sorted[sorted.len() / 20..sorted.len() - sorted.len() / 20];
    if core.is_empty() {
        return None;
    }
    let count = core.len() as f64;
    let mean = core.iter().map(|&code| f64::from(code)).sum::<f64>() / count;
    let variance = core
        .iter()
        .map(|&code| (f64::from(code) - mean).powi(2))
        .sum::<f64>()
        / count;
    Some(FieldCodes {
        field,
        density: density_of(light_of(raster, channel, mean.round() as u16)),
        mean,
        deviation: variance.sqrt(),
        sorted,
    })
}

/// Codes from one level to the next that are really used; `None` where they can't be told
/// from the scatter (then they are fine).
fn code_gap(raster: &Raster, sorted: &[u16]) -> Option<f64> {
    if matches!(raster.samples, Samples::Eight(_)) {
        return Some(1.0);
    }
    let mut levels = sorted.to_vec();
    levels.dedup();
    if levels.len() > FEW_CODES || levels.len() < 3 || sorted.len() < 20 * levels.len() {
        return None;
    }
    let mut gaps: Vec<u16> = levels.windows(2).map(|pair| pair[1] - pair[0]).collect();
    gaps.sort_unstable();
    Some(f64::from(gaps[gaps.len() / 4]))
}

/// Largest error of the mean of rounded values with a normal spread, in rounding steps.
fn rounding_error(spread: f64) -> f64 {
    let damp = (-2.0 * (std::f64::consts::PI * spread).powi(2)).exp();
    // Without spread the series is a saw tooth with half a step as its largest value.
    (damp / std::f64::consts::PI)
        .max(0.5 - 2.0 * spread)
        .min(0.5)
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::measure::check::synthetic::{Bench, target};

    fn found(bench: &Bench) -> Option<Weight> {
        let (raster, shape) = bench.make();
        quantisation(&raster, 0, &target(&shape), Channel::Luminance).map(|found| found.weight)
    }

    #[test]
    fn sixteen_bits_are_never_too_coarse() {
        for bench in Bench::clean() {
            assert_eq!(found(&bench), None, "{bench:?}");
        }
    }

    #[test]
    fn eight_quiet_bits_in_the_dark_are_too_coarse() {
        let bench = Bench {
            bits: 8,
            noise: (0.0, 0.0),
            densities: vec![0.05, 0.3, 0.6, 0.9, 1.3, 1.8],
            ..Bench::plain()
        };
        assert_eq!(found(&bench), Some(Weight::Caution));
    }

    #[test]
    fn eight_bits_with_noise_are_only_noted() {
        for bench in [Bench::mottled(), Bench::noisy()] {
            assert_eq!(found(&Bench { bits: 8, ..bench }), Some(Weight::Note));
        }
    }

    #[test]
    fn eight_bits_are_enough_for_a_pale_strip() {
        let bench = Bench {
            bits: 8,
            densities: vec![0.05, 0.1, 0.2, 0.3, 0.4, 0.5],
            ..Bench::plain()
        };
        assert_eq!(found(&bench), None);
    }

    #[test]
    fn eight_bits_in_a_sixteen_bit_file_are_seen_through() {
        let bench = Bench {
            code: Box::new(|code| (code * 255.0).round() / 255.0),
            noise: (0.004, 0.0001),
            ..Bench::plain()
        };
        assert!(found(&bench).is_some());
    }

    #[test]
    fn the_rounding_error_is_that_of_rounded_normal_values() {
        // E[round(x)] - m over all m by summing the normal distribution over whole numbers.
        use statrs::distribution::{ContinuousCDF as _, Normal};
        for spread in [0.0, 0.1, 0.2, 0.3, 0.4, 0.6] {
            let worst = (0..50)
                .map(|at| f64::from(at) / 50.0)
                .map(|mean| {
                    let expected: f64 = if spread == 0.0 {
                        mean.round()
                    } else {
                        let normal = Normal::new(mean, spread).expect("a normal distribution");
                        (-6..=6)
                            .map(f64::from)
                            .map(|k| k * (normal.cdf(k + 0.5) - normal.cdf(k - 0.5)))
                            .sum()
                    };
                    (expected - mean).abs()
                })
                .fold(0.0, f64::max);
            let told = rounding_error(spread);
            assert!(
                told >= worst - 0.03 && told <= worst + 0.12,
                "spread {spread}: {told} instead of {worst}"
            );
        }
    }
}
