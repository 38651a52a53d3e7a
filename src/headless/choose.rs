//! Choosing among the readings of strips in doubt.

use std::path::Path;

use super::entry::ReadingChoice;
use super::exit::Failure;
use super::load::Loaded;
use super::output;
use crate::document::{Edit, Session};
use crate::files::session::{read_session, write_session};
use crate::measure::analysis::Analysis;
use crate::measure::nearest::{hint, nearest};

/// Carries the choices out on the session as it was loaded, and keeps them in its file; the file's
/// other words stay as they stand there.
pub(super) fn choose(
    choices: &[ReadingChoice],
    file: &Path,
    loaded: &mut Loaded,
    analysis: &Analysis,
    quiet: bool,
) -> Result<(), Failure> {
    let edits = choices
        .iter()
        .map(|choice| edit(choice, &loaded.session, analysis))
        .collect::<Result<Vec<_>, _>>()
        .map_err(Failure::usage)?;
    let after = |session: Session| {
        edits
            .iter()
            .try_fold(session, |session, edit| edit.apply(&session))
            .map_err(|error| Failure::usage(error.to_string()))
    };
    write_session(file, &after(read_session(file)?)?)?;
    loaded.session = after(loaded.session.clone())?;
    output::remark(&format!("{} written", file.display()), quiet);
    Ok(())
}

fn edit(choice: &ReadingChoice, session: &Session, analysis: &Analysis) -> Result<Edit, String> {
    let names: Vec<&str> = session.strips.iter().map(|s| s.name.as_str()).collect();
    let strip = names
        .iter()
        .position(|name| *name == choice.strip)
        .ok_or_else(|| {
            format!(
                "the session has no strip `{}`{}",
                choice.strip,
                hint(nearest(&choice.strip, &names))
            )
        })?;
    let located = analysis.strips.get(strip).and_then(|s| s.located.as_ref());
    let readings = located.map_or(&[][..], |located| &located.readings);
    let reading = readings.get(choice.number - 1).ok_or_else(|| {
        let count = match readings.len() {
            0 => "was not found, so it has no reading".to_owned(),
            1 => "has one reading".to_owned(),
            count => format!("has {count} readings"),
        };
        format!(
            "{} {count}; there is no reading {}",
            choice.strip, choice.number
        )
    })?;
    Ok(Edit::ChooseReading {
        strip,
        shape: reading.shape.clone(),
    })
}
