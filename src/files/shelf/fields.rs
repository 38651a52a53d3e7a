//! The profile file's structs, word for word as docs/profiles.md describes them.

use serde::{Deserialize, Serialize};

use super::VERSION;
use super::evidence::EvidenceFields;
use super::line::OneLine;
use crate::document::profile::{Card, Field, Particulars, Profile, SessionCard, Short};

/// What the file holds; the order of the fields is that of the file.
#[derive(Debug, Clone, PartialEq, Default, Serialize, Deserialize)]
#[serde(rename = "Profile", deny_unknown_fields)]
pub(super) struct ProfileFields {
    pub(super) version: u64,
    name: String,
    #[serde(default, skip_serializing_if = "std::ops::Not::not")]
    retired: bool,
    #[serde(default, skip_serializing_if = "String::is_empty")]
    emulsion: String,
    #[serde(default, skip_serializing_if = "String::is_empty")]
    batch: String,
    #[serde(default, skip_serializing_if = "String::is_empty")]
    opened: String,
    #[serde(default, skip_serializing_if = "String::is_empty")]
    ground: String,
    #[serde(default, skip_serializing_if = "String::is_empty")]
    size_layer: String,
    #[serde(default, skip_serializing_if = "String::is_empty")]
    hardener: String,
    #[serde(default, skip_serializing_if = "Option::is_none")]
    coats: Option<f64>,
    #[serde(default, skip_serializing_if = "String::is_empty")]
    wet: String,
    #[serde(default, skip_serializing_if = "String::is_empty")]
    drying: String,
    #[serde(default, skip_serializing_if = "String::is_empty")]
    developer: String,
    #[serde(default, skip_serializing_if = "String::is_empty")]
    dilution: String,
    #[serde(default, skip_serializing_if = "Option::is_none")]
    temperature: Option<f64>,
    #[serde(default, skip_serializing_if = "String::is_empty")]
    time: String,
    #[serde(default, skip_serializing_if = "String::is_empty")]
    paper: String,
    #[serde(default, skip_serializing_if = "String::is_empty")]
    grade: String,
    #[serde(default, skip_serializing_if = "String::is_empty")]
    enlarger: String,
    #[serde(default, skip_serializing_if = "String::is_empty")]
    lens: String,
    #[serde(default, skip_serializing_if = "String::is_empty")]
    light: String,
    #[serde(default, skip_serializing_if = "String::is_empty")]
    scanner: String,
    #[serde(default, skip_serializing_if = "String::is_empty")]
    price: String,
    #[serde(default, skip_serializing_if = "String::is_empty")]
    notes: String,
    /// The sessions in short, for lists; nothing is ever worked out from it.
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    in_short: Vec<OneLine<SessionFields>>,
    #[serde(default)]
    evidence: Vec<EvidenceFields>,
}

#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[serde(rename = "Session", deny_unknown_fields)]
struct SessionFields {
    title: String,
    #[serde(default, skip_serializing_if = "String::is_empty")]
    date: String,
    #[serde(default, skip_serializing_if = "Option::is_none")]
    stops: Option<f64>,
    #[serde(default, skip_serializing_if = "Option::is_none")]
    stops_error: Option<f64>,
    #[serde(default, skip_serializing_if = "Option::is_none")]
    contrast: Option<f64>,
    #[serde(default, skip_serializing_if = "Option::is_none")]
    contrast_error: Option<f64>,
}

/// The layout of version 0: the wet coat in millilitres only, the developer's dilution within its
/// text, sessions under another word, and nothing in short.
#[derive(Debug, Clone, PartialEq, Deserialize)]
#[serde(rename = "Profile", deny_unknown_fields)]
pub(super) struct ProfileFields0 {
    #[serde(rename = "version")]
    _version: u64,
    name: String,
    #[serde(default)]
    put_aside: bool,
    #[serde(default)]
    emulsion: String,
    #[serde(default)]
    batch: String,
    #[serde(default)]
    opened: String,
    #[serde(default)]
    ground: String,
    #[serde(default)]
    coats: Option<f64>,
    #[serde(default)]
    wet_ml: Option<f64>,
    #[serde(default)]
    developer: String,
    #[serde(default)]
    paper: String,
    #[serde(default)]
    notes: String,
    #[serde(default)]
    sessions: Vec<EvidenceFields>,
}

impl From<ProfileFields0> for ProfileFields {
    fn from(old: ProfileFields0) -> Self {
        Self {
            version: VERSION,
            name: old.name,
            retired: old.put_aside,
            emulsion: old.emulsion,
            batch: old.batch,
            opened: old.opened,
            ground: old.ground,
            coats: old.coats,
            wet: old.wet_ml.map(|ml| format!("{ml} ml")).unwrap_or_default(),
            developer: old.developer,
            paper: old.paper,
            notes: old.notes,
            evidence: old.sessions,
            ..Self::default()
        }
    }
}

