//! From the session to its file.

use std::path::Path;

use super::VERSION;
use super::dto::{
    EncodingDto, MatchDto, ScanDto, ScanFields, SeriesDto, SessionDto, SettingsDto, StripDto,
    WedgeDto, WedgeFields,
};
use super::print::PrintingDto;
use super::shape::{AreaDto, PatchesDto, ShapeDto};
use super::used::CalibrationDto;
use super::values::{FNumber, StopCount, Time};
use crate::document::{
    Encoding, Printing, Scan, Session, Strip, UsedCalibration, WEDGE_UNCERTAINTY, Wedge,
};
use crate::files::atomic::{self, WriteRefused};
use crate::files::calibration::CalibrationFields;
use crate::files::layout::file_text;
use crate::files::text::{LARGEST, check_size};
use crate::measure::analysis::Settings;
use crate::measure::units::Seconds;

/// Writes a session file, whole or not at all.
///
/// # Errors
/// [`WriteRefused`] when the disk refuses.
pub fn write_session(path: &Path, session: &Session) -> Result<(), WriteRefused> {
    let text = to_text(session).map_err(|what| WriteRefused {
        path: path.to_owned(),
        source: std::io::Error::new(std::io::ErrorKind::InvalidData, what),
    })?;
    check_size(path, &text, LARGEST)?;
    atomic::write(path, text.as_bytes())
}

/// The text of a session file; reading it gives the same session.
///
/// # Errors
/// When a path is not text (UTF-8).
pub fn to_text(session: &Session) -> Result<String, String> {
    let dto = SessionDto {
        version: oldest_version(session),
        scans: session.scans.iter().map(scan).collect::<Result<_, _>>()?,
        empty: session.empty.as_ref().map(scan).transpose()?,
        wedge: session.wedge.as_ref().map(wedge).transpose()?,
        calibration: session.calibration.as_ref().map(calibration).transpose()?,
        strips: strips(session),
        settings: settings(&session.settings),
        matches: matches(session),
        printing: session.printing.as_deref().map(printing).transpose()?,
        notes: session.notes.clone(),
    };
    file_text(&dto, 3)
}

/// The oldest version whose programs understand all that the session says, so that they can go on
/// reading what they can.
fn oldest_version(session: &Session) -> u64 {
    let usual = Settings::default();
    let settings = &session.settings;
    let any = |says: fn(&Strip) -> bool| session.strips.iter().any(says);
    let placed = |strip: &Strip| {
        let exposure = strip.exposure.as_ref();
        exposure
            .is_some_and(|exposure| exposure.height.is_some() || exposure.focal_length.is_some())
    };
    if any(|strip| strip.unexposed.is_some())
        || any(placed)
        || settings.timing_error != usual.timing_error
        || settings.tablet_error != usual.tablet_error
    {
        VERSION
    } else if session.empty.is_some() || any(|strip| strip.same_as.is_some()) {
        3
    } else if session.printing.is_some() {
        2
    } else {
        1
    }
}

/// A path with `/` between folders on every system.
fn portable(path: &Path) -> Result<String, String> {
    let text = path
        .to_str()
        .ok_or_else(|| format!("the path {} is not text (UTF-8)", path.display()))?;
    Ok(if cfg!(windows) {
        text.replace('\\', "/")
    } else {
        text.to_owned()
    })
}

fn scan(scan: &Scan) -> Result<ScanDto, String> {
    Ok(ScanDto(ScanFields {
        path: portable(&scan.path)?,
        encoding: scan.encoding.map(|encoding| match encoding {
            Encoding::Srgb => EncodingDto::Srgb,
            Encoding::Gamma(gamma) => EncodingDto::Gamma(gamma),
            Encoding::Linear => EncodingDto::Linear,
        }),
        hash: scan.hash.clone(),
    }))
}

fn wedge(wedge: &Wedge) -> Result<WedgeDto, String> {
    let file = wedge.file.as_deref().map(portable).transpose()?;
    Ok(WedgeDto(WedgeFields {
        densities: file.is_none().then(|| wedge.densities.clone()),
        file,
        uncertainty: unless(wedge.uncertainty, WEDGE_UNCERTAINTY),
        shape: wedge.shape.as_ref().map(ShapeDto::of),
    }))
}

fn calibration(used: &UsedCalibration) -> Result<CalibrationDto, String> {
    Ok(CalibrationDto(match &used.file {
        Some(file) => CalibrationFields::in_file(portable(file)?, used.hash.clone()),
        None => CalibrationFields::of(&used.calibration),
    }))
}

/// Of a strip seen once more only what is its own.
fn strips(session: &Session) -> Vec<StripDto> {
    let dto = |of: &Strip| {
        let first = of.same_as.and_then(|first| session.strips.get(first));
        let Some(first) = first else {
            return strip(of);
        };
        let own = Strip {
            exposure: None,
            excluded: vec![],
            ..of.clone()
        };
        StripDto {
            role: None,
            same_as: Some(first.name.clone()),
            ..strip(&own)
        }
    };
    session.strips.iter().map(dto).collect()
}

fn strip(strip: &Strip) -> StripDto {
    let exposure = strip.exposure.as_ref();
    StripDto {
        name: strip.name.clone(),
        same_as: None,
        role: Some(strip.role),
        series: exposure.map(|exposure| SeriesDto(exposure.series.clone())),
        aperture: exposure.map(|exposure| FNumber(exposure.aperture)),
        magnification: exposure.and_then(|exposure| exposure.magnification),
        filter: exposure.and_then(|exposure| exposure.filter_density),
        height: exposure.and_then(|exposure| exposure.height),
        lens: exposure.and_then(|exposure| exposure.focal_length),
        excluded: strip.excluded.iter().map(|step| step + 1).collect(),
        areas: strip.areas.iter().map(AreaDto::of).collect(),
        shape: strip.shape.as_ref().map(ShapeDto::of),
        unexposed: strip.unexposed.as_deref().map(PatchesDto::of),
    }
}

fn matches(session: &Session) -> Vec<MatchDto> {
    let name = |strip: usize| Some(session.strips.get(strip)?.name.clone());
    session
        .matches
        .iter()
        .filter_map(|made| {
            Some(MatchDto {
                reference: name(made.reference)?,
                step: made.reference_at + 1.0,
                coupon: name(made.coupon)?,
                like: made.coupon_at + 1.0,
            })
        })
        .collect()
}

fn printing(printing: &Printing) -> Result<PrintingDto, String> {
    let print = printing.print.as_ref().map(scan).transpose()?;
    Ok(PrintingDto::of(printing, print))
}

/// Only what isn't as usual.
fn settings(settings: &Settings) -> Option<SettingsDto> {
    let usual = Settings::default();
    let dto = SettingsDto {
        channel: unless(settings.channel, usual.channel),
        lamp_lag: unless(settings.lag.0, usual.lag.0).map(|lag| Time(Seconds(lag))),
        lamp_lag_error: unless(settings.lag.1, usual.lag.1).map(|error| Time(Seconds(error))),
        aperture_error: unless(settings.aperture_error_stops, usual.aperture_error_stops)
            .map(StopCount),
        timing_error: unless(settings.timing_error, usual.timing_error)
            .map(|error| Time(Seconds(error))),
        tablet_error: unless(settings.tablet_error, usual.tablet_error),
        priors: unless(settings.priors, usual.priors),
        seed: unless(settings.seed, usual.seed),
    };
    (dto != SettingsDto::default()).then_some(dto)
}

fn unless<T: PartialEq>(value: T, usual: T) -> Option<T> {
    (value != usual).then_some(value)
}
