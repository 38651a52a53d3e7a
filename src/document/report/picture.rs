//! The curve of a calibration as a drawing (SVG 1.1), for the command line.

use std::fmt::Write as _;

use crate::document::plain::spelled_line;
use crate::measure::raster::Channel;
use crate::measure::scale::calibration::{Calibration, CalibrationFit, CalibrationGap};
use crate::measure::scale::{DensityScale as _, standard_error};

/// Size of the drawing, and the two frames in it: left, top, width, height.
const SIZE: (f64, f64) = (640.0, 640.0);
const CURVE: [f64; 4] = [60.0, 60.0, 550.0, 330.0];
const ERRORS: [f64; 4] = [60.0, 440.0, 550.0, 150.0];
/// Places of the curve that are joined.
const PLACES: u32 = 120;

/// Draws density against the scanner's reading, and below it the errors: each field as foretold
/// from the others, and twice the standard error of a density on another scan.
///
/// # Errors
/// [`CalibrationGap`] when the luminance (or first) channel has no curve.
pub fn calibration_picture(calibration: &Calibration) -> Result<String, CalibrationGap> {
    let channel = calibration
        .channels
        .first()
        .map_or(Channel::Luminance, |seen| seen.channel);
    let fit = calibration.fit(channel)?;
    let (low, high) = spread(fit.fields.iter().map(|field| field.scanner));
    let densities = spread(fit.fields.iter().map(|field| field.listed));
    let most = most_error(&fit, (low, high));
    let curve = Frame::new(CURVE, (low, high), densities);
    let errors = Frame::new(ERRORS, (low, high), (-most, most));
    let (wide, tall) = SIZE;
    let mut text = format!(
        "<svg xmlns=\"http://www.w3.org/2000/svg\" viewBox=\"0 0 {wide} {tall}\" width=\"{wide}\" \
         height=\"{tall}\" font-family=\"sans-serif\" font-size=\"13\">\n\
         <rect width=\"{wide}\" height=\"{tall}\" fill=\"#ffffff\"/>\n"
    );
    let title = format!("{}, made {}", calibration.scanner, calibration.made);
    label(&mut text, (60.0, 26.0), "start", &title);
    label(
        &mut text,
        (60.0, 46.0),
        "start",
        &format!(
            "good from {:.2} to {:.2} D; each field foretold from the others to {:.4} D",
            fit.usable.0, fit.usable.1, fit.leave_one_out
        ),
    );
    curve.draw(&mut text, "density by the list", None);
    errors.draw(
        &mut text,
        "error, D",
        Some("scanner's reading, -log10 of light"),
    );
    draw_curve(&mut text, &fit, &curve, (low, high));
    draw_errors(&mut text, &fit, &errors, (low, high));
    text.push_str("</svg>\n");
    Ok(text)
}

/// The range of numbers with a twentieth to spare at both ends.
fn spread(numbers: impl Iterator<Item = f64>) -> (f64, f64) {
    let (low, high) = numbers.fold((f64::INFINITY, f64::NEG_INFINITY), |(low, high), n| {
        (low.min(n), high.max(n))
    });
    let spare = 0.05 * (high - low).max(0.01);
    (low - spare, high + spare)
}

fn places((low, high): (f64, f64)) -> impl Iterator<Item = f64> {
    (0..=PLACES).map(move |i| low + (high - low) * f64::from(i) / f64::from(PLACES))
}

/// The largest error that is drawn.
fn most_error(fit: &CalibrationFit, range: (f64, f64)) -> f64 {
    let band = places(range).map(|s| 2.0 * standard_error(&fit.scale, s));
    let fields = fit.fields.iter().filter_map(|field| field.left_out);
    1.1 * band.chain(fields.map(f64::abs)).fold(0.01, f64::max)
}

/// A frame of the drawing, and what its sides stand for.
struct Frame {
    at: [f64; 4],
    across: (f64, f64),
    up: (f64, f64),
}

impl Frame {
    fn new(at: [f64; 4], across: (f64, f64), up: (f64, f64)) -> Self {
        Self { at, across, up }
    }

    fn x(&self, value: f64) -> f64 {
        self.at[0] + self.at[2] * (value - self.across.0) / (self.across.1 - self.across.0)
    }

    fn y(&self, value: f64) -> f64 {
        self.at[1] + self.at[3] * (self.up.1 - value) / (self.up.1 - self.up.0)
    }

    fn draw(&self, text: &mut String, up: &str, across: Option<&str>) {
        let [left, top, wide, tall] = self.at;
        writeln!(
            text,
            "<rect x=\"{left}\" y=\"{top}\" width=\"{wide}\" height=\"{tall}\" fill=\"none\" \
             stroke=\"#777777\"/>"
        )
        .ok();
        for value in ticks(self.up) {
            let y = self.y(value);
            line(text, (left, y), (left + wide, y), "#dddddd");
            label(text, (left - 6.0, y + 4.0), "end", &tidy(value));
        }
        for value in ticks(self.across) {
            let x = self.x(value);
            line(text, (x, top), (x, top + tall), "#dddddd");
            label(text, (x, top + tall + 17.0), "middle", &tidy(value));
        }
        label(text, (left + 8.0, top + 18.0), "start", up);
        if let Some(across) = across {
            label(text, (left + wide, top + tall + 36.0), "end", across);
        }
    }
}

