//! Outlines, numbers and handles over a scan.

use egui::{Color32, Painter, Pos2, Rect, Shape, Stroke, StrokeKind, Vec2};

use super::handles;
use super::view::View;
use crate::measure::geometry::{Field, Point, StripShape};
use crate::measure::strip::Role;
use crate::window::request::{Part, Scene};
use crate::window::theme::{Theme, small};

/// How near the pointer must come to a handle, screen points.
const REACH: f32 = 8.0;
/// Side of a handle.
const HANDLE: f32 = 9.0;

/// Draws everything that is known of one scan.
pub fn paint(painter: &Painter, place: Rect, view: &View, scan: usize, scene: &Scene<'_>) {
    for strip in 0..scene.strips() {
        if let Some(shape) = scene.shape(strip).filter(|shape| shape.scan == scan) {
            paint_strip(painter, place, view, strip, shape, scene);
        }
    }
    let said = scene
        .session
        .wedge
        .as_ref()
        .and_then(|wedge| wedge.shape.as_ref());
    let found = scene.analysis.iter().flat_map(|analysis| &analysis.wedges);
    let wedge = found
        .map(|wedge| &wedge.shape)
        .chain(said)
        .find(|shape| shape.scan == scan);
    if let Some(shape) = wedge {
        let stroke = Stroke::new(1.5, scene.theme.wedge);
        outline(painter, place, view, shape, stroke, Dash::Dotted);
        for border in 1..shape.fields.len() {
            let [from, to] = border_ends(shape, border);
            let ends = [view.on_screen(place, from), view.on_screen(place, to)];
            painter.line_segment(ends, Stroke::new(1.0, scene.theme.wedge));
        }
        chip(
            painter,
            view.on_screen(place, shape.on_scan(0.0, 0.5)),
            "wedge",
            scene.theme.wedge,
            scene.theme,
        );
    }
}

/// How an outline is drawn: the kind of strip shows without colour.
#[derive(Clone, Copy, PartialEq)]
enum Dash {
    Solid,
    Dashed,
    Dotted,
}

fn outline(
    painter: &Painter,
    place: Rect,
    view: &View,
    shape: &StripShape,
    stroke: Stroke,
    dash: Dash,
) {
    let mut corners: Vec<Pos2> = shape
        .corners
        .iter()
        .map(|&corner| view.on_screen(place, corner))
        .collect();
    corners.push(corners[0]);
    match dash {
        Dash::Solid => {
            painter.line(corners, stroke);
        }
        Dash::Dashed => painter.extend(Shape::dashed_line(&corners, stroke, 9.0, 4.0)),
        Dash::Dotted => painter.extend(Shape::dashed_line(&corners, stroke, 3.0, 3.0)),
    }
}

fn border_ends(shape: &StripShape, border: usize) -> [Point; 2] {
    let edge = shape.edges[border];
    [
        shape.on_scan(edge.left, 0.0),
        shape.on_scan(edge.right, 1.0),
    ]
}

fn paint_strip(
    painter: &Painter,
    place: Rect,
    view: &View,
    strip: usize,
    shape: &StripShape,
    scene: &Scene<'_>,
) {
    let theme = scene.theme;
    let role = scene.session.strips.get(strip).map(|strip| strip.role);
    let colour = theme.role(role);
    let chosen = scene.chosen.filter(|chosen| chosen.strip == strip);
    let width = if chosen.is_some() { 2.5 } else { 1.5 };
    let dash = if role == Some(Role::Coupon) {
        Dash::Dashed
    } else {
        Dash::Solid
    };
    outline(
        painter,
        place,
        view,
        shape,
        Stroke::new(width, colour),
        dash,
    );
    for border in 1..shape.fields.len() {
        let [from, to] = border_ends(shape, border);
        let ends = [view.on_screen(place, from), view.on_screen(place, to)];
        let held = chosen.is_some_and(|chosen| chosen.part == Part::Border(border));
        painter.line_segment(ends, Stroke::new(if held { 3.0 } else { 1.0 }, colour));
    }
    let name = view.on_screen(place, shape.on_scan(0.0, 0.5));
    for (index, field) in shape.fields.iter().enumerate() {
        paint_field(painter, place, view, (strip, shape, index, *field), scene);
    }
    chip(painter, name, &scene.name(strip), colour, theme);
    if let Some(chosen) = chosen {
        for part in handles::parts(shape) {
            if matches!(part, Part::Corner(_) | Part::Side(_)) {
                let at = view.on_screen(place, handles::hold(shape, part));
                handle(painter, at, part, part == chosen.part, colour, theme);
            }
        }
    }
}

