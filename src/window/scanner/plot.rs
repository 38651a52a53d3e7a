//! The curve through the wedge's fields, and below it how far off it is.

use egui::{Sense, Stroke, Ui, Vec2};

use crate::measure::raster::Channel;
use crate::measure::scale::calibration::{CalibrationFit, channel_word};
use crate::measure::scale::{DensityScale as _, standard_error};
use crate::window::curves::chart::{Chart, Mark, Titles};
use crate::window::theme::Theme;

/// Heights of the two plots, points.
const HEIGHTS: (f32, f32) = (260.0, 170.0);
/// Places along the curve.
const PLACES: u32 = 96;

/// Both plots.
pub(super) fn ui(ui: &mut Ui, theme: &Theme, channel: Channel, fit: &CalibrationFit) {
    let (low, high) = spread(fit.fields.iter().map(|field| field.scanner));
    let places: Vec<f64> = (0..=PLACES)
        .map(|place| low + (high - low) * f64::from(place) / f64::from(PLACES))
        .collect();
    let (least, most) = spread(fit.fields.iter().map(|field| field.listed));
    let words = format!(
        "Curve of {} through {} fields from {least:.2} to {most:.2} D",
        channel_word(channel),
        fit.fields.len()
    );
    let (chart, painter) = frame(
        ui,
        theme,
        HEIGHTS.0,
        (low, high),
        (least, most),
        &Words {
            name: &words,
            title: "Density by the list",
            y: "hollow: not used; dashed: where it is good to",
        },
    );
    let curve: Vec<_> = places.iter().map(|&s| (s, fit.scale.density(s))).collect();
    chart.line(&painter, &curve, Stroke::new(2.0, theme.accent), false);
    for end in [fit.usable.0, fit.usable.1] {
        let level = [(low, end), (high, end)];
        chart.line(&painter, &level, Stroke::new(1.0, theme.weak), true);
    }
    for field in &fit.fields {
        let mark = mark(theme, field.left_out.is_none());
        chart.point(&painter, (field.scanner, field.listed, 0.0), mark);
    }
    let band: Vec<_> = places
        .iter()
        .map(|&s| (s, 2.0 * standard_error(&fit.scale, s)))
        .collect();
    let off = fit.fields.iter().filter_map(|field| field.left_out);
    let reach = band
        .iter()
        .map(|(_, error)| *error)
        .chain(off.map(f64::abs));
    let reach = reach.fold(0.01, f64::max);
    let (chart, painter) = frame(
        ui,
        theme,
        HEIGHTS.1,
        (low, high),
        (-reach, reach),
        &Words {
            name: "Each field foretold from the others, less what is listed",
            title: "Foretold from the others, off by",
            y: "band: twice the standard error on another scan",
        },
    );
    let edges: Vec<_> = band.iter().map(|&(s, error)| (s, -error, error)).collect();
    chart.band(&painter, &edges, theme.accent.gamma_multiply(0.25));
    let zero = [(low, 0.0), (high, 0.0)];
    chart.line(&painter, &zero, Stroke::new(1.0, theme.weak), false);
    for field in &fit.fields {
        if let Some(off) = field.left_out {
            chart.point(&painter, (field.scanner, off, 0.0), mark(theme, false));
        }
    }
}

/// What is said around and of a plot.
struct Words<'a> {
    name: &'a str,
    title: &'a str,
    y: &'a str,
}

fn frame(
    ui: &mut Ui,
    theme: &Theme,
    height: f32,
    x: (f64, f64),
    y: (f64, f64),
    words: &Words<'_>,
) -> (Chart, egui::Painter) {
    let size = Vec2::new(ui.available_width(), height);
    let (place, response) = ui.allocate_exact_size(size, Sense::hover());
    response.widget_info(|| egui::WidgetInfo::labeled(egui::Role::Canvas, true, words.name));
    let chart = Chart::within(place, x, y);
    let painter = ui.painter_at(place);
    let titles = Titles {
        title: words.title,
        x: "reading, -log10 of light",
        y: words.y,
    };
    chart.frame(&painter, &titles, theme);
    (chart, painter)
}

fn mark(theme: &Theme, hollow: bool) -> Mark {
    Mark {
        colour: theme.wedge,
        ground: theme.panel,
        square: true,
        hollow,
        lit: false,
    }
}

fn spread(numbers: impl Iterator<Item = f64>) -> (f64, f64) {
    numbers.fold((f64::INFINITY, f64::NEG_INFINITY), |(low, high), number| {
        (low.min(number), high.max(number))
    })
}
