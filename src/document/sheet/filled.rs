//! From the plan to the words of the bench sheet.

use super::{ChangeRow, ExposureRow, Sheet};
use crate::document::Printing;
use crate::document::printing::Planned;
use crate::document::report::words::{chance, plain};
use crate::measure::exposure::write;
use crate::measure::finding::{Finding, Weight};
use crate::measure::plan::{Basis, HeadMove, Piece, Plan, Recipe};

/// Stops below which a piece of a bracket counts as exposed as planned.
const AS_PLANNED: f64 = 0.02;
/// The dose steps that stops are said in: sixths and quarters, as printers do.
const PARTS: [u32; 4] = [1, 2, 3, 6];

/// Where the knowledge of the coating comes from, as the sheet says it.
#[derive(Debug, Clone, PartialEq, Default)]
pub struct Source {
    /// The session or profile.
    pub name: String,
    /// Days: of the test, and of this sheet. Empty: not known.
    pub tested: String,
    /// The day of this sheet.
    pub made: String,
}

impl Sheet {
    /// The sheet for a planned print.
    pub fn filled(printing: &Printing, planned: &Planned, source: &Source) -> Self {
        let Planned { basis, plan } = planned;
        let mut sheet = Self {
            picture: if printing.picture.trim().is_empty() {
                "Untitled picture".into()
            } else {
                printing.picture.clone()
            },
            facts: facts(printing, basis, source),
            exposures: exposures(plan),
            chance: chances(plan),
            changes: changes(plan),
            placing: placing(printing, plan),
            warnings: plan.findings.iter().filter_map(warning).collect(),
            process: vec![],
        };
        sheet.set_process(&printing.process);
        sheet
    }
}

fn facts(printing: &Printing, basis: &Basis, source: &Source) -> Vec<(String, String)> {
    let mut facts = vec![("Piece", piece(&printing.piece))];
    let mut coating = basis.coating.name.clone();
    for (before, words) in [("; ", &source.name), (", tested ", &source.tested)] {
        if !words.is_empty() {
            coating.push_str(before);
            coating.push_str(words);
        }
    }
    facts.push(("Coating", coating));
    let paper = match &printing.recipe {
        Some(recipe) => format!("{}: {}", basis.paper.name, base(recipe)),
        None => basis.paper.name.clone(),
    };
    facts.push(("Paper", paper));
    if !source.made.is_empty() {
        facts.push(("Made", source.made.clone()));
    }
    facts
        .into_iter()
        .map(|(name, words)| (name.to_owned(), words))
        .collect()
}

/// The base exposure as written: the recipe's first line.
fn base(recipe: &Recipe) -> String {
    let written = recipe.written();
    written.lines().next().unwrap_or_default().to_owned()
}

/// A piece in one line: "slate 3, 240 x 300 mm, 6 mm above the easel, rises by 1.5 mm".
pub fn piece(piece: &Piece) -> String {
    let mut words = vec![];
    if !piece.name.trim().is_empty() {
        words.push(piece.name.trim().to_owned());
    }
    if let Some((width, length)) = piece.size {
        words.push(format!("{width} x {length} mm"));
    }
    words.push(match piece.height {
        0.0 => "flat on the easel".into(),
        height if height < 0.0 => format!("{} mm below the easel", -height),
        height => format!("{height} mm above the easel"),
    });
    if piece.rise > 0.0 {
        words.push(format!("rises by {} mm", piece.rise));
    }
    words.join(", ")
}

/// Stops in parts that a printer says: "1/6", "1 1/3", else with two decimals.
fn parts(stops: f64) -> String {
    let near = PARTS.iter().find_map(|&part| {
        let count = (stops * f64::from(part)).round();
        ((count / f64::from(part) - stops).abs() < AS_PLANNED && count > 0.0)
            .then(|| write::stops(count / f64::from(part)))
    });
    near.unwrap_or_else(|| plain(stops, 2))
}

fn stops_said(stops: f64) -> String {
    let size = parts(stops.abs());
    let unit = if stops.abs() > 1.0 + AS_PLANNED {
        "stops"
    } else {
        "stop"
    };
    format!("{size} {unit}")
}

fn against(stops: f64) -> String {
    if stops.abs() < AS_PLANNED {
        "as planned".into()
    } else if stops > 0.0 {
        format!("{} more", stops_said(stops))
    } else {
        format!("{} less", stops_said(stops))
    }
}

/// A time as it is set on an enlarger's timer: seconds, to a tenth below 100.
fn on_the_timer(seconds: f64) -> String {
    format!("{} s", plain(seconds, if seconds < 100.0 { 1 } else { 0 }))
}

