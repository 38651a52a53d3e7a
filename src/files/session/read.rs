//! From the session file to the session, with errors that say where and what was meant.

use std::path::Path;
use std::sync::Arc;

use serde::Deserialize;

use super::VERSION;
use super::dto::{EncodingDto, MatchDto, ScanDto, SessionDto, SettingsDto, StripDto, WedgeDto};
use super::shape::AreaDto;
use crate::document::{
    Encoding, Scan, Session, SessionError, Strip, UsedCalibration, WEDGE_UNCERTAINTY, Wedge,
};
use crate::files::calibration::{CalibrationFields, read_calibration};
use crate::files::explain::explain;
use crate::files::layout::{ron_options, tamed};
use crate::files::text::{TextError, read_text, text_hash};
use crate::files::wedge::read_wedge;
use crate::measure::analysis::Settings;
use crate::measure::compare::eye::Match;
use crate::measure::exposure::Exposure;
use crate::measure::scale::calibration::Calibration;

/// Reads a session file, and the list of the wedge's densities if it names one.
///
/// The scans are not opened: they may have been moved.
///
/// # Errors
/// [`TextError`] of the session file or of the wedge's list.
pub fn read_session(path: &Path) -> Result<Session, TextError> {
    read_session_and_hash(path).map(|(session, _)| session)
}

/// Reads a session file as [`read_session`] does, and gives the hash of the very text that was
/// read.
///
/// # Errors
/// Those of [`read_session`].
pub fn read_session_and_hash(path: &Path) -> Result<(Session, String), TextError> {
    let text = read_text(path)?;
    let folder = path.parent().unwrap_or(Path::new(""));
    let session = from_text(path, &text, &Folder(folder))?;
    Ok((session, text_hash(&text)))
}

/// Gives what lies in the files that a session names.
pub trait Beside {
    /// The densities of a wedge's list.
    ///
    /// # Errors
    /// [`TextError`] of that file.
    fn densities(&self, file: &Path) -> Result<Vec<f64>, TextError>;

    /// A calibration, and the hash of its file.
    ///
    /// # Errors
    /// [`TextError`] of that file.
    fn calibration(&self, file: &Path) -> Result<(Calibration, String), TextError>;
}

/// The folder from which a session names its files.
#[derive(Debug, Clone, Copy)]
pub struct Folder<'a>(pub &'a Path);

impl Beside for Folder<'_> {
    fn densities(&self, file: &Path) -> Result<Vec<f64>, TextError> {
        read_wedge(&self.0.join(file))
    }

    fn calibration(&self, file: &Path) -> Result<(Calibration, String), TextError> {
        read_calibration(&self.0.join(file))
    }
}

/// Densities alone: a session that names a calibration's file is refused.
impl<F: Fn(&Path) -> Result<Vec<f64>, TextError>> Beside for F {
    fn densities(&self, file: &Path) -> Result<Vec<f64>, TextError> {
        self(file)
    }

    fn calibration(&self, file: &Path) -> Result<(Calibration, String), TextError> {
        Err(TextError::Disk {
            path: file.to_owned(),
            what: "no calibration can be read here".into(),
        })
    }
}

/// Reads the text of a session file; `path` is for messages, `beside` gives what lies in the
/// files that the session names.
///
/// # Errors
/// [`TextError`] with line and column, or what `beside` says.
pub fn from_text(path: &Path, text: &str, beside: &dyn Beside) -> Result<Session, TextError> {
    let text = &*tamed(text);
    refuse_newer(path, text)?;
    let dto: SessionDto = ron_options()
        .from_str(text)
        .map_err(|error| explain(path, text, &error))?;
    if dto.scans.is_empty() {
        return Err(TextError::at(
            path,
            text,
            text.find("scans").unwrap_or(0),
            "the session names no scans; write scans: [\"slates.tif\"]",
        ));
    }
    let wedge = match dto.wedge {
        Some(wedge) => Some(read_wedge_dto(path, text, wedge, beside)?),
        None => None,
    };
    let calibration = match dto.calibration {
        Some(calibration) => Some(read_calibration_dto(path, text, calibration.0, beside)?),
        None => None,
    };
    let strips = strips_of(dto.strips).map_err(|(name, what)| {
        let byte = place_of_name(text, &name);
        TextError::at(path, text, byte, format!("strip {name}: {what}"))
    })?;
    let matches = dto
        .matches
        .into_iter()
        .map(|made| {
            match_of(&strips, &made).map_err(|name| {
                let byte = place_of_name(text, &name);
                TextError::at(
                    path,
                    text,
                    byte,
                    format!("a match names {name}, but no strip has that name"),
                )
            })
        })
        .collect::<Result<_, _>>()?;
    let printing = dto
        .printing
        .map(|mut dto| {
            let print = dto.print.take().map(scan_of);
            dto.printing(print).map(Box::new)
        })
        .transpose()
        .map_err(|what| {
            let byte = text.find("printing").unwrap_or(0);
            TextError::at(path, text, byte, format!("the print: {what}"))
        })?;
    let session = Session {
        scans: dto.scans.into_iter().map(scan_of).collect(),
        empty: dto.empty.map(scan_of),
        wedge,
        calibration,
        strips,
        settings: settings_of(dto.settings.unwrap_or_default()),
        matches,
        printing,
        notes: dto.notes,
    };
    session
        .check()
        .map_err(|error| TextError::at(path, text, place_of(text, &error), error.to_string()))?;
    Ok(session)
}

