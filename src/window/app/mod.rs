//! The window's state, and the round of every frame: poll, draw, carry out what was asked.

mod carry;
mod document;
mod keeping;
mod letters;
mod opening;
mod printing;
mod scanner;
mod watching;

use std::path::{Path, PathBuf};
use std::sync::{Arc, Mutex, PoisonError};

use egui::{Context, Ui};

use super::command::{Bench, Command};
use super::curves::CurvesBench;
use super::dialogs::{Ask, Dialogs};
use super::exposure_bench::ExposureBench;
use super::eye_bench::EyeBench;
use super::jobs::{Job, Latest, Outcome, Wake};
use super::layout::{Columns, Room};
use super::print_bench::PrintBench;
use super::profiles::ProfilesBench;
use super::profiles::keeper::Keeper;
use super::request::{Chosen, Request, Scene, Spot};
use super::scan::ScanBench;
use super::scanner::ScannerBench;
use super::shelf::{Shelf, Standing};
use super::shell::overlay::{self, Said};
use super::shell::{answer, bar, mark_typing, status, welcome};
use super::theme::{Light, Theme};
use crate::document::day::Day;
use crate::document::{History, Revision, Session};
use crate::files::clock;
use crate::files::keep::{self, Remembered, Rescue};
use crate::files::sheet::PaperSize;
use crate::measure::analysis::{Analysis, Kept, analyse_again};
use crate::measure::watch::{Cancelled, Watch};
use watching::Watched;

/// Something that has to wait until unsaved work is dealt with.
#[derive(Debug, Clone, PartialEq)]
enum Pending {
    New,
    Open(Vec<PathBuf>),
    Demo,
    Quit,
}

/// What lies over the benches.
#[derive(Debug, Clone, PartialEq)]
enum Overlay {
    None,
    Keys,
    Tour(usize),
    Unsaved(Pending),
}

/// Which session and which state of it an analysis belongs to.
type Asked = (u64, Revision);

/// The window.
pub struct App {
    ctx: Context,
    wake: Wake,
    dialogs: Box<dyn Dialogs>,
    asked: Option<(Ask, Job<Vec<PathBuf>>)>,
    history: History,
    /// The session's file; scans have whole paths in memory and short ones in the file.
    file: Option<PathBuf>,
    /// Raised with every new session and every scan read anew.
    epoch: u64,
    shelf: Shelf,
    kept: Arc<Mutex<Kept>>,
    analysis: Latest<Asked, Analysis>,
    bench: Bench,
    scans: ScanBench,
    exposures: ExposureBench,
    curves: CurvesBench,
    eye: EyeBench,
    profiles: ProfilesBench,
    /// The shelf of profiles.
    keeper: Keeper,
    letters: letters::Letters,
    /// The profile that a dialog is asked about.
    to_hand_out: Option<String>,
    print: PrintBench,
    scanner: ScannerBench,
    /// The day that counts as today, where it is not the clock's.
    day: Option<Day>,
    theme: Theme,
    chosen: Option<Chosen>,
    spot: Option<Spot>,
    /// Counts movements of the hand, for undo.
    gesture: u64,
    said: String,
    title: String,
    overlay: Overlay,
    /// What goes on once the dialog about the session's file is answered.
    after_saving: Option<Pending>,
    /// The folder whose new scans are taken in.
    inbox: Option<Watched>,
    /// Which columns are out.
    columns: Columns,
    /// Set once the person said that unsaved work may go.
    may_close: bool,
    state: Option<PathBuf>,
    remembered: Remembered,
    rescue: Option<Rescue>,
    left_behind: Vec<(PathBuf, String)>,
}

