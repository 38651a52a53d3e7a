//! Evenness on made-up cells of known statistics; on practice scans in tests/pooling.rs.

use rand::{Rng as _, SeedableRng as _};
use rand_chacha::ChaCha8Rng;

use super::evenness::{Place, of_places};

/// Eight steps of 20 x 12 cells of 1.2 mm with a density of the given waves and white noise.
fn places(seed: u64, wave: impl Fn(f64, f64, f64) -> f64, noise: f64) -> Vec<Place> {
    let mut rng = ChaCha8Rng::seed_from_u64(seed);
    let mut all = vec![];
    for field in 0..8 {
        let phase: f64 = rng.random_range(0.0..std::f64::consts::TAU);
        for i in 0..12 {
            for j in 0..20 {
                let at = (1.2 * f64::from(i), 1.2 * f64::from(j));
                // Uniform of this half-width has the standard deviation of the noise.
                let shaken: f64 = rng.random_range(-1.0..1.0) * noise * 3f64.sqrt();
                all.push(Place {
                    field,
                    at_mm: at,
                    density: 1.0 + wave(at.0, at.1, phase) + shaken,
                    error: 0.0,
                });
            }
        }
    }
    all
}

#[test]
fn white_mottle_has_its_standard_deviation_at_every_distance_and_no_streaks() {
    let found = of_places(places(1, |_, _, _| 0.0, 0.02));
    assert_eq!(found.mottle.len(), 4);
    for mottle in &found.mottle {
        assert!((mottle.density - 0.02).abs() < 0.001, "{mottle:?}");
    }
    assert!(!found.streaks.unwrap().told);
}

#[test]
fn the_scan_s_noise_is_taken_off() {
    let mut all = places(2, |_, _, _| 0.0, 0.02);
    for place in &mut all {
        place.error = 0.02;
    }
    for mottle in of_places(all).mottle {
        assert!(mottle.density < 0.006, "{mottle:?}");
    }
}

#[test]
fn long_waves_show_far_apart_and_not_near() {
    // A wave of 20 mm: places 10 mm apart differ by the whole of it.
    let wave = |x: f64, y: f64, phase: f64| 0.03 * ((x + y) / 20.0 * 4.44 + phase).sin();
    let mottle = of_places(places(3, wave, 0.001)).mottle;
    assert!(mottle[0].density < 0.4 * mottle[2].density, "{mottle:?}");
}

#[test]
fn streaks_are_told_with_their_direction() {
    for degrees in [0.0f64, 30.0, 90.0, 135.0] {
        let angle = degrees.to_radians();
        // Waves across the direction, constant along it.
        let wave = |x: f64, y: f64, phase: f64| {
            0.02 * ((y * angle.cos() - x * angle.sin()) * 0.6 + phase).sin()
        };
        let streaks = of_places(places(4, wave, 0.005)).streaks.unwrap();
        let away = (streaks.degrees - degrees + 90.0).rem_euclid(180.0) - 90.0;
        assert!(streaks.told && away.abs() < 6.0, "{degrees}: {streaks:?}");
        assert!(streaks.strength > 0.3);
    }
}

#[test]
fn in_coats_without_streaks_a_direction_is_seldom_told() {
    let told = (0..100).filter(|&seed| {
        let streaks = of_places(places(100 + seed, |_, _, _| 0.0, 0.02)).streaks;
        streaks.is_some_and(|streaks| streaks.told)
    });
    // One in a hundred expected; five or more of a hundred happen in 0.3 % of cases.
    assert!(told.count() < 5);
}
