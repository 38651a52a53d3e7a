//! The calibration file's structs, word for word as docs/calibrations.md describes them.

use std::collections::BTreeSet;

use serde::{Deserialize, Serialize};

use super::VERSION;
use crate::measure::raster::Channel;
use crate::measure::scale::calibration::{Calibration, CalibrationScan, SeenChannel, SeenField};

/// Most fields, over all scans, that a channel may have.
const MOST_FIELDS: usize = 4_000;
/// Most different fields, over all wedges.
const MOST_DIFFERENT: usize = 400;
/// Most scans.
const MOST_SCANS: usize = 50;

/// A calibration, or (in a session) the file that holds one.
#[derive(Debug, Clone, PartialEq, Default, Serialize, Deserialize)]
#[serde(rename = "Calibration", deny_unknown_fields)]
pub(in crate::files) struct CalibrationFields {
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub(in crate::files) file: Option<String>,
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub(in crate::files) hash: Option<String>,
    #[serde(default, skip_serializing_if = "Option::is_none")]
    version: Option<u64>,
    #[serde(default, skip_serializing_if = "String::is_empty")]
    scanner: String,
    #[serde(default, skip_serializing_if = "String::is_empty")]
    settings: String,
    #[serde(default, skip_serializing_if = "String::is_empty")]
    made: String,
    #[serde(default, skip_serializing_if = "Option::is_none")]
    uncertainty: Option<f64>,
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    scans: Vec<ScanFields>,
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    channels: Vec<ChannelFields>,
}

#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[serde(rename = "Scan", deny_unknown_fields)]
struct ScanFields {
    path: String,
    hash: String,
    encoding: String,
    bits: u8,
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pixels_per_mm: Option<f64>,
}

#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[serde(rename = "Channel", deny_unknown_fields)]
struct ChannelFields {
    channel: Channel,
    stray: (f64, f64),
    fields: Vec<FieldFields>,
}

/// Scan and field count from 1.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[serde(rename = "Field", deny_unknown_fields)]
struct FieldFields {
    scan: usize,
    field: usize,
    density: f64,
    reading: f64,
    error: f64,
    surround: f64,
}