impl App {
    /// An empty window; `state` is the folder of what is kept between runs, if any.
    pub fn new(ctx: &Context, dialogs: Box<dyn Dialogs>, state: Option<PathBuf>) -> Self {
        let waker = ctx.clone();
        let remembered = state.as_deref().map(Remembered::read).unwrap_or_default();
        let theme = Theme::of(Light::from_word(&remembered.light).unwrap_or_default());
        theme.apply(ctx);
        let left_behind = state.as_deref().map(keep::left_behind).unwrap_or_default();
        let rescue = state
            .as_deref()
            .and_then(|folder| Rescue::begin(folder).ok());
        let mut app = Self {
            ctx: ctx.clone(),
            wake: Arc::new(move || waker.request_repaint()),
            dialogs,
            asked: None,
            history: History::opened(Session::default()),
            file: None,
            epoch: 0,
            shelf: Shelf::default(),
            kept: Arc::default(),
            analysis: Latest::default(),
            bench: Bench::default(),
            scans: ScanBench::default(),
            exposures: ExposureBench::default(),
            curves: CurvesBench::default(),
            eye: EyeBench::default(),
            profiles: ProfilesBench::default(),
            letters: letters::Letters::default(),
            keeper: Keeper::of(crate::files::shelf::usual_folder()),
            to_hand_out: None,
            print: PrintBench::on(PaperSize::from_word(&remembered.paper).unwrap_or_default()),
            scanner: ScannerBench::default(),
            day: None,
            theme,
            chosen: None,
            spot: None,
            gesture: 0,
            said: String::new(),
            title: String::new(),
            overlay: Overlay::None,
            after_saving: None,
            inbox: None,
            columns: Columns::default(),
            may_close: false,
            state,
            remembered,
            rescue,
            left_behind,
        };
        app.watch_as_before();
        app
    }

    /// The same window on another day than the clock's.
    #[must_use]
    pub fn on_day(mut self, day: Day) -> Self {
        self.day = Some(day);
        self
    }

    pub(super) fn today(&self) -> Day {
        self.day.unwrap_or_else(clock::today)
    }

    /// The session as it stands.
    pub fn session(&self) -> &Session {
        self.history.session()
    }

    /// The session's file, if it has one.
    pub fn file(&self) -> Option<&Path> {
        self.file.as_deref()
    }

    /// The analysis of the session as it stands, once there is one.
    pub fn analysis(&self) -> Option<&Arc<Analysis>> {
        let current = self
            .analysis
            .is_current((self.epoch, self.history.revision()));
        self.analysis.shown().filter(|_| current)
    }

    /// What was last said in the line below.
    pub fn said(&self) -> &str {
        &self.said
    }

    /// Looks after work in the background; no drawing.
    pub fn logic(&mut self, ctx: &Context) {
        self.answer_dialog();
        self.tend_profiles();
        self.tend_letters();
        self.tend_scanner();
        self.take_in();
        let session = Arc::clone(self.history.session());
        self.shelf.tend(&session.scans, &self.wake);
        self.shelf.tend(session.empty.as_slice(), &self.wake);
        self.solve(&session);
        self.tend_print(&session);
        if ctx.input(|input| input.viewport().close_requested())
            && !self.history.is_saved()
            && !self.may_close
        {
            ctx.send_viewport_cmd(egui::ViewportCommand::CancelClose);
            self.overlay = Overlay::Unsaved(Pending::Quit);
        }
        let marker = if self.history.is_saved() {
            ""
        } else {
            " (unsaved)"
        };
        let title = format!("{}{marker} · twinstrip", self.name());
        if title != self.title {
            ctx.send_viewport_cmd(egui::ViewportCommand::Title(title.clone()));
            self.title = title;
        }
    }

    /// Asks for the analysis of the session as it stands, once all its scans are there.
    fn solve(&mut self, session: &Arc<Session>) {
        let ready = !session.scans.is_empty()
            && session
                .scans
                .iter()
                .all(|scan| self.shelf.standing(scan) == Standing::Ready);
        let Some(empty) = self.empty_glass(session) else {
            return;
        };
        let rasters = session
            .scans
            .iter()
            .map(|scan| Some(Arc::clone(&self.shelf.opened(scan)?.raster)));
        let Some(rasters) = rasters.collect::<Option<Vec<_>>>().filter(|_| ready) else {
            return;
        };
        let asked = (self.epoch, self.history.revision());
        if self.curves.coatings.open
            && let Some(analysis) = self.analysis().cloned()
        {
            let (coatings, rasters) = (&mut self.curves.coatings, rasters.clone());
            coatings.tend(asked, session, &analysis, rasters, &self.wake);
        }
        let (kept, wake) = (&self.kept, &self.wake);
        self.analysis.ask(asked, || {
            let question = session.question(rasters).on_glass(empty);
            let kept = Arc::clone(kept);
            Job::start("measure", wake, move |watch| {
                let mut kept = kept.lock().unwrap_or_else(PoisonError::into_inner);
                analyse_again(&question, &mut kept, &Unheard(watch))
            })
        });
        if self.analysis.crashed(asked) {
            self.said = "Measuring broke down. Undo the last change; please report this.".into();
        }
    }

