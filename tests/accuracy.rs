//! Does the answer hold? Simulated sessions with known truth, from raw pixels to bounds, no
//! geometry given. None of the true curves is of the fitted family.
//!
//! The normal run is small. The published tables (docs/accuracy.md) come from
//! `TWINSTRIP_STUDY=full cargo test --release --test accuracy -- --nocapture`,
//! whose seeds were never used while tuning.

use rayon::prelude::*;
use twinstrip::measure::analysis::analyse;
use twinstrip::measure::watch::Unwatched;
use twinstrip::simulate::{Family, Level, Practice, Recipe, Twist, make, question};

/// First seed of the published tables; tuning stays below.
const PUBLISHED_SEEDS: u64 = 6_000_000;
/// First seed of the normal run.
const NORMAL_SEEDS: u64 = 500_000;

/// What became of one session.
#[derive(Debug, Clone, Copy)]
struct Outcome {
    /// Whether an answer is possible at all.
    measurable: bool,
    answer: Option<Answer>,
}

#[derive(Debug, Clone, Copy)]
struct Answer {
    stops_error: f64,
    stops_half_width: Option<f64>,
    stops_held: bool,
    range_error: Option<f64>,
    range_half_width: Option<f64>,
    range_held: bool,
}

fn outcome(recipe: Recipe) -> Outcome {
    let seed = recipe.seed;
    let made: Practice = make(&recipe);
    let truth = made.truth.pairs[0];
    let mut asked = question(&made);
    if std::env::var_os("TWINSTRIP_TRUE_GEOMETRY").is_some() {
        for (spec, truth) in asked.strips.iter_mut().zip(&made.truth.strips) {
            spec.shape = truth.shape.clone();
        }
        if let (Some(spec), [truth]) = (&mut asked.wedge, &made.truth.wedges[..]) {
            spec.shape = Some(truth.shape.clone());
        }
    }
    let analysis = analyse(&asked, &Unwatched).expect("nothing cancels");
    if std::env::var_os("TWINSTRIP_SHOW").is_some() {
        for finding in &analysis.findings {
            println!(
                "{seed}: {:?} {:?} {}",
                finding.weight, finding.kind, finding.seen
            );
        }
    }
    let answer = analysis.pairs.first().and_then(|pair| {
        let (stops, range) = (
            pair.answer.stops_exact_aperture,
            pair.answer.contrast_difference,
        );
        Some(Answer {
            stops_error: stops.value? - truth.stops_as_exposed,
            stops_half_width: stops.half_width(),
            stops_held: stops.holds(truth.stops_as_exposed),
            range_error: range.value.map(|range| range - truth.contrast_difference),
            range_half_width: range.half_width(),
            range_held: range.holds(truth.contrast_difference),
        })
    });
    Outcome {
        measurable: truth.measurable,
        answer,
    }
}

#[derive(Debug, Default)]
struct Row {
    sessions: usize,
    answered: usize,
    stops_rmse: f64,
    stops_half_width: f64,
    stops_coverage: f64,
    range_rmse: f64,
    range_half_width: f64,
    range_coverage: f64,
    /// Sessions without an answer that have none, and those that were answered all the same.
    rightly_withheld: usize,
    wrongly_answered: usize,
}

fn median(mut values: Vec<f64>) -> f64 {
    values.sort_by(f64::total_cmp);
    values.get(values.len() / 2).copied().unwrap_or(f64::NAN)
}

