//! Nothing lost, nothing silent: outputs beside inputs, names, pipes and full disks, on the
//! command line.
#![expect(
    clippy::disallowed_methods,
    clippy::unwrap_used,
    reason = "a test may fail where it stands, and files are what is tested"
)]

mod support;
#[path = "support/words.rs"]
mod words;

use support::Desk;
use words::says;

const RECIPE: &str = "10s at f/8, magnified 4x, lens 80mm";

fn demo(file: &str) -> Vec<u8> {
    let demo = std::path::Path::new(env!("CARGO_MANIFEST_DIR")).join("testdata/demo");
    std::fs::read(demo.join(file)).unwrap()
}

/// A desk with the demo's scan and session, and a calibration.
fn desk() -> Desk {
    let desk = Desk::new();
    for file in ["session.ron", "scan-1.tif"] {
        desk.put(file, &demo(file));
    }
    desk
}

fn content(desk: &Desk, name: &str) -> Vec<u8> {
    std::fs::read(desk.path(name)).unwrap()
}

/// Runs a task that would write over `target`, and asserts that it stays as it is.
fn assert_stays(desk: &Desk, target: &str, arguments: &[&str], why: &str) {
    let before = content(desk, target);
    let ran = desk.run(arguments);
    assert_eq!(ran.code, 5, "{arguments:?}: {}", ran.err);
    assert!(says(&ran.err, why), "{arguments:?}: {}", ran.err);
    assert_eq!(content(desk, target), before, "{arguments:?}");
}

#[test]
fn an_output_never_takes_the_place_of_a_scan_or_a_session() {
    let desk = desk();
    desk.put("print.tif", &demo("scan-1.tif"));
    std::fs::hard_link(desk.path("scan-1.tif"), desk.path("same.tif")).unwrap();
    #[cfg(unix)]
    std::os::unix::fs::symlink(desk.path("scan-1.tif"), desk.path("link.tif")).unwrap();
    std::fs::create_dir(desk.path("sub")).unwrap();
    for target in [
        "print.tif",
        "./print.tif",
        "same.tif",
        "sub/../scan-1.tif",
        "link.tif",
    ] {
        let arguments = [
            "preview",
            "session.ron",
            "-q",
            "--print",
            "print.tif",
            "--stops",
            "1",
            "--write",
            target,
            "--overwrite",
        ];
        assert_stays(&desk, target, &arguments, "a scan");
    }
    for target in ["session.ron", "scan-1.tif"] {
        let arguments = [
            "sheet",
            "session.ron",
            "-q",
            "--recipe",
            RECIPE,
            "--pdf",
            target,
            "--overwrite",
        ];
        assert_stays(&desk, target, &arguments, "outputs never replace one");
    }
    let again = [
        "new",
        "scan-1.tif",
        "--overwrite",
        "--scan",
        "scan-1.tif",
        "--reference",
        "paper: 2s 4s 8s at f/8",
    ];
    assert_stays(&desk, "scan-1.tif", &again, "a scan");
    std::fs::write(desk.path("wedge.txt"), "0.05 0.20 0.35 0.50 0.65 0.80").unwrap();
    let into_list = [
        "calibrate",
        "flatbed.ron",
        "-q",
        "--scan",
        "scan-1.tif",
        "--wedge",
        "wedge.txt",
        "--scanner",
        "x",
        "--picture",
        "wedge.txt",
        "--overwrite",
    ];
    let before = content(&desk, "wedge.txt");
    assert_ne!(desk.run(&into_list).code, 0);
    assert_eq!(content(&desk, "wedge.txt"), before);
}

