//! What can be said on the command line.

use std::path::PathBuf;

use clap::{Args, Parser, Subcommand, ValueEnum};

use super::compare::Compare;
use super::plan::PlanTask;
use super::profile::Profiles;
use super::{entry, printing};
use crate::document::Encoding;
use crate::measure::raster::Channel;
use crate::simulate::{Layout, Level, Twist};

/// Carries an exposure found on printing paper over to hand-coated photographic emulsion.
#[derive(Debug, Parser)]
#[command(
    name = "twinstrip",
    version,
    about,
    after_help = "Exit codes: 0 answered, 2 bad usage, 3 unreadable input, 4 measured but no \
                  answer can be given, 5 output not written, 130 cancelled."
)]
pub(super) struct Arguments {
    #[command(subcommand)]
    pub(super) task: Option<Task>,
}

#[derive(Debug, Subcommand)]
pub(super) enum Task {
    /// Write a session file from scans, a wedge and the strips' exposures
    New(New),
    /// Measure the density of every step
    Measure(Measure),
    /// Find how much slower and softer the coated strips are than the paper
    Solve(Solve),
    /// Carry a recipe on paper over to a coated piece
    Plan(Box<PlanTask>),
    /// Learn from scans of a wedge how a scanner shows densities
    Calibrate(Calibrate),
    /// Say what a calibration file holds
    Show(Show),
    /// Keep what sessions teach about a material, and say what they tell together
    Profile(Profiles),
    /// Write the sheet for the bench: exposures, burns, focus, baths, cautions
    Sheet(printing::sheet::SheetTask),
    /// Show what a paper print would look like on the coating
    Preview(printing::preview::PreviewTask),
    /// Hold the coatings of a session, or several profiles, against each other
    Compare(Compare),
    /// Make practice scans whose answer is known
    Simulate(Simulate),
}

/// How scans are read.
#[derive(Debug, Clone, Args)]
pub(super) struct Reading {
    /// Encoding of the scans' values, whatever the files say: srgb, linear or gamma:2.2
    #[arg(long, value_name = "ENCODING", value_parser = entry::encoding)]
    pub(super) encoding: Option<Encoding>,
    /// Most pixels that a scan may have
    #[arg(long, value_name = "COUNT", value_parser = entry::count)]
    pub(super) max_pixels: Option<u64>,
    /// Say nothing on standard error but errors
    #[arg(long, short)]
    pub(super) quiet: bool,
}

/// How densities are read from scans, and how they are told.
#[derive(Debug, Args)]
pub(super) struct Measuring {
    /// Scan of the empty glass with the same settings and area; goes before the session's
    #[arg(long, value_name = "FILE")]
    pub(super) empty: Option<PathBuf>,
    /// Calibration file of the scanner, for scans without a wedge; goes before the session's
    #[arg(long, value_name = "FILE")]
    pub(super) calibration: Option<PathBuf>,
    /// What densities are read from: luminance, visual (as a visual densitometer weighs), red,
    /// green or blue; goes before the session's
    #[arg(long, value_name = "CHANNEL", value_parser = entry::channel)]
    pub(super) channel: Option<Channel>,
    /// Print JSON (docs/json.md) instead of text
    #[arg(long)]
    pub(super) json: bool,
    #[command(flatten)]
    pub(super) reading: Reading,
}

#[derive(Debug, Args)]
#[command(after_help = "\
STRIP is a name, a colon and the exposure. Give the strips in reading order: scan by scan,
rows from the top, each from the left. An exposure is a series, `at` and an aperture:

  building up 8 x 2s at f/16           each step gets 2 s more (bursts; `totals 2s 4s` too)
  one at a time 2s 4s 8s at f/16       each step in a burst of its own
  halves from 4s, 9 steps at f/8       half a stop from step to step (thirds, 1/4 stops ...)
  wedge 20s through 1.2 0.9 0.6 at f/8 one burst through a transmission wedge
  2s 3s 5s 8s at f/8                   total times as listed

and after the aperture, where it matters: `, magnified 3.5x` and `, filter 0.3`.

Example:
  twinstrip new session.ron --scan slates.tif --wedge \"0.05 0.20 0.35 0.50 0.65 0.80\" \\
    --reference \"warm paper: building up 8 x 2s at f/16\" \\
    --coupon \"slate, two coats: halves from 4s, 9 steps at f/16\"")]
