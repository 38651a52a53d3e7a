//! Days of the calendar, without a clock.

use std::fmt;
use std::str::FromStr;

/// A day of the Gregorian calendar, written 2026-11-25 (ISO 8601).
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub struct Day(i64);

impl Day {
    /// So many days after 1970-01-01.
    pub fn since_1970(days: i64) -> Self {
        Self(days)
    }

    /// Days from an earlier day to this one; negative when the other is later.
    pub fn since(self, earlier: Self) -> i64 {
        self.0 - earlier.0
    }

    /// The day so many days later.
    #[must_use]
    pub fn later(self, days: i64) -> Self {
        Self(self.0 + days)
    }

    /// Year, month and day of the month (H. Hinnant, "chrono-compatible low-level date
    /// algorithms", civil_from_days; from memory).
    fn civil(self) -> (i64, i64, i64) {
        let shifted = self.0 + 719_468;
        let era = shifted.div_euclid(146_097);
        let day_of_era = shifted.rem_euclid(146_097);
        let year_of_era =
            (day_of_era - day_of_era / 1_460 + day_of_era / 36_524 - day_of_era / 146_096) / 365;
        let day_of_year = day_of_era - (365 * year_of_era + year_of_era / 4 - year_of_era / 100);
        let shifted_month = (5 * day_of_year + 2) / 153;
        let day = day_of_year - (153 * shifted_month + 2) / 5 + 1;
        let month = if shifted_month < 10 {
            shifted_month + 3
        } else {
            shifted_month - 9
        };
        (year_of_era + era * 400 + i64::from(month <= 2), month, day)
    }

    /// From year, month and day of the month, when there is such a day (days_from_civil of the
    /// same source).
    fn of_civil(year: i64, month: i64, day: i64) -> Option<Self> {
        if !(1..=9999).contains(&year) || !(1..=12).contains(&month) || !(1..=31).contains(&day) {
            return None;
        }
        let shifted_year = year - i64::from(month <= 2);
        let era = shifted_year.div_euclid(400);
        let year_of_era = shifted_year.rem_euclid(400);
        let shifted_month = if month > 2 { month - 3 } else { month + 9 };
        let day_of_year = (153 * shifted_month + 2) / 5 + day - 1;
        let day_of_era = year_of_era * 365 + year_of_era / 4 - year_of_era / 100 + day_of_year;
        let found = Self(era * 146_097 + day_of_era - 719_468);
        // The 31st of April is counted on into May: such a day comes back as another.
        (found.civil() == (year, month, day)).then_some(found)
    }
}

impl fmt::Display for Day {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        let (year, month, day) = self.civil();
        write!(f, "{year:04}-{month:02}-{day:02}")
    }
}

/// What was written is no day of the calendar.
#[derive(Debug, Clone, Copy, PartialEq, Eq, thiserror::Error)]
#[error("write year, month and day of the calendar: 2026-11-25")]
pub struct NoSuchDay;

impl FromStr for Day {
    type Err = NoSuchDay;

    fn from_str(text: &str) -> Result<Self, NoSuchDay> {
        let parts: Vec<&str> = text.trim().split('-').collect();
        let number = |part: usize, length: usize| {
            let digits = *parts.get(part)?;
            let plain =
                digits.len() == length && digits.bytes().all(|digit| digit.is_ascii_digit());
            plain.then(|| digits.parse::<i64>().ok())?
        };
        if parts.len() != 3 {
            return Err(NoSuchDay);
        }
        match (number(0, 4), number(1, 2), number(2, 2)) {
            (Some(year), Some(month), Some(day)) => {
                Self::of_civil(year, month, day).ok_or(NoSuchDay)
            }
            _ => Err(NoSuchDay),
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn days_since_1970_are_dates_of_the_calendar_and_back() {
        // Computed with Python's datetime.date(1970, 1, 1) + timedelta(days).
        for (days, written) in [
            (0, "1970-01-01"),
            (-1, "1969-12-31"),
            (11_016, "2000-02-29"),
            (20_782, "2026-11-25"),
            (47_540, "2100-02-28"),
            (47_541, "2100-03-01"),
        ] {
            assert_eq!(Day(days).to_string(), written);
            assert_eq!(written.parse(), Ok(Day(days)));
        }
    }

    #[test]
    fn days_that_are_not_in_the_calendar_are_refused() {
        for wrong in [
            "2100-02-29",
            "2026-04-31",
            "2026-13-01",
            "2026-1-1",
            "25.11.2026",
            "",
        ] {
            assert_eq!(wrong.parse::<Day>(), Err(NoSuchDay), "{wrong}");
        }
    }
}
