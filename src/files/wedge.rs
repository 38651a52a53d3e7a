//! Lists of wedge densities: plain text, or a CGATS.17 table.

use std::path::Path;

use super::cgats;
use super::text::{TextError, read_text};
use crate::document::check::check_densities;
use crate::measure::calibrating::References;

/// Reads the densities of a wedge from a file: plain numbers, one a line or several separated
/// by blanks or commas, `#` begins a comment; or a CGATS.17 table.
///
/// # Errors
/// [`TextError`] with line and column.
pub fn read_wedge(path: &Path) -> Result<Vec<f64>, TextError> {
    from_text(path, &read_text(path)?)
}

/// Reads all reference densities of a wedge from such a file: the visual ones, and those through
/// filters where the table has D_RED, D_GREEN and D_BLUE.
///
/// # Errors
/// [`TextError`] with line and column.
pub fn read_references(path: &Path) -> Result<References, TextError> {
    references_from_text(path, &read_text(path)?)
}

/// The same from the text of such a file.
///
/// # Errors
/// [`TextError`] with line and column.
pub fn references_from_text(path: &Path, text: &str) -> Result<References, TextError> {
    let references = if cgats::is_table(text) {
        cgats::references(path, text)?
    } else {
        References {
            visual: plain(path, text)?,
            channels: None,
        }
    };
    let wrong = |what: String| TextError::at(path, text, 0, what);
    check_densities(&references.visual).map_err(wrong)?;
    for densities in references.channels.iter().flatten() {
        check_densities(densities).map_err(wrong)?;
    }
    Ok(references)
}

/// The densities of a wedge from the text of such a file; `path` is what messages call it.
///
/// # Errors
/// [`TextError`] with line and column.
pub fn from_text(path: &Path, text: &str) -> Result<Vec<f64>, TextError> {
    references_from_text(path, text).map(|references| references.visual)
}

fn plain(path: &Path, text: &str) -> Result<Vec<f64>, TextError> {
    listed(text).map_err(|(byte, what)| TextError::at(path, text, byte, what))
}

/// Densities as a person lists them: separated by blanks, commas or line ends, `#` begins a
/// comment.
///
/// # Errors
/// Where the text is no list of densities (bytes from its start), and what is wrong.
pub fn listed(text: &str) -> Result<Vec<f64>, (usize, String)> {
    let mut densities = Vec::new();
    let mut start = 0;
    for line in text.split_inclusive('\n') {
        let content = line.split('#').next().unwrap_or_default();
        let mut at = start;
        for group in content.split([' ', '\t', '\r', '\n']) {
            refuse_decimal_comma(group).map_err(|(byte, what)| (at + byte, what))?;
            for word in group.split([',', ';']) {
                if !word.is_empty() {
                    let density = word.parse::<f64>().ok().filter(|d| d.is_finite());
                    densities.push(density.ok_or_else(|| (at, no_density(word)))?);
                }
                // Every separator is one byte.
                at += word.len() + 1;
            }
        }
        start += line.len();
    }
    Ok(densities)
}

/// In `0,15` the comma is a decimal mark; in `0.05,0.20` it separates.
fn refuse_decimal_comma(group: &str) -> Result<(), (usize, String)> {
    let bytes = group.as_bytes();
    let digit = |at: usize| bytes.get(at).is_some_and(u8::is_ascii_digit);
    let comma = group
        .match_indices(',')
        .map(|(at, _)| at)
        .find(|&at| at > 0 && digit(at - 1) && digit(at + 1));
    match comma {
        Some(at) if !group.contains('.') => Err((
            at,
            "a comma between digits: write densities with a decimal point (0.15), and put a \
             space after a comma that separates"
                .into(),
        )),
        _ => Ok(()),
    }
}

fn no_density(word: &str) -> String {
    let shown: String = word.chars().take(30).collect();
    format!("`{shown}` is not a density; write one number a line, such as 0.15")
}

#[cfg(test)]
mod tests {
    use super::*;

    fn read(text: &str) -> Result<Vec<f64>, String> {
        plain(Path::new("wedge.txt"), text).map_err(|error| error.to_string())
    }

    #[test]
    fn a_plain_list_may_have_one_density_a_line_or_several() {
        let expected = Ok(vec![0.05, 0.2, 0.35]);
        assert_eq!(read("# our wedge\n0.05\n0.20 # second\r\n0.35\n"), expected);
        assert_eq!(read("0.05,0.20,0.35"), expected);
        assert_eq!(read("0.05; 0.20\n 0.35"), expected);
        assert_eq!(read("0, 1, 2"), Ok(vec![0.0, 1.0, 2.0]));
    }

    #[test]
    fn a_decimal_comma_is_refused_with_its_place() {
        let error = read("0.05\n0,20\n").unwrap_err();
        assert!(
            error.starts_with("wedge.txt:2:2: a comma between digits"),
            "{error}"
        );
    }

    #[test]
    fn what_is_no_number_is_named_with_its_place() {
        let error = read("0.05\n  white\n").unwrap_err();
        assert!(
            error.starts_with("wedge.txt:2:3: `white` is not a density"),
            "{error}"
        );
        assert!(read("0.05 NaN 0.3").unwrap_err().contains("`NaN`"));
        assert!(read("0.05 inf 0.3").is_err());
    }
}
