//! Single arguments, read the forgiving way.

use std::path::Path;

use serde::de::DeserializeOwned;

use crate::document::check::check_densities;
use crate::document::day::Day;
use crate::document::{Encoding, Wedge};
use crate::files::text::TextError;
use crate::files::wedge::{listed, read_references, read_wedge};
use crate::measure::calibrating::References;
use crate::measure::exposure::{Aperture, Exposure, entry};
use crate::measure::nearest::{hint, nearest};
use crate::measure::plan::Aim;
use crate::measure::raster::{CHANNELS, Channel};
use crate::measure::scale::calibration::channel_word;
use crate::simulate::{Layout, Twist};

/// A strip as given on the command line.
#[derive(Debug, Clone, PartialEq)]
pub(super) struct NamedExposure {
    pub(super) name: String,
    pub(super) exposure: Exposure,
}

/// `NAME: EXPOSURE`.
pub(super) fn strip(text: &str) -> Result<NamedExposure, String> {
    let (name, exposure) = text
        .split_once(':')
        .ok_or("write a name, a colon and the exposure")?;
    Ok(NamedExposure {
        name: name.trim().to_owned(),
        exposure: Exposure::read(exposure).map_err(|error| error.to_string())?,
    })
}

/// A reading of a strip as chosen on the command line.
#[derive(Debug, Clone, PartialEq)]
pub(super) struct ReadingChoice {
    pub(super) strip: String,
    /// Number from 1.
    pub(super) number: usize,
}

/// `NAME: NUMBER`.
pub(super) fn reading(text: &str) -> Result<ReadingChoice, String> {
    const WANTED: &str = "write the strip's name, a colon and the number of the reading";
    let (strip, number) = text.rsplit_once(':').ok_or(WANTED)?;
    let number = number.trim().parse::<usize>().ok();
    Ok(ReadingChoice {
        strip: strip.trim().to_owned(),
        number: number.filter(|number| *number > 0).ok_or(WANTED)?,
    })
}

/// `srgb`, `linear`, `gamma:2.2`.
pub(super) fn encoding(text: &str) -> Result<Encoding, String> {
    let lower = text.trim().to_lowercase();
    if let Some(gamma) = lower.strip_prefix("gamma") {
        let gamma = gamma.trim_start_matches([':', '=', ' ']);
        return match gamma.parse::<f64>() {
            Ok(gamma) if (0.2..=5.0).contains(&gamma) => Ok(Encoding::Gamma(gamma)),
            _ => Err("write gamma:2.2, with a number between 0.2 and 5".into()),
        };
    }
    match lower.as_str() {
        "srgb" => Ok(Encoding::Srgb),
        "linear" => Ok(Encoding::Linear),
        other => Err(format!(
            "known are srgb, linear and gamma:2.2{}",
            hint(nearest(other, &["srgb", "linear", "gamma"]))
        )),
    }
}

/// What densities are read from.
pub(super) fn channel(text: &str) -> Result<Channel, String> {
    let lower = text.trim().to_lowercase();
    let found = CHANNELS
        .into_iter()
        .find(|channel| channel_word(*channel) == lower);
    found.ok_or_else(|| {
        let words = CHANNELS.map(channel_word);
        format!(
            "known are {}{}",
            words.join(", "),
            hint(nearest(&lower, &words))
        )
    })
}

/// A count above zero, perhaps with `_` between digits or `M` for millions.
pub(super) fn count(text: &str) -> Result<u64, String> {
    let plain = text.replace(['_', ' '], "");
    let (digits, factor) = match plain.strip_suffix(['M', 'm']) {
        Some(digits) => (digits, 1_000_000),
        None => (plain.as_str(), 1),
    };
    digits
        .parse::<u64>()
        .ok()
        .and_then(|count| count.checked_mul(factor))
        .filter(|count| *count > 0)
        .ok_or_else(|| "write a count above 0, such as 600000000 or 600M".into())
}

/// A time in seconds.
pub(super) fn time(text: &str) -> Result<f64, String> {
    entry::time(text)
        .map(|time| time.0)
        .map_err(|error| error.to_string())
}

/// A length in millimetres: `12mm`, `1.2 cm`, `0.5in`.
pub(super) fn length(text: &str) -> Result<f64, String> {
    const WANTED: &str = "write a length with its unit: 12mm, 1.2cm or 0.5in";
    let text = text.trim();
    let (number, millimetres) = [("mm", 1.0), ("cm", 10.0), ("in", 25.4)]
        .into_iter()
        .find_map(|(unit, millimetres)| Some((text.strip_suffix(unit)?, millimetres)))
        .ok_or(WANTED)?;
    number
        .trim()
        .parse::<f64>()
        .ok()
        .map(|number| number * millimetres)
        .filter(|length| length.abs() <= 1e5)
        .ok_or_else(|| WANTED.into())
}

