//! The session's file: saving, the rescue copy, what is remembered, exports.

use std::path::{Path, PathBuf};
use std::sync::Arc;

use super::{App, Overlay, Pending};
use crate::document::{History, Session};
use crate::files::keep;
use crate::files::output::{self, Kind, Replace, make_way, same};
use crate::files::paths::{seen_from, with_paths};
use crate::files::session::{Folder, from_text, to_text, write_session};
use crate::measure::analysis::Analysis;
use crate::window::command::Bench;
use crate::window::dialogs::Ask;
use crate::window::paper;
use crate::window::request::Scene;

impl App {
    /// Does something now, or asks first what becomes of unsaved changes.
    pub(super) fn unless_unsaved(&mut self, pending: Pending) {
        if self.history.is_saved() {
            self.proceed(pending);
        } else {
            self.overlay = Overlay::Unsaved(pending);
        }
    }

    pub(super) fn proceed(&mut self, pending: Pending) {
        match pending {
            Pending::New => self.begin(History::opened(Session::default()), None),
            Pending::Open(paths) => self.open_now(&paths),
            Pending::Demo => self.open_demo(),
            Pending::Quit => {
                self.may_close = true;
                self.rescue = None;
                self.ctx.send_viewport_cmd(egui::ViewportCommand::Close);
            }
        }
    }

    /// Puts another session on the bench.
    pub(super) fn begin(&mut self, history: History, file: Option<PathBuf>) {
        self.history = history;
        self.file = file;
        self.epoch += 1;
        self.shelf.clear();
        self.kept = Arc::default();
        self.analysis.clear();
        self.scans.clear();
        self.exposures.clear();
        self.curves.clear();
        self.eye.clear();
        self.print.clear();
        self.chosen = None;
        self.bench = Bench::Scans;
        self.said.clear();
        if let Some(rescue) = &self.rescue {
            rescue.discard();
        }
    }

    /// Saves into the session's file, or asks for one.
    pub(super) fn save(&mut self) {
        match self.file.clone() {
            Some(file) => self.save_to(&file),
            None if self.session().scans.is_empty() => {
                self.said = "There is nothing to save yet.".into()
            }
            None => self.ask(Ask::Save),
        }
    }

    pub(super) fn save_to(&mut self, file: &Path) {
        // Its own file is saved over as often as is wanted; any other is as dear as this one.
        let own = self.file.as_deref().is_some_and(|own| same(own, file));
        let way = if own {
            Ok(())
        } else {
            make_way(file, Replace::Said, &Kind::Other)
        };
        if let Err(error) = way {
            self.said = error.to_string();
            return;
        }
        let revision = self.history.revision();
        let folder = file.parent().unwrap_or(Path::new(""));
        let session = with_paths(&self.with_hashes(), |path| seen_from(folder, path));
        match write_session(file, &session) {
            Ok(()) => {
                self.history.mark_saved(revision);
                self.file = Some(file.to_owned());
                self.said = format!("{} saved", file.display());
                if let Some(rescue) = &self.rescue {
                    rescue.discard();
                }
                self.remember_file(file);
            }
            Err(error) => self.said = error.to_string(),
        }
    }

    /// The session with the fingerprints of its scans, so that a changed file is noticed.
    pub(super) fn with_hashes(&self) -> Session {
        let mut session = Session::clone(self.history.session());
        for scan in session.scans.iter_mut().chain(&mut session.empty) {
            if scan.hash.is_none() {
                scan.hash = self.shelf.opened(scan).map(|opened| opened.hash.clone());
            }
        }
        session
    }

    pub(super) fn remember_file(&mut self, file: &Path) {
        self.remembered.opened(file);
        self.remember();
    }

    pub(super) fn remember(&mut self) {
        if let Some(folder) = &self.state
            && let Err(error) = self.remembered.write(folder)
        {
            self.said = error.to_string();
        }
    }

