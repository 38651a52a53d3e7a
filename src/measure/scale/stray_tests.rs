//! Light from the neighbourhood: found in the cells, and held against a real flatbed.

use super::stray::NearStray;
use super::wedge::WedgeField;
use crate::measure::geometry::Point;
use crate::measure::reading::{Around, Cell, REACHES_MM};

/// Cells of fields whose neighbours are unevenly light; the light of the third reach strays
/// in, what the other reaches see goes another way.
fn cells(share: f64, gain: f64) -> Vec<Cell> {
    let mut cells = Vec::new();
    for (field, density) in [0.1, 0.8, 1.4, 2.0].into_iter().enumerate() {
        for k in 0..12 {
            let around: Around = std::array::from_fn(|reach| {
                0.4 + 0.2 * (f64::from(k) * (0.5 + 0.25 * reach as f64)).sin()
            });
            let light = 10f64.powf(-density) * (1.0 + gain * around[2]) + share * around[2];
            cells.push(Cell {
                field,
                at_mm: (0.0, 0.0),
                at: Point::new(0.0, 0.0),
                light,
                light_error: 2e-5,
                pixels: 1000,
                rejected: 0.0,
                clipped: 0.0,
                around,
            });
        }
    }
    cells
}

fn field(density: f64) -> WedgeField {
    WedgeField {
        number: 0,
        scanner: density,
        error: 0.0,
        listed: density,
        around: [0.3; REACHES_MM.len()],
    }
}

#[test]
fn share_and_reach_are_found_within_the_fields_and_taken_off_the_strips() {
    let share = 0.004;
    let near = NearStray::of(&cells(share, 0.0), &[field(0.1), field(1.0), field(2.0)]);
    assert!((near.share().0 - share).abs() < 0.0004, "{near:?}");
    assert!((near.reach_mm().0 - REACHES_MM[2]).abs() < 0.5, "{near:?}");
    // A step of 1.5 D in lighter company than the wedge's field reads too light.
    let seen = |around: f64| -(10f64.powf(-1.5) + share * around).log10();
    let correction = near.correction(seen(0.6), &[0.6; REACHES_MM.len()], seen(0.6));
    let wanted = seen(0.3) - seen(0.6);
    let error = correction.modes.map(|mode| mode * mode).iter().sum::<f64>();
    assert!((correction.density - wanted).abs() < 0.15 * wanted);
    // The gain that no field shows stays in the bounds: 0.18 over a change of 0.3.
    let unseen = 0.18 * 0.3 / std::f64::consts::LN_10;
    let error = error.sqrt();
    assert!(
        (0.8 * unseen..1.5 * unseen).contains(&error),
        "{error} {unseen}"
    );
    let none = near.correction(2.0, &[0.3; REACHES_MM.len()], 2.0);
    assert!(none.density.abs() < 1e-12);
}

#[test]
fn strips_beside_tell_what_no_wedge_did() {
    let before = NearStray::usual(0.0, 0.6);
    let after = before.beside(&[&cells(0.006, 0.0)]);
    assert!((before.share().0 - 0.003).abs() < 1e-12);
    assert!((after.share().0 - 0.006).abs() < 0.0006, "{after:?}");
    assert!(after.share().1 < before.share().1);
    assert!(after.reach_mm().1 < before.reach_mm().1);
}

#[test]
fn a_place_that_stray_light_drowns_gets_a_finite_density() {
    let near = NearStray::known(0.01, 0.002, &[field(0.1), field(1.0), field(3.0)]);
    for density in [2.0, 2.5, 3.0, 4.0] {
        let correction = near.correction(density, &[0.9; REACHES_MM.len()], density);
        assert!(correction.density.is_finite() && correction.density > 0.0);
    }
}

