//! The part of a field that is read: where it is, and what moving it does. Pure geometry.

use crate::measure::geometry::{Area, Point, StripShape};
use crate::measure::raster::Raster;
use crate::measure::reading::cells::{pixels_per_mm, usual_area};
use crate::window::request::{Part, Scene, Thing};

use super::handles;

/// Least share of its field that an area can be drawn in to: less can't be taken hold of.
const LEAST: f64 = 0.05;

/// The area of a strip's field as it is read now: placed by hand, or the usual one.
pub fn area_of(
    scene: &Scene<'_>,
    raster: &Raster,
    strip: usize,
    shape: &StripShape,
    field: usize,
) -> Option<Area> {
    let kind = *shape.fields.get(field)?;
    let placed = scene.placed(strip, kind).copied();
    placed.or_else(|| usual_area(shape, field, pixels_per_mm(raster, shape)))
}

/// The field whose area can be taken hold of: that of the chosen part, in a described strip.
pub fn open_field(scene: &Scene<'_>) -> Option<(usize, usize)> {
    let chosen = scene.chosen?;
    let Thing::Strip(strip) = chosen.thing else {
        return None;
    };
    let field = chosen.part.field()?;
    let read = *scene.shape(strip)?.fields.get(field)? != crate::measure::geometry::Field::Ignored;
    (read && strip < scene.session.strips.len()).then_some((strip, field))
}

/// The area with a part of it moved from one point of the scan to another.
pub fn moved(shape: &StripShape, area: &Area, part: Part, from: Point, to: Point) -> Area {
    let Some(field) = part.field().filter(|&field| field + 1 < shape.edges.len()) else {
        return *area;
    };
    let length = shape.edges[field + 1].middle() - shape.edges[field].middle();
    let along = handles::along(shape, to) - handles::along(shape, from);
    let by = (
        along / length.max(f64::MIN_POSITIVE),
        across(shape, to) - across(shape, from),
    );
    match part {
        Part::AreaCorner(_, corner) => Area {
            along: with_end_moved(area.along, corner > 1, by.0),
            across: with_end_moved(area.across, corner == 1 || corner == 2, by.1),
            ..*area
        },
        _ => Area {
            along: shifted(area.along, by.0),
            across: shifted(area.across, by.1),
            ..*area
        },
    }
}

/// The area elsewhere in its field, by shares of it.
pub fn shifted_by(area: &Area, along: f64, across: f64) -> Area {
    Area {
        along: shifted(area.along, along),
        across: shifted(area.across, across),
        ..*area
    }
}

/// The area wider or narrower about its middle, by shares of the field.
pub fn resized(area: &Area, along: f64, across: f64) -> Area {
    let sized = |(start, end): (f64, f64), by: f64| {
        let half = ((end - start + by).clamp(LEAST, 1.0)) / 2.0;
        let middle = f64::midpoint(start, end).clamp(half, 1.0 - half);
        (middle - half, middle + half)
    };
    Area {
        along: sized(area.along, along),
        across: sized(area.across, across),
        ..*area
    }
}

/// The place across a strip (0 to 1) of a point on the scan, by its middle.
fn across(shape: &StripShape, at: Point) -> f64 {
    let (left, right) = (shape.on_scan(0.5, 0.0), shape.on_scan(0.5, 1.0));
    let (dx, dy) = (right.x - left.x, right.y - left.y);
    let width = (dx * dx + dy * dy).max(f64::MIN_POSITIVE);
    ((at.x - left.x) * dx + (at.y - left.y) * dy) / width
}

fn shifted((start, end): (f64, f64), by: f64) -> (f64, f64) {
    let by = by.clamp(-start, 1.0 - end);
    (start + by, end + by)
}

fn with_end_moved((start, end): (f64, f64), far: bool, by: f64) -> (f64, f64) {
    if far {
        (start, (end + by).clamp((start + LEAST).min(1.0), 1.0))
    } else {
        ((start + by).clamp(0.0, (end - LEAST).max(0.0)), end)
    }
}

/// Areas after the fields of a strip were split, joined, turned round or renamed: each stays
/// where it lay; those whose field is no more are let go.
pub fn carried(areas: &[Area], before: &StripShape, after: &StripShape) -> Vec<Area> {
    let same_count = before.fields.len() == after.fields.len();
    areas
        .iter()
        .filter_map(|area| {
            let old = before
                .fields
                .iter()
                .position(|&field| field == area.field)?;
            let new = if same_count {
                old
            } else {
                let ends = &before.edges[old..=old + 1];
                after.edges.windows(2).position(|pair| pair == ends)?
            };
            let field = after.fields[new];
            (field != crate::measure::geometry::Field::Ignored).then_some(Area { field, ..*area })
        })
        .collect()
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::measure::geometry::Field;

    fn strip() -> StripShape {
        handles::drawn(0, Point::new(100.0, 0.0), Point::new(0.0, 1000.0), Some(4)).unwrap()
    }

    fn area(step: usize) -> Area {
        Area {
            field: Field::Step(step),
            along: (0.2, 0.6),
            across: (0.3, 0.7),
        }
    }

    #[test]
    fn an_area_follows_the_pointer_and_stays_in_its_field_at_its_size() {
        let shape = strip();
        // Fields are 200 pixels long and 100 wide.
        let from = Point::new(50.0, 500.0);
        let to = moved(
            &shape,
            &area(1),
            Part::Area(2),
            from,
            Point::new(50.0, 540.0),
        );
        assert!((to.along.0 - 0.4).abs() < 1e-9 && (to.along.1 - 0.8).abs() < 1e-9);
        assert_eq!(to.across, area(1).across);
        let far = moved(
            &shape,
            &area(1),
            Part::Area(2),
            from,
            Point::new(50.0, 900.0),
        );
        assert!((far.along.0 - 0.6).abs() < 1e-9 && far.along.1 <= 1.0);
    }

    #[test]
    fn a_corner_moves_two_sides_and_never_past_the_others() {
        let shape = strip();
        let corners = shape.area_corners(2, &area(1));
        for (corner, from) in corners.into_iter().enumerate() {
            let part = Part::AreaCorner(2, corner);
            let by = Point::new(from.x - 4.0, from.y + 10.0);
            let to = moved(&shape, &area(1), part, from, by);
            let now = shape.area_corners(2, &to)[corner];
            assert!(now.distance(by) < 1e-6, "corner {corner}");
            let far = moved(&shape, &area(1), part, from, Point::new(9e3, -9e3));
            assert!(far.along.1 - far.along.0 >= LEAST - 1e-9);
            assert!(far.across.1 - far.across.0 >= LEAST - 1e-9);
        }
    }

    #[test]
    fn sizing_keeps_the_middle_where_it_can() {
        let larger = resized(&area(0), 0.2, -0.2);
        assert!((larger.along.0 - 0.1).abs() < 1e-9 && (larger.along.1 - 0.7).abs() < 1e-9);
        assert!((larger.across.0 - 0.4).abs() < 1e-9 && (larger.across.1 - 0.6).abs() < 1e-9);
        assert_eq!(resized(&area(0), 5.0, 5.0).along, (0.0, 1.0));
    }

    #[test]
    fn areas_stay_where_they_lie_when_steps_are_renumbered() {
        let before = strip();
        let turned = handles::flipped(&before);
        assert_eq!(carried(&[area(0)], &before, &turned), [area(3)]);
        let split = handles::with_field_split(&before, 1).unwrap();
        assert_eq!(carried(&[area(0), area(2)], &before, &split), [area(3)]);
    }
}
