//! Single arguments, read the forgiving way.

use std::path::Path;

use serde::Deserialize as _;

use crate::document::check::check_densities;
use crate::document::day::Day;
use crate::document::{Encoding, Wedge};
use crate::files::text::TextError;
use crate::files::wedge::{listed, read_references, read_wedge};
use crate::measure::calibrating::References;
use crate::measure::exposure::{Exposure, entry};
use crate::measure::nearest::{hint, nearest};
use crate::simulate::Twist;

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

/// A resolution that scanners have.
pub(super) fn dpi(text: &str) -> Result<f64, String> {
    text.parse::<f64>()
        .ok()
        .filter(|dpi| (10.0..=1200.0).contains(dpi))
        .ok_or_else(|| "write a number of dots per inch between 10 and 1200".into())
}

/// The twists by the names that truth files have, a value after a colon: `jpeg:60`.
pub(super) fn twist(text: &str) -> Result<Twist, String> {
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
    Twist::deserialize(value).map_err(|error| {
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
