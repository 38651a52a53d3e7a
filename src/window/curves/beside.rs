//! A small plot of the curves beside the scan: a step lights its point, and a point its step.

use egui::Ui;

use super::chart::{Chart, Titles};
use super::plots::{Slide, paint_side, place_for, points, range, sides, touch_ui};
use crate::measure::analysis::PairResult;
use crate::window::request::{Request, Scene};

/// The plot.
pub fn ui(ui: &mut Ui, height: f32, scene: &Scene<'_>, pair: &PairResult, asks: &mut Vec<Request>) {
    let name = format!(
        "Curves of {} and {} beside the scan",
        scene.name(pair.reference),
        scene.name(pair.coupon)
    );
    let (place, response) = place_for(ui, height, name);
    let both = sides(pair, Slide { stops: 0.0 });
    let xs = both
        .iter()
        .flat_map(|side| points(side).map(|(x, _)| x).collect::<Vec<_>>());
    let ys = both
        .iter()
        .flat_map(|side| side.curve.points.iter().map(|point| point.density));
    let (x, y) = (
        range(xs).unwrap_or((0.0, 1.0)),
        range(ys).unwrap_or((0.0, 2.0)),
    );
    let chart = Chart::small(place, x, (0.0, y.1));
    let painter = ui.painter_at(place);
    let titles = Titles {
        title: "",
        x: "",
        y: "",
    };
    chart.frame(&painter, &titles, scene.theme);
    for side in &both {
        paint_side(&painter, &chart, scene, side);
    }
    touch_ui(response, &chart, scene, &both, asks);
}
