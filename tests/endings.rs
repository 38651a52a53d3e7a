//! How the program ends: folders in the environment, an answer that nobody takes, an interrupt.
#![cfg(target_os = "linux")]
#![expect(
    clippy::disallowed_methods,
    clippy::unwrap_used,
    reason = "a test may fail where it stands, and files are what is tested"
)]

#[expect(dead_code, reason = "a desk can do more than is asked of it here")]
mod support;
#[path = "support/words.rs"]
mod words;

use std::process::{Command, Stdio};

use support::Desk;
use words::says;

fn program(desk: &Desk, arguments: &[&str]) -> Command {
    let mut program = Command::new(assert_cmd::cargo::cargo_bin!("twinstrip"));
    program.current_dir(desk.path("")).args(arguments);
    program
}

/// A shelf with a profile of invented data.
fn with_shelf() -> Desk {
    let desk = Desk::new();
    let demo = std::path::Path::new(env!("CARGO_MANIFEST_DIR")).join("testdata/demo-shelf");
    let profile = std::fs::read(demo.join("slate-one-coat-invented-data.ron")).unwrap();
    desk.put("profile.ron", &profile);
    let import = [
        "profile",
        "import",
        "profile.ron",
        "--name",
        "Slates",
        "--shelf",
        "shelf",
    ];
    assert_eq!(desk.run(&import).code, 0);
    desk
}

/// As the XDG Base Directory Specification asks.
#[test]
fn a_relative_folder_in_the_environment_is_passed_over() {
    let desk = Desk::new();
    let ran = program(&desk, &["profile", "list"])
        .env_remove("TWINSTRIP_SHELF")
        .env("XDG_DATA_HOME", "somewhere")
        .env("HOME", desk.path("home"))
        .output()
        .unwrap();
    let out = String::from_utf8(ran.stdout).unwrap();
    assert!(says(&out, "home/.local/share/twinstrip/profiles"), "{out}");
    assert!(!out.contains("somewhere"), "{out}");
}

#[test]
fn an_answer_that_nobody_takes_is_an_error() {
    let desk = with_shelf();
    let list = ["profile", "list", "--shelf", "shelf"];
    let full = std::fs::OpenOptions::new()
        .write(true)
        .open("/dev/full")
        .unwrap();
    let ran = program(&desk, &list).stdout(full).status().unwrap();
    assert_eq!(ran.code(), Some(5));
    // A pipe whose reader is gone before the first byte.
    let (reader, writer) = std::io::pipe().unwrap();
    drop(reader);
    let ran = program(&desk, &list).stdout(writer).status().unwrap();
    assert_eq!(ran.code(), Some(5));
}

#[test]
fn an_interrupt_ends_pooling_and_recomputing_with_130() {
    let desk = with_shelf();
    for arguments in [
        &["profile", "pool", "Slates", "--shelf", "shelf"][..],
        &["profile", "show", "Slates", "--anew", "--shelf", "shelf"],
    ] {
        let mut child = program(&desk, arguments)
            .stdout(Stdio::null())
            .spawn()
            .unwrap();
        std::thread::sleep(std::time::Duration::from_millis(300));
        let id = child.id().to_string();
        assert!(
            Command::new("kill")
                .args(["-INT", &id])
                .status()
                .unwrap()
                .success()
        );
        // On a fast machine the answer may be there before.
        let code = child.wait().unwrap().code();
        assert!(matches!(code, Some(130 | 0)), "{arguments:?}: {code:?}");
    }
}
