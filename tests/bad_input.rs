//! What the program says to input that it can't use: one test each, with the message.
#![expect(clippy::unwrap_used, reason = "a test may fail where it stands")]

mod support;
#[path = "support/words.rs"]
mod words;

use support::{Desk, Ran, tiff};
use twinstrip::files::scan::Container;
use twinstrip::files::text::read_text;
use words::{flat, says};

/// Unreadable input.
const UNREADABLE: i32 = 3;
/// Measured, but no answer can be given.
const NO_ANSWER: i32 = 4;

const SESSION: &str = r#"Session(
    version: 1,
    scans: ["slates.tif"],
    wedge: [0.05, 0.20, 0.35, 0.50, 0.65, 0.80, 0.95, 1.10, 1.25, 1.40],
    strips: [
        Strip(name: "warm paper", role: reference, series: building_up(bursts: "8 x 2s"), aperture: "f/16"),
        Strip(name: "slate, two coats", role: coupon, series: in_stops(first: "4s", stops: "1/2", steps: 9), aperture: "f/16"),
    ],
)
"#;

/// Solves the session after a change of it: the message is this one, and nothing is answered.
#[track_caller]
fn assert_session_refused(from: &str, to: &str, message: &str) {
    let desk = Desk::new();
    assert!(SESSION.contains(from));
    desk.put("session.ron", SESSION.replacen(from, to, 1).as_bytes());
    let ran = desk.run(&["solve", "session.ron"]);
    assert_eq!(ran.err, format!("twinstrip: {message}\n"));
    assert_eq!((ran.code, ran.out.as_str()), (UNREADABLE, ""));
}

/// Measures a bare scan: the message is this one.
#[track_caller]
fn assert_scan_refused(desk: &Desk, name: &str, message: &str) {
    let ran = desk.run(&["measure", name]);
    assert_eq!(ran.err, format!("twinstrip: {message}\n"));
    assert_eq!((ran.code, ran.out.as_str()), (UNREADABLE, ""));
}

#[test]
fn a_session_that_is_not_there() {
    let ran = Desk::new().run(&["solve", "session.ron"]);
    assert_eq!(
        ran.err,
        "twinstrip: session.ron: there is no such file; check its name and folder\n"
    );
    assert_eq!(ran.code, UNREADABLE);
}

#[test]
fn a_scan_that_is_not_there() {
    let desk = Desk::new();
    assert_scan_refused(
        &desk,
        "slates.tif",
        "slates.tif: there is no such file; check its name and folder",
    );
    // The same when a session names it.
    assert_session_refused(
        "slates.tif",
        "harbour.tif",
        "harbour.tif: there is no such file; check its name and folder",
    );
}

#[test]
fn a_folder_instead_of_a_file() {
    let desk = Desk::new();
    let ran = desk.run(&["solve", "."]);
    assert_eq!(
        ran.err,
        "twinstrip: .: this is a folder; give a file in it\n"
    );
    assert_eq!(ran.code, UNREADABLE);
    assert_scan_refused(&desk, ".", ".: this is a folder; name one scan file in it");
}

#[test]
fn an_empty_file() {
    let desk = Desk::new();
    desk.put("session.ron", b"");
    desk.put("slates.tif", b"");
    let ran = desk.run(&["solve", "session.ron"]);
    assert_eq!(
        ran.err,
        "twinstrip: session.ron:1:1: the file is empty; fetch a sound copy or write it anew\n"
    );
    assert_eq!(ran.code, UNREADABLE);
    assert_scan_refused(
        &desk,
        "slates.tif",
        "slates.tif: the file is empty; scan again or fetch a sound copy",
    );
}

#[test]
fn text_that_is_called_a_scan() {
    let desk = Desk::new();
    desk.put("slates.tif", b"Dear printer, the slates are drying.\n");
    assert_scan_refused(
        &desk,
        "slates.tif",
        "slates.tif: this is not a TIFF, PNG or JPEG file (its content is text, whatever its \
         name says); save the scan as TIFF with 16 bits",
    );
}

#[test]
fn a_session_that_is_not_text() {
    let desk = Desk::new();
    desk.put("session.ron", b"Session(\n  version: \xff\xfe");
    let ran = desk.run(&["solve", "session.ron"]);
    assert_eq!(
        ran.err,
        "twinstrip: session.ron:2:12: this is not text (UTF-8); save it as plain text\n"
    );
    assert_eq!(ran.code, UNREADABLE);
}

