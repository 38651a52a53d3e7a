//! Does the scan bear out the count of steps that the session describes?
//!
//! Strips are found with the described count in mind, so a wrong count is met by leaving a step
//! out at one end or by taking the margin for a step. Either would shift every exposure by a
//! whole step, and the curve would look no worse for it. Both are looked for here: a strip that
//! goes on beyond its end, and a strip without its margin.

use super::sample::{SIDE_INSET, Target, name};
use crate::measure::finding::{Finding, Kind, Place, Weight};
use crate::measure::geometry::{Field, StripShape};
use crate::measure::raster::{Channel, Raster};
use crate::measure::units::density_of;

/// The part beyond the end that is looked at, in lengths of the last field: clear of the
/// penumbra, and shorter than a field that is a fifth too short.
const BEYOND: (f64, f64) = (0.2, 0.7);

/// Places along and across the part beyond, and pixels looked at for each along either axis.
const PLACES: (usize, usize) = (6, 5);
const POINTS: usize = 4;

/// How far outside the strip's sides its surroundings are looked at, in widths of the strip.
const OUTSIDE: (f64, f64) = (0.06, 0.14);

/// Least difference of density against the surroundings on both sides that a strip has.
const CONTRAST: f64 = 0.10;

/// Most scatter of density over the part beyond, for it to be one even field: as a density and
/// as a share of its contrast.
const EVEN: (f64, f64) = (0.04, 0.15);

/// Least density above the margin of a field that was exposed.
const EXPOSED: f64 = 0.12;

/// Density below the margin of a field that makes the supposed margin a step; such a field is
/// nearly as light as what lies around it, and must be more even to be told from it.
const LIGHTER: f64 = 0.015;
const FAINT_CONTRAST: f64 = 0.02;

/// Least contrast of a further field of the wedge: its lightest differ little from the lid, and
/// it is more even than any coat.
const WEDGE_CONTRAST: f64 = 0.03;

/// Most scatter of such faint fields.
const FAINT_EVEN: (f64, f64) = (0.015, 0.15);

/// Tells of a strip or wedge that goes on beyond its first or last field.
///
/// Shapes that the person gave are not to be asked about: there it is known what counts.
pub fn goes_on(
    raster: &Raster,
    scan: usize,
    target: &Target<'_>,
    channel: Channel,
) -> Option<Finding> {
    // Where single areas are marked, what lies beyond the ends is none of theirs.
    if !target.areas.is_empty() {
        return None;
    }
    let shape = target.shape;
    let margin = (0..shape.parts())
        .find(|&part| shape.part(part) == Some(Field::Margin))
        .filter(|_| target.strip.is_some())
        .and_then(|part| middle_density(raster, shape, part, channel));
    let last = shape.fields.len().checked_sub(1)?;
    let ends = [(0, -1.0), (last, 1.0)];
    let (field, density) = ends.into_iter().find_map(|(field, outwards)| {
        let beyond = beyond(raster, shape, field, outwards, channel)?;
        let exposed = margin.is_none_or(|margin| beyond.density > margin + EXPOSED);
        let lighter = margin.is_some_and(|margin| beyond.density < margin - LIGHTER);
        let is_field = match target.strip {
            None => beyond.is_field(WEDGE_CONTRAST, FAINT_EVEN),
            Some(_) => {
                exposed && beyond.is_field(CONTRAST, EVEN)
                    || lighter && beyond.is_field(FAINT_CONTRAST, FAINT_EVEN)
            }
        };
        is_field.then_some((field, beyond.density))
    })?;
    let count = shape.steps();
    let beyond = match shape.fields[field] {
        Field::Step(step) if target.strip.is_some() => format!("beyond step {}", step + 1),
        Field::Step(step) => format!("beyond field {}", step + 1),
        Field::Margin | Field::Ignored => "beyond what was taken for its margin".to_owned(),
    };
    Some(match target.strip {
        Some(_) => Finding {
            kind: Kind::StepCount,
            weight: Weight::Blocking,
            place: target.field_place(scan, field),
            seen: format!(
                "{} goes on {beyond}, at scanner density {density:.2}: it has more steps than the \
                 {count} that its series lists.",
                capital(&target.name())
            ),
            matters: "Every step may have been given another step's exposure, which would make \
                      the ratio wrong by whole steps."
                .into(),
            remedy: "List all steps that were exposed, or give the strip's shape in the session."
                .into(),
        },
        None => Finding {
            kind: Kind::WedgeFieldCount,
            weight: Weight::Blocking,
            place: target.field_place(scan, field),
            seen: format!(
                "The wedge goes on {beyond}, at scanner density {density:.2}: it has more \
                 fields than the {count} densities listed."
            ),
            matters: "Fields may have been given other fields' densities, so no density can be \
                      trusted."
                .into(),
            remedy: "List one density a field, in order, or give the wedge's shape in the \
                     session."
                .into(),
        },
    })
}

/// Most density above the unexposed coat of a step that shows no light.
const BLANK: f64 = 0.012;

