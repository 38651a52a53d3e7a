//! Code values stuck at the bottom or the top of the range inside a strip.

use statrs::distribution::{Continuous as _, ContinuousCDF as _, Normal};

use super::sample::{Target, codes, density_per_code, light_of, top_code, weighted_channels};
use crate::measure::finding::{Finding, Kind, Weight};
use crate::measure::raster::{Channel, Raster};
use crate::measure::units::density_of;

/// Share of stuck pixels in a field from which it is worth telling: below, the mean of the
/// field moves by less than a hundredth of the scatter of its pixels.
const TOLD: f64 = 0.02;

/// Change of a field's density from which the answer may suffer.
const MATTERS: f64 = 0.005;

/// Share of stuck pixels from which the field's density is only a limit.
const LOST: f64 = 0.5;

/// Least codes a field's pixels must span before a pile at one of them is a cut and not
/// simply an even field.
const SPREAD: usize = 6;

/// Which end of the code range.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
enum End {
    Black,
    White,
}

/// A field with stuck pixels.
struct Stuck {
    field: usize,
    share: f64,
    /// Change of the field's mean density; `None` when the density is only a limit.
    bias: Option<f64>,
    /// The density at which the codes are stuck.
    limit: f64,
}

/// Finds fields with pixels stuck at black or at white; one finding for each end.
pub fn clipped(
    raster: &Raster,
    scan: usize,
    target: &Target<'_>,
    channel: Channel,
) -> Vec<Finding> {
    let histograms: Vec<(usize, Vec<Channeled>)> = target
        .fields()
        .map(|field| (field, histograms(raster, target, field, channel)))
        .collect();
    [End::Black, End::White]
        .into_iter()
        .filter_map(|end| {
            let stuck: Vec<Stuck> = histograms
                .iter()
                .filter_map(|(field, channels)| stuck(raster, *field, channels, end))
                .collect();
            (!stuck.is_empty()).then(|| tell(scan, target, end, &stuck))
        })
        .collect()
}

/// Sorted code values of a field in one channel, and the channel's share.
struct Channeled {
    channel: usize,
    weight: f64,
    sorted: Vec<u16>,
}

fn histograms(
    raster: &Raster,
    target: &Target<'_>,
    field: usize,
    channel: Channel,
) -> Vec<Channeled> {
    let spans = target.spans(raster, field);
    let mut row = vec![];
    weighted_channels(raster, channel)
        .into_iter()
        .map(|(channel, weight)| {
            let mut sorted = vec![];
            for &span in &spans {
                codes(raster, span, channel, &mut row);
                sorted.extend_from_slice(&row);
            }
            sorted.sort_unstable();
            Channeled {
                channel,
                weight,
                sorted,
            }
        })
        .collect()
}

fn stuck(raster: &Raster, field: usize, channels: &[Channeled], end: End) -> Option<Stuck> {
    let mut share = 0.0;
    let mut limit = 0.0;
    let mut bias = Some(0.0);
    for one in channels {
        let here = share_at_end(&one.sorted, end, top_code(raster));
        share += one.weight * here;
        let at = code_at_end(&one.sorted, end)?;
        limit += one.weight * light_of(raster, one.channel, at);
        if here >= TOLD {
            bias = match (bias, bias_of(raster, one, here, end)) {
                (Some(sum), Some(part)) => Some(sum + one.weight * part),
                _ => None,
            };
        }
    }
    (share >= TOLD).then_some(Stuck {
        field,
        share,
        bias,
        limit: density_of(limit),
    })
}

fn code_at_end(sorted: &[u16], end: End) -> Option<u16> {
    match end {
        End::Black => sorted.first().copied(),
        End::White => sorted.last().copied(),
    }
}

/// Share of a field's pixels at the end of the code range, or piled up at a code that nothing
/// goes beyond: software may cut before it shifts the codes.
fn share_at_end(sorted: &[u16], end: End, top: u16) -> f64 {
    let Some(at) = code_at_end(sorted, end) else {
        return 0.0;
    };
    let run = |code: u16| {
        sorted.partition_point(|&other| other <= code)
            - sorted.partition_point(|&other| other < code)
    };
    let share = run(at) as f64 / sorted.len() as f64;
    let range_end = match end {
        End::Black => 0,
        End::White => top,
    };
    if at == range_end {
        return share;
    }
    let mut levels = sorted.to_vec();
    levels.dedup();
    let next = match end {
        End::Black => levels.get(1),
        End::White => levels.len().checked_sub(2).map(|second| &levels[second]),
    };
    let piled = match next {
        // Real fields of more than 8 bits are never of one code; the nearer end is to blame.
        None => top > 255 && (at < top / 2) == (end == End::Black),
        Some(&next) => levels.len() >= SPREAD && run(at) > 3 * run(next).max(1) && run(at) > 20,
    };
    if piled { share } else { 0.0 }
}

