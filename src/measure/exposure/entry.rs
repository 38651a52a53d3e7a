//! Exposures the way a printer writes them: `1m20s`, `8 x 2s`, `thirds from 3 s, 9 steps`,
//! `f/16`.

use super::super::units::Seconds;
use super::aperture::Aperture;
use super::check::{ExposureError, MOST_STEPS};
use super::words::{Reader, Token};

/// What is written can't be read as exposures.
#[derive(Debug, Clone, PartialEq, thiserror::Error)]
pub enum EntryError {
    /// Nothing is there.
    #[error("nothing is written where {0} belongs")]
    Empty(&'static str),
    /// Something else is there.
    #[error("`{found}` is not {wanted}")]
    Not {
        /// What is there.
        found: String,
        /// What belongs there.
        wanted: &'static str,
    },
    /// Digits and points that make no number.
    #[error("`{0}` is not a number")]
    NotANumber(String),
    /// A comma between digits.
    #[error(
        "`{0}` has a comma between digits: write a decimal point, or put a space after a comma \
         that separates two values"
    )]
    DecimalComma(String),
    /// Some times say minutes, others nothing.
    #[error("`{0}`: where some times are in minutes, write the unit after each time")]
    MixedUnits(String),
    /// A pattern without its end.
    #[error("`{0}` does not say how many steps: end it with `, 8 steps`")]
    NoCount(String),
    /// The text is too long to be exposures.
    #[error("a text of {0} characters is too long for the exposures of a strip")]
    TooLong(usize),
    /// Neither building up, one at a time, in stops, nor a wedge.
    #[error("`{found}` is not a kind of series{}", super::super::nearest::hint(.nearest.as_deref()))]
    UnknownSeries {
        /// The first words.
        found: String,
        /// What may have been meant.
        nearest: Option<String>,
    },
    /// Read, but it can't be.
    #[error(transparent)]
    Exposure(#[from] ExposureError),
}

pub(super) const A_TIME: &str = "a time: write it as `2s`, `0.5 s`, `1m20s` or `1:20`";
const TIMES: &str = "a list of times: write it as `2s 4s 8s`, `8 x 2s` or `from 2s by 2s, 8 steps`";
const STOPS: &str = "a number of stops: write it as `1/3`, `1/2`, `1` or `1 1/3`";
const AN_APERTURE: &str = "an f-number: write it as `f/16`, `f16`, `N 16` or `16`";

const SECONDS: [&str; 6] = ["s", "sec", "secs", "second", "seconds", "\""];
const MINUTES: [&str; 5] = ["m", "min", "mins", "minute", "minutes"];

/// Times as written.
#[derive(Debug, Clone, PartialEq)]
pub enum Times {
    /// One after the other.
    Listed(Vec<Seconds>),
    /// Each so many stops from the last.
    ByStops {
        /// The first time.
        first: Seconds,
        /// Stops from each to the next.
        stops: f64,
        /// How many.
        steps: usize,
    },
}

impl Times {
    /// The times one by one.
    pub fn list(&self) -> Vec<Seconds> {
        match self {
            Self::Listed(times) => times.clone(),
            Self::ByStops {
                first,
                stops,
                steps,
            } => (0..*steps)
                .map(|step| Seconds(first.0 * (stops * step as f64).exp2()))
                .collect(),
        }
    }
}

/// Reads one time: `2s`, `0.5 s`, `80`, `1m20s`, `1 min 20`, `1:20`; seconds when bare.
///
/// # Errors
/// What is wrong with the text; zero and negative times are left to [`super::Series::check`].
pub fn time(text: &str) -> Result<Seconds, EntryError> {
    let mut reader = Reader::new(text)?;
    let time = a_time(&mut reader)?;
    finished(&reader, A_TIME)?;
    Ok(time.seconds)
}

/// Reads a list of times or a pattern that stands for one: `2s 4s 8s`, `8 x 2s`,
/// `from 2 s by 2 s, 8 steps`, `from 2s to 16s by 2s`, `thirds from 3 s, 9 steps`.
///
/// # Errors
/// What is wrong with the text; the order of the times is left to [`super::Series::check`].
pub fn times(text: &str) -> Result<Times, EntryError> {
    let mut reader = Reader::new(text)?;
    let times = some_times(&mut reader)?;
    finished(&reader, TIMES)?;
    Ok(times)
}

/// Reads stops: `1/3`, `1/2`, `1`, `1 1/3`, `0.5`, `third`, `-1/2`.
///
/// # Errors
/// What is wrong with the text.
pub fn stops(text: &str) -> Result<f64, EntryError> {
    let mut reader = Reader::new(text)?;
    let stops = some_stops(&mut reader)?;
    finished(&reader, STOPS)?;
    Ok(stops)
}

/// Reads an aperture: `f/16`, `f16`, `N 16`, `16`; `exactly f/11` where the lens was measured.
///
/// # Errors
/// What is wrong with the text, or an f-number that cannot be.
pub fn aperture(text: &str) -> Result<Aperture, EntryError> {
    let mut reader = Reader::new(text)?;
    let aperture = an_aperture(&mut reader)?;
    finished(&reader, AN_APERTURE)?;
    Ok(aperture)
}

