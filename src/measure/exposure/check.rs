//! What exposures must fulfil before anything is computed from them.

use super::super::units::Seconds;
use super::{Exposures, Series};

/// Most steps that a strip may have.
pub const MOST_STEPS: usize = 200;
/// Longest time that is believed, in seconds (a day and more).
pub const LONGEST_TIME: f64 = 100_000.0;
/// f-numbers that are believed.
pub const F_NUMBERS: std::ops::RangeInclusive<f64> = 0.5..=1024.0;

/// Exposures that cannot be.
#[derive(Debug, Clone, PartialEq, thiserror::Error)]
pub enum ExposureError {
    /// A series without steps.
    #[error("the series has no steps")]
    NoSteps,
    /// More steps than any strip has.
    #[error("the series has {0} steps; {MOST_STEPS} is the limit")]
    TooManySteps(usize),
    /// A time that is zero.
    #[error(
        "step {step} has a time of zero: every step needs some light; the unexposed margin is not listed"
    )]
    ZeroTime {
        /// Step number from 1.
        step: usize,
    },
    /// A time below zero, not a number, or absurdly long.
    #[error(
        "step {step} has a time of {seconds} s: times must be above 0 and at most {LONGEST_TIME} s"
    )]
    BadTime {
        /// Step number from 1.
        step: usize,
        /// The time in seconds.
        seconds: f64,
    },
    /// Two neighbours with the same exposure, or a turn in the list.
    #[error("exposures must go one way: step {step} ({what}) breaks the order{hint}")]
    NotOneWay {
        /// Step number from 1.
        step: usize,
        /// What that step got, in words.
        what: String,
        /// What may have been meant.
        hint: &'static str,
    },
    /// Totals of a strip that was built up which don't grow.
    #[error(
        "totals must grow: step {step} ({total} s) is not longer than the one before ({before} s)"
    )]
    TotalsNotGrowing {
        /// Step number from 1.
        step: usize,
        /// Its total in seconds.
        total: f64,
        /// The total of the step before, in seconds.
        before: f64,
    },
    /// Stops from step to step that aren't a sensible number.
    #[error("{0} stops from step to step: it must be between 1/100 and 10, or negative to go down")]
    BadStops(f64),
    /// A transmission density that cannot be.
    #[error("density {density} over step {step} of the printed wedge: it must be between 0 and 6")]
    BadWedgeDensity {
        /// Step number from 1.
        step: usize,
        /// The density.
        density: f64,
    },
    /// f/0, NaN and the like.
    #[error("f/{0} is not an f-number: it must be between {low} and {high}", low = F_NUMBERS.start(), high = F_NUMBERS.end())]
    BadFNumber(f64),
    /// A magnification that cannot be.
    #[error("magnification {0}: it must be above 0 and at most 1000")]
    BadMagnification(f64),
    /// A height that cannot be.
    #[error("a face {0} mm above the easel: it must be between -1000 and 1000")]
    BadHeight(f64),
    /// A focal length that cannot be.
    #[error("a lens of {0} mm: focal lengths are between 10 and 1000 mm")]
    BadLens(f64),
    /// A filter density that cannot be.
    #[error("filter density {0}: it must be between 0 and 6")]
    BadFilter(f64),
    /// The lamp's dead time swallows a burst.
    #[error("the lamp's lag of {lag} s is not shorter than the burst of {burst} s of step {step}")]
    LagTooLong {
        /// Lag in seconds.
        lag: f64,
        /// Burst in seconds.
        burst: f64,
        /// Step number from 1.
        step: usize,
    },
}

impl Series {
    /// The length of each burst, with the step it belongs to (from 0).
    fn bursts(&self) -> Vec<(usize, Seconds)> {
        match self {
            Self::BuildingUp { bursts } => bursts.iter().copied().enumerate().collect(),
            Self::PrintedWedge { time, .. } => vec![(0, *time)],
            _ => self
                .doses()
                .iter()
                .map(|dose| dose.total)
                .enumerate()
                .collect(),
        }
    }

