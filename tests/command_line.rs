//! The whole program as a person runs it: what it prints, where, and how it ends.
#![expect(clippy::unwrap_used, reason = "a test may fail where it stands")]

mod support;
#[path = "support/words.rs"]
mod words;

use support::{Desk, tiff};
use words::says;

const ANSWERED: i32 = 0;
const BAD_USAGE: i32 = 2;
const UNREADABLE: i32 = 3;
const NOT_WRITTEN: i32 = 5;

#[test]
fn the_help_names_every_task() {
    // Without arguments the window opens.
    let ran = Desk::new().run(&["--help"]);
    assert_eq!((ran.code, ran.err.as_str()), (ANSWERED, ""));
    for word in [
        "new",
        "measure",
        "solve",
        "calibrate",
        "show",
        "compare",
        "simulate",
        "Exit codes: 0 answered",
    ] {
        assert!(says(&ran.out, word), "{word}: {}", ran.out);
    }
}

#[test]
fn a_session_is_made_from_arguments_in_the_order_in_which_they_are_given() {
    let desk = Desk::new();
    desk.put_scan("slates.tif", tiff(), 0.9);
    let ran = desk.run(&[
        "new",
        "session.ron",
        "--quiet",
        "--scan",
        "slates.tif",
        "--wedge",
        "0.05 0.35 0.65 0.95 1.25",
        "--coupon",
        "slate, one coat: thirds from 4s, 6 steps at f/11",
        "--reference",
        "warm paper: building up 8 x 2s at f/16, magnified 3.5x",
        "--coupon",
        "slate, two coats: 2s 4s 8s 16s at f/8",
    ]);
    assert_eq!(
        (ran.code, ran.out.as_str(), ran.err.as_str()),
        (ANSWERED, "", "")
    );
    insta::assert_snapshot!(text(&desk, "session.ron"), @r#"
    Session(
        version: 1,
        scans: [
            "slates.tif",
        ],
        wedge: [0.05, 0.35, 0.65, 0.95, 1.25],
        strips: [
            Strip(
                name: "slate, one coat",
                role: coupon,
                series: in_stops(first: "4s", stops: "1/3", steps: 6),
                aperture: "f/11",
            ),
            Strip(
                name: "warm paper",
                role: reference,
                series: building_up(bursts: "8 x 2s"),
                aperture: "f/16",
                magnification: 3.5,
            ),
            Strip(
                name: "slate, two coats",
                role: coupon,
                series: list(times: "2s 4s 8s 16s"),
                aperture: "f/8",
            ),
        ],
    )
    "#);
}

fn text(desk: &Desk, name: &str) -> String {
    twinstrip::files::text::read_text(&desk.path(name)).unwrap()
}

#[test]
fn a_session_file_that_is_there_is_not_overwritten_unasked() {
    let desk = Desk::new();
    desk.put("session.ron", b"my notes");
    let arguments = ["new", "session.ron", "--scan", "slates.tif"];
    let ran = desk.run(&arguments);
    assert_eq!(ran.code, NOT_WRITTEN);
    assert!(
        says(&ran.err, "say --overwrite to replace it"),
        "{}",
        ran.err
    );
    assert_eq!(text(&desk, "session.ron"), "my notes");
    let ran = desk.run(&[&arguments[..], &["--overwrite"]].concat());
    assert_eq!(ran.code, ANSWERED);
    assert_eq!(
        ran.err,
        "session.ron written\nnote: there is no slates.tif yet\n"
    );
    assert_eq!(text(&desk, "session.ron.before"), "my notes");
    // What this program keeps of another kind stays, whatever is said.
    desk.put("flatbed.ron", b"Calibration(version: 1)");
    let ran = desk.run(&["new", "flatbed.ron", "--scan", "slates.tif", "--overwrite"]);
    assert_eq!(ran.code, NOT_WRITTEN, "{}", ran.err);
    assert_eq!(text(&desk, "flatbed.ron"), "Calibration(version: 1)");
}

#[test]
fn a_session_in_another_folder_names_its_scans_as_seen_from_there() {
    let desk = Desk::new();
    desk.put_scan("slates.tif", tiff(), 0.9);
    twinstrip::files::atomic::make_folder(&desk.path("notes/may")).unwrap();
    let ran = desk.run(&["new", "notes/may/session.ron", "--scan", "slates.tif"]);
    assert_eq!(ran.code, ANSWERED, "{}", ran.err);
    assert!(text(&desk, "notes/may/session.ron").contains("\"../../slates.tif\""));
}

#[test]
fn what_makes_no_sense_on_the_command_line_is_bad_usage() {
    let desk = Desk::new();
    desk.put(
        "session.ron",
        b"Session(version: 1, scans: [\"slates.tif\"])",
    );
    for (arguments, message) in [
        (&["develop"][..], "unrecognized subcommand 'develop'"),
        (&["solve"], "<SESSION>"),
        (
            &["solve", "session.ron", "--encoding", "sgrb"],
            "did you mean `srgb`?",
        ),
        (
            &["measure", "slates.tif", "--max-pixels", "0"],
            "write a count above 0",
        ),
        (
            &["measure", "session.ron", "slates.tif"],
            "give one session file, or scans",
        ),
        (
            &[
                "new",
                "s.ron",
                "--scan",
                "a.tif",
                "--coupon",
                "slate: halfs from 4s, 9 steps at f/8",
            ],
            "did you mean `halves`?",
        ),
        (
            &[
                "new",
                "s.ron",
                "--scan",
                "a.tif",
                "--coupon",
                "slate: 2s 4s 3s at f/8",
            ],
            "exposures must go one way: step 3",
        ),
        (
            &[
                "new",
                "s.ron",
                "--scan",
                "a.tif",
                "--wedge",
                "0.05 0.2 0,35",
            ],
            "a comma between digits",
        ),
        (
            &["simulate", "here", "--twist", "no-wegde"],
            "did you mean `no-wedge`?",
        ),
    ] {
        let ran = desk.run(arguments);
        assert!(says(&ran.err, message), "{arguments:?}: {}", ran.err);
        assert_eq!(
            (ran.code, ran.out.as_str()),
            (BAD_USAGE, ""),
            "{arguments:?}"
        );
    }
}

#[test]
fn the_pixel_limit_can_be_set() {
    let desk = Desk::new();
    desk.put_scan("slates.tif", tiff(), 0.9);
    let ran = desk.run(&["measure", "slates.tif", "--max-pixels", "1_000"]);
    assert!(
        says(&ran.err, "more than the limit of 1000 pixels"),
        "{}",
        ran.err
    );
    assert_eq!(ran.code, UNREADABLE);
}

#[test]
fn an_empty_scan_given_stands_for_the_one_that_the_session_names() {
    let desk = Desk::new();
    let demo = std::path::Path::new(env!("CARGO_MANIFEST_DIR")).join("testdata/demo");
    let text = twinstrip::files::text::read_text(&demo.join("session.ron")).unwrap();
    let scan = format!("path: {:?}", demo.join("scan-1.tif"));
    let session = text.replace("path: \"scan-1.tif\"", &scan).replace(
        "    scans: [\n",
        "    empty: Scan(path: \"gone.tif\"),\n    scans: [\n",
    );
    assert!(session.contains("gone.tif"), "{session}");
    desk.put_scan("glass.tif", tiff(), 0.9);
    desk.put("session.ron", session.as_bytes());
    let without = desk.run(&["solve", "session.ron"]);
    assert_eq!(without.code, UNREADABLE, "{}", without.err);
    assert!(says(&without.err, "gone.tif"), "{}", without.err);
    // What is given shows another part of the glass: said, and solved by the lid.
    let with = desk.run(&["solve", "session.ron", "--empty", "glass.tif"]);
    assert_eq!(with.code, ANSWERED, "{}", with.err);
    assert!(
        says(&with.out, "The empty scan can't be laid over"),
        "{}",
        with.out
    );
}

#[test]
fn practice_scans_come_with_a_session_and_the_truth() {
    let desk = Desk::new();
    let arguments = [
        "simulate", "practice", "--level", "easy", "--seed", "5", "--dpi", "60",
    ];
    let ran = desk.run(&arguments);
    assert_eq!(ran.code, ANSWERED, "{}", ran.err);
    assert_eq!(
        ran.err,
        "practice written; try: twinstrip solve practice/session.ron\n"
    );
    let session = twinstrip::files::session::read_session(&desk.path("practice/session.ron"));
    let session = session.unwrap();
    assert!(desk.path("practice").join(&session.scans[0].path).is_file());
    let truth: twinstrip::simulate::Truth =
        serde_json::from_str(&text(&desk, "practice/truth.json")).unwrap();
    assert_eq!(truth.strips.len(), session.strips.len());
    assert_eq!(truth.recipe.seed, 5);
    // The same again, several at once.
    let several = [&arguments[..], &["--count", "2", "--quiet"]].concat();
    assert_eq!(desk.run(&several).err, "");
    assert_eq!(
        text(&desk, "practice/0001/truth.json"),
        text(&desk, "practice/truth.json")
    );
    assert!(desk.path("practice/0002/session.ron").is_file());
}

#[test]
fn a_reader_that_has_seen_enough_is_no_failure() {
    use std::io::Read as _;
    use std::process::{Command, Stdio};
    let mut child = Command::new(assert_cmd::cargo::cargo_bin!("twinstrip"))
        .arg("--help")
        .stdout(Stdio::piped())
        .stderr(Stdio::piped())
        .spawn()
        .unwrap();
    // As `head -c 1` does; one that takes nothing at all is in tests/endings.rs.
    let mut first = [0];
    let mut reader = child.stdout.take().unwrap();
    reader.read_exact(&mut first).unwrap();
    drop(reader);
    let output = child.wait_with_output().unwrap();
    assert_eq!(String::from_utf8(output.stderr).unwrap(), "");
    assert_eq!(output.status.code(), Some(ANSWERED));
}

#[test]
fn profiles_are_compared_by_their_names_and_a_wrong_name_is_told() {
    let desk = Desk::new();
    let shelf = concat!(env!("CARGO_MANIFEST_DIR"), "/testdata/demo-shelf");
    let three = ["one-coat", "two-coats", "three-coats"]
        .map(|coats| format!("slate-{coats}-invented-data"));
    let mut asked = vec!["compare", "--shelf", shelf, "--piece", "6"];
    asked.extend(three.iter().map(String::as_str));
    let ran = desk.run(&asked);
    assert_eq!((ran.code, ran.err.as_str()), (ANSWERED, ""));
    for words in [
        "The thinnest coating whose Dmax is within 0.05 of the best",
        "Speed: differences, all within their bounds at once in 95 of 100 cases",
        "each ml/dm2 more",
        "Emulsion on one piece",
    ] {
        assert!(says(&ran.out, words), "{words}: {}", ran.out);
    }
    asked.extend(["--against", "slate, too coats"]);
    let ran = desk.run(&asked);
    assert_eq!((ran.code, ran.out.as_str()), (BAD_USAGE, ""));
    assert!(says(&ran.err, "no coating is called"), "{}", ran.err);
    let ran = desk.run(&["compare", "--shelf", shelf, &three[0]]);
    assert_eq!(ran.code, UNREADABLE, "one name alone is a session's file");
}
