//! Carrying out what the panels asked for: the one place that changes things.

use std::sync::Arc;

use super::{App, Overlay, Pending};
use crate::document::{Edit, Gesture, Scan, report};
use crate::measure::geometry::Field;
use crate::window::command::{Bench, Command};
use crate::window::dialogs::Ask;
use crate::window::layout::Column;
use crate::window::request::{Chosen, Kind, Part, Request, Scene, Thing};
use crate::window::scan::calling::{self, Called};
use crate::window::scan::handles;
use crate::window::theme::Theme;

impl App {
    /// Carries out one request.
    pub(super) fn carry_out(&mut self, request: Request) {
        match request {
            Request::Edit(edits) => self.edit(&edits),
            Request::Command(command) => self.command(command),
            Request::Choose(chosen) => self.chosen = chosen,
            // Gathered by the round of the frame itself.
            Request::Spot(_) => {}
            Request::Show(place) => {
                self.bench = Bench::Scans;
                let session = Arc::clone(self.history.session());
                let analysis = self.analysis.shown().cloned();
                let scene = self.scene(&session, analysis.as_deref());
                let mut scans = std::mem::take(&mut self.scans);
                scans.show(&place, &scene);
                self.scans = scans;
            }
            Request::Describe => self.describe(),
            Request::CancelReading => self.shelf.cancel(),
            Request::ChooseEmpty => self.ask(Ask::Empty),
            Request::Locate(scan) => self.ask(Ask::Locate(scan)),
            Request::TakeChanged(scan) => self.take_changed(scan),
            Request::ReadAgain(scan) => {
                if let Some(scan) = self.session().scans.get(scan).cloned() {
                    self.shelf.again(&scan.path);
                    self.epoch += 1;
                }
            }
            Request::OpenRecent(path) => self.unless_unsaved(Pending::Open(vec![path])),
            Request::Profile(ask) => self.profile(ask),
            Request::Scanner(ask) => self.scanner(ask),
            Request::TakeBack(index) => self.take_back(index),
            Request::SheetPaper(paper) => self.take_paper(paper),
            Request::StopPicture => self.print.work.stop_saving(),
            Request::ThrowAway(index) => {
                if index < self.left_behind.len() {
                    let (copy, _) = self.left_behind.remove(index);
                    crate::files::keep::forget(&copy);
                }
            }
        }
    }

