//! The bench of printing day: recipe and piece, the plan, the tones, the sheet.

use std::path::{Path, PathBuf};

use egui_kittest::kittest::{NodeT as _, Queryable as _};
use twinstrip::files::scan::{Container, Mark, Packing, Picture, WriteOptions, write_scan};
use twinstrip::measure::raster::Samples;

use crate::support::Window;

pub const RECIPE: &str =
    "10s at f/8, magnified 4x, lens 80mm; burn sky: 1/2 stop; dodge quay: 1/3 stop";

/// A drawn harbour as a scanned paper print, sRGB: sky, water, a quay, a boat, and the white
/// border of the easel. Invented.
pub fn print_scan(folder: &Path) -> PathBuf {
    let (width, height) = (480, 320);
    let density = |x: f64, y: f64| {
        let horizon = 0.52;
        let mast = (x - 0.62).abs() < 0.004 && (0.22..0.6).contains(&y);
        let sail = x > 0.63 && x < 0.63 + 0.5 * (y - 0.24) && (0.24..0.5).contains(&y);
        let hull = (0.6..0.67).contains(&y) && (x - 0.64).abs() < 0.16 - 0.8 * (y - 0.6);
        if mast || hull {
            1.75
        } else if sail {
            0.14
        } else if x < 0.3 && y > 0.44 && y < 0.78 - 0.3 * x {
            // The quay, stone by stone.
            1.2 + 0.15 * f64::from((x * 40.0) as i32 % 2) + 0.1 * f64::from((y * 30.0) as i32 % 2)
        } else if y < horizon {
            0.12 + 0.35 * (horizon - y) + 0.05 * (9.0 * x + 3.0 * y).sin()
        } else {
            0.45 + 1.3 * (y - horizon) + 0.12 * (60.0 * y + 8.0 * x).sin()
        }
    };
    let code = |i: usize| {
        let (column, row) = (i % width, i / width);
        let border = 14;
        let inside =
            (border..width - border).contains(&column) && (border..height - border).contains(&row);
        let density = if inside {
            density(column as f64 / width as f64, row as f64 / height as f64)
        } else {
            0.06
        };
        // sRGB (IEC 61966-2-1).
        let light = 10f64.powf(-density);
        let share = 1.055 * light.powf(1.0 / 2.4) - 0.055;
        (share.clamp(0.0, 1.0) * 65_535.0) as u16
    };
    let samples = Samples::Sixteen((0..width * height).map(code).collect());
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
    let path = folder.join("harbour.tif");
    write_scan(&path, &picture, &options).unwrap();
    path
}

/// Types into a field of several lines and leaves it for another.
#[track_caller]
pub fn write_lines(window: &mut Window, label: &str, text: &str) {
    window.harness.get_by_label(label).focus();
    window.harness.run_steps(1);
    window
        .harness
        .key_press_modifiers(egui::Modifiers::COMMAND, egui::Key::A);
    window.harness.run_steps(1);
    window.harness.get_by_label(label).type_text(text);
    window.harness.run_steps(1);
    window.harness.get_by_label("Name of the picture").focus();
    window.harness.run_steps(2);
}

/// Clicks a control that may have to be scrolled into sight.
#[track_caller]
pub fn scroll_and_click(window: &mut Window, label: &str) {
    window
        .harness
        .get_by_role_and_label(egui::accesskit::Role::Button, label)
        .scroll_to_me();
    window.harness.run_steps(12);
    window.click(label);
}

/// Waits until words stand in the window.
#[track_caller]
pub fn until_shown(window: &mut Window, words: &str) {
    for _ in 0..6_000 {
        window.harness.step();
        if window.shows(words) {
            window.harness.run_steps(2);
            return;
        }
        std::thread::sleep(std::time::Duration::from_millis(10));
    }
    panic!(
        "{words} never came; said: {}",
        window.harness.state().said()
    );
}

/// The demo at the bench of printing day, with a recipe.
pub fn planned() -> Window {
    let mut window = Window::of_size(1280.0, 900.0);
    window.with_demo();
    window.click("Print");
    write_lines(&mut window, "Recipe of the paper print", RECIPE);
    until_shown(&mut window, "95 of 100 pieces need");
    window
}

