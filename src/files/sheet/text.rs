//! The bench sheet as plain text, with the content of the page.

use std::fmt::Write as _;

use crate::document::sheet::cautions::{CAUTIONS, FIRST};
use crate::document::sheet::{ChangeRow, Sheet};

/// Most letters a line.
const LINE: usize = 78;

/// The sheet as plain text.
pub fn plain_text(sheet: &Sheet) -> String {
    let mut text = format!("Bench sheet: {}\n\n", sheet.picture);
    for (name, what) in &sheet.facts {
        hang(&mut text, &format!("{name:<10} "), what);
    }
    head(&mut text, "Exposures");
    for (row, number) in sheet.exposures.iter().zip(1..) {
        writeln!(
            text,
            "[ ] {number}.  {:<12} {:<7} {}",
            row.time, row.aperture, row.against
        )
        .ok();
    }
    for line in &sheet.chance {
        hang(&mut text, "    ", line);
    }
    if !sheet.changes.is_empty() {
        head(&mut text, "Burns and dodges");
        for change in &sheet.changes {
            hang(&mut text, "[ ] ", &change_said(change));
        }
    }
    list(&mut text, "Focus and height", &sheet.placing);
    list(&mut text, "Watch out", &sheet.warnings);
    head(&mut text, "Process");
    for (row, number) in sheet.process.iter().zip(1..) {
        let time = if row.time.is_empty() {
            "__________"
        } else {
            &row.time
        };
        writeln!(text, "[ ] {number}. {:<30} {time}", row.bath).ok();
    }
    head(&mut text, "Before you begin");
    hang(&mut text, "", FIRST);
    for (about, said) in CAUTIONS {
        hang(&mut text, "  ", &format!("{about}: {said}"));
    }
    text
}

/// A burn or dodge as one line.
pub(super) fn change_said(change: &ChangeRow) -> String {
    let note = if change.note.is_empty() {
        String::new()
    } else {
        format!(" ({})", change.note)
    };
    format!(
        "{} {}: {}, {}{note}",
        change.way, change.part, change.time, change.stops
    )
}

fn head(text: &mut String, words: &str) {
    writeln!(text, "\n{words}").ok();
}

fn list(text: &mut String, words: &str, lines: &[String]) {
    if !lines.is_empty() {
        head(text, words);
        for line in lines {
            hang(text, "  ", line);
        }
    }
}

/// A paragraph whose further lines stand under the first.
fn hang(text: &mut String, first: &str, words: &str) {
    let indent = " ".repeat(first.chars().count());
    let mut line = first.to_owned();
    let mut empty = true;
    for word in words.split_whitespace() {
        let long = line.chars().count() + 1 + word.chars().count() > LINE;
        if long && !empty {
            writeln!(text, "{}", line.trim_end()).ok();
            line.clone_from(&indent);
            empty = true;
        }
        if !empty {
            line.push(' ');
        }
        line.push_str(word);
        empty = false;
    }
    writeln!(text, "{}", line.trim_end()).ok();
}
