//! The bench of the scanner: calibrations made, kept, looked at and used.

use std::path::{Path, PathBuf};
use std::process::Command;

use egui_kittest::kittest::Queryable as _;
use twinstrip::files::calibration::read_calibration;
use twinstrip::files::scan::{
    Container, Mark, Packing, Picture, ScanOptions, WriteOptions, read_scan, write_scan,
};
use twinstrip::measure::finding::Kind;
use twinstrip::measure::raster::Samples;
use twinstrip::measure::watch::Unwatched;

use crate::printing::scroll_and_click;
use crate::support::{Window, demo};

const DENSITIES: &str = "Densities of the calibration's wedge";
/// The list of the demo's wedge, as its session has it.
const LIST: &str =
    "0.06 0.22 0.34 0.48 0.61 0.78 0.91 1.05 1.17 1.32 1.47 1.59 1.76 1.88 2.02 2.17";

/// Writes the densities and leaves their field.
pub fn list(window: &mut Window, text: &str) {
    window.harness.get_by_label(DENSITIES).focus();
    window.harness.run_steps(1);
    window
        .harness
        .key_press_modifiers(egui::Modifiers::COMMAND, egui::Key::A);
    window.harness.run_steps(1);
    window.harness.get_by_label(DENSITIES).type_text(text);
    window.harness.run_steps(1);
    window.harness.get_by_label("Name of the scanner").focus();
    window.harness.run_steps(2);
}

/// The bench with the demo's scan dropped on it and its wedge's densities written.
pub fn made(window: &mut Window) {
    window.click("Scanner");
    window.drop_files(&[demo().join("scan-1.tif")]);
    window.click("How the code values are encoded");
    window.click("sRGB");
    list(window, LIST);
    window.write("Name of the scanner", "flatbed in the shed");
    window.write("Settings of the scanner", "300 dpi, nothing automatic");
    window.until_shown("Good from");
}

/// The file that the command line writes of the same.
fn by_command_line(folder: &Path, scans: &[PathBuf], wedge: &str) -> String {
    let file = folder.join("command-line.ron");
    let mut command = Command::new(env!("CARGO_BIN_EXE_twinstrip"));
    command.arg("calibrate").arg(&file);
    for scan in scans {
        command.arg("--scan").arg(scan);
    }
    command.args(["--wedge", wedge, "--encoding", "srgb", "--quiet"]);
    command.args(["--scanner", "flatbed in the shed"]);
    command.args(["--settings", "300 dpi, nothing automatic"]);
    command.args(["--date", "2026-11-25"]);
    let ran = command.output().unwrap();
    assert!(
        ran.status.success(),
        "{}",
        String::from_utf8_lossy(&ran.stderr)
    );
    std::fs::read_to_string(file).unwrap()
}

/// Saves what is on show, and says what the file holds.
fn saved(window: &mut Window, name: &str) -> String {
    let file = window.folder.path().join(name);
    window.answers.0.lock().unwrap().push(file.clone());
    scroll_and_click(window, "Save the calibration…");
    let ends = format!("{name} written");
    window.until("the file", |app| app.said().ends_with(&ends));
    std::fs::read_to_string(file).unwrap()
}

/// The demo's scan as it would be on another day, a little darker.
fn another_day(folder: &Path, factor: f64) -> PathBuf {
    let raster = read_scan(
        &demo().join("scan-1.tif"),
        &ScanOptions::default(),
        &Unwatched,
    )
    .unwrap();
    let samples = match &raster.samples {
        Samples::Sixteen(codes) => Samples::Sixteen(
            codes
                .iter()
                .map(|&code| (f64::from(code) * factor) as u16)
                .collect(),
        ),
        Samples::Eight(codes) => Samples::Eight(
            codes
                .iter()
                .map(|&code| (f64::from(code) * factor) as u8)
                .collect(),
        ),
        Samples::Float(_) => panic!("the demo is no floating-point scan"),
    };
    let file = folder.join("another-day.tif");
    let picture = Picture {
        width: raster.width,
        height: raster.height,
        channels: raster.channels,
        samples: &samples,
    };
    let options = WriteOptions {
        container: Container::tiff(Packing::Plain),
        pixels_per_mm: raster.pixels_per_mm,
        mark: Mark::None,
    };
    write_scan(&file, &picture, &options).unwrap();
    file
}