pub(in crate::measure) fn finished(
    reader: &Reader,
    wanted: &'static str,
) -> Result<(), EntryError> {
    if reader.is_done() {
        Ok(())
    } else {
        Err(not(reader, wanted))
    }
}

pub(in crate::measure) fn not(reader: &Reader, wanted: &'static str) -> EntryError {
    let found = reader.rest();
    if found.is_empty() {
        EntryError::Empty(wanted.split(':').next().unwrap_or(wanted))
    } else {
        EntryError::Not { found, wanted }
    }
}

/// A time and whether its unit was written.
struct WrittenTime {
    seconds: Seconds,
    unit: Unit,
}

#[derive(Clone, Copy, PartialEq, Eq)]
enum Unit {
    Bare,
    Seconds,
    Minutes,
}

fn a_unit(reader: &mut Reader) -> Unit {
    if reader.take_word(&SECONDS) || reader.take_mark(&['"']) {
        Unit::Seconds
    } else if reader.take_word(&MINUTES) || reader.take_mark(&['\'']) {
        Unit::Minutes
    } else {
        Unit::Bare
    }
}

fn a_time(reader: &mut Reader) -> Result<WrittenTime, EntryError> {
    let before = reader.clone();
    let sign = if reader.take_mark(&['-']) { -1.0 } else { 1.0 };
    let number = reader.take_number().ok_or_else(|| not(&before, A_TIME))?;
    if reader.take_mark(&[':']) {
        let seconds = reader
            .take_number()
            .filter(|seconds| *seconds < 60.0)
            .ok_or_else(|| not(&before, A_TIME))?;
        reader.take_word(&SECONDS);
        return Ok(WrittenTime {
            seconds: Seconds(sign * (60.0 * number + seconds)),
            unit: Unit::Minutes,
        });
    }
    if reader.take_word(&["ms"]) {
        return Ok(WrittenTime {
            seconds: Seconds(sign * number / 1000.0),
            unit: Unit::Seconds,
        });
    }
    let unit = a_unit(reader);
    if unit != Unit::Minutes {
        return Ok(WrittenTime {
            seconds: Seconds(sign * number),
            unit,
        });
    }
    let rest = seconds_after_minutes(reader, &before)?;
    Ok(WrittenTime {
        seconds: Seconds(sign * (60.0 * number + rest)),
        unit,
    })
}

/// Reads one time off the reader.
pub(in crate::measure) fn one_time(reader: &mut Reader) -> Result<Seconds, EntryError> {
    Ok(a_time(reader)?.seconds)
}

/// The `20s` of `1m20s`, `1 m 20 s`, `1m20`; but `1m 2m` is two times.
fn seconds_after_minutes(reader: &mut Reader, before: &Reader) -> Result<f64, EntryError> {
    let glued = reader.peek().is_some_and(|piece| piece.glued);
    let Some(seconds) = reader.number_at(0) else {
        return Ok(0.0);
    };
    let mut after = reader.clone();
    after.skip(1);
    let unit = a_unit(&mut after);
    let belongs = glued || (unit == Unit::Seconds && seconds < 60.0);
    if !belongs {
        return Ok(0.0);
    }
    if seconds >= 60.0 || unit == Unit::Minutes {
        return Err(not(before, A_TIME));
    }
    *reader = after;
    Ok(seconds)
}

/// A list, or a pattern.
pub(super) fn some_times(reader: &mut Reader) -> Result<Times, EntryError> {
    let before = reader.clone();
    if reader.take_word(&["from"]) {
        return from_pattern(reader, &before);
    }
    let mut ahead = reader.clone();
    if let Ok(stops) = some_stops(&mut ahead)
        && ahead.take_word(&["from"])
    {
        *reader = ahead;
        let first = a_time(reader)?.seconds;
        let steps = a_count(reader, &before)?;
        return Ok(Times::ByStops {
            first,
            stops,
            steps,
        });
    }
    a_list(reader)
}

fn from_pattern(reader: &mut Reader, before: &Reader) -> Result<Times, EntryError> {
    let first = a_time(reader)?.seconds;
    let (mut last, mut by) = (None, None);
    loop {
        reader.take_mark(&[',']);
        if reader.take_word(&["to"]) {
            last = Some(a_time(reader)?.seconds);
        } else if reader.take_word(&["by"]) {
            by = Some(a_time(reader)?.seconds);
        } else if reader.take_word(&["in"]) {
            let stops = some_stops(reader)?;
            let steps = a_count(reader, before)?;
            return Ok(Times::ByStops {
                first,
                stops,
                steps,
            });
        } else {
            break;
        }
    }
    let by = by.ok_or_else(|| not(before, TIMES))?;
    let steps = match last {
        Some(last) => {
            let gaps = (last.0 - first.0) / by.0;
            let whole = gaps.round();
            if !(0.0..MOST_STEPS as f64).contains(&whole) || (gaps - whole).abs() > 1e-6 {
                return Err(not(before, TIMES));
            }
            whole as usize + 1
        }
        None => a_count(reader, before)?,
    };
    Ok(Times::Listed(
        (0..steps)
            .map(|step| Seconds(first.0 + by.0 * step as f64))
            .collect(),
    ))
}