    fn answer_dialog(&mut self) {
        let Some((ask, job)) = &self.asked else {
            return;
        };
        let ask = *ask;
        match job.poll() {
            Outcome::Working => {}
            Outcome::Done(paths) => {
                self.asked = None;
                self.answered(ask, paths);
            }
            Outcome::Cancelled | Outcome::Crashed => {
                self.asked = None;
                self.said = "The file dialog could not be shown.".into();
            }
        }
    }

    /// The session's name for people.
    fn name(&self) -> String {
        match &self.file {
            Some(file) => file
                .file_name()
                .unwrap_or_default()
                .to_string_lossy()
                .into_owned(),
            None if self.session().scans.is_empty() => "No session".into(),
            None => "New session".into(),
        }
    }

    /// Draws everything, then carries out what was asked.
    pub fn ui(&mut self, ui: &mut Ui) {
        let ctx = ui.ctx().clone();
        if ctx.input(|input| input.pointer.any_pressed()) {
            self.gesture += 1;
        }
        let mut asks = Vec::new();
        self.dropped(&ctx);
        if self.overlay == Overlay::None || matches!(self.overlay, Overlay::Tour(_)) {
            asks.extend(Command::pressed(&ctx).map(Request::Command));
        }
        let room = Room::now(&ctx);
        let session = Arc::clone(self.history.session());
        let analysis = self.analysis.shown().cloned();
        let scene = Scene {
            session: &session,
            analysis: analysis.as_deref(),
            stale: !self
                .analysis
                .is_current((self.epoch, self.history.revision())),
            theme: &self.theme.clone(),
            chosen: self.chosen,
            spot: self.spot,
            room,
            out: self.columns.out(room),
        };
        self.bar_ui(ui, &scene, &mut asks);
        let open = !session.scans.is_empty();
        if open {
            let solving = self.analysis.progress();
            let watched = self.inbox.as_ref().map(|watched| watched.folder.as_path());
            let working = status::Working {
                shelf: &self.shelf,
                said: &self.said,
                solving,
                watched,
            };
            status::ui(ui, &scene, &working, &mut asks);
            answer::ui(ui, &scene, &mut asks);
            match self.bench {
                Bench::Scans => self.scans.ui(ui, &scene, &self.shelf, &mut asks),
                Bench::Exposures => {
                    let empty = session.empty.as_ref();
                    let empty = empty.map(|scan| self.shelf.standing(scan));
                    self.exposures.ui(ui, &scene, empty.as_ref(), &mut asks);
                }
                Bench::Curves => self.curves.ui(ui, &scene, &mut asks),
                Bench::Eye => self.eye.ui(ui, &scene, &self.shelf, &mut asks),
                Bench::Print => self.print.ui(ui, &scene, &mut asks),
                Bench::Profiles => self.profiles.ui(ui, &scene, &self.keeper, &mut asks),
                Bench::Scanner => self.scanner.ui(ui, &scene, self.today(), &mut asks),
            }
        } else if self.bench.stands_alone() {
            if self.bench == Bench::Profiles {
                self.profiles.ui(ui, &scene, &self.keeper, &mut asks);
            } else {
                self.scanner.ui(ui, &scene, self.today(), &mut asks);
            }
            if !self.said.is_empty() {
                overlay::note(&ctx, &self.said, &self.theme);
            }
        } else {
            let names: Vec<String> = self
                .left_behind
                .iter()
                .map(|(_, text)| left_name(text))
                .collect();
            let kept = welcome::Kept {
                left_behind: &names,
                recent: &self.remembered.recent,
                watched: self.inbox.as_ref().map(|watched| watched.folder.as_path()),
            };
            welcome::ui(ui, &self.theme, &kept, &mut asks);
            if !self.said.is_empty() {
                overlay::note(&ctx, &self.said, &self.theme);
            }
        }
        mark_typing(&ctx, &self.theme);
        self.overlay_ui(&ctx);
        let spot = asks.iter().rev().find_map(|ask| match ask {
            Request::Spot(spot) => Some(*spot),
            _ => None,
        });
        for ask in asks {
            self.carry_out(ask);
        }
        // An edit's answer is begun at once, not only in the next frame.
        let session = Arc::clone(self.history.session());
        self.solve(&session);
        // Kept while keys are carried out, which may mean the step under the pointer.
        if self.spot != spot {
            self.spot = spot;
            ctx.request_repaint();
        }
    }

