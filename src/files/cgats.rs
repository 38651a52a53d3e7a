//! Tables of measured fields in CGATS.17 text form: the densities of a wedge, by densities,
//! colorimetry or reflectance spectra.
//!
//! Only what a wedge needs: one table, its columns named between BEGIN_DATA_FORMAT and
//! END_DATA_FORMAT, its rows between BEGIN_DATA and END_DATA, one row a field in the order
//! of the wedge. Source: ANSI CGATS.17 (ASCII keyword format), from memory.

use std::path::Path;

use super::text::TextError;
use crate::measure::calibrating::References;
use crate::measure::nearest::nearest;
use crate::measure::units::density_of;
use crate::measure::visual::visual_density;

/// How density follows from what a column says.
type Conversion = fn(f64) -> f64;

/// A column that says how dark a field is.
type Column = (&'static str, Conversion);

/// The best column: the density that is wanted, as it is.
const VISUAL: Column = ("D_VIS", |density| density);

/// In the order of preference, after [`VISUAL`] and a spectrum. A neutral wedge looks the same
/// through the green filter as to the eye, so that column serves when nothing visual is there.
const COLUMNS: [Column; 3] = [
    ("XYZ_Y", |percent| density_of(percent / 100.0)),
    ("LAB_L", density_of_lightness),
    ("D_GREEN", |density| density),
];

/// Densities through filters.
const FILTERS: [Column; 3] = [
    ("D_RED", |density| density),
    ("D_GREEN", |density| density),
    ("D_BLUE", |density| density),
];

/// How columns of a spectrum begin; the wavelength in nanometres follows (from memory: the
/// standard has SPECTRAL_NM and SPECTRAL_PCT, programs write these).
const SPECTRAL: [&str; 5] = ["SPECTRAL_NM_", "SPECTRAL_NM", "SPECTRAL_", "SPEC_", "NM"];

/// Reflectance above which a spectrum is taken to be in percent.
const PERCENT: f64 = 1.5;

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

/// A table's columns and values.
struct Table<'a, 'b> {
    path: &'a Path,
    text: &'a str,
    format: &'b [Word<'a>],
    data: &'b [Word<'a>],
}

/// The densities of a table, in the order of its rows.
///
/// # Errors
/// [`TextError`] with line and column.
pub(super) fn references(path: &Path, text: &str) -> Result<References, TextError> {
    let words = words(text);
    let wrong = |byte: usize, what: String| TextError::at(path, text, byte, what);
    let format = between(&words, "BEGIN_DATA_FORMAT", "END_DATA_FORMAT")
        .map_err(|(byte, what)| wrong(byte, what))?;
    let data =
        between(&words, "BEGIN_DATA", "END_DATA").map_err(|(byte, what)| wrong(byte, what))?;
    let table = Table {
        path,
        text,
        format,
        data,
    };
    let start = format.first().map_or(0, |word| word.byte);
    let spectrum = table.spectral_columns();
    let column = table.column(VISUAL);
    let fallback = || COLUMNS.into_iter().find_map(|known| table.column(known));
    if column.is_none() && spectrum.is_empty() && fallback().is_none() {
        return Err(wrong(start, table.nothing_known()));
    }
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
    let visual = match column {
        Some(column) => table.densities(column)?,
        None if !spectrum.is_empty() => table.visual_densities(&spectrum)?,
        None => match fallback() {
            Some(column) => table.densities(column)?,
            None => Vec::new(),
        },
    };
    let filters = FILTERS.map(|known| table.column(known));
    let channels = match filters {
        [Some(red), Some(green), Some(blue)] => Some([
            table.densities(red)?,
            table.densities(green)?,
            table.densities(blue)?,
        ]),
        _ => None,
    };
    Ok(References { visual, channels })
}

impl Table<'_, '_> {
    fn column(&self, (name, conversion): Column) -> Option<(usize, Conversion)> {
        let column = self
            .format
            .iter()
            .position(|word| word.text.eq_ignore_ascii_case(name))?;
        Some((column, conversion))
    }

    /// Columns of a spectrum with their wavelengths, ascending.
    fn spectral_columns(&self) -> Vec<(usize, f64)> {
        let wavelength = |name: &str| {
            let name = name.to_ascii_uppercase();
            let digits = SPECTRAL.iter().find_map(|start| name.strip_prefix(start))?;
            let nm = digits.trim_start_matches('_').parse::<u16>().ok()?;
            (200..=2500).contains(&nm).then_some(f64::from(nm))
        };
        let mut columns: Vec<(usize, f64)> = self
            .format
            .iter()
            .enumerate()
            .filter_map(|(column, word)| Some((column, wavelength(word.text)?)))
            .collect();
        columns.sort_by(|a, b| a.1.total_cmp(&b.1));
        columns.dedup_by(|a, b| a.1 == b.1);
        columns
    }

