//! `twinstrip profile`: what is known of a material, kept on a shelf.

mod arguments;
mod json;
mod keep;

use std::path::{Path, PathBuf};

use super::exit::{Failure, Outcome};
use super::output;
use super::progress::Progress;
use crate::document::profile::{Card, Conflict, Evidence, Field, Profile, ProfilePool, Put};
use crate::document::report::profile as report;
use crate::files::output::{Replace, write_profile};
use crate::files::shelf::{self, Done, NoProfile, Shelf, ShelfError};

pub(super) use arguments::Profiles;
use arguments::{Beside, Correct, Deed, Drop, Export, Import, List, Named, Pool, Show};

impl From<ShelfError> for Failure {
    fn from(error: ShelfError) -> Self {
        let outcome = match &error {
            ShelfError::Text(_)
            | ShelfError::Damaged(_)
            | ShelfError::Folder { .. }
            | ShelfError::Gone { .. } => Outcome::UnreadableInput,
            ShelfError::Wrong { .. } => Outcome::BadUsage,
            ShelfError::Write(_)
            | ShelfError::Busy { .. }
            | ShelfError::NameTaken { .. }
            | ShelfError::Changed { .. } => Outcome::NotWritten,
        };
        Self {
            outcome,
            message: error.to_string(),
        }
    }
}

impl From<NoProfile> for Failure {
    fn from(error: NoProfile) -> Self {
        Self {
            outcome: Outcome::UnreadableInput,
            message: error.to_string(),
        }
    }
}

/// The profile of a name, in this folder or the usual one.
pub(super) fn found(folder: Option<PathBuf>, wanted: &str) -> Result<Profile, Failure> {
    let shelf = shelf_in(folder)?;
    Ok(Desk { shelf, json: false }.find(wanted)?.1)
}

fn shelf_in(folder: Option<PathBuf>) -> Result<Shelf, Failure> {
    let folder = folder.or_else(shelf::usual_folder).ok_or_else(|| {
        Failure::usage("there is no folder for the profiles; say --shelf FOLDER or TWINSTRIP_SHELF")
    })?;
    Ok(Shelf::new(folder))
}

/// Where the profiles are, and how to answer.
struct Desk {
    shelf: Shelf,
    json: bool,
}

pub(super) fn run(task: &Profiles) -> Result<Outcome, Failure> {
    let desk = Desk {
        shelf: shelf_in(task.shelf.clone())?,
        json: task.json,
    };
    match &task.deed {
        Deed::Keep(task) => keep::run(&desk, task),
        Deed::List(task) => list(&desk, task),
        Deed::Show(task) => show(&desk, task),
        Deed::Say(task) => desk.change(&task.profile, |there| said(there, &task.say)),
        Deed::Rename(task) => rename(&desk, task),
        Deed::Copy(task) => {
            let (_, there) = desk.find(&task.profile)?;
            desk.make(there.like(task.name.trim()))
        }
        Deed::Retire(task) => desk.change(&task.profile, |there| Ok(put_aside(there, true))),
        Deed::Revive(task) => desk.change(&task.profile, |there| Ok(put_aside(there, false))),
        Deed::Correct(task) => correct(&desk, task),
        Deed::Drop(task) => drop_session(&desk, task),
        Deed::Export(task) => export(&desk, task),
        Deed::Import(task) => import(&desk, task),
        Deed::Beside(task) => beside(&desk, task),
        Deed::Pool(task) => pool(&desk, task),
    }
}

impl Desk {
    /// The file of a profile, and the profile.
    fn find(&self, wanted: &str) -> Result<(String, Profile), Failure> {
        let listing = self.shelf.list()?;
        let (file, _) = listing.find(wanted)?;
        Ok((file.clone(), self.shelf.read(file)?))
    }

    /// Changes a profile as it stands now, and says what became of it.
    fn change(
        &self,
        wanted: &str,
        change: impl Fn(&Profile) -> Result<Profile, Failure>,
    ) -> Result<Outcome, Failure> {
        let (file, seen) = self.find(wanted)?;
        let put = Put {
            after: Some(change(&seen)?),
            before: Some(seen),
        };
        self.tell(self.shelf.put(Some(&file), &put)?)
    }

    fn make(&self, profile: Profile) -> Result<Outcome, Failure> {
        let put = Put {
            before: None,
            after: Some(profile),
        };
        self.tell(self.shelf.put(None, &put)?)
    }

    /// Says what stands on the shelf now.
    fn tell(&self, done: Done) -> Result<Outcome, Failure> {
        let Done {
            file,
            profile,
            conflicts,
        } = done;
        let profile = profile.unwrap_or_default();
        let text = if self.json {
            json::one(&file, &profile, &conflicts, None)
        } else {
            told(&self.shelf.path(&file), &profile, &conflicts)
        };
        output::print(&text)?;
        Ok(Outcome::Answered)
    }
}

fn told(path: &Path, profile: &Profile, conflicts: &[Conflict]) -> String {
    let mut text = report::line(&Card::of(profile));
    for conflict in conflicts {
        text.push_str(&report::conflict(conflict));
    }
    text.push_str(&format!("{}\n", path.display()));
    text
}

fn said(there: &Profile, say: &[(Field, String)]) -> Result<Profile, Failure> {
    let mut changed = there.clone();
    for (field, text) in say {
        changed
            .particulars
            .set(*field, text)
            .map_err(|what| Failure::usage(format!("{}: {what}", field.word())))?;
    }
    Ok(changed)
}

