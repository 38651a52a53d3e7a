//! The wedge on a scan: do its fields follow the list, and does anything shade it?

use super::grid::Grid;
use super::sample::{SIDE_INSET, Target, in_words};
use crate::measure::finding::{Finding, Kind, Place, Weight};
use crate::measure::geometry::{Field, StripShape};
use crate::measure::raster::{Channel, Raster};
use crate::measure::units::reflectance_of;

/// Cells along and across a field.
const CELLS: (usize, usize) = (8, 5);

/// Share of the wedge's width between the outermost cells' middles.
const TILT_SPAN: f64 = (1.0 - 2.0 * SIDE_INSET) * (CELLS.1 - 1) as f64 / CELLS.1 as f64;

/// Least step of the list that says which of two fields is darker.
const LISTED_STEP: f64 = 0.02;

/// Least step against the list that counts: smaller ones are noise and dirt.
const AGAINST: f64 = 0.015;

/// Change of density inside neighbouring fields, stray light allowed for, that only a shadow
/// explains. Rates on both sides of it are in docs/scan-checks.md.
const SHADE: f64 = 0.009;

/// Density up to which a field counts as light.
const LIGHT: f64 = 0.8;

/// Light that stray light may add more at one end of a field than at the other: a good
/// thousandth of white falls off over a few fields. It counts for more the darker the field.
const STRAY: f64 = 0.0004;

/// Difference of density from side to side, median of all fields, that counts as a shadow; how
/// many standard errors it must stand out by, and the least such error.
const TILT: f64 = 0.015;
const TILT_CERTAINTY: f64 = 4.0;
const LEAST_TILT_ERROR: f64 = 0.001;

/// Fewest fields whose tilts can be told from chance.
const FEWEST_TILTS: usize = 3;

/// Mean difference of two scans of one wedge from which it is told.
const SCANS_DIFFER: f64 = 0.02;

/// One field of the wedge as this scan shows it.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct WedgeField {
    /// Index in the shape.
    pub field: usize,
    /// Place in the list, from 0.
    pub number: usize,
    /// Scanner density (-log10 of linear light).
    pub density: f64,
    /// Standard error of `density` from the scatter of cells.
    pub error: f64,
    /// How much the scanner density rises inside the field in the direction of the list.
    pub rise: f64,
    /// Standard error of `rise`.
    pub rise_error: f64,
    /// How much the scanner density rises from the left side of the wedge to the right.
    pub tilt: f64,
}

/// Reads the wedge's fields, in the order of the list.
pub fn read(raster: &Raster, shape: &StripShape, channel: Channel) -> Vec<WedgeField> {
    let numbers: Vec<usize> = shape
        .fields
        .iter()
        .filter_map(|field| match field {
            Field::Step(number) => Some(*number),
            Field::Margin | Field::Ignored => None,
        })
        .collect();
    let backwards = numbers.first() > numbers.last();
    let mut fields: Vec<WedgeField> = (0..shape.fields.len())
        .filter_map(|field| {
            let Field::Step(number) = shape.fields[field] else {
                return None;
            };
            let grid = Grid::read(raster, shape, field, channel, CELLS)?;
            let medians = grid.along_medians();
            let along = rise(&medians);
            Some(WedgeField {
                field,
                number,
                density: grid.median(),
                error: grid.scatter() / ((CELLS.0 * CELLS.1) as f64).sqrt(),
                rise: if backwards { -along } else { along },
                rise_error: rise_error(&grid, &medians),
                tilt: rise(&grid.across_medians()) / TILT_SPAN,
            })
        })
        .collect();
    fields.sort_unstable_by_key(|field| field.number);
    fields
}

/// Rise from the first to the last place by the median of the slopes between all pairs
/// (Theil-Sen: H. Theil, Proc. K. Ned. Akad. Wet. 53 (1950) 386; from memory).
fn rise(places: &[f64]) -> f64 {
    let mut slopes: Vec<f64> = (0..places.len())
        .flat_map(|a| (a + 1..places.len()).map(move |b| (a, b)))
        .map(|(a, b)| (places[b] - places[a]) / (b - a) as f64)
        .collect();
    slopes.sort_unstable_by(f64::total_cmp);
    slopes
        .get(slopes.len() / 2)
        .map_or(0.0, |slope| slope * (places.len() - 1) as f64)
}

