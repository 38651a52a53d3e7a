//! The smaller plots beside the curves: ratio by tone, residuals, the budget.

use egui::{Align2, Pos2, Rect, Stroke, StrokeKind, Ui, Vec2};

use super::chart::{Chart, Mark, Titles};
use super::plots::{REACH, Side, Slide, place_for, points, range, sides};
use crate::document::report::headline::source;
use crate::document::report::words::{self, SPEED};
use crate::measure::analysis::PairResult;
use crate::measure::strip::Role;
use crate::window::request::{Request, Scene};
use crate::window::theme::small;

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
