//! Opening: paths given, dropped or chosen, and the demo.

use std::path::{Path, PathBuf};
use std::sync::Arc;

use egui::Context;

use super::{App, Overlay, Pending};
use crate::document::{Edit, History, Scan, Session};
use crate::files::atomic;
use crate::files::folder::{ends_with, scans_and_sessions};
use crate::files::paths::{whole, with_paths};
use crate::files::session::read_session;
use crate::measure::raster::Raster;
use crate::window::command::Bench;
use crate::window::dialogs::{Ask, SCAN_ENDINGS};
use crate::window::shelf::Standing;

/// The demo travels with the program.
const DEMO: [(&str, &[u8]); 2] = [
    (
        "session.ron",
        include_bytes!("../../../testdata/demo/session.ron"),
    ),
    (
        "scan-1.tif",
        include_bytes!("../../../testdata/demo/scan-1.tif"),
    ),
];

impl App {
    /// Opens a session or scans; asks first what becomes of unsaved changes. Scans alone join
    /// the session that is open.
    pub fn open(&mut self, paths: Vec<PathBuf>) {
        if paths.is_empty() {
            return;
        }
        if self.bench == Bench::Scanner {
            self.take_to_scanner(&paths);
            return;
        }
        self.open_session(&paths);
    }

    fn open_session(&mut self, paths: &[PathBuf]) {
        let scans = scans_and_sessions(paths, &SCAN_ENDINGS);
        let joins = scans.iter().all(|path| ends_with(path, &SCAN_ENDINGS));
        if scans.is_empty() {
            self.said =
                "Nothing there that can be read: drop TIFF, PNG or JPEG scans, or a session file."
                    .into();
        } else if joins && !self.session().scans.is_empty() {
            match scans.as_slice() {
                // On the bench of printing day a scan is the print's.
                [print] if self.bench == Bench::Print => self.take_print(print),
                _ => self.add_scans(&scans),
            }
        } else {
            self.unless_unsaved(Pending::Open(scans));
        }
    }

    /// Takes in what was dropped on the window.
    pub(super) fn dropped(&mut self, ctx: &Context) {
        let dropped = ctx.input(|input| input.raw.dropped_files.clone());
        let paths: Vec<PathBuf> = dropped.iter().map(|file| file.path().to_owned()).collect();
        self.open(paths);
    }

    pub(super) fn open_now(&mut self, paths: &[PathBuf]) {
        let session = paths.iter().find(|path| ends_with(path, &["ron"]));
        if let Some(file) = session {
            let file = whole(Path::new(""), file);
            match read_session(&file) {
                Ok(session) => {
                    let folder = file.parent().unwrap_or(Path::new("")).to_owned();
                    let session = with_paths(&session, |path| whole(&folder, path));
                    self.begin(History::opened(session), Some(file.clone()));
                    self.remember_file(&file);
                }
                Err(error) => self.said = error.to_string(),
            }
            return;
        }
        let session = Session {
            scans: paths
                .iter()
                .map(|path| Scan::new(whole(Path::new(""), path)))
                .collect(),
            ..Session::default()
        };
        self.begin(History::fresh(session), None);
        self.keep_rescue();
    }

    fn add_scans(&mut self, paths: &[PathBuf]) {
        let here = |path: &PathBuf| self.session().scans.iter().any(|scan| scan.path == *path);
        let edits: Vec<Edit> = paths
            .iter()
            .map(|path| whole(Path::new(""), path))
            .filter(|path| !here(path))
            .map(|path| Edit::AddScan(Scan::new(path)))
            .collect();
        if edits.is_empty() {
            self.said = "That scan is in the session already.".into();
        } else {
            self.edit(&edits);
        }
    }

    /// Opens a copy of the demo; saving it asks where to.
    pub(super) fn open_demo(&mut self) {
        let folder = self
            .state
            .clone()
            .unwrap_or_else(std::env::temp_dir)
            .join("demo");
        let write = || -> Result<(), String> {
            atomic::make_folder(&folder).map_err(|error| error.to_string())?;
            for (name, content) in DEMO {
                atomic::write(&folder.join(name), content).map_err(|error| error.to_string())?;
            }
            Ok(())
        };
        let file = folder.join("session.ron");
        let read = write().and_then(|()| read_session(&file).map_err(|error| error.to_string()));
        match read {
            Ok(session) => {
                let session = with_paths(&session, |path| whole(&folder, path));
                self.begin(History::opened(session), None);
                if !self.remembered.tour_seen {
                    self.bench = Bench::Scans;
                    self.overlay = Overlay::Tour(0);
                }
            }
            Err(error) => self.said = error,
        }
    }

    /// A file dialog was answered.
    pub(super) fn answered(&mut self, ask: Ask, paths: Vec<PathBuf>) {
        let Some(first) = paths.first().cloned() else {
            // The person thought better of it.
            self.after_saving = None;
            return;
        };
        match ask {
            Ask::Open | Ask::Scans => self.open_session(&paths),
            Ask::Locate(scan) => self.locate(scan, &first),
            Ask::Empty => {
                let empty = Scan::new(whole(Path::new(""), &first));
                self.edit(&[Edit::SetEmpty(Some(empty))]);
            }
            Ask::Watch => self.watch(&whole(Path::new(""), &first)),
            Ask::Save => {
                self.save_to(&whole(Path::new(""), &first));
                // What waited for the file, such as closing, goes on once all is in it.
                let waiting = self.after_saving.take();
                if let Some(pending) = waiting.filter(|_| self.history.is_saved()) {
                    self.proceed(pending);
                }
            }
            Ask::Svg | Ask::Png | Ask::Csv => self.export(ask, &first),
            Ask::TakeIn => self.take_in_profiles(paths),
            Ask::HandOut => self.hand_out_profile(&first),
            Ask::Print => self.take_print(&first),
            Ask::WedgeScans => {
                let paths = paths.iter().map(|path| whole(Path::new(""), path));
                self.scanner.form.add_scans(paths);
            }
            Ask::WedgeList => self.scanner.form.take_list(whole(Path::new(""), &first)),
            Ask::Calibration => {
                let file = whole(Path::new(""), &first);
                self.scanner.work.open(file, &self.wake);
            }
            Ask::KeepCalibration => self.keep_calibration(&first),
            Ask::CalibrationPicture => self.draw_calibration(&first),
            Ask::Sheet => self.save_sheet(&first),
            Ask::Tones => self.save_tones(&first),
        }
    }

    /// The scan of the empty glass, if the session names one; `None` as long as it isn't to be had,
    /// with the reason said.
    pub(super) fn empty_glass(&mut self, session: &Session) -> Option<Option<Arc<Raster>>> {
        let Some(scan) = &session.empty else {
            return Some(None);
        };
        match self.shelf.standing(scan) {
            Standing::Ready => Some(Some(Arc::clone(&self.shelf.opened(scan)?.raster))),
            Standing::Reading(_) => None,
            Standing::Changed => {
                self.said =
                    "The empty scan is not the file that the session was made with: choose \
                             it anew at Exposures, or take it off there."
                        .into();
                None
            }
            Standing::Missing(why) => {
                self.said = format!(
                    "The empty scan can't be had: {why}. Choose it anew at Exposures, or take it \
                     off there."
                );
                None
            }
        }
    }

    /// A scan that was lost lies here.
    fn locate(&mut self, index: usize, path: &Path) {
        let Some(scan) = self.session().scans.get(index).cloned() else {
            return;
        };
        let with = Scan {
            path: whole(Path::new(""), path),
            ..scan
        };
        self.edit(&[Edit::LocateScan { scan: index, with }]);
    }
}
