//! Profiles in words and figures.

mod beside;
mod drift;
mod pooled;

use std::fmt::Write as _;
use std::path::Path;

use super::words::{CONTRAST, SPEED, cell, plain, wrapped};
use crate::document::profile::{Card, Conflict, Evidence, Field, Profile};
use crate::measure::compare::PairAnswer;

pub use beside::{beside, stops_apart};
pub use drift::{against_label, drift_sentences};
pub use pooled::{pooled, row_label, sentences};

/// Longest name in a table, letters.
const NAME_WIDTH: usize = 40;

/// A profile on one line, and what is most worth knowing of it.
pub fn line(card: &Card) -> String {
    let sessions = match card.sessions.len() {
        0 => "no session yet".to_owned(),
        1 => "1 session".to_owned(),
        count => format!("{count} sessions"),
    };
    let newest = card.newest().map(|day| format!(", the newest of {day}"));
    let aside = if card.retired { "; put aside" } else { "" };
    format!(
        "{}: {sessions}{}{aside}\n",
        card.name,
        newest.unwrap_or_default()
    )
}

/// Something that two people changed in different ways.
pub fn conflict(conflict: &Conflict) -> String {
    let said = |text: &str| match text {
        "" => "nothing".to_owned(),
        text => format!("\"{text}\""),
    };
    wrapped(
        &format!(
            "{}: somebody else changed it meanwhile to {}, which stays; {} was not taken over. Say it \
             again if it is right.",
            conflict.what,
            said(&conflict.kept),
            said(&conflict.left_out)
        ),
        "  ",
        "  ",
    )
}

/// The list of profiles, of `all` on the shelf.
pub fn list(cards: &[(String, Card)], all: usize, folder: &Path) -> String {
    if cards.is_empty() {
        return match all {
            0 => format!("No profiles in {} yet.\n", folder.display()),
            all => format!("None of the {all} profiles is meant.\n"),
        };
    }
    let names = cards.iter().map(|(_, card)| card.name.chars().count());
    let width = names.max().unwrap_or(0).clamp(7, NAME_WIDTH);
    let mut text = format!(
        "{:<width$}  sessions  newest      speed of the newest\n",
        "profile"
    );
    for (_, card) in cards {
        let newest = card
            .newest()
            .map_or_else(|| "-".into(), |day| day.to_string());
        let speed = card
            .sessions
            .iter()
            .rev()
            .find_map(|session| session.stops.value);
        let speed = speed.map_or_else(|| "-".into(), |stops| SPEED.said(stops));
        let aside = if card.retired { ", put aside" } else { "" };
        writeln!(
            text,
            "{:<width$}  {:>8}  {newest:<10}  {speed}{aside}",
            short(&card.name, width),
            card.sessions.len(),
        )
        .ok();
    }
    text
}

fn short(name: &str, width: usize) -> String {
    if name.chars().count() <= width {
        return name.to_owned();
    }
    let mut cut: String = name.chars().take(width.saturating_sub(1)).collect();
    cut.push('…');
    cut
}

/// All that a profile holds; `anew` are its answers worked out again.
pub fn all(profile: &Profile, path: &Path, anew: Option<&[PairAnswer]>) -> String {
    let mut text = line(&Card::of(profile));
    writeln!(text, "{}\n", path.display()).ok();
    text.push_str(&particulars(profile));
    for (number, evidence) in profile.evidence.iter().enumerate() {
        text.push_str(&session(profile, number, evidence));
        if let Some(again) = anew.and_then(|anew| anew.get(number)) {
            text.push_str(&compared(&evidence.answer, again));
        }
    }
    text
}

fn particulars(profile: &Profile) -> String {
    let mut text = String::new();
    for field in Field::ALL {
        let said = profile.particulars.get(field);
        if !said.is_empty() {
            let lead = format!("  {:<22} ", field.label());
            text.push_str(&wrapped(&said, &lead, &" ".repeat(25)));
        }
    }
    if !text.is_empty() {
        text.push('\n');
    }
    text
}

fn session(profile: &Profile, number: usize, evidence: &Evidence) -> String {
    let answer = &evidence.answer;
    let mut text = format!("Session {}: {}\n", number + 1, evidence.title());
    let mut facts = vec![format!(
        "{} against {}",
        evidence.pair.coupon, evidence.pair.reference
    )];
    if let Some(days) = profile.days_open(evidence) {
        facts.push(format!("{days} days after the bottle was opened"));
    }
    match evidence.origin.remelts {
        Some(1) => facts.push("melted again once".into()),
        Some(count) => facts.push(format!("melted again {count} times")),
        None => {}
    }
    facts.push(format!("measured by {}", evidence.origin.program));
    text.push_str(&wrapped(&facts.join("; "), "  ", "  "));
    if !evidence.origin.note.is_empty() {
        text.push_str(&wrapped(&evidence.origin.note, "  ", "  "));
    }
    let said = |value: f64| SPEED.said(value);
    let speed = match (answer.stops.value, answer.stops.bounds()) {
        (Some(value), Some((lower, upper))) => {
            format!("{} ({})", said(value), SPEED.span(lower, upper))
        }
        (Some(value), None) => said(value),
        _ => "none".to_owned(),
    };
    writeln!(text, "  {:<22} {speed}", "Speed").ok();
    for (label, estimate, decimals) in [
        ("Factor of exposure", &answer.ratio, 2),
        ("Contrast difference", &answer.contrast_difference, 0),
        ("Dmin of the coat", &answer.coupon.dmin, 2),
        ("Dmax of the coat", &answer.coupon.dmax, 2),
    ] {
        writeln!(text, "  {label:<22} {}", cell(estimate, decimals)).ok();
    }
    text.push('\n');
    text
}

/// What is worked out again against what was kept.
fn compared(kept: &PairAnswer, again: &PairAnswer) -> String {
    if kept == again {
        return "  Worked out again from its readings: the same to the last digit.\n\n".into();
    }
    let (Some(before), Some(now)) = (kept.stops.value, again.stops.value) else {
        return "  Worked out again from its readings, this program gives no speed.\n\n".into();
    };
    let contrast = match again.contrast_difference.value {
        Some(value) => format!(", {}", CONTRAST.said(value)),
        None => String::new(),
    };
    format!(
        "  Worked out again from its readings by this program: {}{contrast}; {} stops from what was \
         kept.\n\n",
        SPEED.said(now),
        plain(now - before, 3)
    )
}