/// Standard error of a rise from the scatter of cells across the field: that of a line's ends
/// through evenly spaced places, times 1.25 for medians.
fn rise_error(grid: &Grid, medians: &[f64]) -> f64 {
    let scatter = Grid {
        densities: grid
            .densities
            .iter()
            .enumerate()
            .map(|(cell, density)| density - medians[cell / grid.across])
            .collect(),
        ..*grid
    }
    .scatter();
    1.25 * scatter * (12.0 / (grid.along * grid.across) as f64).sqrt()
}

/// Finds neighbours in the list that the scan shows the other way round.
///
/// When most of the wedge does not follow its list there is no density scale at all, and
/// [`fit_wedge`](crate::measure::scale::fit_wedge) refuses it.
pub fn order(
    scan: usize,
    target: &Target<'_>,
    listed: &[f64],
    fields: &[WedgeField],
) -> Option<Finding> {
    let against: Vec<(usize, f64)> = fields
        .windows(2)
        .filter_map(|pair| {
            let (a, b) = (pair[0], pair[1]);
            let told = listed.get(b.number)? - listed.get(a.number)?;
            let seen = (b.density - a.density) * told.signum();
            let sure = 3.0 * a.error.hypot(b.error);
            (told.abs() >= LISTED_STEP && seen < -AGAINST.max(sure)).then_some((a.number, -seen))
        })
        .collect();
    let worst = against.iter().map(|(_, by)| *by).reduce(f64::max)?;
    let pairs: Vec<String> = against
        .iter()
        .map(|(number, _)| format!("{} and {}", number + 1, number + 2))
        .collect();
    Some(Finding {
        kind: Kind::WedgeNotMonotone,
        weight: Weight::Caution,
        place: target.place(scan),
        seen: format!(
            "Fields {} of the wedge go against the list, by up to {worst:.2} D.",
            pairs.join(", "),
        ),
        matters: format!(
            "The density scale is smoothed through them; densities near these fields may be off \
             by up to {worst:.2} D."
        ),
        remedy: "Compare the list with the wedge; clean the wedge and scan again.".to_owned(),
    })
}

/// Finds a shadow over a part of the wedge by how density changes inside its fields, each of
/// which is even.
pub fn shadow(scan: usize, target: &Target<'_>, fields: &[WedgeField]) -> Option<Finding> {
    let beyond = |field: &WedgeField, rise: f64| {
        let stray = STRAY / reflectance_of(field.density) / std::f64::consts::LN_10;
        (rise - stray - 2.0 * field.rise_error).max(0.0)
    };
    let rises = largest_run(fields, |field| beyond(field, field.rise));
    // In dark fields density falls also where the dark end lies beside the white lid.
    let falls = largest_run(fields, |field| {
        if field.density < LIGHT {
            beyond(field, -field.rise)
        } else {
            0.0
        }
    });
    let (run, depth) = [rises, falls]
        .into_iter()
        .flatten()
        .filter(|(_, depth)| *depth > SHADE)
        .max_by(|a, b| a.1.total_cmp(&b.1))?;
    let numbers: Vec<usize> = fields[run].iter().map(|field| field.number + 1).collect();
    Some(Finding {
        kind: Kind::WedgeShadowed,
        weight: Weight::Caution,
        place: target.place(scan),
        seen: format!(
            "Inside {} of the wedge, which should be even, density changes by {depth:.3} D: \
             something shades it, or light reaches it unevenly.",
            in_words("field", &numbers),
        ),
        matters: format!(
            "Densities in that part of the scale may be off by {:.2} D or more.",
            depth.max(0.01)
        ),
        remedy: "Lay the wedge flat and away from the edges of other things, and scan again."
            .to_owned(),
    })
}

