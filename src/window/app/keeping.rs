//! Profiles: carrying out what was asked of the shelf, in the background.

use std::path::{Path, PathBuf};

use super::App;
use crate::document::profile::{Evidence, Origin, ScanMark};
use crate::files::atomic;
use crate::files::clock::day_of_session;
use crate::files::session::to_text;
use crate::files::text::text_hash;
use crate::window::command::Bench;
use crate::window::dialogs::Ask;
use crate::window::profiles::keeper::Deed;
use crate::window::profiles::{ProfileAsk, deed, keeping};

/// Who measured.
const PROGRAM: &str = concat!("twinstrip ", env!("CARGO_PKG_VERSION"));

/// The demo shelf travels with the program.
const DEMO: [(&str, &str); 3] = [
    (
        "slate-one-coat-invented-data.ron",
        include_str!("../../../testdata/demo-shelf/slate-one-coat-invented-data.ron"),
    ),
    (
        "slate-two-coats-invented-data.ron",
        include_str!("../../../testdata/demo-shelf/slate-two-coats-invented-data.ron"),
    ),
    (
        "slate-three-coats-invented-data.ron",
        include_str!("../../../testdata/demo-shelf/slate-three-coats-invented-data.ron"),
    ),
];

impl App {
    /// The same window with another shelf of profiles.
    #[must_use]
    pub fn with_shelf(mut self, folder: PathBuf) -> Self {
        self.keeper = crate::window::profiles::keeper::Keeper::of(Some(folder));
        self
    }

    /// Looks after work on the shelf.
    pub(super) fn tend_profiles(&mut self) {
        let looking = self.bench == Bench::Profiles;
        self.keeper.want(self.profiles.wanted());
        if let Some(news) = self.keeper.tend(&self.wake, looking) {
            self.said = news.said.trim().to_owned();
            if let Some(file) = news.file {
                self.profiles.chosen = Some(file);
            }
        }
    }

    /// Carries out one request about profiles.
    pub(super) fn profile(&mut self, ask: ProfileAsk) {
        match ask {
            ProfileAsk::Keep(pair, file) => self.keep_pair(pair, file),
            ProfileAsk::Import => self.ask(Ask::TakeIn),
            ProfileAsk::Export(file) => {
                self.to_hand_out = Some(file);
                self.ask(Ask::HandOut);
            }
            ProfileAsk::LookAtDemo => self.look_at_demo(),
            ProfileAsk::LookAtOwn => {
                self.keeper.look_at(None);
                self.profiles.clear();
            }
            ProfileAsk::LookAgain => self.keeper.look_again(),
            put @ ProfileAsk::Put(..) => {
                if let Some(deed) = deed(put) {
                    self.keeper.ask(deed);
                }
            }
        }
    }

    /// Keeps a pair of the session as it stands.
    fn keep_pair(&mut self, pair: usize, file: Option<String>) {
        let Some(analysis) = self.analysis().cloned() else {
            self.said = "The answer is being worked out anew; keep it then.".into();
            return;
        };
        // The scans as they were measured, whatever the session expected of them.
        let mut session = self.with_hashes();
        for scan in &mut session.scans {
            scan.hash = self.shelf.opened(scan).map(|opened| opened.hash.clone());
        }
        let text = match to_text(&session) {
            Ok(text) => text,
            Err(error) => {
                self.said = error;
                return;
            }
        };
        let scans = session.scans.iter().map(|scan| ScanMark {
            path: scan
                .path
                .file_name()
                .unwrap_or_default()
                .to_string_lossy()
                .into_owned(),
            hash: scan.hash.clone().unwrap_or_default(),
        });
        let name = self.file.as_deref().and_then(Path::file_name);
        let origin = Origin {
            session: name.unwrap_or_default().to_string_lossy().into_owned(),
            hash: text_hash(&text),
            scans: scans.collect(),
            date: day_of_session(session.scans.iter().map(|scan| scan.path.as_path())),
            program: PROGRAM.to_owned(),
            ..Origin::default()
        };
        match Evidence::of(&session, &analysis, pair, origin) {
            Ok(evidence) => {
                self.keeper.ask(keeping(file, evidence));
                self.said = "Keeping…".into();
            }
            Err(error) => self.said = format!("That can't be kept: {error}."),
        }
    }

    /// Files were chosen to be taken onto the shelf.
    pub(super) fn take_in_profiles(&mut self, paths: Vec<PathBuf>) {
        for path in paths {
            self.keeper.ask(Deed::Import(path));
        }
    }

    /// A place was chosen for a profile's file.
    pub(super) fn hand_out_profile(&mut self, path: &Path) {
        if let Some(file) = self.to_hand_out.take() {
            self.keeper.ask(Deed::Export(file, path.to_owned()));
        }
    }

    /// Looks at a copy of the demo shelf, where one may try things.
    fn look_at_demo(&mut self) {
        let folder = self
            .state
            .clone()
            .unwrap_or_else(std::env::temp_dir)
            .join("demo shelf");
        let write = || {
            atomic::make_folder(&folder)?;
            for (name, content) in DEMO {
                let path = folder.join(name);
                if !path.exists() {
                    atomic::write(&path, content.as_bytes())?;
                }
            }
            Ok::<(), atomic::WriteRefused>(())
        };
        match write() {
            Ok(()) => {
                self.keeper.look_at(Some(folder));
                self.profiles.clear();
                self.said.clear();
            }
            Err(error) => self.said = error.to_string(),
        }
    }
}
