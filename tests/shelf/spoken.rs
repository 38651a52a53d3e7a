//! Profiles on the command line.

use std::path::Path;

use assert_cmd::cargo::cargo_bin_cmd;
use serde_json::Value;
use twinstrip::document::profile::{Profile, Put};
use twinstrip::files::shelf::Shelf;

use crate::support::{evidence, testdata};
use crate::words::says;

struct Ran {
    code: i32,
    out: String,
    err: String,
}

fn run(shelf: &Path, arguments: &[&str]) -> Ran {
    let output = cargo_bin_cmd!("twinstrip")
        .arg("profile")
        .args(arguments)
        .env("TWINSTRIP_SHELF", shelf)
        .output()
        .unwrap();
    Ran {
        code: output.status.code().unwrap(),
        out: String::from_utf8(output.stdout).unwrap(),
        err: String::from_utf8(output.stderr).unwrap(),
    }
}

fn answered(shelf: &Path, arguments: &[&str]) -> String {
    let ran = run(shelf, arguments);
    assert_eq!((ran.code, ran.err.as_str()), (0, ""), "{}", ran.out);
    ran.out
}

fn json(shelf: &Path, arguments: &[&str]) -> Value {
    let mut all = arguments.to_vec();
    all.push("--json");
    serde_json::from_str(&answered(shelf, &all)).unwrap()
}

/// A shelf with "slates" of four sessions whose stops differ by so much.
fn shelf_of(folder: &Path, stops: [f64; 4]) {
    let mut profile = Profile::named("slates");
    for (number, apart) in stops.into_iter().enumerate() {
        let mut one = evidence(number as u32 + 1);
        for estimate in [&mut one.answer.stops, &mut one.answer.stops_exact_aperture] {
            *estimate = estimate.map(|value| value + apart, 1.0);
        }
        profile = profile.with(one);
    }
    let put = Put {
        before: None,
        after: Some(profile),
    };
    Shelf::new(folder).put(None, &put).unwrap();
}

#[test]
fn a_session_is_kept_and_found_again_and_its_answer_is_that_of_solve() {
    let folder = tempfile::tempdir().unwrap();
    let shelf = folder.path();
    let session = testdata("demo/session.ron").display().to_string();
    let refused = run(shelf, &["keep", &session, "slate, two coats", "--quiet"]);
    assert_eq!(refused.code, 2);
    assert!(
        says(&refused.err, "say --new to make it"),
        "{}",
        refused.err
    );
    let said = answered(
        shelf,
        &[
            "keep",
            &session,
            "slate, two coats",
            "--new",
            "--quiet",
            "--date",
            "2026-03-01",
            "--remelts",
            "2",
            "--say",
            "coats=2",
            "--say",
            "opened=2026-02-01",
        ],
    );
    assert!(
        said.contains("slate, two coats: 1 session, the newest of 2026-03-01"),
        "{said}"
    );
    // The same scans again are no second session.
    let again = [
        "keep",
        &session,
        "slate, two coats",
        "--quiet",
        "--date",
        "2026-03-02",
        "--note",
        "anew",
    ];
    answered(shelf, &again);
    let shown = json(shelf, &["show", "Slate, Two Coats", "--anew"]);
    let sessions = shown["profile"]["sessions"].as_array().unwrap();
    assert_eq!(sessions.len(), 1);
    assert_eq!(sessions[0]["anew"]["same"], true);
    assert_eq!(sessions[0]["days_open"], 29);
    let output = cargo_bin_cmd!("twinstrip")
        .args(["solve", "--json", &session])
        .output()
        .unwrap();
    let solved: Value = serde_json::from_slice(&output.stdout).unwrap();
    assert_eq!(sessions[0]["stops"], solved["pairs"][0]["answer"]["stops"]);
    assert!(answered(shelf, &["list", "two", "COATS", "--with", "coats=2"]).contains("slate, two"));
    assert!(answered(shelf, &["list", "--with", "coats=3"]).contains("None of the 1 profiles"));
}

