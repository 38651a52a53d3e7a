//! Coatings held against each other, in words.

use std::fmt::Write as _;

use super::words::{CONTRAST, Directions, SPEED, cell, plain, wrapped};
use crate::document::comparing::{Comparison, Cost};
use crate::measure::coatings::{
    Amount, Bound, Coating, Difference, Line, Look, Measured, Table, Thickness,
};

/// Chance below which a difference is called clear.
const CLEAR: f64 = 0.05;

const DARKER: Directions = Directions {
    more: "darker",
    less: "lighter",
    unit: ["", ""],
    decimals: 2,
};

/// The report of `twinstrip compare`.
pub fn compared(comparison: &Comparison) -> String {
    let mut text = headline(comparison);
    // Only sessions have scans to look at; profiles tell the contrast difference for the range.
    let range = if comparison.looks.is_empty() {
        "R over paper's"
    } else {
        "range R"
    };
    text.push_str(&values(&comparison.coatings, range));
    for table in &comparison.compared.tables {
        text.push_str(&differences(&comparison.coatings, table));
        text.push_str(&trend(table, comparison.compared.thickness));
    }
    text.push_str(&looks(comparison));
    text.push_str(&costs(comparison));
    text
}

/// What a quantity is called.
pub(crate) fn label(quantity: Measured) -> &'static str {
    match quantity {
        Measured::Speed => "Speed",
        Measured::Dmin => "Dmin",
        Measured::Dmax => "Dmax",
        Measured::Range => "Range (ISO R)",
    }
}

fn directions(quantity: Measured) -> Directions {
    match quantity {
        Measured::Speed => SPEED,
        Measured::Dmin | Measured::Dmax => DARKER,
        Measured::Range => CONTRAST,
    }
}

/// The thinnest coating that is dark enough, first of all.
pub(crate) fn headline(comparison: &Comparison) -> String {
    let Some(thinnest) = &comparison.compared.thinnest else {
        return String::new();
    };
    let hundred = 100.0 * thinnest.confidence;
    let confidence = if hundred > 99.0 {
        "more than 99".to_owned()
    } else {
        plain(hundred, 0)
    };
    let said = format!(
        "The thinnest coating whose Dmax is within {} of the best is {}, with a chance of \
         {confidence} in 100.",
        plain(comparison.within, 2),
        comparison.coatings[thinnest.coating].name,
    );
    wrapped(&said, "", "") + "\n"
}

fn values(coatings: &[Coating], range: &str) -> String {
    let mut text = String::from("Coatings, each with bounds at 95 %\n");
    for coating in coatings {
        writeln!(text, "  {}", coating.name).ok();
        let rows = [
            ("stops slower", cell(&coating.speed, 2)),
            ("Dmin", cell(&coating.dmin, 2)),
            ("Dmax", cell(&coating.dmax, 2)),
            (range, cell(&coating.range, 0)),
        ];
        for (what, said) in rows {
            writeln!(text, "    {what:<14} {said}").ok();
        }
    }
    text.push('\n');
    text
}

fn differences(coatings: &[Coating], table: &Table) -> String {
    let Some(together) = &table.together else {
        return String::new();
    };
    let mut text = format!(
        "{}: differences, all within their bounds at once in 95 of 100 cases\n",
        label(table.quantity)
    );
    for difference in &together.differences {
        writeln!(
            text,
            "  {}",
            difference_said(coatings, table.quantity, difference)
        )
        .ok();
    }
    for &coating in &table.without {
        writeln!(text, "  {}: no value to compare", coatings[coating].name).ok();
    }
    writeln!(
        text,
        "  (bounds by {}: {} standard errors)\n",
        bound(together.bound),
        plain(together.critical, 2)
    )
    .ok();
    text
}

/// "two coats against one coat: 0.32 stops slower (0.20 to 0.44 stops slower), clear".
pub(crate) fn difference_said(
    coatings: &[Coating],
    quantity: Measured,
    difference: &Difference,
) -> String {
    let say = directions(quantity);
    let estimate = &difference.difference;
    let said = match (estimate.value, estimate.bounds()) {
        (Some(value), Some((lower, upper))) => {
            format!("{} ({})", say.said(value), say.span(lower, upper))
        }
        _ => "none".to_owned(),
    };
    let clear = if difference.p < CLEAR {
        "clear"
    } else {
        "may be chance"
    };
    format!(
        "{} against {}: {said}, {clear}",
        coatings[difference.of].name, coatings[difference.less].name
    )
}