pub(super) struct New {
    /// Session file to write
    #[arg(value_name = "SESSION")]
    pub(super) session: PathBuf,
    /// Scan of strips (several: give it several times)
    #[arg(long, value_name = "FILE", required = true)]
    pub(super) scan: Vec<PathBuf>,
    /// Scan of the empty glass with the same settings and area, to tell how it is lit
    #[arg(long, value_name = "FILE")]
    pub(super) empty: Option<PathBuf>,
    /// Densities of the wedge that was scanned along, or a file with them
    #[arg(long, value_name = "DENSITIES")]
    pub(super) wedge: Option<String>,
    /// Calibration file of the scanner, for scans without a wedge
    #[arg(long, value_name = "FILE")]
    pub(super) calibration: Option<PathBuf>,
    /// Strip of ordinary printing paper
    #[arg(long, value_name = "STRIP", value_parser = entry::strip)]
    pub(super) reference: Vec<entry::NamedExposure>,
    /// Strip with the hand-coated emulsion
    #[arg(long, value_name = "STRIP", value_parser = entry::strip)]
    pub(super) coupon: Vec<entry::NamedExposure>,
    /// Encoding of the scans' values, whatever the files say: srgb, linear or gamma:2.2
    #[arg(long, value_name = "ENCODING", value_parser = entry::encoding)]
    pub(super) encoding: Option<Encoding>,
    /// What densities are read from: luminance (if left out), visual, red, green or blue
    #[arg(long, value_name = "CHANNEL", value_parser = entry::channel)]
    pub(super) channel: Option<Channel>,
    /// Dead time of the lamp a burst
    #[arg(long, value_name = "TIME", value_parser = entry::time)]
    pub(super) lamp_lag: Option<f64>,
    /// Replace a session file that is there; it is kept with `.before` added to its name
    #[arg(long)]
    pub(super) overwrite: bool,
    /// Say nothing on standard error but errors
    #[arg(long, short)]
    pub(super) quiet: bool,
}

#[derive(Debug, Args)]
pub(super) struct Measure {
    /// A session file, or scans
    #[arg(value_name = "SESSION_OR_SCAN", required = true)]
    pub(super) inputs: Vec<PathBuf>,
    /// With scans: densities of the wedge that was scanned along, or a file with them
    #[arg(long, value_name = "DENSITIES")]
    pub(super) wedge: Option<String>,
    #[command(flatten)]
    pub(super) measuring: Measuring,
}

#[derive(Debug, Args)]
pub(super) struct Solve {
    /// The session file
    #[arg(value_name = "SESSION")]
    pub(super) session: PathBuf,
    #[command(flatten)]
    pub(super) measuring: Measuring,
}

#[derive(Debug, Args)]
#[command(after_help = "\
Example:
  twinstrip calibrate flatbed.ron --scan wedge.tif --wedge wedge.txt \\
    --scanner \"flatbed in the shed\" --settings \"600 dpi, 16 bits, nothing automatic\"")]
pub(super) struct Calibrate {
    /// Calibration file to write
    #[arg(value_name = "CALIBRATION")]
    pub(super) calibration: PathBuf,
    /// Scan of the wedge (several: give it several times)
    #[arg(long, value_name = "FILE", required = true)]
    pub(super) scan: Vec<PathBuf>,
    /// The wedge's densities, or a file with them; one for all scans, or one for each
    #[arg(long, value_name = "DENSITIES", required = true)]
    pub(super) wedge: Vec<String>,
    /// What you call the scanner
    #[arg(long, value_name = "NAME")]
    pub(super) scanner: String,
    /// How it is set, in your words
    #[arg(long, value_name = "TEXT", default_value = "")]
    pub(super) settings: String,
    /// Standard uncertainty of the listed densities (0.01 if left out)
    #[arg(long, value_name = "DENSITY", value_parser = entry::uncertainty)]
    pub(super) uncertainty: Option<f64>,
    /// Day of the calibration, such as 2026-11-25; today if left out
    #[arg(long, value_name = "DATE", value_parser = entry::date)]
    pub(super) date: Option<String>,
    /// Draw the curve and its errors to an SVG file
    #[arg(long, value_name = "FILE")]
    pub(super) picture: Option<PathBuf>,
    /// Replace files that are there; they are kept with `.before` added to their names
    #[arg(long)]
    pub(super) overwrite: bool,
    /// Print JSON (docs/json.md) instead of text
    #[arg(long)]
    pub(super) json: bool,
    #[command(flatten)]
    pub(super) reading: Reading,
}

