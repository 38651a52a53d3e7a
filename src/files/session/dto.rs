//! The session file's structs, word for word as docs/session-file.md describes them.

use std::fmt;

use serde::de::value::{MapAccessDeserializer, SeqAccessDeserializer};
use serde::de::{self, Deserializer, MapAccess, SeqAccess, Visitor};
use serde::{Deserialize, Serialize, Serializer};

use super::print::PrintingDto;
use super::shape::{AreaDto, PatchesDto, ShapeDto};
use super::used::CalibrationDto;
use super::values::{FNumber, StopCount, Time, TimeList};
use crate::measure::exposure::Series;
use crate::measure::exposure::sentence::bursts_of;
use crate::measure::raster::Channel;
use crate::measure::strip::Role;

#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[serde(rename = "Session", deny_unknown_fields)]
pub(super) struct SessionDto {
    pub(super) version: u64,
    pub(super) scans: Vec<ScanDto>,
    #[serde(
        default,
        skip_serializing_if = "Option::is_none",
        serialize_with = "present"
    )]
    pub(super) empty: Option<ScanDto>,
    #[serde(
        default,
        skip_serializing_if = "Option::is_none",
        serialize_with = "present"
    )]
    pub(super) wedge: Option<WedgeDto>,
    #[serde(
        default,
        skip_serializing_if = "Option::is_none",
        serialize_with = "present"
    )]
    pub(super) calibration: Option<CalibrationDto>,
    #[serde(default)]
    pub(super) strips: Vec<StripDto>,
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub(super) settings: Option<SettingsDto>,
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    pub(super) matches: Vec<MatchDto>,
    #[serde(
        default,
        skip_serializing_if = "Option::is_none",
        serialize_with = "present"
    )]
    pub(super) printing: Option<PrintingDto>,
    #[serde(default, skip_serializing_if = "String::is_empty")]
    pub(super) notes: String,
}

/// Two steps that look alike; strips by name, steps from 1, halves allowed.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[serde(rename = "Match", deny_unknown_fields)]
pub(super) struct MatchDto {
    pub(super) reference: String,
    pub(super) step: f64,
    pub(super) coupon: String,
    pub(super) like: f64,
}

/// A path alone, or a path and what is known of the file.
#[derive(Debug, Clone, PartialEq)]
pub(super) struct ScanDto(pub(super) ScanFields);

#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[serde(rename = "Scan", deny_unknown_fields)]
pub(super) struct ScanFields {
    pub(super) path: String,
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub(super) encoding: Option<EncodingDto>,
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub(super) hash: Option<String>,
}

#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
#[serde(rename = "encoding", rename_all = "snake_case")]
pub(super) enum EncodingDto {
    Srgb,
    Gamma(f64),
    Linear,
}

impl<'de> Deserialize<'de> for ScanDto {
    fn deserialize<D: Deserializer<'de>>(deserializer: D) -> Result<Self, D::Error> {
        struct Reader;
        impl<'de> Visitor<'de> for Reader {
            type Value = ScanDto;
            fn expecting(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
                f.write_str("a scan such as \"slates.tif\" or Scan(path: \"slates.tif\")")
            }
            fn visit_str<E: de::Error>(self, path: &str) -> Result<ScanDto, E> {
                Ok(ScanDto(ScanFields {
                    path: path.to_owned(),
                    encoding: None,
                    hash: None,
                }))
            }
            fn visit_map<A: MapAccess<'de>>(self, map: A) -> Result<ScanDto, A::Error> {
                ScanFields::deserialize(MapAccessDeserializer::new(map)).map(ScanDto)
            }
        }
        deserializer.deserialize_any(Reader)
    }
}

impl Serialize for ScanDto {
    fn serialize<S: Serializer>(&self, serializer: S) -> Result<S::Ok, S::Error> {
        match &self.0 {
            ScanFields {
                path,
                encoding: None,
                hash: None,
            } => serializer.serialize_str(path),
            fields => fields.serialize(serializer),
        }
    }
}

