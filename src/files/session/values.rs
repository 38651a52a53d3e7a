//! Single values of the session file that may be written in more than one way.

use std::fmt;

use serde::de::{self, Deserializer, SeqAccess, Visitor};
use serde::{Deserialize, Serialize, Serializer};

use crate::measure::exposure::aperture::Aperture;
use crate::measure::exposure::entry::{self, EntryError};
use crate::measure::exposure::write;
use crate::measure::units::Seconds;

/// Declares a value that is a text read by `$read`, or a bare number taken by `$number`, and
/// that is written by `$write`.
macro_rules! text_or_number {
    ($name:ident, $inner:ty, $what:literal, $read:expr, $number:expr, $write:expr) => {
        #[derive(Debug, Clone, Copy, PartialEq)]
        pub(super) struct $name(pub(super) $inner);

        impl<'de> Deserialize<'de> for $name {
            fn deserialize<D: Deserializer<'de>>(deserializer: D) -> Result<Self, D::Error> {
                struct Reader;
                impl Reader {
                    fn number<E: de::Error>(number: f64) -> Result<$name, E> {
                        let convert: fn(f64) -> Result<$inner, EntryError> = $number;
                        convert(number).map($name).map_err(E::custom)
                    }
                }
                impl Visitor<'_> for Reader {
                    type Value = $name;
                    fn expecting(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
                        f.write_str($what)
                    }
                    fn visit_str<E: de::Error>(self, text: &str) -> Result<$name, E> {
                        $read(text).map($name).map_err(E::custom)
                    }
                    fn visit_f64<E: de::Error>(self, number: f64) -> Result<$name, E> {
                        Self::number(number)
                    }
                    fn visit_u64<E: de::Error>(self, number: u64) -> Result<$name, E> {
                        Self::number(number as f64)
                    }
                    fn visit_i64<E: de::Error>(self, number: i64) -> Result<$name, E> {
                        Self::number(number as f64)
                    }
                }
                deserializer.deserialize_any(Reader)
            }
        }

        impl Serialize for $name {
            fn serialize<S: Serializer>(&self, serializer: S) -> Result<S::Ok, S::Error> {
                let write: fn(&$inner) -> String = $write;
                serializer.serialize_str(&write(&self.0))
            }
        }
    };
}

text_or_number!(
    Time,
    Seconds,
    "a time such as \"2s\", \"1m20s\" or 2.5 (seconds)",
    entry::time,
    |number| Ok(Seconds(number)),
    |time| write::time(*time)
);

text_or_number!(
    StopCount,
    f64,
    "stops such as \"1/3\" or 0.5",
    entry::stops,
    Ok,
    |stops| write::stops(*stops)
);

text_or_number!(
    FNumber,
    Aperture,
    "an aperture such as \"f/16\" or 16",
    entry::aperture,
    |number| Ok(Aperture::engraved(number)?),
    |aperture| aperture.written()
);

/// Several times: one text, or a list of times.
#[derive(Debug, Clone, PartialEq)]
pub(super) struct TimeList(pub(super) Vec<Seconds>);

impl<'de> Deserialize<'de> for TimeList {
    fn deserialize<D: Deserializer<'de>>(deserializer: D) -> Result<Self, D::Error> {
        struct Reader;
        impl<'de> Visitor<'de> for Reader {
            type Value = TimeList;
            fn expecting(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
                f.write_str("times such as \"8 x 2s\" or [2, 4, 8]")
            }
            fn visit_str<E: de::Error>(self, text: &str) -> Result<TimeList, E> {
                let times = entry::times(text).map_err(E::custom)?;
                Ok(TimeList(times.list()))
            }
            fn visit_seq<A: SeqAccess<'de>>(self, mut list: A) -> Result<TimeList, A::Error> {
                let mut times = Vec::new();
                while let Some(Time(time)) = list.next_element()? {
                    times.push(time);
                }
                Ok(TimeList(times))
            }
        }
        deserializer.deserialize_any(Reader)
    }
}

impl Serialize for TimeList {
    fn serialize<S: Serializer>(&self, serializer: S) -> Result<S::Ok, S::Error> {
        serializer.serialize_str(&write::times(&self.0))
    }
}
