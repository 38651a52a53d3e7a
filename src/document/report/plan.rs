//! The print plan in words.

use std::fmt::Write as _;

use super::findings;
use super::words::{chance, interval, plain, signed, wrapped};
use crate::measure::plan::{
    Aim, Basis, Bracket, NextStrip, OnPiece, Origin, Piece, Plan, PlannedExposure, Recipe, Scale,
    Way,
};

/// What the report is about.
#[derive(Debug, Clone, Copy)]
pub struct Planned<'a> {
    /// The recipe on paper.
    pub recipe: &'a Recipe,
    /// The piece.
    pub piece: &'a Piece,
    /// What is known of the emulsion.
    pub basis: &'a Basis,
    /// The plan.
    pub plan: &'a Plan,
    /// The next test strip.
    pub next: Option<&'a NextStrip>,
}

/// The report of `twinstrip plan`.
pub fn planned(all: &Planned<'_>) -> String {
    let plan = all.plan;
    let mut text = on_paper(all);
    match &plan.exposure {
        Some(exposure) => text.push_str(&exposed(exposure, plan)),
        None => text.push_str("No exposure can be given; the findings say why.\n\n"),
    }
    if let Some(on_piece) = &plan.on_piece {
        text.push_str(&placed(on_piece, all.piece));
    }
    text.push_str(&changes(plan));
    if let Some(scale) = &plan.scale {
        text.push_str(&tones(scale));
    }
    if let Some(bracket) = &plan.bracket {
        text.push_str(&bracketed(bracket));
    }
    if let Some(next) = all.next {
        text.push_str(&next_strip(next));
    }
    text.push_str(&findings::said(&plan.findings));
    if let Some(exposure) = &plan.exposure {
        text.push_str(&doubts(exposure));
    }
    text
}

fn on_paper(all: &Planned<'_>) -> String {
    let known = match all.basis.origin {
        Origin::OneSession(_) => "one session".to_owned(),
        Origin::Sessions(1) => "a profile of one session".to_owned(),
        Origin::Sessions(count) => format!("a profile of {count} sessions"),
    };
    let mut text = wrapped(
        &format!(
            "{} on {}, by {known}",
            all.basis.coating.name, all.basis.paper.name
        ),
        "",
        "  ",
    );
    for (index, line) in all.recipe.written().lines().enumerate() {
        let lead = if index == 0 {
            "  on paper: "
        } else {
            "            "
        };
        text.push_str(&format!("{lead}{line}\n"));
    }
    text.push('\n');
    text
}

/// Seconds with the digits that a timer has.
pub fn seconds(seconds: f64) -> String {
    let decimals = usize::from(seconds < 99.95);
    format!("{} s", plain(seconds, decimals))
}

fn exposed(exposure: &PlannedExposure, plan: &Plan) -> String {
    let Some(time) = exposure.time.value else {
        return String::new();
    };
    let mut text = format!("Expose {} at {}\n", seconds(time), exposure.f_number);
    let mut say = |sentence: &str| text.push_str(&wrapped(sentence, "  ", "  "));
    say(&format!(
        "{} for 95 of 100 pieces.",
        capital(&interval(&exposure.time, seconds))
    ));
    if let (Some(stops), Some(factor)) = (exposure.stops.value, exposure.factor.value) {
        say(&format!(
            "The coating needs {} stops more light than the paper got, {} ({} times as much).",
            plain(stops, 2),
            interval(&exposure.stops, |stops| plain(stops, 2)),
            plain(factor, 1)
        ));
    }
    let aim = match plan.aim {
        Aim::SpeedPoint => "middle grey (net density 0.60)".to_owned(),
        Aim::Highlights => "the highlights (net density 0.20)".to_owned(),
        Aim::Shadows => "the shadows (net density 1.20)".to_owned(),
        Aim::WholeScale => "the whole scale on average, as the eye weighs it".to_owned(),
        Aim::Net(net) => format!("net density {net}"),
    };
    say(&format!("Meant to come out as on the paper: {aim}."));
    say(&format!("Aperture: {}.", exposure.why));
    text.push('\n');
    text
}

fn capital(text: &str) -> String {
    let mut letters = text.chars();
    letters
        .next()
        .map(|first| first.to_uppercase().chain(letters).collect())
        .unwrap_or_default()
}