#[test]
fn a_calibration_made_at_the_bench_is_the_command_lines_and_nothing_is_replaced_unasked() {
    let mut window = Window::of_size(1280.0, 900.0);
    window.click("Scanner");
    assert!(window.shows("No calibration yet"));
    assert!(window.shows("Drop one or several scans of a wedge"));
    made(&mut window);
    assert!(window.shows("Each field foretold from the others to"));
    assert!(window.shows("Not known: it takes two scans of the same wedge."));
    window
        .harness
        .get_by_label_contains("Curve of luminance through 16 fields");
    let folder = window.folder.path().to_owned();
    let scan = demo().join("scan-1.tif");
    let first = saved(&mut window, "flatbed.ron");
    assert_eq!(first, by_command_line(&folder, &[scan], LIST));
    // The same name again is asked about; what was there stays beside it.
    window.write("Settings of the scanner", "300 dpi, sharpening off");
    let file = folder.join("flatbed.ron");
    window.answers.0.lock().unwrap().push(file.clone());
    scroll_and_click(&mut window, "Save the calibration…");
    window.until_shown("flatbed.ron is there already");
    assert_eq!(std::fs::read_to_string(&file).unwrap(), first);
    window.click("Leave it");
    window.answers.0.lock().unwrap().push(file.clone());
    scroll_and_click(&mut window, "Save the calibration…");
    window.until_shown("flatbed.ron is there already");
    window.click("Replace it");
    window.until("the file", |app| {
        app.said().ends_with("flatbed.ron written")
    });
    let (second, _) = read_calibration(&file).unwrap();
    assert_eq!(second.settings, "300 dpi, sharpening off");
    let before = std::fs::read_to_string(folder.join("flatbed.ron.before")).unwrap();
    assert_eq!(before, first);
}

#[test]
fn several_scans_and_a_list_from_a_file_tell_the_repeat_error() {
    let mut window = Window::of_size(1280.0, 900.0);
    made(&mut window);
    let folder = window.folder.path().to_owned();
    let list = folder.join("wedge.txt");
    std::fs::write(&list, LIST).unwrap();
    let other = another_day(&folder, 0.98);
    window.drop_files(&[other.clone(), list.clone()]);
    window.until_shown("degrees of freedom altogether");
    assert!(window.shows("From wedge.txt"));
    assert!(window.shows("measured and assumed"));
    let scans = [demo().join("scan-1.tif"), other];
    let text = saved(&mut window, "two.ron");
    assert_eq!(
        text,
        by_command_line(&folder, &scans, &list.display().to_string())
    );
    window.click("Take another-day.tif out");
    window.until_shown("Not known: it takes two scans of the same wedge.");
}

