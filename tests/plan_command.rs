//! `twinstrip plan` as a person runs it: text, exit codes, recipe files, profiles, and messages
//! that say what was meant.
#![expect(clippy::unwrap_used, reason = "a test may fail where it stands")]

mod support;
#[path = "support/words.rs"]
mod words;

use serde_json::Value;
use support::{Desk, tiff};
use words::says;

/// A desk with a practice session in folder `a`.
fn desk() -> Desk {
    let desk = Desk::new();
    let made = desk.run(&[
        "simulate", "a", "--level", "easy", "--seed", "20101", "--dpi", "120", "--quiet",
    ]);
    assert_eq!(made.code, 0, "{}", made.err);
    desk
}

fn plan(desk: &Desk, more: &[&str]) -> support::Ran {
    desk.run(&[&["plan", "a/session.ron", "--quiet"], more].concat())
}

fn json(text: &str) -> Value {
    serde_json::from_str(text).unwrap()
}

#[test]
fn a_recipe_is_planned_kept_in_a_file_and_planned_again_by_session_and_profile() {
    let desk = desk();
    let recipe = "10s at f/8, magnified 4x, lens 80mm; burn sky: 1/2 stop, in the highlights";
    let ran = plan(
        &desk,
        &[
            "--recipe",
            recipe,
            "--height",
            "12mm",
            "--pieces",
            "3",
            "--keep",
            "harbour.ron",
            "harbour, crane",
        ],
    );
    assert_eq!(ran.code, 0, "{}{}", ran.err, ran.out);
    for part in [
        "on paper: 10s at f/8, magnified 4x, lens 80mm",
        "burn sky: 1/2 stop, in the highlights",
        "for 95 of 100 pieces",
        "At least one of 3 pieces is within 0.17 stops with a chance of",
        "Next test strip",
        "raise the head by 12 mm",
    ] {
        assert!(says(&ran.out, part), "{part}\n{}", ran.out);
    }
    let kept = twinstrip::files::text::read_text(&desk.path("harbour.ron")).unwrap();
    assert!(kept.contains("harbour, crane"), "{kept}");

    // The file says the same as the words.
    let by_words = plan(&desk, &["--recipe", recipe, "--json"]);
    let by_file = plan(&desk, &["--recipe", "harbour.ron", "--json"]);
    assert_eq!(by_words.out, by_file.out);
    let first = json(&by_file.out);
    assert_eq!(first["answered"], true);

    // Kept under a name that is there: refused, nothing replaced.
    let again = plan(
        &desk,
        &["--recipe", recipe, "--keep", "harbour.ron", "another"],
    );
    assert_eq!(again.code, 5);
    let still = twinstrip::files::text::read_text(&desk.path("harbour.ron")).unwrap();
    assert_eq!(still, kept);

    // A profile of this one session foretells the same middle, with a width of its own.
    let kept = desk.run(&[
        "profile",
        "keep",
        "a/session.ron",
        "slate",
        "--new",
        "--shelf",
        "shelf",
        "--quiet",
    ]);
    assert_eq!(kept.code, 0, "{}", kept.err);
    let by_profile = desk.run(&[
        "plan",
        "--profile",
        "slate",
        "--shelf",
        "shelf",
        "--recipe",
        "harbour.ron",
        "--json",
    ]);
    assert_eq!(by_profile.code, 0, "{}", by_profile.err);
    let said = json(&by_profile.out);
    assert_eq!(said["coating"], "slate");
    let middle = |plan: &Value| plan["plan"]["exposure"]["need"]["centre"].as_f64().unwrap();
    assert!((middle(&said) - middle(&first)).abs() < 0.01);
}

#[test]
fn a_print_beyond_the_coating_is_said_to_be_impossible_and_exits_with_4() {
    let desk = desk();
    let recipe = "10s at f/8, tones 0.05 to 1.6";
    let ran = plan(&desk, &["--recipe", recipe]);
    assert_eq!(ran.code, 4, "{}", ran.out);
    assert!(
        says(&ran.out, "contrast too high for this negative"),
        "{}",
        ran.out
    );
    // Nothing was tested: nothing to plan by.
    desk.put_scan("white.tif", tiff(), 1.0);
    desk.put("bare.ron", b"Session(version: 1, scans: [\"white.tif\"])");
    let ran = desk.run(&["plan", "bare.ron", "--recipe", recipe, "--quiet"]);
    assert_eq!(ran.code, 4, "{}", ran.out);
    assert!(says(&ran.err, "nothing can be planned"), "{}", ran.err);
    // A coupon that stayed light is followed by longer times.
    let made = desk.run(&[
        "simulate",
        "b",
        "--level",
        "easy",
        "--seed",
        "20103",
        "--dpi",
        "120",
        "--twist",
        "never-reached",
        "--quiet",
    ]);
    assert_eq!(made.code, 0, "{}", made.err);
    let ran = desk.run(&["plan", "b/session.ron", "--recipe", recipe, "--quiet"]);
    assert_eq!(ran.code, 4, "{}", ran.out);
    assert!(says(&ran.err, "test again with `"), "{}", ran.err);
    // Too near for any focus: no exposure at all.
    let near = [
        "--recipe",
        "10s at f/8, magnified 1.2x, lens 80mm",
        "--height",
        "100mm",
    ];
    let ran = plan(&desk, &near);
    assert_eq!(ran.code, 4);
    assert!(says(&ran.out, "No exposure can be given"), "{}", ran.out);
}

#[test]
fn what_is_written_wrongly_is_told_before_anything_is_measured() {
    let desk = Desk::new();
    desk.put(
        "harbour.ron",
        b"Recipe(version: 1, base: \"10s at f/8\", changes: [\"burn sky: 5\"])",
    );
    for (more, code, part) in [
        (
            &["--recipe", "10s at f/8, magnifed 4x"][..],
            2,
            "did you mean `magnified`?",
        ),
        (&["--recipe", "harbour.ron"], 3, "harbour.ron:1:"),
        (&["--recipe", "missing.ron"], 3, "there is no such file"),
        (
            &["--recipe", "10s at f/8", "--tone", "shadow"],
            2,
            "did you mean `shadows`?",
        ),
        (
            &["--recipe", "10s at f/8", "--height", "12"],
            2,
            "with its unit",
        ),
        (
            &["--recipe", "10s at f/8", "--reciprocity", "9"],
            2,
            "between 0.5 and 1.5",
        ),
        (
            &["--recipe", "10s at f/8", "--profile", "slate"],
            2,
            "cannot be used with",
        ),
    ] {
        let ran = plan(&desk, more);
        assert_eq!(ran.code, code, "{more:?}: {}", ran.err);
        assert!(says(&ran.err, part), "{more:?}: {}", ran.err);
    }
}