    /// Keeps a copy of the session as it stands, against crashes and kills.
    pub(super) fn keep_rescue(&mut self) {
        let Some(rescue) = &self.rescue else {
            return;
        };
        if self.history.is_saved() || self.session().scans.is_empty() {
            rescue.discard();
            return;
        }
        let file = self
            .file
            .as_ref()
            .map_or(String::new(), |file| file.display().to_string());
        let kept = to_text(&self.with_hashes())
            .map_err(std::io::Error::other)
            .and_then(|text| {
                rescue.keep(&format!(
                    "// session: {}\n{text}",
                    file.replace(['\n', '\r'], " ")
                ))
            });
        if let Err(error) = kept {
            self.said = format!("No rescue copy could be kept: {error}");
        }
    }

    /// Takes a session back that a killed window left behind.
    pub(super) fn take_back(&mut self, index: usize) {
        let Some((copy, text)) = self.left_behind.get(index).cloned() else {
            return;
        };
        match from_text(&copy, &text, &Folder(Path::new(""))) {
            Ok(session) => {
                self.left_behind.remove(index);
                let file = text
                    .lines()
                    .next()
                    .and_then(|line| line.strip_prefix("// session: "));
                let file = file.filter(|file| !file.is_empty()).map(PathBuf::from);
                self.begin(History::fresh(session), file);
                self.keep_rescue();
                keep::forget(&copy);
                self.said =
                    "Taken back as it was before the window ended. Save it to keep it.".into();
            }
            Err(error) => self.said = error.to_string(),
        }
    }

    /// Writes one of the exports.
    pub(super) fn export(&mut self, what: Ask, file: &Path) {
        let session = Arc::clone(self.history.session());
        let Some(analysis) = self.analysis.shown().cloned() else {
            self.said = "There is nothing measured yet.".into();
            return;
        };
        let content = match what {
            Ask::Csv => Ok(readings(&session, &analysis).into_bytes()),
            _ => self.drawn(what, &session, &analysis),
        };
        let written = content.and_then(|content| {
            output::write(file, &content, Replace::Said).map_err(|error| error.to_string())
        });
        self.said = match written {
            Ok(()) => format!("{} written", file.display()),
            Err(error) => error,
        };
    }

    fn drawn(&self, what: Ask, session: &Session, analysis: &Analysis) -> Result<Vec<u8>, String> {
        let theme = crate::window::theme::Theme::of(crate::window::theme::Light::Day);
        let scene = Scene {
            session,
            analysis: Some(analysis),
            stale: false,
            theme: &theme,
            chosen: None,
            spot: None,
            room: crate::window::layout::Room::Wide,
            out: (true, true),
        };
        let pair = self.curves.shown(&scene).ok_or("there are no curves yet")?;
        let slide = crate::window::curves::plots::Slide {
            stops: self.curves.slide,
        };
        let sheet = paper::Sheet::draw([960.0, 640.0], 2.0, |painter, place| {
            painter.rect_filled(place, 0.0, theme.raised);
            crate::window::curves::plots::paint_curves(painter, place, &scene, pair, slide);
        });
        match what {
            Ask::Svg => Ok(sheet.svg().into_bytes()),
            _ => sheet.png(),
        }
    }
}

/// Every step as a line of a table: comma-separated, a point in numbers, names in quotes.
fn readings(session: &Session, analysis: &Analysis) -> String {
    let mut text = String::from(
        "strip,role,step,log_exposure,density,standard_error,scanner_density,rejected_share,clipped_share,left_out\r\n",
    );
    for (index, strip) in analysis.strips.iter().enumerate() {
        let role = match strip.role {
            Some(crate::measure::strip::Role::Reference) => "reference",
            Some(crate::measure::strip::Role::Coupon) => "coupon",
            None => "",
        };
        let excluded = session
            .strips
            .get(index)
            .map_or(&[][..], |strip| &strip.excluded);
        for step in &strip.steps {
            let out = step
                .step
                .checked_sub(1)
                .is_some_and(|step| excluded.contains(&step));
            let exposure = step.log_exposure.filter(|x| x.is_finite());
            text.push_str(&format!(
                "\"{}\",{role},{},{},{},{},{},{},{},{}\r\n",
                strip.name.replace('"', "\"\""),
                step.step,
                exposure.map_or(String::new(), |x| x.to_string()),
                step.density,
                step.standard_error,
                step.scanner_density,
                step.rejected,
                step.clipped,
                u8::from(out)
            ));
        }
    }
    text
}
