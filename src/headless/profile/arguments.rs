//! What can be said of profiles on the command line.

use std::path::PathBuf;

use clap::{Args, Subcommand};

use super::super::arguments::Reading;
use crate::document::day::Day;
use crate::document::profile::{Field, SessionField};

/// What goes for all of them.
#[derive(Debug, Args)]
#[command(after_help = "\
PROFILE is a profile's name or its file's name on the shelf. FIELD is one of: emulsion, batch,
opened, ground, size_layer, hardener, coats, wet, drying, developer, dilution, temperature, time,
paper, grade, enlarger, lens, light, scanner, price, notes (docs/profiles.md).

Example:
  twinstrip profile keep session.ron \"slate, two coats\" --new --say coats=2 --say \"wet=2.1 ml\"
  twinstrip profile pool \"slate, two coats\"")]
pub(in crate::headless) struct Profiles {
    /// Folder of the profiles; TWINSTRIP_SHELF or your data folder if left out
    #[arg(long, value_name = "FOLDER", global = true)]
    pub(super) shelf: Option<PathBuf>,
    /// Print JSON (docs/json.md) instead of text
    #[arg(long, global = true)]
    pub(super) json: bool,
    #[command(subcommand)]
    pub(super) deed: Deed,
}

#[derive(Debug, Subcommand)]
pub(super) enum Deed {
    /// Solve a session and keep one of its pairs in a profile
    Keep(Keep),
    /// List the profiles that hold all these words
    List(List),
    /// Say all that a profile holds
    Show(Show),
    /// Say what a material is: emulsion, batch, ground, coats and so on
    Say(Say),
    /// Give a profile another name
    Rename(Named),
    /// Make a profile with the same particulars and no sessions
    Copy(Named),
    /// Put a profile aside: kept, but no longer listed
    Retire(One),
    /// Take a profile back that was put aside
    Revive(One),
    /// Say a session's day, remelts, bottle or note
    Correct(Correct),
    /// Take a session out of a profile
    Drop(Drop),
    /// Write a profile to a file elsewhere
    Export(Export),
    /// Take a profile's file onto the shelf
    Import(Import),
    /// Hold two profiles against each other
    Beside(Beside),
    /// Say what the sessions of a profile tell together, and what the next will be
    Pool(Pool),
}

#[derive(Debug, Args)]
pub(super) struct Keep {
    /// The session file
    #[arg(value_name = "SESSION")]
    pub(super) session: PathBuf,
    /// The profile
    #[arg(value_name = "PROFILE")]
    pub(super) profile: String,
    /// Make the profile
    #[arg(long)]
    pub(super) new: bool,
    /// Which coated strip, where the session has several
    #[arg(long, value_name = "STRIP")]
    pub(super) coupon: Option<String>,
    /// Day of the session, such as 2026-11-25; the day of the first scan if left out
    #[arg(long, value_name = "DATE")]
    pub(super) date: Option<Day>,
    /// Day on which the bottle was opened, where it isn't the profile's
    #[arg(long, value_name = "DATE")]
    pub(super) opened: Option<Day>,
    /// How many times the emulsion had been melted again before
    #[arg(long, value_name = "COUNT", value_parser = clap::value_parser!(u32).range(0..=1000))]
    pub(super) remelts: Option<u32>,
    /// Whatever is worth remembering of this session
    #[arg(long, value_name = "TEXT", default_value = "")]
    pub(super) note: String,
    /// A particular of the material, such as coats=2
    #[arg(long = "say", value_name = "FIELD=TEXT", value_parser = said)]
    pub(super) say: Vec<(Field, String)>,
    /// Calibration file of the scanner, for scans without a wedge; goes before the session's
    #[arg(long, value_name = "FILE")]
    pub(super) calibration: Option<PathBuf>,
    #[command(flatten)]
    pub(super) reading: Reading,
}

#[derive(Debug, Args)]
pub(super) struct List {
    /// Words that must all stand in its name, particulars or sessions
    #[arg(value_name = "WORD")]
    pub(super) words: Vec<String>,
    /// Only those whose field holds this text
    #[arg(long = "with", value_name = "FIELD=TEXT", value_parser = said)]
    pub(super) with: Vec<(Field, String)>,
    /// Those that were put aside, too
    #[arg(long)]
    pub(super) retired: bool,
}