/// The tone that a plan is to meet.
pub(super) fn aim(text: &str) -> Result<Aim, String> {
    let word = text.trim().to_lowercase();
    match word.as_str() {
        "middle" => Ok(Aim::SpeedPoint),
        "highlights" => Ok(Aim::Highlights),
        "shadows" => Ok(Aim::Shadows),
        "whole" => Ok(Aim::WholeScale),
        other => match other.parse::<f64>() {
            Ok(net) if net > 0.0 && net <= 4.0 => Ok(Aim::Net(net)),
            _ => Err(format!(
                "known are middle, highlights, shadows, whole and a net density such as 0.9{}",
                hint(nearest(
                    other,
                    &["middle", "highlights", "shadows", "whole"]
                ))
            )),
        },
    }
}

/// An aperture.
pub(super) fn aperture(text: &str) -> Result<Aperture, String> {
    entry::aperture(text).map_err(|error| error.to_string())
}

/// Stops of at least 0.
pub(super) fn stops(text: &str) -> Result<f64, String> {
    let stops = entry::stops(text).map_err(|error| error.to_string())?;
    if (0.0..=5.0).contains(&stops) {
        Ok(stops)
    } else {
        Err("write stops from 0 to 5, such as 1/6 or 0.1".into())
    }
}

/// Stops above 0.
pub(super) fn stops_above_0(text: &str) -> Result<f64, String> {
    stops(text).and_then(|stops| {
        if stops > 0.0 {
            Ok(stops)
        } else {
            Err("write stops above 0, such as 1/6".into())
        }
    })
}

/// An exponent of reciprocity failure.
pub(super) fn exponent(text: &str) -> Result<f64, String> {
    text.parse::<f64>()
        .ok()
        .filter(|p| (0.5..=1.5).contains(p))
        .ok_or_else(|| "write an exponent between 0.5 and 1.5, such as 0.9".into())
}

/// A resolution that scanners have.
pub(super) fn dpi(text: &str) -> Result<f64, String> {
    text.parse::<f64>()
        .ok()
        .filter(|dpi| (10.0..=1200.0).contains(dpi))
        .ok_or_else(|| "write a number of dots per inch between 10 and 1200".into())
}

/// The twists by the names that truth files have, a value after a colon: `jpeg:60`.
pub(super) fn twist(text: &str) -> Result<Twist, String> {
    named(text)
}

/// The layouts by name: `narrow-frame`.
pub(super) fn layout(text: &str) -> Result<Layout, String> {
    named(text)
}

/// A word, perhaps with a value after a colon, as truth files have it.
fn named<T: DeserializeOwned>(text: &str) -> Result<T, String> {
    let word = serde_json::Value::String;
    let value = match text.split_once(':') {
        Some((name, value)) => {
            let value = value
                .parse::<u8>()
                .map_or_else(|_| word(value.to_owned()), Into::into);
            serde_json::json!({ name: value })
        }
        None => word(text.to_owned()),
    };
    T::deserialize(value).map_err(|error| {
        let said = error.to_string();
        // serde lists the known words between backticks after the unknown one.
        let known: Vec<&str> = said.split('`').skip(3).step_by(2).collect();
        let name = text.split(':').next().unwrap_or_default();
        format!("{said}{}", hint(nearest(name, &known)))
    })
}

/// A standard uncertainty of densities.
pub(super) fn uncertainty(text: &str) -> Result<f64, String> {
    text.parse::<f64>()
        .ok()
        .filter(|u| *u > 0.0 && *u <= 0.5)
        .ok_or_else(|| "write a density above 0 and at most 0.5, such as 0.01".into())
}

/// A day as 2026-11-25.
pub(super) fn date(text: &str) -> Result<String, String> {
    text.parse::<Day>()
        .map(|day| day.to_string())
        .map_err(|error| error.to_string())
}

/// A wedge's densities as listed, or a file with them, those through filters too.
///
/// # Errors
/// As [`wedge`].
pub(super) fn references(text: &str) -> Result<Result<References, TextError>, String> {
    Ok(match wedge(text)? {
        Ok(Wedge {
            file: Some(file), ..
        }) => read_references(&file),
        Ok(Wedge { densities, .. }) => Ok(References {
            visual: densities,
            channels: None,
        }),
        Err(error) => Err(error),
    })
}

/// Densities as listed, or a file with them.
///
/// # Errors
/// A bad list says so in words ([`Err`] of [`Ok`]'s place); a bad file is a [`TextError`].
pub(super) fn wedge(text: &str) -> Result<Result<Wedge, TextError>, String> {
    let starts_like_a_list = text
        .trim_start()
        .starts_with(|letter: char| letter.is_ascii_digit() || letter == '.' || letter == '-');
    if !starts_like_a_list || Path::new(text).is_file() {
        return Ok(read_wedge(Path::new(text)).map(|densities| Wedge {
            file: Some(text.into()),
            ..Wedge::new(densities)
        }));
    }
    let densities = listed(text).map_err(|(_, what)| format!("--wedge: {what}"))?;
    check_densities(&densities).map_err(|what| format!("--wedge: {what}"))?;
    Ok(Ok(Wedge::new(densities)))
}
