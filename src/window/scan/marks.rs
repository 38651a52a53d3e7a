//! Outlines, numbers and handles over a scan.

use egui::{Color32, Painter, Pos2, Rect, Shape, Stroke, StrokeKind, Vec2};

use super::view::View;
use super::{areas, coat, handles};
use crate::measure::geometry::{Field, Point, StripShape};
use crate::measure::raster::Raster;
use crate::measure::strip::Role;
use crate::window::request::{Chosen, Part, Scene, Thing};
use crate::window::theme::{Theme, small};

/// How near the pointer must come to a handle, screen points.
const REACH: f32 = 8.0;
/// What a plate is larger than its words.
const RIM: Vec2 = Vec2::new(8.0, 2.0);
/// How far beyond a strip's start its name stands, screen points.
const NAME_AWAY: f32 = 16.0;
/// Side of a handle.
const HANDLE: f32 = 9.0;

/// A scan as it lies on the screen.
#[derive(Clone, Copy)]
pub struct Sight<'a> {
    /// Where on the screen.
    pub place: Rect,
    /// Which part of it.
    pub view: &'a View,
    /// Its number.
    pub scan: usize,
    /// Its pixels.
    pub raster: &'a Raster,
}

impl Sight<'_> {
    /// The point of the screen where a point of the scan is.
    pub fn on_screen(&self, at: Point) -> Pos2 {
        self.view.on_screen(self.place, at)
    }

    /// The point of the scan under a point of the screen.
    pub fn on_scan(&self, at: Pos2) -> Point {
        self.view.on_scan(self.place, at)
    }
}

/// Draws everything that is known of one scan.
pub fn paint(painter: &Painter, sight: &Sight<'_>, scene: &Scene<'_>) {
    for thing in scene.things(sight.scan) {
        if let Some(shape) = scene.outline(thing) {
            paint_thing(painter, sight, thing, shape, scene);
        }
    }
    // Handles last: nothing may lie on them.
    if let Some((chosen, shape)) = scene.held().filter(|(_, shape)| shape.scan == sight.scan) {
        paint_handles(painter, sight, chosen, shape, scene);
    }
}

/// How an outline is drawn: the kind of strip shows without colour.
#[derive(Clone, Copy, PartialEq)]
enum Dash {
    Solid,
    Dashed,
    Dotted,
}

