//! Three coatings of one session against each other, by the names of the controls.

use std::path::PathBuf;
use std::process::Command;

use crate::looks::assert_looks;
use crate::support::Window;

/// A practice session with three coated slates.
fn three_slates(folder: &tempfile::TempDir) -> PathBuf {
    let made = Command::new(env!("CARGO_BIN_EXE_twinstrip"))
        .current_dir(folder.path())
        .args(["simulate", "slates", "--level", "easy", "--seed", "20102"])
        .args(["--dpi", "120", "--coupons", "3", "--slate", "--quiet"])
        .status()
        .unwrap();
    assert!(made.success());
    folder.path().join("slates").join("session.ron")
}

#[test]
fn coatings_are_compared_by_what_is_said_of_them() {
    let folder = tempfile::tempdir().unwrap();
    let session = three_slates(&folder);
    let mut window = Window::of_size(1280.0, 720.0);
    window.drop_files(&[session]);
    window.until_measured();
    window.click("Curves");
    window.click("All coatings");
    // Nothing said of thickness yet: differences and evenness, no thinnest.
    window.until_shown("slate 2 against slate 1");
    assert!(window.shows("a square centimetre"));
    assert!(!window.shows("The thinnest coating"));
    for coats in 1..=3 {
        window.write(&format!("Coats of slate {coats}"), &coats.to_string());
    }
    window.until_shown("The thinnest coating whose Dmax is within 0.05");
    assert!(window.shows("Dmax, each coat more"));
    window.write("Emulsion of slate 1", "1.1");
    window.write("Emulsion of slate 2", "2.0");
    window.write("Emulsion of slate 3", "2.9");
    window.write("Price of a litre of emulsion", "80");
    window.write("Size of a piece", "6");
    window.until_shown("Dmax, each ml/dm2 more");
    // 6 square decimetres at 1.1 ml: 6.6 ml of 0.08 each.
    window.until_shown("6.6 ml, 0.53 of emulsion on a piece");
    window.click("Draw Speed by thickness");
    assert!(window.shows("Speed by thickness"));
    for (light, word) in [
        ("Evening", "evening"),
        ("Safelight", "safelight"),
        ("Day", "day"),
    ] {
        window.click("Light");
        window.click(light);
        assert_looks(&mut window, &format!("coatings-{word}"));
    }
    // All against one.
    window.click("against slate 2");
    window.until_shown("slate 1 against slate 2");
    assert!(!window.shows("slate 3 against slate 1"));
    window.click("slate 1");
    assert!(!window.shows("all pairs"), "one pair again");
}
