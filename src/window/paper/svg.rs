//! Shapes as SVG 1.1.

use std::fmt::Write as _;

use crate::document::plain::spelled;
use egui::epaint::{ClippedShape, Shape, TextShape};
use egui::{Color32, Stroke, Vec2};

/// The drawing.
pub fn text(size: Vec2, shapes: &[ClippedShape]) -> String {
    let mut text = format!(
        "<svg xmlns=\"http://www.w3.org/2000/svg\" viewBox=\"0 0 {x} {y}\" width=\"{x}\" height=\"{y}\" font-family=\"B612, sans-serif\">\n",
        x = size.x,
        y = size.y
    );
    for (
        index,
        ClippedShape {
            clip_rect, shape, ..
        },
    ) in shapes.iter().enumerate()
    {
        if matches!(shape, Shape::Noop) {
            continue;
        }
        let (at, wide) = (clip_rect.min, clip_rect.size());
        if wide.x.is_finite() && wide.y.is_finite() {
            writeln!(
                text,
                "<clipPath id=\"c{index}\"><rect x=\"{}\" y=\"{}\" width=\"{}\" height=\"{}\"/></clipPath>\n<g clip-path=\"url(#c{index})\">",
                at.x, at.y, wide.x.max(0.0), wide.y.max(0.0)
            )
            .ok();
        } else {
            text.push_str("<g>\n");
        }
        add(&mut text, shape);
        text.push_str("</g>\n");
    }
    text.push_str("</svg>\n");
    text
}

fn add(text: &mut String, shape: &Shape) {
    match shape {
        Shape::Vec(shapes) => shapes.iter().for_each(|shape| add(text, shape)),
        Shape::LineSegment {
            points: [a, b],
            stroke,
        } => {
            writeln!(
                text,
                "<path d=\"M{} {}L{} {}\" {}/>",
                a.x,
                a.y,
                b.x,
                b.y,
                pen(*stroke)
            )
            .ok();
        }
        Shape::Path(path) => {
            let points: Vec<String> = path
                .points
                .iter()
                .map(|p| format!("{} {}", p.x, p.y))
                .collect();
            let close = if path.closed { "Z" } else { "" };
            let stroke = match &path.stroke.color {
                egui::epaint::ColorMode::Solid(colour) => Stroke::new(path.stroke.width, *colour),
                egui::epaint::ColorMode::UV(_) => Stroke::NONE,
            };
            writeln!(
                text,
                "<path d=\"M{}{close}\" {} {}/>",
                points.join("L"),
                fill(path.fill),
                stroke_only(stroke)
            )
            .ok();
        }
        Shape::Circle(circle) => {
            writeln!(
                text,
                "<circle cx=\"{}\" cy=\"{}\" r=\"{}\" {} {}/>",
                circle.center.x,
                circle.center.y,
                circle.radius,
                fill(circle.fill),
                stroke_only(circle.stroke)
            )
            .ok();
        }
        Shape::Rect(rect) => {
            let (at, size) = (rect.rect.min, rect.rect.size());
            writeln!(
                text,
                "<rect x=\"{}\" y=\"{}\" width=\"{}\" height=\"{}\" {} {}/>",
                at.x,
                at.y,
                size.x.max(0.0),
                size.y.max(0.0),
                fill(rect.fill),
                stroke_only(rect.stroke)
            )
            .ok();
        }
        Shape::Text(words) => add_words(text, words),
        // Nothing that is exported paints anything else.
        _ => {}
    }
}

fn add_words(text: &mut String, words: &TextShape) {
    let Some(format) = words
        .galley
        .job
        .sections
        .first()
        .map(|section| &section.format)
    else {
        return;
    };
    let colour = if format.color == Color32::PLACEHOLDER {
        words.fallback_color
    } else {
        format.color
    };
    let weight = if format.font_id.family == crate::window::theme::bold() {
        " font-weight=\"bold\""
    } else {
        ""
    };
    for row in &words.galley.rows {
        let ascent = row.row.glyphs.first().map_or(0.0, |glyph| glyph.pos.y);
        writeln!(
            text,
            "<text x=\"{}\" y=\"{}\" font-size=\"{}\"{weight} {}>{}</text>",
            words.pos.x + row.pos.x,
            words.pos.y + row.pos.y + ascent,
            format.font_id.size,
            fill(colour),
            escaped(&row.row.text())
        )
        .ok();
    }
}

fn escaped(words: &str) -> String {
    spelled(words)
        .replace('&', "&amp;")
        .replace('<', "&lt;")
        .replace('>', "&gt;")
}

/// A colour as SVG has it, and how much it covers.
fn colour(colour: Color32) -> (String, f32) {
    let [r, g, b, a] = colour.to_srgba_unmultiplied();
    (format!("#{r:02x}{g:02x}{b:02x}"), f32::from(a) / 255.0)
}

fn fill(with: Color32) -> String {
    if with.a() == 0 {
        return "fill=\"none\"".into();
    }
    let (code, cover) = colour(with);
    if cover < 1.0 {
        format!("fill=\"{code}\" fill-opacity=\"{cover:.3}\"")
    } else {
        format!("fill=\"{code}\"")
    }
}

fn stroke_only(stroke: Stroke) -> String {
    if stroke.width <= 0.0 || stroke.color.a() == 0 {
        return String::new();
    }
    let (code, cover) = colour(stroke.color);
    format!(
        "stroke=\"{code}\" stroke-width=\"{}\" stroke-opacity=\"{cover:.3}\"",
        stroke.width
    )
}

fn pen(stroke: Stroke) -> String {
    format!("fill=\"none\" {}", stroke_only(stroke))
}