#[test]
fn a_recipe_becomes_a_plan_and_can_be_undone() {
    let mut window = Window::of_size(1280.0, 900.0);
    window.with_demo();
    window.click("Print");
    assert!(window.shows("No plan yet"));
    write_lines(&mut window, "Recipe of the paper print", "10 apples at f/8");
    assert!(window.shows("Not understood: line 1 of the recipe"));
    write_lines(&mut window, "Recipe of the paper print", RECIPE);
    until_shown(&mut window, "95 of 100 pieces need");
    assert!(window.shows("quay"));
    window.click("within 1/3 stop");
    until_shown(&mut window, "within 1/3 stop with a chance");
    window.click("Undo choose the tolerance");
    until_shown(&mut window, "within 1/6 stop with a chance");
    window.click("Undo write the recipe");
    window.until_measured();
    until_shown(&mut window, "No plan yet");
    window.click("Redo write the recipe");
    until_shown(&mut window, "95 of 100 pieces need");
}

#[test]
fn the_piece_and_the_baths_belong_to_the_session() {
    let mut window = planned();
    window.write("Name of the piece", "slate 3");
    window.write("Name of the picture", "Harbour at low tide");
    write_lines(
        &mut window,
        "Baths and their times",
        "developer 2min\nfixing bath 4min\nwash",
    );
    window.click("shadows");
    window.click("Head raised by its height");
    window.until_measured();
    let printing = window.harness.state().session().printing.clone().unwrap();
    assert_eq!(printing.piece.name, "slate 3");
    assert_eq!(printing.picture, "Harbour at low tide");
    assert_eq!(printing.process.stages.len(), 3);
    let file = window.folder.path().join("kept.ron");
    window.answers.0.lock().unwrap().push(file.clone());
    window.harness.key_press_modifiers(
        egui::Modifiers::COMMAND | egui::Modifiers::SHIFT,
        egui::Key::S,
    );
    window.until("the session to be saved", |app| {
        app.said().contains("saved")
    });
    let text = std::fs::read_to_string(&file).unwrap();
    for words in [
        "version: 2",
        "slate 3",
        "fixing bath 240s",
        "head_raised: true",
    ] {
        assert!(text.contains(words), "{words}: {text}");
    }
}

#[test]
fn lens_times_and_blur_are_said_and_undone_and_a_sheet_has_its_day_and_paper() {
    let mut window = planned();
    let before = window.harness.state().session().printing.clone().unwrap();
    for (label, value) in [
        ("Widest opening of the lens", "4"),
        ("Smallest opening of the lens", "16"),
        ("Shortest time, s", "6"),
        ("Longest time, s", "120"),
        ("Allowed blur, mm", "0.3"),
    ] {
        window.harness.get_by_label(label).scroll_to_me();
        window.harness.run_steps(8);
        window.write(label, value);
    }
    let choices = |window: &Window| {
        let printing = window.harness.state().session().printing.clone().unwrap();
        printing.choices
    };
    let said = choices(&window);
    assert_eq!((said.lens, said.times), ((4.0, 16.0), (6.0, 120.0)));
    assert!((said.blur - 0.3).abs() < 1e-12);
    // A lens is not wider at its smallest opening.
    window.write("Widest opening of the lens", "22");
    assert_eq!(choices(&window).lens, (16.0, 16.0));
    for undone in ["lens", "blur", "times", "times", "lens", "lens"] {
        window.click(&format!("Undo say the {undone}"));
    }
    assert_eq!(choices(&window), before.choices);
    until_shown(&mut window, "95 of 100 pieces need");
    let paper = window.harness.get_by_label("Paper of the bench sheet");
    paper.scroll_to_me();
    window.harness.run_steps(12);
    window.click("Paper of the bench sheet");
    window.click("Letter");
    let folder = window.folder.path().to_owned();
    let mut write = |name: &str| {
        let file = folder.join(name);
        window.until("the plan", |app| app.plan_is_current());
        window.answers.0.lock().unwrap().push(file.clone());
        scroll_and_click(&mut window, "Bench sheet (PDF)…");
        let ends = format!("{name} written");
        window.until(name, |app| app.said().ends_with(&ends));
        std::fs::read(&file).unwrap()
    };
    let text = String::from_utf8(write("sheet.txt")).unwrap();
    assert!(text.contains("2026-11-25"), "{text}");
    // 8.5 x 11 inches in points of a 72nd of an inch (ISO 32000-1, 8.3.2.3).
    let page = write("sheet.pdf");
    let has = |words: &[u8]| page.windows(words.len()).any(|part| part == words);
    assert!(has(b"612 792]"));
    let kept = std::fs::read_to_string(folder.join("window.txt")).unwrap();
    assert!(kept.contains("paper Letter\n"), "{kept}");
}