/// Tells of a strip that begins with steps as light as its unexposed coat, with no margin before
/// them: they may be the margin, and the series may list as many steps too many. `steps` are net
/// densities above the unexposed coat by step number, from the end of the shape that is light.
pub fn begins_blank(strip: usize, shape: &StripShape, steps: &[(usize, f64)]) -> Option<Finding> {
    if !matches!(shape.fields.first(), Some(Field::Step(_))) {
        return None;
    }
    let net = |field: &Field| match field {
        Field::Step(step) => steps.iter().find(|(number, _)| *number == step + 1),
        Field::Margin | Field::Ignored => None,
    };
    let blank = |field: &&Field| net(field).is_some_and(|(_, net)| *net < BLANK);
    let count = shape.fields.iter().take_while(blank).count();
    (count > 0).then(|| Finding {
        kind: Kind::StepCount,
        weight: Weight::Blocking,
        place: Place::strip(strip),
        seen: format!(
            "The steps of {} can lie in two ways: its first fields (count: {count}) are as light \
             as its unexposed coat and no margin lies before them, so they are steps that show no \
             light, or they are the margin and the series lists steps that the strip does not have.",
            name(Some(strip))
        ),
        matters: "The two readings lie whole steps of exposure apart, so no ratio is given.".into(),
        remedy: "Compare the count of steps on the strip with the series; if the count is right, \
                 give the strip's shape in the session."
            .into(),
    })
}

/// Tells of a strip that may be another one, of which none was found: both are described alike,
/// and only one of them lies there.
pub fn mistakable(strip: usize, missing: usize) -> Finding {
    Finding {
        kind: Kind::AmbiguousStrip,
        weight: Weight::Blocking,
        place: Place::strip(strip),
        seen: format!(
            "What was taken for {} may as well be {}: both are described with the same count of \
             steps, and only one of them was found.",
            name(Some(strip)),
            name(Some(missing))
        ),
        matters: "It may have been given the other's exposures, so no ratio is given.".into(),
        remedy: "Scan the missing strip too, take it out of the session, or give the shape of \
                 the one that is there."
            .into(),
    }
}

fn capital(text: &str) -> String {
    let mut letters = text.chars();
    letters.next().map_or_else(String::new, |first| {
        first.to_uppercase().chain(letters).collect()
    })
}

/// What lies beyond the end of a strip.
#[derive(Debug, Clone, Copy, PartialEq)]
struct Beyond {
    /// Scanner density.
    density: f64,
    /// Its scatter over the part.
    scatter: f64,
    /// Difference of density against what lies beside it, on the left and on the right.
    contrasts: [f64; 2],
}

impl Beyond {
    /// Whether it is an even field as wide as the strip, lighter or darker than what lies
    /// beside it on both sides.
    fn is_field(&self, least: f64, even: (f64, f64)) -> bool {
        let [left, right] = self.contrasts;
        let contrast = left.abs().min(right.abs());
        left * right > 0.0 && contrast > least && self.scatter < even.0.max(even.1 * contrast)
    }
}

/// Reads what lies beyond the strip's end; `None` where that is off the scan.
fn beyond(
    raster: &Raster,
    shape: &StripShape,
    field: usize,
    outwards: f64,
    channel: Channel,
) -> Option<Beyond> {
    let (from, to) = (shape.edges[field], shape.edges[field + 1]);
    let length = ((to.left - from.left) + (to.right - from.right)) / 2.0;
    let end = if outwards > 0.0 { to } else { from };
    let along = |place: usize, across: f64| {
        let share = (place as f64 + 0.5) / PLACES.0 as f64;
        let away = BEYOND.0 + (BEYOND.1 - BEYOND.0) * share;
        end.at(across.clamp(0.0, 1.0)) + outwards * away * length
    };
    let spread = length * (BEYOND.1 - BEYOND.0) / PLACES.0 as f64;
    let density = |place: usize, low: f64, high: f64| {
        let middle = 0.5 * (low + high);
        median_density(raster, channel, |i, j| {
            let across = low + (high - low) * (j as f64 + 0.5) / POINTS as f64;
            let off = (i as f64 + 0.5) / POINTS as f64 - 0.5;
            shape.on_scan(along(place, middle) + off * spread, across)
        })
    };
    let inner = 1.0 - 2.0 * SIDE_INSET;
    let mut inside = vec![];
    let mut contrasts = [vec![], vec![]];
    for place in 0..PLACES.0 {
        for cell in 0..PLACES.1 {
            let at = |cell: usize| SIDE_INSET + inner * cell as f64 / PLACES.1 as f64;
            inside.push(density(place, at(cell), at(cell + 1))?);
        }
        let left = density(place, SIDE_INSET, 2.0 * SIDE_INSET)?;
        let right = density(place, 1.0 - 2.0 * SIDE_INSET, 1.0 - SIDE_INSET)?;
        contrasts[0].push(left - density(place, -OUTSIDE.1, -OUTSIDE.0)?);
        contrasts[1].push(right - density(place, 1.0 + OUTSIDE.0, 1.0 + OUTSIDE.1)?);
    }
    let contrasts = contrasts.map(|mut values| middle_of(&mut values));
    Some(Beyond {
        density: middle_of(&mut inside),
        scatter: scatter_of(&inside),
        contrasts,
    })
}

