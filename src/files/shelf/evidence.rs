//! What one session brought, in the file.

use serde::{Deserialize, Serialize};

use super::answer::AnswerFields;
use super::line::OneLine;
use super::readings::StripFields;
use crate::document::profile::{Evidence, Origin, Pair, ScanMark};
use crate::measure::analysis::Settings;
use crate::measure::raster::Channel;
use crate::measure::strip::Role;

#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[serde(rename = "Evidence", deny_unknown_fields)]
pub(super) struct EvidenceFields {
    session: String,
    #[serde(default, skip_serializing_if = "String::is_empty")]
    hash: String,
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    scans: Vec<OneLine<ScanFields>>,
    #[serde(default, skip_serializing_if = "String::is_empty")]
    date: String,
    #[serde(default, skip_serializing_if = "String::is_empty")]
    opened: String,
    #[serde(default, skip_serializing_if = "Option::is_none")]
    remelts: Option<u32>,
    #[serde(default, skip_serializing_if = "String::is_empty")]
    program: String,
    #[serde(default, skip_serializing_if = "String::is_empty")]
    note: String,
    reference: OneLine<StripName>,
    coupon: OneLine<StripName>,
    settings: OneLine<SettingsFields>,
    readings: Readings,
    answer: AnswerFields,
}

#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[serde(rename = "Scan", deny_unknown_fields)]
struct ScanFields {
    path: String,
    hash: String,
}

/// A strip's name, and its place in the session from 1.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[serde(rename = "Strip", deny_unknown_fields)]
struct StripName {
    name: String,
    place: usize,
}

#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[serde(rename = "Settings", deny_unknown_fields)]
struct SettingsFields {
    channel: Channel,
    lamp_lag: f64,
    lamp_lag_error: f64,
    aperture_error: f64,
    /// Sessions that were kept before it was counted have none.
    #[serde(default, skip_serializing_if = "is_none")]
    timing_error: f64,
    #[serde(default, skip_serializing_if = "is_none")]
    tablet_error: f64,
    priors: bool,
    seed: u64,
}

fn is_none(error: &f64) -> bool {
    *error == 0.0
}

#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[serde(rename = "Readings", deny_unknown_fields)]
struct Readings {
    reference: StripFields,
    coupon: StripFields,
}

impl EvidenceFields {
    pub(super) fn of(evidence: &Evidence) -> Self {
        let Evidence {
            origin,
            pair,
            strips,
            settings,
            answer,
        } = evidence;
        let written = |day: Option<crate::document::day::Day>| {
            day.map(|day| day.to_string()).unwrap_or_default()
        };
        Self {
            session: origin.session.clone(),
            hash: origin.hash.clone(),
            scans: origin
                .scans
                .iter()
                .map(|scan| {
                    OneLine(ScanFields {
                        path: scan.path.clone(),
                        hash: scan.hash.clone(),
                    })
                })
                .collect(),
            date: written(origin.date),
            opened: written(origin.opened),
            remelts: origin.remelts,
            program: origin.program.clone(),
            note: origin.note.clone(),
            reference: OneLine(StripName {
                name: pair.reference.clone(),
                place: pair.reference_place + 1,
            }),
            coupon: OneLine(StripName {
                name: pair.coupon.clone(),
                place: pair.coupon_place + 1,
            }),
            settings: OneLine(SettingsFields {
                channel: settings.channel,
                lamp_lag: settings.lag.0,
                lamp_lag_error: settings.lag.1,
                aperture_error: settings.aperture_error_stops,
                timing_error: settings.timing_error,
                tablet_error: settings.tablet_error,
                priors: settings.priors,
                seed: settings.seed,
            }),
            readings: Readings {
                reference: StripFields::of(&strips[0]),
                coupon: StripFields::of(&strips[1]),
            },
            answer: AnswerFields::of(answer),
        }
    }

    /// What the session brought.
    pub(super) fn evidence(self) -> Result<Evidence, String> {
        let place = |strip: &StripName| {
            strip
                .place
                .checked_sub(1)
                .ok_or_else(|| format!("strip {}: places are counted from 1", strip.name))
        };
        let (reference, coupon) = (self.reference.0, self.coupon.0);
        let (reference_place, coupon_place) = (place(&reference)?, place(&coupon)?);
        let day = |word: &str, text: &str| {
            (!text.is_empty())
                .then(|| text.parse())
                .transpose()
                .map_err(|error: crate::document::day::NoSuchDay| format!("`{word}`: {error}"))
        };
        let settings = self.settings.0;
        let read = |fields: StripFields, role: Role, place: usize, name: &str| {
            fields
                .strip(role, place)
                .map_err(|what| format!("readings of {name}: {what}"))
        };
        let strips = [
            read(
                self.readings.reference,
                Role::Reference,
                reference_place,
                &reference.name,
            )?,
            read(
                self.readings.coupon,
                Role::Coupon,
                coupon_place,
                &coupon.name,
            )?,
        ];
        if strips[0].reading.scale_modes.ncols() != strips[1].reading.scale_modes.ncols() {
            return Err("both strips need equally many `modes`: they share the scale".into());
        }
        Ok(Evidence {
            origin: Origin {
                date: day("date", &self.date)?,
                opened: day("opened", &self.opened)?,
                session: self.session,
                hash: self.hash,
                scans: self
                    .scans
                    .into_iter()
                    .map(|OneLine(scan)| ScanMark {
                        path: scan.path,
                        hash: scan.hash,
                    })
                    .collect(),
                remelts: self.remelts,
                program: self.program,
                note: self.note,
            },
            pair: Pair {
                reference: reference.name,
                reference_place,
                coupon: coupon.name,
                coupon_place,
            },
            strips,
            settings: Settings {
                channel: settings.channel,
                lag: (settings.lamp_lag, settings.lamp_lag_error),
                aperture_error_stops: settings.aperture_error,
                timing_error: settings.timing_error,
                tablet_error: settings.tablet_error,
                priors: settings.priors,
                seed: settings.seed,
            },
            answer: self.answer.answer(),
        })
    }

    /// The session's name, to find its place in the text.
    pub(super) fn session(&self) -> &str {
        &self.session
    }
}
