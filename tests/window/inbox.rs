//! The folder that scanning software saves in.

use std::time::Duration;

use crate::support::{Window, demo};

/// Steps through frames for a while, since the folder is looked at by the clock.
fn wait(window: &mut Window, seconds: f32) {
    for _ in 0..(seconds * 50.0) as usize {
        window.harness.step();
        std::thread::sleep(Duration::from_millis(20));
    }
}

#[test]
fn scans_that_come_into_a_watched_folder_are_read_once_they_are_finished() {
    let inbox = tempfile::tempdir().unwrap();
    std::fs::copy(demo().join("scan-1.tif"), inbox.path().join("old.tif")).unwrap();
    let mut window = Window::of_size(1280.0, 800.0);
    window
        .answers
        .0
        .lock()
        .unwrap()
        .push(inbox.path().to_owned());
    window.click("Watch a folder…");
    window.until("the folder", |app| app.said().contains("will be taken in"));
    assert!(window.shows("Watching "));
    wait(&mut window, 1.0);

    // Half of it first, as a scanner writes.
    let bytes = std::fs::read(demo().join("scan-1.tif")).unwrap();
    let coming = inbox.path().join("slates.tif");
    std::fs::write(&coming, &bytes[..bytes.len() / 2]).unwrap();
    wait(&mut window, 4.0);
    let session = window.harness.state().session();
    assert!(
        session.scans.is_empty(),
        "half a file is not read, nor an old one"
    );
    std::fs::write(&coming, &bytes).unwrap();
    window.until("the scan", |app| app.session().scans.len() == 1);
    assert!(
        window.harness.state().session().scans[0]
            .path
            .ends_with("slates.tif")
    );
    window.until_measured();
    assert!(window.shows("Watching "), "it is still watched");

    // Another one joins the session and can be undone.
    std::fs::write(inbox.path().join("more.tif"), &bytes).unwrap();
    window.until("the second", |app| app.session().scans.len() == 2);
    window.click("Undo add scan");
    assert_eq!(window.harness.state().session().scans.len(), 1);

    // The next window watches on, until it is told to stop.
    let state = tempfile::tempdir().unwrap();
    std::fs::copy(
        window.folder.path().join("window.txt"),
        state.path().join("window.txt"),
    )
    .unwrap();
    drop(window);
    let mut next = Window::with_state(1280.0, 800.0, state);
    next.harness.run_steps(2);
    assert!(next.shows("Watching "));
    next.click("Stop watching");
    assert!(!next.shows("Watching "));
    let kept = std::fs::read_to_string(next.folder.path().join("window.txt")).unwrap();
    assert!(!kept.contains("watched"));
}
