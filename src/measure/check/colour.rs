//! Colour between paper and coat that makes the choice of channel move the answer.

use super::grid::Grid;
use super::sample::{Target, name};
use crate::measure::finding::{Finding, Kind, Place, Weight};
use crate::measure::geometry::Field;
use crate::measure::raster::{Channel, Raster};
use crate::measure::units::Stops;

/// Cells along and across a field.
const CELLS: (usize, usize) = (3, 4);

/// Channels in the order of [`ByChannel`].
const CHANNELS: [Channel; 5] = [
    Channel::Luminance,
    Channel::Red,
    Channel::Green,
    Channel::Blue,
    Channel::Visual,
];

/// Net density at which speeds are compared (ISO 6846).
const NET: f64 = 0.60;

/// Difference between the channels' speed ratios, stops, from which it is noted and from which
/// it is a caution: the second is more than half the bounds of a rough coat.
const NOTED: f64 = 0.15;
const CAUTION: f64 = 0.30;

/// Difference between the ratio as read and as a visual densitometer has it, stops, from which
/// the other way of reading is advised: below it is lost in the bounds of any strip.
const ADVISED: f64 = 0.02;

/// Net densities of a strip's steps, read in each channel.
#[derive(Debug, Clone, PartialEq)]
pub struct ByChannel {
    /// Index of the strip.
    pub strip: usize,
    /// Log exposures of the steps in decades, in the order of the series.
    pub log_exposures: Vec<f64>,
    /// Net densities in luminance, red, green, blue, and as a visual densitometer weighs.
    pub net: [Vec<f64>; 5],
}

impl ByChannel {
    /// Reads a strip; `None` on a grey scan, without unexposed coat, or when a step lies off the scan.
    ///
    /// `log_exposures` are in decades, one a step of the series.
    pub fn read(
        raster: &Raster,
        strip: usize,
        target: &Target<'_>,
        log_exposures: &[f64],
    ) -> Option<Self> {
        if raster.channels == 1 {
            return None;
        }
        let shape = target.shape;
        let unexposed = |part: &usize| shape.part(*part) == Some(Field::Margin);
        let margin = (0..shape.parts()).find(unexposed)?;
        let steps: Vec<(usize, f64)> = log_exposures
            .iter()
            .enumerate()
            .filter(|(_, exposure)| exposure.is_finite())
            .filter_map(|(step, &exposure)| Some((shape.field_of_step(step)?, exposure)))
            .collect();
        let mut net: [Vec<f64>; 5] = Default::default();
        for (net, channel) in net.iter_mut().zip(CHANNELS) {
            let read = |part| Some(Grid::of(raster, target, part, channel, CELLS)?.median());
            let base = read(margin)?;
            for &(field, _) in &steps {
                net.push(read(field)? - base);
            }
        }
        Some(Self {
            strip,
            log_exposures: steps.into_iter().map(|(_, exposure)| exposure).collect(),
            net,
        })
    }

    /// Largest net density that every channel reaches.
    fn reached(&self) -> f64 {
        self.net
            .iter()
            .map(|net| net.iter().copied().fold(0.0, f64::max))
            .fold(f64::INFINITY, f64::min)
    }

    /// Log exposure at which a channel first reaches a net density, by straight lines.
    fn speed(&self, channel: usize, level: f64) -> Option<f64> {
        let mut points: Vec<(f64, f64)> = self
            .log_exposures
            .iter()
            .copied()
            .zip(self.net[channel].iter().copied())
            .collect();
        points.sort_unstable_by(|a, b| a.0.total_cmp(&b.0));
        let above = points.iter().position(|&(_, net)| net >= level)?;
        let (x1, y1) = points[above];
        let (x0, y0) = points[above.checked_sub(1)?];
        Some(x0 + (x1 - x0) * (level - y0) / (y1 - y0).max(1e-9))
    }
}

/// Finds a pair of strips whose speed ratio hangs on the channel that densities are read from.
pub fn cast(reference: &ByChannel, coupon: &ByChannel, chosen: Channel) -> Option<Finding> {
    let level = NET
        .min(0.9 * reference.reached())
        .min(0.9 * coupon.reached());
    if level < 0.1 {
        return None;
    }
    let mut stops = [0.0; 5];
    for (channel, stops) in stops.iter_mut().enumerate() {
        let decades = coupon.speed(channel, level)? - reference.speed(channel, level)?;
        *stops = Stops::from_decades(decades).0;
    }
    let own = CHANNELS.iter().position(|&channel| channel == chosen)?;
    let [red, green, blue, visual] = [1, 2, 3, 4].map(|channel| stops[channel] - stops[own]);
    let spread = red.max(green).max(blue) - red.min(green).min(blue);
    if spread < NOTED {
        return None;
    }
    Some(Finding {
        kind: Kind::ColourCast,
        weight: if spread < CAUTION {
            Weight::Note
        } else {
            Weight::Caution
        },
        place: Place::strip(coupon.strip),
        seen: format!(
            "The image of {} and that of {} differ in colour: read in red, green or blue, the \
             emulsion is {red:+.2}, {green:+.2} or {blue:+.2} stops slower than as read now; as a \
             visual densitometer weighs (ISO 5-3), {visual:+.2}.",
            name(Some(coupon.strip)),
            name(Some(reference.strip)),
        ),
        matters: format!(
            "Which light the two are compared in moves the ratio over {spread:.2} stops, on top \
             of the bounds."
        ),
        remedy: remedy(chosen, visual).to_owned(),
    })
}

/// What to do about it, for the channel that is read and how far off the visual one lies, stops.
fn remedy(chosen: Channel, visual: f64) -> &'static str {
    if chosen == Channel::Visual || visual.abs() < ADVISED {
        "Keep the channel as it is when the pieces are for the eye, and compare sessions only in \
         the same channel."
    } else {
        "Choose the channel `visual` when the pieces are for the eye: it reads as a visual \
         densitometer does, if the file's colours are right. Compare sessions only in the same \
         channel."
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::measure::check::synthetic::Bench;

    fn strip(strip: usize, tint: [f64; 3], bench: Bench) -> ByChannel {
        let (raster, shape) = Bench {
            tint: Some(tint),
            ..bench
        }
        .make();
        let exposures: Vec<f64> = (0..8).map(|step| 0.2 * f64::from(step)).collect();
        ByChannel::read(
            &raster,
            strip,
            &Target::whole(Some(strip), &shape),
            &exposures,
        )
        .expect("a colour scan with a margin")
    }

    #[test]
    fn two_neutral_images_give_one_ratio_in_every_channel() {
        for bench in Bench::clean() {
            let reference = strip(0, [1.0; 3], Bench::plain());
            let coupon = strip(1, [1.0; 3], bench);
            assert_eq!(cast(&reference, &coupon, Channel::Luminance), None);
        }
    }

    #[test]
    fn two_images_of_the_same_colour_give_one_ratio_in_every_channel() {
        let brown = [0.8, 1.0, 1.2];
        let found = cast(
            &strip(0, brown, Bench::plain()),
            &strip(1, brown, Bench::noisy()),
            Channel::Luminance,
        );
        assert_eq!(found, None);
    }

    #[test]
    fn a_brown_image_against_a_neutral_one_hangs_on_the_channel() {
        for bench in Bench::clean() {
            let reference = strip(0, [1.0; 3], Bench::plain());
            let coupon = strip(1, [0.75, 1.0, 1.3], bench);
            let found = cast(&reference, &coupon, Channel::Green).expect("colours differ");
            assert_eq!(found.weight, Weight::Caution);
            assert!(found.seen.contains("+0.00"), "{}", found.seen);
        }
    }
}
