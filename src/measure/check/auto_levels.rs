//! A histogram that the scanning software stretched: gaps between code values, or tones
//! driven to both ends of the range.

use super::sample::{Target, codes, light_of, top_code, weighted_channels};
use crate::measure::finding::{Finding, Kind, Place, Weight};
use crate::measure::raster::{Channel, Raster, Samples};
use crate::measure::units::density_of;

/// Pixels at a code value for it to count as filled.
const FILLED: u32 = 20;

/// Share of its filled neighbours' pixels below which a code value counts as empty.
const EMPTY: f64 = 0.05;

/// Most that the pixels at neighbouring filled code values may differ, as a factor.
const ALIKE: u32 = 5;

/// Empty code values in a row that still count as a gap of a comb: stretching by `a` leaves at
/// most `a` less one.
const WIDEST_GAP: usize = 3;

/// Gaps needed: an odd one may be chance where steps lie a code apart.
const LEAST_GAPS: usize = 5;

/// Share of the steps from one filled code value to the next that must be gaps.
const LEAST_SHARE: f64 = 0.04;

/// Pixels averaged along a row before asking how dark the darkest place is.
const RUN: usize = 8;

/// No print is darker than this: glossy paper reaches about 2.3 (common practice, no source).
const DARKEST_PRINT: f64 = 2.7;

/// Share of the strips' runs that count as the darkest place.
const DARK_SHARE: f64 = 0.002;

/// Share of the strips' runs at the white end that speaks for a stretched histogram.
const WHITE_SHARE: f64 = 0.0005;