#[test]
fn a_session_is_read_by_a_calibration_taken_off_it_again_and_told_of_drift() {
    let mut window = Window::of_size(1280.0, 900.0);
    window.with_demo();
    window.click("Scanner");
    window.click("This session's scans");
    window.click("This session's wedge");
    window.write("Name of the scanner", "flatbed in the shed");
    window.until_shown("Good from");
    saved(&mut window, "flatbed.ron");
    scroll_and_click(&mut window, "Use for this session");
    window.until_measured();
    let found = |window: &Window| {
        let analysis = window.harness.state().analysis().unwrap();
        let mut findings = analysis.findings.iter();
        findings.any(|finding| finding.kind == Kind::CalibrationDrift)
    };
    assert!(found(&window));
    window.until_shown("The calibration still holds");
    assert!(window.shows("In use for this session"));
    window.click("Undo use calibration");
    window.until_measured();
    assert!(!found(&window));
    window.click("Redo use calibration");
    window.until_measured();
    // The session keeps the file by its way from there, and is opened with it again.
    let folder = window.folder.path().join("kept");
    std::fs::create_dir_all(&folder).unwrap();
    let session = folder.join("session.ron");
    window.answers.0.lock().unwrap().push(session.clone());
    window.harness.key_press_modifiers(
        egui::Modifiers::COMMAND | egui::Modifiers::SHIFT,
        egui::Key::S,
    );
    window.until("the session to be saved", |app| {
        app.said().contains("saved")
    });
    let text = std::fs::read_to_string(&session).unwrap();
    assert!(text.contains("file: \"../flatbed.ron\""), "{text}");
    // Another calibration in that file: the session keeps its own.
    window.write("Settings of the scanner", "another lamp");
    let file = window.folder.path().join("flatbed.ron");
    window.answers.0.lock().unwrap().push(file);
    scroll_and_click(&mut window, "Save the calibration…");
    window.until_shown("is there already");
    window.click("Replace it");
    window.until("the word of it", |app| {
        app.said()
            .contains("goes on being read by what stood there")
    });
    let used = window
        .harness
        .state()
        .session()
        .calibration
        .clone()
        .unwrap();
    assert_eq!((used.file, used.calibration.settings.as_str()), (None, ""));
    scroll_and_click(&mut window, "Take it off");
    window.until_measured();
    assert!(window.harness.state().session().calibration.is_none());
    assert!(!found(&window));
}

#[test]
fn what_cannot_be_a_calibration_is_said_with_its_remedy_and_cannot_be_saved() {
    let mut window = Window::of_size(1280.0, 900.0);
    window.click("Scanner");
    window.drop_files(&[demo().join("scan-1.tif")]);
    assert!(window.shows("Write the densities of the wedge's fields"));
    list(&mut window, "0.05 0,20 0.35");
    assert!(window.shows("Not understood: the densities:1:7: a comma between digits"));
    list(&mut window, "0.06 0.22 0.34 0.48");
    window.until_shown("Not to be used");
    assert!(window.shows("one density a field"));
    assert!(
        window
            .harness
            .query_by_label("Save the calibration…")
            .is_none()
    );
    let missing = window.folder.path().join("none.tif");
    window.drop_files(&[missing]);
    window.until_shown("A scan can't be read");
    assert!(window.shows("there is no such file"));
    window.click("Take none.tif out");
    window.until_shown("Not to be used");
}

#[test]
fn a_kept_calibration_is_looked_at_and_put_away() {
    let mut window = Window::of_size(1280.0, 900.0);
    let folder = window.folder.path().to_owned();
    by_command_line(&folder, &[demo().join("scan-1.tif")], LIST);
    window.click("Scanner");
    window
        .answers
        .0
        .lock()
        .unwrap()
        .push(folder.join("command-line.ron"));
    window.click("Open a calibration…");
    window.until_shown("Calibration of flatbed in the shed, made 2026-11-25");
    assert!(window.shows("From command-line.ron"));
    let drawing = folder.join("curve.svg");
    window.answers.0.lock().unwrap().push(drawing.clone());
    scroll_and_click(&mut window, "Picture of the curve (SVG)…");
    window.until("the drawing", |app| {
        app.said().ends_with("curve.svg written")
    });
    assert!(
        std::fs::read_to_string(drawing)
            .unwrap()
            .starts_with("<svg")
    );
    window.click("Put it away");
    assert!(window.shows("No calibration yet"));
    let broken = folder.join("broken.ron");
    std::fs::write(&broken, "Calibration(version: 1,\nscanner: 7)").unwrap();
    window.drop_files(&[broken]);
    window.until("the reason", |app| app.said().contains("broken.ron:2:"));
}