/// Densities, or a file with densities, or either with more that is known of the wedge.
#[derive(Debug, Clone, PartialEq)]
pub(super) struct WedgeDto(pub(super) WedgeFields);

#[derive(Debug, Clone, PartialEq, Default, Serialize, Deserialize)]
#[serde(rename = "Wedge", deny_unknown_fields)]
pub(super) struct WedgeFields {
    #[serde(
        default,
        skip_serializing_if = "Option::is_none",
        serialize_with = "some_on_one_line"
    )]
    pub(super) densities: Option<Vec<f64>>,
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub(super) file: Option<String>,
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub(super) uncertainty: Option<f64>,
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub(super) shape: Option<ShapeDto>,
}

/// RON would wrap raw text in `Some`, implicit or not.
fn present<T: Serialize, S: Serializer>(
    given: &Option<T>,
    serializer: S,
) -> Result<S::Ok, S::Error> {
    match given {
        Some(given) => given.serialize(serializer),
        None => serializer.serialize_none(),
    }
}

/// Twenty densities one below the other would push the strips out of sight.
fn on_one_line<S: Serializer>(densities: &[f64], serializer: S) -> Result<S::Ok, S::Error> {
    use serde::ser::Error as _;
    let words: Vec<String> = densities.iter().map(f64::to_string).collect();
    ron::value::RawValue::from_ron(&format!("[{}]", words.join(", ")))
        .map_err(S::Error::custom)?
        .serialize(serializer)
}

fn some_on_one_line<S: Serializer>(
    densities: &Option<Vec<f64>>,
    serializer: S,
) -> Result<S::Ok, S::Error> {
    on_one_line(densities.as_deref().unwrap_or_default(), serializer)
}

impl<'de> Deserialize<'de> for WedgeDto {
    fn deserialize<D: Deserializer<'de>>(deserializer: D) -> Result<Self, D::Error> {
        struct Reader;
        impl<'de> Visitor<'de> for Reader {
            type Value = WedgeDto;
            fn expecting(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
                f.write_str("a wedge such as [0.05, 0.20, 0.35], \"wedge.txt\" or Wedge(...)")
            }
            fn visit_str<E: de::Error>(self, file: &str) -> Result<WedgeDto, E> {
                Ok(WedgeDto(WedgeFields {
                    file: Some(file.to_owned()),
                    ..WedgeFields::default()
                }))
            }
            fn visit_seq<A: SeqAccess<'de>>(self, list: A) -> Result<WedgeDto, A::Error> {
                let densities = Vec::deserialize(SeqAccessDeserializer::new(list))?;
                Ok(WedgeDto(WedgeFields {
                    densities: Some(densities),
                    ..WedgeFields::default()
                }))
            }
            fn visit_map<A: MapAccess<'de>>(self, map: A) -> Result<WedgeDto, A::Error> {
                let fields = WedgeFields::deserialize(MapAccessDeserializer::new(map))?;
                if fields.densities.is_some() == fields.file.is_some() {
                    return Err(de::Error::custom(
                        "a wedge has either `densities` or a `file` with them",
                    ));
                }
                Ok(WedgeDto(fields))
            }
        }
        deserializer.deserialize_any(Reader)
    }
}

impl Serialize for WedgeDto {
    fn serialize<S: Serializer>(&self, serializer: S) -> Result<S::Ok, S::Error> {
        match &self.0 {
            WedgeFields {
                densities: Some(densities),
                uncertainty: None,
                shape: None,
                ..
            } => on_one_line(densities, serializer),
            WedgeFields {
                file: Some(file),
                uncertainty: None,
                shape: None,
                ..
            } => serializer.serialize_str(file),
            fields => fields.serialize(serializer),
        }
    }
}

#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[serde(rename = "Strip", deny_unknown_fields)]
pub(super) struct StripDto {
    pub(super) name: String,
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub(super) same_as: Option<String>,
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub(super) role: Option<Role>,
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub(super) series: Option<SeriesDto>,
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub(super) aperture: Option<FNumber>,
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub(super) magnification: Option<f64>,
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub(super) filter: Option<f64>,
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub(super) height: Option<f64>,
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub(super) lens: Option<f64>,
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    pub(super) excluded: Vec<usize>,
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    pub(super) areas: Vec<AreaDto>,
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub(super) shape: Option<ShapeDto>,
    #[serde(
        default,
        skip_serializing_if = "Option::is_none",
        serialize_with = "present"
    )]
    pub(super) unexposed: Option<PatchesDto>,
}

