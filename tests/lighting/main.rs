//! How the glass is lit: uneven lighting is seen on the lid and taken off, and a scan without a
//! wedge is brought to the level of the one that has it.
//!
//! Practice scans know what a densitometer would read on every step (ISO 5-4).

#![expect(clippy::unwrap_used, reason = "what fails here fails a test")]

mod empty;
mod twice;

use std::sync::Arc;

use rayon::prelude::*;
use twinstrip::measure::analysis::{Analysis, analyse};
use twinstrip::measure::finding::Kind;
use twinstrip::measure::geometry::Point;
use twinstrip::measure::raster::{Channel, Raster, Samples};
use twinstrip::measure::scale::lid::Lid;
use twinstrip::measure::watch::Unwatched;
use twinstrip::simulate::{Level, Practice, Recipe, Twist, make, question};

/// Per cent more light at a corner of the glass than in the middle, and as much less at the
/// opposite one: within what flatbeds show (common practice, no source).
const UNEVEN: u8 = 5;
/// Practice sessions of each test; `TWINSTRIP_STUDY=40` for more, of seeds that nothing was
/// chosen on: the rates of docs/scan-checks.md.
const SESSIONS: u64 = 8;

fn seeds() -> std::ops::Range<u64> {
    let count = std::env::var("TWINSTRIP_STUDY").ok();
    match count.and_then(|count| count.parse::<u64>().ok()) {
        Some(count) => 7_500_000..7_500_000 + count,
        None => 300..300 + SESSIONS,
    }
}

/// Measured less true density of the sure strips' steps up to 1.6 D, of the strips on `scan`.
fn errors(made: &Practice, analysis: &Analysis, scan: Option<usize>) -> Vec<f64> {
    let mut errors = Vec::new();
    for (truth, strip) in made.truth.strips.iter().zip(&analysis.strips) {
        let Some(located) = strip.located.as_ref().filter(|l| l.is_sure()) else {
            continue;
        };
        if scan.is_some_and(|scan| located.shape.scan != scan) {
            continue;
        }
        for step in strip.steps.iter().filter(|step| step.step > 0) {
            let area = truth.steps[step.step - 1].area_density;
            errors.extend(area.filter(|d| *d < 1.6).map(|d| step.density - d));
        }
    }
    errors
}

fn root_mean_square(errors: &[f64]) -> f64 {
    (errors.iter().map(|e| e * e).sum::<f64>() / errors.len() as f64).sqrt()
}

/// Twins of a practice session: lit evenly enough, and unevenly.
fn twins(seed: u64) -> (Practice, Practice) {
    let recipe = Recipe {
        dpi: Some(200.0),
        bits: Some(16),
        ..Recipe::new(Level::Easy, seed)
    };
    let uneven = Recipe {
        twist: Some(Twist::UnevenLamp(UNEVEN)),
        ..recipe.clone()
    };
    (make(&recipe), make(&uneven))
}

#[test]
fn uneven_lighting_is_found_on_the_lid_and_a_glass_lit_evenly_is_left_alone() {
    let seen: Vec<(bool, f64, f64, bool)> = seeds()
        .into_par_iter()
        .filter_map(|seed| {
            let (even, uneven) = twins(seed);
            let scan = &uneven.scans[0];
            let lid = Lid::seen(scan, Channel::Luminance)?;
            let (x, y) = (scan.width as f64, scan.height as f64);
            // The model's light rises evenly along both sides.
            let (a, b) = (
                lid.darker(Point::new(0.0, 0.0)),
                lid.darker(Point::new(x, y)),
            );
            let truth = f64::from(UNEVEN) / 100.0;
            let truth = ((1.0 + truth) / (1.0 - truth)).log10();
            let (c, d) = (
                lid.darker(Point::new(x, 0.0)),
                lid.darker(Point::new(0.0, y)),
            );
            let found = (a - b).abs().max((c - d).abs());
            let even = Lid::seen(&even.scans[0], Channel::Luminance)?;
            Some((lid.is_uneven(), found, truth, even.is_uneven()))
        })
        .collect();
    println!("{seen:?}");
    let told =
        |which: fn(&(bool, f64, f64, bool)) -> bool| seen.iter().filter(|s| which(s)).count();
    println!(
        "of {} lids in sight: uneven ones seen {}, even ones called uneven {}",
        seen.len(),
        told(|s| s.0),
        told(|s| s.3)
    );
    assert!(seen.len() as u64 >= SESSIONS / 2, "a lid is seldom seen");
    let share = |count: usize| count as f64 / seen.len() as f64;
    assert!(share(seen.iter().filter(|s| s.0).count()) > 0.85);
    assert!(share(seen.iter().filter(|s| s.3).count()) < 0.30);
    let off: Vec<f64> = seen
        .iter()
        .map(|(_, found, truth, _)| found - truth)
        .collect();
    assert!(root_mean_square(&off) < 0.008, "{off:?}");
}