/// Cuts a file in the middle and measures it.
#[track_caller]
fn assert_cut_scan_refused(name: &str, container: Container, start: &str) {
    let desk = Desk::new();
    desk.put_scan(name, container, 0.5);
    let whole = desk.path(name);
    let length = whole.metadata().unwrap().len();
    let file = std::fs::OpenOptions::new()
        .write(true)
        .open(&whole)
        .unwrap();
    file.set_len(length / 2).unwrap();
    let ran = desk.run(&["measure", name]);
    assert!(
        ran.err.starts_with(&format!("twinstrip: {name}: {start}")),
        "{}",
        ran.err
    );
    assert!(
        ran.err.ends_with("; scan again or fetch a complete copy\n"),
        "{}",
        ran.err
    );
    assert_eq!((ran.code, ran.out.as_str()), (UNREADABLE, ""));
}

#[test]
fn a_tiff_that_was_cut_short() {
    assert_cut_scan_refused("slates.tif", tiff(), "the TIFF file ends too early");
}

#[test]
fn a_png_that_was_cut_short() {
    assert_cut_scan_refused("slates.png", Container::Png, "the PNG file ends too early");
}

#[test]
fn a_jpeg_that_was_cut_short() {
    let jpeg = Container::Jpeg { quality: 90 };
    assert_cut_scan_refused("slates.jpg", jpeg, "the JPEG file ends too early");
}

#[test]
fn a_header_that_claims_a_million_by_a_million_pixels() {
    let desk = Desk::new();
    let mut file = b"II*\0\x08\0\0\0".to_vec();
    // Tag, type (3 short, 4 long), count, value: width, height, bits, no packing, grey,
    // where the pixels are, samples a pixel, rows a strip, bytes of the strip.
    let entries: [(u16, u16, u32); 9] = [
        (256, 4, 1_000_000),
        (257, 4, 1_000_000),
        (258, 3, 16),
        (259, 3, 1),
        (262, 3, 1),
        (273, 4, 8),
        (277, 3, 1),
        (278, 4, 1_000_000),
        (279, 4, 100),
    ];
    file.extend((entries.len() as u16).to_le_bytes());
    for (tag, kind, value) in entries {
        file.extend(tag.to_le_bytes());
        file.extend(kind.to_le_bytes());
        file.extend(1u32.to_le_bytes());
        file.extend(value.to_le_bytes());
    }
    file.extend(0u32.to_le_bytes());
    desk.put("slates.tif", &file);
    assert_scan_refused(
        &desk,
        "slates.tif",
        "slates.tif: the TIFF file claims 1000000 x 1000000 pixels, more than the limit of \
         400000000 pixels; if the size is right, raise the pixel limit",
    );
}

#[test]
fn exposures_that_do_not_increase() {
    assert_session_refused(
        "building_up(bursts: \"8 x 2s\")",
        "list(times: \"2s 4s 4s\")",
        "session.ron:6:83: exposures must go one way: step 3 (4 s after 4 s) breaks the order; if \
         these are the bursts of a strip that was uncovered step by step, the series is \
         building_up",
    );
}

#[test]
fn a_time_of_zero() {
    assert_session_refused(
        "8 x 2s",
        "2s 0s 2s",
        "session.ron:6:91: step 2 has a time of zero: every step needs some light; the unexposed \
         margin is not listed",
    );
}

#[test]
fn a_negative_time() {
    assert_session_refused(
        "8 x 2s",
        "2s -1s 2s",
        "session.ron:6:92: step 2 has a time of -1 s: times must be above 0 and at most 100000 s",
    );
}

#[test]
fn a_time_that_is_not_a_number() {
    assert_session_refused(
        "\"8 x 2s\"",
        "[2, NaN, 2]",
        "session.ron:6:92: step 2 has a time of NaN s: times must be above 0 and at most 100000 s",
    );
}

#[test]
fn an_aperture_of_zero() {
    assert_session_refused(
        "f/16",
        "f/0",
        "session.ron:6:106: f/0 is not an f-number: it must be between 0.5 and 1024",
    );
}

#[test]
fn an_unknown_series() {
    assert_session_refused(
        "building_up",
        "building",
        "session.ron:6:60: `building` is not known here; did you mean `building_up`?",
    );
}

