//! Does the answer hold whatever the layout? Practice scans of every family of layouts, from raw
//! pixels and once more with all places given: the difference is the price of finding.
//!
//! The normal run has one session of every family but one. `TWINSTRIP_STUDY=full cargo test --release --test
//! layouts -- --nocapture` makes the tables of docs/locating.md and docs/accuracy.md, from seeds that
//! nothing was tuned on, with families that `twinstrip simulate` does not make. A number instead
//! of `full` takes so many sessions a family; `TWINSTRIP_LAYOUTS=frame,discs` takes these
//! families only; `TWINSTRIP_SEED=1` begins at another seed; `TWINSTRIP_SHOW=1` tells every session.

mod foreign;
mod held_out;
mod impossible;
mod session;
mod table;

use rayon::prelude::*;
use twinstrip::simulate::{Layout, Level, Recipe, Setting};

use session::{Outcome, Places, outcomes};
use table::{Row, print, print_header};

/// First seed of the published tables; tuning stays below 1,000,000.
const PUBLISHED_SEEDS: u64 = 20_000_000;
/// First seed of the normal run.
const NORMAL_SEEDS: u64 = 700_000;
/// Sessions a family in the published tables.
const PUBLISHED_SESSIONS: usize = 40;
/// Resolution, except where the family has its own.
const DPI: f64 = 150.0;

/// Sessions a family, and the first seed.
fn size() -> (usize, u64) {
    let first = std::env::var("TWINSTRIP_SEED")
        .ok()
        .and_then(|seed| seed.parse().ok());
    match std::env::var("TWINSTRIP_STUDY").as_deref() {
        Ok("full") => (PUBLISHED_SESSIONS, first.unwrap_or(PUBLISHED_SEEDS)),
        Ok(count) => (count.parse().unwrap_or(8), first.unwrap_or(1)),
        Err(_) => (1, first.unwrap_or(NORMAL_SEEDS)),
    }
}

fn full() -> bool {
    std::env::var("TWINSTRIP_STUDY").is_ok_and(|study| study == "full")
}

/// The name of a family, as the command line has it.
fn name(layout: Layout) -> String {
    let word = serde_json::to_value(layout).expect("a layout is a word");
    word.as_str().unwrap_or_default().to_owned()
}

/// Whether a family is asked for.
fn asked(name: &str) -> bool {
    std::env::var("TWINSTRIP_LAYOUTS")
        .map_or(true, |list| list.split(',').any(|asked| asked == name))
}

/// Sessions of a family: easy, ordinary and hard in turn.
fn recipes(setting: &Setting, count: usize, first: u64) -> Vec<Recipe> {
    (0..count as u64)
        .map(|index| Recipe {
            dpi: Some(DPI),
            ..Recipe::new(Level::ALL[(index % 3) as usize], first + index).laid_out(setting.clone())
        })
        .collect()
}

/// Both runs of every session of a family: raw, and with places given.
fn study(recipes: &[Recipe]) -> [Vec<Outcome>; 2] {
    let both: Vec<[Vec<Outcome>; 2]> = recipes
        .par_iter()
        .map(|recipe| outcomes(recipe, &[Places::Found, Places::Given]))
        .map(|mut runs| {
            let given = runs.pop().unwrap_or_default();
            [runs.pop().unwrap_or_default(), given]
        })
        .collect();
    let mut all = [vec![], vec![]];
    for run in both {
        for (all, one) in all.iter_mut().zip(run) {
            all.extend(one);
        }
    }
    all
}

/// Raw and given outcomes of all families, printed as a table.
fn table(families: Vec<(String, Setting)>, title: &str) -> [Vec<Outcome>; 2] {
    let (count, first) = size();
    println!("\n{title}\n");
    print_header();
    let mut all = [vec![], vec![]];
    for (place, (name, setting)) in families.into_iter().enumerate() {
        if !asked(&name) {
            continue;
        }
        // Seeds of its own for every family, so that no session is a twin of another.
        let first = first + 1000 * place as u64;
        let [raw, given] = study(&recipes(&setting, count, first));
        print(&name, &Row::of(&raw), &Row::of(&given));
        all[0].extend(raw);
        all[1].extend(given);
    }
    print("all", &Row::of(&all[0]), &Row::of(&all[1]));
    all
}

/// Of a sound 95 % bound, at least so many of `n` hold with chance 0.99 (normal approximation).
fn least_held(n: usize) -> f64 {
    0.95 * n as f64 - 2.33 * (0.95 * 0.05 * n as f64).sqrt() - 0.5
}

#[test]
fn whatever_the_layout_bounds_hold_or_no_answer_is_given() {
    let families = Layout::ALL
        .into_iter()
        // At 600 dots an inch a session takes as long as ten others.
        .filter(|&layout| layout != Layout::Fine || std::env::var("TWINSTRIP_STUDY").is_ok())
        .map(|layout| (name(layout), layout.setting()));
    let all = table(
        families.collect(),
        "Families that practice scans can be made of",
    );
    for (outcomes, places) in all.iter().zip(["found", "given"]) {
        let answers: Vec<_> = outcomes.iter().filter_map(|o| o.answer).collect();
        let held = answers.iter().filter(|answer| answer.stops_held).count();
        assert!(
            held as f64 >= least_held(answers.len()),
            "places {places}: {held} of {} bounds held",
            answers.len()
        );
    }
}

#[test]
fn layouts_left_out_of_all_tuning() {
    if full() {
        table(held_out::families(), "Left out of all tuning");
    }
}