/// The version alone, so that a newer file is refused for being newer and not for a word
/// that this program doesn't know yet.
fn refuse_newer(path: &Path, text: &str) -> Result<(), TextError> {
    #[derive(Deserialize)]
    #[serde(rename = "Session")]
    struct OnlyVersion {
        version: u64,
    }
    let place = || text.find("version").unwrap_or(0);
    match ron_options().from_str::<OnlyVersion>(text) {
        Ok(only) if only.version > VERSION => {
            Err(TextError::too_new(path, text, only.version, VERSION))
        }
        Ok(only) if only.version < 1 => Err(TextError::at(
            path,
            text,
            place(),
            format!("version {}: the first version is 1", only.version),
        )),
        // What is wrong with the text is said in full when it is read in full.
        _ => Ok(()),
    }
}

/// Where a text stands that names a strip; the last one, since of two the second is wrong. Where a
/// strip is named as itself comes before where another refers to it.
fn place_of_name(text: &str, name: &str) -> usize {
    let named = "name: ";
    let own = text.rfind(&format!("{named}{name:?}"));
    own.map(|byte| byte + named.len())
        .or_else(|| text.rfind(&format!("{name:?}")))
        .unwrap_or(0)
}

fn place_of(text: &str, error: &SessionError) -> usize {
    match error {
        SessionError::Exposure { name, .. } | SessionError::Strip { name, .. } => {
            place_of_name(text, name)
        }
        SessionError::Wedge(_) => text.find("wedge").unwrap_or(0),
        SessionError::Scan { path, .. } | SessionError::Empty { path, .. } => {
            place_of_name(text, path)
        }
        SessionError::Match { .. } => text.find("matches").unwrap_or(0),
        SessionError::Print(_) => text.find("printing").unwrap_or(0),
        SessionError::Notes(_) => text.find("notes").unwrap_or(0),
        SessionError::Scans(_) => text.find("scans").unwrap_or(0),
        SessionError::Settings(_) => text.find("settings").unwrap_or(0),
    }
}

fn scan_of(dto: ScanDto) -> Scan {
    Scan {
        path: dto.0.path.into(),
        hash: dto.0.hash,
        encoding: dto.0.encoding.map(|encoding| match encoding {
            EncodingDto::Srgb => Encoding::Srgb,
            EncodingDto::Gamma(gamma) => Encoding::Gamma(gamma),
            EncodingDto::Linear => Encoding::Linear,
        }),
    }
}

fn read_wedge_dto(
    path: &Path,
    text: &str,
    WedgeDto(dto): WedgeDto,
    beside: &dyn Beside,
) -> Result<Wedge, TextError> {
    let densities = match (dto.densities, &dto.file) {
        (Some(densities), _) => densities,
        (None, Some(file)) => beside.densities(Path::new(file))?,
        (None, None) => vec![],
    };
    let shape = dto
        .shape
        .map(|shape| shape.shape(Some(densities.len())))
        .transpose()
        .map_err(|what| {
            let byte = text.find("wedge").unwrap_or(0);
            TextError::at(path, text, byte, format!("the wedge: {what}"))
        })?;
    Ok(Wedge {
        densities,
        uncertainty: dto.uncertainty.unwrap_or(WEDGE_UNCERTAINTY),
        file: dto.file.map(Into::into),
        shape,
    })
}

/// A calibration by value, or the file that holds it.
fn read_calibration_dto(
    path: &Path,
    text: &str,
    fields: CalibrationFields,
    beside: &dyn Beside,
) -> Result<UsedCalibration, TextError> {
    let wrong = |what: String| {
        let byte = text.find("calibration").unwrap_or(0);
        TextError::at(path, text, byte, format!("the calibration: {what}"))
    };
    let (file, hash) = (fields.file.clone(), fields.hash.clone());
    let Some(file) = file else {
        return Ok(UsedCalibration {
            calibration: Arc::new(fields.calibration().map_err(|(_, what)| wrong(what))?),
            file: None,
            hash: None,
        });
    };
    let (calibration, found) = beside.calibration(Path::new(&file))?;
    if hash.as_ref().is_some_and(|hash| *hash != found) {
        return Err(wrong(format!(
            "{file} was changed since the session was made with it; find the one with the hash \
             that stands here, or remove the hash to use it as it is"
        )));
    }
    Ok(UsedCalibration {
        calibration: Arc::new(calibration),
        file: Some(file.into()),
        hash,
    })
}