/// Finds a wedge that is darker along one side than along the other, in every field.
pub fn shadow_across(scan: usize, target: &Target<'_>, fields: &[WedgeField]) -> Option<Finding> {
    let mut tilts: Vec<f64> = fields.iter().map(|field| field.tilt).collect();
    let count = tilts.len();
    if count < FEWEST_TILTS {
        return None;
    }
    tilts.sort_unstable_by(f64::total_cmp);
    let tilt = tilts[count / 2];
    let at = |share: f64| tilts[((count - 1) as f64 * share).round() as usize];
    let spread = (at(0.84) - at(0.16)) / 2.0;
    let error = (1.25 * spread / (count as f64).sqrt()).max(LEAST_TILT_ERROR);
    (tilt.abs() > TILT.max(TILT_CERTAINTY * error)).then(|| Finding {
        kind: Kind::WedgeShadowed,
        weight: Weight::Caution,
        place: target.place(scan),
        seen: format!(
            "Looking along the wedge from its start, every field is darker at the {} side than \
             at the other, by {:.3} D.",
            if tilt > 0.0 { "right" } else { "left" },
            tilt.abs()
        ),
        matters: format!(
            "Densities read with it may be off by about {:.3} D.",
            tilt.abs() / 2.0
        ),
        remedy: "Press the wedge flat against the glass, away from the scanner's edge, and scan \
                 again."
            .to_owned(),
    })
}

/// The run of neighbouring fields over which `change` stays positive and adds up to the most.
fn largest_run(
    fields: &[WedgeField],
    change: impl Fn(&WedgeField) -> f64,
) -> Option<(std::ops::Range<usize>, f64)> {
    let mut best: Option<(std::ops::Range<usize>, f64)> = None;
    let mut from = 0;
    let mut sum = 0.0;
    for (index, field) in fields.iter().enumerate() {
        let here = change(field);
        if here <= 0.0 {
            (from, sum) = (index + 1, 0.0);
            continue;
        }
        sum += here;
        if best.as_ref().is_none_or(|(_, most)| sum > *most) {
            best = Some((from..index + 1, sum));
        }
    }
    best
}

/// Finds scans that show the same wedge differently from the first; each is a scan's index and
/// its wedge's fields as [`read`].
pub fn scans_differ(wedges: &[(usize, Vec<WedgeField>)]) -> Vec<Finding> {
    let Some((first, others)) = wedges.split_first() else {
        return vec![];
    };
    others
        .iter()
        .filter_map(|other| two_differ(first, other))
        .collect()
}