#[test]
fn a_key_that_is_given_twice() {
    assert_session_refused(
        "aperture: \"f/16\")",
        "aperture: \"f/16\", aperture: \"f/8\")",
        "session.ron:6:109: `aperture` is given twice; keep one",
    );
}

#[test]
fn a_version_of_tomorrow() {
    assert_session_refused(
        "version: 1",
        "version: 5",
        "session.ron:2:5: version 5 is newer than this program understands (4); use a newer one",
    );
}

#[test]
fn a_bracket_that_is_not_closed() {
    assert_session_refused(
        "1.40],",
        "1.40,",
        "session.ron:5:5: a number belongs here, or a bracket is missing before it",
    );
}

/// A practice session whose first steps can be told from the margin: a slate coupon with seven
/// steps and a paper reference with seven, beside a wedge of sixteen fields.
fn practice() -> (Desk, String) {
    let desk = Desk::new();
    let made = desk.run(&[
        "simulate",
        ".",
        "--level",
        "easy",
        "--seed",
        "20101",
        "--dpi",
        "150",
        "--coupons",
        "1",
        "--quiet",
    ]);
    assert_eq!(made.code, 0, "{}", made.err);
    let session = read_text(&desk.path("session.ron")).unwrap();
    (desk, session)
}

/// Solves the practice session after a change of it.
#[track_caller]
fn solved(desk: &Desk, session: &str, changes: &[(&str, &str)]) -> Ran {
    let mut session = session.to_owned();
    for (from, to) in changes {
        assert!(session.contains(from), "{from} is not in {session}");
        session = session.replace(from, to);
    }
    desk.put("session.ron", session.as_bytes());
    desk.run(&["solve", "session.ron"])
}

/// Nothing is answered, and the report (line breaks taken out) says these things.
#[track_caller]
fn assert_no_answer(ran: &Ran, said: &[&str]) {
    let text = flat(&ran.out);
    assert_eq!((ran.code, ran.err.as_str()), (NO_ANSWER, ""), "{text}");
    assert!(text.contains("No speed ratio"), "{text}");
    assert!(!text.contains("times the exposure"), "{text}");
    for part in said {
        assert!(text.contains(part), "'{part}' is missing in: {text}");
    }
}

#[test]
fn the_practice_session_itself_is_answered() {
    let (desk, session) = practice();
    let ran = solved(&desk, &session, &[]);
    assert_eq!(ran.code, 0, "{}{}", ran.out, ran.err);
    assert!(says(&ran.out, "times the exposure of fibre paper"));
    assert!(!says(&ran.out, "BLOCKING"), "{}", ran.out);
}

#[test]
fn a_scan_that_is_white_all_over() {
    let desk = Desk::new();
    desk.put_scan("slates.tif", tiff(), 1.0);
    desk.put("session.ron", SESSION.as_bytes());
    let ran = desk.run(&["solve", "session.ron"]);
    assert_no_answer(
        &ran,
        &[
            "BLOCKING, warm paper: Strip 1 of the 2 described was not found on the scans.",
            "BLOCKING, slate, two coats: Strip 2 of the 2 described was not found on the scans.",
            "Check that it lies on the scan, or give its corners in the session.",
        ],
    );
    // Nothing described: nothing to measure either.
    let ran = desk.run(&["measure", "slates.tif"]);
    assert_eq!(ran.code, NO_ANSWER, "{}", ran.out);
    assert!(says(&ran.out, "No strip could be measured"), "{}", ran.out);
}

#[test]
fn a_scan_without_a_strip() {
    let desk = Desk::new();
    desk.put_scan("slates.tif", tiff(), 0.6);
    desk.put("session.ron", SESSION.as_bytes());
    let ran = desk.run(&["solve", "session.ron"]);
    assert_no_answer(&ran, &["was not found on the scans"]);
}

/// The entry of a strip in the practice session, by its name.
fn entry<'a>(session: &'a str, name: &str) -> &'a str {
    let at = session.find(&format!("name: \"{name}\"")).unwrap();
    let start = session[..at].rfind("        Strip(").unwrap();
    let length = session[start..].find("        ),\n").unwrap() + "        ),\n".len();
    &session[start..start + length]
}

