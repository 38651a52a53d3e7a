//! Strips that lie on two scans: they bring the scans to one level, whichever way they lie, and
//! show how well the scanner repeats itself.

use std::sync::Arc;

use rayon::prelude::*;
use twinstrip::measure::analysis::{Analysis, Question, StripSpec, analyse};
use twinstrip::measure::compare::Source;
use twinstrip::measure::finding::Kind;
use twinstrip::measure::raster::{Raster, Samples};
use twinstrip::measure::strip::Role;
use twinstrip::measure::watch::Unwatched;
use twinstrip::simulate::{Level, Practice, Recipe, make, question};

use super::{root_mean_square, seeds, without_wedge};

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
    /// Whether all lies turned by half a turn.
    turned: bool,
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
    raster.light.tables = tables;
    let (width, height, channels) = (raster.width, raster.height, raster.channels);
    let Samples::Sixteen(codes) = &mut raster.samples else {
        panic!("asked for 16 bits");
    };
    for code in codes.iter_mut() {
        let noisy = f64::from(*code) * (1.0 + 0.005 / 2.2 * normal());
        *code = noisy.clamp(0.0, 65535.0) as u16;
    }
    if how.turned {
        codes.reverse();
        codes.chunks_exact_mut(channels).for_each(<[u16]>::reverse);
    }
    if !how.lid {
        shade_border(codes, (width, height, channels));
    }
    raster
}

/// Daylight and shadows along the border of the glass, as with the lid left open a little: what
/// lies there has no one level.
fn shade_border(codes: &mut [u16], (width, height, channels): (usize, usize, usize)) {
    let pitch = width.max(height) as f64 / 120.0;
    for y in 0..height {
        for x in 0..width {
            let from_border = x.min(y).min(width - 1 - x).min(height - 1 - y);
            let inwards = (1.0 - (from_border as f64 / pitch - 2.0)).clamp(0.0, 1.0);
            if inwards > 0.0 {
                let wave = |at: usize| (at as f64 / (4.0 * pitch)).sin();
                let darker = 0.2 * inwards * (1.0 + wave(x) * wave(y) + wave(x + y)) / 2.0;
                let pixel = &mut codes[(y * width + x) * channels..][..channels];
                let share = 10f64.powf(-darker / 2.2);
                pixel
                    .iter_mut()
                    .for_each(|code| *code = (f64::from(*code) * share) as u16);
            }
        }
    }
}

/// Which of the strips on the second scan are said to be those of the first.
#[derive(Clone, Copy, PartialEq)]
enum Said {
    Nothing,
    Paper,
    All,
}