/// `, 8 steps`.
fn a_count(reader: &mut Reader, before: &Reader) -> Result<usize, EntryError> {
    reader.take_mark(&[',', ';']);
    let count = reader
        .take_number()
        .ok_or_else(|| EntryError::NoCount(before.rest()))?;
    if !reader.take_word(&["steps", "step", "times", "bursts"]) {
        return Err(EntryError::NoCount(before.rest()));
    }
    whole_count(count)
}

fn whole_count(count: f64) -> Result<usize, EntryError> {
    if count.fract() != 0.0 {
        return Err(EntryError::NotANumber(format!("{count} steps")));
    }
    if count > MOST_STEPS as f64 {
        return Err(ExposureError::TooManySteps(count as usize).into());
    }
    Ok(count as usize)
}

const TIMES_SIGN: [&str; 2] = ["x", "times"];

fn a_list(reader: &mut Reader) -> Result<Times, EntryError> {
    let before = reader.clone();
    let mut list: Vec<Seconds> = Vec::new();
    let mut units = Vec::new();
    while !reader.is_done() {
        let counted_first = matches!(reader.peek_after(1), Some(piece)
            if matches!(&piece.token, Token::Word(word) if TIMES_SIGN.contains(&word.as_str())));
        let (time, count) = match reader.number_at(0) {
            Some(count) if counted_first => {
                reader.skip(2);
                (a_time(reader)?, whole_count(count)?)
            }
            _ => {
                let time = a_time(reader)?;
                let count = if reader.take_word(&TIMES_SIGN) {
                    let count = reader.take_number().ok_or_else(|| not(&before, TIMES))?;
                    whole_count(count)?
                } else {
                    1
                };
                (time, count)
            }
        };
        units.push(time.unit);
        list.extend(std::iter::repeat_n(time.seconds, count));
        if list.len() > MOST_STEPS {
            return Err(ExposureError::TooManySteps(list.len()).into());
        }
        let _ = reader.take_mark(&[',', ';', '+']) || reader.take_word(&["then", "and"]);
    }
    if list.is_empty() {
        return Err(not(&before, TIMES));
    }
    if units.contains(&Unit::Bare) && units.contains(&Unit::Minutes) {
        return Err(EntryError::MixedUnits(before.rest()));
    }
    Ok(Times::Listed(list))
}

/// `1/3`, `1 1/3`, `0.5`, `thirds`, `half stops`.
pub(in crate::measure) fn some_stops(reader: &mut Reader) -> Result<f64, EntryError> {
    let before = reader.clone();
    let sign = if reader.take_mark(&['-']) { -1.0 } else { 1.0 };
    let named = [
        (["third", "thirds"], 3.0),
        (["half", "halves"], 2.0),
        (["quarter", "quarters"], 4.0),
        (["sixth", "sixths"], 6.0),
        (["whole", "full"], 1.0),
    ];
    for (words, parts) in named {
        if reader.take_word(&words) {
            let _ = reader.take_words(&["of", "a", "stop"])
                || reader.take_words(&["a", "stop"])
                || reader.take_word(&["stop", "stops"]);
            return Ok(sign / parts);
        }
    }
    if reader.take_word(&["stop", "stops"]) {
        return Ok(sign);
    }
    let mut stops = a_fraction(reader).ok_or_else(|| not(&before, STOPS))?;
    let mut ahead = reader.clone();
    if stops.fract() == 0.0
        && let Some(part) = a_fraction(&mut ahead).filter(|part| part.fract() != 0.0 && *part < 1.0)
    {
        stops += part;
        *reader = ahead;
    }
    let _ = reader.take_words(&["of", "a", "stop"]) || reader.take_word(&["stop", "stops"]);
    Ok(sign * stops)
}

fn a_fraction(reader: &mut Reader) -> Option<f64> {
    let number = reader.take_number()?;
    if reader.take_mark(&['/']) {
        let parts = reader.take_number().filter(|parts| *parts > 0.0)?;
        return Some(number / parts);
    }
    Some(number)
}

pub(in crate::measure) fn an_aperture(reader: &mut Reader) -> Result<Aperture, EntryError> {
    let before = reader.clone();
    let exactly = reader.take_word(&["exactly", "exact"]);
    if reader.take_word(&["f"]) {
        reader.take_mark(&['/', ':']);
    } else {
        reader.take_word(&["n"]);
        reader.take_mark(&['=']);
    }
    if reader.take_mark(&['-']) {
        let number = reader
            .take_number()
            .ok_or_else(|| not(&before, AN_APERTURE))?;
        return Err(ExposureError::BadFNumber(-number).into());
    }
    let number = reader
        .take_number()
        .ok_or_else(|| not(&before, AN_APERTURE))?;
    Ok(if exactly {
        Aperture::exactly(number)?
    } else {
        Aperture::engraved(number)?
    })
}