/// The word near which something is wrong, and what.
pub(super) type Wrong = (String, String);

impl ProfileFields {
    pub(super) fn of(profile: &Profile) -> Self {
        let said = |field: Field| profile.particulars.get(field);
        Self {
            version: VERSION,
            name: profile.name.clone(),
            retired: profile.retired,
            emulsion: said(Field::Emulsion),
            batch: said(Field::Batch),
            opened: said(Field::Opened),
            ground: said(Field::Ground),
            size_layer: said(Field::SizeLayer),
            hardener: said(Field::Hardener),
            coats: profile.particulars.coats.map(f64::from),
            wet: said(Field::Wet),
            drying: said(Field::Drying),
            developer: said(Field::Developer),
            dilution: said(Field::Dilution),
            temperature: profile.particulars.temperature,
            time: said(Field::Time),
            paper: said(Field::Paper),
            grade: said(Field::Grade),
            enlarger: said(Field::Enlarger),
            lens: said(Field::Lens),
            light: said(Field::Light),
            scanner: said(Field::Scanner),
            price: said(Field::Price),
            notes: said(Field::Notes),
            in_short: Card::of(profile)
                .sessions
                .iter()
                .map(|session| OneLine(SessionFields::of(session)))
                .collect(),
            evidence: profile.evidence.iter().map(EvidenceFields::of).collect(),
        }
    }

    fn particulars(&self) -> Result<Particulars, Wrong> {
        let mut read = Particulars::default();
        let number = |number: Option<f64>| number.map(|n| n.to_string()).unwrap_or_default();
        let (coats, temperature) = (number(self.coats), number(self.temperature));
        for field in Field::ALL {
            let said = match field {
                Field::Emulsion => &self.emulsion,
                Field::Batch => &self.batch,
                Field::Opened => &self.opened,
                Field::Ground => &self.ground,
                Field::SizeLayer => &self.size_layer,
                Field::Hardener => &self.hardener,
                Field::Coats => &coats,
                Field::Wet => &self.wet,
                Field::Drying => &self.drying,
                Field::Developer => &self.developer,
                Field::Dilution => &self.dilution,
                Field::Temperature => &temperature,
                Field::Time => &self.time,
                Field::Paper => &self.paper,
                Field::Grade => &self.grade,
                Field::Enlarger => &self.enlarger,
                Field::Lens => &self.lens,
                Field::Light => &self.light,
                Field::Scanner => &self.scanner,
                Field::Price => &self.price,
                Field::Notes => &self.notes,
            };
            read.set(field, said)
                .map_err(|what| (format!("{}:", field.word()), what))?;
        }
        Ok(read)
    }

    pub(super) fn profile(self) -> Result<Profile, Wrong> {
        let particulars = self.particulars()?;
        let evidence = self
            .evidence
            .into_iter()
            .map(|fields| {
                let place = format!("session: {:?}", fields.session());
                let session = fields.session().to_owned();
                fields
                    .evidence()
                    .map_err(|what| (place, format!("session {session}: {what}")))
            })
            .collect::<Result<_, _>>()?;
        let mut profile = Profile {
            name: self.name,
            particulars,
            retired: self.retired,
            evidence,
        };
        profile
            .check()
            .map_err(|error| ("name:".to_owned(), error.to_string()))?;
        profile.sort();
        Ok(profile)
    }

    /// The profile in short, by what the file says in short.
    pub(super) fn card(self) -> Result<Card, Wrong> {
        Ok(Card {
            particulars: self.particulars()?,
            name: self.name,
            retired: self.retired,
            sessions: self
                .in_short
                .into_iter()
                .map(|OneLine(session)| session.card())
                .collect(),
        })
    }
}

impl SessionFields {
    fn of(session: &SessionCard) -> Self {
        Self {
            title: session.title.clone(),
            date: session.date.map(|day| day.to_string()).unwrap_or_default(),
            stops: session.stops.value,
            stops_error: session.stops.error,
            contrast: session.contrast.value,
            contrast_error: session.contrast.error,
        }
    }

    fn card(self) -> SessionCard {
        SessionCard {
            title: self.title,
            date: self.date.parse().ok(),
            stops: Short {
                value: self.stops,
                error: self.stops_error,
            },
            contrast: Short {
                value: self.contrast,
                error: self.contrast_error,
            },
        }
    }
}
