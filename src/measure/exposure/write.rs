//! Times and stops written back the way they are read.

use super::super::units::Seconds;
use super::entry;

/// A time in seconds that reads back as the same number: `80s`.
pub fn time(time: Seconds) -> String {
    format!("{}s", time.0)
}

/// A list of times that reads back as the same numbers: `8 x 2s`, `2s 4s 8s`.
pub fn times(times: &[Seconds]) -> String {
    times
        .chunk_by(|a, b| a == b)
        .map(|run| match run.len() {
            1 => time(run[0]),
            2 => format!("{0} {0}", time(run[0])),
            count => format!("{count} x {}", time(run[0])),
        })
        .collect::<Vec<_>>()
        .join(" ")
}

/// Stops that read back as the same number: `1/3`, `1 1/2`, `0.4`.
pub fn stops(stops: f64) -> String {
    let (sign, size) = if stops < 0.0 {
        ("-", -stops)
    } else {
        ("", stops)
    };
    for parts in [1u32, 2, 3, 4, 6, 8] {
        let count = (size * f64::from(parts)).round();
        if !(1.0..1000.0).contains(&count) {
            continue;
        }
        let (whole, rest) = (count as u32 / parts, count as u32 % parts);
        let text = match (whole, rest) {
            (whole, 0) => format!("{sign}{whole}"),
            (0, rest) => format!("{sign}{rest}/{parts}"),
            (whole, rest) => format!("{sign}{whole} {rest}/{parts}"),
        };
        if entry::stops(&text) == Ok(stops) {
            return text;
        }
    }
    format!("{stops}")
}
