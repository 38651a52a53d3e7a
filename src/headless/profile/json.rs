//! Profiles as JSON; docs/json.md describes it word for word.

use std::path::Path;

use serde_json::{Map, Value, json};

use super::super::json::{PROGRAM, SCHEMA, text};
use crate::document::profile::{
    Card, Conflict, Evidence, Field, Particulars, PooledQuantity, Profile, ProfilePool, Short,
};
use crate::document::report::profile::stops_apart;
use crate::files::shelf::Listing;
use crate::measure::compare::PairAnswer;
use crate::measure::estimate::Estimate;
use crate::measure::pool::Trend;

/// The JSON of `twinstrip profile list`.
pub(super) fn list(folder: &Path, listing: &Listing) -> String {
    let damaged: Vec<String> = listing.damaged.iter().map(ToString::to_string).collect();
    let cards: Vec<Value> = listing
        .cards
        .iter()
        .map(|(file, listed)| card(file, listed))
        .collect();
    said(json!({
        "folder": folder.display().to_string(),
        "profiles": cards,
        "damaged": damaged,
    }))
}

/// The JSON of one profile, after whatever was done to it.
pub(super) fn one(
    file: &str,
    profile: &Profile,
    conflicts: &[Conflict],
    anew: Option<&[PairAnswer]>,
) -> String {
    let conflicts: Vec<Value> = conflicts
        .iter()
        .map(|conflict| {
            json!({
                "what": conflict.what,
                "kept": conflict.kept,
                "left_out": conflict.left_out,
            })
        })
        .collect();
    said(json!({
        "profile": whole(file, profile, anew),
        "conflicts": conflicts,
    }))
}

/// The JSON of `twinstrip profile beside`.
pub(super) fn beside(left: (&str, &Profile), right: (&str, &Profile)) -> String {
    let differences: Vec<Value> = Field::ALL
        .into_iter()
        .filter_map(|field| {
            let values = [left.1, right.1].map(|profile| profile.particulars.get(field));
            (values[0] != values[1]).then(|| json!({ "field": field.word(), "values": values }))
        })
        .collect();
    said(json!({
        "profiles": [whole(left.0, left.1, None), whole(right.0, right.1, None)],
        "differences": differences,
        "stops_apart": stops_apart(left.1, right.1),
    }))
}

/// The JSON of `twinstrip profile pool`.
pub(super) fn pooled(file: &str, profile: &Profile, pool: &ProfilePool) -> String {
    let quantities: Vec<Value> = pool.quantities.iter().map(quantity).collect();
    let mut value = json!({
        "profile": card(file, &Card::of(profile)),
        "within": pool.tolerance,
        "quantities": quantities,
        "drift": pool.drift.iter().map(trend).collect::<Vec<_>>(),
    });
    value["answered"] = pool.answered().into();
    said(value)
}

fn said(mut value: Value) -> String {
    value["schema"] = SCHEMA.into();
    value["program"] = PROGRAM.into();
    value["task"] = "profile".into();
    if value.get("answered").is_none() {
        value["answered"] = true.into();
    }
    text(&value)
}

fn particulars(particulars: &Particulars) -> Value {
    let said: Map<String, Value> = Field::ALL
        .into_iter()
        .map(|field| (field.word().to_owned(), particulars.get(field).into()))
        .collect();
    said.into()
}

fn short(short: &Short) -> Value {
    json!({ "value": short.value, "standard_error": short.error })
}

fn card(file: &str, card: &Card) -> Value {
    let sessions: Vec<Value> = card
        .sessions
        .iter()
        .map(|session| {
            json!({
                "title": session.title,
                "date": session.date.map(|day| day.to_string()),
                "stops": short(&session.stops),
                "contrast_difference": short(&session.contrast),
            })
        })
        .collect();
    json!({
        "file": file,
        "name": card.name,
        "retired": card.retired,
        "particulars": particulars(&card.particulars),
        "sessions": sessions,
    })
}

fn whole(file: &str, profile: &Profile, anew: Option<&[PairAnswer]>) -> Value {
    let sessions: Vec<Value> = profile
        .evidence
        .iter()
        .enumerate()
        .map(|(number, evidence)| {
            let mut value = session(profile, evidence);
            if let Some(again) = anew.and_then(|anew| anew.get(number)) {
                value["anew"] = json!({
                    "stops": again.stops,
                    "contrast_difference": again.contrast_difference,
                    "same": *again == evidence.answer,
                });
            }
            value
        })
        .collect();
    let mut value = card(file, &Card::of(profile));
    value["sessions"] = sessions.into();
    value
}

fn session(profile: &Profile, evidence: &Evidence) -> Value {
    let origin = &evidence.origin;
    let answer = &evidence.answer;
    let scans: Vec<Value> = origin
        .scans
        .iter()
        .map(|scan| json!({ "path": scan.path, "hash": scan.hash }))
        .collect();
    json!({
        "title": evidence.title(),
        "session": origin.session,
        "hash": origin.hash,
        "scans": scans,
        "date": origin.date.map(|day| day.to_string()),
        "days_open": profile.days_open(evidence),
        "remelts": origin.remelts,
        "measured_by": origin.program,
        "note": origin.note,
        "reference": evidence.pair.reference,
        "coupon": evidence.pair.coupon,
        "stops": answer.stops,
        "stops_exact_aperture": answer.stops_exact_aperture,
        "ratio": answer.ratio,
        "contrast_difference": answer.contrast_difference,
        "dmin": answer.coupon.dmin,
        "dmax": answer.coupon.dmax,
    })
}

fn quantity(one: &PooledQuantity) -> Value {
    let rows: Vec<Value> = one
        .rows
        .iter()
        .map(|row| json!({ "number": row.session + 1, "estimate": row.estimate }))
        .collect();
    let mut value = json!({
        "quantity": one.quantity.word(),
        "rows": rows,
        "shared_aperture": one.shared_aperture,
    });
    match &one.pooled {
        Err(why) => value["missing"] = why.to_string().into(),
        Ok(pooled) => {
            let next: Estimate = pooled.next.estimate();
            let outlying: Vec<Value> = pooled
                .outlying
                .iter()
                .map(|odd| {
                    let number = one.rows.get(odd.session).map(|row| row.session + 1);
                    json!({ "number": number, "away": odd.away, "chance": odd.p })
                })
                .collect();
            value["together"] = json!(pooled.mean);
            value["next"] = json!(next);
            value["between_sessions"] = json!(pooled.between);
            value["from"] = json!(pooled.basis);
            value["settled"] = json!(pooled.settled);
            value["outlying"] = outlying.into();
        }
    }
    value
}

fn trend(trend: &Trend) -> Value {
    let mut value = json!(trend);
    let trusted: Vec<usize> = trend.trusted.iter().map(|session| session + 1).collect();
    value["trusted"] = trusted.into();
    value
}