/// All strips; the name of one that can't be, and why.
fn strips_of(dtos: Vec<StripDto>) -> Result<Vec<Strip>, (String, String)> {
    let named = |name: &str| dtos.iter().position(|dto| dto.name == name);
    let firsts: Vec<Option<usize>> = dtos
        .iter()
        .map(|dto| {
            let first = dto.same_as.as_deref().map(|first| {
                named(first).ok_or_else(|| {
                    format!("it is the same strip as {first}, but no strip has that name")
                })
            });
            first.transpose().map_err(|what| (dto.name.clone(), what))
        })
        .collect::<Result<_, _>>()?;
    let read = |(index, dto): (usize, &StripDto)| {
        let Some(first) = firsts[index] else {
            return strip_of(dto.clone());
        };
        let words = [
            ("role", dto.role.is_some()),
            ("series", dto.series.is_some()),
            ("aperture", dto.aperture.is_some()),
            ("magnification", dto.magnification.is_some()),
            ("filter", dto.filter.is_some()),
            ("height", dto.height.is_some()),
            ("lens", dto.lens.is_some()),
            ("excluded", !dto.excluded.is_empty()),
        ];
        let of = &dtos[first];
        if let Some((word, _)) = words.iter().find(|(_, given)| *given) {
            return Err(format!(
                "it is the same strip as {}, so `{word}` is said there and not here again",
                of.name
            ));
        }
        if first == index {
            return Err("it can't be itself seen once more".into());
        }
        if let Some(other) = &of.same_as {
            return Err(format!(
                "{} is itself the same strip as {other}; write same_as: {other:?} here",
                of.name
            ));
        }
        let own = StripDto {
            name: dto.name.clone(),
            areas: dto.areas.clone(),
            shape: dto.shape.clone(),
            unexposed: dto.unexposed.clone(),
            ..of.clone()
        };
        let strip = strip_of(own)?;
        Ok(Strip {
            same_as: Some(first),
            ..strip
        })
    };
    let named = |(index, dto): (usize, &StripDto)| {
        read((index, dto)).map_err(|what| (dto.name.clone(), what))
    };
    dtos.iter().enumerate().map(named).collect()
}

fn strip_of(dto: StripDto) -> Result<Strip, String> {
    let exposure = match (dto.series, dto.aperture) {
        (Some(series), Some(aperture)) => Some(Exposure {
            series: series.0,
            aperture: aperture.0,
            magnification: dto.magnification,
            filter_density: dto.filter,
            height: dto.height,
            focal_length: dto.lens,
        }),
        (Some(_), None) => return Err("a series needs an aperture, such as \"f/16\"".into()),
        (None, Some(_)) => return Err("an aperture needs a series, such as building_up".into()),
        (None, None) => None,
    };
    let role = dto
        .role
        .ok_or("`role` is missing: reference (paper) or coupon (coated)")?;
    let steps = exposure.as_ref().map(|exposure| exposure.series.steps());
    let mut excluded = dto
        .excluded
        .iter()
        .map(|step| step.checked_sub(1).ok_or("steps are counted from 1"))
        .collect::<Result<Vec<_>, _>>()?;
    excluded.sort_unstable();
    excluded.dedup();
    let areas = dto
        .areas
        .iter()
        .map(AreaDto::area)
        .collect::<Result<_, _>>()?;
    let shape = dto.shape.map(|shape| shape.shape(steps)).transpose()?;
    Ok(Strip {
        name: dto.name,
        role,
        exposure,
        excluded,
        areas,
        shape,
        unexposed: dto.unexposed.map(|patches| patches.patches()),
        same_as: None,
    })
}

/// A match with its strips by number; the name that no strip has, if there is one.
fn match_of(strips: &[Strip], made: &MatchDto) -> Result<Match, String> {
    let number = |name: &String| {
        strips
            .iter()
            .position(|strip| strip.name == *name)
            .ok_or_else(|| name.clone())
    };
    Ok(Match {
        reference: number(&made.reference)?,
        reference_at: made.step - 1.0,
        coupon: number(&made.coupon)?,
        coupon_at: made.like - 1.0,
    })
}

fn settings_of(dto: SettingsDto) -> Settings {
    let usual = Settings::default();
    Settings {
        channel: dto.channel.unwrap_or(usual.channel),
        lag: (
            dto.lamp_lag.map_or(usual.lag.0, |lag| lag.0.0),
            dto.lamp_lag_error.map_or(usual.lag.1, |error| error.0.0),
        ),
        aperture_error_stops: dto
            .aperture_error
            .map_or(usual.aperture_error_stops, |stops| stops.0),
        timing_error: dto
            .timing_error
            .map_or(usual.timing_error, |error| error.0.0),
        tablet_error: dto.tablet_error.unwrap_or(usual.tablet_error),
        priors: dto.priors.unwrap_or(usual.priors),
        seed: dto.seed.unwrap_or(usual.seed),
    }
}
