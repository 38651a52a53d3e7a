//! The bench sheet: what hangs over the sink on printing day, in words.
//!
//! One page. `files::sheet` sets it as PDF or plain text; both have the same content.

pub mod cautions;
pub mod filled;
pub mod process;

use serde::Serialize;

pub use filled::Source;
pub use process::{Hardener, Process, ProcessError, Stage};

/// One exposure to tick off.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct ExposureRow {
    /// How long the lamp is on: "24 s".
    pub time: String,
    /// Aperture as engraved: "f/8".
    pub aperture: String,
    /// Against the planned exposure: "as planned", "+1/3 stop".
    pub against: String,
}

/// A burn or dodge.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct ChangeRow {
    /// "burn" or "dodge".
    pub way: String,
    /// What the printer calls the part.
    pub part: String,
    /// In stops: "1/2 stop".
    pub stops: String,
    /// In seconds at the planned exposure: "12 s".
    pub time: String,
    /// What is worth knowing: "the coating doesn't come to this tone".
    #[serde(skip_serializing_if = "String::is_empty")]
    pub note: String,
}

/// A line of the process.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct ProcessRow {
    /// The bath.
    pub bath: String,
    /// "4 min"; empty when nobody said: a line is left to write it on.
    pub time: String,
}

/// Everything on a bench sheet.
#[derive(Debug, Clone, PartialEq, Default, Serialize)]
pub struct Sheet {
    /// What the picture is called.
    pub picture: String,
    /// What belongs to what: ("Piece", "slate 3, 240 x 300 mm"), in the order of the sheet.
    pub facts: Vec<(String, String)>,
    /// Exposures to tick off, in the order in which they are made.
    pub exposures: Vec<ExposureRow>,
    /// What the exposures are good for: interval, chance.
    pub chance: Vec<String>,
    /// Burns and dodges.
    pub changes: Vec<ChangeRow>,
    /// Focus, height and head.
    pub placing: Vec<String>,
    /// What the plan warns of.
    pub warnings: Vec<String>,
    /// The baths in order.
    pub process: Vec<ProcessRow>,
}

impl Sheet {
    /// The baths of a process.
    pub fn set_process(&mut self, process: &Process) {
        self.process = process
            .stages
            .iter()
            .map(|stage| ProcessRow {
                bath: stage.bath.clone(),
                time: stage.time.map_or_else(String::new, spoken),
            })
            .collect();
    }
}

/// A time as it is said beside a clock: "45 s", "4 min", "1 min 30 s".
pub fn spoken(time: crate::measure::units::Seconds) -> String {
    let seconds = time.0;
    if seconds < 60.0 {
        let text = format!("{seconds:.1}");
        return format!("{} s", text.strip_suffix(".0").unwrap_or(&text));
    }
    let whole = seconds.round() as u64;
    match (whole / 60, whole % 60) {
        (minutes, 0) => format!("{minutes} min"),
        (minutes, rest) => format!("{minutes} min {rest} s"),
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::measure::units::Seconds;

    #[test]
    fn times_are_said_as_beside_a_clock() {
        for (seconds, said) in [
            (4.0, "4 s"),
            (12.5, "12.5 s"),
            (60.0, "1 min"),
            (90.2, "1 min 30 s"),
            (3600.0, "60 min"),
        ] {
            assert_eq!(spoken(Seconds(seconds)), said);
        }
    }

    #[test]
    fn a_bath_without_a_time_leaves_room_for_it() {
        let mut sheet = Sheet::default();
        sheet.set_process(&Process::read("developer 2min; wash").expect("a process"));
        assert_eq!(sheet.process[0].time, "2 min");
        assert_eq!(
            (
                sheet.process[1].bath.as_str(),
                sheet.process[1].time.as_str()
            ),
            ("wash", "")
        );
    }
}
