//! The plots of a pair: both curves, ratio by tone, residuals, the budget.

use egui::{Painter, Pos2, Rect, Response, Sense, Stroke, Ui, Vec2};

use super::chart::{Chart, Mark, Titles};
use crate::document::Edit;

use crate::measure::analysis::PairResult;
use crate::measure::curve::{CurveAnswer, MeasuredPoint};
use crate::measure::strip::Role;
use crate::measure::units::Stops;
use crate::window::eye_bench;
use crate::window::request::{Request, Scene};
use crate::window::theme::{Theme, small};

/// Net density of the speed point (ISO 6846).
const CRITERION: f64 = 0.60;
/// How near the pointer must come to a point, screen points.
pub(super) const REACH: f32 = 12.0;

/// How far the coated strip's curve is slid.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Slide {
    /// In stops, towards the paper's.
    pub stops: f64,
}

/// One strip of a pair, as it is drawn.
pub(super) struct Side<'a> {
    pub(super) strip: usize,
    pub(super) role: Role,
    pub(super) curve: &'a CurveAnswer,
    /// Taken off every log exposure, decades.
    pub(super) shift: f64,
}

pub(super) fn sides(pair: &PairResult, slide: Slide) -> [Side<'_>; 2] {
    [
        Side {
            strip: pair.reference,
            role: Role::Reference,
            curve: &pair.answer.reference,
            shift: 0.0,
        },
        Side {
            strip: pair.coupon,
            role: Role::Coupon,
            curve: &pair.answer.coupon,
            shift: Stops(slide.stops).decades(),
        },
    ]
}

/// The finite points of a strip: log exposure as drawn, and the point.
pub(super) fn points<'a>(side: &'a Side<'_>) -> impl Iterator<Item = (f64, &'a MeasuredPoint)> {
    side.curve.points.iter().filter_map(|point| {
        let x = point.log_exposure.filter(|x| x.is_finite())?;
        Some((x - side.shift, point))
    })
}

pub(super) fn range(values: impl Iterator<Item = f64>) -> Option<(f64, f64)> {
    values
        .filter(|value| value.is_finite())
        .fold(None, |range: Option<(f64, f64)>, value| match range {
            None => Some((value, value)),
            Some((low, high)) => Some((low.min(value), high.max(value))),
        })
}

/// The plot of both curves as shapes; gives the chart to find points on.
pub fn paint_curves(
    painter: &Painter,
    place: Rect,
    scene: &Scene<'_>,
    pair: &PairResult,
    slide: Slide,
) -> Chart {
    let theme = scene.theme;
    let both = sides(pair, slide);
    let xs = both
        .iter()
        .flat_map(|side| points(side).map(|(x, _)| x).collect::<Vec<_>>());
    let ys = both
        .iter()
        .flat_map(|side| side.curve.points.iter().map(|point| point.density));
    let x = range(xs).unwrap_or((0.0, 1.0));
    let y = range(ys).unwrap_or((0.0, 2.0));
    let chart = Chart::within(place, x, (0.0, y.1));
    let titles = Titles {
        title: "Characteristic curves",
        x: "log exposure, decades",
        y: "density",
    };
    chart.frame(painter, &titles, theme);
    for side in &both {
        paint_side(painter, &chart, scene, side);
    }
    paint_matches(painter, &chart, scene, pair, &both);
    key(painter, &chart, scene, pair);
    chart
}

pub(super) fn paint_side(painter: &Painter, chart: &Chart, scene: &Scene<'_>, side: &Side<'_>) {
    let colour = scene.theme.role(Some(side.role));
    let coated = side.role == Role::Coupon;
    let band: Vec<(f64, f64, f64)> = side
        .curve
        .curve
        .iter()
        .map(|point| (point.log_exposure - side.shift, point.lower, point.upper))
        .collect();
    chart.band(painter, &band, colour.gamma_multiply(0.16));
    let line: Vec<(f64, f64)> = side
        .curve
        .curve
        .iter()
        .map(|point| (point.log_exposure - side.shift, point.density))
        .collect();
    chart.line(painter, &line, Stroke::new(2.0, colour), coated);
    for (x, point) in points(side) {
        let spot = (side.strip, point.step.map_or(0, |step| step + 1));
        let mark = Mark {
            colour,
            ground: scene.theme.panel,
            square: coated,
            hollow: point.excluded,
            lit: scene.spot == Some(spot),
        };
        chart.point(painter, (x, point.density, point.standard_error), mark);
    }
    paint_iso(painter, chart, side, scene.theme);
}

