//! The wedge's scale against a scanner that is known.

use rand::SeedableRng as _;
use rand_chacha::ChaCha8Rng;
use rand_distr::{Distribution as _, StandardNormal};

use super::*;
use crate::measure::finding::{Kind, Weight};
use crate::measure::geometry::{Edge, Field, Point, StripShape};
use crate::measure::reading::{Cell, REACHES_MM};

/// Twenty-one fields of 0.15 D each from 0.05 are the usual wedge (nominal convention); those
/// up to 2.0 D are used, as a reflection wedge has no more.
fn nominal() -> Vec<f64> {
    (0..14).map(|i| 0.05 + 0.15 * f64::from(i)).collect()
}

fn shape(fields: usize) -> StripShape {
    let corner = Point::new;
    let length = 10.0 * fields as f64;
    StripShape {
        scan: 0,
        corners: [
            corner(0.0, 0.0),
            corner(0.0, 20.0),
            corner(length, 20.0),
            corner(length, 0.0),
        ],
        edges: (0..=fields)
            .map(|i| Edge::square(i as f64 / fields as f64))
            .collect(),
        fields: (0..fields).map(Field::Step).collect(),
        unexposed: vec![],
    }
}

/// A scanner with stray light, gain and a bent tone curve: light for a true density.
fn scanner(density: f64) -> f64 {
    let reflectance = 10f64.powf(-density);
    let light = 0.86 * (reflectance + 0.006) / 1.006;
    let s = -light.log10();
    10f64.powf(-(s + 0.02 * (2.2 * s).sin()))
}

/// Cells of a wedge whose true densities are `truth`; `shade` darkens towards the right.
fn cells(truth: &[f64], shade: f64) -> Vec<Cell> {
    let mut cells = Vec::new();
    for (field, &density) in truth.iter().enumerate() {
        for (i, j) in (0..8).map(|k| (k / 4, k % 4)) {
            let at_mm = (
                10.0 * field as f64 + 3.0 + 4.0 * f64::from(i),
                4.0 + 4.0 * f64::from(j),
            );
            let dark = shade * (at_mm.1 - 10.0) / 20.0;
            // A texture without chance: a thousandth of a density from cell to cell.
            let texture = 0.001 * f64::from((i * 4 + j * 3 + field as i32) % 3 - 1);
            let light = scanner(density) * 10f64.powf(-dark - texture);
            cells.push(Cell {
                field,
                at_mm,
                at: Point::new(at_mm.0, at_mm.1),
                light,
                light_error: light * 0.001,
                pixels: 1000,
                rejected: 0.0,
                clipped: 0.0,
                around: [light; REACHES_MM.len()],
            });
        }
    }
    cells
}

fn scanner_density(density: f64) -> f64 {
    -scanner(density).log10()
}

#[test]
fn a_wedge_gives_back_the_densities_of_the_grey_chart() {
    // Neutrals of the 24-patch chart: McCamy, Marcus & Davidson 1976, J. Appl. Photogr. Eng.
    // 2:95.
    const GREYS: [f64; 6] = [0.05, 0.23, 0.44, 0.70, 1.05, 1.50];
    let listed = nominal();
    let fit = fit_wedge(&cells(&listed, 0.0), &shape(14), &listed, 0.01).unwrap();
    assert!(fit.findings.is_empty(), "{:?}", fit.findings);
    for density in GREYS {
        let read = fit.scale.density(scanner_density(density));
        assert!((read - density).abs() < 0.006, "{density}: {read}");
    }
    assert!(fit.scale.leave_one_out() < 0.01);
}

#[test]
fn the_scale_rises_strictly_and_its_slope_is_that_of_its_densities() {
    let listed = nominal();
    let scale = fit_wedge(&cells(&listed, 0.0), &shape(14), &listed, 0.02)
        .unwrap()
        .scale;
    let step = 1e-5;
    for i in 0..400 {
        let s = -1.0 + 0.01 * f64::from(i);
        let rise = (scale.density(s + step) - scale.density(s - step)) / (2.0 * step);
        assert!(rise > 0.05);
        assert!(
            (rise - scale.slope(s)).abs() < 2e-3,
            "{s}: {rise} {}",
            scale.slope(s)
        );
    }
}

#[test]
fn the_scales_modes_cover_its_errors_when_the_list_is_off_as_stated() {
    let random = &mut ChaCha8Rng::seed_from_u64(5);
    let truth = nominal();
    let uncertainty = 0.015;
    let (mut squares, mut count) = (0.0, 0.0);
    for _ in 0..150 {
        let mut off = || -> f64 { StandardNormal.sample(random) };
        let listed: Vec<f64> = truth.iter().map(|d| d + uncertainty * off()).collect();
        let scale = fit_wedge(&cells(&truth, 0.0), &shape(14), &listed, uncertainty)
            .unwrap()
            .scale;
        for density in [0.08, 0.4, 0.8, 1.2, 1.6, 1.9] {
            let s = scanner_density(density);
            let error = scale.density(s) - density;
            squares += (error / standard_error(&scale, s)).powi(2);
            count += 1.0;
        }
    }
    let variance = squares / count;
    assert!((0.7..1.3).contains(&variance), "{variance}");
}

#[test]
fn beyond_the_wedge_the_error_grows_and_it_is_said() {
    let listed = &nominal()[..9];
    let scale = fit_wedge(&cells(listed, 0.0), &shape(9), listed, 0.01)
        .unwrap()
        .scale;
    let (inside, far) = (scanner_density(1.2), scanner_density(1.9));
    let error = standard_error(&scale, far);
    assert!(error > 3.0 * standard_error(&scale, inside));
    assert!((scale.density(far) - 1.9).abs() < 2.0 * error);
    let finding = beyond_wedge(&scale, &[scanner_density(0.1), inside, far], 1).unwrap();
    assert_eq!(finding.kind, Kind::BeyondWedge);
    assert!(finding.seen.starts_with("1 of"), "{}", finding.seen);
    assert_eq!(beyond_wedge(&scale, &[inside], 1), None);
}

#[test]
fn a_wedge_with_another_count_of_fields_is_refused() {
    let listed = nominal();
    let refused = fit_wedge(&cells(&listed, 0.0), &shape(14), &listed[1..], 0.01).unwrap_err();
    assert_eq!(refused.kind, Kind::WedgeFieldCount);
    assert!(refused.seen.contains("14 fields") && refused.seen.contains("13 densities"));
}

#[test]
fn a_wedge_listed_the_wrong_way_round_is_refused() {
    let mut listed = nominal();
    let cells = cells(&listed, 0.0);
    listed.reverse();
    let refused = fit_wedge(&cells, &shape(14), &listed, 0.01).unwrap_err();
    assert_eq!(
        (refused.kind, refused.weight),
        (Kind::WedgeNotMonotone, Weight::Blocking)
    );
}

#[test]
fn a_wrong_number_in_the_list_is_left_out_and_reported() {
    let truth = nominal();
    let mut listed = truth.clone();
    listed[5] += 0.2;
    let fit = fit_wedge(&cells(&truth, 0.0), &shape(14), &listed, 0.01).unwrap();
    assert_eq!(fit.scale.left_out(), [5]);
    assert!(fit.findings.iter().any(|f| f.seen.contains("Field 6")));
    let read = fit.scale.density(scanner_density(truth[5]));
    assert!((read - truth[5]).abs() < 0.015, "{read}");
}
