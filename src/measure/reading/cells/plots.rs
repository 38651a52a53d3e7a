//! Where the cells of a strip lie.

use super::CellOptions;
use crate::measure::geometry::{Area, Field, Point, StripShape};

/// Where a cell lies.
pub(super) struct Plot {
    /// Index of the field.
    pub(super) field: usize,
    /// Corners on the scan.
    pub(super) corners: [Point; 4],
    /// Centre on the scan.
    pub(super) at: Point,
    /// Centre on the strip, millimetres along and across.
    pub(super) at_mm: (f64, f64),
}

/// The cells of a strip: areas placed by hand, and most of every other field that is read.
pub(super) fn plots(
    shape: &StripShape,
    areas: &[Area],
    per_mm: f64,
    options: &CellOptions,
) -> Vec<Plot> {
    let fields: Vec<(usize, Rim)> = (0..shape.fields.len())
        .filter(|&field| shape.fields[field] != Field::Ignored)
        .filter_map(|field| Some((field, Rim::of(shape, field, areas, per_mm, options)?)))
        .collect();
    let mut side = options.side_mm;
    loop {
        let plots: Vec<Plot> = fields
            .iter()
            .flat_map(|(field, rim)| field_plots(shape, *field, per_mm, side, rim))
            .chain(unexposed_plots(shape, per_mm, side))
            .collect();
        // One cell a part is the least there can be, however many parts there are.
        if plots.len() <= options.most.max(fields.len() + shape.unexposed.len()) {
            return plots;
        }
        side *= 1.06;
    }
}

/// Cells of the patches of unexposed coat. Whoever places a patch keeps it clear of borders, so
/// all of it is read.
fn unexposed_plots(
    shape: &StripShape,
    per_mm: f64,
    side_mm: f64,
) -> impl Iterator<Item = Plot> + '_ {
    let patches = shape.unexposed.iter().enumerate();
    patches.flat_map(move |(patch, &[a, b, c, d])| {
        let count = |one: f64, other: f64| {
            let extent = (one + other) / 2.0 / per_mm;
            (extent / side_mm).floor().max(1.0) as usize
        };
        let along = count(a.distance(d), b.distance(c));
        let across = count(a.distance(b), d.distance(c));
        let corner = move |i: f64, j: f64| {
            let share = i / along as f64;
            a.toward(d, share)
                .toward(b.toward(c, share), j / across as f64)
        };
        (0..along * across).map(move |cell| {
            let (i, j) = ((cell / across) as f64, (cell % across) as f64);
            let at = corner(i + 0.5, j + 0.5);
            let (x, y) = shape.frame_of(at);
            Plot {
                field: shape.fields.len() + patch,
                corners: [
                    corner(i, j),
                    corner(i, j + 1.0),
                    corner(i + 1.0, j + 1.0),
                    corner(i + 1.0, j),
                ],
                at,
                at_mm: (x / per_mm, y / per_mm),
            }
        })
    })
}

/// Length and width of a field in millimetres; `None` for a field without extent.
fn extent_mm(shape: &StripShape, field: usize, per_mm: f64) -> Option<(f64, f64)> {
    let (from, to) = (shape.edges.get(field)?, shape.edges.get(field + 1)?);
    let (length, width) = (shape.length() / per_mm, shape.width() / per_mm);
    let length = (to.middle() - from.middle()) * length;
    (length > 0.0 && width > 0.0).then_some((length, width))
}

/// What is left out around the part of a field that is read, millimetres.
#[derive(Clone, Copy)]
struct Rim {
    start: f64,
    end: f64,
    left: f64,
    right: f64,
}

impl Rim {
    fn of(
        shape: &StripShape,
        field: usize,
        areas: &[Area],
        per_mm: f64,
        options: &CellOptions,
    ) -> Option<Self> {
        let (length, width) = extent_mm(shape, field, per_mm)?;
        let placed = areas.iter().find(|area| area.field == shape.fields[field]);
        Some(match placed {
            Some(area) => Self {
                start: area.along.0 * length,
                end: (1.0 - area.along.1) * length,
                left: area.across.0 * width,
                right: (1.0 - area.across.1) * width,
            },
            None => {
                // Never more than a third from each side: a narrow field still has a middle.
                let keep = |share: f64, extent: f64| {
                    options.inset_mm.max(share * extent).min(extent / 3.0)
                };
                let along = keep(options.inset_along, length);
                let across = keep(options.inset_across, width);
                Self {
                    start: along,
                    end: along,
                    left: across,
                    right: across,
                }
            }
        })
    }
}

/// The part of a field that is read when nobody says; `None` for a field without extent.
pub fn usual_area(shape: &StripShape, field: usize, per_mm: f64) -> Option<Area> {
    let (length, width) = extent_mm(shape, field, per_mm)?;
    let rim = Rim::of(shape, field, &[], per_mm, &CellOptions::default())?;
    Some(Area {
        field: *shape.fields.get(field)?,
        along: (rim.start / length, 1.0 - rim.end / length),
        across: (rim.left / width, 1.0 - rim.right / width),
    })
}

fn field_plots(
    shape: &StripShape,
    field: usize,
    per_mm: f64,
    side_mm: f64,
    rim: &Rim,
) -> Vec<Plot> {
    let Some((field_mm, width_mm)) = extent_mm(shape, field, per_mm) else {
        return vec![];
    };
    let length_mm = shape.length() / per_mm;
    let (from, to) = (shape.edges[field], shape.edges[field + 1]);
    let count = |extent: f64| ((extent / side_mm).floor().max(1.0)) as usize;
    let (along, across) = (
        count(field_mm - (rim.start + rim.end)),
        count(width_mm - (rim.left + rim.right)),
    );
    let place = |i: f64, j: f64| {
        let (left, right) = (rim.left / width_mm, rim.right / width_mm);
        let b = left + (1.0 - (left + right)) * j / across as f64;
        let (start, end) = (
            from.at(b) + rim.start / length_mm,
            to.at(b) - rim.end / length_mm,
        );
        (start + (end - start) * i / along as f64, b)
    };
    let mut plots = Vec::with_capacity(along * across);
    for i in 0..along {
        for j in 0..across {
            let (i, j) = (i as f64, j as f64);
            let corner = |i, j| {
                let (a, b) = place(i, j);
                shape.on_scan(a, b)
            };
            let (a, b) = place(i + 0.5, j + 0.5);
            plots.push(Plot {
                field,
                corners: [
                    corner(i, j),
                    corner(i, j + 1.0),
                    corner(i + 1.0, j + 1.0),
                    corner(i + 1.0, j),
                ],
                at: shape.on_scan(a, b),
                at_mm: (a * length_mm, b * width_mm),
            });
        }
    }
    plots
}