#[test]
fn a_profile_is_renamed_copied_retired_exported_and_taken_in() {
    let folder = tempfile::tempdir().unwrap();
    let shelf = &folder.path().join("shelf");
    shelf_of(shelf, [0.0; 4]);
    answered(shelf, &["say", "slates", "batch=7", "price=48 EUR/l"]);
    let wrong = run(shelf, &["say", "slates", "coats=some"]);
    assert_eq!(wrong.code, 2);
    assert!(
        says(&wrong.err, "coats: coats are counted"),
        "{}",
        wrong.err
    );
    answered(shelf, &["rename", "slates", "harbour slates"]);
    answered(shelf, &["copy", "harbour slates", "next batch"]);
    let copied = json(shelf, &["show", "next batch"]);
    assert_eq!(copied["profile"]["particulars"]["batch"], "7");
    assert_eq!(copied["profile"]["sessions"], Value::Array(vec![]));
    let taken = run(shelf, &["rename", "next batch", "Harbour slates"]);
    assert_eq!(taken.code, 5);
    assert!(
        says(&taken.err, "a profile of that name is there"),
        "{}",
        taken.err
    );
    let said = json(
        shelf,
        &[
            "correct",
            "harbour slates",
            "1",
            "date=2027-01-01",
            "remelts=9",
            "note=last of all",
        ],
    );
    // It is the newest now.
    let last = &said["profile"]["sessions"][3];
    assert_eq!(
        (&last["remelts"], &last["date"]),
        (&9.into(), &"2027-01-01".into())
    );
    assert_eq!(
        run(shelf, &["correct", "harbour slates", "5", "remelts=1"]).code,
        2
    );
    let unknown = run(shelf, &["correct", "harbour slates", "1", "remelt=1"]);
    assert!(
        says(&unknown.err, "did you mean `remelts`?"),
        "{}",
        unknown.err
    );
    answered(shelf, &["retire", "next batch"]);
    assert_eq!(
        json(shelf, &["list"])["profiles"].as_array().unwrap().len(),
        1
    );
    assert!(answered(shelf, &["list", "--retired"]).contains("put aside"));
    answered(shelf, &["revive", "next batch"]);
    let file = folder.path().join("out.ron").display().to_string();
    assert_eq!(run(shelf, &["export", "harbour slates", &file]).code, 0);
    assert_eq!(run(shelf, &["export", "harbour slates", &file]).code, 5);
    answered(shelf, &["drop", "harbour slates", "4"]);
    // Taken in again, the session comes back; nothing else changes.
    let back = json(shelf, &["import", &file]);
    assert_eq!(back["profile"]["sessions"].as_array().unwrap().len(), 4);
    assert_eq!(back["conflicts"], Value::Array(vec![]));
    let other = &folder.path().join("another shelf");
    answered(other, &["import", &file, "--name", "lent slates"]);
    let said = answered(other, &["show", "lent slates"]);
    assert!(
        said.contains("48 EUR/l") && said.contains("Session 4"),
        "{said}"
    );
    let unknown = run(shelf, &["show", "harbor slates"]);
    assert_eq!(unknown.code, 3);
    assert!(
        says(&unknown.err, "did you mean `harbour slates`?"),
        "{}",
        unknown.err
    );
}

#[test]
fn sessions_are_pooled_and_one_that_stands_out_is_told_of() {
    let folder = tempfile::tempdir().unwrap();
    shelf_of(folder.path(), [0.0, 0.03, -0.02, 0.6]);
    let said = answered(folder.path(), &["pool", "slates"]);
    for words in [
        "4 sessions together say",
        "The next session is foretold between",
        "Session 4 (2024-10-08, slates-4, slate 1) stands out: 0.60 stops above",
        "its emulsion had been melted again most often",
        "Not settled to within 0.17 stops",
    ] {
        assert!(says(&said, words), "{words}\n{said}");
    }
    let pooled = json(folder.path(), &["pool", "slates", "--within", "1/2"]);
    let stops = &pooled["quantities"][0];
    assert_eq!(stops["quantity"], "stops");
    assert_eq!(stops["rows"].as_array().unwrap().len(), 4);
    assert_eq!(pooled["within"], 0.5);
    let width = |estimate: &Value| {
        estimate["upper"]["at"].as_f64().unwrap() - estimate["lower"]["at"].as_f64().unwrap()
    };
    assert!(width(&stops["next"]) > width(&stops["together"]));
    let none = run(folder.path(), &["copy", "slates", "empty"]);
    assert_eq!(none.code, 0);
    let empty = run(folder.path(), &["pool", "empty"]);
    assert_eq!(empty.code, 4);
    assert!(
        says(&empty.out, "there is no session with a value"),
        "{}",
        empty.out
    );
    let beside = answered(folder.path(), &["beside", "slates", "empty"]);
    assert!(
        beside.contains("Speed, stops slower than the paper"),
        "{beside}"
    );
}

#[test]
fn a_damaged_profile_is_told_of_on_standard_error_and_the_others_are_listed() {
    let folder = tempfile::tempdir().unwrap();
    shelf_of(folder.path(), [0.0; 4]);
    std::fs::write(
        folder.path().join("broken.ron"),
        "Profile(version: 1,\nname: 7)",
    )
    .unwrap();
    let ran = run(folder.path(), &["list"]);
    assert_eq!(ran.code, 3);
    assert!(says(&ran.out, "slates"), "{}", ran.out);
    assert!(says(&ran.err, "broken.ron:2:"), "{}", ran.err);
    let asked = run(folder.path(), &["show", "broken"]);
    assert_eq!(asked.code, 3);
    assert!(says(&asked.err, "broken.ron:2:"), "{}", asked.err);
}
