//! The desktop window: a view of the same session and the same analysis as the command line's.

pub mod app;
pub mod command;
mod curves;
pub mod dialogs;
mod exposure_bench;
mod eye_bench;
mod icon;
pub mod jobs;
mod layout;
pub mod paper;
mod print_bench;
mod profiles;
pub mod request;
mod scan;
mod scanner;
mod shelf;
mod shell;
pub mod theme;

use std::ffi::OsString;
use std::path::PathBuf;
use std::process::ExitCode;

pub use app::App;
pub use scan::pyramid::Pyramid;

use dialogs::SystemDialogs;

/// Exit code when the window can't be opened (docs/command-line.md).
const NO_WINDOW: u8 = 6;

/// Files that the arguments ask to be opened in the window; `None` when they ask for something
/// else. Without arguments the window opens empty.
pub fn asked_for(arguments: impl Iterator<Item = OsString>) -> Option<Vec<PathBuf>> {
    let paths: Vec<PathBuf> = arguments.skip(1).map(PathBuf::from).collect();
    let is_file = |path: &PathBuf| {
        let has_ending = path.extension().is_some() || path.is_dir();
        has_ending && path.exists()
    };
    paths.iter().all(is_file).then_some(paths)
}

/// Opens the window and stays until it is closed.
pub fn run(paths: Vec<PathBuf>) -> ExitCode {
    let viewport = egui::ViewportBuilder::default()
        .with_title("twinstrip")
        .with_app_id("twinstrip")
        .with_inner_size([1280.0, 800.0])
        .with_min_inner_size([560.0, 320.0])
        .with_drag_and_drop(true);
    let options = eframe::NativeOptions {
        viewport,
        renderer: eframe::Renderer::Glow,
        ..eframe::NativeOptions::default()
    };
    let result = eframe::run_native(
        "twinstrip",
        options,
        Box::new(|context| {
            theme::install_fonts(&context.egui_ctx);
            let state = crate::files::keep::folder();
            let mut app = App::new(&context.egui_ctx, Box::<SystemDialogs>::default(), state);
            app.open(paths);
            Ok(Box::new(app))
        }),
    );
    match result {
        Ok(()) => ExitCode::SUCCESS,
        Err(error) => {
            use std::io::Write as _;
            // The library's own words name places on the machine that it was built on.
            let why = match error {
                eframe::Error::AppCreation(_) => "it could not be set up",
                eframe::Error::Winit(_) | eframe::Error::WinitEventLoop(_) => {
                    "no display can be reached"
                }
                _ => "the display can't draw with OpenGL",
            };
            writeln!(
                std::io::stderr(),
                "twinstrip: the window can't be opened: {why}; `twinstrip --help` tells what works \
                 without it"
            )
            .ok();
            ExitCode::from(NO_WINDOW)
        }
    }
}

/// Words on a plate above a field, over any tone.
fn scan_label(painter: &egui::Painter, field: egui::Rect, words: &str, theme: &theme::Theme) {
    scan::label(painter, field, words, theme);
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn only_files_that_are_there_open_the_window() {
        let asked = |words: &[&str]| asked_for(words.iter().map(OsString::from));
        assert_eq!(asked(&["twinstrip"]), Some(vec![]));
        assert_eq!(asked(&["twinstrip", "solve"]), None);
        assert_eq!(asked(&["twinstrip", "--help"]), None);
        let demo = "testdata/demo/session.ron";
        assert_eq!(asked(&["twinstrip", demo]), Some(vec![demo.into()]));
        assert_eq!(asked(&["twinstrip", "no such file.tif"]), None);
    }
}
