//! Drift in words.

use super::super::words::plain;
use super::pooled::size;
use crate::document::profile::trend_quantity;
use crate::measure::pool::{Against, Quantity, Shape, Trend, suspects};

/// What a trend goes with, as the title of an axis.
pub fn against_label(against: Against) -> &'static str {
    match against {
        Against::Date => "days after the first session",
        Against::BottleAge => "days since the bottle was opened",
        Against::Remelts => "times melted again",
    }
}

/// What changes, beyond what chance explains; or that nothing does.
pub fn drift_sentences(trends: &[Trend]) -> Vec<String> {
    if trends.is_empty() {
        return vec![
            "Nothing can be said yet: that takes four sessions with their day, the bottle's or the \
             number of remelts."
                .into(),
        ];
    }
    let alarms: Vec<&Trend> = trends.iter().filter(|trend| trend.alarm).collect();
    if alarms.is_empty() {
        let mut said = vec![format!(
            "No change of speed, Dmin or Dmax beyond what chance explains, in {} looks at it (5 % for \
             all together). That is no proof that nothing changes.",
            trends.len()
        )];
        said.extend(nearest(trends));
        return said;
    }
    alarms.into_iter().map(alarm).collect()
}

/// Chance up to which the trend that is nearest to an alarm is told of.
const WORTH_TELLING: f64 = 0.5;

/// The trend that is nearest to an alarm, if it is worth telling.
fn nearest(trends: &[Trend]) -> Option<String> {
    let trend = trends
        .iter()
        .min_by(|a, b| a.p_together.total_cmp(&b.p_together))
        .filter(|trend| trend.p_together < WORTH_TELLING)?;
    Some(format!(
        "Nearest to one: {} {}; chance alone does as much in {} of 100 such shelves. More sessions \
         would tell.",
        what(trend.quantity),
        changes(trend).0,
        plain(100.0 * trend.p_together, 0)
    ))
}

fn what(quantity: Quantity) -> &'static str {
    match quantity {
        Quantity::Stops => "the speed",
        Quantity::Dmin => "Dmin (fog)",
        Quantity::Dmax => "Dmax",
    }
}

/// How it changes, and whether it rises.
fn changes(trend: &Trend) -> (String, bool) {
    match trend.shape {
        Shape::Slope => slope(trend),
        Shape::Step { after, from, size } => step(trend, after, from, size.value.unwrap_or(0.0)),
    }
}

fn alarm(trend: &Trend) -> String {
    let what = match trend.quantity {
        Quantity::Stops => "The speed",
        other => what(other),
    };
    let (change, rises) = changes(trend);
    let trusted: Vec<String> = trend.trusted.iter().map(|n| (n + 1).to_string()).collect();
    let trust = match trusted.len() {
        0 => String::new(),
        1 => format!(" To go by today: session {}.", trusted[0]),
        _ => format!(" To go by today: sessions {}.", trusted.join(", ")),
    };
    format!(
        "{what} {change}, beyond what chance explains (chance {} %). Usual suspects (common practice, \
         no source; the product's safety sheet comes first): {}.{trust}",
        plain(100.0 * trend.p_together, 1),
        suspects(trend.quantity, rises).join("; ")
    )
}

fn unit(against: Against) -> &'static str {
    match against {
        Against::Date => "in 30 days",
        Against::BottleAge => "in 30 days of the open bottle",
        Against::Remelts => "with each remelt",
    }
}

fn change(quantity: Quantity, by: f64) -> String {
    let by_size = size(trend_quantity(quantity), by.abs());
    match (quantity, by > 0.0) {
        (Quantity::Stops, true) => format!("gets {by_size} slower"),
        (Quantity::Stops, false) => format!("gets {by_size} faster"),
        (_, true) => format!("rises by {by_size}"),
        (_, false) => format!("falls by {by_size}"),
    }
}

fn slope(trend: &Trend) -> (String, bool) {
    let by = trend.slope.value.unwrap_or(0.0);
    let span = trend.slope.bounds().map(|(lower, upper)| {
        let (near, far) = (lower.abs().min(upper.abs()), lower.abs().max(upper.abs()));
        let quantity = trend_quantity(trend.quantity);
        match lower.signum() == upper.signum() {
            true => format!(" (by {} to {})", size(quantity, near), size(quantity, far)),
            false => String::new(),
        }
    });
    let said = format!(
        "{} {}{}",
        change(trend.quantity, by),
        unit(trend.against),
        span.unwrap_or_default()
    );
    (said, by > 0.0)
}

fn step(trend: &Trend, after: f64, from: f64, by: f64) -> (String, bool) {
    let said = format!(
        "{} at once, between {} and {} {}",
        change(trend.quantity, by),
        plain(after, 0),
        plain(from, 0),
        against_label(trend.against)
    );
    (said, by > 0.0)
}
