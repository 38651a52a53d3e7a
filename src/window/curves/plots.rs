//! The plots of a pair: both curves, ratio by tone, residuals, the budget.

use egui::{Align2, Painter, Pos2, Rect, Response, Sense, Stroke, StrokeKind, Ui, Vec2};

use super::chart::{Chart, Mark, Titles};
use crate::document::Edit;
use crate::document::report::headline::source;
use crate::document::report::words::{self, SPEED};
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
const REACH: f32 = 12.0;

/// How far the coated strip's curve is slid.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Slide {
    /// In stops, towards the paper's.
    pub stops: f64,
}

/// One strip of a pair, as it is drawn.
struct Side<'a> {
    strip: usize,
    role: Role,
    curve: &'a CurveAnswer,
    /// Taken off every log exposure, decades.
    shift: f64,
}

fn sides(pair: &PairResult, slide: Slide) -> [Side<'_>; 2] {
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
fn points<'a>(side: &'a Side<'_>) -> impl Iterator<Item = (f64, &'a MeasuredPoint)> {
    side.curve.points.iter().filter_map(|point| {
        let x = point.log_exposure.filter(|x| x.is_finite())?;
        Some((x - side.shift, point))
    })
}

fn range(values: impl Iterator<Item = f64>) -> Option<(f64, f64)> {
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

fn paint_side(painter: &Painter, chart: &Chart, scene: &Scene<'_>, side: &Side<'_>) {
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

/// Which mark is which strip.
fn key(painter: &Painter, chart: &Chart, scene: &Scene<'_>, pair: &PairResult) {
    let lines = [
        (pair.reference, Role::Reference),
        (pair.coupon, Role::Coupon),
    ];
    for (row, (strip, role)) in lines.into_iter().enumerate() {
        let colour = scene.theme.role(Some(role));
        let at = chart.area.left_top() + Vec2::new(16.0, 16.0 + 18.0 * row as f32);
        if role == Role::Coupon {
            painter.rect_filled(Rect::from_center_size(at, Vec2::splat(8.0)), 0.0, colour);
        } else {
            painter.circle_filled(at, 4.5, colour);
        }
        painter.text(
            at + Vec2::new(12.0, 0.0),
            Align2::LEFT_CENTER,
            scene.name(strip),
            small(),
            scene.theme.text,
        );
    }
    let at = chart.area.left_top() + Vec2::new(16.0, 16.0 + 36.0);
    let rhomb =
        [(0.0, -5.0), (5.0, 0.0), (0.0, 5.0), (-5.0, 0.0)].map(|(x, y)| at + Vec2::new(x, y));
    painter.add(egui::Shape::convex_polygon(
        rhomb.to_vec(),
        scene.theme.panel,
        Stroke::new(1.5, scene.theme.text),
    ));
    painter.text(
        at + Vec2::new(12.0, 0.0),
        Align2::LEFT_CENTER,
        "speed point; bars below: exposure range",
        small(),
        scene.theme.text,
    );
}

fn place_for(ui: &mut Ui, height: f32, name: impl Into<String>) -> (Rect, Response) {
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
    let Some(pointer) = response.hover_pos() else {
        return;
    };
    let near = sides(pair, slide)
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

/// Ratio by tone with its band.
pub fn by_tone_ui(ui: &mut Ui, height: f32, scene: &Scene<'_>, pair: &PairResult) {
    let (place, response) = place_for(ui, height, "Ratio by tone");
    let painter = ui.painter_at(place);
    let theme = scene.theme;
    let tones = &pair.answer.by_tone;
    let band: Vec<(f64, f64, f64)> = tones
        .iter()
        .filter_map(|tone| {
            let (low, high) = tone.stops.bounds()?;
            Some((tone.net_density, low, high))
        })
        .collect();
    let ends = band.iter().flat_map(|(_, low, high)| [*low, *high]);
    let x = range(band.iter().map(|(x, ..)| *x)).unwrap_or((0.0, 1.0));
    let chart = Chart::within(place, (0.0, x.1), range(ends).unwrap_or((0.0, 1.0)));
    let titles = Titles {
        title: "Ratio by tone",
        x: "net density: highlights to shadows",
        y: "stops slower",
    };
    chart.frame(&painter, &titles, theme);
    chart.band(&painter, &band, theme.coupon.gamma_multiply(0.2));
    let line: Vec<(f64, f64)> = tones
        .iter()
        .filter_map(|tone| Some((tone.net_density, tone.stops.value?)))
        .collect();
    chart.line(&painter, &line, Stroke::new(2.0, theme.coupon), true);
    if let Some(stops) = pair.answer.stops.value {
        let level = [(chart.x.0, stops), (chart.x.1, stops)];
        chart.line(&painter, &level, Stroke::new(1.0, theme.text), false);
    }
    if line.is_empty() {
        painter.text(
            chart.area.center(),
            Align2::CENTER_CENTER,
            "no tone that both strips bracket",
            small(),
            theme.weak,
        );
    }
    response.on_hover_text("How many stops more each tone needs. A slope means that no single factor suits highlights and shadows alike.");
}

/// Measured less fitted.
pub fn residuals_ui(
    ui: &mut Ui,
    height: f32,
    scene: &Scene<'_>,
    pair: &PairResult,
    asks: &mut Vec<Request>,
) {
    let (place, response) = place_for(ui, height, "Residuals");
    let painter = ui.painter_at(place);
    let theme = scene.theme;
    let both = sides(
        pair,
        Slide {
            stops: pair.answer.stops.value.unwrap_or(0.0),
        },
    );
    let rest = |side: &Side<'_>| -> Vec<(f64, f64, f64, usize, bool)> {
        points(side)
            .filter_map(|(x, point)| {
                Some((
                    x,
                    point.residual?,
                    point.standard_error,
                    point.step.map_or(0, |step| step + 1),
                    point.excluded,
                ))
            })
            .collect()
    };
    let all: Vec<_> = both.iter().map(|side| (side, rest(side))).collect();
    let flat = || all.iter().flat_map(|(_, rest)| rest);
    let reach = flat()
        .map(|(_, y, error, ..)| y.abs() + 1.96 * error)
        .fold(0.01, f64::max);
    let x = range(flat().map(|(x, ..)| *x)).unwrap_or((0.0, 1.0));
    let chart = Chart::within(place, x, (-reach, reach));
    let titles = Titles {
        title: "Residuals",
        x: "log exposure, coated strip slid onto paper",
        y: "density, measured less fitted",
    };
    chart.frame(&painter, &titles, theme);
    chart.line(
        &painter,
        &[(chart.x.0, 0.0), (chart.x.1, 0.0)],
        Stroke::new(1.0, theme.text),
        false,
    );
    for (side, rest) in &all {
        for &(x, y, error, number, excluded) in rest {
            let spot = (side.strip, number);
            let mark = Mark {
                colour: theme.role(Some(side.role)),
                ground: theme.panel,
                square: side.role == Role::Coupon,
                hollow: excluded,
                lit: scene.spot == Some(spot),
            };
            chart.point(&painter, (x, y, error), mark);
            let near = response
                .hover_pos()
                .is_some_and(|pointer| chart.at(x, y).distance(pointer) <= REACH);
            if near {
                asks.push(Request::Spot(spot));
            }
        }
    }
    response.on_hover_text("What is left of each step when the curve is taken off; bars are 95 %.");
}

/// Where the doubt comes from, as bars.
pub fn budget_ui(ui: &mut Ui, height: f32, scene: &Scene<'_>, pair: &PairResult) {
    let parts = &pair.answer.budget;
    let said: Vec<String> = parts
        .iter()
        .map(|part| format!("{} {:.0} %", source(part.source), 100.0 * part.share))
        .collect();
    let (place, response) = place_for(
        ui,
        height,
        format!("Where the doubt comes from: {}", said.join(", ")),
    );
    let painter = ui.painter_at(place);
    let theme = scene.theme;
    let left = place.left() + 6.0;
    let title = egui::FontId::new(13.0, crate::window::theme::bold());
    painter.text(
        Pos2::new(left, place.top() + 4.0),
        Align2::LEFT_TOP,
        "Where the doubt comes from",
        title,
        theme.text,
    );
    let row = ((place.height() - 32.0) / parts.len().max(1) as f32).min(36.0);
    for (index, part) in parts.iter().enumerate() {
        let top = place.top() + 28.0 + row * index as f32;
        let words = format!(
            "{} · {:.0} % · {} stops",
            source(part.source),
            100.0 * part.share,
            words::plain(part.stops, 3)
        );
        painter.text(
            Pos2::new(left, top),
            Align2::LEFT_TOP,
            words,
            small(),
            theme.text,
        );
        let whole = Rect::from_min_size(
            Pos2::new(left, top + 15.0),
            Vec2::new(place.width() - 18.0, (row - 20.0).clamp(3.0, 10.0)),
        );
        painter.rect_stroke(whole, 0.0, Stroke::new(1.0, theme.line), StrokeKind::Inside);
        let bar = Rect::from_min_size(
            whole.min,
            Vec2::new(whole.width() * part.share as f32, whole.height()),
        );
        painter.rect_filled(bar, 0.0, theme.accent);
    }
    if parts.is_empty() {
        painter.text(
            place.center(),
            Align2::CENTER_CENTER,
            "no ratio, hence no budget",
            small(),
            theme.weak,
        );
    }
    let mut words = String::from("Each source's share of the ratio's uncertainty.");
    if let (Some(exact), Some(all)) = (
        pair.answer.stops_exact_aperture.half_width(),
        pair.answer.stops.half_width(),
    ) && all > 1.02 * exact
    {
        words.push_str(&format!(" With exact apertures the bounds would lie {exact:.2} stops from the value instead of {all:.2}."));
    }
    if let Some(stops) = pair.answer.stops.value {
        words.push_str(&format!(" The value is {}.", SPEED.said(stops)));
    }
    response.on_hover_text(words);
}
