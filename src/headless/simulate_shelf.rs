//! `twinstrip simulate --sessions`: practice sessions that repeat one test, and the profiles that
//! they feed.

use std::path::Path;

use super::arguments::{Reading, Simulate};
use super::exit::{Failure, Outcome};
use super::json::PROGRAM;
use super::progress::Progress;
use super::{load, output, simulate};
use crate::document::day::Day;
use crate::document::profile::{Evidence, Field, Origin, Profile, Put};
use crate::files::atomic;
use crate::files::shelf::Shelf;
use crate::measure::analysis::analyse;
use crate::measure::watch::Watch as _;
use crate::simulate::shelf::{Repeat, Series, coat_name, plan};

/// Day of the first session: invented, so that the same seed gives the same profiles.
const FIRST_DAY: &str = "2026-03-02";
/// Emulsion that each coat lays on a square decimetre, millilitres.
const COAT_ML: f64 = 0.9;

pub(super) fn run(task: &Simulate, sessions: u64) -> Result<Outcome, Failure> {
    let series = Series {
        seed: task.seed,
        level: task.level.into(),
        sessions: sessions as usize,
        coats: task.coupons.unwrap_or(3) as usize,
        drift: task.drift,
        fog: task.fog,
        dpi: task.dpi.unwrap_or(150.0),
    };
    let progress = Progress::start(task.quiet);
    let (repeats, truth) = plan(&series);
    let first: Day = FIRST_DAY
        .parse()
        .map_err(|error| Failure::usage(format!("{FIRST_DAY}: {error}")))?;
    let mut profiles: Vec<Profile> = (1..=series.coats)
        .map(|coats| named(coats, first))
        .collect();
    progress.stage("making practice scans and solving them");
    for (number, repeat) in repeats.iter().enumerate() {
        progress.at(number, repeats.len())?;
        let folder = task.folder.join(format!("session-{}", number + 1));
        simulate::one(&folder, &repeat.recipe, task.overwrite)?;
        feed(&mut profiles, &folder, number + 1, first, repeat, &progress)?;
    }
    let shelf = Shelf::new(task.folder.join("shelf"));
    for profile in profiles {
        let put = Put {
            before: None,
            after: Some(profile),
        };
        shelf.put(None, &put)?;
    }
    progress.finish();
    let mut truth = serde_json::to_string_pretty(&truth)
        .map_err(|error| Failure::not_written(error.to_string()))?;
    truth.push('\n');
    atomic::write(&task.folder.join("truth.json"), truth.as_bytes())?;
    output::remark(
        &format!(
            "{} written; try: twinstrip profile pool --shelf {} \"{}\"",
            task.folder.display(),
            shelf.folder().display(),
            profile_name(1)
        ),
        task.quiet,
    );
    Ok(Outcome::Answered)
}

fn profile_name(coats: usize) -> String {
    format!("{} (invented data)", coat_name(coats))
}

/// A profile with what a printmaker would say of such a coating.
fn named(coats: usize, first: Day) -> Profile {
    let mut profile = Profile::named(profile_name(coats));
    let wet = format!("{:.1} ml", COAT_ML * coats as f64);
    let opened = first.later(-1).to_string();
    let count = coats.to_string();
    for (field, said) in [
        (Field::Emulsion, "liquid silver bromide"),
        (Field::Batch, "practice"),
        (Field::Opened, &opened),
        (Field::Ground, "reclaimed roof slate"),
        (Field::SizeLayer, "gelatine, hardened"),
        (Field::Coats, &count),
        (Field::Wet, &wet),
        (Field::Developer, "print developer"),
        (Field::Dilution, "1+9"),
        (Field::Temperature, "20"),
        (Field::Time, "2m"),
        (Field::Paper, "fibre paper"),
        (Field::Price, "48 EUR/l"),
        (
            Field::Notes,
            "Invented data: practice scans of harbour slates that never were.",
        ),
    ] {
        let taken = profile.particulars.set(field, said);
        debug_assert!(taken.is_ok(), "{taken:?}");
    }
    profile
}

/// Solves the session in a folder, as anybody would who finds it there, and keeps its pairs. A
/// pair without an answer is told of and left out.
fn feed(
    profiles: &mut [Profile],
    folder: &Path,
    number: usize,
    first: Day,
    repeat: &Repeat,
    progress: &Progress,
) -> Result<(), Failure> {
    let file = folder.join("session.ron");
    let reading = Reading {
        encoding: None,
        max_pixels: None,
        quiet: true,
    };
    let loaded = load::session(&file, &reading, None, progress)?;
    let analysis = analyse(&loaded.question(), progress)?;
    let origin = Origin {
        session: format!("session-{number}.ron"),
        hash: loaded.session_hash().to_owned(),
        scans: loaded.scan_marks(),
        date: Some(first.later(repeat.day)),
        opened: None,
        remelts: Some(repeat.remelts),
        program: PROGRAM.to_owned(),
        note: "invented data".into(),
    };
    for (place, profile) in profiles.iter_mut().enumerate() {
        let wanted = coat_name(place + 1);
        let found = analysis.pairs.iter().position(|pair| {
            let strip = loaded.session.strips.get(pair.coupon);
            strip.is_some_and(|strip| strip.name == wanted)
        });
        let evidence =
            found.map(|pair| Evidence::of(&loaded.session, &analysis, pair, origin.clone()));
        match evidence {
            Some(Ok(evidence)) => *profile = profile.with(evidence),
            Some(Err(why)) => output::complain(&format!("session {number}: {why}")),
            None => output::complain(&format!("session {number}: {wanted} was not measured")),
        }
    }
    Ok(())
}