fn bound(bound: Bound) -> &'static str {
    match bound {
        Bound::Single => "Student's t",
        Bound::StudentisedRange => "Tukey's studentised range",
        Bound::AgainstOne => "Dunnett's comparison with one",
        Bound::LargestOfAll => "the largest t under the differences' own correlation",
    }
}

fn trend(table: &Table, thickness: Option<Thickness>) -> String {
    let (Some(line), Some(thickness)) = (&table.line, thickness) else {
        return String::new();
    };
    wrapped(&line_said(table.quantity, line, thickness), "  ", "  ") + "\n"
}

/// "Speed, each coat more: 0.31 stops slower (0.20 to 0.42 stops slower)."
pub(crate) fn line_said(quantity: Measured, line: &Line, thickness: Thickness) -> String {
    let each = match thickness {
        Thickness::Coats => "each coat more",
        Thickness::Millilitres => "each ml/dm2 more",
        Thickness::Grams => "each g/dm2 more",
    };
    let say = directions(quantity);
    let said = match (line.slope.value, line.slope.bounds()) {
        (Some(value), Some((lower, upper))) => {
            format!("{} ({})", say.said(value), say.span(lower, upper))
        }
        _ => "no slope".to_owned(),
    };
    let what = format!("{}, {}", label(quantity), each);
    match line.straight {
        Some(chance) if chance < CLEAR => format!(
            "{what}: {said} on average, but a straight line does not describe these coatings \
             (chance {}).",
            small(chance)
        ),
        _ => format!("{what}: {said}."),
    }
}

/// A small chance; what draws and quadrature can't tell from nought is not told as nought.
fn small(chance: f64) -> String {
    if chance < 0.001 {
        "below 0.001".to_owned()
    } else {
        plain(chance, 3)
    }
}

fn looks(comparison: &Comparison) -> String {
    let known = comparison.coatings.iter().zip(&comparison.looks);
    let mut text = String::new();
    for (coating, look) in known.filter_map(|(coating, look)| Some((coating, look.as_ref()?))) {
        writeln!(text, "  {}", coating.name).ok();
        for line in look_said(look) {
            writeln!(text, "    {line}").ok();
        }
    }
    if text.is_empty() {
        text
    } else {
        format!("How even they are\n{text}\n")
    }
}

/// Mottle, streaks and spots in lines.
pub(crate) fn look_said(look: &Look) -> Vec<String> {
    let mut lines: Vec<String> = look
        .evenness
        .mottle
        .iter()
        .map(|mottle| {
            format!(
                "places {} to {} mm apart vary by {} D",
                plain(mottle.from_mm, 1),
                plain(mottle.to_mm, 1),
                plain(mottle.density, 4)
            )
        })
        .collect();
    match &look.evenness.streaks {
        Some(streaks) if streaks.told => lines.push(format!(
            "streaks at {} degrees from along the strip (strength {} of 1)",
            plain(streaks.degrees, 0),
            plain(streaks.strength, 2)
        )),
        Some(_) => lines.push("no streaks to be seen".to_owned()),
        None => {}
    }
    if let Some(spots) = &look.spots {
        for (what, count) in [
            ("bubbles", spots.bubbles),
            ("pinholes", spots.pinholes),
            ("dark specks", spots.specks),
            ("hairs and scratches", spots.hairs),
        ] {
            lines.push(format!(
                "{what}: {} a square centimetre",
                cell(&count.per_square_centimetre, 2)
            ));
        }
    }
    lines
}

fn costs(comparison: &Comparison) -> String {
    let mut text = String::new();
    for (coating, cost) in comparison.coatings.iter().zip(&comparison.costs) {
        if let Some(cost) = cost {
            writeln!(text, "  {}: {}", coating.name, cost_said(cost)).ok();
        }
    }
    if text.is_empty() {
        text
    } else {
        format!("Emulsion on one piece, what stays in brush and tray not counted\n{text}")
    }
}

/// "12.0 ml, 0.96 EUR".
pub(crate) fn cost_said(cost: &Cost) -> String {
    let amount = match cost.amount {
        Amount::Millilitres(amount) => format!("{} ml", plain(amount, 1)),
        Amount::Grams(amount) => format!("{} g", plain(amount, 1)),
    };
    match &cost.price {
        Some((money, currency)) => {
            let price = format!("{amount}, {} {currency}", plain(*money, 2));
            price.trim_end().to_owned()
        }
        None => amount,
    }
}
