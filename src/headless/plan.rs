//! `twinstrip plan`: from a recipe on paper to the exposure of a coated piece.

use std::path::{Path, PathBuf};

use clap::Args;
use serde::Serialize;

use super::arguments::Reading;
use super::exit::{Failure, Outcome};
use super::json::{PROGRAM, SCHEMA, text};
use super::progress::Progress;
use super::{entry, load, output, profile};
use crate::document::planning::{
    KeptRecipe, NoBasis, basis_of_profile, basis_of_session, strip_after_a_miss,
};
use crate::document::report::plan as report;
use crate::files::output::{Kind, Replace, check};
use crate::files::recipe::{read_recipe, write_recipe};
use crate::measure::analysis::{Analysis, analyse};
use crate::measure::exposure::Aperture;
use crate::measure::nearest::{hint, nearest};
use crate::measure::plan::basis::SESSION_ERROR;
use crate::measure::plan::{
    Aim, Basis, Choices, HeadMove, NextStrip, Piece, Plan, Recipe, Roughness, carry, next_strip,
};

#[derive(Debug, Args)]
#[command(after_help = "\
RECIPE is a recipe file (docs/planning.md) or the recipe itself, lines separated by semicolons:

  10s at f/8                                   time and aperture of the paper print
  12s grade 2 factor 1.6 at f/8, magnified 4x, lens 80mm
  8s grade 00 + 6s grade 5 factor 2 at f/11    a split exposure
  ...; burn sky: 1/2 stop; dodge boat: 3s, in the shadows

Example:
  twinstrip plan session.ron --recipe \"10s at f/8, magnified 4x, lens 80mm; burn sky: 1/2 stop\" \\
    --height 12mm --pieces 3")]
pub(super) struct PlanTask {
    /// The session file whose pair is planned by
    #[arg(value_name = "SESSION", required_unless_present = "profile")]
    session: Option<PathBuf>,
    /// A profile on the shelf to plan by, instead of a session
    #[arg(long, value_name = "PROFILE", conflicts_with = "session")]
    profile: Option<String>,
    /// Folder of the profiles; TWINSTRIP_SHELF or your data folder if left out
    #[arg(long, value_name = "FOLDER")]
    shelf: Option<PathBuf>,
    /// How the picture was printed on paper
    #[arg(long, value_name = "RECIPE")]
    recipe: String,
    /// Keep the recipe in a file of its own, under the name of the negative
    #[arg(long, value_names = ["FILE", "NEGATIVE"], num_args = 2)]
    keep: Option<Vec<String>>,
    /// Which coated strip of the session; the first if left out
    #[arg(long, value_name = "NAME", conflicts_with = "profile")]
    coupon: Option<String>,
    /// What you call the piece
    #[arg(long, value_name = "NAME", default_value = "")]
    piece: String,
    /// How far its face lies above the easel, such as 12mm
    #[arg(long, value_name = "LENGTH", default_value = "0mm", value_parser = entry::length, allow_hyphen_values = true)]
    height: f64,
    /// How much its face rises from its lowest to its highest part
    #[arg(long, value_name = "LENGTH", default_value = "0mm", value_parser = entry::length)]
    rise: f64,
    /// The head is raised by the height of the piece
    #[arg(long)]
    raise_head: bool,
    /// Tone to be met: middle, highlights, shadows, whole, or a net density
    #[arg(long, value_name = "TONE", default_value = "middle", value_parser = entry::aim)]
    tone: Aim,
    /// Aperture for the piece; chosen if left out
    #[arg(long, value_name = "APERTURE", value_parser = entry::aperture)]
    aperture: Option<Aperture>,
    /// Widest and smallest aperture of the lens
    #[arg(long, value_names = ["WIDEST", "SMALLEST"], num_args = 2, value_parser = entry::aperture)]
    lens: Option<Vec<Aperture>>,
    /// Blur allowed on the print
    #[arg(long, value_name = "LENGTH", value_parser = entry::length)]
    blur: Option<f64>,
    /// Pieces that are left, for the bracket
    #[arg(long, value_name = "COUNT", default_value_t = 1, value_parser = clap::value_parser!(u64).range(1..=12))]
    pieces: u64,
    /// How far off an exposure may be, stops
    #[arg(long, value_name = "STOPS", default_value = "1/6", value_parser = entry::stops_above_0)]
    tolerance: f64,
    /// How far sessions lie apart (standard deviation, stops); 1/6 is taken if left out
    #[arg(long, value_name = "STOPS", value_parser = entry::stops, conflicts_with = "profile")]
    session_scatter: Option<f64>,
    /// How far pieces of one day lie apart (standard deviation, stops); 0.1 is taken if left out
    #[arg(long, value_name = "STOPS", value_parser = entry::stops)]
    piece_scatter: Option<f64>,
    /// Exponent of the coating's reciprocity failure, such as 0.9, if you know it
    #[arg(long, value_name = "EXPONENT", value_parser = entry::exponent)]
    reciprocity: Option<f64>,
    /// Calibration file of the scanner, for scans without a wedge; goes before the session's
    #[arg(long, value_name = "FILE", conflicts_with = "profile")]
    calibration: Option<PathBuf>,
    /// Print JSON (docs/json.md) instead of text
    #[arg(long)]
    json: bool,
    #[command(flatten)]
    reading: Reading,
}

