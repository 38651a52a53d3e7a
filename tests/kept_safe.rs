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

/// The demo kept in a profile on a shelf of the desk.
fn shelf_with_profile(desk: &Desk) -> String {
    let keep = [
        "profile",
        "keep",
        "session.ron",
        "Slates",
        "--new",
        "--shelf",
        "shelf",
        "-q",
    ];
    let ran = desk.run(&keep);
    assert_eq!(ran.code, 0, "{}", ran.err);
    "slates.ron".to_owned()
}

#[test]
fn a_damaged_profile_is_named_by_keep_show_and_list_and_no_second_one_is_made() {
    let desk = desk();
    let file = desk.path("shelf").join(shelf_with_profile(&desk));
    let again = ["profile", "say", "Slates", "batch=7", "--shelf", "shelf"];
    assert_eq!(desk.run(&again).code, 0);
    let whole = std::fs::read(&file).unwrap();
    std::fs::write(&file, &whole[..whole.len() / 2]).unwrap();
    for arguments in [
        &["profile", "show", "slates", "--shelf", "shelf"][..],
        &["profile", "show", "slates.ron", "--shelf", "shelf"],
        &["profile", "list", "--shelf", "shelf"],
        &[
            "profile",
            "keep",
            "session.ron",
            "Slates",
            "--shelf",
            "shelf",
            "-q",
        ],
        &[
            "profile",
            "keep",
            "session.ron",
            "Slates",
            "--new",
            "--shelf",
            "shelf",
            "-q",
        ],
    ] {
        let ran = desk.run(arguments);
        assert_eq!(ran.code, 3, "{arguments:?}: {}", ran.err);
        assert!(says(&ran.err, "slates.ron:"), "{arguments:?}: {}", ran.err);
        assert!(
            says(&ran.err, "rename slates.ron.before to slates.ron"),
            "{}",
            ran.err
        );
    }
    assert!(!desk.path("shelf").join("slates-2.ron").exists());
}

#[test]
fn two_who_make_one_profile_at_a_time_both_find_their_session_in_it() {
    let desk = desk();
    std::fs::copy(desk.path("session.ron"), desk.path("second.ron")).unwrap();
    let session = std::fs::read_to_string(desk.path("second.ron")).unwrap();
    // Another scan of the same things: a byte behind the picture more.
    let mut scan = demo("scan-1.tif");
    scan.push(0);
    desk.put("scan-2.tif", &scan);
    let second = session.replace("scan-1.tif", "scan-2.tif");
    let hashless: String = second
        .lines()
        .filter(|line| !line.contains("hash:"))
        .fold(String::new(), |text, line| text + line + "\n");
    std::fs::write(desk.path("second.ron"), hashless).unwrap();
    let keep = |session: &str| {
        std::process::Command::new(assert_cmd::cargo::cargo_bin!("twinstrip"))
            .current_dir(desk.path(""))
            .args([
                "profile", "keep", session, "Slates", "--new", "--shelf", "shelf", "-q",
            ])
            .spawn()
            .unwrap()
    };
    let both = [keep("session.ron"), keep("second.ron")];
    for mut one in both {
        assert!(one.wait().unwrap().success());
    }
    let ran = desk.run(&["profile", "list", "--shelf", "shelf", "--json"]);
    assert_eq!(ran.code, 0, "{}", ran.err);
    let listed = std::fs::read_dir(desk.path("shelf"))
        .unwrap()
        .filter(|entry| {
            let name = entry.as_ref().unwrap().file_name();
            name.to_string_lossy().ends_with(".ron")
        });
    assert_eq!(listed.count(), 1);
    let ran = desk.run(&["profile", "show", "Slates", "--shelf", "shelf"]);
    assert!(
        says(&ran.out, "session.ron") || says(&ran.out, "session"),
        "{}",
        ran.out
    );
    let dropped = desk.run(&["profile", "drop", "Slates", "3", "--shelf", "shelf"]);
    assert_eq!(dropped.code, 2);
    assert!(says(&dropped.err, "the numbers 1 to 2"), "{}", dropped.err);
    let dropped = desk.run(&["profile", "drop", "Slates", "0", "--shelf", "shelf"]);
    assert!(says(&dropped.err, "the numbers 1 to 2"), "{}", dropped.err);
}