/// The speed point as a rhomb on the curve, and the two ends of the exposure range as ticks on
/// the axis.
fn paint_iso(painter: &Painter, chart: &Chart, side: &Side<'_>, theme: &Theme) {
    let colour = theme.role(Some(side.role));
    let (Some(speed), Some(dmin)) = (side.curve.speed_point.value, side.curve.dmin.value) else {
        return;
    };
    let at = chart.at(speed - side.shift, dmin + CRITERION);
    let stroke = Stroke::new(1.0, colour);
    painter.line_segment(
        [at, Pos2::new(at.x, chart.area.bottom())],
        Stroke::new(1.0, colour.gamma_multiply(0.7)),
    );
    let rhomb =
        [(0.0, -7.0), (7.0, 0.0), (0.0, 7.0), (-7.0, 0.0)].map(|(x, y)| at + Vec2::new(x, y));
    painter.add(egui::Shape::convex_polygon(
        rhomb.to_vec(),
        theme.panel,
        Stroke::new(2.0, colour),
    ));
    let Some(dmax) = side.curve.dmax.value else {
        return;
    };
    // ISO 6846: from net 0.04 to 90 % of full net density.
    for wanted in [dmin + 0.04, dmin + 0.9 * (dmax - dmin)] {
        let crossing = side
            .curve
            .curve
            .windows(2)
            .find(|pair| pair[0].density <= wanted && wanted < pair[1].density);
        if let Some(pair) = crossing {
            let share = (wanted - pair[0].density) / (pair[1].density - pair[0].density);
            let x = pair[0].log_exposure + share * (pair[1].log_exposure - pair[0].log_exposure);
            let foot = chart.at(x - side.shift, chart.y.0);
            let height = if side.role == Role::Coupon {
                18.0
            } else {
                10.0
            };
            painter.line_segment(
                [foot, foot - Vec2::new(0.0, height)],
                Stroke::new(3.0, stroke.color),
            );
        }
    }
}