/// A series that has been checked, so that an error can say where it stands.
#[derive(Debug, Clone, PartialEq)]
pub(super) struct SeriesDto(pub(super) Series);

#[derive(Serialize, Deserialize)]
#[serde(rename = "series", rename_all = "snake_case", deny_unknown_fields)]
enum SeriesWords {
    BuildingUp {
        #[serde(default, skip_serializing_if = "Option::is_none")]
        bursts: Option<TimeList>,
        #[serde(default, skip_serializing_if = "Option::is_none")]
        totals: Option<TimeList>,
    },
    OneAtATime {
        times: TimeList,
    },
    InStops {
        first: Time,
        stops: StopCount,
        steps: usize,
    },
    PrintedWedge {
        time: Time,
        #[serde(serialize_with = "on_one_line")]
        densities: Vec<f64>,
    },
    List {
        times: TimeList,
    },
}

impl<'de> Deserialize<'de> for SeriesDto {
    fn deserialize<D: Deserializer<'de>>(deserializer: D) -> Result<Self, D::Error> {
        let series = match SeriesWords::deserialize(deserializer)? {
            SeriesWords::BuildingUp {
                bursts: Some(bursts),
                totals: None,
            } => Series::BuildingUp { bursts: bursts.0 },
            SeriesWords::BuildingUp {
                bursts: None,
                totals: Some(totals),
            } => Series::BuildingUp {
                bursts: bursts_of(&totals.0).map_err(de::Error::custom)?,
            },
            SeriesWords::BuildingUp { .. } => {
                return Err(de::Error::custom(
                    "building_up has either `bursts` (the light each step adds) or `totals`",
                ));
            }
            SeriesWords::OneAtATime { times } => Series::OneAtATime { times: times.0 },
            SeriesWords::InStops {
                first,
                stops,
                steps,
            } => Series::InStops {
                first: first.0,
                stops: stops.0,
                steps,
            },
            SeriesWords::PrintedWedge { time, densities } => Series::PrintedWedge {
                time: time.0,
                densities,
            },
            SeriesWords::List { times } => Series::List { times: times.0 },
        };
        series.check().map_err(de::Error::custom)?;
        Ok(Self(series))
    }
}

impl Serialize for SeriesDto {
    fn serialize<S: Serializer>(&self, serializer: S) -> Result<S::Ok, S::Error> {
        let words = match self.0.clone() {
            Series::BuildingUp { bursts } => SeriesWords::BuildingUp {
                bursts: Some(TimeList(bursts)),
                totals: None,
            },
            Series::OneAtATime { times } => SeriesWords::OneAtATime {
                times: TimeList(times),
            },
            Series::InStops {
                first,
                stops,
                steps,
            } => SeriesWords::InStops {
                first: Time(first),
                stops: StopCount(stops),
                steps,
            },
            Series::PrintedWedge { time, densities } => SeriesWords::PrintedWedge {
                time: Time(time),
                densities,
            },
            Series::List { times } => SeriesWords::List {
                times: TimeList(times),
            },
        };
        words.serialize(serializer)
    }
}

#[derive(Debug, Clone, PartialEq, Default, Serialize, Deserialize)]
#[serde(rename = "Settings", deny_unknown_fields)]
pub(super) struct SettingsDto {
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub(super) channel: Option<Channel>,
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub(super) lamp_lag: Option<Time>,
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub(super) lamp_lag_error: Option<Time>,
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub(super) aperture_error: Option<StopCount>,
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub(super) timing_error: Option<Time>,
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub(super) tablet_error: Option<f64>,
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub(super) priors: Option<bool>,
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub(super) seed: Option<u64>,
}