/// Finds stretched or combed code values, looking at all strips of a scan together.
///
/// With a wedge on the same scan a tone curve common to all of it is measured away, so that it
/// is only noted.
pub fn auto_levels(
    raster: &Raster,
    scan: usize,
    targets: &[Target<'_>],
    channel: Channel,
) -> Option<Finding> {
    let with_wedge = targets.iter().any(|target| target.strip.is_none());
    let looks: Vec<Look> = weighted_channels(raster, channel)
        .into_iter()
        .filter(|&(_, weight)| weight > 0.1)
        .map(|(channel, _)| look(raster, targets, channel))
        .collect();
    let comb = looks
        .iter()
        .filter_map(|look| comb(&look.histogram))
        .max_by(|a, b| a.share.total_cmp(&b.share));
    let stretched = looks
        .iter()
        .any(|look| look.darkest > DARKEST_PRINT && look.white_share > WHITE_SHARE);
    let seen = match (&comb, stretched) {
        (Some(comb), _) => format!(
            "{} code values between filled ones are empty, {:.0} % of those that the strips use: \
             the histogram was pulled apart.",
            comb.gaps,
            100.0 * comb.share,
        ),
        (None, true) => format!(
            "The tones run from the very end of white to a black of more than {DARKEST_PRINT} D, \
             darker than any print: the histogram was stretched."
        ),
        (None, false) => return None,
    };
    Some(Finding {
        kind: Kind::AutoLevels,
        weight: if with_wedge {
            Weight::Note
        } else {
            Weight::Caution
        },
        place: Place::scan(scan),
        seen,
        matters: if with_wedge {
            "The wedge on the same scan went through the same tone curve and takes it out; what \
             is lost is fineness in the dark steps."
        } else {
            "Code values no longer follow from light as the file says, so that densities, \
             contrast and, where the curves differ, the speed ratio are off by an unknown amount."
        }
        .to_owned(),
        remedy: "Scan again with automatic exposure and tone control off, and a wedge beside the \
                 strips."
            .to_owned(),
    })
}

/// What one channel shows.
struct Look {
    /// Pixels at each of 256 levels; empty when there are too many levels for gaps to show.
    histogram: Vec<u32>,
    /// Density of the darkest places.
    darkest: f64,
    /// Share of runs at the white end.
    white_share: f64,
}

fn look(raster: &Raster, targets: &[Target<'_>], channel: usize) -> Look {
    let top = top_code(raster);
    let mut histogram = vec![0u32; usize::from(top) + 1];
    let mut runs = vec![];
    let mut row = vec![];
    for target in targets {
        for span in target.outline_spans(raster) {
            codes(raster, span, channel, &mut row);
            for &code in &row {
                histogram[usize::from(code)] += 1;
            }
            runs.extend(
                row.chunks_exact(RUN)
                    .map(|run| run.iter().map(|&code| f64::from(code)).sum::<f64>() / RUN as f64),
            );
        }
    }
    runs.sort_unstable_by(f64::total_cmp);
    let dark = runs.get((runs.len() as f64 * DARK_SHARE) as usize);
    let white = f64::from(top) - 0.5;
    let at_white = runs.len() - runs.partition_point(|&run| run < white);
    Look {
        histogram: coarse(raster, histogram),
        darkest: dark.map_or(0.0, |&code| {
            density_of(light_of(raster, channel, code.round() as u16))
        }),
        white_share: at_white as f64 / runs.len().max(1) as f64,
    }
}

/// The histogram when it has 256 levels, be it in a file with more bits.
fn coarse(raster: &Raster, histogram: Vec<u32>) -> Vec<u32> {
    if matches!(raster.samples, Samples::Eight(_)) {
        return histogram;
    }
    let on_lattice = |code: usize| code.is_multiple_of(257);
    let off: u32 = histogram
        .iter()
        .enumerate()
        .filter(|(code, _)| !on_lattice(*code))
        .map(|(_, count)| count)
        .sum();
    if off > 0 {
        return vec![];
    }
    histogram.iter().step_by(257).copied().collect()
}

/// Gaps between filled code values.
struct Comb {
    gaps: usize,
    share: f64,
}

fn comb(histogram: &[u32]) -> Option<Comb> {
    let filled: Vec<usize> = (0..histogram.len())
        .filter(|&code| histogram[code] >= FILLED)
        .collect();
    let mut steps = 0;
    let mut gaps = 0;
    // The two filled levels on either side must be alike: between the narrow peaks of quiet
    // steps there are empty levels too.
    for four in filled.windows(4) {
        let (low, high) = (four[1], four[2]);
        let counts = four.iter().map(|&code| histogram[code]);
        let least = counts.clone().min().unwrap_or(0);
        let most = counts.max().unwrap_or(0);
        if four[3] - four[0] > 2 * (WIDEST_GAP + 1) || most > ALIKE * least {
            continue;
        }
        steps += 1;
        gaps += usize::from(
            high - low > 1
                && histogram[low + 1..high]
                    .iter()
                    .all(|&count| f64::from(count) <= EMPTY * f64::from(least)),
        );
    }
    let share = gaps as f64 / f64::from(steps.max(1));
    (gaps >= LEAST_GAPS && share >= LEAST_SHARE).then_some(Comb { gaps, share })
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::measure::check::synthetic::{Bench, target};

    fn found(bench: &Bench) -> Option<Finding> {
        let (raster, shape) = bench.make();
        auto_levels(&raster, 0, &[target(&shape)], Channel::Luminance)
    }

    /// Rounds to 8 bits, then stretches and rounds again.
    fn stretch(black: f64, white: f64) -> Box<dyn Fn(f64) -> f64> {
        Box::new(move |code| {
            let code = (code * 255.0).round() / 255.0;
            (((code - black) / (white - black)) * 255.0).round() / 255.0
        })
    }

    #[test]
    fn untouched_code_values_are_left_alone() {
        for bench in Bench::clean() {
            assert_eq!(found(&bench), None, "{bench:?}");
            assert_eq!(found(&Bench { bits: 8, ..bench }), None);
        }
    }

    #[test]
    fn an_eight_bit_histogram_pulled_apart_shows_its_gaps() {
        for bench in Bench::clean() {
            let bench = Bench {
                bits: 8,
                code: stretch(0.12, 0.93),
                ..bench
            };
            let found = found(&bench).expect("gaps show");
            assert_eq!(found.weight, Weight::Caution);
        }
    }

    #[test]
    fn gaps_show_in_a_file_of_sixteen_bits_too() {
        let bench = Bench {
            code: stretch(0.12, 0.93),
            ..Bench::noisy()
        };
        assert!(found(&bench).is_some());
    }

    #[test]
    fn sixteen_bits_stretched_to_both_ends_are_found() {
        for bench in Bench::clean() {
            let bench = Bench {
                code: Box::new(|code| (code - 0.2) / 0.65),
                ..bench
            };
            let found = found(&bench).expect("both ends are reached");
            assert!(found.seen.contains("stretched"));
        }
    }

    #[test]
    fn a_wedge_on_the_same_scan_makes_it_a_note() {
        let (raster, shape) = Bench {
            bits: 8,
            code: stretch(0.12, 0.93),
            ..Bench::noisy()
        }
        .make();
        let wedge = Target::whole(None, &shape);
        let found = auto_levels(&raster, 0, &[target(&shape), wedge], Channel::Luminance);
        assert_eq!(found.map(|found| found.weight), Some(Weight::Note));
    }
}
