//! Scans drawn by another hand (testdata/foreign-scans): raw, with nothing told of places.

use std::path::{Path, PathBuf};

use assert_cmd::cargo::cargo_bin_cmd;
use serde_json::Value;
use twinstrip::files::text::read_text;

/// Most bytes that a scan may weigh.
const MOST_BYTES: u64 = 400_000;
/// Of twelve bounds that hold in 95 of 100 cases, at most so many miss with chance 0.98
/// (binomial: 0.54 for none, 0.88 for one, 0.98 for two).
const MOST_MISSES: usize = 2;
/// Fewest of the twelve that must be answered.
const LEAST_ANSWERED: usize = 10;
/// Most that an answer may be off, stops: three times the error that is aimed at on each level.
const MOST_OFF: [(&str, f64); 3] = [("easy", 0.054), ("real", 0.09), ("hard", 0.162)];

fn folder() -> PathBuf {
    Path::new(env!("CARGO_MANIFEST_DIR")).join("testdata/foreign-scans")
}

/// One scan's answer against its truth: error in stops, whether both bounds hold.
struct Held {
    name: String,
    error: Option<f64>,
    stops: bool,
    range: bool,
}

fn holds(estimate: &Value, truth: f64) -> bool {
    let end = |end: &str| estimate[end]["at"].as_f64();
    end("lower").is_none_or(|lower| lower <= truth)
        && end("upper").is_none_or(|upper| truth <= upper)
}

fn solve(level: &str, number: usize) -> Held {
    let name = format!("{level}-{number}");
    let folder = folder().join(&name);
    let bytes = folder
        .join("scan.jpg")
        .metadata()
        .expect("it is there")
        .len();
    assert!(bytes <= MOST_BYTES, "{name}: {bytes} bytes");
    let truth: Value =
        serde_json::from_str(&read_text(&folder.join("truth.json")).expect("a truth"))
            .expect("JSON");
    let output = cargo_bin_cmd!("twinstrip")
        .args(["solve", "--json"])
        .arg(folder.join("session.ron"))
        .output()
        .expect("it runs");
    let answer: Value = serde_json::from_slice(&output.stdout).expect("JSON");
    let pair = &answer["pairs"][0]["answer"];
    let known = |name: &str| truth[name].as_f64().expect("a number");
    let stops = &pair["stops_exact_aperture"];
    Held {
        error: stops["value"]
            .as_f64()
            .map(|stops| stops - known("stops_as_exposed")),
        stops: holds(stops, known("stops_as_exposed")),
        range: holds(&pair["contrast_difference"], known("contrast_difference")),
        name,
    }
}

#[test]
fn scans_drawn_by_another_hand_are_solved_and_their_bounds_hold() {
    let all: Vec<Held> = MOST_OFF
        .into_iter()
        .flat_map(|(level, _)| (1..=4).map(move |number| solve(level, number)))
        .collect();
    for held in &all {
        println!(
            "{} error {:+.3?} stops held {} contrast held {}",
            held.name, held.error, held.stops, held.range
        );
    }
    let answered: Vec<&Held> = all.iter().filter(|held| held.error.is_some()).collect();
    assert!(
        answered.len() >= LEAST_ANSWERED,
        "{} answered",
        answered.len()
    );
    for (what, missed) in [
        ("stops", answered.iter().filter(|held| !held.stops).count()),
        (
            "contrast",
            answered.iter().filter(|held| !held.range).count(),
        ),
    ] {
        assert!(missed <= MOST_MISSES, "{what}: {missed} bounds missed");
    }
    for held in answered {
        let (_, most) = MOST_OFF
            .into_iter()
            .find(|(level, _)| held.name.starts_with(level))
            .expect("a known level");
        let error = held.error.unwrap_or_default().abs();
        assert!(error <= most, "{}: {error:.3} stops off", held.name);
    }
}
