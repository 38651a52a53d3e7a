//! One strip's readings and exposures in the file.

use nalgebra::{DMatrix, DVector};
use serde::{Deserialize, Serialize};

use super::line::OneLine;
use crate::measure::compare::{OtherReading, StripEvidence};
use crate::measure::exposure::{Exposures, Series};
use crate::measure::reading::{StripReading, Unevenness};
use crate::measure::strip::Role;
use crate::measure::units::Seconds;

/// Most entries that a strip has: its margin and its steps.
const MOST_ENTRIES: usize = 100;
/// Most modes of the density scale's error.
const MOST_MODES: usize = 200;

type Row = OneLine<Vec<f64>>;

#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[serde(rename = "Strip", deny_unknown_fields)]
pub(super) struct StripFields {
    series: OneLine<SeriesWords>,
    f_number: f64,
    #[serde(default, skip_serializing_if = "Option::is_none")]
    magnification: Option<f64>,
    /// In profiles kept before it mattered who says it, no filter is 0.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    filter: Option<f64>,
    #[serde(default, skip_serializing_if = "Option::is_none")]
    height: Option<f64>,
    #[serde(default, skip_serializing_if = "Option::is_none")]
    lens: Option<f64>,
    excluded: OneLine<Vec<usize>>,
    margin: bool,
    steps: OneLine<Vec<usize>>,
    scanner: Row,
    density: Row,
    covariance: Vec<Row>,
    modes: Vec<Row>,
    /// How many of the last modes are the scanner's repeat error.
    #[serde(default, skip_serializing_if = "is_none")]
    repeat_modes: usize,
    unevenness: OneLine<UnevennessFields>,
    /// Other ways in which the scan could be read.
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    others: Vec<OtherFields>,
}

/// Another reading of the strip, and its chance.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[serde(rename = "Other", deny_unknown_fields)]
struct OtherFields {
    chance: f64,
    /// Which things on the scan are which strips: 0 as in the reading used.
    #[serde(default, skip_serializing_if = "is_none")]
    way: usize,
    margin: bool,
    steps: OneLine<Vec<usize>>,
    scanner: Row,
    density: Row,
    covariance: Vec<Row>,
    modes: Vec<Row>,
    #[serde(default, skip_serializing_if = "is_none")]
    repeat_modes: usize,
    unevenness: OneLine<UnevennessFields>,
}

#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[serde(rename = "Unevenness", deny_unknown_fields)]
struct UnevennessFields {
    exposure: f64,
    net: f64,
    scale_mm: f64,
}

/// Times in seconds.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[serde(rename = "series", rename_all = "snake_case", deny_unknown_fields)]
enum SeriesWords {
    BuildingUp {
        bursts: Vec<f64>,
    },
    OneAtATime {
        times: Vec<f64>,
    },
    InStops {
        first: f64,
        stops: f64,
        steps: usize,
    },
    PrintedWedge {
        time: f64,
        densities: Vec<f64>,
    },
    List {
        times: Vec<f64>,
    },
}

impl StripFields {
    pub(super) fn of(strip: &StripEvidence) -> Self {
        let OtherFields {
            margin,
            steps,
            scanner,
            density,
            covariance,
            modes,
            repeat_modes,
            unevenness,
            ..
        } = OtherFields::of(&strip.reading, strip.chance(), 0);
        Self {
            series: OneLine(words(&strip.exposures.series)),
            f_number: strip.exposures.f_number,
            magnification: strip.exposures.magnification,
            filter: strip.exposures.filter_density,
            height: strip.exposures.height,
            lens: strip.exposures.focal_length,
            excluded: OneLine(strip.excluded.iter().map(|step| step + 1).collect()),
            margin,
            steps,
            scanner,
            density,
            covariance,
            modes,
            repeat_modes,
            unevenness,
            others: strip
                .others
                .iter()
                .map(|other| OtherFields::of(&other.reading, other.chance, other.way))
                .collect(),
        }
    }

