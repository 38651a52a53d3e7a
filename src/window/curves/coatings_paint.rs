//! The two plots of the coatings: their curves on one another, and a quantity by thickness.

use egui::{Align2, Stroke, Ui, Vec2};

use super::chart::{Chart, Mark, Titles};
use super::plots::{place_for, range};
use crate::document::comparing::Comparison;
use crate::document::report::compared::label;
use crate::measure::coatings::{Amount, Coating, Measured, Thickness};
use crate::measure::estimate::Estimate;
use crate::window::request::Scene;
use crate::window::theme::small;

/// The curves of all coatings, each with its number at its end; every second is dashed.
pub(super) fn curves_ui(ui: &mut Ui, height: f32, scene: &Scene<'_>, coatings: &[Coating]) {
    let names: Vec<&str> = coatings
        .iter()
        .map(|coating| coating.name.as_str())
        .collect();
    let (place, response) = place_for(ui, height, format!("Curves of {}", names.join(", ")));
    let painter = ui.painter_at(place);
    let points = || coatings.iter().flat_map(|coating| &coating.curve);
    let x = range(points().map(|point| point.log_exposure)).unwrap_or((0.0, 1.0));
    let y = range(points().map(|point| point.density)).unwrap_or((0.0, 2.0));
    let chart = Chart::within(place, x, (0.0, y.1));
    let titles = Titles {
        title: "Coatings on one another",
        x: "log exposure, decades",
        y: "density",
    };
    chart.frame(&painter, &titles, scene.theme);
    for (number, coating) in coatings.iter().enumerate() {
        let colour = if number % 2 == 0 {
            scene.theme.coupon
        } else {
            scene.theme.reference
        };
        let band: Vec<_> = coating
            .curve
            .iter()
            .map(|point| (point.log_exposure, point.lower, point.upper))
            .collect();
        chart.band(&painter, &band, colour.gamma_multiply(0.14));
        let line: Vec<_> = coating
            .curve
            .iter()
            .map(|point| (point.log_exposure, point.density))
            .collect();
        chart.line(&painter, &line, Stroke::new(2.0, colour), number % 2 == 1);
        if let Some(&(x, y)) = line.last() {
            let at = chart.at(x, y) - Vec2::new(4.0 + 14.0 * number as f32, 2.0);
            let said = format!("{}", number + 1);
            painter.text(at, Align2::RIGHT_BOTTOM, said, small(), scene.theme.text);
        }
    }
    let key: Vec<String> = names
        .iter()
        .enumerate()
        .map(|(number, name)| format!("{} {name}", number + 1))
        .collect();
    let corner = chart.area.left_top() + Vec2::new(8.0, 6.0);
    painter.text(
        corner,
        Align2::LEFT_TOP,
        key.join("\n"),
        small(),
        scene.theme.text,
    );
    response.on_hover_text("The bands are those of each coating's curve.");
}

/// A quantity by thickness, with the line through the coatings and its band.
pub(super) fn trend_ui(
    ui: &mut Ui,
    height: f32,
    scene: &Scene<'_>,
    comparison: &Comparison,
    quantity: Measured,
) {
    let name = format!("{} by thickness", label(quantity));
    let (place, response) = place_for(ui, height, name.clone());
    let painter = ui.painter_at(place);
    let kind = comparison.compared.thickness;
    let points: Vec<(usize, f64, &Estimate)> = comparison
        .coatings
        .iter()
        .enumerate()
        .filter_map(|(number, coating)| {
            let size = size(coating, kind?)?;
            Some((number, size, value(coating, quantity)))
        })
        .collect();
    let ends = points.iter().flat_map(|(_, _, estimate)| {
        let (low, high) = estimate.bounds().unzip();
        [low, high, estimate.value].into_iter().flatten()
    });
    let tables = &comparison.compared.tables;
    let line = tables
        .iter()
        .find(|table| table.quantity == quantity)
        .and_then(|table| table.line.as_ref());
    let band = line.iter().flat_map(|line| &line.band);
    let edges = band.flat_map(|point| [point.lower, point.upper]);
    let x = range(points.iter().map(|point| point.1)).unwrap_or((0.0, 1.0));
    let y = range(ends.chain(edges)).unwrap_or((0.0, 1.0));
    let chart = Chart::within(place, x, y);
    let titles = Titles {
        title: &name,
        x: match kind {
            Some(Thickness::Millilitres) => "emulsion, ml/dm²",
            Some(Thickness::Grams) => "wet emulsion, g/dm²",
            _ => "coats",
        },
        y: match quantity {
            Measured::Speed => "stops slower",
            Measured::Dmin | Measured::Dmax => "density",
            Measured::Range => "ISO R",
        },
    };
    chart.frame(&painter, &titles, scene.theme);
    if let Some(line) = line {
        let band: Vec<_> = line
            .band
            .iter()
            .map(|point| (point.thickness, point.lower, point.upper))
            .collect();
        chart.band(&painter, &band, scene.theme.coupon.gamma_multiply(0.16));
        let middle: Vec<_> = line
            .band
            .iter()
            .map(|point| (point.thickness, point.value))
            .collect();
        chart.line(
            &painter,
            &middle,
            Stroke::new(2.0, scene.theme.coupon),
            false,
        );
    }
    for (number, size, estimate) in points {
        let (Some(value), Some(half)) = (estimate.value, estimate.half_width()) else {
            continue;
        };
        let mark = Mark {
            colour: scene.theme.coupon,
            ground: scene.theme.panel,
            square: true,
            hollow: false,
            lit: false,
        };
        chart.point(&painter, (size, value, half / 1.96), mark);
        let at = chart.at(size, value) + Vec2::new(8.0, 0.0);
        let said = format!("{}", number + 1);
        painter.text(at, Align2::LEFT_CENTER, said, small(), scene.theme.text);
    }
    if kind.is_none() {
        let middle = chart.area.center();
        let said = "coats or emulsion not said of every coating";
        painter.text(
            middle,
            Align2::CENTER_CENTER,
            said,
            small(),
            scene.theme.weak,
        );
    }
    response.on_hover_text("The band holds the whole line in 95 of 100 cases, if it is one.");
}

fn value(coating: &Coating, quantity: Measured) -> &Estimate {
    match quantity {
        Measured::Speed => &coating.speed,
        Measured::Dmin => &coating.dmin,
        Measured::Dmax => &coating.dmax,
        Measured::Range => &coating.range,
    }
}

fn size(coating: &Coating, kind: Thickness) -> Option<f64> {
    match (kind, coating.amount) {
        (Thickness::Coats, _) => coating.coats.map(f64::from),
        (Thickness::Millilitres, Some(Amount::Millilitres(amount)))
        | (Thickness::Grams, Some(Amount::Grams(amount))) => Some(amount),
        _ => None,
    }
}
