//! A profile in short, for a list of many.

use super::{Evidence, Field, Particulars, Profile};
use crate::document::day::Day;
use crate::measure::estimate::Estimate;

/// A value with its standard error; either may be missing.
#[derive(Debug, Clone, Copy, PartialEq, Default)]
pub struct Short {
    /// Best value.
    pub value: Option<f64>,
    /// Its standard error.
    pub error: Option<f64>,
}

impl From<&Estimate> for Short {
    fn from(estimate: &Estimate) -> Self {
        Self {
            value: estimate.value,
            error: estimate.standard_error,
        }
    }
}

/// A session in short.
#[derive(Debug, Clone, PartialEq)]
pub struct SessionCard {
    /// What it is called.
    pub title: String,
    /// Its day.
    pub date: Option<Day>,
    /// Stops that the coat is slower.
    pub stops: Short,
    /// ISO range of the coat less that of the paper.
    pub contrast: Short,
}

/// A profile in short.
#[derive(Debug, Clone, PartialEq, Default)]
pub struct Card {
    /// Its name.
    pub name: String,
    /// What is said of the material.
    pub particulars: Particulars,
    /// Put aside.
    pub retired: bool,
    /// Its sessions.
    pub sessions: Vec<SessionCard>,
}

impl SessionCard {
    /// A session in short.
    pub fn of(evidence: &Evidence) -> Self {
        Self {
            title: evidence.title(),
            date: evidence.origin.date,
            stops: (&evidence.answer.stops).into(),
            contrast: (&evidence.answer.contrast_difference).into(),
        }
    }
}

impl Card {
    /// A profile in short.
    pub fn of(profile: &Profile) -> Self {
        Self {
            name: profile.name.clone(),
            particulars: profile.particulars.clone(),
            retired: profile.retired,
            sessions: profile.evidence.iter().map(SessionCard::of).collect(),
        }
    }

    /// Whether every word of `wanted` stands somewhere in its name, its particulars or the
    /// names of its sessions; capitals make no difference.
    pub fn holds(&self, wanted: &str) -> bool {
        if wanted.trim().is_empty() {
            return true;
        }
        let mut text = self.name.to_lowercase();
        let said = Field::ALL
            .into_iter()
            .map(|field| self.particulars.get(field));
        for more in said.chain(self.sessions.iter().map(|one| one.title.clone())) {
            text.push('\n');
            text.push_str(&more.to_lowercase());
        }
        wanted
            .split_whitespace()
            .all(|word| text.contains(&word.to_lowercase()))
    }

    /// Whether a field holds a text, capitals or not.
    pub fn says(&self, field: Field, wanted: &str) -> bool {
        let said = self.particulars.get(field).to_lowercase();
        said.contains(&wanted.trim().to_lowercase())
    }

    /// The day of the newest session, if any has one.
    pub fn newest(&self) -> Option<Day> {
        self.sessions.iter().filter_map(|one| one.date).max()
    }
}
