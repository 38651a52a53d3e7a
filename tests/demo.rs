//! The demo session: what a newcomer runs first must be right, small and quick to answer.
#![expect(clippy::unwrap_used, reason = "a test may fail where it stands")]

use std::path::{Path, PathBuf};

use assert_cmd::cargo::cargo_bin_cmd;
use serde_json::Value;
use twinstrip::files::text::read_text;
use twinstrip::simulate::Truth;

/// Most that the demo's files may weigh together, bytes.
const MOST_BYTES: u64 = 6 << 20;

fn demo() -> PathBuf {
    Path::new(env!("CARGO_MANIFEST_DIR")).join("testdata/demo")
}

fn run(arguments: &[&str]) -> String {
    let output = cargo_bin_cmd!("twinstrip")
        .args(arguments)
        .arg(demo().join("session.ron"))
        .output()
        .unwrap();
    let out = String::from_utf8(output.stdout).unwrap();
    assert_eq!(output.status.code(), Some(0), "{out}");
    assert_eq!(String::from_utf8(output.stderr).unwrap(), "");
    out
}

fn bounds(estimate: &Value) -> (f64, f64) {
    let end = |end: &str| estimate[end]["at"].as_f64().unwrap();
    (end("lower"), end("upper"))
}

#[test]
fn the_demo_is_answered_with_the_truth_inside_the_bounds() {
    let truth: Truth =
        serde_json::from_str(&read_text(&demo().join("truth.json")).unwrap()).unwrap();
    let answer: Value = serde_json::from_str(&run(&["solve", "--json"])).unwrap();
    let pairs = answer["pairs"].as_array().unwrap();
    assert_eq!(pairs.len(), truth.pairs.len());
    for (pair, truth) in pairs.iter().zip(&truth.pairs) {
        let answer = &pair["answer"];
        let ratio = truth.stops.exp2();
        let difference = truth.contrast_difference;
        for (what, right) in [
            ("stops", truth.stops),
            ("ratio", ratio),
            ("contrast_difference", difference),
        ] {
            let (lower, upper) = bounds(&answer[what]);
            assert!(
                (lower..=upper).contains(&right),
                "{what}: {lower} {right} {upper}"
            );
        }
        // Bounds as wide as the barn would hold the truth too.
        let (lower, upper) = bounds(&answer["stops"]);
        assert!(upper - lower < 0.3, "{lower} to {upper} stops");
        for (strip, curve) in [
            (truth.reference, &answer["reference"]),
            (truth.coupon, &answer["coupon"]),
        ] {
            assert!(curve["range"]["value"].is_number(), "strip {strip}");
        }
    }
}

#[test]
fn the_demo_says_what_a_printmaker_has_to_know() {
    let said = run(&["solve"])
        .split_whitespace()
        .collect::<Vec<_>>()
        .join(" ");
    for part in [
        "times the exposure of fibre paper",
        "stops slower",
        "at 95 %",
        "softer",
        "The biggest part of the uncertainty is",
    ] {
        assert!(said.contains(part), "'{part}' is missing in: {said}");
    }
    assert!(
        !said.contains("BLOCKING") && !said.contains("CAUTION"),
        "{said}"
    );
}

#[test]
fn the_demo_is_small() {
    let weigh = |name: &str| demo().join(name).metadata().unwrap().len();
    let bytes: u64 = ["scan-1.tif", "session.ron", "truth.json", "README.md"]
        .into_iter()
        .map(weigh)
        .sum();
    assert!(bytes <= MOST_BYTES, "{bytes}");
}