#[derive(Debug, Args)]
pub(super) struct Show {
    /// The profile
    #[arg(value_name = "PROFILE")]
    pub(super) profile: String,
    /// Work every answer out again from the readings that are kept
    #[arg(long)]
    pub(super) anew: bool,
}

#[derive(Debug, Args)]
pub(super) struct Say {
    /// The profile
    #[arg(value_name = "PROFILE")]
    pub(super) profile: String,
    /// A particular, such as coats=2; an empty text unsays it
    #[arg(value_name = "FIELD=TEXT", required = true, value_parser = said)]
    pub(super) say: Vec<(Field, String)>,
}

#[derive(Debug, Args)]
pub(super) struct Named {
    /// The profile
    #[arg(value_name = "PROFILE")]
    pub(super) profile: String,
    /// The other name
    #[arg(value_name = "NAME")]
    pub(super) name: String,
}

#[derive(Debug, Args)]
pub(super) struct One {
    /// The profile
    #[arg(value_name = "PROFILE")]
    pub(super) profile: String,
}

#[derive(Debug, Args)]
pub(super) struct Correct {
    /// The profile
    #[arg(value_name = "PROFILE")]
    pub(super) profile: String,
    /// Number of the session, as `show` counts them
    #[arg(value_name = "NUMBER")]
    pub(super) session: u64,
    /// date, opened, remelts or note, such as remelts=2; an empty text unsays it
    #[arg(value_name = "FIELD=TEXT", required = true, value_parser = said_of_session)]
    pub(super) say: Vec<(SessionField, String)>,
}

#[derive(Debug, Args)]
pub(super) struct Drop {
    /// The profile
    #[arg(value_name = "PROFILE")]
    pub(super) profile: String,
    /// Number of the session, as `show` counts them
    #[arg(value_name = "NUMBER")]
    pub(super) session: u64,
}

#[derive(Debug, Args)]
pub(super) struct Export {
    /// The profile
    #[arg(value_name = "PROFILE")]
    pub(super) profile: String,
    /// The file to write
    #[arg(value_name = "FILE")]
    pub(super) file: PathBuf,
    /// Replace an older state of this profile; it is kept with `.before` added to its name
    #[arg(long)]
    pub(super) overwrite: bool,
}

#[derive(Debug, Args)]
pub(super) struct Import {
    /// The profile's file
    #[arg(value_name = "FILE")]
    pub(super) file: PathBuf,
    /// Another name for it
    #[arg(long, value_name = "NAME")]
    pub(super) name: Option<String>,
}

#[derive(Debug, Args)]
pub(super) struct Beside {
    /// One profile
    #[arg(value_name = "PROFILE")]
    pub(super) left: String,
    /// The other
    #[arg(value_name = "PROFILE")]
    pub(super) right: String,
}

#[derive(Debug, Args)]
pub(super) struct Pool {
    /// The profile
    #[arg(value_name = "PROFILE")]
    pub(super) profile: String,
    /// How near the next session's speed must be foretold to count as settled, in stops
    #[arg(long, value_name = "STOPS", value_parser = tolerance)]
    pub(super) within: Option<f64>,
}

/// `FIELD=TEXT`, a field that makes sense.
fn said(text: &str) -> Result<(Field, String), String> {
    let (word, said) = text
        .split_once('=')
        .ok_or("write a field, = and what it says: coats=2")?;
    Ok((Field::of_word(word)?, said.to_owned()))
}

/// `FIELD=TEXT` of a session.
fn said_of_session(text: &str) -> Result<(SessionField, String), String> {
    let (word, said) = text
        .split_once('=')
        .ok_or("write a field, = and what it says: remelts=2")?;
    Ok((SessionField::of_word(word)?, said.to_owned()))
}

/// Stops, as a number or a fraction.
fn tolerance(text: &str) -> Result<f64, String> {
    crate::measure::exposure::entry::stops(text)
        .map_err(|error| error.to_string())
        .and_then(|stops| match stops {
            stops if stops > 0.0 && stops <= 3.0 => Ok(stops),
            _ => Err("write stops above 0 and at most 3, such as 1/6".into()),
        })
}
