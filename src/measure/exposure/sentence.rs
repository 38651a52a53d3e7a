//! A strip's whole exposure in one sentence: `building up 8 x 2s at f/16, magnified 3x`.

use super::aperture::Aperture;
use super::check::MOST_STEPS;
use super::entry::{EntryError, Times, an_aperture, finished, not, some_times, time};
use super::words::{Reader, Token};
use super::{ExposureError, Exposures, Series};
use crate::measure::nearest::nearest;
use crate::measure::units::Seconds;

/// The exposure of a strip as a person gives it.
#[derive(Debug, Clone, PartialEq)]
pub struct Exposure {
    /// How the steps were exposed.
    pub series: Series,
    /// Aperture of the lens.
    pub aperture: Aperture,
    /// Magnification print/negative, above 0.
    pub magnification: Option<f64>,
    /// Density of filters in the light for the whole strip, if somebody says it.
    pub filter_density: Option<f64>,
    /// How far the strip's face lay above the easel, mm, if somebody says it.
    pub height: Option<f64>,
    /// Focal length of the enlarger's lens, mm, if somebody says it.
    pub focal_length: Option<f64>,
}

impl Exposure {
    /// Reads a sentence: `SERIES at APERTURE[, magnified M x][, filter D][, height 12mm]
    /// [, lens 80mm]`. SERIES is
    /// `building up TIMES` (the bursts), `building up totals TIMES`, `one at a time TIMES`,
    /// `wedge TIME through DENSITIES`, `thirds from TIME, N steps`, or just times.
    ///
    /// # Errors
    /// What is wrong with the text or with the exposures it stands for.
    pub fn read(text: &str) -> Result<Self, EntryError> {
        let (series, light) = Reader::new(text)?.split_at_word(&["at"]);
        // `one at a time` has an `at` of its own.
        let (series, light) = match light {
            Some(rest) if rest.clone().take_words(&["a", "time"]) => {
                let mut rest = rest;
                rest.skip(2);
                let (times, light) = rest.split_at_word(&["at"]);
                (one_at_a_time(series, times)?, light)
            }
            light => (a_series(series)?, light),
        };
        let mut light = light.ok_or(EntryError::Empty("`at` and the aperture"))?;
        let aperture = an_aperture(&mut light)?;
        let mut exposure = Self {
            series,
            aperture,
            magnification: None,
            filter_density: None,
            height: None,
            focal_length: None,
        };
        exposure.read_light(&mut light)?;
        exposure.exposures().check()?;
        Ok(exposure)
    }

    fn read_light(&mut self, light: &mut Reader) -> Result<(), EntryError> {
        const WANTED: &str = "`magnified 3x`, `filter 0.3`, `height 12mm` or `lens 80mm`";
        while !light.is_done() {
            light.take_mark(&[',', ';']);
            if light.take_word(&["magnified", "magnification", "enlarged"]) {
                let m = light.take_number().ok_or_else(|| not(light, WANTED))?;
                light.take_word(&["x", "times"]);
                self.magnification = Some(m);
            } else if light.take_word(&["filter", "filtered"]) {
                let density = light.take_number().ok_or_else(|| not(light, WANTED))?;
                self.filter_density = Some(density);
            } else if light.take_word(&["height", "high"]) {
                self.height = Some(millimetres(light, WANTED)?);
            } else if light.take_word(&["lens"]) {
                self.focal_length = Some(millimetres(light, WANTED)?);
            } else {
                return Err(not(light, WANTED));
            }
        }
        Ok(())
    }

    /// As the computation takes it.
    pub fn exposures(&self) -> Exposures {
        Exposures {
            series: self.series.clone(),
            f_number: self.aperture.exact,
            magnification: self.magnification,
            filter_density: self.filter_density,
            height: self.height,
            focal_length: self.focal_length,
        }
    }
}

