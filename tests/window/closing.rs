//! Closing with unsaved work.

use egui::{Key, Modifiers, ViewportCommand};
use egui_kittest::kittest::Queryable as _;

use crate::support::{Window, demo};

fn unsaved() -> Window {
    let mut window = Window::of_size(1280.0, 800.0);
    window.drop_files(&[demo().join("scan-1.tif")]);
    window.until_measured();
    window
}

/// Whether the window asks to be closed within some frames.
fn closes(window: &mut Window) -> bool {
    (0..200).any(|_| {
        window.harness.step();
        std::thread::sleep(std::time::Duration::from_millis(5));
        let output = &window.harness.output().viewport_output;
        output
            .values()
            .any(|view| view.commands.contains(&ViewportCommand::Close))
    })
}

#[test]
fn save_them_asks_for_a_file_and_then_goes_on_closing() {
    let mut window = unsaved();
    let file = window.folder.path().join("kept.ron");
    window
        .harness
        .key_press_modifiers(Modifiers::COMMAND, Key::Q);
    window.harness.run_steps(2);
    window.answers.0.lock().unwrap().push(file.clone());
    window.harness.get_by_label("Save them").click();
    assert!(closes(&mut window));
    assert!(file.exists());
}

#[test]
fn without_a_file_chosen_nothing_is_closed_then_or_later() {
    let mut window = unsaved();
    window
        .harness
        .key_press_modifiers(Modifiers::COMMAND, Key::Q);
    window.harness.run_steps(2);
    window.harness.get_by_label("Save them").click();
    assert!(!closes(&mut window));
    // A later saving is only that.
    let file = window.folder.path().join("kept.ron");
    window.answers.0.lock().unwrap().push(file.clone());
    window
        .harness
        .key_press_modifiers(Modifiers::COMMAND, Key::S);
    assert!(!closes(&mut window));
    assert!(file.exists());
}

#[test]
fn a_new_session_follows_once_the_old_one_is_in_its_file() {
    let mut window = unsaved();
    let file = window.folder.path().join("kept.ron");
    window
        .harness
        .key_press_modifiers(Modifiers::COMMAND, Key::N);
    window.harness.run_steps(2);
    window.answers.0.lock().unwrap().push(file.clone());
    window.harness.get_by_label("Save them").click();
    window.until("the empty session", |app| app.session().scans.is_empty());
    assert!(file.exists());
}