/// Matches by eye join the two curves' points.
fn paint_matches(
    painter: &Painter,
    chart: &Chart,
    scene: &Scene<'_>,
    pair: &PairResult,
    both: &[Side<'_>; 2],
) {
    for made in &scene.session.matches {
        if made.reference != pair.reference || made.coupon != pair.coupon {
            continue;
        }
        let ends = [(made.reference_at, &both[0]), (made.coupon_at, &both[1])]
            .map(|(at, side)| Some((eye_bench::between(side.curve, at)?, side.shift)));
        if let [Some(((x0, y0), s0)), Some(((x1, y1), s1))] = ends {
            let line = [chart.at(x0 - s0, y0), chart.at(x1 - s1, y1)];
            painter.extend(egui::Shape::dashed_line(
                &line,
                Stroke::new(1.5, scene.theme.text),
                2.0,
                3.0,
            ));
        }
    }
}

/// Which mark is which, above the plot at its right; beside the title if there is room.
fn key(painter: &Painter, chart: &Chart, scene: &Scene<'_>, pair: &PairResult) {
    let theme = scene.theme;
    let reference = theme.role(Some(Role::Reference));
    let coupon = theme.role(Some(Role::Coupon));
    let parts = [
        (KeyMark::Disc, reference, scene.name(pair.reference)),
        (KeyMark::Square, coupon, scene.name(pair.coupon)),
        (KeyMark::Rhomb, theme.text, "speed point".to_owned()),
        (KeyMark::Bar, theme.text, "exposure range".to_owned()),
    ];
    let galleys = parts.map(|(mark, colour, words)| {
        (
            mark,
            colour,
            painter.layout_no_wrap(words, small(), theme.text),
        )
    });
    let width: f32 = galleys
        .iter()
        .map(|(_, _, galley)| galley.size().x + KEY_MARK + KEY_GAP)
        .sum();
    let beside_title = width + KEY_TITLE <= chart.area.width();
    let up = if beside_title { 28.0 } else { 11.0 };
    let mut at = Pos2::new(
        (chart.area.right() - width + KEY_GAP).max(chart.area.left() + KEY_SECOND),
        chart.area.top() - up,
    );
    for (mark, colour, galley) in galleys {
        let middle = at + Vec2::new(5.0, 0.0);
        match mark {
            KeyMark::Disc => {
                painter.circle_filled(middle, 4.5, colour);
            }
            KeyMark::Square => {
                let rect = Rect::from_center_size(middle, Vec2::splat(8.0));
                painter.rect_filled(rect, 0.0, colour);
            }
            KeyMark::Rhomb => {
                let corners = [(0.0, -5.0), (5.0, 0.0), (0.0, 5.0), (-5.0, 0.0)]
                    .map(|(x, y)| middle + Vec2::new(x, y));
                let stroke = Stroke::new(1.5, colour);
                painter.add(egui::Shape::convex_polygon(
                    corners.to_vec(),
                    theme.panel,
                    stroke,
                ));
            }
            KeyMark::Bar => {
                let rect = Rect::from_center_size(middle, Vec2::new(3.0, 10.0));
                painter.rect_filled(rect, 0.0, colour);
            }
        }
        let size = galley.size();
        painter.galley(at + Vec2::new(KEY_MARK, -size.y / 2.0), galley, theme.text);
        at.x += size.x + KEY_MARK + KEY_GAP;
    }
}

/// A mark in the key.
enum KeyMark {
    Disc,
    Square,
    Rhomb,
    Bar,
}

/// Room that a mark takes, between entries, for the title, and for the words along y; points.
const KEY_MARK: f32 = 13.0;
const KEY_GAP: f32 = 14.0;
const KEY_TITLE: f32 = 170.0;
const KEY_SECOND: f32 = 24.0;

pub(super) fn place_for(ui: &mut Ui, height: f32, name: impl Into<String>) -> (Rect, Response) {
    let (place, response) =
        ui.allocate_exact_size(Vec2::new(ui.available_width(), height), Sense::click());
    let name = name.into();
    response.widget_info(|| egui::WidgetInfo::labeled(egui::Role::Canvas, true, &name));
    (place, response)
}

/// Both curves; resting on a point lights its step, a click leaves it out or takes it back.
pub fn curves_ui(
    ui: &mut Ui,
    height: f32,
    scene: &Scene<'_>,
    pair: &PairResult,
    slide: Slide,
    asks: &mut Vec<Request>,
) {
    let name = format!(
        "Characteristic curves of {} and {}",
        scene.name(pair.reference),
        scene.name(pair.coupon)
    );
    let (place, response) = place_for(ui, height, name);
    let chart = paint_curves(&ui.painter_at(place), place, scene, pair, slide);
    touch_ui(response, &chart, scene, &sides(pair, slide), asks);
}

/// The point under the pointer lights its step; a click leaves it out or takes it back.
pub(super) fn touch_ui(
    response: Response,
    chart: &Chart,
    scene: &Scene<'_>,
    both: &[Side<'_>],
    asks: &mut Vec<Request>,
) {
    let Some(pointer) = response.hover_pos() else {
        return;
    };
    let near = both
        .iter()
        .flat_map(|side| {
            let strip = side.strip;
            points(side)
                .map(|(x, point)| {
                    (
                        chart.at(x, point.density),
                        strip,
                        point.step,
                        point.excluded,
                    )
                })
                .collect::<Vec<_>>()
        })
        .filter(|(at, ..)| at.distance(pointer) <= REACH)
        .min_by(|a, b| a.0.distance(pointer).total_cmp(&b.0.distance(pointer)));
    let Some((_, strip, step, excluded)) = near else {
        response.on_hover_text("Density over the logarithm of the exposure. Bars are 95 % of each step, bands 95 % of each curve. The speed point lies 0.60 above the lightest tone, the exposure range from 0.04 above it to 90 % of full density (ISO 6846).");
        return;
    };
    asks.push(Request::Spot((strip, step.map_or(0, |step| step + 1))));
    if let Some(step) = step {
        let what = if excluded {
            "Click to take it back"
        } else {
            "Click to leave it out"
        };
        let words = format!("{}, step {}\n{what}", scene.name(strip), step + 1);
        let clicked = response.clicked();
        response.on_hover_text_at_pointer(words);
        if clicked {
            let edit = if excluded {
                Edit::IncludeStep { strip, step }
            } else {
                Edit::ExcludeStep { strip, step }
            };
            asks.push(Request::edit(edit));
        }
    }
}