#[derive(Debug, Args)]
pub(super) struct Show {
    /// The calibration file
    #[arg(value_name = "CALIBRATION")]
    pub(super) calibration: PathBuf,
    /// Draw the curve and its errors to an SVG file
    #[arg(long, value_name = "FILE")]
    pub(super) picture: Option<PathBuf>,
    /// Replace a picture that is there; it is kept with `.before` added to its name
    #[arg(long, requires = "picture")]
    pub(super) overwrite: bool,
    /// Print JSON (docs/json.md) instead of text
    #[arg(long)]
    pub(super) json: bool,
}

#[derive(Debug, Args)]
pub(super) struct Simulate {
    /// Folder to write to; it is made if it isn't there
    #[arg(value_name = "FOLDER")]
    pub(super) folder: PathBuf,
    /// How difficult
    #[arg(long, value_enum, default_value_t = LevelWord::Ordinary)]
    pub(super) level: LevelWord,
    /// Same level, seed and twist: same scans
    #[arg(long, value_name = "NUMBER", default_value_t = 1)]
    pub(super) seed: u64,
    /// One thing out of the ordinary, such as clipped-blacks, no-wedge or jpeg:60
    #[arg(long, value_name = "TWIST", value_parser = entry::twist)]
    pub(super) twist: Option<Twist>,
    /// Where the steps lie and what they lie on, such as frame, windows or cut-apart
    #[arg(long, value_name = "LAYOUT", value_parser = entry::layout, conflicts_with = "sessions")]
    pub(super) layout: Option<Layout>,
    /// How many sessions, each in a folder of its own with the next seed
    #[arg(long, value_name = "NUMBER", default_value_t = 1, value_parser = clap::value_parser!(u64).range(1..=10_000))]
    pub(super) count: u64,
    /// Coated strips a session
    #[arg(long, value_name = "NUMBER", value_parser = clap::value_parser!(u64).range(1..=12))]
    pub(super) coupons: Option<u64>,
    /// Resolution in dots per inch
    #[arg(long, value_name = "DPI", value_parser = entry::dpi)]
    pub(super) dpi: Option<f64>,
    /// Coats on primed roof slate; otherwise by chance on slate or paper
    #[arg(long)]
    pub(super) slate: bool,
    /// Repeat one test of slate coatings so many times, and keep profiles of them in FOLDER/shelf
    #[arg(long, value_name = "NUMBER", conflicts_with_all = ["count", "twist"],
        value_parser = clap::value_parser!(u64).range(1..=60))]
    pub(super) sessions: Option<u64>,
    /// With --sessions: stops by which the emulsion gets slower from session to session
    #[arg(
        long,
        value_name = "STOPS",
        default_value_t = 0.0,
        requires = "sessions"
    )]
    pub(super) drift: f64,
    /// With --sessions: density by which the coats fog from session to session
    #[arg(
        long,
        value_name = "DENSITY",
        default_value_t = 0.0,
        requires = "sessions"
    )]
    pub(super) fog: f64,
    /// Grey scans; otherwise by chance grey or colour
    #[arg(long)]
    pub(super) grey: bool,
    /// Replace what stands in a folder of practice scans
    #[arg(long)]
    pub(super) overwrite: bool,
    /// Say nothing on standard error but errors
    #[arg(long, short)]
    pub(super) quiet: bool,
}

/// How difficult practice scans are.
#[derive(Debug, Clone, Copy, PartialEq, Eq, ValueEnum)]
pub(super) enum LevelWord {
    /// Even coat, clean scan, steps that bracket the curve well
    Easy,
    /// A coat and scan as usual
    Ordinary,
    /// A rough coat, tilted and dusty, steps off centre
    Hard,
}

impl From<LevelWord> for Level {
    fn from(word: LevelWord) -> Self {
        match word {
            LevelWord::Easy => Self::Easy,
            LevelWord::Ordinary => Self::Ordinary,
            LevelWord::Hard => Self::Hard,
        }
    }
}