/// A session whose strips are all scanned once more, the wedge covered. The second scan's strips
/// follow the first's in the list, in their order.
fn scanned_twice(seed: u64, how: Otherwise, said: Said) -> Option<(Practice, Question)> {
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
    for (index, strip) in made.strips.iter().enumerate() {
        let same = said == Said::All || (said == Said::Paper && strip.role == Role::Reference);
        asked.strips.push(StripSpec {
            name: format!("{}, again", strip.name),
            same_as: same.then_some(index),
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

/// What one session shows.
struct Shown {
    /// Errors of the steps on the second scan, with standard errors.
    steps: Vec<(f64, f64)>,
    /// Error of the first pair's stops, and whether its bounds held.
    stops: Option<(f64, bool)>,
    /// The scanner's repeat error in the first pair's budget, stops.
    budgeted: Option<f64>,
    /// Squares and degrees of freedom of the repeat error.
    repeats: Vec<(f64, f64)>,
}

fn shown(seed: u64, (lid, said): (bool, Said), repeat: f64) -> Option<Shown> {
    let how = Otherwise {
        light: 0.9,
        repeat,
        bent: 0.0,
        lid,
        // Reading order alone tells strips apart that are not said to be the same.
        turned: said != Said::Nothing,
        seed,
    };
    let (made, asked) = scanned_twice(seed, how, said)?;
    let analysis = analyse(&asked, &Unwatched).unwrap();
    let coated = |strips: &[StripSpec]| {
        let coated = strips.iter().filter(|s| s.role == Role::Coupon);
        coated.filter(|s| s.same_as.is_none()).count()
    };
    // A strip seen once more makes no pair.
    assert!(analysis.pairs.len() <= coated(&asked.strips));
    let stops = analysis.pairs.first().and_then(|pair| {
        let truth = made.truth.pairs[0].stops_as_exposed;
        let stops = &pair.answer.stops;
        Some((stops.value? - truth, stops.holds(truth)))
    });
    let budgeted = analysis.pairs.first().and_then(|pair| {
        let mut parts = pair.answer.budget.iter();
        parts
            .find(|part| part.source == Source::ScanRepeats)
            .map(|part| part.stops)
    });
    let squares = |r: &twinstrip::measure::scale::repeats::Repeat| r.error.powi(2) * r.freedom;
    Some(Shown {
        steps: on_the_second(&made, &analysis),
        stops,
        budgeted,
        repeats: analysis
            .repeats
            .iter()
            .map(|r| (squares(r), r.freedom))
            .collect(),
    })
}

/// Seeds of the practice sessions: three, or so many as `TWINSTRIP_STUDY` says, of those that
/// nothing was chosen on (100 for the tables of docs/densities.md and docs/scan-checks.md).
fn sessions() -> Vec<u64> {
    let study = std::env::var("TWINSTRIP_STUDY").ok();
    match study.and_then(|count| count.parse::<u64>().ok()) {
        Some(count) => (7_600_000..7_600_000 + count).collect(),
        None => seeds().take(3).collect(),
    }
}

#[test]
fn a_strip_on_both_scans_brings_them_to_one_level_and_shows_the_repeat_error() {
    const PUT_IN: f64 = 0.004;
    let seeds = sessions();
    for (name, lid, said) in [
        ("lid alone", true, Said::Nothing),
        ("paper strip alone", false, Said::Paper),
        ("lid and paper strip", true, Said::Paper),
        ("all strips, no lid", false, Said::All),
    ] {
        let one = |&seed: &u64| shown(seed, (lid, said), PUT_IN);
        let all: Vec<Shown> = seeds.par_iter().filter_map(one).collect();
        let steps: Vec<(f64, f64)> = all.iter().flat_map(|one| one.steps.clone()).collect();
        let off = root_mean_square(&steps.iter().map(|s| s.0).collect::<Vec<_>>());
        let held = steps.iter().filter(|(e, se)| e.abs() < 1.96 * se).count();
        let held = held as f64 / steps.len() as f64;
        let stops: Vec<(f64, bool)> = all.iter().filter_map(|one| one.stops).collect();
        let stops_off = root_mean_square(&stops.iter().map(|s| s.0).collect::<Vec<_>>());
        let stops_held = stops.iter().filter(|s| s.1).count() as f64 / stops.len() as f64;
        let repeats = all.iter().flat_map(|one| &one.repeats);
        let (squares, freedom) = repeats.fold((0.0, 0.0), |sum, r| (sum.0 + r.0, sum.1 + r.1));
        let found = (squares / freedom).sqrt();
        println!(
            "{name}: {} sessions, {} steps, {off:.4} D off, bounds held {held:.3}; {} answers, \
             {stops_off:.4} stops off, bounds held {stops_held:.3}; repeat error {found:.4}",
            all.len(),
            steps.len(),
            stops.len(),
        );
        let budgeted: Vec<f64> = all.iter().filter_map(|one| one.budgeted).collect();
        println!(
            "  {} budgets tell the repeat error, {:.4} stops",
            budgeted.len(),
            root_mean_square(&budgeted)
        );
        assert!(steps.len() > 10, "{name}");
        let in_budget = budgeted.len() as f64 / stops.len() as f64;
        match said {
            Said::Nothing => assert_eq!(in_budget, 0.0),
            _ => assert!(in_budget > 0.8, "{name}: {in_budget}"),
        }
        assert!(off < 0.010, "{name}: {off}");
        assert!(held > 0.90, "{name}: {held}");
        assert_eq!(said != Said::Nothing, freedom > 0.0, "{name}");
        // What was put in is in one of two scans: each reading's scatter about their mean has
        // half of its variance.
        if said != Said::Nothing {
            let expected = PUT_IN / 2f64.sqrt();
            assert!((0.5 * expected..2.0 * expected).contains(&found), "{found}");
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
                turned: false,
                seed,
            };
            let (_, asked) = scanned_twice(seed, how, Said::Paper)?;
            let analysis = analyse(&asked, &Unwatched).unwrap();
            let disagree = |f: &&twinstrip::measure::finding::Finding| {
                f.kind == Kind::ScansDisagree && f.matters.contains("set otherwise")
            };
            Some(analysis.findings.iter().any(|f| disagree(&f)))
        };
        let all: Vec<bool> = sessions().into_par_iter().filter_map(one).collect();
        (all.iter().filter(|told| **told).count(), all.len())
    };
    let ((right, of), (wrong, clean)) = (told(0.05), told(0.0));
    println!("told {right} of {of}, without cause {wrong} of {clean}");
    assert!(of > 0 && right as f64 > 0.9 * of as f64, "{right} of {of}");
    assert!(wrong as f64 <= 0.1 * clean as f64, "{wrong} of {clean}");
}
