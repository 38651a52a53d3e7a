//! File dialogs: asked for in one frame, answered in a later one.

use std::future::Future;
use std::path::PathBuf;
use std::pin::pin;
use std::sync::Arc;
use std::task::{Context, Poll, Waker};
use std::thread::{self, Thread};

use super::jobs::{Job, Wake};

/// What a dialog is for.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Ask {
    /// A session or scans to open.
    Open,
    /// Scans for this session.
    Scans,
    /// The file of a scan that isn't where it was; its number.
    Locate(usize),
    /// The folder that scanning software saves in.
    Watch,
    /// The scan of the empty glass.
    Empty,
    /// Where to save the session.
    Save,
    /// Where to write the drawing.
    Svg,
    /// Where to write the picture.
    Png,
    /// Where to write the table.
    Csv,
    /// A profile's file to take onto the shelf.
    TakeIn,
    /// Where to write a profile.
    HandOut,
    /// The scan of the paper print.
    Print,
    /// Scans of a wedge, for a calibration.
    WedgeScans,
    /// The list of a wedge's densities.
    WedgeList,
    /// A calibration's file to look at.
    Calibration,
    /// Where to write a calibration.
    KeepCalibration,
    /// Where to draw a calibration.
    CalibrationPicture,
    /// Where to write the bench sheet.
    Sheet,
    /// Where to write the print as it would look on the coating.
    Tones,
}

/// Endings of files that can be read as scans.
pub const SCAN_ENDINGS: [&str; 5] = ["tif", "tiff", "png", "jpg", "jpeg"];

/// Whoever asks the person for files; tests answer themselves.
pub trait Dialogs {
    /// Asks; the answer is empty when the person thought better of it.
    fn ask(&mut self, what: Ask, wake: &Wake) -> Job<Vec<PathBuf>>;
}

/// The system's own dialogs.
#[derive(Debug, Default)]
pub struct SystemDialogs;

impl Dialogs for SystemDialogs {
    fn ask(&mut self, what: Ask, wake: &Wake) -> Job<Vec<PathBuf>> {
        let dialog = rfd::AsyncFileDialog::new();
        let mut readable = SCAN_ENDINGS.to_vec();
        readable.push("ron");
        // Made here, since some systems want dialogs begun by the window's own thread.
        type Answer = std::pin::Pin<Box<dyn Future<Output = Vec<PathBuf>> + Send>>;
        let several = |dialog: rfd::AsyncFileDialog| -> Answer {
            let picked = dialog.pick_files();
            Box::pin(async move {
                let files = picked.await.unwrap_or_default();
                files.iter().map(|file| file.path().to_owned()).collect()
            })
        };
        let folder = |dialog: rfd::AsyncFileDialog| -> Answer {
            let picked = dialog.pick_folder();
            Box::pin(async move {
                let folder = picked.await;
                folder.iter().map(|file| file.path().to_owned()).collect()
            })
        };
        let to_write = |dialog: rfd::AsyncFileDialog| -> Answer {
            let picked = dialog.save_file();
            Box::pin(async move {
                let file = picked.await;
                file.iter().map(|file| file.path().to_owned()).collect()
            })
        };
        let future = match what {
            Ask::Open => several(dialog.add_filter("Sessions and scans", &readable)),
            Ask::Scans | Ask::Locate(_) | Ask::Empty | Ask::Print | Ask::WedgeScans => {
                several(dialog.add_filter("Scans", &SCAN_ENDINGS))
            }
            Ask::Watch => folder(dialog),
            Ask::Save => to_write(
                dialog
                    .set_file_name("session.ron")
                    .add_filter("Sessions", &["ron"]),
            ),
            Ask::Svg => to_write(dialog.set_file_name("curves.svg")),
            Ask::Png => to_write(dialog.set_file_name("curves.png")),
            Ask::Csv => to_write(dialog.set_file_name("readings.csv")),
            Ask::TakeIn => several(dialog.add_filter("Profiles", &["ron"])),
            Ask::HandOut => to_write(
                dialog
                    .set_file_name("profile.ron")
                    .add_filter("Profiles", &["ron"]),
            ),
            Ask::WedgeList => several(dialog),
            Ask::Calibration => several(dialog.add_filter("Calibrations", &["ron"])),
            Ask::KeepCalibration => to_write(
                dialog
                    .set_file_name("scanner.ron")
                    .add_filter("Calibrations", &["ron"]),
            ),
            Ask::CalibrationPicture => to_write(dialog.set_file_name("scanner.svg")),
            Ask::Sheet => to_write(
                dialog
                    .set_file_name("sheet.pdf")
                    .add_filter("Page or text", &["pdf", "txt"]),
            ),
            Ask::Tones => to_write(
                dialog
                    .set_file_name("tones.tif")
                    .add_filter("Pictures", &["tif", "png"]),
            ),
        };
        Job::start("file dialog", wake, move |_| Ok(wait_for(future)))
    }
}

struct Unpark(Thread);

impl std::task::Wake for Unpark {
    fn wake(self: Arc<Self>) {
        self.0.unpark();
    }
}

/// Waits for a future on this thread.
fn wait_for<T>(future: impl Future<Output = T>) -> T {
    let mut future = pin!(future);
    let waker = Waker::from(Arc::new(Unpark(thread::current())));
    let mut context = Context::from_waker(&waker);
    loop {
        match future.as_mut().poll(&mut context) {
            Poll::Ready(answer) => return answer,
            Poll::Pending => thread::park(),
        }
    }
}