#[test]
fn what_cannot_be_printed_is_said_with_its_reason() {
    let mut window = Window::of_size(1280.0, 900.0);
    window.with_demo();
    window.click("Print");
    write_lines(
        &mut window,
        "Recipe of the paper print",
        "10s at f/8, tones 0.40 to 0.80",
    );
    until_shown(
        &mut window,
        "Cannot be printed: contrast too low for this negative",
    );
    // The reason stands in the place of the time: no time is told that would be worked by.
    assert!(window.shows("Print a harder copy of the negative"));
    assert!(!window.shows("95 of 100 pieces need"));
    assert!(!window.shows("against the plan"));
}

#[test]
fn a_print_dropped_on_the_bench_is_shown_on_the_coating_and_the_slider_moves_it() {
    let mut window = planned();
    assert!(window.shows("Drop a scan of the finished paper print"));
    let print = print_scan(window.folder.path());
    window.drop_files(&[print]);
    until_shown(&mut window, "Highlights blank on the coating");
    assert_eq!(window.harness.state().session().scans.len(), 1);
    assert!(window.shows("Closest to the print with this negative"));
    window.harness.get_by_label("Paper print");
    window.harness.get_by_label("Print on the coating");
    let said = |window: &Window| {
        let lines = window
            .harness
            .query_all_by_label_contains("Shadows blocked");
        format!(
            "{lines:?}",
            lines = lines.map(|node| format!("{node:?}")).collect::<Vec<_>>()
        )
    };
    let before = said(&window);
    window
        .harness
        .get_by_label("Exposure from the plan, in stops")
        .focus();
    window.harness.run_steps(4);
    for _ in 0..24 {
        window.harness.key_press(egui::Key::ArrowRight);
        window.harness.run_steps(1);
    }
    let at = window
        .harness
        .get_by_label_contains("stops from the plan")
        .accesskit_node()
        .value();
    assert_eq!(at.as_deref(), Some("+2.00 stops from the plan"));
    assert_ne!(said(&window), before, "two stops more block more");
    scroll_and_click(&mut window, "As planned");
    assert!(window.shows("+0.00 stops from the plan"));
    window.click("Undo choose the print's scan");
    window.until_measured();
    assert!(window.shows("Drop a scan of the finished paper print"));
}

#[test]
fn the_sheet_is_written_as_page_and_text_and_the_tones_as_a_picture() {
    let mut window = planned();
    let folder = window.folder.path().to_owned();
    let print = print_scan(&folder);
    window.answers.0.lock().unwrap().push(print);
    window.click("Scan of the print…");
    until_shown(&mut window, "Highlights blank on the coating");
    for (button, name, begins) in [
        ("Bench sheet (PDF)…", "sheet.pdf", &b"%PDF-"[..]),
        ("Bench sheet (PDF)…", "sheet.txt", b"Bench sheet: "),
        ("Picture at full size…", "tones.png", b"\x89PNG"),
    ] {
        let file = folder.join(name);
        window.answers.0.lock().unwrap().push(file.clone());
        scroll_and_click(&mut window, button);
        let ends = format!("{name} written");
        window.until(name, |app| app.said().ends_with(&ends));
        let written = std::fs::read(&file).unwrap();
        assert!(written.starts_with(begins), "{name}");
    }
    let tones = image::open(folder.join("tones.png")).unwrap();
    assert_eq!((tones.width(), tones.height()), (480, 320));
}
