//! Two profiles against each other.

use std::fmt::Write as _;

use super::super::words::{SPEED, cell, plain, wrapped};
use crate::document::profile::{Field, Profile, ProfilePool, Quantity};
use crate::measure::estimate::Estimate;

/// What is different, and what their sessions say together.
pub fn beside(left: &Profile, right: &Profile) -> String {
    let mut text = format!("{} | {}\n\n", left.name, right.name);
    let mut same = Vec::new();
    for field in Field::ALL {
        let (here, there) = (left.particulars.get(field), right.particulars.get(field));
        if here == there {
            if !here.is_empty() {
                same.push(format!("{} {here}", field.label().to_lowercase()));
            }
            continue;
        }
        let said = |text: String| if text.is_empty() { "-".into() } else { text };
        writeln!(
            text,
            "  {:<22} {} | {}",
            field.label(),
            said(here),
            said(there)
        )
        .ok();
    }
    if !same.is_empty() {
        text.push_str(&wrapped(
            &format!("The same: {}.", same.join("; ")),
            "  ",
            "  ",
        ));
    }
    text.push('\n');
    let pools = [left, right].map(|profile| ProfilePool::of(profile, None));
    for quantity in Quantity::ALL {
        let decimals = if quantity == Quantity::Contrast { 0 } else { 2 };
        let said = pools.each_ref().map(|pool| match mean(pool, quantity) {
            Some(mean) => cell(&mean, decimals),
            None => "-".into(),
        });
        writeln!(text, "  {:<34} {} | {}", quantity.label(), said[0], said[1]).ok();
    }
    text.push('\n');
    if let Some(apart) = stops_apart(left, right) {
        text.push_str(&wrapped(&apart_in_words(left, right, &apart), "", ""));
    }
    text
}

fn mean(pool: &ProfilePool, quantity: Quantity) -> Option<Estimate> {
    let pooled = pool.quantity(quantity)?.pooled.as_ref().ok()?;
    Some(pooled.mean)
}

/// Stops that the right one is slower than the left, as if no session had fed both.
///
/// Sessions that share scans, a paper strip or a wedge have errors in common that cancel in the
/// difference; counted as independent here, the bounds are wide rather than narrow.
pub fn stops_apart(left: &Profile, right: &Profile) -> Option<Estimate> {
    let mean = |profile| mean(&ProfilePool::of(profile, None), Quantity::Stops);
    let (left, right) = (mean(left)?, mean(right)?);
    let value = right.value? - left.value?;
    let error = left.standard_error?.hypot(right.standard_error?);
    let half = left.half_width()?.hypot(right.half_width()?);
    Some(Estimate::between(value, error, value - half, value + half))
}

fn apart_in_words(left: &Profile, right: &Profile, apart: &Estimate) -> String {
    let (Some(value), Some((lower, upper))) = (apart.value, apart.bounds()) else {
        return String::new();
    };
    let shown = if lower > 0.0 || upper < 0.0 {
        "more than chance explains"
    } else {
        "no more than chance explains"
    };
    format!(
        "{} is {} than {} ({}), which is {shown}; that is {} times the exposure.",
        right.name,
        SPEED.said(value),
        left.name,
        SPEED.span(lower, upper),
        plain(value.exp2(), 2)
    )
}
