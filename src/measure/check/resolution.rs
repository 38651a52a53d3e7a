//! Too few pixels in a step.

use super::grid::Grid;
use super::sample::Target;
use crate::measure::finding::{Finding, Kind, Weight};
use crate::measure::raster::{Channel, Raster};

/// Pixels along a step, or across the strip, below which borders and penumbra leave too little
/// to read (common practice, no source).
const LEAST: f64 = 20.0;

/// Pixels below which a step can't be read at all.
const HOPELESS: f64 = 4.0;

/// Finds a strip whose narrowest step has too few pixels.
pub fn resolution(
    raster: &Raster,
    scan: usize,
    target: &Target<'_>,
    channel: Channel,
) -> Option<Finding> {
    let (narrowest, pixels, wide) = target
        .fields()
        .map(|field| {
            let (shape, place) = target.part(field);
            let share = shape.edges[place + 1].middle() - shape.edges[place].middle();
            (field, share * shape.length(), shape.width())
        })
        .min_by(|a, b| {
            a.1.min(a.2)
                .total_cmp(&b.1.min(b.2))
                .then(a.1.total_cmp(&b.1))
        })?;
    let least = pixels.min(wide);
    // A NaN is too few as well.
    if least >= LEAST {
        return None;
    }
    let counted: usize = target
        .spans(raster, narrowest)
        .iter()
        .map(|span| span.to - span.from)
        .sum();
    let scatter = Grid::of(raster, target, narrowest, channel, (2, 4)).map(|grid| grid.scatter());
    let matters = match scatter {
        Some(scatter) if counted > 0 => format!(
            "Clear of its borders {counted} pixels remain, so that its density is known to about \
             {:.3} D, and bubbles and dust can't be told from the coat.",
            (scatter / (counted as f64).sqrt()).max(0.001),
        ),
        _ => "Clear of its borders hardly a pixel remains.".to_owned(),
    };
    let wanted = raster.pixels_per_mm.map_or_else(
        || {
            format!(
                "Scan with at least {:.0} times as many pixels.",
                (2.0 * LEAST / least).ceil()
            )
        },
        |per_mm| {
            format!(
                "Scan with 300 dots per inch or more; this scan has {:.0}.",
                per_mm * 25.4
            )
        },
    );
    Some(Finding {
        kind: Kind::ResolutionTooLow,
        weight: if least >= HOPELESS {
            Weight::Caution
        } else {
            Weight::Blocking
        },
        place: target.field_place(scan, narrowest),
        seen: format!(
            "{} is {pixels:.0} pixels long and {:.0} wide; at least {LEAST:.0} are needed.",
            capital(&target.field_name(narrowest)),
            wide,
        ),
        matters,
        remedy: wanted,
    })
}

fn capital(text: &str) -> String {
    let mut letters = text.chars();
    letters
        .next()
        .map(|first| first.to_uppercase().chain(letters).collect())
        .unwrap_or_default()
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::measure::check::synthetic::{Bench, target};

    fn found(bench: &Bench) -> Option<Weight> {
        let (raster, shape) = bench.make();
        resolution(&raster, 0, &target(&shape), Channel::Luminance).map(|found| found.weight)
    }

    #[test]
    fn ninety_pixels_a_step_are_enough() {
        for bench in Bench::clean() {
            assert_eq!(found(&bench), None, "{bench:?}");
        }
    }

    #[test]
    fn twelve_pixels_a_step_are_too_few_and_three_are_hopeless() {
        let with = |step| Bench {
            step,
            penumbra: 1.0,
            ..Bench::plain()
        };
        assert_eq!(found(&with(12)), Some(Weight::Caution));
        assert_eq!(found(&with(3)), Some(Weight::Blocking));
    }

    #[test]
    fn a_strip_of_twelve_pixels_width_is_too_narrow() {
        let bench = Bench {
            width: 12,
            ..Bench::plain()
        };
        assert_eq!(found(&bench), Some(Weight::Caution));
    }
}