    /// Whether the series can be computed with: steps, times, and one way up or down.
    ///
    /// A series may be listed from the longest exposure to the shortest; it may not turn.
    ///
    /// # Errors
    /// The first thing that is wrong.
    pub fn check(&self) -> Result<(), ExposureError> {
        match self.steps() {
            0 => return Err(ExposureError::NoSteps),
            steps if steps > MOST_STEPS => return Err(ExposureError::TooManySteps(steps)),
            _ => {}
        }
        if let Self::InStops { stops, .. } = self
            && !(0.01..=10.0).contains(&stops.abs())
        {
            return Err(ExposureError::BadStops(*stops));
        }
        for (index, time) in self.bursts() {
            check_time(index + 1, time)?;
        }
        if let Self::PrintedWedge { densities, .. } = self {
            for (index, &density) in densities.iter().enumerate() {
                if !(0.0..=6.0).contains(&density) {
                    return Err(ExposureError::BadWedgeDensity {
                        step: index + 1,
                        density,
                    });
                }
            }
        }
        self.check_order()
    }

    fn check_order(&self) -> Result<(), ExposureError> {
        let exposures: Vec<f64> = self
            .doses()
            .iter()
            .map(|dose| dose.total.0.log10() - dose.density)
            .collect();
        let rising = exposures.len() < 2 || exposures[1] > exposures[0];
        for (index, pair) in exposures.windows(2).enumerate() {
            let in_order = if rising {
                pair[1] > pair[0]
            } else {
                pair[1] < pair[0]
            };
            if !in_order {
                return Err(self.out_of_order(index + 1));
            }
        }
        Ok(())
    }

    fn out_of_order(&self, index: usize) -> ExposureError {
        let (what, hint) = match self {
            Self::PrintedWedge { densities, .. } => (format!("density {}", densities[index]), ""),
            Self::List { times } | Self::OneAtATime { times } => (
                format!("{} s after {} s", times[index].0, times[index - 1].0),
                "; if these are the bursts of a strip that was uncovered step by step, the \
                 series is building_up",
            ),
            _ => (format!("{} s", self.doses()[index].total.0), ""),
        };
        ExposureError::NotOneWay {
            step: index + 1,
            what,
            hint,
        }
    }

    /// Whether every burst is longer than the lamp's dead time, in seconds.
    ///
    /// # Errors
    /// [`ExposureError::LagTooLong`] with the first burst that isn't.
    pub fn check_lag(&self, lag: f64) -> Result<(), ExposureError> {
        match self.bursts().into_iter().find(|(_, burst)| burst.0 <= lag) {
            Some((index, burst)) => Err(ExposureError::LagTooLong {
                lag,
                burst: burst.0,
                step: index + 1,
            }),
            None => Ok(()),
        }
    }
}

impl Exposures {
    /// Whether these exposures can be computed with.
    ///
    /// # Errors
    /// The first thing that is wrong.
    pub fn check(&self) -> Result<(), ExposureError> {
        self.series.check()?;
        check_f_number(self.f_number)?;
        check_magnification(self.magnification)?;
        check_filter(self.filter_density.unwrap_or(0.0))?;
        check_height(self.height)?;
        match self.focal_length {
            Some(mm) if !(10.0..=1000.0).contains(&mm) => Err(ExposureError::BadLens(mm)),
            _ => Ok(()),
        }
    }
}

fn check_time(step: usize, time: Seconds) -> Result<(), ExposureError> {
    let seconds = time.0;
    if seconds == 0.0 {
        Err(ExposureError::ZeroTime { step })
    } else if seconds > 0.0 && seconds <= LONGEST_TIME {
        Ok(())
    } else {
        Err(ExposureError::BadTime { step, seconds })
    }
}

/// Whether an f-number can be.
///
/// # Errors
/// [`ExposureError::BadFNumber`].
pub fn check_f_number(f_number: f64) -> Result<(), ExposureError> {
    if F_NUMBERS.contains(&f_number) {
        Ok(())
    } else {
        Err(ExposureError::BadFNumber(f_number))
    }
}

fn check_magnification(magnification: Option<f64>) -> Result<(), ExposureError> {
    match magnification {
        Some(m) if !(m > 0.0 && m <= 1000.0) => Err(ExposureError::BadMagnification(m)),
        _ => Ok(()),
    }
}

fn check_height(height: Option<f64>) -> Result<(), ExposureError> {
    match height {
        Some(mm) if !(-1000.0..=1000.0).contains(&mm) => Err(ExposureError::BadHeight(mm)),
        _ => Ok(()),
    }
}

fn check_filter(density: f64) -> Result<(), ExposureError> {
    if (0.0..=6.0).contains(&density) {
        Ok(())
    } else {
        Err(ExposureError::BadFilter(density))
    }
}
