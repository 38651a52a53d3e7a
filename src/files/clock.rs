//! The system's clock and calendar: the one place where days come in. All are days where the program
//! runs: an evening's session goes on after midnight by the clock on the wall, not by that of
//! another meridian.

use std::path::Path;
use std::time::SystemTime;

use jiff::Timestamp;
use jiff::tz::TimeZone;

use crate::document::day::Day;

/// The day by the system's clock, where it is.
#[expect(
    clippy::disallowed_methods,
    reason = "whoever runs the program asks here and hands the day on"
)]
pub fn today() -> Day {
    day_at(SystemTime::now(), &TimeZone::system()).unwrap_or_else(|| Day::since_1970(0))
}

/// The day a file was last changed, where the program runs; for a scan, the day it was scanned.
pub fn day_of(path: &Path) -> Option<Day> {
    let changed = path.metadata().ok()?.modified().ok()?;
    day_at(changed, &TimeZone::system())
}

/// The day of a session: that of its first scan, which is as near to the evening of testing as can
/// be known. Window and command line date a session that is kept by this.
pub fn day_of_session<'a>(scans: impl IntoIterator<Item = &'a Path>) -> Option<Day> {
    scans.into_iter().next().and_then(day_of)
}

fn day_at(time: SystemTime, zone: &TimeZone) -> Option<Day> {
    let date = Timestamp::try_from(time)
        .ok()?
        .to_zoned(zone.clone())
        .date();
    date.to_string().parse().ok()
}

#[cfg(test)]
mod tests {
    use super::*;
    use std::time::Duration;

    /// Half past midnight in summer two hours east of Greenwich is still the day before by UTC:
    /// 2026-06-20T22:30:00Z is second 1,781,994,600 (Python's datetime).
    #[test]
    fn a_session_after_midnight_has_the_day_on_the_wall() {
        let time = SystemTime::UNIX_EPOCH + Duration::from_secs(1_781_994_600);
        let east = TimeZone::fixed(jiff::tz::offset(2));
        let west = TimeZone::fixed(jiff::tz::offset(-9));
        let day = |zone: &TimeZone| day_at(time, zone).unwrap().to_string();
        assert_eq!(day(&TimeZone::UTC), "2026-06-20");
        assert_eq!(day(&east), "2026-06-21");
        assert_eq!(day(&west), "2026-06-20");
    }
}
