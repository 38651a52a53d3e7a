//! The tone preview against an independent computation: testdata/preview/README.md.

#![expect(
    clippy::disallowed_methods,
    clippy::unwrap_used,
    reason = "what fails here fails a test, and files are what is tested"
)]

mod speed;

use std::path::{Path, PathBuf};

use serde_json::Value;
use twinstrip::files::scan::{ScanOptions, read_scan};
use twinstrip::measure::curve::DrawnCurve;
use twinstrip::measure::preview::{
    CoatColour, LEVELS, PrintPicture, Shares, TestedCurve, Tones, closest, density_of_level,
    full_size, level_of_density, shares,
};
use twinstrip::measure::raster::{Channel, Raster, Samples};
use twinstrip::measure::scale::{AssumedWhite, assumed_white};
use twinstrip::measure::units::{density_of, reflectance_of};
use twinstrip::measure::watch::{Cancelled, Unwatched, Watch};

/// How far a density may lie from the independent computation.
const DENSITY: f64 = 0.002;
/// Share of the area: half a pixel in a hundred of 6,144 crosses a threshold by rounding.
const AREA: f64 = 0.005;

fn folder() -> PathBuf {
    Path::new(env!("CARGO_MANIFEST_DIR")).join("testdata/preview")
}

fn reference() -> Value {
    serde_json::from_str(&std::fs::read_to_string(folder().join("reference.json")).unwrap())
        .unwrap()
}

fn curve(told: &Value) -> TestedCurve {
    let points: Vec<(f64, f64)> = serde_json::from_value(told["points"].clone()).unwrap();
    let tested: (f64, f64) = serde_json::from_value(told["tested"].clone()).unwrap();
    let number = |name: &str| told[name].as_f64().unwrap();
    let drawn = DrawnCurve::new(number("dmin"), points).unwrap();
    TestedCurve::new(drawn, tested, Some(number("dmax"))).unwrap()
}

fn scan(name: &str) -> Raster {
    read_scan(&folder().join(name), &ScanOptions::default(), &Unwatched).unwrap()
}

fn codes(raster: &Raster) -> &[u16] {
    match &raster.samples {
        Samples::Sixteen(codes) => codes,
        other => panic!("16 bits were written, not {other:?}"),
    }
}

fn set_up() -> (Value, Raster, AssumedWhite, Tones) {
    let told = reference();
    let scale = assumed_white(told["white"].as_f64().unwrap());
    let tones = Tones::new(
        curve(&told["paper"]),
        curve(&told["coat"]),
        CoatColour::neutral(),
    );
    (told, scan("print.png"), scale, tones)
}

/// The picture pixel by pixel, so that nothing is averaged.
fn picture(print: &Raster, scale: &AssumedWhite) -> PrintPicture {
    PrintPicture::new(print, scale, Channel::Luminance, 10_000, &Unwatched).unwrap()
}

#[test]
fn every_pixel_gets_the_density_that_numpy_gives_it() {
    let (told, print, scale, tones) = set_up();
    let picture = picture(&print, &scale);
    assert_eq!((picture.width, picture.height), (96, 64));
    for exposure in told["exposures"].as_array().unwrap() {
        let stops = exposure["stops"].as_f64().unwrap();
        let table = tones.table(stops);
        let right = scan(exposure["file"].as_str().unwrap());
        let mut worst = 0f64;
        for (&level, &right) in picture.levels.iter().zip(codes(&right)) {
            let density = f64::from(table.density[usize::from(level)]);
            worst = worst.max((density - f64::from(right) / 20_000.0).abs());
        }
        eprintln!("{stops} stops: {worst} D off at most");
        assert!(worst < DENSITY, "{stops} stops: {worst} D off");
        let found: Shares = shares(&tones, &table, &picture.histogram);
        for (name, found) in [
            ("blank", found.blank),
            ("blocked", found.blocked),
            ("beyond_paper", found.beyond_paper),
        ] {
            let right = exposure[name].as_f64().unwrap();
            assert!((found - right).abs() < AREA, "{name}: {found}, not {right}");
        }
    }
}