#[test]
fn a_session_with_one_strip_only() {
    let (desk, session) = practice();
    let slate = entry(&session, "slate 1").to_owned();
    let ran = solved(&desk, &session, &[(&slate, "")]);
    assert_no_answer(&ran, &["because the session describes no coated strip"]);
    let paper = entry(&session, "fibre paper").to_owned();
    let ran = solved(&desk, &session, &[(&paper, "")]);
    assert_no_answer(
        &ran,
        &["because the session describes no reference strip of paper"],
    );
}

#[test]
fn a_session_that_describes_more_strips_than_were_scanned() {
    let (desk, session) = practice();
    let slate = entry(&session, "slate 1").to_owned();
    let third = slate.replace("slate 1", "slate 2");
    let paper = entry(&session, "fibre paper").to_owned();
    let ran = solved(&desk, &session, &[(&paper, &format!("{paper}{third}"))]);
    // Which of the two slates lies there can't be known.
    assert_no_answer(
        &ran,
        &[
            "BLOCKING, slate 2: Strip 3 of the 3 described was not found on the scans.",
            "BLOCKING, slate 1: What was taken for strip 1 may as well be strip 3",
        ],
    );
}

#[test]
fn a_session_that_describes_fewer_strips_than_were_scanned() {
    let (desk, session) = practice();
    let slate = entry(&session, "slate 1").to_owned();
    let ran = solved(&desk, &session, &[(&slate, "")]);
    assert_no_answer(&ran, &["fibre paper (reference)"]);
}

#[test]
fn one_step_too_many_is_told_as_a_second_reading() {
    let (desk, session) = practice();
    let ran = solved(&desk, &session, &[("187s 281s", "187s 281s 420s")]);
    let text = flat(&ran.out);
    // The margin is laid as margin and first step, which the scan does not rule out.
    assert!(text.contains("CAUTION, slate 1"), "{text}");
    assert!(text.contains("can lie in two ways"), "{text}");
}

#[test]
fn a_series_with_more_steps_than_the_strip_has() {
    let (desk, session) = practice();
    for (from, to, strip) in [
        ("187s 281s", "187s 281s 420s 630s", "slate 1"),
        ("steps: 7", "steps: 9", "fibre paper"),
    ] {
        let ran = solved(&desk, &session, &[(from, to)]);
        assert_no_answer(&ran, &[&format!("BLOCKING, {strip}: ")]);
        assert!(says(&ran.out, "margin"), "{}", ran.out);
    }
}

#[test]
fn a_series_with_fewer_steps_than_the_strip_has() {
    let (desk, session) = practice();
    for (from, to, strip) in [
        ("24s 37s 55s", "55s", "slate 1"),
        ("steps: 7", "steps: 5", "fibre paper"),
    ] {
        let ran = solved(&desk, &session, &[(from, to)]);
        assert_no_answer(&ran, &[&format!("BLOCKING, {strip}: ")]);
    }
}

#[test]
fn a_wedge_with_another_count_of_fields_than_its_list() {
    let (desk, session) = practice();
    for (from, to) in [
        ("2.05, 2.17]", "2.05, 2.17, 2.3]"),
        ("2.05, 2.17]", "2.05]"),
        (
            "1.03, 1.2, 1.33, 1.49, 1.63, 1.77, 1.91, 2.05, 2.17]",
            "1.03]",
        ),
    ] {
        let ran = solved(&desk, &session, &[(from, to)]);
        assert_no_answer(&ran, &["BLOCKING", "wedge"]);
    }
}

#[test]
fn a_list_that_belongs_to_another_wedge() {
    let (desk, session) = practice();
    let ran = solved(
        &desk,
        &session,
        &[(
            "[0.07, 0.22, 0.35, 0.51, 0.65, 0.77,",
            "[0.07, 0.12, 0.2, 0.6, 0.8, 0.86,",
        )],
    );
    assert_no_answer(&ran, &["BLOCKING", "wedge"]);
}

#[test]
fn strips_listed_in_each_others_place() {
    let (desk, session) = practice();
    let slate = entry(&session, "slate 1").to_owned();
    let paper = entry(&session, "fibre paper").to_owned();
    // Both have seven steps and the scan can't say which is which, but the steps of the one
    // don't lie on a curve with the exposures of the other.
    let both = format!("{slate}{paper}");
    let ran = solved(&desk, &session, &[(&both, &format!("{paper}{slate}"))]);
    let text = flat(&ran.out);
    assert!(text.contains("CAUTION"), "{text}");
    assert!(text.contains("is the list of exposures right?"), "{text}");
}
