//! What moving a part of a strip's outline does to it: pure geometry.

use crate::measure::geometry::{Edge, Field, Point, StripShape};
use crate::window::request::Part;

/// Least distance of two borders, as a share of the strip's length.
const LEAST_FIELD: f64 = 0.004;
/// Steps of a strip drawn by hand whose exposures aren't known yet.
const USUAL_STEPS: usize = 8;

/// The place along a strip (0 to 1) of a point on the scan, by its midline.
pub fn along(shape: &StripShape, at: Point) -> f64 {
    let (start, end) = (shape.on_scan(0.0, 0.5), shape.on_scan(1.0, 0.5));
    let (dx, dy) = (end.x - start.x, end.y - start.y);
    let length = (dx * dx + dy * dy).max(f64::MIN_POSITIVE);
    ((at.x - start.x) * dx + (at.y - start.y) * dy) / length
}

/// The outline with a part moved from one point of the scan to another.
pub fn moved(shape: &StripShape, part: Part, from: Point, to: Point) -> StripShape {
    let mut after = shape.clone();
    let mut shift = |corner: usize| {
        after.corners[corner].x += to.x - from.x;
        after.corners[corner].y += to.y - from.y;
    };
    match part {
        Part::Whole | Part::Field(_) => (0..4).for_each(shift),
        // Areas are moved within their field: see `areas::moved`.
        Part::Area(_) | Part::AreaCorner(..) => {}
        Part::Corner(corner) => shift(corner),
        Part::Side(side) => {
            shift(side);
            shift((side + 1) % 4);
        }
        Part::Border(border) => {
            let by = along(shape, to) - along(shape, from);
            after.edges = with_border_moved(&shape.edges, border, by);
        }
    }
    after
}

fn with_border_moved(edges: &[Edge], border: usize, by: f64) -> Vec<Edge> {
    let mut edges = edges.to_vec();
    let limit = |value: fn(&Edge) -> f64| {
        let least = match border.checked_sub(1).and_then(|before| edges.get(before)) {
            Some(before) => value(before) + LEAST_FIELD,
            None => 0.0,
        };
        let most = edges
            .get(border + 1)
            .map_or(1.0, |after| value(after) - LEAST_FIELD);
        (least, most)
    };
    let (left, right) = (limit(|edge| edge.left), limit(|edge| edge.right));
    if let Some(edge) = edges.get_mut(border) {
        edge.left = (edge.left + by).clamp(left.0, left.1.max(left.0));
        edge.right = (edge.right + by).clamp(right.0, right.1.max(right.0));
    }
    edges
}

/// Whether the steps are numbered from the strip's end.
fn runs_back(fields: &[Field]) -> bool {
    let mut steps = fields.iter().filter_map(|field| match field {
        Field::Step(step) => Some(*step),
        _ => None,
    });
    match (steps.next(), steps.next_back()) {
        (Some(first), Some(last)) => first > last,
        _ => false,
    }
}

/// Numbers the steps anew, in the order along the strip or against it.
fn renumbered(fields: &[Field], back: bool) -> Vec<Field> {
    let count = fields
        .iter()
        .filter(|field| matches!(field, Field::Step(_)))
        .count();
    let mut next = 0;
    fields
        .iter()
        .map(|field| match field {
            Field::Step(_) => {
                next += 1;
                Field::Step(if back { count - next } else { next - 1 })
            }
            other => *other,
        })
        .collect()
}

/// The same fields, counted from the other end.
pub fn flipped(shape: &StripShape) -> StripShape {
    StripShape {
        fields: renumbered(&shape.fields, !runs_back(&shape.fields)),
        ..shape.clone()
    }
}

/// A field split in two; both parts are steps.
pub fn with_field_split(shape: &StripShape, field: usize) -> Option<StripShape> {
    let (from, to) = (shape.edges.get(field)?, shape.edges.get(field + 1)?);
    let middle = Edge {
        left: (from.left + to.left) / 2.0,
        right: (from.right + to.right) / 2.0,
    };
    let mut after = shape.clone();
    after.edges.insert(field + 1, middle);
    after.fields[field] = Field::Step(usize::MAX);
    after.fields.insert(field + 1, Field::Step(usize::MAX));
    after.fields = renumbered(&after.fields, runs_back(&shape.fields));
    Some(after)
}

/// A field joined with its neighbour: the next one, or the one before at the end.
pub fn with_field_joined(shape: &StripShape, field: usize) -> Option<StripShape> {
    if shape.fields.len() < 2 || field >= shape.fields.len() {
        return None;
    }
    let border = (field + 1).min(shape.fields.len() - 1);
    let mut after = shape.clone();
    after.edges.remove(border);
    after
        .fields
        .remove(if border == field { field } else { border });
    after.fields = renumbered(&after.fields, runs_back(&shape.fields));
    Some(after)
}

/// A field made a step, the margin or left alone.
pub fn with_field_kind(shape: &StripShape, field: usize, kind: Field) -> Option<StripShape> {
    let back = runs_back(&shape.fields);
    let mut after = shape.clone();
    if kind == Field::Margin {
        // A strip has one margin; another is left alone.
        for other in after
            .fields
            .iter_mut()
            .filter(|other| **other == Field::Margin)
        {
            *other = Field::Ignored;
        }
    }
    *after.fields.get_mut(field)? = kind;
    after.fields = renumbered(&after.fields, back);
    Some(after)
}