#[test]
fn the_full_size_preview_has_the_same_densities() {
    let (told, print, scale, tones) = set_up();
    for exposure in told["exposures"].as_array().unwrap() {
        let table = tones.table(exposure["stops"].as_f64().unwrap());
        let made = full_size(&print, &scale, Channel::Luminance, &table, &Unwatched).unwrap();
        let Samples::Sixteen(made) = made else {
            panic!("16 bits");
        };
        let right = scan(exposure["file"].as_str().unwrap());
        for (rgb, &right) in made.chunks_exact(3).zip(codes(&right)) {
            assert!(rgb[0] == rgb[1] && rgb[1] == rgb[2]);
            // IEC 61966-2-1 the other way.
            let share = f64::from(rgb[1]) / 65_535.0;
            let light = if share <= 0.04045 {
                share / 12.92
            } else {
                ((share + 0.055) / 1.055).powf(2.4)
            };
            let off = density_of(light) - f64::from(right) / 20_000.0;
            assert!(off.abs() < DENSITY, "{off}");
        }
    }
}

#[test]
fn identical_curves_give_back_the_print() {
    let (told, print, scale, _) = set_up();
    let paper = curve(&told["paper"]);
    let (low, high) = paper.tested();
    let (light, dark) = (paper.density(low).value(), paper.density(high).value());
    let tones = Tones::new(paper.clone(), paper, CoatColour::neutral());
    let table = tones.table(0.0);
    let picture = picture(&print, &scale);
    let mut inside = 0;
    for &level in &picture.levels {
        let print = density_of_level(usize::from(level));
        let coated = f64::from(table.density[usize::from(level)]);
        // Beyond the tested steps it is held at the ends.
        assert!((coated - print.clamp(light, dark)).abs() < 1e-5);
        inside += usize::from(!table.beyond[usize::from(level)]);
    }
    assert!(inside > picture.levels.len() / 2);
    let closest = closest(&tones, &picture.histogram, Some(105.0)).unwrap();
    assert!(closest.exposure.stops.abs() < 0.005, "{closest:?}");
    let contrast = closest.contrast.unwrap();
    assert!((contrast.factor - 1.0).abs() < 0.005, "{closest:?}");
    assert!((contrast.paper_range.unwrap() - 105.0).abs() < 0.6);
}

#[test]
fn the_closest_exposure_is_the_one_that_a_search_of_every_exposure_finds() {
    let (_, print, scale, tones) = set_up();
    let picture = picture(&print, &scale);
    let found = closest(&tones, &picture.histogram, None).unwrap();
    // L* of CIE 1976 written out again, over every pixel, every hundredth of a stop.
    let lightness = |density: f64| {
        let y = reflectance_of(density);
        if y > 216.0 / 24_389.0 {
            116.0 * y.cbrt() - 16.0
        } else {
            24_389.0 / 27.0 * y
        }
    };
    let difference = |stops: f64| {
        let table = tones.table(stops);
        let squares = picture.levels.iter().map(|&level| {
            let coated = f64::from(table.density[usize::from(level)]);
            (lightness(coated) - lightness(density_of_level(usize::from(level)))).powi(2)
        });
        (squares.sum::<f64>() / picture.levels.len() as f64).sqrt()
    };
    let best = (0..600)
        .map(|i| f64::from(i) / 100.0)
        .map(|stops| (stops, difference(stops)))
        .min_by(|a, b| a.1.total_cmp(&b.1))
        .unwrap();
    assert!((found.exposure.stops - best.0).abs() < 0.02, "{found:?}");
    assert!((found.exposure.difference - best.1).abs() < 0.05);
    let contrast = found.contrast.unwrap();
    assert!(contrast.at.difference < found.exposure.difference);
    // The coating is softer than the paper, so it wants a harder negative.
    assert!(contrast.factor > 1.2, "{contrast:?}");
}

#[test]
fn more_exposure_never_makes_a_tone_lighter_and_levels_are_their_densities() {
    let (_, _, _, tones) = set_up();
    let mut before = tones.table(-4.0);
    for quarter in -15..=32 {
        let table = tones.table(f64::from(quarter) / 4.0);
        let darker = |(now, before): (&f32, &f32)| now >= before;
        assert!(table.density.iter().zip(&before.density).all(darker));
        assert!(table.density.is_sorted());
        before = table;
    }
    for level in [0, 1, 4_000, LEVELS - 1] {
        assert_eq!(
            usize::from(level_of_density(density_of_level(level))),
            level
        );
    }
}

#[test]
fn work_that_is_called_off_stops() {
    struct Off;
    impl Watch for Off {
        fn at(&self, done: usize, _of: usize) -> Result<(), Cancelled> {
            if done > 3 { Err(Cancelled) } else { Ok(()) }
        }
    }
    let (_, print, scale, tones) = set_up();
    let channel = Channel::Luminance;
    assert!(PrintPicture::new(&print, &scale, channel, 100, &Off).is_err());
    assert!(full_size(&print, &scale, channel, &tones.table(0.0), &Off).is_err());
}