    fn nothing_known(&self) -> String {
        let known: Vec<&str> = std::iter::once(VISUAL)
            .chain(COLUMNS)
            .map(|(name, _)| name)
            .collect();
        let near = self
            .format
            .iter()
            .find_map(|word| Some((word.text, nearest(word.text, &known)?)));
        let hint = near.map_or_else(String::new, |(found, meant)| {
            format!("; did you mean `{meant}` by `{found}`?")
        });
        format!(
            "no column says the density: one of {} is needed, or a spectrum (SPECTRAL_NM_380 \
             and so on){hint}",
            known.join(", ")
        )
    }

    fn wrong(&self, word: &Word<'_>, what: String) -> TextError {
        TextError::at(self.path, self.text, word.byte, what)
    }

    fn rows(&self) -> impl Iterator<Item = &[Word<'_>]> {
        self.data.chunks_exact(self.format.len())
    }

    fn densities(&self, (column, conversion): (usize, Conversion)) -> Result<Vec<f64>, TextError> {
        self.rows()
            .map(|row| {
                let word = &row[column];
                let number = word.text.parse::<f64>().ok();
                number
                    .map(conversion)
                    .filter(|density| density.is_finite())
                    .ok_or_else(|| {
                        self.wrong(
                            word,
                            format!(
                                "`{}` in column {} is not a density or a reflectance above 0",
                                word.text, self.format[column].text
                            ),
                        )
                    })
            })
            .collect()
    }

    fn visual_densities(&self, columns: &[(usize, f64)]) -> Result<Vec<f64>, TextError> {
        let mut spectra: Vec<Vec<(f64, f64)>> = Vec::new();
        for row in self.rows() {
            let mut spectrum = Vec::with_capacity(columns.len());
            for &(column, nm) in columns {
                let word = &row[column];
                let number = word.text.parse::<f64>().ok().filter(|r| r.is_finite());
                let number = number.ok_or_else(|| {
                    let column = self.format[column].text;
                    self.wrong(
                        word,
                        format!("`{}` in column {column} is no reflectance", word.text),
                    )
                })?;
                spectrum.push((nm, number));
            }
            spectra.push(spectrum);
        }
        let most = spectra
            .iter()
            .flatten()
            .map(|(_, r)| *r)
            .fold(0.0, f64::max);
        let scale = if most > PERCENT { 0.01 } else { 1.0 };
        self.rows()
            .zip(spectra)
            .map(|(row, mut spectrum)| {
                for (_, reflectance) in &mut spectrum {
                    *reflectance *= scale;
                }
                visual_density(&spectrum).ok_or_else(|| {
                    self.wrong(
                        &row[0],
                        "no visual density follows from this spectrum: it must reach from 420 to \
                         680 nm and reflect something"
                            .into(),
                    )
                })
            })
            .collect()
    }
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
        references(Path::new("wedge.txt"), text)
            .map(|found| found.visual)
            .map_err(|error| error.to_string())
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

    fn spectra(heads: &str, rows: &[&str]) -> String {
        format!(
            "CGATS.17\nBEGIN_DATA_FORMAT\nSAMPLE_ID {heads}\nEND_DATA_FORMAT\nBEGIN_DATA\n{}\n\
             END_DATA\n",
            rows.join("\n")
        )
    }

    #[test]
    fn a_spectrum_gives_visual_density_as_a_share_or_in_percent() {
        let wavelengths: Vec<u32> = (0..=30).map(|i| 400 + 10 * i).collect();
        for head in ["SPECTRAL_NM_", "SPECTRAL_NM", "SPEC_", "nm"] {
            let heads: Vec<String> = wavelengths.iter().map(|nm| format!("{head}{nm}")).collect();
            for (white, grey) in [("0.9", "0.18"), ("90", "18")] {
                let row = |number, value: &str| format!("{number} {}", [value; 31].join(" "));
                let (one, two) = (row(1, white), row(2, grey));
                let found = read(&spectra(&heads.join(" "), &[&one, &two])).unwrap();
                // ISO 5-4: D = -log10 R; a grey has it under every weighting.
                assert!((found[0] - 0.045_757).abs() < 1e-5, "{head}: {found:?}");
                assert!((found[1] - 0.744_727).abs() < 1e-5, "{head}: {found:?}");
            }
        }
        let short = spectra("NM500 NM550 NM600", &["1 0.9 0.9 0.9", "2 0.5 0.5 0.5"]);
        let error = read(&short).unwrap_err();
        assert!(
            error.starts_with("wedge.txt:6:1: no visual density"),
            "{error}"
        );
        let words = spectra("NM400 NM700", &["1 0.9 bright"]);
        let error = read(&words).unwrap_err();
        assert!(
            error.contains("`bright` in column NM700 is no reflectance"),
            "{error}"
        );
    }

    #[test]
    fn densities_through_filters_go_to_their_channels() {
        let table = spectra(
            "D_VIS D_BLUE D_RED D_GREEN",
            &["1 .5 .53 .48 .5", "2 1 1.1 .9 1"],
        );
        let found = references(Path::new("wedge.txt"), &table).unwrap();
        assert_eq!(found.visual, vec![0.5, 1.0]);
        let [red, green, blue] = found.channels.unwrap();
        assert_eq!(
            (red, green, blue),
            (vec![0.48, 0.9], vec![0.5, 1.0], vec![0.53, 1.1])
        );
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
