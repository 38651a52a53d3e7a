//! What the print bench has worked out in the background.

use std::path::PathBuf;
use std::sync::Arc;

use crate::document::planning::NoBasis;
use crate::document::printing::Planned;
use crate::document::{Printing, Revision, Session};
use crate::files::output::{Kind, Replace, make_way};
use crate::files::scan::{Container, Mark, Packing, Picture, WriteOptions, write_picture};
use crate::measure::analysis::{Analysis, Question};
use crate::measure::estimate::Gap;
use crate::measure::preview::{Prepared, full_size, prepare};
use crate::measure::raster::Raster;
use crate::window::jobs::{Job, Latest, Outcome, Wake};

/// Longer side of the pictures on the screen, pixels.
const LONGEST: usize = 1_280;

/// Session, state of it, and pair.
type Asked = (u64, Revision, usize);

/// Plan and preview, each the newest.
#[derive(Default)]
pub struct Work {
    plan: Latest<Asked, Option<Result<Planned, NoBasis>>>,
    preview: Latest<(u64, usize), Result<Prepared, Gap>>,
    /// The session that the preview was asked for, without its recipe and piece, and a number
    /// that is raised when it changes.
    of: Option<(Session, usize, Arc<Raster>)>,
    asked: u64,
    saving: Option<(PathBuf, Job<Result<(), String>>)>,
}

impl Work {
    /// Asks for the plan of the session as it stands; once a frame.
    pub fn plan(
        &mut self,
        (epoch, revision): (u64, Revision),
        pair: usize,
        session: &Arc<Session>,
        analysis: &Arc<Analysis>,
        wake: &Wake,
    ) {
        self.plan.ask((epoch, revision, pair), || {
            let (session, analysis) = (Arc::clone(session), Arc::clone(analysis));
            Job::start("plan", wake, move |_| Ok(session.planned(&analysis, pair)))
        });
    }

    /// Whether the newest plan is that of this state of the session and this pair.
    pub fn plan_is_current(&self, (epoch, revision): (u64, Revision), pair: usize) -> bool {
        self.plan.is_current((epoch, revision, pair))
    }

    /// The newest plan: none before there is a recipe, or why there is none.
    pub fn planned(&self) -> Option<&Result<Planned, NoBasis>> {
        self.plan.shown()?.as_ref().as_ref()
    }

    /// Asks for the preview of the print's scan; once a frame.
    pub fn preview(
        &mut self,
        pair: usize,
        session: &Arc<Session>,
        analysis: &Arc<Analysis>,
        (print, question): (&Arc<Raster>, Question),
        wake: &Wake,
    ) {
        let bare = Session {
            printing: session.printing.as_ref().map(|printing| {
                Box::new(Printing {
                    print: printing.print.clone(),
                    ..Printing::default()
                })
            }),
            notes: String::new(),
            ..Session::clone(session)
        };
        let same = self.of.as_ref().is_some_and(|(of, its, raster)| {
            *of == bare && *its == pair && Arc::ptr_eq(raster, print)
        });
        if !same {
            self.asked += 1;
            self.of = Some((bare, pair, Arc::clone(print)));
        }
        self.preview.ask((self.asked, pair), || {
            let (analysis, print) = (Arc::clone(analysis), Arc::clone(print));
            Job::start("preview", wake, move |watch| {
                prepare(&print, &question, &analysis, pair, LONGEST, watch)
            })
        });
    }

    /// The newest preview and its number.
    pub fn prepared(&self) -> Option<(u64, &Arc<Result<Prepared, Gap>>)> {
        let shown = self.preview.shown()?;
        Some((self.asked, shown))
    }

    /// Whether the preview on show is that of the print as it stands.
    pub fn preview_is_current(&self, pair: usize) -> bool {
        self.preview.is_current((self.asked, pair))
    }

    /// Share done of the preview that is prepared.
    pub fn preparing(&self) -> Option<f32> {
        self.preview.progress()
    }

    /// Writes the preview in the size of the scan, in the background.
    pub fn save_full_size(&mut self, file: PathBuf, stops: f64, wake: &Wake) -> bool {
        let (Some(prepared), Some((_, _, print))) = (self.preview.shown().cloned(), &self.of)
        else {
            return false;
        };
        let print = Arc::clone(print);
        let to = file.clone();
        let job = Job::start("full-size preview", wake, move |watch| {
            let Ok(prepared) = prepared.as_ref() else {
                return Ok(Err("there is no preview".into()));
            };
            let table = prepared.tones.table(stops);
            let samples = full_size(&print, &*prepared.scale, prepared.channel, &table, watch)?;
            let png = to
                .extension()
                .is_some_and(|ending| ending.eq_ignore_ascii_case("png"));
            let picture = Picture {
                width: print.width,
                height: print.height,
                channels: 3,
                samples: &samples,
            };
            let options = WriteOptions {
                container: if png {
                    Container::Png
                } else {
                    Container::tiff(Packing::Deflate)
                },
                pixels_per_mm: print.pixels_per_mm,
                mark: if png { Mark::PngSrgb } else { Mark::None },
            };
            let way = make_way(&to, Replace::Said, &Kind::Other);
            Ok(way.map_err(|error| error.to_string()).and_then(|()| {
                write_picture(&to, &picture, &options).map_err(|error| error.to_string())
            }))
        });
        self.saving = Some((file, job));
        true
    }

    /// Share done of the picture that is written.
    pub fn saving(&self) -> Option<f32> {
        let (_, job) = self.saving.as_ref()?;
        Some(job.progress().unwrap_or(0.0))
    }

    /// Calls off the picture that is written.
    pub fn stop_saving(&self) {
        if let Some((_, job)) = &self.saving {
            job.cancel();
        }
    }

    /// What is to be said of a picture once it is written, or couldn't be.
    pub fn saved(&mut self) -> Option<String> {
        let (file, job) = self.saving.as_ref()?;
        let said = match job.poll() {
            Outcome::Working => return None,
            Outcome::Done(Ok(())) => format!("{} written", file.display()),
            Outcome::Done(Err(why)) => why,
            Outcome::Cancelled => "Called off: no picture was written.".to_owned(),
            Outcome::Crashed => "Writing the picture broke down.".to_owned(),
        };
        self.saving = None;
        Some(said)
    }
}
