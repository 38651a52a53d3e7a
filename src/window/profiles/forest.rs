//! The pooled picture: a row a session, one for all together, one for the next session.

use egui::{Align2, Painter, Pos2, Rect, Shape, Stroke, Ui, Vec2};

use crate::document::profile::{PooledQuantity, Profile, Quantity};
use crate::document::report::profile::row_label;
use crate::document::report::words::plain;
use crate::measure::estimate::Estimate;
use crate::window::curves::chart::ticks;
use crate::window::theme::{Theme, bold, small};

/// Height of a row, points.
const ROW: f32 = 26.0;
/// Room below for numbers and title.
const FOOT: f32 = 40.0;
/// Room for what a row says in figures.
const FIGURES: f32 = 148.0;

/// What a row stands for.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
enum Kind {
    Session { outlying: bool },
    Together,
    Next,
}

/// One row.
#[derive(Debug, Clone)]
struct Row {
    label: String,
    estimate: Estimate,
    kind: Kind,
}

fn rows(profile: &Profile, one: &PooledQuantity) -> Vec<Row> {
    let outlying: Vec<usize> = one
        .pooled
        .iter()
        .flat_map(|pooled| pooled.outlying.iter().map(|odd| odd.session))
        .collect();
    let mut rows: Vec<Row> = one
        .rows
        .iter()
        .enumerate()
        .map(|(place, row)| Row {
            label: row_label(profile, row.session),
            estimate: row.estimate,
            kind: Kind::Session {
                outlying: outlying.contains(&place),
            },
        })
        .collect();
    if let Ok(pooled) = &one.pooled {
        rows.push(Row {
            label: "Together".into(),
            estimate: pooled.mean,
            kind: Kind::Together,
        });
        rows.push(Row {
            label: "The next session".into(),
            estimate: pooled.next.estimate(),
            kind: Kind::Next,
        });
    }
    rows
}

fn figures(quantity: Quantity, estimate: &Estimate) -> String {
    let decimals = match quantity {
        Quantity::Contrast => 0,
        _ => 2,
    };
    let said = |value: f64| plain(value, decimals);
    match (estimate.value, estimate.bounds()) {
        (Some(value), Some((lower, upper))) => {
            format!("{} ({} to {})", said(value), said(lower), said(upper))
        }
        (Some(value), None) => said(value),
        (None, _) => "none".into(),
    }
}

/// The picture in words, for whoever can't see it.
fn in_words(profile: &Profile, one: &PooledQuantity) -> String {
    let said: Vec<String> = rows(profile, one)
        .iter()
        .map(|row| {
            let odd = row.kind == Kind::Session { outlying: true };
            let odd = if odd { ", stands out" } else { "" };
            format!(
                "{}: {}{odd}",
                row.label,
                figures(one.quantity, &row.estimate)
            )
        })
        .collect();
    format!("Sessions of {}: {}", one.quantity.label(), said.join("; "))
}

/// Draws it into the free width.
pub fn ui(ui: &mut Ui, theme: &Theme, profile: &Profile, one: &PooledQuantity) {
    let rows = rows(profile, one);
    if rows.is_empty() {
        return;
    }
    let size = Vec2::new(ui.available_width(), ROW * rows.len() as f32 + FOOT + 8.0);
    let (place, response) = ui.allocate_exact_size(size, egui::Sense::hover());
    let words = in_words(profile, one);
    response.widget_info(|| egui::WidgetInfo::labeled(egui::Role::Canvas, true, &words));
    paint(&ui.painter_at(place), place, theme, one.quantity, &rows);
    response.on_hover_text(
        "Bars are 95 %. The diamond is what all sessions say together; the open bar holds the next \
         session 19 times out of 20.",
    );
}

/// Where values lie along the picture.
struct Scale {
    left: f32,
    right: f32,
    range: (f64, f64),
}

impl Scale {
    fn over(rows: &[Row], left: f32, right: f32) -> Self {
        let ends = rows.iter().flat_map(|row| {
            let bounds = row.estimate.bounds();
            let (low, high) = bounds.unzip();
            [low, row.estimate.value, high].into_iter().flatten()
        });
        let (low, high) = ends.fold((f64::INFINITY, f64::NEG_INFINITY), |(low, high), at| {
            (low.min(at), high.max(at))
        });
        let span = (high - low).max(1e-6);
        Self {
            left,
            right,
            range: (low - 0.05 * span, high + 0.05 * span),
        }
    }

    fn at(&self, value: f64) -> f32 {
        let share = (value - self.range.0) / (self.range.1 - self.range.0);
        self.left + (self.right - self.left) * share as f32
    }
}

