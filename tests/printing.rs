//! The bench sheet and the tone preview on the command line.
#![expect(
    clippy::disallowed_methods,
    clippy::unwrap_used,
    reason = "a test may fail where it stands, and files are what is tested"
)]

mod support;
#[path = "support/words.rs"]
mod words;

use support::{Desk, tiff};
use twinstrip::files::scan::{
    Container, Mark, Packing, Picture, ScanOptions, WriteOptions, read_scan, write_scan,
};
use twinstrip::measure::raster::{Channel, Samples};
use twinstrip::measure::watch::Unwatched;
use words::says;

const RECIPE: &str = "10s at f/8, magnified 4x, lens 80mm; burn sky: 1/2 stop; dodge quay: 2s";

/// A desk with the demo's scan and session beside a print: a ramp of tones with a white border.
fn desk() -> Desk {
    let desk = Desk::new();
    let demo = std::path::Path::new(env!("CARGO_MANIFEST_DIR")).join("testdata/demo");
    for file in ["session.ron", "scan-1.tif"] {
        desk.put(file, &std::fs::read(demo.join(file)).unwrap());
    }
    let (width, height) = (400, 120);
    let codes = (0..width * height).map(|i| {
        let (x, y) = (i % width, i / width);
        let border = y < 10 || x < 10;
        let share = if border {
            0.9
        } else {
            0.9 * (1.0 - x as f64 / width as f64)
        };
        (share * 65_535.0) as u16
    });
    let samples = Samples::Sixteen(codes.collect());
    let picture = Picture {
        width,
        height,
        channels: 1,
        samples: &samples,
    };
    let options = WriteOptions {
        container: Container::tiff(Packing::Plain),
        pixels_per_mm: None,
        mark: Mark::None,
    };
    write_scan(&desk.path("print.tif"), &picture, &options).unwrap();
    desk
}

#[test]
fn the_sheet_is_printed_and_written_as_a_page() {
    let desk = desk();
    let ran = desk.run(&[
        "sheet",
        "session.ron",
        "--quiet",
        "--recipe",
        RECIPE,
        "--picture",
        "Harbour at low tide",
        "--piece",
        "slate 3",
        "--size",
        "240x300",
        "--height",
        "6mm",
        "--pieces",
        "3",
        "--process",
        "developer 2min; first fixing bath 4min; second fixing bath 4min; wash",
        "--date",
        "2026-11-25",
        "--print",
        "print.tif",
        "--pdf",
        "sheet.pdf",
    ]);
    assert_eq!((ran.code, ran.err.as_str()), (0, ""), "{}", ran.out);
    for words in [
        "Bench sheet: Harbour at low tide",
        "slate 3, 240 x 300 mm, 6 mm above the easel",
        "[ ] 3.",
        "At least one of the 3 comes within 1/6 stop with a chance of",
        "burn sky:",
        "dodge quay:",
        "[ ] 1. developer                      2 min",
        "[ ] 4. wash                           __________",
        "2026-11-25",
        "safety data sheet",
    ] {
        assert!(says(&ran.out, words), "{words}: {}", ran.out);
    }
    let page = std::fs::read(desk.path("sheet.pdf")).unwrap();
    assert!(page.starts_with(b"%PDF-"));
}

#[test]
fn what_is_missing_for_a_sheet_is_said() {
    let desk = desk();
    let ran = desk.run(&["sheet", "session.ron", "--quiet"]);
    assert_eq!(ran.code, 2);
    assert!(says(&ran.err, "no recipe yet"), "{}", ran.err);
    let ran = desk.run(&["sheet", "session.ron", "--quiet", "--recipe", "10 minutes"]);
    assert_eq!(ran.code, 2);
    assert!(says(&ran.err, "line 1 of the recipe"), "{}", ran.err);
    let ran = desk.run(&[
        "sheet",
        "session.ron",
        "--quiet",
        "--recipe",
        RECIPE,
        "--coupon",
        "marble",
    ]);
    assert_eq!(ran.code, 2);
    assert!(says(&ran.err, "no solved coupon `marble`"), "{}", ran.err);
    let ran = desk.run(&["preview", "session.ron", "--quiet"]);
    assert_eq!(ran.code, 2);
    assert!(says(&ran.err, "--print"), "{}", ran.err);
}

#[test]
fn a_negative_of_too_much_contrast_cannot_be_printed_and_the_exit_code_says_so() {
    let desk = desk();
    let recipe = "10s at f/8, tones 0.01 to 3.9";
    let ran = desk.run(&["sheet", "session.ron", "--quiet", "--recipe", recipe]);
    // Whatever the plan says of it, the sheet carries the warning.
    assert!([0, 4].contains(&ran.code), "{}", ran.err);
    assert!(says(&ran.out, "Watch out"), "{}", ran.out);
}

#[test]
fn the_preview_says_its_shares_and_writes_pictures() {
    let desk = desk();
    let ran = desk.run(&[
        "preview",
        "session.ron",
        "--quiet",
        "--print",
        "print.tif",
        "--write",
        "small.png",
        "--marks",
    ]);
    assert_eq!((ran.code, ran.err.as_str()), (0, ""), "{}", ran.out);
    for words in [
        "Highlights blank on the coating",
        "Shadows blocked on the coating",
        "Closest to the print",
        "times the contrast",
        "wedge of the session",
    ] {
        assert!(says(&ran.out, words), "{words}: {}", ran.out);
    }
    let small = image::open(desk.path("small.png")).unwrap();
    assert_eq!((small.width(), small.height()), (400, 120));
    let ran = desk.run(&[
        "preview",
        "session.ron",
        "--quiet",
        "--print",
        "print.tif",
        "--stops",
        "-1.5",
        "--write",
        "large.tif",
        "--full-size",
    ]);
    assert_eq!((ran.code, ran.err.as_str()), (0, ""), "{}", ran.out);
    assert!(says(&ran.out, "-1.50 stops"), "{}", ran.out);
    let large = read_scan(&desk.path("large.tif"), &ScanOptions::default(), &Unwatched).unwrap();
    assert_eq!(
        (large.width, large.height, large.origin.bits),
        (400, 120, 16)
    );
    let mut row = vec![];
    large.linear_row(60, 0, 400, Channel::Luminance, &mut row);
    // Darker to the right as on the print, and lighter than at the exposure before.
    let (left, right) = (row[20], row[390]);
    assert!(left > right, "{left} {right}");
    // Nothing but one tone says nothing about contrast.
    desk.put_scan("even.tif", tiff(), 0.5);
    let ran = desk.run(&["preview", "session.ron", "--quiet", "--print", "even.tif"]);
    assert_eq!(ran.code, 0, "{}", ran.err);
    assert!(!says(&ran.out, "times the contrast"), "{}", ran.out);
    let ran = desk.run(&[
        "preview",
        "session.ron",
        "--quiet",
        "--print",
        "print.tif",
        "--write",
        "picture.gif",
    ]);
    assert_eq!(ran.code, 2);
    assert!(says(&ran.err, ".png or .tif"), "{}", ran.err);
}