/// The word near which something is wrong, and what.
type Wrong = (&'static str, String);

impl CalibrationFields {
    /// No calibration, but the file that holds it.
    pub(in crate::files) fn in_file(file: String, hash: Option<String>) -> Self {
        Self {
            file: Some(file),
            hash,
            ..Self::default()
        }
    }

    /// The file's fields of a calibration.
    pub(in crate::files) fn of(calibration: &Calibration) -> Self {
        Self {
            file: None,
            hash: None,
            version: Some(VERSION),
            scanner: calibration.scanner.clone(),
            settings: calibration.settings.clone(),
            made: calibration.made.clone(),
            uncertainty: Some(calibration.uncertainty),
            scans: calibration.scans.iter().map(scan_fields).collect(),
            channels: calibration.channels.iter().map(channel_fields).collect(),
        }
    }

    /// The calibration, when all of it is there and makes sense.
    pub(in crate::files) fn calibration(self) -> Result<Calibration, Wrong> {
        if self.file.is_some() {
            return Err((
                "file",
                "a calibration file doesn't name another file".into(),
            ));
        }
        match self.version {
            None => {
                return Err((
                    "Calibration",
                    "`version` is missing; write version: 1".into(),
                ));
            }
            Some(version) if !(1..=VERSION).contains(&version) => {
                let what = format!("version {version}: this program reads 1 to {VERSION}");
                return Err(("version", what));
            }
            Some(_) => {}
        }
        if self.scanner.trim().is_empty() {
            return Err((
                "scanner",
                "`scanner` is missing: call the scanner something".into(),
            ));
        }
        let uncertainty = self.uncertainty.unwrap_or(f64::NAN);
        if !(uncertainty > 0.0 && uncertainty <= 0.5) {
            let what = "`uncertainty` must be above 0 and at most 0.5 D".into();
            return Err(("uncertainty", what));
        }
        if self.scans.is_empty() || self.scans.len() > MOST_SCANS {
            let what = format!(
                "{} scans: 1 to {MOST_SCANS} make a calibration",
                self.scans.len()
            );
            return Err(("scans", what));
        }
        if self.channels.is_empty() {
            return Err((
                "channels",
                "no channels: there is nothing to read scans by".into(),
            ));
        }
        let scans = self.scans.len();
        let sound = |per_mm: &f64| per_mm.is_finite() && *per_mm > 0.0;
        if let Some(scan) = self
            .scans
            .iter()
            .find(|s| !s.pixels_per_mm.iter().all(sound))
        {
            let what = format!("{}: its resolution must be above 0", scan.path);
            return Err(("pixels_per_mm", what));
        }
        let mut channels: Vec<SeenChannel> = Vec::new();
        for fields in self.channels {
            if channels
                .iter()
                .any(|channel| channel.channel == fields.channel)
            {
                return Err(("channels", "a channel is given twice; keep one".into()));
            }
            channels.push(seen_channel(fields, scans)?);
        }
        Ok(Calibration {
            scanner: self.scanner,
            settings: self.settings,
            made: self.made,
            uncertainty,
            scans: self.scans.into_iter().map(calibration_scan).collect(),
            channels,
        })
    }
}

fn scan_fields(scan: &CalibrationScan) -> ScanFields {
    ScanFields {
        path: scan.path.clone(),
        hash: scan.hash.clone(),
        encoding: scan.encoding.clone(),
        bits: scan.bits,
        pixels_per_mm: scan.pixels_per_mm,
    }
}

fn calibration_scan(fields: ScanFields) -> CalibrationScan {
    CalibrationScan {
        path: fields.path,
        hash: fields.hash,
        encoding: fields.encoding,
        bits: fields.bits,
        pixels_per_mm: fields.pixels_per_mm,
    }
}

fn channel_fields(seen: &SeenChannel) -> ChannelFields {
    ChannelFields {
        channel: seen.channel,
        stray: seen.stray,
        fields: seen
            .fields
            .iter()
            .map(|field| FieldFields {
                scan: field.scan + 1,
                field: field.number + 1,
                density: field.listed,
                reading: field.scanner,
                error: field.error,
                surround: field.surround,
            })
            .collect(),
    }
}

fn seen_channel(channel: ChannelFields, scans: usize) -> Result<SeenChannel, Wrong> {
    let (share, error) = channel.stray;
    if !((0.0..=0.5).contains(&share) && (0.0..=0.5).contains(&error)) {
        let what = "`stray` is a share of light and its error, each between 0 and 0.5".into();
        return Err(("stray", what));
    }
    let count = channel.fields.len();
    if !(3..=MOST_FIELDS).contains(&count) {
        let what = format!("{count} fields: a channel needs 3 to {MOST_FIELDS}");
        return Err(("fields", what));
    }
    let different: BTreeSet<(usize, u64)> = channel
        .fields
        .iter()
        .map(|field| (field.field, field.density.to_bits()))
        .collect();
    if different.len() > MOST_DIFFERENT {
        let what = format!(
            "{} different fields: {MOST_DIFFERENT} is the limit",
            different.len()
        );
        return Err(("fields", what));
    }
    let fields = channel
        .fields
        .into_iter()
        .map(|field| seen_field(&field, scans))
        .collect::<Result<_, _>>()?;
    Ok(SeenChannel {
        channel: channel.channel,
        stray: channel.stray,
        fields,
    })
}

fn seen_field(field: &FieldFields, scans: usize) -> Result<SeenField, Wrong> {
    let number = field
        .field
        .checked_sub(1)
        .ok_or(("Field", "fields are counted from 1".to_owned()))?;
    let scan = field.scan.checked_sub(1).filter(|scan| *scan < scans);
    let wrong = |what: &str| Err(("Field", format!("field {}: {what}", field.field)));
    let Some(scan) = scan else {
        return wrong(&format!("scan {} is not one of the {scans}", field.scan));
    };
    if !(-0.1..=5.0).contains(&field.density) {
        return wrong("its density must be between -0.1 and 5");
    }
    if !(-1.0..=6.0).contains(&field.reading) {
        return wrong("its reading (-log10 of light) must be between -1 and 6");
    }
    if !(0.0..=1.0).contains(&field.error) {
        return wrong("the error of its reading must be between 0 and 1");
    }
    if !(0.0..=10.0).contains(&field.surround) {
        return wrong("the light of its surround must be between 0 and 10");
    }
    Ok(SeenField {
        scan,
        number,
        listed: field.density,
        scanner: field.reading,
        error: field.error,
        surround: field.surround,
    })
}
