//! Drift: a quantity against the calendar, the bottle or remelts, with its trend and bounds.

use egui::{Stroke, Ui, Vec2};

use crate::document::profile::{PooledQuantity, Profile, ProfilePool, trend_quantity};
use crate::document::report::profile::{against_label, drift_sentences};
use crate::measure::pool::{Against, Quantity, Trend};
use crate::window::curves::chart::{Chart, Mark, Titles};
use crate::window::theme::{Theme, strong};

/// Height of the plot, points.
const HEIGHT: f32 = 260.0;
/// Places along the trend's band.
const PLACES: usize = 33;

/// Which trend is on show.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Shown {
    /// What.
    pub quantity: Quantity,
    /// With what.
    pub against: Against,
}

impl Default for Shown {
    fn default() -> Self {
        Self {
            quantity: Quantity::Stops,
            against: Against::Date,
        }
    }
}

fn quantity_word(quantity: Quantity) -> &'static str {
    match quantity {
        Quantity::Stops => "Speed",
        Quantity::Dmin => "Dmin",
        Quantity::Dmax => "Dmax",
    }
}

fn against_word(against: Against) -> &'static str {
    match against {
        Against::Date => "Calendar",
        Against::BottleAge => "Open bottle",
        Against::Remelts => "Remelts",
    }
}

/// What is said of drift, what to look at, and the plot.
pub fn ui(ui: &mut Ui, theme: &Theme, profile: &Profile, pool: &ProfilePool, shown: &mut Shown) {
    for sentence in drift_sentences(&pool.drift) {
        ui.label(sentence);
    }
    ui.horizontal_wrapped(|ui| {
        for quantity in Quantity::ALL {
            let on = shown.quantity == quantity;
            if ui.selectable_label(on, quantity_word(quantity)).clicked() {
                shown.quantity = quantity;
            }
        }
        ui.label("against");
        for against in Against::ALL {
            let on = shown.against == against;
            if ui.selectable_label(on, against_word(against)).clicked() {
                shown.against = against;
            }
        }
    });
    let Some(one) = pool.quantity(trend_quantity(shown.quantity)) else {
        return;
    };
    let points = points(profile, one, shown.against);
    if points.len() < 2 {
        ui.label(strong("Fewer than two sessions tell both."));
        return;
    }
    let trend = pool
        .drift
        .iter()
        .find(|trend| trend.quantity == shown.quantity && trend.against == shown.against);
    plot_ui(ui, theme, one, &points, trend, *shown);
}

/// A session on the plot: place, value, standard error, and its number.
type Point = (f64, f64, f64, usize);

fn points(profile: &Profile, one: &PooledQuantity, against: Against) -> Vec<Point> {
    one.rows
        .iter()
        .filter_map(|row| {
            let place = profile.place(against, row.session)?;
            let error = row.estimate.half_width()? / 1.96;
            Some((place, row.estimate.value?, error, row.session))
        })
        .collect()
}

/// The trend's line through the sessions' centre, with its band: there mean and slope
/// are independent, and the slope's error tells how much sessions scatter about the line.
fn band(points: &[Point], trend: &Trend) -> Vec<(f64, f64, f64, f64)> {
    let (Some(slope), Some(half)) = (trend.slope.value, trend.slope.half_width()) else {
        return vec![];
    };
    let unit = trend.against.unit();
    let all = points.len() as f64;
    let mean = |of: fn(&Point) -> f64| points.iter().map(of).sum::<f64>() / all;
    let (x, y) = (mean(|p| p.0), mean(|p| p.1));
    let spread = points.iter().map(|p| (p.0 - x).powi(2)).sum::<f64>() / all;
    let own = half * spread.sqrt() / unit;
    let ends = points.iter().map(|p| p.0);
    let low = ends.clone().fold(f64::INFINITY, f64::min);
    let high = ends.fold(f64::NEG_INFINITY, f64::max);
    (0..PLACES)
        .map(|k| {
            let at = low + (high - low) * k as f64 / (PLACES - 1) as f64;
            let value = y + slope * (at - x) / unit;
            let reach = own.hypot(half * (at - x) / unit);
            (at, value, value - reach, value + reach)
        })
        .collect()
}

fn plot_ui(
    ui: &mut Ui,
    theme: &Theme,
    one: &PooledQuantity,
    points: &[Point],
    trend: Option<&Trend>,
    shown: Shown,
) {
    let size = Vec2::new(ui.available_width(), HEIGHT);
    let (place, response) = ui.allocate_exact_size(size, egui::Sense::hover());
    let words = format!(
        "{} of {} sessions against {}",
        quantity_word(shown.quantity),
        points.len(),
        against_label(shown.against)
    );
    response.widget_info(|| egui::WidgetInfo::labeled(egui::Role::Canvas, true, &words));
    let band = trend.map_or_else(Vec::new, |trend| band(points, trend));
    let reach = |of: &dyn Fn(&Point) -> [f64; 2]| {
        points
            .iter()
            .flat_map(of)
            .fold((f64::INFINITY, f64::NEG_INFINITY), |(low, high), at| {
                (low.min(at), high.max(at))
            })
    };
    let x = reach(&|p| [p.0, p.0]);
    let y = reach(&|p| [p.1 - 1.96 * p.2, p.1 + 1.96 * p.2]);
    let y = band
        .iter()
        .fold(y, |(low, high), at| (low.min(at.2), high.max(at.3)));
    let chart = Chart::within(place, x, y);
    let painter = ui.painter_at(place);
    let titles = Titles {
        title: one.quantity.label(),
        x: against_label(shown.against),
        y: "bars and band are 95 %",
    };
    chart.frame(&painter, &titles, theme);
    let edges: Vec<_> = band.iter().map(|at| (at.0, at.2, at.3)).collect();
    chart.band(&painter, &edges, theme.accent.gamma_multiply(0.2));
    let line: Vec<_> = band.iter().map(|at| (at.0, at.1)).collect();
    chart.line(&painter, &line, Stroke::new(2.0, theme.accent), true);
    for &(x, y, error, session) in points {
        let trusted = trend.is_none_or(|trend| trend.trusted.contains(&session));
        let mark = Mark {
            colour: theme.coupon,
            ground: theme.panel,
            square: true,
            hollow: !trusted,
            lit: false,
        };
        chart.point(&painter, (x, y, error), mark);
    }
    response.on_hover_text(
        "A session is hollow when a change beyond chance says that it is unlike the newest.",
    );
}