/// A length in millimetres, with or without its unit.
fn millimetres(light: &mut Reader, wanted: &'static str) -> Result<f64, EntryError> {
    let below = light.take_mark(&['-']);
    let length = light.take_number().ok_or_else(|| not(light, wanted))?;
    light.take_word(&["mm", "millimetre", "millimetres"]);
    Ok(if below { -length } else { length })
}

fn one_at_a_time(mut before: Reader, mut times: Reader) -> Result<Series, EntryError> {
    if !before.take_word(&["one"]) || !before.is_done() {
        return Err(unknown(&before));
    }
    let times = listed(&mut times)?;
    Ok(Series::OneAtATime { times })
}

fn a_series(mut words: Reader) -> Result<Series, EntryError> {
    if words.is_done() {
        return Err(EntryError::Empty("the series"));
    }
    words.take_word(&["list", "times"]);
    if words.take_words(&["building", "up"]) || words.take_word(&["building_up"]) {
        let totals = words.take_word(&["totals", "total", "to"]);
        words.take_word(&["totals", "bursts"]);
        let times = listed(&mut words)?;
        let bursts = if totals { bursts_of(&times)? } else { times };
        return Ok(Series::BuildingUp { bursts });
    }
    words.take_word(&["printed"]);
    if words.take_word(&["wedge"]) {
        return a_wedge(words);
    }
    words.take_words(&["in", "stops"]);
    let starts_well = words.clone().take_word(&["from"])
        || words.number_at(0).is_some()
        || super::entry::some_stops(&mut words.clone()).is_ok()
        || matches!(words.peek(), Some(piece) if matches!(piece.token, Token::Mark(_)));
    if !starts_well {
        return Err(unknown(&words));
    }
    let times = some_times(&mut words)?;
    finished(&words, "a part of the series")?;
    Ok(match times {
        Times::Listed(times) => Series::List { times },
        Times::ByStops {
            first,
            stops,
            steps,
        } => Series::InStops {
            first,
            stops,
            steps,
        },
    })
}

fn listed(words: &mut Reader) -> Result<Vec<Seconds>, EntryError> {
    let times = some_times(words)?.list();
    finished(words, "a part of the series")?;
    Ok(times)
}

fn a_wedge(words: Reader) -> Result<Series, EntryError> {
    let (time_text, densities) = words.split_at_word(&["through"]);
    let time = time(&time_text.rest())?;
    let mut reader = densities.ok_or(EntryError::Empty("`through` and the densities"))?;
    let mut densities = Vec::new();
    while let Some(density) = reader.take_number() {
        densities.push(density);
        reader.take_mark(&[',', ';']);
        if densities.len() > MOST_STEPS {
            return Err(ExposureError::TooManySteps(densities.len()).into());
        }
    }
    finished(&reader, "a density")?;
    Ok(Series::PrintedWedge { time, densities })
}

/// The bursts that add up to these totals, each the difference from the one before.
///
/// # Errors
/// [`ExposureError::TotalsNotGrowing`] when one isn't longer than the one before.
pub fn bursts_of(totals: &[Seconds]) -> Result<Vec<Seconds>, ExposureError> {
    if let Some(index) = totals.windows(2).position(|pair| pair[1] <= pair[0]) {
        return Err(ExposureError::TotalsNotGrowing {
            step: index + 2,
            total: totals[index + 1].0,
            before: totals[index].0,
        });
    }
    let before = std::iter::once(0.0).chain(totals.iter().map(|total| total.0));
    Ok(totals
        .iter()
        .zip(before)
        .map(|(total, before)| Seconds(total.0 - before))
        .collect())
}

fn unknown(words: &Reader) -> EntryError {
    let found = words.rest();
    let first: Vec<&str> = found.split_whitespace().collect();
    let kinds = [
        "building up",
        "one at a time",
        "in stops",
        "wedge",
        "list",
        "from",
        "halves",
        "thirds",
        "quarters",
        "sixths",
    ];
    let near =
        (1..=first.len().min(4)).find_map(|count| nearest(&first[..count].join(" "), &kinds));
    EntryError::UnknownSeries {
        found,
        nearest: near.map(str::to_owned),
    }
}
