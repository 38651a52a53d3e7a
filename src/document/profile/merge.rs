//! What two people did to one profile at a time, put together: nothing of either is lost.

use std::collections::BTreeMap;

use super::{Evidence, Field, Profile};

/// Something that both changed, each in another way.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Conflict {
    /// What: a field's label, "Name", or a session.
    pub what: String,
    /// What stands on the shelf, and stays there.
    pub kept: String,
    /// What was not taken over.
    pub left_out: String,
}

/// Two people's work in one.
#[derive(Debug, Clone, PartialEq)]
pub struct Merged {
    /// The profile.
    pub profile: Profile,
    /// What could not be put together.
    pub conflicts: Vec<Conflict>,
}

/// Something to be done to a profile on the shelf: from what it was seen to be, to what it shall
/// be. `None` stands for no profile, before it is made and after it is taken away.
#[derive(Debug, Clone, PartialEq)]
pub struct Put {
    /// What was seen.
    pub before: Option<Profile>,
    /// What shall be.
    pub after: Option<Profile>,
}

impl Put {
    /// What undoes it.
    #[must_use]
    pub fn undone(&self) -> Self {
        Self {
            before: self.after.clone(),
            after: self.before.clone(),
        }
    }
}

/// Takes over what `mine` changed since `before` into `theirs`, which somebody else may have
/// changed meanwhile. Where both changed the same thing, theirs stays and the conflict is told.
pub fn merge(before: &Profile, mine: &Profile, theirs: &Profile) -> Merged {
    let mut conflicts = Vec::new();
    let mut profile = theirs.clone();
    if let Some(name) = pick(
        "Name",
        &before.name,
        &mine.name,
        &theirs.name,
        &mut conflicts,
    ) {
        profile.name = name;
    }
    // There are but two states: whoever changed it meanwhile wanted the same.
    if mine.retired != before.retired {
        profile.retired = mine.retired;
    }
    for field in Field::ALL {
        let said = |of: &Profile| of.particulars.get(field);
        let (was, wanted, is) = (said(before), said(mine), said(theirs));
        if pick(field.label(), &was, &wanted, &is, &mut conflicts).is_some() {
            let taken = profile.particulars.set(field, &wanted);
            debug_assert!(taken.is_ok(), "what was got can be set: {taken:?}");
        }
    }
    profile.evidence = sessions(before, mine, theirs, &mut conflicts);
    profile.sort();
    Merged { profile, conflicts }
}

/// What to change theirs to, if anything.
fn pick(
    what: &str,
    before: &str,
    mine: &str,
    theirs: &str,
    conflicts: &mut Vec<Conflict>,
) -> Option<String> {
    if mine == before || mine == theirs {
        return None;
    }
    if theirs == before {
        return Some(mine.to_owned());
    }
    conflicts.push(Conflict {
        what: what.to_owned(),
        kept: theirs.to_owned(),
        left_out: mine.to_owned(),
    });
    None
}

fn sessions(
    before: &Profile,
    mine: &Profile,
    theirs: &Profile,
    conflicts: &mut Vec<Conflict>,
) -> Vec<Evidence> {
    let by_mark = |of: &Profile| -> BTreeMap<String, Evidence> {
        of.evidence
            .iter()
            .map(|one| (one.mark(), one.clone()))
            .collect()
    };
    let (before, wanted) = (by_mark(before), by_mark(mine));
    let mut together = Vec::new();
    for is in &theirs.evidence {
        let mark = is.mark();
        let (was, mine) = (before.get(&mark), wanted.get(&mark));
        match (was, mine) {
            // Taken away by me, untouched by them.
            (Some(was), None) if was == is => {}
            (Some(_), None) => {
                conflicts.push(clash(is, "measured anew", "taken away"));
                together.push(is.clone());
            }
            (_, Some(mine)) if Some(mine) != was && mine != is => {
                if was == Some(is) {
                    together.push(mine.clone());
                } else {
                    conflicts.push(clash(is, "measured anew", "measured anew in another way"));
                    together.push(is.clone());
                }
            }
            _ => together.push(is.clone()),
        }
    }
    for one in &mine.evidence {
        let mark = one.mark();
        if theirs.find(&mark).is_some() {
            continue;
        }
        match before.get(&mark) {
            None => together.push(one.clone()),
            // Taken away by them: it stays away, unless I measured it anew.
            Some(was) if was == one => {}
            Some(_) => {
                conflicts.push(clash(one, "measured anew", "taken away"));
                together.push(one.clone());
            }
        }
    }
    together
}

fn clash(one: &Evidence, kept: &str, left_out: &str) -> Conflict {
    Conflict {
        what: format!("Session {}", one.title()),
        kept: kept.to_owned(),
        left_out: left_out.to_owned(),
    }
}