fn paint(painter: &Painter, place: Rect, theme: &Theme, quantity: Quantity, rows: &[Row]) {
    painter.rect_filled(place, 0.0, theme.panel);
    let names = (place.width() * 0.34).clamp(120.0, 300.0);
    let narrow = place.width() < 520.0;
    let figures_room = if narrow { 0.0 } else { FIGURES };
    let scale = Scale::over(
        rows,
        place.left() + names + 8.0,
        place.right() - figures_room - 12.0,
    );
    let bottom = place.bottom() - FOOT;
    axis(painter, place, theme, quantity, &scale);
    for (index, row) in rows.iter().enumerate() {
        let middle = place.top() + 4.0 + ROW * (index as f32 + 0.5);
        if row.kind == Kind::Together {
            let above = middle - ROW / 2.0;
            let edge = Stroke::new(1.0, theme.line);
            painter.hline(place.x_range().shrink(6.0), above, edge);
        }
        let font = match row.kind {
            Kind::Session { .. } => small(),
            Kind::Together | Kind::Next => egui::FontId::new(11.0, bold()),
        };
        let clip = Rect::from_min_max(place.min, Pos2::new(place.left() + names, bottom));
        painter
            .with_clip_rect(clip.intersect(painter.clip_rect()))
            .text(
                Pos2::new(place.left() + 8.0, middle),
                Align2::LEFT_CENTER,
                &row.label,
                font.clone(),
                theme.text,
            );
        if !narrow {
            painter.text(
                Pos2::new(place.right() - 8.0, middle),
                Align2::RIGHT_CENTER,
                figures(quantity, &row.estimate),
                font,
                theme.text,
            );
        }
        mark(painter, theme, &scale, row, middle);
    }
}

fn axis(painter: &Painter, place: Rect, theme: &Theme, quantity: Quantity, scale: &Scale) {
    let bottom = place.bottom() - FOOT;
    let faint = Stroke::new(1.0, theme.line.gamma_multiply(0.5));
    let room = f64::from((scale.right - scale.left) / 56.0).clamp(2.0, 7.0);
    let marks = ticks(scale.range, room);
    let apart = marks.windows(2).map(|two| two[1] - two[0]).next();
    let decimals = apart.map_or(1, |apart| (-apart.log10().floor()).clamp(0.0, 4.0) as usize);
    for at in marks {
        let x = scale.at(at);
        painter.vline(x, place.top()..=bottom, faint);
        painter.text(
            Pos2::new(x, bottom + 4.0),
            Align2::CENTER_TOP,
            plain(at, decimals),
            small(),
            theme.weak,
        );
    }
    painter.hline(
        scale.left..=scale.right,
        bottom,
        Stroke::new(1.0, theme.line),
    );
    painter.text(
        Pos2::new(scale.right, bottom + 20.0),
        Align2::RIGHT_TOP,
        quantity.label(),
        small(),
        theme.weak,
    );
}

/// A session: a bar with a square, hollow and with a ring when it stands out. Together: a
/// diamond from bound to bound. The next: an open bar with a line at its middle.
fn mark(painter: &Painter, theme: &Theme, scale: &Scale, row: &Row, y: f32) {
    let Some(value) = row.estimate.value else {
        return;
    };
    let at = Pos2::new(scale.at(value), y);
    let ends = row.estimate.bounds();
    let (low, high) = ends.map_or((at.x, at.x), |(low, high)| (scale.at(low), scale.at(high)));
    match row.kind {
        Kind::Session { outlying } => {
            let colour = if outlying {
                theme.caution
            } else {
                theme.coupon
            };
            let stroke = Stroke::new(1.5, colour);
            painter.hline(low..=high, y, stroke);
            for end in [low, high] {
                painter.vline(end, y - 3.0..=y + 3.0, stroke);
            }
            let square = Rect::from_center_size(at, Vec2::splat(8.0));
            let fill = if outlying { theme.panel } else { colour };
            painter.rect(square, 0.0, fill, stroke, egui::StrokeKind::Middle);
            if outlying {
                painter.circle_stroke(at, 9.0, stroke);
            }
        }
        Kind::Together => {
            let points = vec![
                Pos2::new(low, y),
                Pos2::new(at.x, y - 8.0),
                Pos2::new(high, y),
                Pos2::new(at.x, y + 8.0),
            ];
            let edge = Stroke::new(1.5, theme.accent);
            painter.add(Shape::convex_polygon(points, theme.accent, edge));
        }
        Kind::Next => {
            let bar = Rect::from_min_max(Pos2::new(low, y - 5.0), Pos2::new(high, y + 5.0));
            let edge = Stroke::new(1.5, theme.accent);
            painter.rect_stroke(bar, 0.0, edge, egui::StrokeKind::Middle);
            painter.vline(at.x, y - 5.0..=y + 5.0, edge);
        }
    }
}
