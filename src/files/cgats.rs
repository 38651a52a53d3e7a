//! Tables of measured fields in CGATS.17 text form: the densities of a wedge.
//!
//! Only what a wedge needs: one table, its columns named between BEGIN_DATA_FORMAT and
//! END_DATA_FORMAT, its rows between BEGIN_DATA and END_DATA, one row a field in the order
//! of the wedge. Source: ANSI CGATS.17 (ASCII keyword format), from memory.

use std::path::Path;

use super::text::TextError;
use crate::measure::nearest::nearest;
use crate::measure::units::density_of;

/// How density follows from what a column says.
type Conversion = fn(f64) -> f64;

/// A column that says how dark a field is.
type Column = (&'static str, Conversion);

/// In the order of preference. A neutral wedge looks the same through the green filter as to
/// the eye, so that column serves when nothing visual is there.
const COLUMNS: [Column; 4] = [
    ("D_VIS", |density| density),
    ("XYZ_Y", |percent| density_of(percent / 100.0)),
    ("LAB_L", density_of_lightness),
    ("D_GREEN", |density| density),
];

/// Density of a CIE 1976 lightness L*, 0 to 100.
///
/// Source: CIE 15 / ISO 11664-4, with 24389/27 exactly.
/// Checked against: testdata/references/Lstar_to_density.csv.
fn density_of_lightness(lightness: f64) -> f64 {
    let luminance = if lightness > 8.0 {
        ((lightness + 16.0) / 116.0).powi(3)
    } else {
        lightness * 27.0 / 24389.0
    };
    density_of(luminance)
}

/// Whether a text is such a table rather than a plain list.
pub(super) fn is_table(text: &str) -> bool {
    text.contains("BEGIN_DATA")
}

/// A word and where it begins.
struct Word<'a> {
    text: &'a str,
    byte: usize,
}

/// The densities of a table, in the order of its rows.
///
/// # Errors
/// [`TextError`] with line and column.
pub(super) fn densities(path: &Path, text: &str) -> Result<Vec<f64>, TextError> {
    let words = words(text);
    let wrong = |byte: usize, what: String| TextError::at(path, text, byte, what);
    let format = between(&words, "BEGIN_DATA_FORMAT", "END_DATA_FORMAT")
        .map_err(|(byte, what)| wrong(byte, what))?;
    let data =
        between(&words, "BEGIN_DATA", "END_DATA").map_err(|(byte, what)| wrong(byte, what))?;
    let start = format.first().map_or(0, |word| word.byte);
    let Some((column, density_of)) = choose(format) else {
        let known: Vec<&str> = COLUMNS.iter().map(|(name, _)| *name).collect();
        let near = format
            .iter()
            .find_map(|word| Some((word.text, nearest(word.text, &known)?)));
        let hint = near.map_or_else(String::new, |(found, meant)| {
            format!("; did you mean `{meant}` by `{found}`?")
        });
        return Err(wrong(
            start,
            format!(
                "no column says the density: one of {} is needed{hint}",
                known.join(", ")
            ),
        ));
    };
    if data.is_empty() || data.len() % format.len() != 0 {
        let byte = data.last().map_or(start, |word| word.byte);
        return Err(wrong(
            byte,
            format!(
                "{} values don't fill rows of {} columns",
                data.len(),
                format.len()
            ),
        ));
    }
    data.chunks_exact(format.len())
        .map(|row| {
            let word = &row[column];
            let number = word.text.parse::<f64>().ok();
            number
                .map(density_of)
                .filter(|density| density.is_finite())
                .ok_or_else(|| {
                    wrong(
                        word.byte,
                        format!(
                            "`{}` in column {} is not a density or a reflectance above 0",
                            word.text, format[column].text
                        ),
                    )
                })
        })
        .collect()
}

fn choose(format: &[Word<'_>]) -> Option<(usize, Conversion)> {
    COLUMNS.iter().find_map(|(name, density_of)| {
        let column = format
            .iter()
            .position(|word| word.text.eq_ignore_ascii_case(name))?;
        Some((column, *density_of))
    })
}

fn between<'a, 'b>(
    words: &'b [Word<'a>],
    begin: &str,
    end: &str,
) -> Result<&'b [Word<'a>], (usize, String)> {
    let from = words
        .iter()
        .position(|word| word.text == begin)
        .ok_or((0, format!("the table has no {begin}")))?;
    let inside = &words[from + 1..];
    let to = inside
        .iter()
        .position(|word| word.text == end)
        .ok_or((words[from].byte, format!("{begin} without {end}")))?;
    Ok(&inside[..to])
}

