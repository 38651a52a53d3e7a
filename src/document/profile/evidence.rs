//! What one session brings to a profile: readings and answer, so that both can be held against
//! each other at any time.

use crate::document::Session;
use crate::document::day::Day;
use crate::document::plain::check_line;
use crate::measure::analysis::{Analysis, Settings};
use crate::measure::compare::{self, PairAnswer, StripEvidence};
use crate::measure::estimate::{End, Estimate, Gap};
use crate::measure::nearest::{hint, nearest};

/// A scan of the session.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct ScanMark {
    /// Where it lay, from the session file's folder.
    pub path: String,
    /// BLAKE3 hash of the file's bytes, in hex.
    pub hash: String,
}

/// Where evidence comes from.
#[derive(Debug, Clone, PartialEq, Eq, Default)]
pub struct Origin {
    /// Name of the session file, without its folder; empty when it was never saved.
    pub session: String,
    /// BLAKE3 hash of the session file's text, in hex.
    pub hash: String,
    /// The scans, in the order of the session.
    pub scans: Vec<ScanMark>,
    /// The day of the session, if known.
    pub date: Option<Day>,
    /// When the bottle that was used was opened, where the profile says another day.
    pub opened: Option<Day>,
    /// How many times the emulsion had been melted again before this session, if known.
    pub remelts: Option<u32>,
    /// Program and version that measured.
    pub program: String,
    /// Whatever the person wants to remember of this session.
    pub note: String,
}

/// What a person says of one session.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum SessionField {
    /// Its day.
    Day,
    /// When the bottle that was used was opened.
    Opened,
    /// How many times the emulsion had been melted again.
    Remelts,
    /// Whatever is worth remembering.
    Note,
}

impl SessionField {
    /// All of them, as they are shown.
    pub const ALL: [Self; 4] = [Self::Day, Self::Opened, Self::Remelts, Self::Note];

    /// Its word on the command line.
    pub fn word(self) -> &'static str {
        match self {
            Self::Day => "date",
            Self::Opened => "opened",
            Self::Remelts => "remelts",
            Self::Note => "note",
        }
    }

    /// Its label on screen.
    pub fn label(self) -> &'static str {
        match self {
            Self::Day => "Day",
            Self::Opened => "Its bottle opened on",
            Self::Remelts => "Times melted again",
            Self::Note => "Note",
        }
    }

    /// The field of a word.
    ///
    /// # Errors
    /// In words, with the one that may have been meant.
    pub fn of_word(word: &str) -> Result<Self, String> {
        let plain = word.trim().to_lowercase();
        let known = Self::ALL.map(Self::word);
        Self::ALL
            .into_iter()
            .find(|field| field.word() == plain)
            .ok_or_else(|| {
                let hint = hint(nearest(&plain, &known));
                format!(
                    "`{word}` is not known here{hint}; known are {}",
                    known.join(", ")
                )
            })
    }
}

/// Most times that anybody melts an emulsion again.
const MOST_REMELTS: u32 = 1_000;

impl Origin {
    /// A field as it is written; empty when nothing is said.
    pub fn get(&self, field: SessionField) -> String {
        let written = |day: Option<Day>| day.map(|day| day.to_string()).unwrap_or_default();
        match field {
            SessionField::Day => written(self.date),
            SessionField::Opened => written(self.opened),
            SessionField::Remelts => self.remelts.map(|n| n.to_string()).unwrap_or_default(),
            SessionField::Note => self.note.clone(),
        }
    }

    /// Says a field, as [`Origin::get`] gives it; an empty text unsays it.
    ///
    /// # Errors
    /// What would be right, in words.
    pub fn set(&mut self, field: SessionField, said: &str) -> Result<(), String> {
        let said = said.trim();
        let day = || -> Result<Option<Day>, String> {
            let given = (!said.is_empty()).then(|| said.parse::<Day>());
            given.transpose().map_err(|error| error.to_string())
        };
        match field {
            SessionField::Day => self.date = day()?,
            SessionField::Opened => self.opened = day()?,
            SessionField::Remelts if said.is_empty() => self.remelts = None,
            SessionField::Remelts => {
                let count = said.parse().ok().filter(|count| *count <= MOST_REMELTS);
                let wrong = || format!("remelts are counted: a whole number up to {MOST_REMELTS}");
                self.remelts = Some(count.ok_or_else(wrong)?);
            }
            SessionField::Note => {
                check_line(said)?;
                said.clone_into(&mut self.note);
            }
        }
        Ok(())
    }
}