fn put_aside(there: &Profile, retired: bool) -> Profile {
    Profile {
        retired,
        ..there.clone()
    }
}

fn rename(desk: &Desk, task: &Named) -> Result<Outcome, Failure> {
    desk.change(&task.profile, |there| {
        Ok(Profile {
            name: task.name.trim().to_owned(),
            ..there.clone()
        })
    })
}

fn correct(desk: &Desk, task: &Correct) -> Result<Outcome, Failure> {
    desk.change(&task.profile, |there| {
        let mut changed = there.clone();
        // By its mark: another day may give it another number.
        let place = place_of(there, task.session)?;
        let mark = there.evidence.get(place).map(Evidence::mark);
        for (field, text) in &task.say {
            let now = changed
                .evidence
                .iter()
                .position(|one| Some(one.mark()) == mark)
                .unwrap_or(place);
            changed = changed
                .with_said(now, *field, text)
                .map_err(|what| Failure::usage(format!("{}: {what}", field.word())))?;
        }
        Ok(changed)
    })
}

/// Place of a session by its number from 1.
fn place_of(there: &Profile, number: u64) -> Result<usize, Failure> {
    let count = there.evidence.len();
    let place = usize::try_from(number)
        .ok()
        .and_then(|number| number.checked_sub(1));
    place.filter(|place| *place < count).ok_or_else(|| {
        let numbers = match count {
            0 => "it has no sessions".to_owned(),
            1 => "its one session has number 1".to_owned(),
            _ => format!("its sessions have the numbers 1 to {count}"),
        };
        Failure::usage(format!(
            "{}: there is no session {number}; {numbers}",
            there.name
        ))
    })
}

fn drop_session(desk: &Desk, task: &Drop) -> Result<Outcome, Failure> {
    desk.change(&task.profile, |there| {
        let mut fewer = there.clone();
        let place = place_of(there, task.session)?;
        fewer.evidence.remove(place);
        Ok(fewer)
    })
}

fn list(desk: &Desk, task: &List) -> Result<Outcome, Failure> {
    let mut listing = desk.shelf.list()?;
    let words = task.words.join(" ");
    let all = listing.cards.len();
    listing.cards.retain(|(_, card)| {
        (task.retired || !card.retired)
            && card.holds(&words)
            && task
                .with
                .iter()
                .all(|(field, text)| card.says(*field, text))
    });
    let text = if desk.json {
        json::list(desk.shelf.folder(), &listing)
    } else {
        report::list(&listing.cards, all, desk.shelf.folder())
    };
    output::print(&text)?;
    // Told, but no reason to withhold the others.
    for damaged in &listing.damaged {
        output::complain(&damaged.to_string());
    }
    Ok(if listing.damaged.is_empty() {
        Outcome::Answered
    } else {
        Outcome::UnreadableInput
    })
}

fn show(desk: &Desk, task: &Show) -> Result<Outcome, Failure> {
    let _ends_at_once = Progress::start_reading(true);
    let (file, profile) = desk.find(&task.profile)?;
    let anew: Option<Vec<_>> = task
        .anew
        .then(|| profile.evidence.iter().map(|one| one.recompute()).collect());
    let text = if desk.json {
        json::one(&file, &profile, &[], anew.as_deref())
    } else {
        report::all(&profile, &desk.shelf.path(&file), anew.as_deref())
    };
    output::print(&text)?;
    Ok(Outcome::Answered)
}

fn export(desk: &Desk, task: &Export) -> Result<Outcome, Failure> {
    let (_, profile) = desk.find(&task.profile)?;
    write_profile(&task.file, &profile, Replace::when(task.overwrite))?;
    output::remark(&format!("{} written", task.file.display()), desk.json);
    Ok(Outcome::Answered)
}

/// A profile of the same name is not replaced: what the file brings is taken over into it.
fn import(desk: &Desk, task: &Import) -> Result<Outcome, Failure> {
    let mut profile = shelf::read_profile(&task.file)?;
    if let Some(name) = &task.name {
        name.trim().clone_into(&mut profile.name);
    }
    let listing = desk.shelf.list()?;
    match listing.find(&profile.name) {
        Err(NoProfile::None { .. }) => desk.make(profile),
        Err(error) => Err(error.into()),
        Ok((file, _)) => {
            // Seen from nothing, so that whatever both say differently is told.
            let put = Put {
                before: Some(Profile::named(&profile.name)),
                after: Some(profile),
            };
            desk.tell(desk.shelf.put(Some(file), &put)?)
        }
    }
}

fn beside(desk: &Desk, task: &Beside) -> Result<Outcome, Failure> {
    let (left_file, left) = desk.find(&task.left)?;
    let (right_file, right) = desk.find(&task.right)?;
    let text = if desk.json {
        json::beside((&left_file, &left), (&right_file, &right))
    } else {
        report::beside(&left, &right)
    };
    output::print(&text)?;
    Ok(Outcome::Answered)
}

fn pool(desk: &Desk, task: &Pool) -> Result<Outcome, Failure> {
    let _ends_at_once = Progress::start_reading(true);
    let (file, profile) = desk.find(&task.profile)?;
    let pooled = ProfilePool::of(&profile, task.within);
    let text = if desk.json {
        json::pooled(&file, &profile, &pooled)
    } else {
        report::pooled(&profile, &pooled)
    };
    output::print(&text)?;
    Ok(if pooled.answered() {
        Outcome::Answered
    } else {
        Outcome::NoAnswer
    })
}
