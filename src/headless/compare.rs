//! `twinstrip compare`: coatings of a session, or profiles, against each other.

use std::path::{Path, PathBuf};

use clap::Args;
use serde_json::{Value, json};

use super::arguments::Reading;
use super::exit::{Failure, Outcome};
use super::json::{PROGRAM, SCHEMA, text};
use super::progress::Progress;
use super::{load, output};
use crate::document::comparing::{Asked, CannotCompare, Comparison, of_profile, of_session};
use crate::document::profile::{Field, Particulars, Price, Wet};
use crate::document::report;
use crate::files::shelf::{Shelf, usual_folder};
use crate::measure::analysis::analyse;
use crate::measure::coatings::{Amount, Shared, look};

/// What is compared, and how.
#[derive(Debug, Args)]
#[command(after_help = "\
Of a session all coated strips with an answer are compared; profiles are told by their names on
the shelf. Differences carry bounds that hold all at once in 95 of 100 cases.

Examples:
  twinstrip compare session.ron --coats 1,2,3 --wet \"1.1 ml,2.0 ml,2.9 ml\" \\
    --price \"80 EUR/l\" --piece 6
  twinstrip compare \"slate, one coat\" \"slate, two coats\" \"slate, three coats\"
  twinstrip compare session.ron --against \"slate, two coats\"")]
pub(super) struct Compare {
    /// A session file, or two or more profiles
    #[arg(value_name = "SESSION_OR_PROFILE", required = true)]
    things: Vec<String>,
    /// Hold every other coating against this one only
    #[arg(long, value_name = "COATING", conflicts_with = "pair")]
    against: Option<String>,
    /// Only this pair, the first less the second (several: give it several times)
    #[arg(long, num_args = 2, value_names = ["COATING", "COATING"])]
    pair: Vec<String>,
    /// Coats of each coating, in their order
    #[arg(long, value_name = "COUNTS", value_delimiter = ',', value_parser = coats)]
    coats: Vec<u32>,
    /// Emulsion on a square decimetre of each coating, in their order, such as "1.1 ml,2.0 ml"
    #[arg(long, value_name = "AMOUNTS", value_delimiter = ',', value_parser = wet)]
    wet: Vec<Wet>,
    /// What the emulsion costs, such as "80 EUR/l"
    #[arg(long, value_name = "PRICE", value_parser = price)]
    price: Option<Price>,
    /// Size of a piece in square decimetres, for what its emulsion costs
    #[arg(long, value_name = "AREA", value_parser = area)]
    piece: Option<f64>,
    /// Density below the best Dmax that still is dark enough
    #[arg(long, value_name = "DENSITY", default_value = "0.05", value_parser = density)]
    within: f64,
    /// Folder of the profiles; TWINSTRIP_SHELF or your data folder if left out
    #[arg(long, value_name = "FOLDER")]
    shelf: Option<PathBuf>,
    /// Calibration file of the scanner, for scans without a wedge; goes before the session's
    #[arg(long, value_name = "FILE")]
    calibration: Option<PathBuf>,
    /// Print JSON (docs/json.md) instead of text
    #[arg(long)]
    json: bool,
    #[command(flatten)]
    reading: Reading,
}

pub(super) fn run(task: &Compare) -> Result<Outcome, Failure> {
    let asked = Asked {
        against: task.against.clone(),
        pairs: task
            .pair
            .chunks_exact(2)
            .map(|pair| (pair[0].clone(), pair[1].clone()))
            .collect(),
        within: task.within,
        coats: task.coats.clone(),
        wet: task.wet.clone(),
        price: task.price.clone(),
        piece: task.piece,
    };
    let comparison = match task.things.as_slice() {
        [only] => session(Path::new(only), task, &asked)?,
        several => profiles(several, task, &asked)?,
    };
    let comparison = match comparison {
        Ok(comparison) => comparison,
        Err(error @ CannotCompare::TooFew(_)) => {
            return Err(Failure {
                outcome: Outcome::NoAnswer,
                message: error.to_string(),
            });
        }
        Err(error) => return Err(Failure::usage(error.to_string())),
    };
    let answer = if task.json {
        json(&comparison)
    } else {
        report::compared(&comparison)
    };
    output::print(&answer)?;
    Ok(if comparison.answered() {
        Outcome::Answered
    } else {
        Outcome::NoAnswer
    })
}

/// A comparison, or why there is none.
type Compared = Result<Comparison, CannotCompare>;

