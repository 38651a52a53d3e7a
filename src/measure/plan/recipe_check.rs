//! What a recipe must fulfil before anything is computed from it.

use super::recipe::{Amount, Change, Grade, Recipe, Throw, Tone, Way};
use crate::measure::exposure::check::{LONGEST_TIME, check_f_number};

/// A recipe that can't be read or can't be: where, and what is wrong.
#[derive(Debug, Clone, PartialEq, thiserror::Error)]
#[error("line {line} of the recipe: {what}")]
pub struct RecipeError {
    /// Line from 1: the base exposure, then burns and dodges. A semicolon begins a new line
    /// too.
    pub line: usize,
    /// What is wrong, and what would be right.
    pub what: String,
}

/// What a line says wrongly; its number is added by whoever knows it.
pub(super) type Wrong = String;

/// Largest factor of a grade that is believed.
const MOST_FACTOR: f64 = 1000.0;
/// Most stops that a part is burned or dodged by.
const MOST_STOPS: f64 = 12.0;
/// Focal lengths of enlarger lenses, mm, with room to spare.
const FOCAL_LENGTHS: std::ops::RangeInclusive<f64> = 10.0..=1000.0;
/// Net densities that are believed.
const NET_DENSITIES: std::ops::RangeInclusive<f64> = 0.0..=4.0;

impl Recipe {
    /// Whether the recipe can be computed with.
    ///
    /// # Errors
    /// The first line that can't be, and why.
    pub fn check(&self) -> Result<(), RecipeError> {
        let at = |line: usize| move |what: Wrong| RecipeError { line, what };
        self.check_base().map_err(at(1))?;
        for (line, change) in (2..).zip(&self.changes) {
            self.check_change(change).map_err(at(line))?;
        }
        Ok(())
    }

    pub(super) fn check_base(&self) -> Result<(), Wrong> {
        if self.base.is_empty() {
            return Err("the base exposure is missing".into());
        }
        for burst in &self.base {
            check_time(burst.time.0)?;
            check_grade(&burst.grade)?;
        }
        check_f_number(self.aperture.exact).map_err(|error| error.to_string())?;
        if let Some(mm) = self.focal_length
            && !FOCAL_LENGTHS.contains(&mm)
        {
            return Err(format!(
                "a lens of {mm} mm: focal lengths are between {} and {} mm",
                FOCAL_LENGTHS.start(),
                FOCAL_LENGTHS.end()
            ));
        }
        match self.throw {
            Throw::Magnified(m) if !(m > 0.0 && m <= 1000.0) => Err(format!(
                "magnification {m}: it must be above 0 and at most 1000"
            )),
            Throw::Head(mm) => self.check_head(mm),
            _ => Ok(()),
        }?;
        match self.tones {
            Some((light, dark))
                if !(NET_DENSITIES.contains(&light)
                    && NET_DENSITIES.contains(&dark)
                    && light < dark) =>
            {
                Err(format!(
                    "tones {light} to {dark}: net densities go from light to dark, such as \
                     `tones 0.05 to 1.6`"
                ))
            }
            _ => Ok(()),
        }
    }

    fn check_head(&self, mm: f64) -> Result<(), Wrong> {
        match self.focal_length {
            None => Err(
                "the height of the head says how large the picture is only with the \
                         focal length: add `lens 80mm`, or write `magnified 4x` instead"
                    .into(),
            ),
            Some(focal_length) if mm >= 4.0 * focal_length && mm <= 1e5 => Ok(()),
            Some(focal_length) => Err(format!(
                "head {mm} mm: from negative to easel it is at least four focal lengths, {} mm \
                 with this lens",
                4.0 * focal_length
            )),
        }
    }

    pub(super) fn check_change(&self, change: &Change) -> Result<(), Wrong> {
        let name = change.name.trim();
        if name.is_empty() {
            return Err(format!("what is to be {}ed has no name", change.way.word()));
        }
        let said = |what: Wrong| format!("{} `{name}`: {what}", change.way.word());
        if let Some(grade) = &change.grade {
            check_grade(grade).map_err(said)?;
        }
        match change.amount {
            Amount::Stops(stops) if !(stops > 0.0 && stops <= MOST_STOPS) => {
                return Err(said(format!(
                    "{stops} stops: write how much as a number above 0 and at most {MOST_STOPS}; \
                     `burn` adds light and `dodge` holds it back"
                )));
            }
            Amount::Time(time) => {
                check_time(time.0).map_err(said)?;
                let dodged_away =
                    change.way == Way::Dodge && self.stops_of(change, 0.0) == f64::NEG_INFINITY;
                if dodged_away {
                    return Err(said(format!(
                        "{} s held back leave nothing of a base exposure of {} s",
                        time.0,
                        self.lamp_seconds()
                    )));
                }
            }
            Amount::Stops(_) => {}
        }
        match change.tone {
            Some(Tone::Net(net)) if !NET_DENSITIES.contains(&net) => Err(said(format!(
                "net density {net}: it must be between {} and {}",
                NET_DENSITIES.start(),
                NET_DENSITIES.end()
            ))),
            _ => Ok(()),
        }
    }
}

fn check_time(seconds: f64) -> Result<(), Wrong> {
    if seconds > 0.0 && seconds <= LONGEST_TIME {
        Ok(())
    } else {
        Err(format!(
            "a time of {seconds} s: times must be above 0 and at most {LONGEST_TIME} s"
        ))
    }
}

fn check_grade(grade: &Grade) -> Result<(), Wrong> {
    match grade.factor {
        Some(factor) if !(factor > 0.0 && factor <= MOST_FACTOR) => Err(format!(
            "factor {factor}: it must be above 0 and at most {MOST_FACTOR}"
        )),
        _ => Ok(()),
    }
}
