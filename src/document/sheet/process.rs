//! The baths in their order, with the times that the printer chooses.

use crate::measure::exposure::entry;
use crate::measure::units::Seconds;

/// Most baths: more than fit on a page.
pub const MOST_BATHS: usize = 16;

/// One bath.
#[derive(Debug, Clone, PartialEq)]
pub struct Stage {
    /// What the printer calls it.
    pub bath: String,
    /// How long; `None`: the printer writes it in.
    pub time: Option<Seconds>,
}

/// Where the hardener comes.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default)]
pub enum Hardener {
    /// Before the developer.
    #[default]
    First,
    /// In the place of the stop bath.
    AsStop,
    /// There is none.
    None,
}

/// The baths of a coated piece in order.
#[derive(Debug, Clone, PartialEq)]
pub struct Process {
    /// The baths.
    pub stages: Vec<Stage>,
}

impl Default for Process {
    fn default() -> Self {
        Self::usual(Hardener::default())
    }
}

/// A process that can't be read.
#[derive(Debug, Clone, PartialEq, thiserror::Error)]
pub enum ProcessError {
    /// A time without a bath.
    #[error("`{0}` names no bath: write it as `developer 2min`")]
    NoBath(String),
    /// More than anybody has trays for.
    #[error("{MOST_BATHS} baths are the limit")]
    TooMany,
    /// A time that is none or not above 0.
    #[error("{0}")]
    Time(String),
}

impl Process {
    /// The usual order (common practice, no source), without times: those are the makers'
    /// and the printer's.
    pub fn usual(hardener: Hardener) -> Self {
        let before: &[&str] = match hardener {
            Hardener::First => &["hardener", "rinse", "developer", "stop bath"],
            Hardener::AsStop => &["developer", "hardening stop bath"],
            Hardener::None => &["developer", "stop bath"],
        };
        let after = [
            "first fixing bath",
            "second fixing bath",
            "rinse",
            "washing aid",
            "wash",
        ];
        let stage = |bath: &&str| Stage {
            bath: (*bath).to_owned(),
            time: None,
        };
        Self {
            stages: before.iter().chain(&after).map(stage).collect(),
        }
    }

    /// Reads baths separated by `;` or line ends, each with its time behind it:
    /// `developer 2min; stop bath 30s; first fixing bath 4min`. A bath may go without a time.
    ///
    /// # Errors
    /// What can't be read, and why.
    pub fn read(text: &str) -> Result<Self, ProcessError> {
        let mut stages = Vec::new();
        for part in text.split([';', '\n']) {
            let part = part.trim();
            if part.is_empty() {
                continue;
            }
            if stages.len() == MOST_BATHS {
                return Err(ProcessError::TooMany);
            }
            stages.push(stage(part)?);
        }
        if stages.is_empty() {
            return Err(ProcessError::NoBath(text.trim().to_owned()));
        }
        Ok(Self { stages })
    }

    /// The process as text that reads back as the same.
    pub fn written(&self) -> String {
        // Figures in a name could be taken for a time: a colon tells where it begins.
        let mark = |bath: &str| {
            let figures = bath.contains(|c: char| c.is_ascii_digit() || c == ':');
            if figures { ":" } else { "" }
        };
        let stage = |stage: &Stage| match stage.time {
            Some(time) => format!("{}{} {}s", stage.bath, mark(&stage.bath), time.0),
            None => stage.bath.clone(),
        };
        self.stages.iter().map(stage).collect::<Vec<_>>().join("; ")
    }
}

/// A name without what joins it to its time.
fn bare(name: &str) -> &str {
    name.trim_matches(|letter: char| letter.is_whitespace() || matches!(letter, ':' | ','))
}

fn stage(part: &str) -> Result<Stage, ProcessError> {
    let part = bare(part);
    if part.is_empty() {
        return Err(ProcessError::NoBath(part.to_owned()));
    }
    // The time begins behind the last colon with a space, or else with the first word that starts
    // with a figure and reads as a time with all that follows: "fixing bath 2 4min" is the second
    // bath.
    let colon = part.rfind(": ").map(|at| at + 2);
    let starts = part
        .char_indices()
        .filter(|&(at, letter)| {
            letter.is_ascii_digit() && !part[..at].ends_with(|c: char| !c.is_whitespace())
        })
        .map(|(at, _)| at);
    let ends_in_unit = part.ends_with(|c: char| c.is_alphabetic() || c == '"' || c == '\'');
    for start in colon.into_iter().chain(starts) {
        if let (true, Ok(time)) = (ends_in_unit, entry::time(&part[start..])) {
            let bath = bare(&part[..start]);
            if bath.is_empty() {
                return Err(ProcessError::NoBath(part.to_owned()));
            }
            if !(time.0.is_finite() && time.0 > 0.0) {
                return Err(ProcessError::Time(format!("`{part}`: no time at all")));
            }
            return Ok(Stage {
                bath: bath.to_owned(),
                time: Some(time),
            });
        }
    }
    Ok(Stage {
        bath: part.to_owned(),
        time: None,
    })
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn baths_and_their_times_are_read_and_written_back() {
        let text = "hardener: 3min; developer 90s\nfixing bath 2 4min; wash";
        let process = Process::read(text).expect("a process");
        let told: Vec<(&str, Option<f64>)> = process
            .stages
            .iter()
            .map(|stage| (stage.bath.as_str(), stage.time.map(|time| time.0)))
            .collect();
        assert_eq!(
            told,
            [
                ("hardener", Some(180.0)),
                ("developer", Some(90.0)),
                ("fixing bath 2", Some(240.0)),
                ("wash", None),
            ]
        );
        assert_eq!(Process::read(&process.written()), Ok(process));
        assert_eq!(Process::read("wash 9s:,"), Process::read("wash 9s"));
        // A figure in the name that would read as a part of the time.
        let odd = Process::read("rinse 3 1m: 2s").expect("a process");
        assert_eq!(odd.stages[0].bath, "rinse 3 1m");
        assert_eq!(Process::read(&odd.written()), Ok(odd));
    }

    #[test]
    fn a_time_alone_or_nothing_at_all_is_no_process() {
        assert!(matches!(
            Process::read("4min"),
            Err(ProcessError::NoBath(_))
        ));
        assert!(matches!(Process::read(" ; "), Err(ProcessError::NoBath(_))));
        assert_eq!(
            Process::read(&"bath;".repeat(MOST_BATHS + 1)),
            Err(ProcessError::TooMany)
        );
    }

    #[test]
    fn the_hardener_comes_first_or_as_the_stop_bath_and_fixing_is_double() {
        let baths = |hardener| {
            let process = Process::usual(hardener);
            assert_eq!(Process::read(&process.written()), Ok(process.clone()));
            process
                .stages
                .into_iter()
                .map(|stage| stage.bath)
                .collect::<Vec<_>>()
        };
        assert_eq!(baths(Hardener::First)[0], "hardener");
        assert_eq!(baths(Hardener::AsStop)[1], "hardening stop bath");
        for hardener in [Hardener::First, Hardener::AsStop, Hardener::None] {
            let baths = baths(hardener);
            let fixing = baths.iter().filter(|bath| bath.contains("fixing")).count();
            assert_eq!(fixing, 2);
            assert_eq!(baths.last().map(String::as_str), Some("wash"));
        }
    }
}
