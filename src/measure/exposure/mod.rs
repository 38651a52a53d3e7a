//! How a strip's steps were exposed, and the log exposures that follow.
//!
//! X = log10(sum over bursts of (t - lag)) - 2 log10 N - 2 log10(1 + m) - D_filter, in
//! decades; t in seconds, N the exact f-number, m the magnification, lag the lamp's dead
//! time per burst. All strips of a session share one relative unit. Where a strip's face lay above
//! the easel, m is the magnification on it.

pub mod aperture;
pub mod check;
mod comparable;
pub mod entry;
pub mod sentence;
mod timing;
pub(in crate::measure) mod words;
pub mod write;

#[cfg(test)]
mod tests;

use serde::{Deserialize, Serialize};

use super::optics::Thrown;
use super::units::Seconds;

pub use aperture::{Aperture, exact_aperture_note};
pub use check::ExposureError;
pub use comparable::{Incomparable, comparable};
pub use entry::EntryError;
pub use sentence::Exposure;

/// How a strip's steps were exposed.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub enum Series {
    /// The card uncovers or covers a step at a time: step k has the first k bursts.
    BuildingUp {
        /// Length of each burst, one a step.
        bursts: Vec<Seconds>,
    },
    /// Each step has a burst of its own.
    OneAtATime {
        /// Time of each step.
        times: Vec<Seconds>,
    },
    /// Each step has `stops` more than the last, in one burst of its own.
    InStops {
        /// Time of the first step.
        first: Seconds,
        /// Stops from step to step.
        stops: f64,
        /// Count of steps.
        steps: usize,
    },
    /// One burst through a transmission wedge.
    PrintedWedge {
        /// Time of the burst.
        time: Seconds,
        /// Transmission density over each step, in the order of the steps.
        densities: Vec<f64>,
    },
    /// Total times as given, one burst each.
    List {
        /// Time of each step.
        times: Vec<Seconds>,
    },
}

/// One burst of light or several that one step got, and its filter.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Dose {
    /// Sum of the burst times.
    pub total: Seconds,
    /// Count of bursts: each loses the lamp's dead time.
    pub bursts: u32,
    /// Density in the way of this step alone.
    pub density: f64,
}

impl Series {
    /// Count of steps.
    pub fn steps(&self) -> usize {
        match self {
            Self::BuildingUp { bursts } => bursts.len(),
            Self::OneAtATime { times } | Self::List { times } => times.len(),
            Self::InStops { steps, .. } => *steps,
            Self::PrintedWedge { densities, .. } => densities.len(),
        }
    }

    /// What each step got, in the order of the series.
    pub fn doses(&self) -> Vec<Dose> {
        let single = |&total: &Seconds| Dose {
            total,
            bursts: 1,
            density: 0.0,
        };
        match self {
            Self::BuildingUp { bursts } => {
                let mut total = 0.0;
                let mut doses = Vec::with_capacity(bursts.len());
                for (index, burst) in bursts.iter().enumerate() {
                    total += burst.0;
                    doses.push(Dose {
                        total: Seconds(total),
                        bursts: index as u32 + 1,
                        density: 0.0,
                    });
                }
                doses
            }
            Self::OneAtATime { times } | Self::List { times } => times.iter().map(single).collect(),
            Self::InStops {
                first,
                stops,
                steps,
            } => (0..*steps)
                .map(|step| single(&Seconds(first.0 * (stops * step as f64).exp2())))
                .collect(),
            Self::PrintedWedge { time, densities } => densities
                .iter()
                .map(|&density| Dose {
                    total: *time,
                    bursts: 1,
                    density,
                })
                .collect(),
        }
    }
}

/// The exposures of one strip.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct Exposures {
    /// How the steps were exposed.
    pub series: Series,
    /// Exact f-number (f/11 as engraved is 11.3137).
    pub f_number: f64,
    /// Magnification print/negative on the easel; `None` leaves the factor out (same for all
    /// strips).
    pub magnification: Option<f64>,
    /// Density of filters in the light for the whole strip; `None`: nobody says, taken as 0.
    pub filter_density: Option<f64>,
    /// How far the strip's face lay above the easel, mm; `None`: nobody says, taken as the easel.
    pub height: Option<f64>,
    /// Focal length of the enlarger's lens, mm: what the height does to the light follows from it.
    pub focal_length: Option<f64>,
}

impl Exposures {
    /// Log exposure of each step in decades, for a lamp lag in seconds.
    ///
    /// A step whose bursts are all shorter than the lag has minus infinity.
    pub fn log_exposures(&self, lag: f64) -> Vec<f64> {
        let whole = -self.in_the_way();
        self.series
            .doses()
            .iter()
            .map(|dose| {
                (dose.total.0 - lag * f64::from(dose.bursts))
                    .max(0.0)
                    .log10()
                    + whole
                    - dose.density
            })
            .collect()
    }

    /// What the optics take from the light of the whole strip, decades: f-number, magnification
    /// where the face lies, filters.
    pub fn in_the_way(&self) -> f64 {
        let m = self.on_face().or(self.magnification);
        2.0 * self.f_number.log10()
            + m.map_or(0.0, |m| 2.0 * (1.0 + m).log10())
            + self.filter_density.unwrap_or(0.0)
    }

    /// Magnification on the strip's face, refocused there as a print is; `None` when nothing says
    /// it, or when nothing would be sharp so high.
    fn on_face(&self) -> Option<f64> {
        let height = self.height.filter(|height| *height != 0.0)?;
        let thrown = Thrown::new(self.focal_length?, self.magnification?, height)?;
        Some(thrown.on_piece)
    }

    /// Change of each log exposure with the lamp lag, decades per second.
    pub fn log_exposure_by_lag(&self, lag: f64) -> Vec<f64> {
        self.series
            .doses()
            .iter()
            .map(|dose| {
                let bursts = f64::from(dose.bursts);
                -bursts / ((dose.total.0 - lag * bursts) * std::f64::consts::LN_10)
            })
            .collect()
    }
}
