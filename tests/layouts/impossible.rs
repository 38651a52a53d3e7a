//! What cannot be measured, or not without a word: said in every single case.

use rayon::prelude::*;
use twinstrip::measure::analysis::{Analysis, Question, analyse};
use twinstrip::measure::exposure::{Exposures, Series};
use twinstrip::measure::finding::{Kind, Weight};
use twinstrip::measure::units::Seconds;
use twinstrip::measure::watch::Unwatched;
use twinstrip::simulate::{
    Arrangement, Encoding, Level, Practice, Recipe, Setting, Twist, make, question,
};

/// First seed of the published counts.
const PUBLISHED_SEEDS: u64 = 21_000_000;
/// Seeds of the normal run.
const NORMAL_SEEDS: u64 = 710_000;

/// What makes up a case.
struct Case {
    name: &'static str,
    recipe: fn(Recipe) -> Recipe,
    /// What is told wrongly.
    tell: fn(&mut Question, &Practice),
    /// Whether it is said.
    said: fn(&Analysis, &Practice) -> bool,
}

fn unanswered(analysis: &Analysis, _: &Practice) -> bool {
    !analysis.answered()
}

/// Whether the answer is right all the same.
fn right(analysis: &Analysis, made: &Practice) -> bool {
    let truth = made.truth.pairs[0].stops_as_exposed;
    let pair = analysis.pairs.first();
    pair.is_some_and(|pair| pair.answer.stops_exact_aperture.holds(truth))
}

/// Whether a kind is told, or no answer is given at all.
fn told(analysis: &Analysis, kinds: &[Kind]) -> bool {
    let heavy = |weight| weight >= Weight::Caution;
    !analysis.answered()
        || analysis
            .findings
            .iter()
            .any(|finding| kinds.contains(&finding.kind) && heavy(finding.weight))
}

fn as_drawn(_: &mut Question, _: &Practice) {}

/// The series as times, without its last step.
fn one_less(exposures: &Exposures) -> Exposures {
    let light = 2.0 * exposures.f_number.log10();
    let mut times: Vec<Seconds> = exposures
        .log_exposures(0.0)
        .into_iter()
        .map(|x| Seconds(10f64.powf(x + light)))
        .collect();
    times.pop();
    Exposures {
        series: Series::List { times },
        ..exposures.clone()
    }
}

const CASES: [Case; 12] = [
    Case {
        name: "coat never reaches net 0.60",
        recipe: |recipe| recipe.with(Twist::NeverReached),
        tell: as_drawn,
        said: unanswered,
    },
    Case {
        name: "exposed through a negative",
        recipe: |recipe| recipe.with(Twist::PictureDetail),
        tell: as_drawn,
        said: unanswered,
    },
    Case {
        name: "a strip is not on the scan",
        recipe: |recipe| recipe.with(Twist::MissingStrip),
        tell: as_drawn,
        said: unanswered,
    },
    Case {
        name: "a strip more than described",
        recipe: |recipe| recipe.with(Twist::ExtraStrip),
        tell: as_drawn,
        said: |analysis, _| told(analysis, &[Kind::StripNotDescribed, Kind::AmbiguousStrip]),
    },
    Case {
        name: "two or three steps",
        recipe: |recipe| {
            recipe.laid_out(Setting {
                steps: Some((2, 3)),
                size: Some([(40.0, 90.0), (20.0, 40.0)]),
                ..Setting::of(Arrangement::Margin)
            })
        },
        tell: as_drawn,
        said: |analysis, _| told(analysis, &[Kind::TooFewSteps]),
    },
    Case {
        name: "a step more than listed",
        recipe: |recipe| recipe,
        tell: |question, _| {
            if let Some(exposures) = &mut question.strips[0].exposures {
                *exposures = one_less(exposures);
            }
        },
        said: |analysis, _| told(analysis, &[Kind::StepCount, Kind::AmbiguousStrip]),
    },
    Case {
        name: "paper and coat described in each other's place",
        recipe: |recipe| recipe,
        tell: |question, _| {
            // The list says it the wrong way round; where they lie is not told.
            question.strips.swap(0, 1);
        },
        said: |analysis, made| right(analysis, made) || told(analysis, &[Kind::AmbiguousStrip]),
    },
    Case {
        name: "blacks cut off",
        recipe: |recipe| recipe.with(Twist::ClippedBlacks),
        tell: as_drawn,
        said: |analysis, _| told(analysis, &[Kind::ClippedBlacks]),
    },
    Case {
        name: "whites cut off",
        recipe: |recipe| recipe.with(Twist::ClippedWhites),
        tell: as_drawn,
        said: |analysis, _| told(analysis, &[Kind::ClippedWhites]),
    },
    Case {
        name: "20 dots an inch",
        recipe: |recipe| Recipe {
            dpi: None,
            ..recipe.with(Twist::LowResolution)
        },
        tell: as_drawn,
        said: unanswered,
    },
    Case {
        name: "wedge out of order",
        recipe: |recipe| recipe.with(Twist::WedgeNotMonotone),
        tell: as_drawn,
        said: |analysis, _| told(analysis, &[Kind::WedgeNotMonotone, Kind::WedgeMismatch]),
    },
    Case {
        name: "a linear file read as sRGB, no wedge",
        recipe: |recipe| Recipe {
            encoding: Some(Encoding::Linear),
            ..recipe.with(Twist::NoWedge)
        },
        tell: |question, _| {
            for scan in &mut question.scans {
                let mut read = (**scan).clone();
                let bits = if read.origin.bits == 8 { 8 } else { 16 };
                read.light =
                    twinstrip::simulate::scanner::light_of(Encoding::Srgb, bits, read.channels);
                *scan = read.into();
            }
        },
        said: |analysis, _| told(analysis, &[Kind::NoWedge, Kind::BeyondWedge]),
    },
];

/// In how many sessions of each case it was said: name, said, of, and the seeds where not.
fn counts(sessions: u64, first: u64) -> Vec<(&'static str, u64, Vec<u64>)> {
    CASES
        .iter()
        .enumerate()
        .map(|(place, case)| {
            let first = first + 1000 * place as u64;
            let unsaid: Vec<u64> = (first..first + sessions)
                .into_par_iter()
                .filter(|&seed| {
                    let level = Level::ALL[(seed % 3) as usize];
                    let recipe = Recipe {
                        dpi: Some(super::DPI),
                        coupons: Some(1),
                        ..Recipe::new(level, seed)
                    };
                    let made = make(&(case.recipe)(recipe));
                    let mut asked = question(&made);
                    (case.tell)(&mut asked, &made);
                    let analysis = analyse(&asked, &Unwatched).expect("nothing cancels");
                    !(case.said)(&analysis, &made)
                })
                .collect();
            (case.name, sessions - unsaid.len() as u64, unsaid)
        })
        .collect()
}

#[test]
fn what_cannot_be_measured_is_said() {
    let (sessions, first) = match std::env::var("TWINSTRIP_STUDY").as_deref() {
        Ok("full") => (100, PUBLISHED_SEEDS),
        Ok(count) => (count.parse().unwrap_or(10), 1),
        Err(_) => (1, NORMAL_SEEDS),
    };
    let counts = counts(sessions, first);
    println!("\n| cannot be measured, or not without a word | said |\n| --- | --- |");
    for (name, said, unsaid) in &counts {
        println!("| {name} | {said} of {sessions} | {unsaid:?}");
    }
    let missed: Vec<_> = counts
        .iter()
        .filter(|(.., unsaid)| !unsaid.is_empty())
        .collect();
    assert!(missed.is_empty(), "not said: {missed:?}");
}