/// The JSON of the plan.
#[derive(Serialize)]
struct Answer<'a> {
    schema: u32,
    program: &'static str,
    task: &'static str,
    answered: bool,
    paper: &'a str,
    coating: &'a str,
    recipe: &'a Recipe,
    piece: &'a Piece,
    plan: &'a Plan,
    next_strip: Option<&'a NextStrip>,
}

pub(super) fn run(task: &PlanTask) -> Result<Outcome, Failure> {
    // What is written wrongly is told before minutes are spent on measuring.
    let recipe = recipe(&task.recipe)?;
    if let Some([file, negative]) = task.keep.as_deref().map(|keep| [&keep[0], &keep[1]]) {
        keep(Path::new(file), negative, &recipe, task.reading.quiet)?;
    }
    let mut basis = basis(task)?;
    if let Some(scatter) = task.piece_scatter {
        basis.piece_scatter = scatter;
    }
    let basis = basis.knowing_reciprocity(task.reciprocity);
    let piece = Piece {
        name: task.piece.clone(),
        height: task.height,
        size: None,
        rise: task.rise,
    };
    let plan = carry(&recipe, &piece, &basis, &choices(task));
    let next = next_strip(&basis, Roughness::default());
    let said = if task.json {
        text(&Answer {
            schema: SCHEMA,
            program: PROGRAM,
            task: "plan",
            answered: plan.printable(),
            paper: &basis.paper.name,
            coating: &basis.coating.name,
            recipe: &recipe,
            piece: &piece,
            plan: &plan,
            next_strip: next.as_ref(),
        })
    } else {
        report::planned(&report::Planned {
            recipe: &recipe,
            piece: &piece,
            basis: &basis,
            plan: &plan,
            next: next.as_ref(),
        })
    };
    output::print(&said)?;
    Ok(if plan.printable() {
        Outcome::Answered
    } else {
        Outcome::NoAnswer
    })
}

/// A recipe file, or the recipe itself.
pub(super) fn recipe(said: &str) -> Result<Recipe, Failure> {
    let path = Path::new(said);
    if path.is_file() || path.extension().is_some_and(|ending| ending == "ron") {
        return Ok(read_recipe(path)?.recipe);
    }
    Recipe::read(said).map_err(|error| Failure::usage(format!("--recipe: {error}")))
}

fn keep(file: &Path, negative: &str, recipe: &Recipe, quiet: bool) -> Result<(), Failure> {
    if file.exists() {
        return Err(Failure::not_written(format!(
            "{}: a file of that name is there; keep the recipe under another name",
            file.display()
        )));
    }
    check(file, Replace::Never, &Kind::Other)?;
    let kept = KeptRecipe {
        negative: negative.to_owned(),
        recipe: recipe.clone(),
        notes: String::new(),
    };
    write_recipe(file, &kept)?;
    output::remark(&format!("{} written", file.display()), quiet);
    Ok(())
}

fn choices(task: &PlanTask) -> Choices {
    let usual = Choices::default();
    let number = |aperture: &Aperture| aperture.engraved.unwrap_or(aperture.exact);
    let lens = match task.lens.as_deref() {
        Some([one, other]) => {
            let (one, other) = (number(one), number(other));
            (one.min(other), one.max(other))
        }
        _ => usual.lens,
    };
    Choices {
        aim: task.tone,
        head: if task.raise_head {
            HeadMove::RaisedByHeight
        } else {
            HeadMove::Stays
        },
        aperture: task.aperture,
        lens,
        blur: task.blur.unwrap_or(usual.blur),
        pieces: task.pieces as usize,
        tolerance: task.tolerance,
        ..usual
    }
}

fn basis(task: &PlanTask) -> Result<Basis, Failure> {
    let no_answer = |error: NoBasis| Failure {
        outcome: Outcome::NoAnswer,
        message: format!("nothing can be planned: {error}"),
    };
    if let Some(wanted) = &task.profile {
        let found = profile::found(task.shelf.clone(), wanted)?;
        return basis_of_profile(&found).map_err(no_answer);
    }
    let path = task
        .session
        .as_deref()
        .ok_or_else(|| Failure::usage("give a session file, or --profile"))?;
    let progress = Progress::start(task.reading.quiet);
    let mut loaded = load::session(path, &task.reading, None, &progress)?;
    load::calibration(&mut loaded.session, task.calibration.as_deref())?;
    progress.stage("measuring and solving");
    let analysis = analyse(&loaded.question(), &progress)?;
    progress.finish();
    let pair = pair(&analysis, task.coupon.as_deref())?;
    let scatter = task.session_scatter.unwrap_or(SESSION_ERROR);
    basis_of_session(&loaded.session, &analysis, pair, scatter).map_err(|error| {
        let mut failure = no_answer(error);
        if let Some(next) = strip_after_a_miss(&loaded.session, &analysis, pair) {
            failure.message.push_str(&format!(
                "; test again with `{}` at the same aperture and height",
                next.series
            ));
        }
        failure
    })
}

/// The place of the pair with a coupon of this name.
pub(super) fn pair(analysis: &Analysis, coupon: Option<&str>) -> Result<usize, Failure> {
    let Some(wanted) = coupon else {
        return Ok(0);
    };
    let names: Vec<&str> = analysis
        .pairs
        .iter()
        .map(|pair| analysis.strips[pair.coupon].name.as_str())
        .collect();
    names
        .iter()
        .position(|name| *name == wanted)
        .ok_or_else(|| {
            Failure::usage(format!(
                "the session has no solved coupon `{wanted}`{}",
                hint(nearest(wanted, &names))
            ))
        })
}
