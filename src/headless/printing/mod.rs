//! From a session to paper and screen: `twinstrip sheet` and `twinstrip preview`.

pub(super) mod preview;
pub(super) mod sheet;

use std::path::{Path, PathBuf};

use clap::Args;

use super::arguments::Reading;
use super::exit::{Failure, Outcome};
use super::load::{self, Loaded};
use super::progress::Progress;
use super::{entry, plan};
use crate::document::sheet::Process;
use crate::document::{Printing, Scan, Session};
use crate::measure::analysis::{Analysis, Question, analyse};
use crate::measure::exposure::Aperture;
use crate::measure::plan::{Aim, HeadMove};

/// What is printed on what; each goes before what the session says.
#[derive(Debug, Clone, Args)]
pub(in crate::headless) struct Printed {
    /// Recipe of the paper print (docs/planning.md), or a file with it
    #[arg(long, value_name = "RECIPE")]
    recipe: Option<String>,
    /// What the picture is called
    #[arg(long, value_name = "NAME")]
    picture: Option<String>,
    /// What the piece is called
    #[arg(long, value_name = "NAME")]
    piece: Option<String>,
    /// How far the face of the piece lies above the easel: 6mm
    #[arg(long, value_name = "LENGTH", value_parser = entry::length, allow_hyphen_values = true)]
    height: Option<f64>,
    /// Size of the face, mm: 240x300
    #[arg(long, value_name = "SIZE", value_parser = size)]
    size: Option<(f64, f64)>,
    /// How much the face rises from its lowest to its highest part: 1.5mm
    #[arg(long, value_name = "LENGTH", value_parser = entry::length)]
    rise: Option<f64>,
    /// The tone that is to come out as on the paper: middle, highlights, shadows, whole, or a net density
    #[arg(long, value_name = "TONE", value_parser = entry::aim)]
    tone: Option<Aim>,
    /// The head is raised by the height of the piece
    #[arg(long)]
    raise_head: bool,
    /// The aperture, if you have chosen one: f/8
    #[arg(long, value_name = "APERTURE", value_parser = entry::aperture)]
    aperture: Option<Aperture>,
    /// Pieces that are left, for the bracket
    #[arg(long, value_name = "COUNT")]
    pieces: Option<usize>,
    /// How far off an exposure may be, stops: 1/6
    #[arg(long, value_name = "STOPS", value_parser = entry::stops_above_0)]
    tolerance: Option<f64>,
    /// The coated strip to plan by; the first if left out
    #[arg(long, value_name = "NAME")]
    coupon: Option<String>,
    /// Scan of the finished paper print
    #[arg(long, value_name = "FILE")]
    print: Option<PathBuf>,
}

fn size(text: &str) -> Result<(f64, f64), String> {
    let sides = text.split_once(['x', 'X', '*']);
    let side = |text: &str| {
        text.trim()
            .trim_end_matches("mm")
            .trim()
            .parse::<f64>()
            .ok()
    };
    sides
        .and_then(|(width, length)| Some((side(width)?, side(length)?)))
        .ok_or_else(|| "write width and length in mm: 240x300".into())
}

impl Printed {
    /// The print: what the session says, and what the arguments say otherwise. `folder` is the
    /// session's.
    fn printing(&self, session: &Session, folder: &Path) -> Result<Printing, Failure> {
        let mut printing = session.printing.as_deref().cloned().unwrap_or_default();
        if let Some(scan) = &mut printing.print {
            scan.path = folder.join(&scan.path);
        }
        if let Some(recipe) = &self.recipe {
            printing.recipe = Some(plan::recipe(recipe)?);
        }
        if let Some(picture) = &self.picture {
            printing.picture.clone_from(picture);
        }
        let piece = &mut printing.piece;
        if let Some(name) = &self.piece {
            piece.name.clone_from(name);
        }
        piece.height = self.height.unwrap_or(piece.height);
        piece.size = self.size.or(piece.size);
        piece.rise = self.rise.unwrap_or(piece.rise);
        let choices = &mut printing.choices;
        choices.aim = self.tone.unwrap_or(choices.aim);
        if self.raise_head {
            choices.head = HeadMove::RaisedByHeight;
        }
        choices.aperture = self.aperture.or(choices.aperture);
        choices.pieces = self.pieces.unwrap_or(choices.pieces);
        choices.tolerance = self.tolerance.unwrap_or(choices.tolerance);
        if let Some(print) = &self.print {
            // Scanned as the strips were, so encoded as they are.
            printing.print = Some(Scan {
                encoding: session.scans.first().and_then(|scan| scan.encoding),
                ..Scan::new(print)
            });
        }
        printing.check().map_err(Failure::usage)?;
        Ok(printing)
    }

    /// The pair to plan by.
    fn pair(&self, analysis: &Analysis) -> Result<usize, Failure> {
        plan::pair(analysis, self.coupon.as_deref())
    }
}

/// A session, analysed.
struct Solved {
    loaded: Loaded,
    question: Question,
    analysis: Analysis,
}

fn solved(
    session: &Path,
    reading: &Reading,
    calibration: Option<&Path>,
    progress: &Progress,
) -> Result<Solved, Failure> {
    let mut loaded = load::session(session, reading, None, progress)?;
    load::calibration(&mut loaded.session, calibration)?;
    progress.stage("measuring and solving");
    let question = loaded.question();
    let analysis = analyse(&question, progress)?;
    Ok(Solved {
        loaded,
        question,
        analysis,
    })
}

fn no_answer(message: impl Into<String>) -> Failure {
    Failure {
        outcome: Outcome::NoAnswer,
        message: message.into(),
    }
}

/// Baths from an argument.
fn process(text: &str) -> Result<Process, String> {
    Process::read(text).map_err(|error| error.to_string())
}