    pub(super) fn scene<'a>(
        &self,
        session: &'a crate::document::Session,
        analysis: Option<&'a crate::measure::analysis::Analysis>,
    ) -> Scene<'a> {
        // Only shapes are asked of this scene; its colours don't matter.
        static DAY: Theme = Theme::of(crate::window::theme::Light::Day);
        Scene {
            session,
            analysis,
            stale: false,
            theme: &DAY,
            chosen: self.chosen,
            spot: None,
            room: crate::window::layout::Room::Wide,
            out: (true, true),
        }
    }

    /// Edits that are undone together. While the pointer is down they belong to its gesture.
    pub(super) fn edit(&mut self, edits: &[Edit]) {
        let dragging = self
            .ctx
            .input(|input| input.pointer.any_down() || input.pointer.any_released());
        if !dragging {
            self.gesture += 1;
        }
        for edit in edits {
            if let Err(error) = self.history.perform(edit, Some(Gesture(self.gesture))) {
                self.said = format!("That can't be: {error}.");
                return;
            }
            self.said.clear();
        }
        self.keep_rescue();
        self.forget_missing_choice();
    }

    fn forget_missing_choice(&mut self) {
        let session = Arc::clone(self.history.session());
        if let Some(strip) = self.scene(&session, None).chosen_strip()
            && !session.strips.is_empty()
            && strip >= session.strips.len()
        {
            self.chosen = None;
        }
    }

    fn command(&mut self, command: Command) {
        match command {
            Command::New => self.unless_unsaved(Pending::New),
            Command::OpenDemo => self.unless_unsaved(Pending::Demo),
            Command::Open => self.ask(Ask::Open),
            Command::WatchFolder => self.ask(Ask::Watch),
            Command::StopWatching => self.stop_watching(),
            Command::Call(kind) => self.call(kind),
            Command::FreeArea => self.free_area(),
            Command::AnswerColumn => self.columns.toggle(Column::Answer, &self.ctx),
            Command::StripColumn => self.columns.toggle(Column::Strips, &self.ctx),
            Command::AddScans => self.ask(Ask::Scans),
            Command::Save => self.save(),
            Command::SaveAs => self.ask(Ask::Save),
            Command::CopyAnswer => self.copy_answer(),
            Command::ExportSvg => self.ask(Ask::Svg),
            Command::ExportPng => self.ask(Ask::Png),
            Command::ExportCsv => self.ask(Ask::Csv),
            Command::Undo if self.bench == Bench::Profiles => self.keeper.undo(),
            Command::Redo if self.bench == Bench::Profiles => self.keeper.redo(),
            Command::ChoosePrint => self.ask(Ask::Print),
            Command::SaveSheet => self.ask(Ask::Sheet),
            Command::CopySheet => self.copy_sheet(),
            Command::SaveTones => self.ask(Ask::Tones),
            Command::Undo | Command::Redo => {
                let done = if command == Command::Undo {
                    self.history.undo()
                } else {
                    self.history.redo()
                };
                if done {
                    self.keep_rescue();
                    self.forget_missing_choice();
                }
            }
            Command::Go(bench) => {
                let here = bench.stands_alone() || self.bench.stands_alone();
                if here || !self.session().scans.is_empty() {
                    self.bench = bench;
                    self.keeper.look_again();
                }
            }
            Command::Light(light) => {
                self.theme = Theme::of(light);
                self.theme.apply(&self.ctx);
                self.remembered.light = light.word().to_owned();
                self.remember();
            }
            Command::Fit => self.scans.fit(),
            Command::ActualPixels => self.scans.actual_pixels(self.ctx.pixels_per_point()),
            Command::ZoomIn => self.scans.zoom(1.5),
            Command::ZoomOut => self.scans.zoom(1.0 / 1.5),
            Command::Magnifier => self.scans.magnifier = !self.scans.magnifier,
            Command::DrawStrip => {
                self.scans.drawing = !self.scans.drawing;
                self.scans.pointing = false;
            }
            Command::PointAtCoat => self.point_at_coat(),
            Command::ToggleStep => self.toggle_step(),
            Command::Flip | Command::AddStep | Command::RemoveStep => self.reshape(command),
            Command::Shortcuts => self.overlay = Overlay::Keys,
            Command::Tour => {
                if self.session().scans.is_empty() {
                    self.unless_unsaved(Pending::Demo);
                }
                self.bench = Bench::Scans;
                self.overlay = Overlay::Tour(0);
            }
            Command::Quit => self.unless_unsaved(Pending::Quit),
        }
    }

    pub(super) fn ask(&mut self, what: Ask) {
        if self.asked.is_none() {
            self.asked = Some((what, self.dialogs.ask(what, &self.wake)));
        }
    }

    /// The chosen step, else the one under the pointer, out of the fit or back into it.
    fn toggle_step(&mut self) {
        let session = Arc::clone(self.history.session());
        let analysis = self.analysis.shown().cloned();
        let scene = self.scene(&session, analysis.as_deref());
        let chosen = scene.held().and_then(|(chosen, shape)| {
            match shape.fields.get(chosen.part.field()?)? {
                Field::Step(step) => Some((scene.chosen_strip()?, *step)),
                _ => None,
            }
        });
        let spot = self
            .spot
            .and_then(|(strip, number)| Some((strip, number.checked_sub(1)?)));
        let Some((strip, step)) = chosen.or(spot) else {
            self.said = "Choose a step first.".into();
            return;
        };
        let Some(described) = session.strips.get(strip) else {
            return;
        };
        let edit = if described.excluded.contains(&step) {
            Edit::IncludeStep { strip, step }
        } else {
            Edit::ExcludeStep { strip, step }
        };
        self.edit(&[edit]);
    }

    /// The tool for pointing at the chosen strip's unexposed coat, out or in.
    fn point_at_coat(&mut self) {
        let session = Arc::clone(self.history.session());
        let analysis = self.analysis.shown().cloned();
        let scene = self.scene(&session, analysis.as_deref());
        let strip = scene
            .chosen_strip()
            .filter(|&strip| strip < session.strips.len() && scene.shape(strip).is_some());
        self.scans.pointing = strip.is_some() && !self.scans.pointing;
        self.scans.drawing &= !self.scans.pointing;
        self.said = match strip {
            None => "Choose a strip first.".into(),
            Some(strip) if self.scans.pointing => {
                format!("Click where {} got no light.", scene.name(strip))
            }
            Some(_) => String::new(),
        };
    }

    fn reshape(&mut self, command: Command) {
        let session = Arc::clone(self.history.session());
        let analysis = self.analysis.shown().cloned();
        let scene = self.scene(&session, analysis.as_deref());
        let held = scene.held().filter(|(chosen, _)| match chosen.thing {
            Thing::Strip(strip) => strip < session.strips.len(),
            Thing::Wedge(_) => true,
            Thing::Spare(_) => false,
        });
        let Some((chosen, shape)) = held else {
            self.said = "Choose a strip first.".into();
            return;
        };
        let last = shape.fields.len().saturating_sub(1);
        let field = chosen.part.field().unwrap_or(last);
        let shape = match command {
            Command::Flip => Some(handles::flipped(shape)),
            Command::AddStep => handles::with_field_split(shape, field),
            _ => handles::with_field_joined(shape, field),
        };
        if let Some(shape) = shape {
            let edits = calling::outlined(&scene, chosen.thing, shape);
            self.edit(&edits);
        }
    }

    /// Says what the chosen thing on the scan is.
    fn call(&mut self, kind: Kind) {
        let session = Arc::clone(self.history.session());
        let analysis = self.analysis.shown().cloned();
        let scene = self.scene(&session, analysis.as_deref());
        let Some((chosen, _)) = scene.held() else {
            self.said = "Choose a strip or the wedge first.".into();
            return;
        };
        match calling::called(&scene, chosen.thing, kind) {
            Some(Called::Edits(edits)) => {
                self.edit(&edits);
                self.chosen = self.chosen_after(chosen.thing, kind);
            }
            Some(Called::NeedsDensities(shape, along)) => {
                self.exposures.expect_wedge(shape, along);
                self.bench = Bench::Exposures;
                self.said = "Write the wedge's densities here, as its maker lists them: then that strip becomes the wedge.".into();
            }
            None => {}
        }
    }

    /// What is chosen once a thing was called something else.
    fn chosen_after(&self, thing: Thing, kind: Kind) -> Option<Chosen> {
        let scan = self.scans.scan;
        match (thing, kind) {
            (Thing::Strip(_), Kind::Paper | Kind::Coated) => self.chosen,
            (_, Kind::Wedge) => Some(Chosen {
                thing: Thing::Wedge(scan),
                part: Part::Whole,
            }),
            _ => {
                let last = self.session().strips.len().checked_sub(1);
                last.map(Chosen::strip)
            }
        }
    }

    /// Reads the chosen field where the program chooses again.
    fn free_area(&mut self) {
        let session = Arc::clone(self.history.session());
        let analysis = self.analysis.shown().cloned();
        let scene = self.scene(&session, analysis.as_deref());
        let free = scene.held().and_then(|(chosen, shape)| {
            let field = *shape.fields.get(chosen.part.field()?)?;
            let strip = scene.chosen_strip()?;
            scene.placed(strip, field)?;
            Some(Edit::FreeArea { strip, field })
        });
        match free {
            Some(edit) => self.edit(&[edit]),
            None => self.said = "Choose a field whose sampled area you placed.".into(),
        }
    }

    /// Makes strips of the session out of those that were found: the first is taken for paper.
    fn describe(&mut self) {
        let session = Arc::clone(self.history.session());
        let analysis = self.analysis.shown().cloned();
        let edits = calling::described(&self.scene(&session, analysis.as_deref()), None);
        self.edit(&edits);
    }

    fn take_changed(&mut self, index: usize) {
        let Some(scan) = self.session().scans.get(index).cloned() else {
            return;
        };
        if let Some(opened) = self.shelf.opened(&scan) {
            let with = Scan {
                hash: Some(opened.hash.clone()),
                ..scan
            };
            self.edit(&[Edit::LocateScan { scan: index, with }]);
        }
    }

    fn copy_answer(&mut self) {
        if let Some(analysis) = self.analysis.shown() {
            self.ctx
                .copy_text(report::solved(self.history.session(), analysis));
            self.said = "The answer is on the clipboard.".into();
        }
    }
}