    /// The strip, at its place in the session.
    pub(super) fn strip(self, role: Role, place: usize) -> Result<StripEvidence, String> {
        let series = series(self.series.0);
        series.check().map_err(|error| error.to_string())?;
        let exposures = Exposures {
            series,
            f_number: self.f_number,
            magnification: self.magnification,
            filter_density: self.filter,
            height: self.height,
            focal_length: self.lens,
        };
        let known = exposures.series.steps();
        let own = OtherFields {
            chance: 1.0,
            way: 0,
            margin: self.margin,
            steps: self.steps,
            scanner: self.scanner,
            density: self.density,
            covariance: self.covariance,
            modes: self.modes,
            repeat_modes: self.repeat_modes,
            unevenness: self.unevenness,
        };
        let reading = own.reading(known)?;
        if !(self.f_number > 0.0 && self.f_number.is_finite()) {
            return Err("`f_number` must be above 0".into());
        }
        let mut others = Vec::with_capacity(self.others.len());
        let mut whole = 0.0;
        for other in self.others {
            let (chance, way) = (other.chance, other.way);
            let other_reading = other.reading(known)?;
            if other_reading.scale_modes.ncols() != reading.scale_modes.ncols() {
                return Err("every reading of a strip needs equally many `modes`".into());
            }
            whole += chance;
            if !(chance >= 0.0 && whole <= 1.0 + 1e-9) {
                return Err("the chances of other readings must be above 0 and below 1".into());
            }
            others.push(OtherReading {
                chance,
                way,
                reading: other_reading,
            });
        }
        Ok(StripEvidence {
            strip: place,
            role,
            exposures,
            reading,
            excluded: counted(&self.excluded.0)?,
            others,
        })
    }
}

impl OtherFields {
    fn of(reading: &StripReading, chance: f64, way: usize) -> Self {
        let rows = |matrix: &DMatrix<f64>| -> Vec<Row> {
            matrix
                .row_iter()
                .map(|row| OneLine(row.iter().copied().collect()))
                .collect()
        };
        Self {
            chance,
            way,
            margin: reading.has_margin,
            steps: OneLine(reading.steps.iter().map(|step| step + 1).collect()),
            scanner: OneLine(reading.scanner.iter().copied().collect()),
            density: OneLine(reading.density.iter().copied().collect()),
            covariance: lower(&reading.covariance).unwrap_or_else(|| rows(&reading.covariance)),
            modes: rows(&reading.scale_modes),
            repeat_modes: reading.repeat_modes,
            unevenness: OneLine(UnevennessFields {
                exposure: reading.unevenness.exposure_decades,
                net: reading.unevenness.net_share,
                scale_mm: reading.unevenness.scale_mm,
            }),
        }
    }

    /// What was read, of a series with so many steps.
    fn reading(self, known: usize) -> Result<StripReading, String> {
        let entries = self.density.0.len();
        let wanted = usize::from(self.margin) + self.steps.0.len();
        if entries == 0 || entries > MOST_ENTRIES || entries != wanted {
            return Err(format!(
                "{entries} densities for {} steps and {} margin",
                self.steps.0.len(),
                u8::from(self.margin)
            ));
        }
        if self.scanner.0.len() != entries {
            let count = self.scanner.0.len();
            return Err(format!("{count} scanner densities for {entries} densities"));
        }
        let steps = counted(&self.steps.0)?;
        if !steps.is_sorted_by(|a, b| a < b) || steps.iter().any(|step| *step >= known) {
            return Err(format!("`steps` must rise from 1 to at most {known}"));
        }
        let modes = self.modes.first().map_or(0, |row| row.0.len());
        if modes > MOST_MODES {
            return Err(format!("{modes} modes are too many"));
        }
        if self.repeat_modes > modes {
            let repeats = self.repeat_modes;
            return Err(format!("{repeats} of {modes} modes can't be repeat errors"));
        }
        Ok(StripReading {
            has_margin: self.margin,
            steps,
            scanner: DVector::from_vec(self.scanner.0),
            density: DVector::from_vec(self.density.0),
            covariance: covariance(&self.covariance, entries)?,
            scale_modes: matrix("modes", &self.modes, entries, modes)?,
            repeat_modes: self.repeat_modes,
            unevenness: Unevenness {
                exposure_decades: self.unevenness.0.exposure,
                net_share: self.unevenness.0.net,
                scale_mm: self.unevenness.0.scale_mm,
            },
        })
    }
}