fn paint_field(
    painter: &Painter,
    place: Rect,
    view: &View,
    (strip, shape, index, field): (usize, &StripShape, usize, Field),
    scene: &Scene<'_>,
) {
    let number = match field {
        Field::Margin => 0,
        Field::Step(step) => step + 1,
        Field::Ignored => return,
    };
    let theme = scene.theme;
    let corners = shape
        .field_corners(index)
        .map(|corner| view.on_screen(place, corner));
    let spot = (strip, number);
    let colour = theme.role(scene.session.strips.get(strip).map(|strip| strip.role));
    if scene.is_out(spot) {
        // Crossed out, so that it shows without colour.
        painter.line_segment([corners[0], corners[2]], Stroke::new(2.0, colour));
        painter.line_segment([corners[1], corners[3]], Stroke::new(2.0, colour));
    }
    let chosen = scene
        .chosen
        .is_some_and(|chosen| chosen.strip == strip && chosen.part == Part::Field(index));
    if chosen || scene.spot == Some(spot) {
        let mut line = corners.to_vec();
        line.push(corners[0]);
        painter.line(
            line,
            Stroke::new(if chosen { 3.5 } else { 2.5 }, theme.accent),
        );
    }
    let size = corners[0]
        .distance(corners[3])
        .min(corners[0].distance(corners[1]));
    let words = label(scene, spot, size);
    if !words.is_empty() {
        let centre = view.on_screen(place, shape.field_centre(index));
        chip(painter, centre, &words, colour, theme);
    }
}

/// A step's number, and its density where there is room.
fn label(scene: &Scene<'_>, (strip, number): (usize, usize), size: f32) -> String {
    let density = scene.analysis.and_then(|analysis| {
        let steps = &analysis.strips.get(strip)?.steps;
        Some(steps.iter().find(|step| step.step == number)?.density)
    });
    let name = if number == 0 {
        "margin".to_owned()
    } else {
        number.to_string()
    };
    match density {
        _ if size < 13.0 => String::new(),
        Some(density) if size >= 22.0 => format!("{name} · {density:.2}"),
        _ if number == 0 => String::new(),
        _ => name,
    }
}

/// Words on a plate, legible over any tone.
pub fn chip(painter: &Painter, at: Pos2, words: &str, edge: Color32, theme: &Theme) {
    let galley = painter.layout_no_wrap(words.to_owned(), small(), theme.text);
    let rect = Rect::from_center_size(at, galley.size() + Vec2::new(8.0, 2.0));
    painter.rect(
        rect,
        2.0,
        theme.panel.gamma_multiply(0.92),
        Stroke::new(1.0, edge),
        StrokeKind::Inside,
    );
    painter.galley(rect.min + Vec2::new(4.0, 1.0), galley, theme.text);
}

/// Corners are squares, sides are rhombs: told apart by shape.
fn handle(painter: &Painter, at: Pos2, part: Part, held: bool, colour: Color32, theme: &Theme) {
    let fill = if held { theme.accent } else { theme.panel };
    let half = HANDLE / 2.0;
    if matches!(part, Part::Corner(_)) {
        let rect = Rect::from_center_size(at, Vec2::splat(HANDLE));
        painter.rect(
            rect,
            0.0,
            fill,
            Stroke::new(1.5, colour),
            StrokeKind::Middle,
        );
    } else {
        let points = [(0.0, -half), (half, 0.0), (0.0, half), (-half, 0.0)]
            .map(|(x, y)| at + Vec2::new(x, y) * 1.2);
        painter.add(Shape::convex_polygon(
            points.to_vec(),
            fill,
            Stroke::new(1.5, colour),
        ));
    }
}

/// The part under the pointer: handles of the chosen strip first, then borders, then fields.
pub fn under(
    place: Rect,
    view: &View,
    scan: usize,
    scene: &Scene<'_>,
    pointer: Pos2,
) -> Option<(usize, Part)> {
    let lies_here = |strip: usize| scene.shape(strip).filter(|shape| shape.scan == scan);
    if let Some(chosen) = scene.chosen
        && let Some(shape) = lies_here(chosen.strip)
    {
        let near = |part: Part| {
            let hold = view.on_screen(place, handles::hold(shape, part));
            hold.distance(pointer) <= REACH
        };
        let corners = (0..4).map(Part::Corner).chain((0..4).map(Part::Side));
        if let Some(part) = corners.into_iter().find(|&part| near(part)) {
            return Some((chosen.strip, part));
        }
        let border = (0..shape.edges.len()).find(|&border| {
            let [from, to] = border_ends(shape, border).map(|end| view.on_screen(place, end));
            distance_to_segment(pointer, from, to) <= REACH * 0.6
        });
        if let Some(border) = border {
            return Some((chosen.strip, Part::Border(border)));
        }
    }
    let at = view.on_scan(place, pointer);
    (0..scene.strips()).find_map(|strip| {
        let shape = lies_here(strip)?;
        let field =
            (0..shape.fields.len()).find(|&field| inside(&shape.field_corners(field), at))?;
        Some((strip, Part::Field(field)))
    })
}

fn distance_to_segment(at: Pos2, from: Pos2, to: Pos2) -> f32 {
    let way = to - from;
    let share = ((at - from).dot(way) / way.length_sq().max(1e-6)).clamp(0.0, 1.0);
    at.distance(from + way * share)
}

/// Whether a point lies in a convex quadrangle.
fn inside(corners: &[Point; 4], at: Point) -> bool {
    let side = |from: Point, to: Point| {
        (to.x - from.x) * (at.y - from.y) - (to.y - from.y) * (at.x - from.x)
    };
    let sides = [0, 1, 2, 3].map(|corner| side(corners[corner], corners[(corner + 1) % 4]));
    sides.iter().all(|&side| side >= 0.0) || sides.iter().all(|&side| side <= 0.0)
}
