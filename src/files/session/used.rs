//! The calibration of a session: a file alone, a file and its hash, or the calibration itself.

use std::fmt;

use serde::de::value::MapAccessDeserializer;
use serde::de::{self, Deserializer, MapAccess, Visitor};
use serde::{Deserialize, Serialize, Serializer};

use crate::files::calibration::CalibrationFields;

/// A path alone, or `Calibration(...)`.
#[derive(Debug, Clone, PartialEq)]
pub(super) struct CalibrationDto(pub(super) CalibrationFields);

impl<'de> Deserialize<'de> for CalibrationDto {
    fn deserialize<D: Deserializer<'de>>(deserializer: D) -> Result<Self, D::Error> {
        struct Reader;
        impl<'de> Visitor<'de> for Reader {
            type Value = CalibrationDto;
            fn expecting(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
                f.write_str("a calibration such as \"scanner.ron\" or Calibration(...)")
            }
            fn visit_str<E: de::Error>(self, file: &str) -> Result<CalibrationDto, E> {
                Ok(CalibrationDto(CalibrationFields::in_file(
                    file.to_owned(),
                    None,
                )))
            }
            fn visit_map<A: MapAccess<'de>>(self, map: A) -> Result<CalibrationDto, A::Error> {
                CalibrationFields::deserialize(MapAccessDeserializer::new(map)).map(CalibrationDto)
            }
        }
        deserializer.deserialize_any(Reader)
    }
}

impl Serialize for CalibrationDto {
    fn serialize<S: Serializer>(&self, serializer: S) -> Result<S::Ok, S::Error> {
        match &self.0 {
            CalibrationFields {
                file: Some(file),
                hash: None,
                ..
            } => serializer.serialize_str(file),
            fields => fields.serialize(serializer),
        }
    }
}
