//! The program's own arithmetic against numbers from outside: certified values, standards,
//! published examples, general statistics packages. testdata/references/README.md says where
//! each number comes from and how it was checked.
#![expect(
    clippy::unwrap_used,
    reason = "a reference that can't be read fails its test"
)]

mod certified;
mod colour;
mod density;
mod dose_response;
mod multiple;
mod our_curves;
mod paper;
mod planning;
mod pooling;
mod potency;
mod recipes;
mod spectra;
mod trade;

use twinstrip::files::scan::{
    Container, Mark, Packing, Picture, ScanOptions, WriteOptions, read_scan, write_scan,
};
use twinstrip::measure::raster::{Raster, Samples};
use twinstrip::measure::watch::Unwatched;

/// Digits that two numbers agree to: -log10 of the relative difference (NIST calls it LRE).
fn digits(found: f64, right: f64) -> f64 {
    if found == right {
        return 15.0;
    }
    -((found - right).abs() / right.abs()).log10()
}

#[track_caller]
fn assert_digits(found: f64, right: f64, wanted: f64, what: &str) {
    assert!(
        digits(found, right) >= wanted,
        "{what}: {found} instead of {right}, {:.1} digits",
        digits(found, right)
    );
}

/// One row of grey code values, written to a TIFF with this mark and read as any scan.
fn grey_scan(samples: &Samples, mark: Mark, reading: &ScanOptions) -> Raster {
    row_scan(samples, 1, mark, reading)
}

/// The same in colour: red, green and blue by turns.
fn rgb_scan(samples: &Samples, mark: Mark, reading: &ScanOptions) -> Raster {
    row_scan(samples, 3, mark, reading)
}

fn row_scan(samples: &Samples, channels: usize, mark: Mark, reading: &ScanOptions) -> Raster {
    let folder = tempfile::tempdir().unwrap();
    let path = folder.path().join("codes.tif");
    let picture = Picture {
        width: samples.len() / channels,
        height: 1,
        channels,
        samples,
    };
    let options = WriteOptions {
        container: Container::tiff(Packing::Plain),
        pixels_per_mm: None,
        mark,
    };
    write_scan(&path, &picture, &options).unwrap();
    read_scan(&path, reading, &Unwatched).unwrap()
}

/// Rows of a table with one head line, as numbers; cells that aren't numbers are NaN.
fn numbers(csv: &str) -> Vec<Vec<f64>> {
    csv.lines()
        .skip(1)
        .map(|line| {
            line.split(',')
                .map(|cell| cell.parse().unwrap_or(f64::NAN))
                .collect()
        })
        .collect()
}

/// Derivatives of a value by its parameters, by central differences: good to eight digits,
/// for values that the program itself needs no derivatives of.
fn slopes(at: &[f64], value: &dyn Fn(&[f64]) -> f64) -> Vec<f64> {
    (0..at.len())
        .map(|place| {
            let step = 1e-5 * at[place].abs().max(0.1);
            let moved = |by: f64| {
                let mut moved = at.to_vec();
                moved[place] += by;
                value(&moved)
            };
            (moved(step) - moved(-step)) / (2.0 * step)
        })
        .collect()
}