/// Change of the mean density by what was cut off, from the scatter of the pixels on the free
/// side of the median (a normal distribution with one tail moved to its edge).
fn bias_of(raster: &Raster, one: &Channeled, share: f64, end: End) -> Option<f64> {
    if share >= LOST {
        return None;
    }
    let at = |quantile: f64| {
        let index = (one.sorted.len() - 1) as f64 * quantile;
        f64::from(one.sorted[index.round() as usize])
    };
    let scatter = match end {
        End::Black => at(0.84) - at(0.5),
        End::White => at(0.5) - at(0.16),
    }
    .max(0.5);
    let normal = Normal::standard();
    let z = normal.inverse_cdf(share);
    let moved = scatter * (normal.pdf(z) + z * share);
    Some(moved * density_per_code(raster, one.channel, at(0.5)))
}

fn tell(scan: usize, target: &Target<'_>, end: End, stuck: &[Stuck]) -> Finding {
    let worst = stuck
        .iter()
        .max_by(|a, b| a.share.total_cmp(&b.share))
        .expect("only called with something stuck");
    let fields: Vec<usize> = stuck.iter().map(|stuck| stuck.field).collect();
    let lost: Vec<usize> = stuck
        .iter()
        .filter(|stuck| stuck.bias.is_none())
        .map(|stuck| stuck.field)
        .collect();
    let bias = stuck
        .iter()
        .filter_map(|stuck| stuck.bias)
        .fold(0.0, f64::max);
    let (kind, colour, compare, side) = match end {
        End::Black => (Kind::ClippedBlacks, "black", "darker", "least"),
        End::White => (Kind::ClippedWhites, "white", "lighter", "most"),
    };
    let matters = if lost.is_empty() {
        format!("It moves the density of those fields by up to {bias:.3} D.")
    } else {
        format!(
            "For {} the density is only a limit (at {side} {:.2} D on the scanner's scale), so \
             that end of the curve is bent.",
            target.field_names(&lost),
            worst.limit,
        )
    };
    Finding {
        kind,
        weight: if lost.is_empty() && bias < MATTERS {
            Weight::Note
        } else {
            Weight::Caution
        },
        place: match fields[..] {
            [only] => target.field_place(scan, only),
            _ => target.place(scan),
        },
        seen: format!(
            "In {} up to {:.0} % of the pixels are stuck at {colour}: whatever is {compare} \
             was cut off.",
            target.field_names(&fields),
            100.0 * worst.share,
        ),
        matters,
        remedy: format!(
            "Scan again with the {colour} point moved out, or with automatic tone control off; \
             until then leave those steps out."
        ),
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::measure::check::synthetic::{Bench, target};

    fn kinds(bench: &Bench) -> Vec<(Kind, Weight)> {
        let (raster, shape) = bench.make();
        clipped(&raster, 0, &target(&shape), Channel::Luminance)
            .iter()
            .map(|finding| (finding.kind, finding.weight))
            .collect()
    }

    #[test]
    fn a_scan_with_room_at_both_ends_is_not_clipped() {
        for bench in Bench::clean() {
            assert_eq!(kinds(&bench), [], "{bench:?}");
        }
    }

    #[test]
    fn blacks_cut_off_at_density_one_point_two_are_found() {
        for bench in Bench::clean() {
            let cut = 10f64.powf(-1.2);
            let bench = Bench {
                tone: Box::new(move |light| ((light - cut) / (1.0 - cut)).max(0.0)),
                ..bench
            };
            assert_eq!(kinds(&bench), [(Kind::ClippedBlacks, Weight::Caution)]);
        }
    }

    #[test]
    fn whites_cut_off_below_the_margin_are_found() {
        for bench in Bench::clean() {
            let bench = Bench {
                tone: Box::new(|light| (light * 1.6).min(1.0)),
                ..bench
            };
            assert_eq!(kinds(&bench), [(Kind::ClippedWhites, Weight::Caution)]);
        }
    }

    #[test]
    fn a_cut_that_was_shifted_off_the_end_of_the_range_is_found() {
        let (raster, shape) = Bench {
            code: Box::new(|code| code.max(0.33)),
            ..Bench::noisy()
        }
        .make();
        let found = clipped(&raster, 0, &target(&shape), Channel::Luminance);
        assert_eq!(found[0].kind, Kind::ClippedBlacks);
    }

    #[test]
    fn the_share_of_a_cut_normal_field_gives_the_shift_of_its_mean() {
        // E[max(x, c)] - mean for a normal x with scatter 10 cut at its median less 10:
        // 10 (phi(-1) - Phi(-1)) = 0.833 (tables of the normal distribution).
        let normal = Normal::standard();
        let share = normal.cdf(-1.0);
        let z = normal.inverse_cdf(share);
        assert!((10.0 * (normal.pdf(z) + z * share) - 0.8332).abs() < 1e-3);
    }
}