/// Errors on an even glass and on an uneven one, and whether the latter was told.
type Both = (Vec<f64>, Vec<f64>, bool);

#[test]
fn densities_on_a_glass_lit_unevenly_are_as_right_as_on_an_even_one() {
    let both: Vec<Both> = seeds()
        .into_par_iter()
        .map(|seed| {
            let (even, uneven) = twins(seed);
            let answer = |made: &Practice| analyse(&question(made), &Unwatched).unwrap();
            let (on_even, on_uneven) = (answer(&even), answer(&uneven));
            let told = on_uneven
                .findings
                .iter()
                .any(|f| f.kind == Kind::UnevenLight);
            (
                errors(&even, &on_even, None),
                errors(&uneven, &on_uneven, None),
                told,
            )
        })
        .collect();
    let all = |of: fn(&Both) -> &Vec<f64>| -> Vec<f64> {
        both.iter().flat_map(|s| of(s).clone()).collect()
    };
    let (even, uneven) = (
        root_mean_square(&all(|s| &s.0)),
        root_mean_square(&all(|s| &s.1)),
    );
    let told = both.iter().filter(|s| s.2).count();
    println!(
        "lit evenly {even:.4} D, unevenly {uneven:.4} D, told in {told} of {}",
        both.len()
    );
    assert!(uneven < 0.006, "{uneven}");
}

/// The scan with the lid's light where its wedge lay.
fn without_wedge(made: &Practice, scan: usize) -> Raster {
    let mut raster = (*made.scans[scan]).clone();
    let wedge = made
        .truth
        .wedges
        .iter()
        .find(|w| w.shape.scan == scan)
        .unwrap();
    let edge = |of: fn(&Point) -> f64| {
        let all = wedge.shape.corners.iter().map(of);
        let low = all.clone().fold(f64::INFINITY, f64::min) - 40.0;
        (
            low.max(0.0) as usize,
            (all.fold(0.0, f64::max) + 40.0) as usize,
        )
    };
    let ((left, right), (top, bottom)) = (edge(|p| p.x), edge(|p| p.y));
    let (width, channels) = (raster.width, raster.channels);
    let Samples::Sixteen(codes) = &mut raster.samples else {
        panic!("asked for 16 bits");
    };
    // What lies at the border above or below is the lid.
    for y in top..bottom.min(raster.height) {
        let from = if top > raster.height / 2 {
            raster.height - 1 - y % 12
        } else {
            y % 12
        };
        let line = codes[from * width * channels..][..width * channels].to_vec();
        let row = &mut codes[y * width * channels..][..width * channels];
        let part = left * channels..right.min(width) * channels;
        row[part.clone()].copy_from_slice(&line[part]);
    }
    raster
}

#[test]
fn a_scan_without_a_wedge_is_read_by_another_scans_at_the_level_that_the_lid_shows() {
    let mut errors_here = Vec::new();
    let mut told = 0;
    let (mut sessions, seeds) = (0, seeds());
    // Half as many as of the other tests: each is several scans.
    for seed in seeds.start..seeds.start + (seeds.end - seeds.start) / 2 {
        let made = make(&Recipe {
            dpi: Some(200.0),
            bits: Some(16),
            ..Recipe::new(Level::Easy, seed).with(Twist::SeveralScans)
        });
        if made.truth.wedges.len() < 2 {
            continue;
        }
        sessions += 1;
        let mut asked = question(&made);
        let mut second = without_wedge(&made, 1);
        // The second scan comes out a tenth darker.
        let table = second.light.tables[0]
            .iter()
            .map(|light| light * 0.9)
            .collect();
        let table: Arc<[f32]> = table;
        second
            .light
            .tables
            .iter_mut()
            .for_each(|t| *t = Arc::clone(&table));
        asked.scans[1] = Arc::new(second);
        let analysis = analyse(&asked, &Unwatched).unwrap();
        told += analysis
            .findings
            .iter()
            .filter(|f| f.kind == Kind::NoWedge && f.seen.contains("which is taken off"))
            .count();
        errors_here.extend(errors(&made, &analysis, Some(1)));
    }
    let off = root_mean_square(&errors_here);
    println!(
        "{} steps, {off:.4} D, told {told} times of {sessions}",
        errors_here.len()
    );
    assert!(errors_here.len() > 10 && told >= 2);
    // A tenth of light is 0.046 D: left in, every step would be off by that.
    assert!(off < 0.015, "{off}");
}