/// Density in the middle of a part: a field, or a patch of unexposed coat.
fn middle_density(
    raster: &Raster,
    shape: &StripShape,
    part: usize,
    channel: Channel,
) -> Option<f64> {
    let [start_left, start_right, end_right, end_left] = shape.part_corners(part);
    median_density(raster, channel, |i, j| {
        let share = |k: usize| 0.3 + 0.4 * (k as f64 + 0.5) / POINTS as f64;
        let (left, right) = (
            start_left.toward(end_left, share(i)),
            start_right.toward(end_right, share(i)),
        );
        left.toward(right, share(j))
    })
}

/// Density of the median light over a few pixels; `None` when one lies off the scan.
fn median_density(
    raster: &Raster,
    channel: Channel,
    place: impl Fn(usize, usize) -> crate::measure::geometry::Point,
) -> Option<f64> {
    let mut lights = Vec::with_capacity(POINTS * POINTS);
    let mut pixel = Vec::with_capacity(1);
    for i in 0..POINTS {
        for j in 0..POINTS {
            let at = place(i, j);
            if !(at.x >= 0.0 && at.y >= 0.0) {
                return None;
            }
            let (x, y) = (at.x as usize, at.y as usize);
            if x >= raster.width || y >= raster.height {
                return None;
            }
            raster.linear_row(y, x, x + 1, channel, &mut pixel);
            lights.push(f64::from(*pixel.first()?));
        }
    }
    Some(density_of(middle_of(&mut lights).max(1e-5)))
}

fn middle_of(values: &mut [f64]) -> f64 {
    values.sort_unstable_by(f64::total_cmp);
    values[values.len() / 2]
}

/// Half the distance of the 84 % from the 16 % quantile of sorted values.
fn scatter_of(sorted: &[f64]) -> f64 {
    let at = |share: f64| sorted[((sorted.len() - 1) as f64 * share).round() as usize];
    (at(0.84) - at(0.16)) / 2.0
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::measure::check::synthetic::{Bench, target};

    /// The strip of a bench with some of its last fields left out of the shape.
    fn cut(bench: &Bench, left_out: usize) -> (Raster, StripShape) {
        let (raster, mut shape) = bench.make();
        let fields = shape.fields.len() - left_out;
        let share = shape.edges[fields].left;
        let [start_left, start_right, end_right, end_left] = shape.corners;
        shape.corners[2] = start_right.toward(end_right, share);
        shape.corners[3] = start_left.toward(end_left, share);
        shape.fields.truncate(fields);
        shape.edges.truncate(fields + 1);
        for edge in &mut shape.edges {
            edge.left /= share;
            edge.right /= share;
        }
        (raster, shape)
    }

    #[test]
    fn a_strip_that_ends_where_it_is_said_to_end_is_left_in_peace() {
        for bench in Bench::clean() {
            let (raster, shape) = cut(&bench, 0);
            let found = goes_on(&raster, 0, &target(&shape), Channel::Luminance);
            assert_eq!(found, None, "{bench:?}");
        }
    }

    #[test]
    fn steps_that_the_series_does_not_list_are_found() {
        for left_out in [1, 2, 4] {
            for bench in Bench::clean() {
                let (raster, shape) = cut(&bench, left_out);
                let found = goes_on(&raster, 0, &target(&shape), Channel::Luminance)
                    .unwrap_or_else(|| panic!("{left_out} left out of {bench:?}"));
                assert_eq!(
                    (found.kind, found.weight),
                    (Kind::StepCount, Weight::Blocking)
                );
            }
        }
    }

    #[test]
    fn a_step_that_was_taken_for_the_margin_is_found() {
        let bench = Bench {
            densities: vec![1.4, 0.9, 0.3, 0.15, 0.08],
            ..Bench::plain()
        };
        let (raster, mut shape) = cut(&bench, 1);
        shape.fields = vec![
            Field::Step(2),
            Field::Step(1),
            Field::Step(0),
            Field::Margin,
        ];
        let found = goes_on(&raster, 0, &target(&shape), Channel::Luminance).expect("it is not");
        assert_eq!(found.kind, Kind::StepCount);
        assert!(found.seen.contains("its margin"), "{}", found.seen);
    }

    #[test]
    fn a_second_margin_at_the_far_end_is_no_further_step() {
        let bench = Bench {
            densities: vec![0.08, 0.3, 0.9, 1.4, 0.09],
            ..Bench::plain()
        };
        let (raster, shape) = cut(&bench, 1);
        let found = goes_on(&raster, 0, &target(&shape), Channel::Luminance);
        assert_eq!(found, None);
    }

    #[test]
    fn fields_of_the_wedge_that_the_list_leaves_out_are_found() {
        let (raster, shape) = cut(&Bench::noisy(), 1);
        let wedge = Target::whole(None, &shape);
        let found = goes_on(&raster, 0, &wedge, Channel::Luminance).expect("it goes on");
        assert_eq!(found.kind, Kind::WedgeFieldCount);
        assert!(found.seen.contains("7 densities"), "{}", found.seen);
    }
}
