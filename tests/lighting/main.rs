//! How the glass is lit: uneven lighting is seen on the lid and taken off, and a scan without a
//! wedge is brought to the level of the one that has it.
//!
//! Practice scans know what a densitometer would read on every step (ISO 5-4).

#![expect(clippy::unwrap_used, reason = "what fails here fails a test")]

mod empty;

use std::sync::Arc;

use rayon::prelude::*;
use twinstrip::measure::analysis::{Analysis, Question, StripSpec, analyse};
use twinstrip::measure::finding::Kind;
use twinstrip::measure::geometry::Point;
use twinstrip::measure::raster::{Channel, Raster, Samples};
use twinstrip::measure::scale::lid::Lid;
use twinstrip::measure::strip::Role;
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

/// How the second of two scans differs from the first.
#[derive(Clone, Copy)]
struct Otherwise {
    /// Share of the light.
    light: f64,
    /// Standard deviation of what the scanner reads otherwise, one error a band of 0.4 D.
    repeat: f64,
    /// More density a unit of density: another tone curve.
    bent: f64,
    /// Whether the lid is in sight.
    lid: bool,
    seed: u64,
}

/// Numbers that look like chance (a linear congruential generator; constants of Knuth's MMIX, from
/// memory), about standard normal.
fn chance(seed: u64) -> impl FnMut() -> f64 {
    let mut state = seed.wrapping_mul(2_862_933_555_777_941_757) | 1;
    let mut uniform = move || {
        state = state
            .wrapping_mul(6_364_136_223_846_793_005)
            .wrapping_add(1_442_695_040_888_963_407);
        (state >> 40) as f64 / (1u64 << 24) as f64
    };
    move || (0..12).map(|_| uniform()).sum::<f64>() - 6.0
}

/// A scan's light with other levels and tones, one error a band of density as the calibrations
/// have it, in straight lines between the bands' middles; noise of half a per cent a pixel.
fn scanned_otherwise(raster: &Raster, how: Otherwise) -> Raster {
    let mut normal = chance(how.seed);
    let bands: Vec<f64> = (0..8).map(|_| how.repeat * normal()).collect();
    let mut raster = raster.clone();
    let tables: Vec<Arc<[f32]>> = raster
        .light
        .tables
        .iter()
        .map(|table| {
            let read = |&light: &f32| {
                let density = -f64::from(light.max(1e-5)).log10();
                let at = (density / 0.4 - 0.5).clamp(0.0, 6.999);
                let (band, share) = (at as usize, at.fract());
                let wrong = bands[band] * (1.0 - share) + bands[band + 1] * share;
                let darker = wrong + how.bent * density;
                (f64::from(light) * how.light * 10f64.powf(-darker)) as f32
            };
            table.iter().map(read).collect()
        })
        .collect();
    raster.light.tables = tables.try_into().unwrap();
    let (width, height, channels) = (raster.width, raster.height, raster.channels);
    let Samples::Sixteen(codes) = &mut raster.samples else {
        panic!("asked for 16 bits");
    };
    for code in codes.iter_mut() {
        let noisy = f64::from(*code) * (1.0 + 0.005 / 2.2 * normal());
        *code = noisy.clamp(0.0, 65535.0) as u16;
    }
    if !how.lid {
        // Something checked along the border covers it.
        let pitch = width.max(height) / 120;
        for y in 0..height {
            for x in 0..width {
                let from_border = x.min(y).min(width - 1 - x).min(height - 1 - y);
                if from_border < 2 * pitch && (x / pitch + y / pitch).is_multiple_of(2) {
                    let pixel = &mut codes[(y * width + x) * channels..][..channels];
                    pixel.iter_mut().for_each(|code| *code = *code / 4 * 3);
                }
            }
        }
    }
    raster
}

/// A session whose strips are all scanned once more, the wedge covered; only the strip of paper is
/// said to be the same, if `joined`. The second scan's strips follow the first's.
fn scanned_twice(seed: u64, how: Otherwise, joined: bool) -> Option<(Practice, Question)> {
    let made = make(&Recipe {
        dpi: Some(200.0),
        bits: Some(16),
        ..Recipe::new(Level::Easy, seed)
    });
    if made.scans.len() > 1 || made.truth.wedges.len() != 1 {
        return None;
    }
    let mut asked = question(&made);
    let second = scanned_otherwise(&without_wedge(&made, 0), how);
    asked.scans.push(Arc::new(second));
    let paper = made.strips.iter().position(|s| s.role == Role::Reference)?;
    for (index, strip) in made.strips.iter().enumerate() {
        asked.strips.push(StripSpec {
            name: format!("{}, again", strip.name),
            same_as: (joined && index == paper).then_some(paper),
            ..strip.clone()
        });
    }
    Some((made, asked))
}