fn exposures(plan: &Plan) -> Vec<ExposureRow> {
    let Some(planned) = &plan.exposure else {
        return vec![];
    };
    let row = |time: f64, stops: f64| ExposureRow {
        time: on_the_timer(time),
        aperture: planned.f_number.clone(),
        against: against(stops),
    };
    match &plan.bracket {
        Some(bracket) if !bracket.times.is_empty() => bracket
            .times
            .iter()
            .zip(&bracket.stops)
            .map(|(&time, &stops)| row(time, stops))
            .collect(),
        _ => planned
            .time
            .value
            .map(|time| row(time, 0.0))
            .into_iter()
            .collect(),
    }
}

fn chances(plan: &Plan) -> Vec<String> {
    let mut said = vec![];
    if let Some(planned) = &plan.exposure
        && let (Some(time), Some((lower, upper))) = (planned.time.value, planned.time.bounds())
    {
        said.push(format!(
            "Planned {} at {}; 95 of 100 pieces need between {} and {}.",
            on_the_timer(time),
            planned.f_number,
            on_the_timer(lower),
            on_the_timer(upper)
        ));
    }
    if let Some(bracket) = &plan.bracket {
        let pieces = match bracket.stops.len() {
            1 => "The piece comes".to_owned(),
            count => format!("At least one of the {count} comes"),
        };
        said.push(format!(
            "{pieces} within {} with a chance of {}.",
            stops_said(bracket.tolerance),
            chance(bracket.chance)
        ));
    }
    said
}

fn changes(plan: &Plan) -> Vec<ChangeRow> {
    let row = |change: &crate::measure::plan::CarriedChange| ChangeRow {
        way: change.way.word().to_owned(),
        part: change.name.clone(),
        stops: stops_said(change.stops),
        time: on_the_timer(change.time),
        note: match (change.reached, change.asked == change.way) {
            (false, _) => "the coating doesn't come to this tone".into(),
            (true, false) => format!("on paper it was a {}", change.asked.word()),
            (true, true) => String::new(),
        },
    };
    plan.changes.iter().map(row).collect()
}

fn placing(printing: &Printing, plan: &Plan) -> Vec<String> {
    let mut said = vec![];
    if printing.choices.head == HeadMove::RaisedByHeight {
        said.push(format!(
            "Raise the head by {} mm: size and light are then as on the paper.",
            printing.piece.height
        ));
    }
    let Some(on_piece) = &plan.on_piece else {
        return said;
    };
    if on_piece.refocus {
        let moves = on_piece.lens_moves.map_or_else(String::new, |mm| {
            format!(": the lens moves about {} mm towards it", plain(mm, 2))
        });
        said.push(format!("Focus on the face of the piece{moves}."));
    } else {
        said.push("The focus of the paper print holds.".into());
    }
    said.push(format!(
        "Depth of focus {} mm{}.",
        plain(on_piece.depth_of_focus, 1),
        if on_piece.fits {
            ""
        } else {
            ": less than the face rises"
        }
    ));
    if (on_piece.size - 1.0).abs() > 0.0005 {
        let restores = on_piece
            .head_that_restores
            .map_or_else(String::new, |head| {
                format!(
                    "; the head {} mm higher ({} mm from negative to easel) restores it",
                    plain(on_piece.raise_head, 0),
                    plain(head, 0)
                )
            });
        said.push(format!(
            "The picture has {} % of its size on paper{restores}.",
            plain(100.0 * on_piece.size, 1)
        ));
    }
    said
}

/// What has to be known at the sink: what was seen, and what to do.
fn warning(finding: &Finding) -> Option<String> {
    (finding.weight >= Weight::Caution).then(|| format!("{} {}", finding.seen, finding.remedy))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn stops_are_said_in_the_parts_that_printers_use() {
        for (stops, said) in [
            (0.0, "as planned"),
            (0.01, "as planned"),
            (1.0 / 6.0, "1/6 stop more"),
            (-0.34, "1/3 stop less"),
            (1.5, "1 1/2 stops more"),
            (-2.0, "2 stops less"),
            (0.41, "0.41 stop more"),
        ] {
            assert_eq!(against(stops), said);
        }
    }

    #[test]
    fn exposures_are_said_in_the_seconds_of_a_timer() {
        assert_eq!(on_the_timer(62.94), "62.9 s");
        assert_eq!(on_the_timer(134.6), "135 s");
    }

    #[test]
    fn a_piece_is_said_in_one_line() {
        let mut slate = Piece::flat("slate 3", 6.0);
        slate.size = Some((240.0, 300.0));
        slate.rise = 1.5;
        assert_eq!(
            piece(&slate),
            "slate 3, 240 x 300 mm, 6 mm above the easel, rises by 1.5 mm"
        );
        assert_eq!(piece(&Piece::default()), "flat on the easel");
    }
}