fn placed(on_piece: &OnPiece, piece: &Piece) -> String {
    let mut text = String::from("On the piece\n");
    let mut say = |sentence: &str| text.push_str(&wrapped(sentence, "  ", "  "));
    if on_piece.size == 1.0 {
        say(&format!(
            "Magnified {} times, as on the paper.",
            plain(on_piece.magnification, 2)
        ));
    } else {
        say(&format!(
            "Magnified {} times instead of {}: {} % of the size on the paper, {} stops more \
             light.",
            plain(on_piece.magnification, 2),
            plain(on_piece.magnification_on_paper, 2),
            plain(100.0 * on_piece.size, 1),
            plain(on_piece.stops_gained, 2)
        ));
        let distance = on_piece.head_that_restores.map_or_else(String::new, |mm| {
            format!(", to {} mm from negative to easel", plain(mm, 0))
        });
        say(&format!(
            "To have the full size again, raise the head by {} mm{distance}; size, focus and \
             light are then as on the paper.",
            plain(on_piece.raise_head, 0)
        ));
    }
    if let Some(moves) = on_piece.lens_moves {
        say(&format!(
            "Focus anew on the face: the lens moves {} mm towards it.",
            plain(moves, 2)
        ));
    }
    let verdict = if on_piece.fits {
        "holds"
    } else {
        "does not hold"
    };
    let face = if piece.rise > 0.0 {
        format!("face, which rises by {} mm", plain(piece.rise, 1))
    } else {
        "flat face".to_owned()
    };
    say(&format!(
        "The depth of focus is {} mm and {verdict} the {face}.",
        plain(on_piece.depth_of_focus, 1)
    ));
    text.push('\n');
    text
}

fn changes(plan: &Plan) -> String {
    if plan.changes.is_empty() {
        return String::new();
    }
    let mut text = format!(
        "Burns and dodges\n  {:<7}{:<24}{:>10}{:>12}{:>10}\n",
        "", "", "on paper", "on coating", "time"
    );
    let sign = |way: Way| match way {
        Way::Burn => '+',
        Way::Dodge => '-',
    };
    for change in &plan.changes {
        let note = match (change.reached, change.comes_out.bounds()) {
            (false, _) => "  tone not reached".to_owned(),
            (true, Some((low, high))) => format!(
                "  net density {} (95 %: {} to {})",
                plain(change.net_density, 2),
                plain(low, 2),
                plain(high, 2)
            ),
            (true, None) => format!(
                "  net density {}, bounds not known",
                plain(change.net_density, 2)
            ),
        };
        writeln!(
            text,
            "  {:<7}{:<24}{:>10}{:>12}{:>10}{note}",
            change.way.word(),
            change.name,
            format!("{}{}", sign(change.asked), plain(change.stops_on_paper, 2)),
            format!("{}{}", sign(change.way), plain(change.stops, 2)),
            seconds(change.time)
        )
        .ok();
    }
    text.push('\n');
    text
}

fn tones(scale: &Scale) -> String {
    let mut text = String::from("Scale of tones, net density\n");
    for (what, on_paper, on_coating) in [
        ("lightest", scale.on_paper.0, scale.on_coating.0),
        ("darkest", scale.on_paper.1, scale.on_coating.1),
    ] {
        writeln!(
            text,
            "  {what:<10} {:>5} on the paper {:>5} on the coating",
            plain(on_paper, 2),
            plain(on_coating, 2)
        )
        .ok();
    }
    writeln!(
        text,
        "  exposure range of the print: ISO R {}; the coating takes {}\n",
        plain(scale.needed_range, 0),
        plain(scale.coating_range, 0)
    )
    .ok();
    text
}

fn bracketed(bracket: &Bracket) -> String {
    let mut text = String::from("Bracket\n");
    for (stops, time) in bracket.stops.iter().zip(&bracket.times) {
        writeln!(
            text,
            "  {:>8}  {:>6} stops",
            seconds(*time),
            signed(*stops, 2)
        )
        .ok();
    }
    let pieces = match bracket.stops.len() {
        1 => "One piece is".to_owned(),
        count => format!("At least one of {count} pieces is"),
    };
    text.push_str(&wrapped(
        &format!(
            "{pieces} within {} stops with a chance of {}. One piece more makes it {}; another \
             pair of test strips on the day of printing makes it {}.",
            plain(bracket.tolerance, 2),
            chance(bracket.chance),
            chance(bracket.instead.another_piece),
            chance(bracket.instead.another_pair)
        ),
        "  ",
        "  ",
    ));
    text.push('\n');
    text
}

fn next_strip(next: &NextStrip) -> String {
    let mut text = String::from("Next test strip\n");
    text.push_str(&wrapped(
        &format!(
            "{}, at the aperture and height of the tests: the ratio is then known to about \
             ±{} stops instead of ±{}.",
            next.series,
            plain(next.half_width_after, 2),
            plain(next.half_width_now, 2)
        ),
        "  ",
        "  ",
    ));
    text.push('\n');
    text
}

fn doubts(exposure: &PlannedExposure) -> String {
    if exposure.doubts.is_empty() {
        return String::new();
    }
    let mut text = String::from("Where the doubt comes from\n");
    for doubt in &exposure.doubts {
        writeln!(
            text,
            "  {:<56} {:>5} stops",
            doubt.what,
            plain(doubt.stops, 3)
        )
        .ok();
    }
    text
}