fn two_differ(
    (first, a): &(usize, Vec<WedgeField>),
    (second, b): &(usize, Vec<WedgeField>),
) -> Option<Finding> {
    let differences: Vec<(usize, f64)> = a
        .iter()
        .filter_map(|a| {
            let b = b.iter().find(|b| b.number == a.number)?;
            Some((a.number, b.density - a.density))
        })
        .collect();
    let (number, worst) = *differences
        .iter()
        .max_by(|a, b| a.1.abs().total_cmp(&b.1.abs()))?;
    let mean_of = |part: fn(f64) -> f64| {
        differences.iter().map(|(_, by)| part(*by)).sum::<f64>() / differences.len() as f64
    };
    // What else lies on the glass changes the stray light in the darkest fields, and dirt one
    // field: neither is a difference of the scans.
    if mean_of(f64::abs) < SCANS_DIFFER {
        return None;
    }
    let mean = mean_of(|by| by);
    Some(Finding {
        kind: Kind::ScansDisagree,
        weight: Weight::Note,
        place: Place::scan(*second),
        seen: format!(
            "Scan {} shows the wedge {:.3} D {} than scan {} on average, and by up to {:.3} D in \
             field {}.",
            second + 1,
            mean.abs(),
            if mean > 0.0 { "darker" } else { "lighter" },
            first + 1,
            worst.abs(),
            number + 1,
        ),
        matters: format!(
            "Each scan is read with its own wedge, so the answer stands; a scan without a wedge \
             would be read up to {:.3} D wrong.",
            worst.abs(),
        ),
        remedy: "Switch off automatic exposure and tone correction, and keep the wedge on each \
                 scan."
            .to_owned(),
    })
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::measure::check::synthetic::Bench;

    /// A wedge of nine fields, 0.2 D apart.
    fn wedge(bench: Bench) -> (StripShape, Vec<f64>, Vec<WedgeField>) {
        let listed: Vec<f64> = (0..9).map(|field| 0.06 + 0.2 * f64::from(field)).collect();
        let (raster, mut shape) = Bench {
            densities: listed.clone(),
            penumbra: 1.0,
            ..bench
        }
        .make();
        shape.fields = (0..9).map(Field::Step).collect();
        let fields = read(&raster, &shape, Channel::Luminance);
        (shape, listed, fields)
    }

    fn target(shape: &StripShape) -> Target<'_> {
        Target::whole(None, shape)
    }

    #[test]
    fn an_even_wedge_is_neither_shaded_nor_out_of_order() {
        for bench in [Bench::plain(), Bench::noisy()] {
            let (shape, listed, fields) = wedge(bench);
            assert_eq!(order(0, &target(&shape), &listed, &fields), None);
            assert_eq!(shadow(0, &target(&shape), &fields), None);
            assert_eq!(shadow_across(0, &target(&shape), &fields), None);
        }
    }

    #[test]
    fn a_shadow_along_one_side_is_found_and_its_side_named() {
        for (sign, side) in [(1.0, "right side"), (-1.0, "left side")] {
            let (shape, _, fields) = wedge(Bench {
                extra: Box::new(move |_, v| sign * 0.06 * (v / 120.0 - 0.5)),
                ..Bench::plain()
            });
            let found = shadow_across(0, &target(&shape), &fields).expect("it is shaded");
            assert!(found.seen.contains(side), "{}", found.seen);
            assert!(found.seen.contains("0.06"), "{}", found.seen);
            assert_eq!(shadow(0, &target(&shape), &fields), None);
        }
    }

    #[test]
    fn fields_are_read_as_dense_as_they_are() {
        let (_, listed, fields) = wedge(Bench::plain());
        // The lamp of the bench shows white as 0.9 of full light.
        let white = -0.9f64.log10();
        for (listed, field) in listed.iter().zip(&fields) {
            assert!((field.density - white - listed).abs() < 0.003);
        }
    }

    #[test]
    fn two_swapped_entries_of_the_list_are_found() {
        let (shape, mut listed, fields) = wedge(Bench::noisy());
        listed.swap(4, 5);
        let found = order(0, &target(&shape), &listed, &fields).expect("they are swapped");
        assert_eq!(found.weight, Weight::Caution);
        assert!(found.seen.starts_with("Fields 5 and 6"), "{}", found.seen);
    }

    #[test]
    fn a_shadow_over_a_part_of_the_wedge_is_found() {
        for bench in [Bench::plain(), Bench::noisy()] {
            let (shape, listed, fields) = wedge(Bench {
                extra: Box::new(|u, _| 0.07 * (-0.5 * ((u - 400.0) / 80.0).powi(2)).exp()),
                ..bench
            });
            assert_eq!(order(0, &target(&shape), &listed, &fields), None);
            assert!(shadow(0, &target(&shape), &fields).is_some());
        }
    }

    #[test]
    fn stray_light_in_dark_fields_is_not_a_shadow() {
        // A thousandth of white at one end of the dark half that fades to none at the other.
        let (shape, _, fields) = wedge(Bench {
            extra: Box::new(|u, _| {
                let density = 0.06 + 0.2 * (u / 90.0).floor();
                let stray = 0.001 * ((u - 400.0) / 410.0).max(0.0);
                -(1.0 + stray / reflectance_of(density)).log10()
            }),
            ..Bench::plain()
        });
        assert_eq!(shadow(0, &target(&shape), &fields), None);
    }

    #[test]
    fn two_scans_differ_when_the_scanner_changed_its_exposure() {
        let (_, _, first) = wedge(Bench::noisy());
        let (_, _, same) = wedge(Bench {
            seed: 12,
            ..Bench::noisy()
        });
        let (_, _, brighter) = wedge(Bench {
            tone: Box::new(|light| light * 1.08),
            ..Bench::noisy()
        });
        assert_eq!(scans_differ(&[(0, first.clone()), (1, same)]), []);
        let found = scans_differ(&[(0, first), (1, brighter)]);
        assert!(
            found[0].seen.contains("0.033 D lighter"),
            "{}",
            found[0].seen
        );
    }
}
