//! The bench of the scanner: carrying out what was asked of calibrations.

use std::path::{Path, PathBuf};
use std::sync::Arc;

use super::App;
use crate::document::report::calibration_picture;
use crate::document::{Edit, UsedCalibration};
use crate::files::folder::ends_with;
use crate::files::output::{self, Kind, OutputRefused, Replace};
use crate::files::paths::whole;
use crate::window::command::Bench;
use crate::window::dialogs::{Ask, SCAN_ENDINGS};
use crate::window::scanner::ScannerAsk;
use crate::window::scanner::work::{Kept, News};

impl App {
    /// Looks after calibrations being made, read and written.
    pub(super) fn tend_scanner(&mut self) {
        let question = self.scanner.form.question();
        match self.scanner.work.tend(question, &self.wake) {
            None => {}
            Some(News::Opened) => self.said.clear(),
            Some(News::Failed(why)) => self.said = why,
            Some(News::Written(kept)) => self.calibration_written(&kept),
        }
    }

    /// A session names its calibration's file by its content: one that is measured by what stood
    /// there before keeps that in itself, or it could not be opened any more.
    fn calibration_written(&mut self, kept: &Kept) {
        self.said = format!("{} written", kept.file.display());
        let used = self.session().calibration.clone();
        let Some(used) = used.filter(|used| used.file.as_ref() == Some(&kept.file)) else {
            return;
        };
        if *used.calibration != *kept.known.calibration {
            self.edit(&[Edit::SetCalibration(Some(UsedCalibration {
                file: None,
                hash: None,
                ..used
            }))]);
            self.said = format!(
                "{} written. This session goes on being read by what stood there before; choose “Use for this session” to change that.",
                kept.file.display()
            );
        }
    }

    /// Carries out one request of the bench.
    pub(super) fn scanner(&mut self, ask: ScannerAsk) {
        match ask {
            ScannerAsk::ChooseScans => self.ask(Ask::WedgeScans),
            ScannerAsk::ChooseList => self.ask(Ask::WedgeList),
            ScannerAsk::Open => {
                self.scanner.to_replace = None;
                self.ask(Ask::Calibration);
            }
            ScannerAsk::Close => self.scanner.work.opened = None,
            ScannerAsk::Save => self.ask(Ask::KeepCalibration),
            ScannerAsk::Draw => self.ask(Ask::CalibrationPicture),
            ScannerAsk::Leave => self.scanner.to_replace = None,
            ScannerAsk::Replace => {
                if let Some(file) = self.scanner.to_replace.take() {
                    self.write_calibration(file);
                }
            }
            ScannerAsk::Use => self.use_calibration(),
            ScannerAsk::TakeOff => self.edit(&[Edit::SetCalibration(None)]),
        }
    }

    fn use_calibration(&mut self) {
        let Some(known) = self.scanner.on_show(self.today()) else {
            return;
        };
        let kept = self.scanner.file_of(&known);
        let used = UsedCalibration {
            calibration: Arc::clone(&known.calibration),
            file: kept.map(|kept| kept.file.clone()),
            hash: kept.map(|kept| kept.hash.clone()),
        };
        self.edit(&[Edit::SetCalibration(Some(used))]);
    }

    /// A place was chosen for a calibration; what is there is not replaced before that is asked.
    pub(super) fn keep_calibration(&mut self, file: &Path) {
        let file = whole(Path::new(""), file);
        match output::check(&file, Replace::Said, &Kind::Calibration) {
            // One that was opened here may be made anew: what stood there is kept beside it.
            Err(OutputRefused::Input { .. }) if output::kind_of(&file) == Kind::Calibration => {}
            Err(error) => {
                self.said = error.to_string();
                return;
            }
            Ok(()) => {}
        }
        if file.exists() {
            self.scanner.to_replace = Some(file);
        } else {
            self.write_calibration(file);
        }
    }

    fn write_calibration(&mut self, file: PathBuf) {
        if let Some(known) = self.scanner.on_show(self.today()) {
            self.said = "Writing…".into();
            self.scanner.work.write(file, known, &self.wake);
        }
    }

    /// Writes the drawing of the calibration on show.
    pub(super) fn draw_calibration(&mut self, file: &Path) {
        let Some(known) = self.scanner.on_show(self.today()) else {
            return;
        };
        let drawn = calibration_picture(&known.calibration).map_err(|gap| gap.to_string());
        let written = drawn.and_then(|drawing| {
            output::write(file, drawing.as_bytes(), Replace::Said)
                .map_err(|error| error.to_string())
        });
        self.said = match written {
            Ok(()) => format!("{} written", file.display()),
            Err(why) => why,
        };
    }

    /// What was chosen or dropped for this bench: scans of a wedge, its list, or a calibration.
    pub(super) fn take_to_scanner(&mut self, paths: &[PathBuf]) {
        debug_assert_eq!(self.bench, Bench::Scanner, "nothing else takes wedges");
        self.said.clear();
        let mut scans = Vec::new();
        for path in paths {
            let path = whole(Path::new(""), path);
            if ends_with(&path, &SCAN_ENDINGS) {
                scans.push(path);
            } else if ends_with(&path, &["ron"]) {
                self.scanner.work.open(path, &self.wake);
            } else {
                self.scanner.form.take_list(path);
            }
        }
        if !scans.is_empty() {
            // What is being made comes into sight again.
            self.scanner.work.opened = None;
        }
        self.scanner.form.add_scans(scans);
    }
}
