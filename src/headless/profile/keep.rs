//! `twinstrip profile keep`: a session's pair into a profile.

use super::super::exit::{Failure, Outcome};
use super::super::json::PROGRAM;
use super::super::load::{self, Loaded};
use super::super::output;
use super::super::progress::Progress;
use super::arguments::Keep;
use super::{Desk, said};
use crate::document::profile::{Evidence, Origin, Profile, Put};
use crate::files::shelf::{Done, NoProfile, ShelfError};
use crate::measure::analysis::{Analysis, analyse};
use crate::measure::nearest::{hint, nearest};

pub(super) fn run(desk: &Desk, task: &Keep) -> Result<Outcome, Failure> {
    // Whether the profile is there is told before minutes are spent on measuring.
    let known = place(desk, task)?;
    let progress = Progress::start(task.reading.quiet);
    let mut loaded = load::session(&task.session, &task.reading, None, &progress)?;
    load::calibration(&mut loaded.session, task.calibration.as_deref())?;
    progress.stage("measuring and solving");
    let analysis = analyse(&loaded.question(), &progress)?;
    loaded.unchanged(&task.session, &progress)?;
    let origin = origin(task, &loaded);
    progress.finish();
    let pair = pair(task, &loaded, &analysis)?;
    let evidence =
        Evidence::of(&loaded.session, &analysis, pair, origin).map_err(|error| Failure {
            outcome: Outcome::NoAnswer,
            message: format!("{}: {error}", task.session.display()),
        })?;
    for finding in loaded.findings.iter().chain(&analysis.findings) {
        if finding.weight >= crate::measure::finding::Weight::Caution {
            output::remark(
                &format!("{}. {}", finding.seen, finding.matters),
                task.reading.quiet,
            );
        }
    }
    let put = |known: Option<(String, Profile)>| -> Result<Result<Done, ShelfError>, Failure> {
        let (file, seen) = known.unzip();
        let fresh = || Profile::named(task.profile.trim());
        let before = seen.clone().unwrap_or_else(fresh);
        let after = said(&before.with(evidence.clone()), &task.say)?;
        let put = Put {
            before: seen,
            after: Some(after),
        };
        Ok(desk.shelf.put(file.as_deref(), &put))
    };
    let done = match put(known)? {
        // Somebody else made it while this was measured: the session joins it there.
        Err(ShelfError::NameTaken { .. }) if task.new => put(place(desk, task)?)?,
        done => done,
    };
    desk.tell(done?)
}

/// The profile that is there, or `None` for one to be made.
fn place(desk: &Desk, task: &Keep) -> Result<Option<(String, Profile)>, Failure> {
    let listing = desk.shelf.list()?;
    match listing.find(&task.profile) {
        Ok((file, _)) => Ok(Some((file.clone(), desk.shelf.read(file)?))),
        Err(NoProfile::None { .. }) if task.new => {
            // One of them may be the profile that is meant, under a name that can't be read.
            for nameless in listing.damaged.iter().filter(|one| one.name.is_none()) {
                output::complain(&nameless.to_string());
            }
            Ok(None)
        }
        Err(error @ NoProfile::None { .. }) => Err(Failure::usage(format!(
            "{error}{} say --new to make it",
            if error.to_string().ends_with('?') {
                " Or"
            } else {
                ";"
            }
        ))),
        Err(error) => Err(error.into()),
    }
}

fn origin(task: &Keep, loaded: &Loaded) -> Origin {
    let name = task.session.file_name().unwrap_or_default();
    Origin {
        session: name.to_string_lossy().into_owned(),
        hash: loaded.session_hash().to_owned(),
        scans: loaded.scan_marks(),
        date: task.date.or_else(|| loaded.day(&task.session)),
        opened: task.opened,
        remelts: task.remelts,
        program: PROGRAM.to_owned(),
        note: task.note.clone(),
    }
}

/// Which pair: the only one, or the one with the named coupon.
fn pair(task: &Keep, loaded: &Loaded, analysis: &Analysis) -> Result<usize, Failure> {
    let coupons: Vec<&str> = analysis
        .pairs
        .iter()
        .map(|pair| loaded.session.strips[pair.coupon].name.as_str())
        .collect();
    let Some(wanted) = &task.coupon else {
        return match coupons.len() {
            0 | 1 => Ok(0),
            _ => Err(Failure::usage(format!(
                "the session has several coated strips; say --coupon with one of: {}",
                coupons.join("; ")
            ))),
        };
    };
    coupons
        .iter()
        .position(|name| name.eq_ignore_ascii_case(wanted))
        .ok_or_else(|| {
            Failure::usage(format!(
                "no coated strip is called `{wanted}`{}; there are: {}",
                hint(nearest(wanted, &coupons)),
                coupons.join("; ")
            ))
        })
}