fn is_none(count: &usize) -> bool {
    *count == 0
}

/// From 1 in the file, from 0 in memory.
fn counted(steps: &[usize]) -> Result<Vec<usize>, String> {
    steps
        .iter()
        .map(|step| {
            step.checked_sub(1)
                .ok_or_else(|| "steps are counted from 1".into())
        })
        .collect()
}

/// A symmetric matrix up to its diagonal, row by row.
fn lower(matrix: &DMatrix<f64>) -> Option<Vec<Row>> {
    (*matrix == matrix.transpose()).then(|| {
        (0..matrix.nrows())
            .map(|i| OneLine((0..=i).map(|j| matrix[(i, j)]).collect()))
            .collect()
    })
}

/// A covariance whose rows go to the diagonal, or all the way.
fn covariance(rows: &[Row], size: usize) -> Result<DMatrix<f64>, String> {
    let triangle = rows.len() == size && (0..size).all(|i| rows[i].0.len() == i + 1);
    let read = if triangle {
        DMatrix::from_fn(size, size, |i, j| rows[i.max(j)].0[i.min(j)])
    } else {
        matrix("covariance", rows, size, size)?
    };
    let sound = (0..size).all(|i| read[(i, i)] >= 0.0) && read.iter().all(|x| x.is_finite());
    if sound {
        Ok(read)
    } else {
        Err("`covariance` has a number that can't be".into())
    }
}

fn matrix(word: &str, rows: &[Row], count: usize, width: usize) -> Result<DMatrix<f64>, String> {
    if rows.len() == count && rows.iter().all(|row| row.0.len() == width) {
        Ok(DMatrix::from_fn(count, width, |i, j| rows[i].0[j]))
    } else {
        Err(format!(
            "`{word}` needs {count} rows of equal length, one a density"
        ))
    }
}

fn words(series: &Series) -> SeriesWords {
    let plain = |times: &[Seconds]| times.iter().map(|time| time.0).collect();
    match series {
        Series::BuildingUp { bursts } => SeriesWords::BuildingUp {
            bursts: plain(bursts),
        },
        Series::OneAtATime { times } => SeriesWords::OneAtATime {
            times: plain(times),
        },
        Series::InStops {
            first,
            stops,
            steps,
        } => SeriesWords::InStops {
            first: first.0,
            stops: *stops,
            steps: *steps,
        },
        Series::PrintedWedge { time, densities } => SeriesWords::PrintedWedge {
            time: time.0,
            densities: densities.clone(),
        },
        Series::List { times } => SeriesWords::List {
            times: plain(times),
        },
    }
}

fn series(words: SeriesWords) -> Series {
    let timed = |times: Vec<f64>| times.into_iter().map(Seconds).collect();
    match words {
        SeriesWords::BuildingUp { bursts } => Series::BuildingUp {
            bursts: timed(bursts),
        },
        SeriesWords::OneAtATime { times } => Series::OneAtATime {
            times: timed(times),
        },
        SeriesWords::InStops {
            first,
            stops,
            steps,
        } => Series::InStops {
            first: Seconds(first),
            stops,
            steps,
        },
        SeriesWords::PrintedWedge { time, densities } => Series::PrintedWedge {
            time: Seconds(time),
            densities,
        },
        SeriesWords::List { times } => Series::List {
            times: timed(times),
        },
    }
}
