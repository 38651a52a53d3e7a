//! The watched folder: scans that come into it are taken in.

use std::path::{Path, PathBuf};

use super::App;
use crate::files::inbox::Inbox;
use crate::measure::watch::Cancelled;
use crate::window::dialogs::SCAN_ENDINGS;
use crate::window::jobs::{Job, Outcome, Wake};

/// A folder that is being watched.
pub(super) struct Watched {
    /// The folder.
    pub(super) folder: PathBuf,
    job: Job<(Inbox, Vec<PathBuf>)>,
}

impl Watched {
    fn begin(folder: &Path, wake: &Wake) -> Self {
        let at = folder.to_owned();
        let job = Job::start("watch folder", wake, move |watch| {
            Inbox::of(&at, &SCAN_ENDINGS).wait(watch)
        });
        Self {
            folder: folder.to_owned(),
            job,
        }
    }

    fn go_on(&mut self, inbox: Inbox, wake: &Wake) {
        let wait = move |watch: &dyn crate::measure::watch::Watch| -> Result<_, Cancelled> {
            inbox.wait(watch)
        };
        self.job = Job::start("watch folder", wake, wait);
    }
}

impl App {
    /// Begins to take in the new scans of a folder.
    pub(super) fn watch(&mut self, folder: &Path) {
        self.inbox = Some(Watched::begin(folder, &self.wake));
        self.remembered.watched = Some(folder.to_owned());
        self.remember();
        self.said = format!("New scans in {} will be taken in.", folder.display());
    }

    /// Watches the folder again that was watched when the window was closed.
    pub(super) fn watch_as_before(&mut self) {
        let folder = self.remembered.watched.clone();
        self.inbox = folder.map(|folder| Watched::begin(&folder, &self.wake));
    }

    /// Takes in no more.
    pub(super) fn stop_watching(&mut self) {
        if let Some(watched) = self.inbox.take() {
            self.said = format!("{} is not watched any more.", watched.folder.display());
        }
        self.remembered.watched = None;
        self.remember();
    }

    /// Opens what came in.
    pub(super) fn take_in(&mut self) {
        let Some(watched) = &mut self.inbox else {
            return;
        };
        match watched.job.poll() {
            Outcome::Working => {}
            Outcome::Done((inbox, came)) => {
                watched.go_on(inbox, &self.wake);
                let names: Vec<String> = came
                    .iter()
                    .filter_map(|path| Some(path.file_name()?.to_string_lossy().into_owned()))
                    .collect();
                // A scan of the session that was saved anew is read anew; whether it is still
                // the same is noticed as ever.
                let (again, new): (Vec<PathBuf>, Vec<PathBuf>) = came
                    .into_iter()
                    .partition(|path| self.session().scans.iter().any(|scan| scan.path == *path));
                for path in &again {
                    self.shelf.again(path);
                    self.epoch += 1;
                }
                self.open(new);
                if self.said.is_empty() {
                    self.said = format!("{} came in.", names.join(", "));
                }
            }
            Outcome::Cancelled => self.inbox = None,
            Outcome::Crashed => {
                self.inbox = None;
                self.said = "Watching the folder broke down; choose it again.".into();
            }
        }
    }
}
