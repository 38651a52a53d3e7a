//! What the reader of RON says, in the words of our files.

use std::path::Path;

use ron::error::{Error as RonError, SpannedError};

use crate::files::text::TextError;
use crate::measure::nearest::{hint, nearest};

/// What is wrong, in words, with its place and the word that was meant.
pub(super) fn explain(path: &Path, text: &str, error: &SpannedError) -> TextError {
    let what = match &error.code {
        RonError::NoSuchStructField {
            expected, found, ..
        } => format!(
            "`{found}` is not known here{}",
            meant(found, expected, "known are")
        ),
        RonError::NoSuchEnumVariant {
            expected, found, ..
        } => format!(
            "`{found}` is not known here{}",
            meant(found, expected, "known are")
        ),
        RonError::MissingStructField { field, .. } => format!("`{field}` is missing"),
        RonError::DuplicateStructField { field, .. } => {
            format!("`{field}` is given twice; keep one")
        }
        RonError::ExpectedDifferentStructName { expected, found } => {
            format!("`{found}` stands where `{expected}` belongs")
        }
        RonError::Eof => "the file ends in the middle; a bracket is not closed".into(),
        RonError::TrailingCharacters => "something stands after the end of the file".into(),
        RonError::ExpectedStructLikeEnd => "a comma or a closing `)` is missing before this".into(),
        RonError::ExpectedArrayEnd => "a comma or a closing `]` is missing before this".into(),
        RonError::ExpectedComma => "a comma is missing before this".into(),
        RonError::ExpectedMapColon => "a colon is missing before this".into(),
        RonError::ExpectedStringEnd => "a text is not closed by `\"`".into(),
        RonError::ExpectedFloat => {
            "a number belongs here, or a bracket is missing before it".into()
        }
        RonError::ExpectedInteger => "a whole number belongs here".into(),
        RonError::ExpectedBoolean => "`true` or `false` belongs here".into(),
        RonError::ExpectedString => "a text in quotes belongs here".into(),
        RonError::ExpectedArray => "a list in [ ] belongs here".into(),
        RonError::ExpectedIdentifier => "a word belongs here".into(),
        RonError::ExpectedStructLike => "a `(` belongs here".into(),
        RonError::ExpectedNamedStructLike(name) => format!("`{name}(...)` belongs here"),
        RonError::InvalidValueForType { expected, found } => {
            format!("{expected} belongs here, not {found}")
        }
        other => {
            let said = other.to_string();
            let mut letters = said.chars();
            letters
                .next()
                .map(|first| first.to_lowercase().chain(letters).collect())
                .unwrap_or(said)
        }
    };
    // The span ends where the reader stopped, and begins where it last was sure.
    let (line, column) = pinpoint(text, error);
    TextError::Wrong {
        path: path.to_owned(),
        line,
        column,
        what,
    }
}

/// Line and column of what an error is about: the word itself where it names one.
fn pinpoint(text: &str, error: &SpannedError) -> (usize, usize) {
    let byte = byte_of(text, error.span.end.line, error.span.end.col);
    let word: Option<&str> = match &error.code {
        RonError::NoSuchStructField { found, .. } | RonError::NoSuchEnumVariant { found, .. } => {
            Some(found)
        }
        RonError::DuplicateStructField { field, .. } => Some(field),
        RonError::ExpectedDifferentStructName { found, .. } => Some(found),
        _ => None,
    };
    let byte = word
        .and_then(|word| text[..byte].rfind(word))
        .unwrap_or(byte);
    crate::files::text::line_and_column(text, byte)
}

fn byte_of(text: &str, line: usize, column: usize) -> usize {
    let start: usize = text
        .split_inclusive('\n')
        .take(line.saturating_sub(1))
        .map(str::len)
        .sum();
    let rest = &text[start..];
    let within = rest.char_indices().nth(column.saturating_sub(1));
    start + within.map_or(rest.len(), |(byte, _)| byte)
}

fn meant(found: &str, known: &[&str], lead: &str) -> String {
    match nearest(found, known) {
        Some(word) => hint(Some(word)),
        None => format!("; {lead} {}", known.join(", ")),
    }
}
