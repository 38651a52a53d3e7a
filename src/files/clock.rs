//! The system's clock: the one place where today's date comes in.

use crate::document::day::Day;

/// The day by the system's clock (UTC).
#[expect(
    clippy::disallowed_methods,
    reason = "whoever runs the program asks here and hands the day on"
)]
pub fn today() -> Day {
    let seconds = std::time::SystemTime::now()
        .duration_since(std::time::UNIX_EPOCH)
        .map_or(0, |since| since.as_secs());
    Day::since_1970((seconds / 86_400) as i64)
}
