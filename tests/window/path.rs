//! The whole way from a scan to an answer, by the accessible names of what is on the screen.

use std::process::Command;

use egui::Key;
use egui_kittest::kittest::Queryable as _;
use twinstrip::document::Session;

use crate::support::{Window, demo};

fn undo_everything(window: &mut Window) {
    for _ in 0..100 {
        let undo = window
            .harness
            .query_all_by_label_contains("Undo ")
            .next()
            .map(|node| node.click());
        if undo.is_none() {
            return;
        }
        window.harness.run_steps(2);
    }
    panic!("undo never comes to an end");
}

#[test]
fn from_dropped_scans_to_a_saved_answer_that_the_command_line_repeats_digit_for_digit() {
    let mut window = Window::of_size(1280.0, 800.0);
    assert!(window.shows("Drop scans or a session here"));
    window.with_demo();
    assert!(window.shows("stops slower"));
    assert!(window.shows("Softer by "));
    let first: Session = window.harness.state().session().clone();

    // A border, moved with the keys.
    window.click("slate 1");
    window.harness.get_by_label("Scan scan-1.tif").focus();
    window.harness.run_steps(2);
    let fields = {
        let analysis = window.harness.state().analysis().unwrap().clone();
        analysis.strips[0]
            .located
            .as_ref()
            .unwrap()
            .shape
            .fields
            .len()
    };
    for _ in 0..fields + 3 {
        window.harness.key_press(Key::Period);
        window.harness.run_steps(1);
    }
    window.harness.key_press(Key::ArrowDown);
    window.harness.run_steps(2);
    let shape = window.harness.state().session().strips[0].shape.clone();
    assert!(shape.is_some(), "the moved outline is in the session");
    window.until_measured();

    // A step left out.
    let before = window.harness.state().analysis().unwrap().pairs[0]
        .answer
        .clone();
    let step = window
        .harness
        .get_all_by_label_contains("step 3")
        .next()
        .unwrap();
    step.click();
    window.harness.run_steps(2);
    assert_eq!(window.harness.state().session().strips[0].excluded, [2]);
    window.until_measured();
    let after = window.harness.state().analysis().unwrap().pairs[0]
        .answer
        .clone();
    assert_ne!(before.stops.value, after.stops.value);

    // Exposures in the printer's own words.
    window.click("Exposures");
    window.write(
        "Exposures of fibre paper",
        "halves from 2s, 10 steps at f/16",
    );
    window.until_measured();
    let twice = window.harness.state().analysis().unwrap().pairs[0]
        .answer
        .clone();
    let change = after.stops.value.unwrap() - twice.stops.value.unwrap();
    assert!(
        (change - 1.0).abs() < 0.05,
        "twice the light on the paper is one stop: {change}"
    );

    // A match by eye.
    window.click("By eye");
    window.click("Darker on fibre paper");
    window.click("Darker on slate 1");
    window.click("Same tone");
    assert_eq!(window.harness.state().session().matches.len(), 1);
    assert!(window.shows("By eye "));

    undo_everything(&mut window);
    assert_eq!(*window.harness.state().session(), first);
    window.click("Redo outline strip");
    assert_eq!(window.harness.state().session().strips[0].shape, shape);

    // Saved, read by the command line, opened again.
    let saved = window.folder.path().join("harbour.ron");
    window.answers.0.lock().unwrap().push(saved.clone());
    window.until_measured();
    let shown = window.harness.state().analysis().unwrap().clone();
    window
        .harness
        .key_press_modifiers(egui::Modifiers::COMMAND | egui::Modifiers::SHIFT, Key::S);
    window.until("saving", |app| app.said().ends_with("saved"));
    let output = Command::new(env!("CARGO_BIN_EXE_twinstrip"))
        .args(["solve", "--json", "--quiet"])
        .arg(&saved)
        .output()
        .unwrap();
    let told: serde_json::Value = serde_json::from_slice(&output.stdout).unwrap();
    // Both through text, so that every digit of the one is compared with the other's.
    let pairs = serde_json::to_string(&shown.pairs).unwrap();
    let strips = serde_json::to_string(&shown.strips).unwrap();
    let read = |text: &str| serde_json::from_str::<serde_json::Value>(text).unwrap();
    assert!(
        told["pairs"] == read(&pairs),
        "the command line's pairs are the window's"
    );
    assert!(
        told["strips"] == read(&strips),
        "the command line's strips are the window's"
    );

    let mut again = Window::of_size(1280.0, 800.0);
    again.drop_files(&[saved]);
    again.until_measured();
    let reopened = again.harness.state().analysis().unwrap().clone();
    assert!(
        reopened == shown,
        "the reopened session gives the same analysis"
    );
}

#[test]
fn bare_scans_are_taken_in_and_described() {
    let mut window = Window::of_size(1280.0, 800.0);
    window.drop_files(&[demo().join("scan-1.tif")]);
    window.until_measured();
    assert!(window.shows("No answer yet"));
    window.click("Take them in");
    assert!(!window.harness.state().session().strips.is_empty());
    assert!(window.harness.query_by_label("Undo add strip").is_some());
}

