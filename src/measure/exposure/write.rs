//! Times and stops written back the way they are read.

use super::super::units::Seconds;
use super::{Exposure, Series, entry};

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

/// A strip's whole exposure as one sentence that [`Exposure::read`] reads back.
pub fn sentence(exposure: &Exposure) -> String {
    let series = match &exposure.series {
        Series::BuildingUp { bursts } => format!("building up {}", times(bursts)),
        Series::OneAtATime { times: each } => format!("one at a time {}", times(each)),
        Series::InStops {
            first,
            stops: by,
            steps,
        } => format!("{} stop from {}, {steps} steps", stops(*by), time(*first)),
        Series::PrintedWedge {
            time: burst,
            densities,
        } => {
            let words: Vec<String> = densities.iter().map(f64::to_string).collect();
            format!("wedge {} through {}", time(*burst), words.join(" "))
        }
        Series::List { times: each } => times(each),
    };
    let mut text = format!("{series} at {}", exposure.aperture.written());
    if let Some(m) = exposure.magnification {
        text.push_str(&format!(", magnified {m}x"));
    }
    if let Some(density) = exposure.filter_density {
        text.push_str(&format!(", filter {density}"));
    }
    if let Some(mm) = exposure.height {
        text.push_str(&format!(", height {mm}mm"));
    }
    if let Some(mm) = exposure.focal_length {
        text.push_str(&format!(", lens {mm}mm"));
    }
    text
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_sentence_written_back_reads_as_the_same_exposure() {
        for text in [
            "building up 8 x 2s at f/16",
            "one at a time 3s 6s 12s 24s at f/11, magnified 3x",
            "thirds from 3s, 7 steps at f/8",
            "1/2 stop from 1s, 10 steps at f/16, filter 0.3",
            "wedge 8s through 0.05 0.2 0.35 0.5 at f/16",
            "2s 4s 8s 16s at f/5.6",
            "2s 4s 8s 16s at f/5.6, magnified 4x, filter 0, height 12mm, lens 80mm",
            "2s 4s 8s 16s at f/8, height -3.5mm",
        ] {
            let first = Exposure::read(text).unwrap();
            let written = sentence(&first);
            assert_eq!(Exposure::read(&written).as_ref(), Ok(&first), "{written}");
        }
    }
}