#[test]
fn another_file_is_replaced_only_when_that_is_said_and_is_kept_beside() {
    let desk = desk();
    desk.put("sheet.pdf", b"an older sheet");
    let sheet = [
        "sheet",
        "session.ron",
        "-q",
        "--recipe",
        RECIPE,
        "--pdf",
        "sheet.pdf",
    ];
    assert_stays(&desk, "sheet.pdf", &sheet, "say --overwrite");
    let said = [&sheet[..], &["--overwrite"]].concat();
    let ran = desk.run(&said);
    assert_eq!(ran.code, 0, "{}", ran.err);
    assert!(content(&desk, "sheet.pdf").starts_with(b"%PDF-"));
    assert_eq!(content(&desk, "sheet.pdf.before"), b"an older sheet");

    let session = content(&desk, "session.ron");
    let new = [
        "new",
        "session.ron",
        "--overwrite",
        "--scan",
        "scan-1.tif",
        "--reference",
        "paper: 2s 4s 8s at f/8",
    ];
    assert_eq!(desk.run(&new).code, 0);
    assert_eq!(content(&desk, "session.ron.before"), session);
}

#[test]
fn a_picture_of_ours_is_no_scan_and_may_be_made_again() {
    for name in ["tones.png", "tones.tif"] {
        let desk = desk();
        desk.put("print.tif", &demo("scan-1.tif"));
        let preview = [
            "preview",
            "session.ron",
            "-q",
            "--print",
            "print.tif",
            "--stops",
            "1",
            "--write",
            name,
        ];
        assert_eq!(desk.run(&preview).code, 0);
        let first = content(&desk, name);
        assert_stays(&desk, name, &preview, "say --overwrite");
        let again = [&preview[..], &["--overwrite"]].concat();
        let ran = desk.run(&again);
        assert_eq!(ran.code, 0, "{}", ran.err);
        assert_eq!(content(&desk, &format!("{name}.before")), first);
        // Read as the print, it is an input like any other.
        let itself = [
            "preview",
            "session.ron",
            "-q",
            "--print",
            name,
            "--stops",
            "1",
            "--write",
            name,
            "--overwrite",
        ];
        assert_stays(&desk, name, &itself, "was read");
    }
}

#[cfg(unix)]
#[test]
fn links_to_nothing_devices_and_pipes_are_neither_written_nor_read() {
    let desk = desk();
    std::os::unix::fs::symlink(desk.path("gone.pdf"), desk.path("nowhere.pdf")).unwrap();
    let made = std::process::Command::new("mkfifo")
        .arg(desk.path("pipe"))
        .status();
    assert!(made.unwrap().success());
    for (target, why) in [
        ("nowhere.pdf", "leads nowhere"),
        ("pipe", "a device or a pipe"),
        ("/dev/null", "a device or a pipe"),
    ] {
        let ran = desk.run(&[
            "sheet",
            "session.ron",
            "-q",
            "--recipe",
            RECIPE,
            "--pdf",
            target,
            "--overwrite",
        ]);
        assert_eq!(ran.code, 5, "{target}: {}", ran.err);
        assert!(says(&ran.err, why), "{target}: {}", ran.err);
    }
    assert!(!desk.path("gone.pdf").exists());
    for arguments in [["measure", "pipe"], ["solve", "pipe"], ["show", "pipe"]] {
        let ran = desk.run(&arguments);
        assert_eq!(ran.code, 3, "{arguments:?}: {}", ran.err);
        assert!(says(&ran.err, "a device or a pipe"), "{}", ran.err);
    }
}

#[test]
fn practice_scans_are_not_written_over_scans_of_ones_own() {
    let desk = desk();
    let practice = [
        "simulate",
        ".",
        "--seed",
        "3",
        "--dpi",
        "100",
        "-q",
        "--overwrite",
    ];
    assert_stays(
        &desk,
        "scan-1.tif",
        &practice,
        "a file of that name is there",
    );
    assert_eq!(desk.run(&["simulate", "p", "--dpi", "100", "-q"]).code, 0);
    assert_eq!(desk.run(&["simulate", "p", "--dpi", "100", "-q"]).code, 5);
    assert_eq!(
        desk.run(&["simulate", "p", "--dpi", "100", "-q", "--overwrite"])
            .code,
        0
    );
}