/// A strip drawn by hand from one corner to the opposite one, the longer way along; a margin at
/// its start, then steps of one length. `None` when it is hardly larger than a click.
pub fn drawn(scan: usize, from: Point, to: Point, steps: Option<usize>) -> Option<StripShape> {
    let (left, right) = (from.x.min(to.x), from.x.max(to.x));
    let (top, bottom) = (from.y.min(to.y), from.y.max(to.y));
    if right - left < 12.0 || bottom - top < 12.0 {
        return None;
    }
    let upright = bottom - top >= right - left;
    let corners = if upright {
        [
            Point::new(right, top),
            Point::new(left, top),
            Point::new(left, bottom),
            Point::new(right, bottom),
        ]
    } else {
        [
            Point::new(left, top),
            Point::new(left, bottom),
            Point::new(right, bottom),
            Point::new(right, top),
        ]
    };
    let steps = steps.unwrap_or(USUAL_STEPS);
    let fields = std::iter::once(Field::Margin)
        .chain((0..steps).map(Field::Step))
        .collect();
    let edges = (0..=steps + 1)
        .map(|edge| Edge::square(edge as f64 / (steps + 1) as f64))
        .collect();
    Some(StripShape {
        scan,
        corners,
        edges,
        fields,
        unexposed: vec![],
    })
}

/// All parts of a strip in the order in which the keys walk through them.
pub fn parts(shape: &StripShape) -> Vec<Part> {
    let mut parts = vec![Part::Whole];
    parts.extend((0..shape.fields.len()).map(Part::Field));
    parts.extend((0..shape.edges.len()).map(Part::Border));
    parts.extend((0..4).map(Part::Side));
    parts.extend((0..4).map(Part::Corner));
    parts
}

/// The areas that are read and their corners, in the order in which the keys walk on to them.
pub fn area_parts(shape: &StripShape) -> Vec<Part> {
    let read = (0..shape.fields.len()).filter(|&field| shape.fields[field] != Field::Ignored);
    read.flat_map(|field| {
        let corners = (0..4).map(move |corner| Part::AreaCorner(field, corner));
        std::iter::once(Part::Area(field)).chain(corners)
    })
    .collect()
}

/// Where a part is taken hold of, on the scan.
pub fn hold(shape: &StripShape, part: Part) -> Point {
    match part {
        Part::Whole => shape.on_scan(0.5, 0.5),
        Part::Corner(corner) => shape.corners[corner],
        Part::Side(side) => shape.corners[side].toward(shape.corners[(side + 1) % 4], 0.5),
        Part::Border(border) => shape.on_scan(shape.edges[border].middle(), 0.5),
        Part::Field(field) | Part::Area(field) | Part::AreaCorner(field, _) => {
            shape.field_centre(field)
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn strip() -> StripShape {
        drawn(0, Point::new(100.0, 0.0), Point::new(0.0, 1000.0), Some(4)).unwrap()
    }

    #[test]
    fn a_strip_drawn_by_hand_has_a_margin_and_equal_steps_the_longer_way() {
        let shape = strip();
        assert_eq!(shape.fields[0], Field::Margin);
        assert_eq!(shape.steps(), 4);
        assert!((shape.length() - 1000.0).abs() < 1e-9);
        assert!((shape.width() - 100.0).abs() < 1e-9);
        assert!(drawn(0, Point::new(0.0, 0.0), Point::new(5.0, 400.0), None).is_none());
    }

    #[test]
    fn a_border_follows_the_pointer_and_stops_before_its_neighbours() {
        let shape = strip();
        let to = moved(
            &shape,
            Part::Border(2),
            Point::new(50.0, 400.0),
            Point::new(50.0, 450.0),
        );
        assert!((to.edges[2].middle() - 0.45).abs() < 1e-9);
        let far = moved(
            &shape,
            Part::Border(2),
            Point::new(50.0, 400.0),
            Point::new(50.0, 990.0),
        );
        assert!(far.edges[2].middle() < shape.edges[3].middle());
    }

    #[test]
    fn turning_a_strip_round_twice_changes_nothing() {
        let shape = strip();
        let once = flipped(&shape);
        assert_eq!(once.fields[1], Field::Step(3));
        assert_eq!(flipped(&once), shape);
    }

    #[test]
    fn splitting_and_joining_keep_the_numbers_in_order_either_way_round() {
        for shape in [strip(), flipped(&strip())] {
            let split = with_field_split(&shape, 2).unwrap();
            assert_eq!(split.steps(), 5);
            assert_eq!(with_field_joined(&split, 2).unwrap().fields, shape.fields);
        }
    }

    #[test]
    fn a_strip_has_one_margin() {
        let after = with_field_kind(&strip(), 4, Field::Margin).unwrap();
        assert_eq!(after.fields[0], Field::Ignored);
        assert_eq!(after.fields[4], Field::Margin);
        assert_eq!(after.steps(), 3);
    }

    #[test]
    fn moving_there_and_back_is_no_move() {
        let shape = strip();
        let (a, b) = (Point::new(10.0, 10.0), Point::new(14.0, 6.0));
        for part in parts(&shape) {
            let back = moved(&moved(&shape, part, a, b), part, b, a);
            for (before, after) in shape.corners.iter().zip(back.corners) {
                assert!(before.distance(after) < 1e-9);
            }
        }
    }
}
