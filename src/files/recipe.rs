//! The recipe file: how a negative was printed on paper, versioned RON that a person can
//! write by hand.
//!
//! docs/planning.md describes it.

use std::path::Path;

use serde::{Deserialize, Serialize};

use super::atomic::{self, WriteRefused};
use super::explain::explain;
use super::layout::{file_text, ron_options, tamed};
use super::text::{LARGEST, TextError, check_size, line_and_column, read_text};
use crate::document::planning::KeptRecipe;
use crate::measure::plan::Recipe;

/// Version of the recipe file that this program writes, and the newest that it reads.
pub const VERSION: u64 = 1;

#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[serde(rename = "Recipe", deny_unknown_fields)]
struct RecipeFields {
    version: u64,
    #[serde(default)]
    negative: String,
    base: String,
    #[serde(default)]
    changes: Vec<String>,
    #[serde(default, skip_serializing_if = "String::is_empty")]
    notes: String,
}

/// Reads a recipe file.
///
/// # Errors
/// [`TextError`] with line and column.
pub fn read_recipe(path: &Path) -> Result<KeptRecipe, TextError> {
    from_text(path, &read_text(path)?)
}

/// Reads the text of a recipe file; `path` is for messages.
///
/// # Errors
/// [`TextError`] with line and column.
pub fn from_text(path: &Path, text: &str) -> Result<KeptRecipe, TextError> {
    let text = &*tamed(text);
    refuse_newer(path, text)?;
    let fields: RecipeFields = ron_options()
        .from_str(text)
        .map_err(|error| explain(path, text, &error))?;
    let at = |written: &str, what: String| {
        // Texts with escaped letters stand otherwise in the file; then the field is meant.
        let byte = text.find(written).or_else(|| text.find("base"));
        TextError::at(path, text, byte.unwrap_or(0), what)
    };
    let mut recipe = match Recipe::read(&fields.base) {
        Ok(recipe) => recipe,
        Err(error) => return Err(at(&fields.base, error.what)),
    };
    for line in &fields.changes {
        let change = recipe
            .read_change(line)
            .map_err(|error| at(line, error.what))?;
        recipe.changes.push(change);
    }
    Ok(KeptRecipe {
        negative: fields.negative,
        recipe,
        notes: fields.notes,
    })
}

/// The version alone, so that a newer file is refused for being newer and not for a word that
/// this program doesn't know yet.
fn refuse_newer(path: &Path, text: &str) -> Result<(), TextError> {
    #[derive(Deserialize)]
    #[serde(rename = "Recipe")]
    struct OnlyVersion {
        version: u64,
    }
    match ron_options().from_str::<OnlyVersion>(text) {
        Ok(only) if only.version > VERSION => {
            let (line, column) = line_and_column(text, text.find("version").unwrap_or(0));
            Err(TextError::TooNew {
                path: path.to_owned(),
                line,
                column,
                found: only.version,
                known: VERSION,
            })
        }
        // What is wrong with the text is said in full when it is read in full.
        _ => Ok(()),
    }
}

/// The text of a recipe file; reading it gives the same recipe.
///
/// # Errors
/// When it can't be written as RON.
pub fn to_text(kept: &KeptRecipe) -> Result<String, String> {
    let written = kept.recipe.written();
    let mut lines = written.lines().map(str::to_owned);
    let fields = RecipeFields {
        version: VERSION,
        negative: kept.negative.clone(),
        base: lines.next().unwrap_or_default(),
        changes: lines.collect(),
        notes: kept.notes.clone(),
    };
    file_text(&fields, 3)
}

/// Writes a recipe file, whole or not at all.
///
/// # Errors
/// [`WriteRefused`] when the disk refuses.
pub fn write_recipe(path: &Path, kept: &KeptRecipe) -> Result<(), WriteRefused> {
    let text = to_text(kept).map_err(|what| WriteRefused {
        path: path.to_owned(),
        source: std::io::Error::new(std::io::ErrorKind::InvalidData, what),
    })?;
    check_size(path, &text, LARGEST)?;
    atomic::write(path, text.as_bytes())
}

#[cfg(test)]
mod tests {
    use super::*;

    fn read(text: &str) -> Result<KeptRecipe, TextError> {
        from_text(Path::new("harbour.ron"), text)
    }

    #[test]
    fn a_recipe_file_is_read_and_written_back_as_the_same() {
        let kept = read(
            "Recipe(version: 1, negative: \"harbour \\\"north\\\"\",\n\
             base: \"10s grade 2 factor 1.6 at f/8, magnified 4x, lens 80mm\",\n\
             changes: [\"burn sky: 1/2 stop\", \"dodge boat 3s\"], notes: \"dry down\")",
        )
        .unwrap();
        assert_eq!(kept.recipe.changes.len(), 2);
        assert_eq!(read(&to_text(&kept).unwrap()), Ok(kept));
    }

    #[test]
    fn what_is_wrong_is_said_with_line_column_and_the_word_that_was_meant() {
        for (text, said) in [
            (
                "Recipe(version: 1,\n  base: \"10s at f/8, magnifed 4x\")",
                "harbour.ron:2:10: `magnifed` is not known here; did you mean `magnified`?",
            ),
            (
                "Recipe(version: 1,\n  base: \"10s at f/8\",\n  changes: [\"brun sky: 1s\"])",
                "harbour.ron:3:14: `brun` is not known here; did you mean `burn`?",
            ),
            (
                "Recipe(version: 1, bace: \"10s at f/8\")",
                "harbour.ron:1:20: `bace` is not known here; did you mean `base`?",
            ),
            (
                "Recipe(version: 7, base: \"10s at f/8\", weather: \"fine\")",
                "harbour.ron:1:8: version 7 is newer than this program understands (1); use a \
                 newer one",
            ),
        ] {
            assert_eq!(read(text).unwrap_err().to_string(), said, "{text}");
        }
    }
}