#[test]
fn a_scan_that_changed_is_not_measured_until_one_says_so() {
    let mut window = Window::of_size(1280.0, 800.0);
    let folder = window.folder.path().join("session");
    std::fs::create_dir(&folder).unwrap();
    for name in ["session.ron", "scan-1.tif"] {
        std::fs::copy(demo().join(name), folder.join(name)).unwrap();
    }
    let text = std::fs::read_to_string(folder.join("session.ron")).unwrap();
    let zeros = "0".repeat(64);
    let changed = text.replace(
        "encoding: srgb,",
        &format!("encoding: srgb, hash: \"{zeros}\","),
    );
    std::fs::write(folder.join("session.ron"), changed).unwrap();
    window.drop_files(&[folder]);
    window.until("the scan", |app| {
        app.analysis().is_none() && !app.session().scans.is_empty()
    });
    for _ in 0..400 {
        window.harness.step();
        if window.shows("is not the one") {
            break;
        }
        std::thread::sleep(std::time::Duration::from_millis(10));
    }
    assert!(window.harness.state().analysis().is_none());
    window.click("Measure this file");
    window.until_measured();
}

#[test]
fn a_missing_scan_is_found_again_by_hand() {
    let mut window = Window::of_size(1280.0, 800.0);
    let lonely = window.folder.path().join("session.ron");
    std::fs::copy(demo().join("session.ron"), &lonely).unwrap();
    window.drop_files(&[lonely]);
    for _ in 0..400 {
        window.harness.step();
        if window.harness.query_by_label("Find the file…").is_some() {
            break;
        }
        std::thread::sleep(std::time::Duration::from_millis(10));
    }
    window
        .answers
        .0
        .lock()
        .unwrap()
        .push(demo().join("scan-1.tif"));
    window.click("Find the file…");
    window.until_measured();
    assert!(window.harness.query_by_label("Undo locate scan").is_some());
}

#[test]
fn unsaved_work_of_a_killed_window_is_offered_and_taken_back() {
    let mut window = Window::of_size(1280.0, 800.0);
    window.with_demo();
    window.click("slate 1");
    let step = window
        .harness
        .get_all_by_label_contains("step 3")
        .next()
        .unwrap();
    step.click();
    window.harness.run_steps(2);
    let edited = window.harness.state().session().clone();
    let copy = window.folder.path().join("rescue-1.ron");
    let text = std::fs::read_to_string(copy).unwrap();

    // The next start finds what a killed one left: a copy that nobody holds.
    let state = tempfile::tempdir().unwrap();
    std::fs::write(state.path().join("rescue-7.ron"), text).unwrap();
    let mut next = Window::with_state(1280.0, 800.0, state);
    next.harness.run_steps(2);
    assert!(next.shows("session.ron was not closed in order"));
    next.click("Take it back");
    next.until_measured();
    assert_eq!(next.harness.state().session().strips, edited.strips);
    assert!(next.shows("(unsaved)"));
}

#[test]
fn the_answer_and_the_exports_are_written() {
    let mut window = Window::of_size(1280.0, 800.0);
    window.with_demo();
    for (entry, name, begins) in [
        (
            "Readings as a table (CSV)…",
            "readings.csv",
            &b"strip,role,step"[..],
        ),
        ("Curves as a drawing (SVG)…", "curves.svg", &b"<svg"[..]),
        ("Curves as a picture (PNG)…", "curves.png", &b"\x89PNG"[..]),
    ] {
        let file = window.folder.path().join(name);
        window.answers.0.lock().unwrap().push(file.clone());
        window.click("Session");
        window.click(entry);
        window.until("the export", |_| file.exists());
        assert!(std::fs::read(&file).unwrap().starts_with(begins), "{name}");
    }
    let csv = std::fs::read_to_string(window.folder.path().join("readings.csv")).unwrap();
    // Seven steps and the margin of the slate, ten and the margin of the paper, one heading.
    assert_eq!(csv.lines().count(), 20);
    let keys = egui::Modifiers::COMMAND | egui::Modifiers::SHIFT;
    window.harness.key_press_modifiers(keys, Key::A);
    window.until("the clipboard", |app| {
        app.said() == "The answer is on the clipboard."
    });
}

#[test]
fn the_step_under_the_pointer_is_left_out_and_taken_back_with_a_key() {
    let mut window = Window::of_size(1280.0, 800.0);
    window.with_demo();
    // The middle of the scan's place lies on the wedge; the slate is left of it.
    window.harness.hover_at(egui::Pos2::new(565.0, 420.0));
    window.harness.run_steps(3);
    assert!(
        window.shows("slate 1, step"),
        "the line below says what is under the pointer"
    );
    window.harness.key_press(Key::X);
    window.harness.run_steps(2);
    assert_eq!(window.harness.state().session().strips[0].excluded.len(), 1);
    window.harness.key_press(Key::X);
    window.harness.run_steps(2);
    assert!(
        window.harness.state().session().strips[0]
            .excluded
            .is_empty()
    );
}

