//! Steps that carry picture detail: a strip exposed through a negative.
//!
//! Through a negative the density within a step varies by as much as from step to step, since
//! a negative of ordinary contrast spreads its tones over about a decade of exposure. A coat
//! laid by hand varies by a few hundredths of a decade, and a rough one by a tenth of that
//! spread; mottle, streaks and bubbles stay below the threshold by a wide margin.

use super::grid::Grid;
use super::sample::Target;
use crate::measure::finding::{Finding, Kind, Weight};
use crate::measure::geometry::Field;
use crate::measure::raster::{Channel, Raster};

/// Cells along and across a step.
const CELLS: (usize, usize) = (7, 10);

/// Scatter within a step as a share of the whole range of the strip's densities, from which the
/// steps can't be even fields. Rates on both sides of it are in docs/scan-checks.md.
const TOLD: f64 = 0.08;

/// Range of densities below which a strip is too pale to tell.
const LEAST_RANGE: f64 = 0.3;

/// Finds a strip whose steps vary inside like a picture; the answer is then withheld.
pub fn picture(
    raster: &Raster,
    scan: usize,
    target: &Target<'_>,
    channel: Channel,
) -> Option<Finding> {
    let mut medians = vec![];
    let mut scatters = vec![];
    for field in target.fields() {
        let Some(grid) = Grid::of(raster, target, field, channel, CELLS) else {
            continue;
        };
        medians.push(grid.median());
        if matches!(target.shape.fields[field], Field::Step(_)) {
            scatters.push(grid.scatter());
        }
    }
    let lightest = medians.iter().copied().fold(f64::INFINITY, f64::min);
    let darkest = medians.iter().copied().fold(f64::NEG_INFINITY, f64::max);
    let range = (darkest - lightest).max(LEAST_RANGE);
    scatters.sort_unstable_by(|a, b| b.total_cmp(a));
    // One step alone may be spoilt by a stain or a thumb.
    let scatter = *scatters.get(1)?;
    (scatter > TOLD * range).then(|| Finding {
        kind: Kind::PictureDetail,
        weight: Weight::Blocking,
        place: target.place(scan),
        seen: format!(
            "Within single steps of {} the density varies by {scatter:.2} D (standard deviation) \
             at a range of {range:.2} D over the whole strip: it carries a picture.",
            target.name(),
        ),
        matters: "The steps are not even fields of one exposure each, so that no curve and no \
                  ratio can be taken from them."
            .to_owned(),
        remedy: "Expose the strip again without a negative in the carrier, or mark even patches \
                 of the same tone as its steps in the session."
            .to_owned(),
    })
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::measure::check::synthetic::{Bench, target};

    fn found(bench: &Bench) -> Option<Weight> {
        let (raster, shape) = bench.make();
        picture(&raster, 0, &target(&shape), Channel::Luminance).map(|found| found.weight)
    }

    /// A harbour wall with windows, in decades of exposure, seen through every step.
    fn harbour(u: f64, v: f64) -> f64 {
        let window = (u / 31.0).fract() < 0.5 && (v / 43.0).fract() < 0.4;
        let sky = if v < 45.0 { 0.35 } else { 0.0 };
        sky + if window { -0.45 } else { 0.1 }
    }

    #[test]
    fn even_mottled_streaky_and_bubbly_coats_are_no_pictures() {
        for bench in Bench::clean() {
            assert_eq!(found(&bench), None, "{bench:?}");
        }
        let streaky = Bench {
            extra: Box::new(|_, v| 0.06 * (v / 4.0).sin()),
            ..Bench::mottled()
        };
        assert_eq!(found(&streaky), None);
        let bubbly = Bench {
            extra: Box::new(|u, v| {
                let (du, dv) = (u % 25.0 - 12.0, v % 25.0 - 12.0);
                if du.hypot(dv) < 6.0 { -0.8 } else { 0.0 }
            }),
            ..Bench::plain()
        };
        assert_eq!(found(&bubbly), None);
    }

    #[test]
    fn a_strip_exposed_through_a_negative_is_not_answered() {
        for bench in Bench::clean() {
            let bench = Bench {
                extra: Box::new(|u, v| 0.6 * harbour(u, v)),
                ..bench
            };
            assert_eq!(found(&bench), Some(Weight::Blocking), "{bench:?}");
        }
    }

    #[test]
    fn one_stained_step_is_no_picture() {
        let bench = Bench {
            extra: Box::new(|u, v| {
                if (300.0..350.0).contains(&u) && v < 60.0 {
                    0.5
                } else {
                    0.0
                }
            }),
            ..Bench::plain()
        };
        assert_eq!(found(&bench), None);
    }
}
