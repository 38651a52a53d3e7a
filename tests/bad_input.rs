//! What the program says to input that it can't use: one test each, with the message.
#![expect(clippy::unwrap_used, reason = "a test may fail where it stands")]

mod support;

use support::{Desk, tiff};
use twinstrip::files::scan::Container;

/// Unreadable input.
const UNREADABLE: i32 = 3;

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
    assert_eq!(ran.err, "twinstrip: session.ron: there is no such file\n");
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
    assert_eq!(ran.err, "twinstrip: session.ron:1:1: the file is empty\n");
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
        "twinstrip: session.ron:2:12: this is not text (UTF-8)\n"
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
        "version: 2",
        "session.ron:2:5: version 2 is newer than this program understands (1); use a newer one",
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