fn outline(painter: &Painter, mut corners: Vec<Pos2>, stroke: Stroke, dash: Dash) {
    corners.extend(corners.first().copied());
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

fn paint_thing(
    painter: &Painter,
    sight: &Sight<'_>,
    thing: Thing,
    shape: &StripShape,
    scene: &Scene<'_>,
) {
    let theme = scene.theme;
    let (role, colour) = (role_of(thing, scene), colour_of(thing, scene));
    let chosen = scene.chosen.filter(|chosen| chosen.thing == thing);
    let width = if chosen.is_some() { 2.5 } else { 1.5 };
    let dash = match (thing, role) {
        (Thing::Wedge(_) | Thing::Spare(_), _) => Dash::Dotted,
        (_, Some(Role::Coupon)) => Dash::Dashed,
        _ => Dash::Solid,
    };
    let corners = shape.corners.map(|corner| sight.on_screen(corner));
    outline(painter, corners.to_vec(), Stroke::new(width, colour), dash);
    for border in 1..shape.fields.len() {
        let ends = border_ends(shape, border).map(|end| sight.on_screen(end));
        let held = chosen.is_some_and(|chosen| chosen.part == Part::Border(border));
        painter.line_segment(ends, Stroke::new(if held { 3.0 } else { 1.0 }, colour));
    }
    if let Thing::Strip(strip) = thing {
        for (index, field) in shape.fields.iter().enumerate() {
            paint_field(painter, sight, (strip, shape, index, *field), scene);
        }
        coat::paint(painter, sight, strip, scene);
    }
    let start = sight.on_screen(shape.on_scan(0.0, 0.5));
    let inwards = sight.on_screen(shape.on_scan(1.0, 0.5)) - start;
    let inside = sight.place.shrink2(Vec2::new(24.0, 10.0));
    let name = inside.clamp(start - inwards.normalized() * NAME_AWAY);
    chip(painter, name, &scene.thing_name(thing), colour, theme);
}

fn paint_handles(
    painter: &Painter,
    sight: &Sight<'_>,
    chosen: Chosen,
    shape: &StripShape,
    scene: &Scene<'_>,
) {
    let colour = colour_of(chosen.thing, scene);
    for part in handles::parts(shape) {
        if matches!(part, Part::Corner(_) | Part::Side(_)) {
            let at = sight.on_screen(handles::hold(shape, part));
            handle(painter, at, part, part == chosen.part, colour, scene.theme);
        }
    }
    if let Some((strip, field)) = areas::open_field(scene) {
        paint_area(painter, sight, (strip, shape, field), chosen.part, scene);
    }
}

fn role_of(thing: Thing, scene: &Scene<'_>) -> Option<Role> {
    match thing {
        Thing::Strip(strip) => scene.session.strips.get(strip).map(|strip| strip.role),
        Thing::Wedge(_) | Thing::Spare(_) => None,
    }
}

fn colour_of(thing: Thing, scene: &Scene<'_>) -> Color32 {
    scene.theme.role(role_of(thing, scene))
}

/// The part of the chosen field that is read: dotted where the program chose it, drawn through
/// where a person placed it, with corners to take hold of.
pub fn paint_area(
    painter: &Painter,
    sight: &Sight<'_>,
    (strip, shape, field): (usize, &StripShape, usize),
    held: Part,
    scene: &Scene<'_>,
) {
    let Some(area) = areas::area_of(scene, sight.raster, strip, shape, field) else {
        return;
    };
    let theme = scene.theme;
    let corners = shape
        .area_corners(field, &area)
        .map(|corner| sight.on_screen(corner));
    let dash = match scene.placed(strip, shape.fields[field]) {
        Some(_) => Dash::Solid,
        None => Dash::Dotted,
    };
    // A light line in a dark one shows on any tone.
    outline(
        painter,
        corners.to_vec(),
        Stroke::new(4.0, theme.panel),
        Dash::Solid,
    );
    outline(
        painter,
        corners.to_vec(),
        Stroke::new(2.0, theme.accent),
        dash,
    );
    for (corner, at) in corners.into_iter().enumerate() {
        let part = Part::AreaCorner(field, corner);
        handle(painter, at, part, part == held, theme.accent, theme);
    }
}

fn paint_field(
    painter: &Painter,
    sight: &Sight<'_>,
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
        .map(|corner| sight.on_screen(corner));
    let spot = (strip, number);
    let colour = theme.role(scene.session.strips.get(strip).map(|strip| strip.role));
    if scene.is_out(spot) {
        // Crossed out, so that it shows without colour.
        painter.line_segment([corners[0], corners[2]], Stroke::new(2.0, colour));
        painter.line_segment([corners[1], corners[3]], Stroke::new(2.0, colour));
    }
    let chosen = scene.chosen.is_some_and(|chosen| {
        chosen.thing == Thing::Strip(strip) && chosen.part.field() == Some(index)
    });
    if chosen || scene.spot == Some(spot) {
        let width = if chosen { 3.5 } else { 2.5 };
        let stroke = Stroke::new(width, theme.accent);
        outline(painter, corners.to_vec(), stroke, Dash::Solid);
    }
    let centre = sight.on_screen(shape.field_centre(index));
    // A chosen field's middle is left free for its area: the words go to its border.
    let at = if chosen {
        corners[0] + (corners[1] - corners[0]) / 2.0
    } else {
        centre
    };
    let room = Rect::from_points(&corners).size();
    let words = labels(scene, spot);
    if let Some(words) = words.iter().find(|words| fits(painter, words, room)) {
        chip(painter, at, words, colour, theme);
    }
}

/// A step's number with its density, and the number alone for where there is less room.
fn labels(scene: &Scene<'_>, (strip, number): (usize, usize)) -> Vec<String> {
    let density = scene.analysis.and_then(|analysis| {
        let steps = &analysis.strips.get(strip)?.steps;
        Some(steps.iter().find(|step| step.step == number)?.density)
    });
    let name = match number {
        0 => "margin".to_owned(),
        number => number.to_string(),
    };
    let full = density.map(|density| format!("{name} · {density:.2}"));
    full.into_iter().chain([name]).collect()
}

/// Whether a plate with these words lies within a field.
fn fits(painter: &Painter, words: &str, room: Vec2) -> bool {
    let galley = painter.layout_no_wrap(words.to_owned(), small(), Color32::PLACEHOLDER);
    let plate = galley.size() + RIM;
    plate.x <= room.x && plate.y <= room.y + 1.0
}

/// Words on a plate, legible over any tone.
pub fn chip(painter: &Painter, at: Pos2, words: &str, edge: Color32, theme: &Theme) {
    let galley = painter.layout_no_wrap(words.to_owned(), small(), theme.text);
    let rect = Rect::from_center_size(at, galley.size() + RIM);
    painter.rect(
        rect,
        2.0,
        theme.panel.gamma_multiply(0.92),
        Stroke::new(1.0, edge),
        StrokeKind::Inside,
    );
    painter.galley(rect.min + Vec2::new(4.0, 1.0), galley, theme.text);
}

/// Words on a plate above a field; in two lines or three where it is narrow.
pub fn chip_above(painter: &Painter, field: Rect, words: &str, theme: &Theme) {
    let most = (field.width() - RIM.x - 4.0).max(48.0);
    let galley = painter.layout(words.to_owned(), small(), theme.text, most);
    let size = galley.size() + RIM;
    let corner = Pos2::new(field.center().x - size.x / 2.0, field.top() - 8.0 - size.y);
    let rect = Rect::from_min_size(corner, size);
    let stroke = Stroke::new(1.0, theme.line);
    let fill = theme.panel.gamma_multiply(0.92);
    painter.rect(rect, 2.0, fill, stroke, StrokeKind::Inside);
    painter.galley(rect.min + RIM / 2.0, galley, theme.text);
}

/// Corners are squares, sides are rhombs: told apart by shape.
fn handle(painter: &Painter, at: Pos2, part: Part, held: bool, colour: Color32, theme: &Theme) {
    let fill = if held { theme.accent } else { theme.panel };
    let half = HANDLE / 2.0;
    if matches!(part, Part::Corner(_) | Part::AreaCorner(..)) {
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

/// The part under the pointer: what is chosen first (the area that is read, handles, borders),
/// then fields of anything.
pub fn under(sight: &Sight<'_>, scene: &Scene<'_>, pointer: Pos2) -> Option<(Thing, Part)> {
    let at = sight.on_scan(pointer);
    let held = scene.held().filter(|(_, shape)| shape.scan == sight.scan);
    if let Some((chosen, shape)) = held {
        let near = |at: Point| sight.on_screen(at).distance(pointer) <= REACH;
        let area = areas::open_field(scene).and_then(|(strip, field)| {
            let area = areas::area_of(scene, sight.raster, strip, shape, field)?;
            Some((field, shape.area_corners(field, &area)))
        });
        if let Some((field, corners)) = &area
            && let Some(corner) = corners.iter().position(|&corner| near(corner))
        {
            return Some((chosen.thing, Part::AreaCorner(*field, corner)));
        }
        let corners = (0..4).map(Part::Corner).chain((0..4).map(Part::Side));
        if let Some(part) = corners
            .into_iter()
            .find(|&part| near(handles::hold(shape, part)))
        {
            return Some((chosen.thing, part));
        }
        let border = (0..shape.edges.len()).find(|&border| {
            let [from, to] = border_ends(shape, border).map(|end| sight.on_screen(end));
            distance_to_segment(pointer, from, to) <= REACH * 0.6
        });
        if let Some(border) = border {
            return Some((chosen.thing, Part::Border(border)));
        }
        if let Some((field, corners)) = &area
            && inside(corners, at)
        {
            return Some((chosen.thing, Part::Area(*field)));
        }
    }
    scene.things(sight.scan).into_iter().find_map(|thing| {
        let shape = scene.outline(thing)?;
        let field =
            (0..shape.fields.len()).find(|&field| inside(&shape.field_corners(field), at))?;
        Some((thing, Part::Field(field)))
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
