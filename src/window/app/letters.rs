//! Letters that the program's typefaces lack: looked for among those of the system.

use std::collections::BTreeSet;

use super::App;
use crate::document::Session;
use crate::files::fonts::{SystemFace, lacking, of_system};
use crate::files::sheet::lacking_said;
use crate::window::jobs::{Job, Outcome};
use crate::window::theme;

/// What was found so far.
#[derive(Default)]
pub(super) struct Letters {
    /// Letters that were looked for.
    asked: BTreeSet<char>,
    faces: Vec<SystemFace>,
    looking: Option<Job<(Vec<SystemFace>, BTreeSet<char>)>>,
    /// The session's names when they were last looked at.
    seen: String,
}

impl App {
    /// Sees to it that the names of the session can be shown, or says which letters can't be.
    pub(super) fn tend_letters(&mut self) {
        let names = names(self.session());
        if self.letters.looking.is_none() && self.letters.seen != names {
            let unknown: BTreeSet<char> = lacking(&names)
                .difference(&self.letters.asked)
                .copied()
                .collect();
            self.letters.seen = names;
            if !unknown.is_empty() {
                self.letters.asked.extend(&unknown);
                let look = move |_: &dyn crate::measure::watch::Watch| Ok(of_system(&unknown));
                self.letters.looking = Some(Job::start("typefaces", &self.wake, look));
            }
        }
        let Some(job) = &self.letters.looking else {
            return;
        };
        match job.poll() {
            Outcome::Working => return,
            Outcome::Done((faces, without)) => {
                if !faces.is_empty() {
                    self.letters.faces.extend(faces);
                    theme::install_fonts_with(&self.ctx, &self.letters.faces);
                }
                if let Some(said) = lacking_said(&without) {
                    self.said = said;
                }
            }
            Outcome::Cancelled | Outcome::Crashed => {}
        }
        self.letters.looking = None;
    }
}

/// Every text of the session that is shown.
fn names(session: &Session) -> String {
    let mut text = session.notes.clone();
    for strip in &session.strips {
        text.push_str(&strip.name);
    }
    for scan in &session.scans {
        text.push_str(&scan.path.to_string_lossy());
    }
    if let Some(printing) = &session.printing {
        text.push_str(&printing.picture);
        text.push_str(&printing.piece.name);
    }
    text
}
