//! `twinstrip new`: a session file from arguments.

use std::path::Path;

use clap::ArgMatches;

use super::arguments::New;
use super::exit::{Failure, Outcome};
use super::output;
use super::{entry, load};
use crate::document::{Scan, Session, Strip};
use crate::files::output::{Kind, Replace, check, make_way};
use crate::files::paths::seen_from;
use crate::files::session::write_session;
use crate::measure::strip::Role;

pub(super) fn run(task: &New, matches: Option<&ArgMatches>) -> Result<Outcome, Failure> {
    let replace = Replace::when(task.overwrite);
    check(&task.session, replace, &Kind::Session)?;
    let folder = task.session.parent().unwrap_or(Path::new(""));
    let mut session = Session {
        scans: task
            .scan
            .iter()
            .map(|path| Scan {
                encoding: task.encoding,
                ..Scan::new(seen_from(folder, path))
            })
            .collect(),
        empty: task.empty.as_ref().map(|path| Scan {
            encoding: task.encoding,
            ..Scan::new(seen_from(folder, path))
        }),
        strips: strips(task, matches),
        ..Session::default()
    };
    if let Some(text) = &task.wedge {
        let mut wedge = entry::wedge(text).map_err(Failure::usage)??;
        wedge.file = wedge.file.map(|file| seen_from(folder, &file));
        session.wedge = Some(wedge);
    }
    load::calibration(&mut session, task.calibration.as_deref())?;
    if let Some(used) = &mut session.calibration {
        used.file = used.file.take().map(|file| seen_from(folder, &file));
    }
    if let Some(channel) = task.channel {
        session.settings.channel = channel;
    }
    if let Some(lag) = task.lamp_lag {
        session.settings.lag.0 = lag;
    }
    session
        .check()
        .map_err(|error| Failure::usage(error.to_string()))?;
    make_way(&task.session, replace, &Kind::Session)?;
    write_session(&task.session, &session)?;
    output::remark(&format!("{} written", task.session.display()), task.quiet);
    if let Some(missing) = task
        .scan
        .iter()
        .chain(&task.empty)
        .find(|scan| !scan.exists())
    {
        output::remark(
            &format!("note: there is no {} yet", missing.display()),
            task.quiet,
        );
    }
    Ok(Outcome::Answered)
}

/// Reference and coupon strips in the order in which they were given.
fn strips(task: &New, matches: Option<&ArgMatches>) -> Vec<Strip> {
    let places = |option: &str| -> Vec<usize> {
        matches
            .and_then(|matches| matches.indices_of(option))
            .map(Iterator::collect)
            .unwrap_or_default()
    };
    let kinds = [
        (Role::Reference, &task.reference, places("reference")),
        (Role::Coupon, &task.coupon, places("coupon")),
    ];
    let mut strips: Vec<(usize, Strip)> = kinds
        .into_iter()
        .flat_map(|(role, given, places)| {
            given.iter().enumerate().map(move |(index, strip)| {
                let strip = Strip {
                    exposure: Some(strip.exposure.clone()),
                    ..Strip::new(strip.name.clone(), role)
                };
                (places.get(index).copied().unwrap_or(index), strip)
            })
        })
        .collect();
    strips.sort_by_key(|(place, _)| *place);
    strips.into_iter().map(|(_, strip)| strip).collect()
}