#[test]
fn the_gain_of_a_wedge_s_neighbourhood_is_found_and_the_share_stays() {
    let fields = [field(0.1), field(1.0), field(2.0)];
    for gain in [0.0, 0.1, 0.2] {
        let near = NearStray::of(&cells(0.004, gain), &fields);
        let (found, error) = near.seen_gain();
        // What is added before the gain is worked out blurs the two a little.
        assert!((found - gain).abs() < 0.025, "{gain}: {found} {error}");
        assert!(error < 0.05, "{gain}: {error}");
        assert!((near.share().0 - 0.004).abs() < 0.0008, "{near:?}");
    }
    // A coat may itself change towards its sides: what strips show counts for less.
    let usual = NearStray::usual(0.0, 0.6);
    let beside = usual.beside(&[&cells(0.004, 0.2)]);
    let wedge = NearStray::of(&cells(0.004, 0.2), &fields);
    assert!(beside.seen_gain().1 > 1.5 * wedge.seen_gain().1);
    assert!(beside.seen_gain().1 < usual.seen_gain().1);
}

/// Density by gamma 1.585 of an ink on a ground (testdata/flatbed: six inks, green channel).
fn ink_on(ink: usize, ground: &str) -> f64 {
    let text = include_str!("../../../testdata/flatbed/flatbed_grounds.csv");
    let row = text
        .lines()
        .find(|line| line.starts_with(&format!("{ink},{ground},")))
        .expect("every ink lies on every ground");
    let green: f64 = row
        .split(',')
        .nth(3)
        .expect("r, g, b")
        .parse()
        .expect("a number");
    -1.585 * (green / 255.0).log10()
}

#[test]
fn on_a_real_flatbed_light_from_the_neighbourhood_multiplies() {
    // The grounds' own reflectances are not in the source: white paper and black ink.
    let (white, black) = (0.85, 0.03);
    let apart = |ink| ink_on(ink, "black") - ink_on(ink, "white");
    // From three inks the gain, on the other three the proof.
    let mean = [1, 3, 5].map(apart).iter().sum::<f64>() / 3.0;
    let ratio = 10f64.powf(mean);
    let gain = (ratio - 1.0) / (white - ratio * black);
    assert!((0.15..0.3).contains(&gain), "{gain}");
    let around = |reflectance: f64| [reflectance; REACHES_MM.len()];
    let near = NearStray::known(0.0, 1e-6, &[field(0.1), field(1.0), field(2.0)]).with_gain(gain);
    for ink in [2, 4, 6] {
        let on = |ground: &str, reflectance: f64| {
            let seen = ink_on(ink, ground);
            seen + near.correction(seen, &around(reflectance), seen).density
        };
        let left = on("black", black) - on("white", white);
        assert!(apart(ink) > 0.075, "{ink}: {}", apart(ink));
        assert!(left.abs() < 0.012, "{ink}: {left}");
        // Light that is added explains the darkest ink's difference and no other's.
        let share =
            10f64.powf(-ink_on(6, "black")) * (10f64.powf(apart(6)) - 1.0) / (white - black);
        let added = (1.0 + share * (white - black) / 10f64.powf(-ink_on(ink, "black"))).log10();
        assert!(
            ink == 6 || (added - apart(ink)).abs() > 0.03,
            "{ink}: {added}"
        );
    }
}

#[test]
fn what_a_scan_does_not_show_of_its_gain_is_within_the_bounds() {
    // A wedge that lies on white and strips on black; nothing in the cells tells of a gain.
    let fields = [0.1, 1.0, 2.0].map(|density| WedgeField {
        around: [0.85; REACHES_MM.len()],
        ..field(density)
    });
    let near = NearStray::known(0.0, 1e-6, &fields);
    for ink in 1..=6 {
        let seen = ink_on(ink, "black");
        let correction = near.correction(seen, &[0.03; REACHES_MM.len()], seen);
        let off = seen + correction.density - ink_on(ink, "white");
        let error = correction
            .modes
            .map(|mode| mode * mode)
            .iter()
            .sum::<f64>()
            .sqrt();
        assert!(off.abs() < 1.96 * error, "{ink}: {off} {error}");
    }
}