fn row(outcomes: &[Outcome]) -> Row {
    let measurable = || outcomes.iter().filter(|outcome| outcome.measurable);
    let answers: Vec<Answer> = measurable().filter_map(|outcome| outcome.answer).collect();
    let count = answers.len() as f64;
    let rmse = |errors: Vec<f64>| {
        (errors.iter().map(|error| error * error).sum::<f64>() / errors.len() as f64).sqrt()
    };
    let impossible: Vec<&Outcome> = outcomes
        .iter()
        .filter(|outcome| !outcome.measurable)
        .collect();
    let answered_all_the_same = impossible
        .iter()
        .filter(|outcome| outcome.answer.is_some())
        .count();
    let ranges: Vec<&Answer> = answers
        .iter()
        .filter(|answer| answer.range_error.is_some())
        .collect();
    Row {
        sessions: outcomes.len(),
        answered: answers.len(),
        stops_rmse: rmse(answers.iter().map(|answer| answer.stops_error).collect()),
        stops_half_width: median(answers.iter().filter_map(|a| a.stops_half_width).collect()),
        stops_coverage: answers.iter().filter(|a| a.stops_held).count() as f64 / count,
        range_rmse: rmse(answers.iter().filter_map(|a| a.range_error).collect()),
        range_half_width: median(answers.iter().filter_map(|a| a.range_half_width).collect()),
        range_coverage: ranges.iter().filter(|a| a.range_held).count() as f64 / ranges.len() as f64,
        rightly_withheld: impossible.len() - answered_all_the_same,
        wrongly_answered: answered_all_the_same,
    }
}

fn print(title: &str, row: &Row) {
    println!(
        "| {title} | {} | {} | {:.4} | {:.3} | {:.1} | {:.2} | {:.1} | {:.1} | {} / {} |",
        row.sessions,
        row.answered,
        row.stops_rmse,
        row.stops_half_width,
        100.0 * row.stops_coverage,
        row.range_rmse,
        row.range_half_width,
        100.0 * row.range_coverage,
        row.rightly_withheld,
        row.wrongly_answered,
    );
}

fn study(
    title: &str,
    sessions: usize,
    first_seed: u64,
    recipe: impl Fn(u64) -> Recipe + Sync,
) -> Vec<Outcome> {
    let outcomes: Vec<Outcome> = (0..sessions as u64)
        .into_par_iter()
        .map(|index| outcome(recipe(first_seed + index)))
        .collect();
    print(title, &row(&outcomes));
    if std::env::var_os("TWINSTRIP_SHOW").is_some() {
        for outcome in &outcomes {
            println!("{outcome:?}");
        }
    }
    outcomes
}

/// How much is done: sessions a level, first seed, and whether the published limits are held.
fn size() -> (usize, u64, bool) {
    let first = std::env::var("TWINSTRIP_SEED")
        .ok()
        .and_then(|seed| seed.parse().ok());
    match std::env::var("TWINSTRIP_STUDY").as_deref() {
        Ok("full") => (120, first.unwrap_or(PUBLISHED_SEEDS), true),
        Ok(count) => (count.parse().unwrap_or(20), first.unwrap_or(1), false),
        Err(_) => (8, NORMAL_SEEDS, false),
    }
}

fn header() {
    println!(
        "| sessions | n | answered | RMSE stops | half-width stops | coverage % | RMSE dR | half-width dR | coverage % | impossible: said / missed |"
    );
    println!("| --- | --- | --- | --- | --- | --- | --- | --- | --- | --- |");
}

/// Millimetres over which the coats' unevenness holds together in the sessions that the limits
/// below are for. Longer waves are harder, since a step then averages fewer of them: sessions
/// with those of the practice scans, 4 to 12 mm, have rows of their own.
const WAVES_MM: (f64, f64) = (5.0, 6.0);

/// A session of the table.
fn recipe(level: Level, seed: u64) -> Recipe {
    Recipe::new(level, seed).with_waves(WAVES_MM.0, WAVES_MM.1)
}

/// Most that a level may have: RMSE and median half-width of log2 r in stops, then of the
/// contrast difference in ISO R. What a prototype of the method reached.
const LIMITS: [(Level, [f64; 4]); 3] = [
    (Level::Easy, [0.018, 0.056, 7.7, 16.0]),
    (Level::Ordinary, [0.030, 0.092, 9.0, 18.5]),
    (Level::Hard, [0.054, 0.150, 8.7, 21.5]),
];
/// Share of the bounds that may hold over all, and the least of a level.
const COVERAGE: std::ops::RangeInclusive<f64> = 0.93..=0.97;
const COVERAGE_OF_A_LEVEL: f64 = 0.90;
/// The normal run is too short for these limits: its RMSE comes out up to one and a half times
/// the true one by chance (95 % point of chi-squared with 8 degrees of freedom), and of 24
/// bounds that hold in 95 of 100 sessions at least 20 do with chance 0.99.
const SHORT_RUN: (f64, f64) = (1.5, 20.0 / 24.0);