/// Words separated by blanks; quotes hold words together, `#` begins a comment.
fn words(text: &str) -> Vec<Word<'_>> {
    let mut words = Vec::new();
    let mut start = 0;
    for line in text.split_inclusive('\n') {
        let mut at = 0;
        while let Some(skip) = line[at..].find(|c: char| !c.is_whitespace()) {
            at += skip;
            let rest = &line[at..];
            if rest.starts_with('#') {
                break;
            }
            let length = match rest.strip_prefix('"') {
                Some(quoted) => quoted.find('"').map_or(rest.len(), |end| end + 2),
                None => rest.find(char::is_whitespace).unwrap_or(rest.len()),
            };
            words.push(Word {
                text: rest[..length].trim_end().trim_matches('"'),
                byte: start + at,
            });
            at += length;
        }
        start += line.len();
    }
    words
}

#[cfg(test)]
mod tests {
    use super::*;

    const TABLE: &str = "CGATS.17\nORIGINATOR \"invented data\"\nNUMBER_OF_FIELDS 3\n\
        BEGIN_DATA_FORMAT\nSAMPLE_ID LAB_L D_VIS\nEND_DATA_FORMAT\nNUMBER_OF_SETS 3\n\
        BEGIN_DATA\n1 95.0 0.05 # paper white\n\"field 2\" 70 0.40\n3 40 0.95\nEND_DATA\n";

    fn read(text: &str) -> Result<Vec<f64>, String> {
        densities(Path::new("wedge.txt"), text).map_err(|error| error.to_string())
    }

    #[test]
    fn visual_density_is_preferred_and_rows_keep_their_order() {
        assert!(is_table(TABLE));
        assert_eq!(read(TABLE), Ok(vec![0.05, 0.4, 0.95]));
    }

    #[test]
    fn density_follows_from_luminance_where_none_is_listed() {
        let table = TABLE.replace("LAB_L D_VIS", "XYZ_Y D_SOMETHING");
        let densities = read(&table.replace("95.0", "10")).unwrap();
        assert!((densities[0] - 1.0).abs() < 1e-12);
    }

    #[test]
    fn density_of_lightness_is_that_of_the_cie() {
        // CIE 15 / ISO 11664-4, recomputed; see testdata/references/README.md.
        let table = include_str!("../../testdata/references/Lstar_to_density.csv");
        let mut checked = 0;
        for line in table.lines().skip(1) {
            let columns: Vec<&str> = line.split(',').collect();
            let number = |column: usize| columns[column].parse::<f64>();
            let (Ok(lightness), Ok(density)) = (number(0), number(DENSITY_COLUMN)) else {
                continue;
            };
            if density.is_finite() {
                assert!((density_of_lightness(lightness) - density).abs() < 1e-9);
                checked += 1;
            }
        }
        assert!(checked >= 25);
    }
    const DENSITY_COLUMN: usize = 2;

    #[test]
    fn errors_name_line_and_column_and_the_nearest_column() {
        let error = read(&TABLE.replace("D_VIS", "D_VSI").replace("LAB_L", "OTHER")).unwrap_err();
        assert!(
            error.starts_with("wedge.txt:5:1: no column says the density"),
            "{error}"
        );
        assert!(
            error.contains("did you mean `D_VIS` by `D_VSI`?"),
            "{error}"
        );
        let error = read(&TABLE.replace("0.40", "grey")).unwrap_err();
        assert!(
            error.starts_with("wedge.txt:10:14: `grey` in column D_VIS"),
            "{error}"
        );
        assert!(
            read(&TABLE.replace("END_DATA\n", ""))
                .unwrap_err()
                .contains("without END_DATA")
        );
        assert!(
            read(&TABLE.replace("0.40", ""))
                .unwrap_err()
                .contains("8 values don't fill")
        );
    }
}