#[test]
fn one_drag_of_a_border_is_one_step_of_undo() {
    let mut window = Window::of_size(1280.0, 800.0);
    window.with_demo();
    window.click("slate 1");
    let from = {
        let shape = window.harness.state().analysis().unwrap().strips[0]
            .located
            .clone()
            .unwrap()
            .shape;
        let edge = shape.edges[3].middle();
        shape.on_scan(edge, 0.3)
    };
    let start = window.on_screen(from);
    window.drag(start, start + egui::Vec2::new(0.0, 12.0));
    assert!(window.harness.state().session().strips[0].shape.is_some());
    window.click("Undo outline strip");
    assert!(
        window.harness.state().session().strips[0].shape.is_none(),
        "the whole drag is undone"
    );
}

/// Pixels of a part of the window that differ between two pictures.
fn differing(a: &image::RgbaImage, b: &image::RgbaImage, part: egui::Rect) -> usize {
    a.enumerate_pixels()
        .filter(|(x, y, pixel)| {
            part.contains(egui::Pos2::new(*x as f32, *y as f32)) && b.get_pixel(*x, *y) != *pixel
        })
        .count()
}

#[test]
fn a_step_lights_its_point_and_a_point_its_step() {
    let mut window = Window::of_size(1280.0, 800.0);
    window.with_demo();
    let scan = window.harness.get_by_label("Scan scan-1.tif").rect();
    let plot = window
        .harness
        .get_by_label("Curves of fibre paper and slate 1 beside the scan")
        .rect();
    let still = window.picture();
    let centre = {
        let analysis = window.harness.state().analysis().unwrap();
        let shape = &analysis.strips[0].located.as_ref().unwrap().shape;
        let field = shape.field_of_step(2).unwrap();
        shape.field_centre(field)
    };
    window.harness.hover_at(window.on_screen(centre));
    window.harness.run_steps(4);
    let on_step = window.picture();
    assert!(window.shows("slate 1, step 3"));
    assert!(differing(&still, &on_step, plot) > 20, "the point grows");

    // Somewhere along the curve there is a point; its step on the scan is outlined.
    let found = (0..200).any(|place| {
        let (row, column) = (place / 20, place % 20);
        let share = egui::Vec2::new(0.15 + 0.04 * column as f32, 0.05 + 0.08 * row as f32);
        window.harness.hover_at(plot.min + plot.size() * share);
        window.harness.run_steps(3);
        window.shows(", step ")
    });
    assert!(found, "a point was met");
    let on_point = window.picture();
    assert!(
        differing(&still, &on_point, scan) > 50,
        "its step is outlined"
    );
}

#[test]
fn a_strip_is_drawn_without_a_mouse() {
    let mut window = Window::of_size(1280.0, 800.0);
    window.with_demo();
    let before = window.harness.state().session().strips.len();
    window.harness.get_by_label("Scan scan-1.tif").focus();
    window.harness.run_steps(2);
    window.harness.key_press(Key::D);
    window.harness.run_steps(2);
    window.harness.key_press(Key::Enter);
    window.harness.run_steps(2);
    let drawn = {
        let strips = &window.harness.state().session().strips;
        assert_eq!(strips.len(), before + 1);
        strips[before].shape.clone().unwrap()
    };
    window.harness.key_press(Key::ArrowLeft);
    window.harness.run_steps(2);
    let moved = window.harness.state().session().strips[before]
        .shape
        .clone();
    assert!(moved.unwrap().corners[0].x < drawn.corners[0].x);
    window.click("Undo outline strip");
    window.click("Undo add strip");
    assert_eq!(window.harness.state().session().strips.len(), before);
}

#[test]
fn the_magnifier_shows_the_light_of_the_step_that_is_chosen() {
    let mut window = Window::of_size(1280.0, 800.0);
    window.with_demo();
    window.click("slate 1");
    window.harness.get_by_label("Scan scan-1.tif").focus();
    window.harness.run_steps(2);
    let scan = window.harness.get_by_label("Scan scan-1.tif").rect();
    window.harness.key_press(Key::M);
    window.harness.run_steps(2);
    window.harness.key_press(Key::Period);
    window.harness.run_steps(2);
    let first = window.picture();
    window.harness.key_press(Key::Period);
    window.harness.run_steps(2);
    let second = window.picture();
    let corner = egui::Rect::from_min_max(
        egui::Pos2::new(scan.right() - 240.0, scan.bottom() - 170.0),
        egui::Pos2::new(scan.right(), scan.bottom()),
    );
    assert!(
        differing(&first, &second, corner) > 100,
        "another step's light"
    );
}