/// The two strips, by their names and their places in the session (from 0).
#[derive(Debug, Clone, PartialEq, Eq, Default)]
pub struct Pair {
    /// The strip of printing paper.
    pub reference: String,
    /// Its place in the session.
    pub reference_place: usize,
    /// The coated strip.
    pub coupon: String,
    /// Its place in the session.
    pub coupon_place: usize,
}

/// What one session brings to a profile.
#[derive(Debug, Clone, PartialEq)]
pub struct Evidence {
    /// Where it comes from.
    pub origin: Origin,
    /// Which two strips.
    pub pair: Pair,
    /// Readings with their covariance and exposures, reference first.
    pub strips: [StripEvidence; 2],
    /// The choices it was measured with.
    pub settings: Settings,
    /// The answer: curves, ratio, contrast difference, ratio by tone, budget.
    pub answer: PairAnswer,
}

/// Why a pair can't feed a profile.
#[derive(Debug, Clone, PartialEq, Eq, thiserror::Error)]
pub enum NoEvidence {
    /// The session has no such pair.
    #[error("the session has no pair {wanted}; it has {count}")]
    NoSuchPair {
        /// Which was asked for, from 1.
        wanted: usize,
        /// How many there are.
        count: usize,
    },
    /// It has no speed ratio.
    #[error("{coupon} has no speed ratio: {}; see to that first", why.reason())]
    NoAnswer {
        /// The coated strip.
        coupon: String,
        /// Why.
        why: Gap,
    },
}

impl Evidence {
    /// What pair `pair` (from 0) of a session brings.
    ///
    /// # Errors
    /// [`NoEvidence`] when there is no such pair or it has no speed ratio.
    pub fn of(
        session: &Session,
        analysis: &Analysis,
        pair: usize,
        origin: Origin,
    ) -> Result<Self, NoEvidence> {
        let found = analysis.pairs.get(pair).ok_or(NoEvidence::NoSuchPair {
            wanted: pair + 1,
            count: analysis.pairs.len(),
        })?;
        let name = |strip: usize| {
            let strip = session.strips.get(strip);
            strip.map(|strip| strip.name.clone()).unwrap_or_default()
        };
        if let Estimate {
            value: None, lower, ..
        } = found.answer.stops
        {
            let why = match lower {
                End::Open(why) => why,
                End::At(_) => Gap::AllStepsBelow,
            };
            return Err(NoEvidence::NoAnswer {
                coupon: name(found.coupon),
                why,
            });
        }
        Ok(Self {
            origin,
            pair: Pair {
                reference: name(found.reference),
                reference_place: found.reference,
                coupon: name(found.coupon),
                coupon_place: found.coupon,
            },
            strips: (*found.evidence).clone(),
            settings: session.settings.clone(),
            answer: found.answer.clone(),
        })
    }

    /// The answer worked out again from the readings that are kept.
    pub fn recompute(&self) -> PairAnswer {
        compare::solve(&self.strips[0], &self.strips[1], &self.settings).0
    }

    /// What tells this measurement from any other: its scans and which strips on them. The same
    /// scans measured with another outline or another step left out have the same mark.
    pub fn mark(&self) -> String {
        let mut scans: Vec<&str> = self
            .origin
            .scans
            .iter()
            .map(|scan| scan.hash.as_str())
            .collect();
        scans.sort_unstable();
        if scans.is_empty() {
            scans.push(&self.origin.hash);
        }
        format!(
            "{}/{}/{}",
            scans.join("+"),
            self.pair.reference_place + 1,
            self.pair.coupon_place + 1
        )
    }

    /// What it is called in a list: the session file, or else the coated strip.
    pub fn title(&self) -> String {
        let session = self.origin.session.trim_end_matches(".ron");
        match (session, self.origin.date) {
            ("", None) => self.pair.coupon.clone(),
            ("", Some(date)) => format!("{date}, {}", self.pair.coupon),
            (session, None) => format!("{session}, {}", self.pair.coupon),
            (session, Some(date)) => format!("{date}, {session}, {}", self.pair.coupon),
        }
    }
}
