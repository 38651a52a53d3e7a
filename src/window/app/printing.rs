//! Printing day: the print's scan, the plan and the preview in the background, the sheet.

use std::path::Path;
use std::sync::Arc;

use super::App;
use crate::document::sheet::{Sheet, Source};
use crate::document::{Edit, Printing, Scan, Session};
use crate::files::output::{self, Kind, Replace};
use crate::files::paths::whole;
use crate::files::sheet::{PaperSize, Thumbnail, pdf, plain_text};
use crate::window::command::Bench;

impl App {
    /// Looks after what the print bench shows.
    pub(super) fn tend_print(&mut self, session: &Arc<Session>) {
        if let Some(said) = self.print.work.saved() {
            self.said = said;
        }
        if self.bench != Bench::Print {
            return;
        }
        let asked = (self.epoch, self.history.revision());
        let current = self.analysis.is_current(asked);
        let Some(analysis) = self.analysis.shown().filter(|_| current) else {
            return;
        };
        let (work, pair) = (&mut self.print.work, self.print.pair);
        work.plan(asked, pair, session, analysis, &self.wake);
        let print = session
            .printing
            .as_ref()
            .and_then(|printing| printing.print.as_ref());
        let Some(print) = print else {
            return;
        };
        self.shelf.tend(std::slice::from_ref(print), &self.wake);
        if let crate::window::shelf::Standing::Missing(why) = self.shelf.standing(print) {
            self.said = format!("The print's scan can't be had: {why}");
        }
        let opened = |scan| Some(Arc::clone(&self.shelf.opened(scan)?.raster));
        let scans = session.scans.iter().map(opened).collect::<Option<Vec<_>>>();
        if let (Some(raster), Some(scans)) = (opened(print), scans) {
            let question = session.question(scans);
            let question = question.on_glass(session.empty.as_ref().and_then(opened));
            work.preview(pair, session, analysis, (&raster, question), &self.wake);
        }
    }

    /// Takes a file for the scan of the paper print.
    pub(super) fn take_print(&mut self, path: &Path) {
        let mut printing = self.printing();
        printing.print = Some(Scan {
            // Scanned as the strips were, so encoded as they are.
            encoding: self.session().scans.first().and_then(|scan| scan.encoding),
            ..Scan::new(whole(Path::new(""), path))
        });
        let edit = Edit::SetPrinting(Some(Box::new(printing)), "choose the print's scan");
        self.edit(&[edit]);
    }

    /// Bench sheets are written on this paper from now on, in later runs too.
    pub(super) fn take_paper(&mut self, paper: PaperSize) {
        self.print.paper = paper;
        self.remembered.paper = paper.word().to_owned();
        self.remember();
    }

    fn printing(&self) -> Printing {
        self.session()
            .printing
            .as_deref()
            .cloned()
            .unwrap_or_default()
    }

    /// Whether the plan on show is that of the session as it stands.
    pub fn plan_is_current(&self) -> bool {
        let asked = (self.epoch, self.history.revision());
        self.print.work.plan_is_current(asked, self.print.pair)
    }

    /// The sheet as the plan stands, or what is missing for one.
    fn sheet(&self) -> Result<Sheet, String> {
        // A sheet says what the printer will do: never by a plan of another recipe.
        let planned = match self.print.work.planned() {
            Some(_) if !self.plan_is_current() => {
                return Err("The plan is being worked out anew: ask again in a moment.".into());
            }
            Some(Ok(planned)) => planned,
            _ => return Err("There is no plan yet: write the recipe of the paper print.".into()),
        };
        let source = Source {
            name: self.name(),
            made: self.today().to_string(),
            ..Source::default()
        };
        let printing = self.printing();
        Ok(Sheet::filled(&printing, planned, &source))
    }

    pub(super) fn copy_sheet(&mut self) {
        self.said = match self.sheet() {
            Ok(sheet) => {
                self.ctx.copy_text(plain_text(&sheet));
                "The bench sheet is on the clipboard.".into()
            }
            Err(why) => why,
        };
    }

    /// Writes the sheet: a page, or text where the name ends in .txt.
    pub(super) fn save_sheet(&mut self, file: &Path) {
        let text = file
            .extension()
            .is_some_and(|ending| ending.eq_ignore_ascii_case("txt"));
        let made = self.sheet().and_then(|sheet| {
            if text {
                return Ok(plain_text(&sheet).into_bytes());
            }
            let picture = self.print.work.prepared().and_then(|(_, prepared)| {
                let picture = &prepared.as_ref().as_ref().ok()?.picture;
                Thumbnail::of(&picture.screen, picture.width, picture.height)
            });
            pdf(&sheet, picture.as_ref(), self.print.paper).map_err(|error| error.to_string())
        });
        let written = made.and_then(|made| {
            output::write(file, &made, Replace::Said).map_err(|error| error.to_string())
        });
        self.said = match written {
            Ok(()) => format!("{} written", file.display()),
            Err(why) => why,
        };
    }

    /// Writes the print as it would look on the coating.
    pub(super) fn save_tones(&mut self, file: &Path) {
        if let Err(error) = output::check(file, Replace::Said, &Kind::Other) {
            self.said = error.to_string();
            return;
        }
        let session = Arc::clone(self.history.session());
        let analysis = self.analysis.shown().cloned();
        let scene = self.scene(&session, analysis.as_deref());
        let stops = self
            .print
            .tones
            .stops(&scene, &self.print.work, self.print.pair);
        let begun = stops.is_some_and(|stops| {
            let work = &mut self.print.work;
            work.save_full_size(file.to_owned(), stops, &self.wake)
        });
        self.said = if begun {
            "The picture is being written.".into()
        } else {
            "There is no preview to write yet.".into()
        };
    }
}