/// Measured less true density of the steps up to 1.6 D of the coated strips on the second scan,
/// each with its standard error.
fn on_the_second(made: &Practice, analysis: &Analysis) -> Vec<(f64, f64)> {
    let count = made.strips.len();
    let mut errors = Vec::new();
    for (strip, result) in analysis.strips.iter().enumerate().skip(count) {
        let truth = &made.truth.strips[strip - count];
        let sure = result.located.as_ref().is_some_and(|l| l.is_sure());
        if !sure || truth.role == Role::Reference {
            continue;
        }
        for step in result.steps.iter().filter(|step| step.step > 0) {
            let area = truth.steps[step.step - 1].area_density;
            let area = area.filter(|d| *d < 1.6);
            errors.extend(area.map(|d| (step.density - d, step.standard_error)));
        }
    }
    errors
}

#[test]
fn a_strip_on_both_scans_brings_them_to_one_level_and_shows_the_repeat_error() {
    const PUT_IN: f64 = 0.004;
    let study = std::env::var("TWINSTRIP_STUDY").is_ok();
    let seeds: Vec<u64> = if study {
        seeds().map(|seed| seed + 7_199_700).collect()
    } else {
        seeds().take(3).collect()
    };
    for (name, lid, joined) in [
        ("lid alone", true, false),
        ("strip alone", false, true),
        ("lid and strip", true, true),
    ] {
        let all: Vec<_> = seeds
            .par_iter()
            .filter_map(|&seed| {
                let how = Otherwise {
                    light: 0.9,
                    repeat: PUT_IN,
                    bent: 0.0,
                    lid,
                    seed,
                };
                let (made, asked) = scanned_twice(seed, how, joined)?;
                let analysis = analyse(&asked, &Unwatched).unwrap();
                let pairs = made
                    .strips
                    .iter()
                    .filter(|s| s.role == Role::Coupon)
                    .count();
                // The strip seen once more makes no pair; every coated one does.
                assert!(analysis.pairs.len() <= 2 * pairs);
                Some((on_the_second(&made, &analysis), analysis.repeats))
            })
            .collect();
        let steps: Vec<(f64, f64)> = all.iter().flat_map(|one| one.0.clone()).collect();
        let off = root_mean_square(&steps.iter().map(|s| s.0).collect::<Vec<_>>());
        let held = steps.iter().filter(|(e, se)| e.abs() < 1.96 * se).count();
        let held = held as f64 / steps.len() as f64;
        let repeats: Vec<_> = all.iter().flat_map(|one| &one.1).collect();
        let freedom: f64 = repeats.iter().map(|r| r.freedom).sum();
        let squares: f64 = repeats.iter().map(|r| r.error.powi(2) * r.freedom).sum();
        let found = (squares / freedom).sqrt();
        println!(
            "{name}: {} sessions, {} steps, {off:.4} D off, bounds held {held:.3}, repeat error \
             {found:.4}",
            all.len(),
            steps.len()
        );
        assert!(steps.len() > 10, "{name}");
        assert!(off < 0.015, "{name}: {off}");
        assert!(held > 0.85, "{name}: {held}");
        assert_eq!(joined, freedom > 0.0, "{name}");
        // The first scan's wedge has the error of that scan; half of what was put in into one of
        // two scans is each reading's about their mean, and few bands show it.
        if joined {
            assert!((0.0005..0.008).contains(&found), "{found}");
        }
    }
}

#[test]
fn a_scanner_that_was_set_otherwise_is_told_by_the_strip_on_both_scans() {
    let told = |bent: f64| {
        let one = |seed: u64| {
            let how = Otherwise {
                light: 1.0,
                repeat: 0.0,
                bent,
                lid: true,
                seed,
            };
            let (_, asked) = scanned_twice(seed, how, true)?;
            let analysis = analyse(&asked, &Unwatched).unwrap();
            let disagree = |f: &&twinstrip::measure::finding::Finding| {
                f.kind == Kind::ScansDisagree && f.matters.contains("set otherwise")
            };
            Some(analysis.findings.iter().any(|f| disagree(&f)))
        };
        let all: Vec<bool> = seeds().take(3).filter_map(one).collect();
        (all.iter().filter(|told| **told).count(), all.len())
    };
    let ((right, of), (wrong, clean)) = (told(0.05), told(0.0));
    println!("told {right} of {of}, without cause {wrong} of {clean}");
    assert!(right == of && of > 0, "{right} of {of}");
    assert_eq!(wrong, 0);
}
