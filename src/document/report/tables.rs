//! The figures behind the answer.

use std::fmt::Write as _;

use super::contrast::WHAT_RANGE_IS;
use super::headline::source;
use super::name;
use super::words::{SPEED, cell, plain, wrapped};
use crate::document::Session;
use crate::measure::analysis::{Analysis, PairResult, StripResult};
use crate::measure::curve::CurveAnswer;
use crate::measure::estimate::Estimate;
use crate::measure::strip::Role;
use crate::measure::units::Stops;

/// Confidence from which finding a strip needs no word: with two decimals it is 1.00.
const SURE: f64 = 0.995;

/// Shares of the uncertainty, biggest first.
pub(super) fn budget(analysis: &Analysis, pair: &PairResult) -> String {
    if pair.answer.budget.is_empty() {
        return String::new();
    }
    let mut text = format!(
        "Where the uncertainty of {} comes from\n",
        name(analysis, pair.coupon)
    );
    for part in &pair.answer.budget {
        writeln!(
            text,
            "  {:<40} {:>6} stops {:>5} %",
            source(part.source),
            plain(part.stops, 3),
            plain(100.0 * part.share, 0)
        )
        .ok();
    }
    text.push('\n');
    text
}

/// The ratio from highlights to shadows.
pub(super) fn by_tone(analysis: &Analysis, pair: &PairResult) -> String {
    if pair.answer.by_tone.is_empty() {
        return String::new();
    }
    let mut text = format!(
        "By tone: {} against {}\n  {:>11}  {}\n",
        name(analysis, pair.coupon),
        name(analysis, pair.reference),
        "net density",
        "speed, bounds at 95 %"
    );
    for tone in &pair.answer.by_tone {
        let said = match (tone.stops.value, tone.stops.bounds()) {
            (Some(value), Some((lower, upper))) => {
                format!("{} ({})", SPEED.said(value), SPEED.span(lower, upper))
            }
            (Some(value), None) => format!("{} (no bounds)", SPEED.said(value)),
            (None, _) => "none".to_owned(),
        };
        writeln!(text, "  {:>11}  {said}", plain(tone.net_density, 2)).ok();
    }
    text.push('\n');
    text
}

/// What the two curves say, side by side.
pub(super) fn curves(analysis: &Analysis, pair: &PairResult) -> String {
    /// A row's label, its value, the factor to the unit shown, and its decimals.
    type Row = (&'static str, fn(&CurveAnswer) -> &Estimate, usize);
    const ROWS: [Row; 5] = [
        ("Dmin", |curve| &curve.dmin, 3),
        ("Dmax", |curve| &curve.dmax, 2),
        ("speed point, log exposure", |curve| &curve.speed_point, 3),
        ("exposure range, ISO R", |curve| &curve.range, 0),
        ("mean gradient", |curve| &curve.mean_gradient, 2),
    ];
    let (left, right) = (name(analysis, pair.reference), name(analysis, pair.coupon));
    let width = left.chars().count().max(26);
    let mut text = format!(
        "Curves, bounds at 95 %\n  {:<26} {left:<width$}  {right}\n",
        ""
    );
    for (label, value, decimals) in ROWS {
        writeln!(
            text,
            "  {label:<26} {:<width$}  {}",
            cell(value(&pair.answer.reference), decimals),
            cell(value(&pair.answer.coupon), decimals)
        )
        .ok();
    }
    text.push_str(&wrapped(WHAT_RANGE_IS, "  ", "  "));
    text.push('\n');
    text
}

/// Every strip's steps.
pub(super) fn densities(session: &Session, analysis: &Analysis) -> String {
    let mut text = String::new();
    // All strips share one unit of exposure; its zero is the first step that has any.
    let zero = analysis
        .strips
        .iter()
        .flat_map(|strip| &strip.steps)
        .find_map(|step| step.log_exposure);
    for (index, strip) in analysis.strips.iter().enumerate() {
        text.push_str(&strip_table(session, index, strip, zero));
    }
    text
}

fn strip_table(session: &Session, index: usize, strip: &StripResult, zero: Option<f64>) -> String {
    let role = match strip.role {
        Some(Role::Reference) => " (reference)",
        Some(Role::Coupon) => " (coupon)",
        None => "",
    };
    let mut text = format!("{}{role}", strip.name);
    if let Some(first) = strip.same_as.and_then(|first| session.strips.get(first)) {
        write!(text, ", the same strip as {}", first.name).ok();
    }
    let Some(located) = &strip.located else {
        text.push_str(": not found\n\n");
        return text;
    };
    if located.confidence < SURE {
        write!(text, ", found with confidence {:.2}", located.confidence).ok();
    }
    let excluded = session.strips.get(index).map(|strip| &strip.excluded);
    writeln!(
        text,
        "\n  {:>6} {:>8} {:>8} {:>8} {:>7} {:>8}",
        "step", "stops", "density", "+-", "dirt", "clipped"
    )
    .ok();
    for step in &strip.steps {
        let number = match step.step {
            0 => "margin".to_owned(),
            step => step.to_string(),
        };
        let stops = match (step.log_exposure, zero) {
            (Some(exposure), Some(zero)) if exposure.is_finite() => {
                plain(Stops::from_decades(exposure - zero).0, 2)
            }
            _ => String::new(),
        };
        let left_out = excluded.is_some_and(|excluded| {
            step.step
                .checked_sub(1)
                .is_some_and(|step| excluded.contains(&step))
        });
        writeln!(
            text,
            "  {number:>6} {stops:>8} {:>8} {:>8} {:>5} % {:>6} %{}",
            plain(step.density, 3),
            plain(step.standard_error, 3),
            plain(100.0 * step.rejected, 0),
            plain(100.0 * step.clipped, 0),
            if left_out { "  left out" } else { "" }
        )
        .ok();
    }
    text.push('\n');
    text
}
