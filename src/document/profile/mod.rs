//! A profile: what sessions taught about one emulsion, coating and ground against one paper.
//!
//! Plain data. It holds what a person says of the material, and for every session that fed it
//! the readings with their covariance, so that no number in it is a bare one.

mod card;
mod drifting;
mod evidence;
mod field;
mod foretold;
mod merge;
mod pooled;
mod shared;

#[cfg(test)]
mod foretold_tests;
#[cfg(test)]
pub(crate) mod tests;

use super::day::Day;
use super::plain::check_line;

pub use card::{Card, SessionCard, Short};
pub use drifting::trend_quantity;
pub use evidence::{Evidence, NoEvidence, Origin, Pair, ScanMark, SessionField};
pub use field::{Field, Particulars, Price, PricePer, Wet};
pub use foretold::Foretold;
pub use merge::{Conflict, Merged, Put, merge};
pub use pooled::{PooledQuantity, ProfilePool, Quantity, Row};

/// Longest name of a profile, in letters.
pub const LONGEST_NAME: usize = 120;
/// Most sessions that feed one profile.
pub const MOST_SESSIONS: usize = 100;

/// What sessions taught about one emulsion, coating and ground against one paper.
#[derive(Debug, Clone, PartialEq, Default)]
pub struct Profile {
    /// What the person calls it.
    pub name: String,
    /// What the person says of the material and how it is used.
    pub particulars: Particulars,
    /// Put aside: kept, but no longer offered.
    pub retired: bool,
    /// What each session brought, in the order of their days; days not known come last, as they
    /// were saved.
    pub evidence: Vec<Evidence>,
}

/// Why something is no profile.
#[derive(Debug, Clone, PartialEq, Eq, thiserror::Error)]
pub enum ProfileError {
    /// It has no name, or too long a one.
    #[error("a profile needs a name of 1 to {LONGEST_NAME} letters on one line")]
    Name,
    /// More sessions than anyone makes.
    #[error("{0} sessions: a profile holds at most {MOST_SESSIONS}")]
    Sessions(usize),
    /// Two entries of one measurement, which would count twice.
    #[error("session {0} stands in it twice with the same scans and strips; keep one of them")]
    Twice(String),
}

impl Profile {
    /// A profile with nothing but a name.
    pub fn named(name: impl Into<String>) -> Self {
        Self {
            name: name.into(),
            ..Self::default()
        }
    }

    /// Whether it makes sense.
    ///
    /// # Errors
    /// [`ProfileError`].
    pub fn check(&self) -> Result<(), ProfileError> {
        let letters = self.name.trim().chars().count();
        if letters == 0 || letters > LONGEST_NAME || check_line(&self.name).is_err() {
            return Err(ProfileError::Name);
        }
        if self.evidence.len() > MOST_SESSIONS {
            return Err(ProfileError::Sessions(self.evidence.len()));
        }
        let mut seen = std::collections::BTreeSet::new();
        match self.evidence.iter().find(|one| !seen.insert(one.mark())) {
            Some(twice) => Err(ProfileError::Twice(twice.origin.session.clone())),
            None => Ok(()),
        }
    }

    /// The profile with one session more. What the same scans and strips said before is replaced:
    /// measured anew, they are no second session.
    #[must_use]
    pub fn with(&self, evidence: Evidence) -> Self {
        let mut grown = self.clone();
        let mark = evidence.mark();
        grown.evidence.retain(|known| known.mark() != mark);
        grown.evidence.push(evidence);
        grown.sort();
        grown
    }

    /// The session that these scans and strips fed it with.
    pub fn find(&self, mark: &str) -> Option<&Evidence> {
        self.evidence.iter().find(|known| known.mark() == mark)
    }

    /// A copy under another name: the particulars, and none of the sessions. They stay with the
    /// profile that they were measured for, so that no session counts for two materials.
    #[must_use]
    pub fn like(&self, name: impl Into<String>) -> Self {
        Self {
            name: name.into(),
            particulars: self.particulars.clone(),
            retired: false,
            evidence: Vec::new(),
        }
    }

    /// The profile with something said of one of its sessions (from 0).
    ///
    /// # Errors
    /// What would be right, in words.
    pub fn with_said(
        &self,
        session: usize,
        field: SessionField,
        said: &str,
    ) -> Result<Self, String> {
        let mut changed = self.clone();
        let count = changed.evidence.len();
        let evidence = changed.evidence.get_mut(session).ok_or_else(|| {
            format!(
                "{} has {count} sessions; there is no session {}",
                self.name,
                session + 1
            )
        })?;
        evidence.origin.set(field, said)?;
        changed.sort();
        Ok(changed)
    }

    /// Days from opening the bottle to a session, where both days are known.
    pub fn days_open(&self, evidence: &Evidence) -> Option<i64> {
        let opened = evidence.origin.opened.or(self.particulars.opened)?;
        Some(evidence.origin.date?.since(opened))
    }

    /// By day; those without a day last, in the order in which they came.
    pub(crate) fn sort(&mut self) {
        let key = |one: &Evidence| (one.origin.date.is_none(), one.origin.date);
        self.evidence.sort_by_key(key);
    }

    /// The day of the newest session, if any has one.
    pub fn newest(&self) -> Option<Day> {
        self.evidence.iter().filter_map(|one| one.origin.date).max()
    }
}
