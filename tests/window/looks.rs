//! How every screen looks, in every light, against pictures that are kept.

use std::path::{Path, PathBuf};

use egui_kittest::kittest::Queryable as _;

use crate::printing::{RECIPE, print_scan, scroll_and_click, until_shown, write_lines};
use crate::scanner::{list, made};
use crate::support::{Window, demo};

/// A pixel differs when one of its channels does by more than this; fonts and tiles are drawn
/// the same way everywhere, so this only allows for the last bit of sums.
const CODES: u8 = 12;
/// Pixels of a picture that may differ: a few along slanted edges.
const PIXELS: usize = 60;

fn kept(name: &str) -> PathBuf {
    let images = Path::new(env!("CARGO_MANIFEST_DIR"))
        .join("docs")
        .join("images");
    images.join(format!("{name}.png"))
}

/// Compares with the picture that is kept; `TWINSTRIP_KEEP=1` keeps new ones.
#[track_caller]
pub fn assert_looks(window: &mut Window, name: &str) {
    let now = window.picture();
    let path = kept(name);
    if std::env::var_os("TWINSTRIP_KEEP").is_some() {
        std::fs::create_dir_all(path.parent().unwrap()).unwrap();
        image::DynamicImage::from(now)
            .to_rgb8()
            .save(&path)
            .unwrap();
        return;
    }
    let before = image::open(&path)
        .unwrap_or_else(|error| panic!("{name}: {error}"))
        .to_rgba8();
    assert_eq!(before.dimensions(), now.dimensions(), "{name}");
    let differing = before
        .pixels()
        .zip(now.pixels())
        .filter(|(a, b)| (0..3).any(|channel| a.0[channel].abs_diff(b.0[channel]) > CODES))
        .count();
    if differing > PIXELS {
        let beside = std::env::temp_dir().join(format!("twinstrip-{name}.png"));
        now.save(&beside).unwrap();
        panic!(
            "{name}: {differing} pixels differ; as it is now: {}",
            beside.display()
        );
    }
}

fn screens(light: &str, word: &str) {
    let mut window = Window::of_size(1280.0, 720.0);
    window.click("Light");
    window.click(light);
    assert_looks(&mut window, &format!("welcome-{word}"));
    window.with_demo();
    assert_looks(&mut window, &format!("scans-{word}"));
    // A step with its sampled area, under the magnifier.
    window.click("slate 1");
    window.harness.get_by_label("Scan scan-1.tif").focus();
    window.harness.run_steps(2);
    window.harness.key_press(egui::Key::M);
    window.harness.run_steps(2);
    for _ in 0..4 {
        window.harness.key_press(egui::Key::Period);
        window.harness.run_steps(2);
    }
    window.harness.key_press(egui::Key::ArrowDown);
    window.until_measured();
    assert_looks(&mut window, &format!("step-{word}"));
    window.harness.key_press(egui::Key::F1);
    window.harness.run_steps(4);
    assert_looks(&mut window, &format!("keys-{word}"));
    window.click("Back to work");
    window.click("Undo move sampled area");
    window.until_measured();
    for (bench, name) in [
        ("Exposures", "exposures"),
        ("Curves", "curves"),
        ("By eye", "by-eye"),
    ] {
        window.click(bench);
        assert_looks(&mut window, &format!("{name}-{word}"));
    }
    printing_day(&mut window, word);
}

/// The states of the bench of printing day.
fn printing_day(window: &mut Window, word: &str) {
    window.click("Print");
    assert_looks(window, &format!("print-empty-{word}"));
    let recipe = "Recipe of the paper print";
    write_lines(window, recipe, "10s at f/8, tones 0.40 to 0.80");
    until_shown(window, "Cannot be printed");
    assert_looks(window, &format!("print-cannot-{word}"));
    write_lines(window, recipe, RECIPE);
    until_shown(window, "quay");
    assert_looks(window, &format!("print-plan-{word}"));
    let print = print_scan(window.folder.path());
    window.drop_files(&[print]);
    until_shown(window, "Highlights blank");
    window
        .harness
        .get_by_label("Print on the coating")
        .scroll_to_me();
    window.harness.run_steps(8);
    assert_looks(window, &format!("print-tones-{word}"));
}

fn profiles(light: &str, word: &str) {
    let mut window = Window::of_size(1280.0, 720.0);
    window.click("Light");
    window.click(light);
    window.with_profiles();
    window.click("Profile slate, two coats (invented data)");
    window.until_shown("1: 2026-03-02");
    assert_looks(&mut window, &format!("profile-{word}"));
    window.click("Sessions together");
    assert_looks(&mut window, &format!("together-{word}"));
    window.click("Drift");
    window.click("Dmin");
    window.click("Remelts");
    assert_looks(&mut window, &format!("drift-{word}"));
    window.click("Beside another");
    window.click("The other profile");
    window.click("slate, three coats (invented data)");
    window.until_shown("more than chance explains");
    assert_looks(&mut window, &format!("beside-{word}"));
}

/// The bench of the scanner: nothing yet, why not, a calibration, and the session read by it.
fn scanner(light: &str, word: &str) {
    let mut window = Window::of_size(1280.0, 720.0);
    window.click("Light");
    window.click(light);
    window.click("Scanner");
    assert_looks(&mut window, &format!("scanner-empty-{word}"));
    made(&mut window);
    assert_looks(&mut window, &format!("scanner-made-{word}"));
    list(&mut window, "0.06 0.22 0.34 0.48");
    window.until_shown("Not to be used");
    assert_looks(&mut window, &format!("scanner-cannot-{word}"));
    window.click("Take scan-1.tif out");
    let session = demo().join("session.ron");
    window.answers.0.lock().unwrap().push(session);
    window
        .harness
        .key_press_modifiers(egui::Modifiers::COMMAND, egui::Key::O);
    window.until_measured();
    window.click("Scanner");
    window.click("This session's scans");
    window.click("This session's wedge");
    window.until_shown("Good from");
    scroll_and_click(&mut window, "Use for this session");
    window.until_measured();
    window.until_shown("The calibration still holds");
    assert_looks(&mut window, &format!("scanner-used-{word}"));
}

#[test]
fn the_scanner_looks_as_kept_by_day() {
    scanner("Day", "day");
}

#[test]
fn the_scanner_looks_as_kept_in_the_evening() {
    scanner("Evening", "evening");
}

#[test]
fn the_scanner_looks_as_kept_in_safelight() {
    scanner("Safelight", "safelight");
}

#[test]
fn profiles_look_as_kept_by_day() {
    profiles("Day", "day");
}

#[test]
fn profiles_look_as_kept_in_the_evening() {
    profiles("Evening", "evening");
}

#[test]
fn profiles_look_as_kept_in_safelight() {
    profiles("Safelight", "safelight");
}

#[test]
fn every_screen_looks_as_kept_by_day() {
    screens("Day", "day");
}

#[test]
fn every_screen_looks_as_kept_in_the_evening() {
    screens("Evening", "evening");
}

#[test]
fn every_screen_looks_as_kept_in_safelight() {
    screens("Safelight", "safelight");
}