fn session(path: &Path, task: &Compare, asked: &Asked) -> Result<Compared, Failure> {
    let progress = Progress::start(task.reading.quiet);
    let mut loaded = load::session(path, &task.reading, None, &progress)?;
    load::calibration(&mut loaded.session, task.calibration.as_deref())?;
    progress.stage("measuring and solving");
    let question = loaded.question();
    let analysis = analyse(&question, &progress)?;
    progress.stage("comparing");
    let (coatings, shared) = of_session(&loaded.session, &analysis);
    let channel = loaded.session.settings.channel;
    let mut looks = Vec::with_capacity(coatings.len());
    for coating in &coatings {
        let strip = analysis
            .strips
            .iter()
            .find(|strip| strip.name == coating.name);
        looks.push(match strip {
            Some(strip) => look(&loaded.scans, strip, channel, &progress)?,
            None => None,
        });
    }
    progress.finish();
    Ok(Comparison::new(coatings, &shared, looks, &[], asked))
}

fn profiles(names: &[String], task: &Compare, asked: &Asked) -> Result<Compared, Failure> {
    let folder = task.shelf.clone().or_else(usual_folder);
    let folder = folder.ok_or_else(|| {
        Failure::usage("there is no folder for the profiles; say --shelf FOLDER or TWINSTRIP_SHELF")
    })?;
    let shelf = Shelf::new(folder);
    let listing = shelf.list()?;
    let mut coatings = vec![];
    let mut prices = vec![];
    for name in names {
        let (file, _) = listing.find(name)?;
        let profile = shelf.read(file)?;
        coatings.push(of_profile(&profile));
        prices.push(profile.particulars.price);
    }
    Ok(Comparison::new(
        coatings,
        &Shared::default(),
        vec![],
        &prices,
        asked,
    ))
}

fn json(comparison: &Comparison) -> String {
    let coatings: Vec<Value> = comparison
        .coatings
        .iter()
        .enumerate()
        .map(|(place, coating)| {
            let amount = |amount: Amount| match amount {
                Amount::Millilitres(amount) => json!({ "millilitres": amount }),
                Amount::Grams(amount) => json!({ "grams": amount }),
            };
            let cost = comparison.costs.get(place).and_then(Option::as_ref);
            json!({
                "name": coating.name,
                "speed": coating.speed,
                "dmin": coating.dmin,
                "dmax": coating.dmax,
                "range": coating.range,
                "coats": coating.coats,
                "wet": coating.amount.map(amount),
                "look": comparison.looks.get(place),
                "piece": cost.map(|cost| json!({
                    "emulsion": amount(cost.amount),
                    "price": cost.price.as_ref().map(|price| price.0),
                    "currency": cost.price.as_ref().map(|price| &price.1),
                })),
            })
        })
        .collect();
    let compared = &comparison.compared;
    text(&json!({
        "schema": SCHEMA,
        "program": PROGRAM,
        "task": "compare",
        "answered": comparison.answered(),
        "coatings": coatings,
        "tables": compared.tables,
        "thickness": compared.thickness,
        "within": comparison.within,
        "thinnest": compared.thinnest,
    }))
}

/// What a field of a profile makes of a text.
fn particular(field: Field, said: &str) -> Result<Particulars, String> {
    let mut particulars = Particulars::default();
    particulars.set(field, said)?;
    Ok(particulars)
}

fn coats(said: &str) -> Result<u32, String> {
    let read = particular(Field::Coats, said)?.coats;
    read.ok_or_else(|| "write a count of coats, such as 2".into())
}

fn wet(said: &str) -> Result<Wet, String> {
    let read = particular(Field::Wet, said)?.wet;
    read.ok_or_else(|| "write an amount, such as 2.1 ml".into())
}

fn price(said: &str) -> Result<Price, String> {
    let read = particular(Field::Price, said)?.price;
    read.ok_or_else(|| "write a price, such as 80 EUR/l".into())
}

fn area(said: &str) -> Result<f64, String> {
    said.parse()
        .ok()
        .filter(|area| (0.01..=10_000.0).contains(area))
        .ok_or_else(|| "write square decimetres between 0.01 and 10000, such as 6".into())
}

fn density(said: &str) -> Result<f64, String> {
    said.parse()
        .ok()
        .filter(|density| *density > 0.0 && *density <= 1.0)
        .ok_or_else(|| "write a density above 0 and at most 1, such as 0.05".into())
}