#[test]
fn the_levels_of_difficulty_keep_their_promises() {
    let (count, first, full) = size();
    header();
    let mut all = vec![];
    let mut wrong = vec![];
    for (level, limits) in LIMITS {
        let mut on_level = study(&format!("{level:?}"), count, first, |seed| {
            recipe(level, seed)
        });
        let found = row(&on_level);
        let figures = [
            found.stops_rmse,
            found.stops_half_width,
            found.range_rmse,
            found.range_half_width,
        ];
        let room = if full { 1.0 } else { SHORT_RUN.0 };
        for (name, (figure, limit)) in
            ["RMSE stops", "half-width stops", "RMSE dR", "half-width dR"]
                .into_iter()
                .zip(figures.into_iter().zip(limits))
        {
            if figure > limit * room {
                wrong.push(format!("{level:?}: {name} {figure:.4}, limit {limit}"));
            }
        }
        if full {
            on_level.extend(odd_ones(level, count / 6, first));
            let title = format!("{level:?}, waves of 4 to 12 mm");
            // Seeds of their own here too.
            on_level.extend(study(&title, count, first + 200_000, |seed| {
                Recipe::new(level, seed)
            }));
            let pooled = row(&on_level);
            print(&format!("{level:?}, all of these"), &pooled);
            for share in [pooled.stops_coverage, pooled.range_coverage] {
                if share < COVERAGE_OF_A_LEVEL {
                    wrong.push(format!("{level:?}: coverage {share:.3}"));
                }
            }
            // A tenth of the sessions more have no answer.
            let never = study(
                &format!("{level:?}, never reached"),
                count / 10,
                first,
                |seed| recipe(level, seed).with(Twist::NeverReached),
            );
            if row(&never).wrongly_answered > 0 {
                wrong.push(format!("{level:?}: answered what can't be measured"));
            }
        }
        all.extend(on_level);
    }
    let pooled = row(&all);
    print("all", &pooled);
    for share in [pooled.stops_coverage, pooled.range_coverage] {
        let holds = if full {
            COVERAGE.contains(&share)
        } else {
            share >= SHORT_RUN.1
        };
        if !holds {
            wrong.push(format!("coverage over all {share:.3}"));
        }
    }
    assert!(wrong.is_empty(), "{}", wrong.join("; "));
}

/// A coat rough at several scales, and curves that the fitted family can't take.
fn odd_ones(level: Level, count: usize, first: u64) -> Vec<Outcome> {
    let twists = [
        ("rough at several scales", Twist::SeveralScales),
        ("two emulsions", Twist::Curves(Family::TwoEmulsions)),
        ("long toe", Twist::Curves(Family::LongToe)),
        (
            "surface reflection",
            Twist::Curves(Family::SurfaceReflection),
        ),
    ];
    // Seeds of their own, so that no session is a twin of one above.
    let mut seed = first + 100_000;
    let mut outcomes = vec![];
    for (name, twist) in twists {
        outcomes.extend(study(&format!("{level:?}, {name}"), count, seed, |seed| {
            recipe(level, seed).with(twist)
        }));
        seed += count as u64;
    }
    outcomes
}

#[test]
fn what_is_never_reached_is_said_to_be_beyond_measuring() {
    let outcomes = study("Ordinary, never reached", 6, NORMAL_SEEDS, |seed| {
        recipe(Level::Ordinary, seed).with(Twist::NeverReached)
    });
    assert_eq!(row(&outcomes).rightly_withheld, 6);
}