/// Round numbers within a range, five or so.
fn ticks((low, high): (f64, f64)) -> Vec<f64> {
    let rough = (high - low) / 5.0;
    let power = 10f64.powf(rough.log10().floor());
    let step = [1.0, 2.0, 5.0, 10.0]
        .into_iter()
        .map(|factor| factor * power)
        .find(|step| *step >= rough)
        .unwrap_or(10.0 * power);
    let first = (low / step).ceil() as i64;
    let last = (high / step).floor() as i64;
    (first..=last).map(|n| n as f64 * step).collect()
}

fn tidy(value: f64) -> String {
    let text = format!("{value:.3}");
    let text = text.trim_end_matches('0').trim_end_matches('.');
    if text == "-0" { "0" } else { text }.to_owned()
}

fn line(text: &mut String, from: (f64, f64), to: (f64, f64), colour: &str) {
    writeln!(
        text,
        "<line x1=\"{:.1}\" y1=\"{:.1}\" x2=\"{:.1}\" y2=\"{:.1}\" stroke=\"{colour}\"/>",
        from.0, from.1, to.0, to.1
    )
    .ok();
}

fn label(text: &mut String, at: (f64, f64), anchor: &str, words: &str) {
    let words: String = spelled_line(words)
        .chars()
        .map(|letter| match letter {
            '&' => "&amp;".to_owned(),
            '<' => "&lt;".to_owned(),
            '>' => "&gt;".to_owned(),
            other => other.to_string(),
        })
        .collect();
    writeln!(
        text,
        "<text x=\"{:.1}\" y=\"{:.1}\" text-anchor=\"{anchor}\" fill=\"#222222\">{words}</text>",
        at.0, at.1
    )
    .ok();
}

fn path(text: &mut String, points: &[(f64, f64)], style: &str) {
    let joined: Vec<String> = points
        .iter()
        .map(|(x, y)| format!("{x:.1} {y:.1}"))
        .collect();
    writeln!(text, "<path d=\"M{}\" {style}/>", joined.join("L")).ok();
}

fn draw_curve(text: &mut String, fit: &CalibrationFit, frame: &Frame, range: (f64, f64)) {
    let points: Vec<(f64, f64)> = places(range)
        .map(|s| (s, fit.scale.density(s)))
        .filter(|(_, density)| (frame.up.0..=frame.up.1).contains(density))
        .map(|(s, density)| (frame.x(s), frame.y(density)))
        .collect();
    path(
        text,
        &points,
        "fill=\"none\" stroke=\"#1f4e79\" stroke-width=\"2\"",
    );
    for field in &fit.fields {
        let at = (frame.x(field.scanner), frame.y(field.listed));
        mark(text, at, field.left_out.is_some());
    }
    // Beyond these lines the scanner doesn't tell fields apart.
    for (stops, density) in [(fit.stops.1, fit.usable.0), (fit.stops.0, fit.usable.1)] {
        if stops {
            let y = frame.y(density);
            line(
                text,
                (frame.at[0], y),
                (frame.at[0] + frame.at[2], y),
                "#9c2f2f",
            );
            label(
                text,
                (frame.at[0] + frame.at[2] - 6.0, y - 5.0),
                "end",
                "tones are told apart up to here",
            );
        }
    }
}

/// A ring for a field that the curve uses, a cross for one that it doesn't.
fn mark(text: &mut String, (x, y): (f64, f64), used: bool) {
    if used {
        writeln!(
            text,
            "<circle cx=\"{x:.1}\" cy=\"{y:.1}\" r=\"4\" fill=\"#ffffff\" stroke=\"#222222\"/>"
        )
        .ok();
    } else {
        line(text, (x - 4.0, y - 4.0), (x + 4.0, y + 4.0), "#222222");
        line(text, (x - 4.0, y + 4.0), (x + 4.0, y - 4.0), "#222222");
    }
}

fn draw_errors(text: &mut String, fit: &CalibrationFit, frame: &Frame, range: (f64, f64)) {
    let bound = |sign: f64| -> Vec<(f64, f64)> {
        places(range)
            .map(|s| {
                (
                    frame.x(s),
                    frame.y(sign * 2.0 * standard_error(&fit.scale, s)),
                )
            })
            .collect()
    };
    let mut band = bound(1.0);
    band.extend(bound(-1.0).into_iter().rev());
    path(
        text,
        &band,
        "fill=\"#1f4e79\" fill-opacity=\"0.15\" stroke=\"none\"",
    );
    let zero = frame.y(0.0);
    line(
        text,
        (frame.at[0], zero),
        (frame.at[0] + frame.at[2], zero),
        "#777777",
    );
    for field in &fit.fields {
        if let Some(error) = field.left_out {
            mark(text, (frame.x(field.scanner), frame.y(error)), true);
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn ticks_are_round_numbers_within_the_range() {
        assert_eq!(ticks((0.03, 2.1)), vec![0.5, 1.0, 1.5, 2.0]);
        assert_eq!(ticks((-0.021, 0.021)).len(), 5);
    }

    #[test]
    fn words_of_the_person_cannot_break_the_drawing() {
        let mut text = String::new();
        label(&mut text, (0.0, 0.0), "start", "a <b> & \u{0}c");
        assert!(text.contains("a &lt;b&gt; &amp; \\u{0}c"), "{text}");
    }
}