    fn bar_ui(&self, ui: &mut Ui, scene: &Scene<'_>, asks: &mut Vec<Request>) {
        let name = self.name();
        let standing = bar::Standing {
            name: &name,
            saved: self.history.is_saved(),
            undo: match self.bench {
                Bench::Profiles => self.keeper.undo_label(),
                _ => self.history.undo_label(),
            },
            redo: match self.bench {
                Bench::Profiles => self.keeper.redo_label(),
                _ => self.history.redo_label(),
            },
            bench: self.bench,
            open: !scene.session.scans.is_empty(),
            measured: scene.analysis.is_some(),
            recent: &self.remembered.recent,
            watching: self.inbox.is_some(),
            room: scene.room,
        };
        bar::ui(ui, &standing, scene.theme, asks);
    }

    fn overlay_ui(&mut self, ctx: &Context) {
        match self.overlay.clone() {
            Overlay::None => {}
            Overlay::Keys => {
                if overlay::keys_ui(ctx) == Said::Done {
                    self.overlay = Overlay::None;
                }
            }
            Overlay::Tour(step) => match overlay::tour_ui(ctx, step, &self.theme) {
                Said::Next if step + 1 < overlay::TOUR.len() => {
                    self.bench = overlay::TOUR[step + 1].0;
                    self.overlay = Overlay::Tour(step + 1);
                }
                Said::Next | Said::Done => {
                    self.overlay = Overlay::None;
                    self.remembered.tour_seen = true;
                    self.remember();
                }
                _ => {}
            },
            Overlay::Unsaved(pending) => match overlay::unsaved_ui(ctx, &self.name()) {
                Said::Save => {
                    self.overlay = Overlay::None;
                    self.save();
                    if self.history.is_saved() {
                        self.proceed(pending);
                    } else if self.asked.is_some() {
                        // Without a file the dialog comes first.
                        self.after_saving = Some(pending);
                    }
                }
                Said::Drop => {
                    self.overlay = Overlay::None;
                    self.proceed(pending);
                }
                Said::Done => self.overlay = Overlay::None,
                Said::Nothing | Said::Next => {}
            },
        }
    }
}

/// Work that can be called off and whose progress nobody looks at: every report would have the
/// whole window drawn anew, for nothing and on the same processors.
struct Unheard<'a>(&'a dyn Watch);

impl Watch for Unheard<'_> {
    fn at(&self, _done: usize, _of: usize) -> Result<(), Cancelled> {
        self.0.at(0, 1)
    }
}

/// The name of the session that a rescue copy is of: its first line says the file.
fn left_name(text: &str) -> String {
    let file = text
        .lines()
        .next()
        .and_then(|line| line.strip_prefix("// session: "));
    let name = file.and_then(|file| Path::new(file).file_name());
    name.map_or_else(
        || "A session".to_owned(),
        |name| name.to_string_lossy().into_owned(),
    )
}

impl eframe::App for App {
    fn logic(&mut self, ctx: &Context, _frame: &mut eframe::Frame) {
        Self::logic(self, ctx);
    }

    fn ui(&mut self, ui: &mut Ui, _frame: &mut eframe::Frame) {
        Self::ui(self, ui);
    }

    fn clear_color(&self, _visuals: &egui::Visuals) -> [f32; 4] {
        self.theme.page.to_normalized_gamma_f32()
    }
}