#[test]
fn codes_in_a_name_are_refused_when_written_and_spelled_out_when_read() {
    let desk = desk();
    let paper = "pa\u{1b}[31mper: 2s 4s 8s at f/8";
    let ran = desk.run(&[
        "new",
        "coded.ron",
        "--scan",
        "scan-1.tif",
        "--reference",
        paper,
    ]);
    assert_eq!(ran.code, 2);
    assert!(says(&ran.err, "hidden code"), "{}", ran.err);
    assert!(!ran.err.contains('\u{1b}'), "{:?}", ran.err);
    let session = String::from_utf8(demo("session.ron")).unwrap();
    let strip = session
        .split("name: \"")
        .nth(1)
        .unwrap()
        .split('"')
        .next()
        .unwrap();
    let coded = session.replace(strip, &format!("{strip}\\u{{1b}}[2J\u{202e}"));
    desk.put("coded.ron", coded.as_bytes());
    for arguments in [
        &["solve", "coded.ron", "-q"][..],
        &["solve", "coded.ron", "-q", "--json"],
    ] {
        let ran = desk.run(arguments);
        assert_eq!(ran.code, 0, "{}", ran.err);
        assert!(ran.out.contains("u{1b}[2J"), "{}", ran.out);
        assert!(!ran.out.contains('\u{1b}') && !ran.out.contains('\u{202e}'));
    }
    let ran = desk.run(&["solve", "no\u{1b}[2Jsuch.ron"]);
    assert!(!ran.err.contains('\u{1b}'), "{:?}", ran.err);
}

#[test]
fn more_scans_than_a_session_holds_are_told_with_the_limit() {
    let desk = Desk::new();
    let mut arguments = vec!["new", "many.ron", "--reference", "paper: 2s 4s 8s at f/8"];
    for _ in 0..65 {
        arguments.extend(["--scan", "slates.tif"]);
    }
    let ran = desk.run(&arguments);
    assert_eq!(ran.code, 2);
    assert!(says(&ran.err, "a session holds at most 64"), "{}", ran.err);
}

/// A note of the file's reader stands among the findings.
#[test]
fn what_was_passed_over_in_a_scan_is_shown() {
    let desk = Desk::new();
    desk.put_scan("even.tif", support::tiff(), 0.5);
    let ran = desk.run(&["measure", "even.tif", "-q"]);
    assert!(says(&ran.out, "sRGB was assumed"), "{}", ran.out);
}

#[cfg(target_os = "linux")]
#[test]
fn without_a_display_one_sentence_tells_it_and_the_exit_code_is_6() {
    let ran = std::process::Command::new(assert_cmd::cargo::cargo_bin!("twinstrip"))
        .env_remove("DISPLAY")
        .env_remove("WAYLAND_DISPLAY")
        .env_remove("WAYLAND_SOCKET")
        .output()
        .unwrap();
    let err = String::from_utf8(ran.stderr).unwrap();
    assert_eq!(ran.status.code(), Some(6), "{err}");
    assert!(err.contains("no display can be reached"), "{err}");
    assert!(!err.contains(".rs") && err.lines().count() == 1, "{err}");
}

/// However little memory there is, the program says so and ends; it is never aborted.
#[cfg(target_os = "linux")]
#[test]
fn too_little_memory_is_said() {
    let desk = Desk::new();
    let (width, height) = (6_000, 5_000);
    let samples = twinstrip::measure::raster::Samples::Eight(vec![128; width * height]);
    let picture = twinstrip::files::scan::Picture {
        width,
        height,
        channels: 1,
        samples: &samples,
    };
    let options = twinstrip::files::scan::WriteOptions {
        container: support::tiff(),
        pixels_per_mm: None,
        mark: twinstrip::files::scan::Mark::None,
    };
    twinstrip::files::scan::write_scan(&desk.path("scan.tif"), &picture, &options).unwrap();
    let program = assert_cmd::cargo::cargo_bin!("twinstrip");
    for kilobytes in [120_000, 180_000, 250_000] {
        let ran = std::process::Command::new("sh")
            .args([
                "-c",
                &format!("ulimit -v {kilobytes}; exec \"$0\" measure scan.tif"),
            ])
            .arg(program)
            .current_dir(desk.path(""))
            .env("RAYON_NUM_THREADS", "2")
            .output()
            .unwrap();
        let err = String::from_utf8_lossy(&ran.stderr).into_owned();
        let code = ran.status.code();
        assert!(
            matches!(code, Some(0 | 3 | 4)),
            "{kilobytes}: {code:?} {err}"
        );
        if code == Some(3) {
            assert!(err.contains("of memory"), "{kilobytes}: {err}");
        }
    }
}
