//! Densities against published ones: the neutral fields of the 24-field colour chart, the
//! definitions of ISO 5-4 and ISO 5-3, and codes that come back through profiles.

use std::path::Path;

use serde_json::Value;
use twinstrip::files::scan::{Mark, ScanOptions};
use twinstrip::files::wedge::from_text;
use twinstrip::measure::raster::{Channel, Samples};
use twinstrip::measure::units::{density_of, reflectance_of};
use twinstrip::measure::visual::visual_density;

use crate::{grey_scan, numbers};

const CHART: &str = include_str!("../../testdata/references/colour/chart24_neutrals.csv");

/// The chart's densities are printed with two decimals and its Y are means of many charts, on
/// scales of white that differ by up to 0.011 in density (testdata/references/README.md).
const CHART_WITHIN: f64 = 0.021;

/// A table of one column in CGATS.17 text form.
fn table(column: &str, values: impl Iterator<Item = f64>) -> Vec<f64> {
    let rows: Vec<String> = values.map(|value| format!("1 {value}")).collect();
    let text = format!(
        "CGATS.17\nBEGIN_DATA_FORMAT\nSAMPLE_ID {column}\nEND_DATA_FORMAT\nBEGIN_DATA\n{}\n\
         END_DATA\n",
        rows.join("\n")
    );
    from_text(Path::new("chart.txt"), &text).unwrap()
}

#[test]
fn the_neutral_fields_of_the_colour_chart_have_their_published_densities() {
    let rows = numbers(CHART);
    assert_eq!(rows.len(), 6);
    // Columns of Y (a perfect diffuser is 1) from three publications and one from Munsell value.
    for column in [2, 4, 6, 8] {
        let by_luminance = table("XYZ_Y", rows.iter().map(|row| 100.0 * row[column]));
        for (row, density) in rows.iter().zip(by_luminance) {
            assert!(
                (density - row[1]).abs() < CHART_WITHIN,
                "{}: {density} by column {column}",
                row[1]
            );
            // The density that stands beside it was computed elsewhere from all digits of Y; both
            // are printed with four decimals.
            let rounding = 5e-5 + 5e-5 / row[column] / std::f64::consts::LN_10;
            assert!((density - row[column + 1]).abs() < rounding, "{density}");
        }
        // And by CIE L* of the same Y (CIE 15; all six are far above the line's end).
        let lightness = |y: f64| 116.0 * y.cbrt() - 16.0;
        let by_lightness = table("LAB_L", rows.iter().map(|row| lightness(row[column])));
        for (row, density) in rows.iter().zip(by_lightness) {
            assert!((density - density_of(row[column])).abs() < 1e-9);
        }
    }
}

#[test]
fn density_is_minus_the_logarithm_of_the_reflectance_factor() {
    // ISO 5-4.
    let file = include_str!("../../testdata/references/colour/colour_constants.json");
    let constants: Value = serde_json::from_str(file).unwrap();
    let density = constants["density"].as_object().unwrap();
    let mut checked = 0;
    for (name, value) in density {
        let Some(value) = value.as_f64() else {
            continue;
        };
        if let Some(reflectance) = name.strip_prefix("D_at_R_") {
            let found = density_of(reflectance.parse().unwrap());
            assert!((found - value).abs() < 1e-12, "{name}: {found}");
            checked += 1;
        } else if let Some(density) = name.strip_prefix("R_at_D_") {
            let found = reflectance_of(density.parse().unwrap());
            // log10 2 stands there with five decimals.
            let within = if density == "0.30103" { 1e-8 } else { 1e-12 };
            assert!((found - value).abs() < within, "{name}: {found}");
            checked += 1;
        }
    }
    assert_eq!(checked, 5);
}

#[test]
fn visual_density_weights_a_spectrum_as_iso_5_3_has_it() {
    let csv = include_str!("../../testdata/references/colour/visual_density_weighting.csv");
    let rows = numbers(csv);
    assert_eq!(rows.len(), 41);
    for wanted in &rows {
        // A spectrum that reflects at one wavelength only shows that wavelength's weight.
        let line: Vec<(f64, f64)> = rows
            .iter()
            .map(|row| (row[0], f64::from(u8::from(row[0] == wanted[0]))))
            .collect();
        let weight = reflectance_of(visual_density(&line).unwrap());
        // Weights are kept as logarithms with four decimals: 1.2e-4 of themselves.
        let within = 1.2e-4 * weight + 1e-8;
        assert!(
            (weight - wanted[1] / 100.0).abs() < within + 5e-9,
            "{} nm: {weight}",
            wanted[0]
        );
    }
}

/// Light of 16-bit grey codes that carry a profile, as read.
fn light(codes: Vec<u16>, profile: &[u8]) -> Vec<f64> {
    let mark = Mark::Profile(profile.to_vec());
    let raster = grey_scan(&Samples::Sixteen(codes), mark, &ScanOptions::default());
    assert!(raster.light.source.starts_with("embedded profile"));
    let mut row = vec![];
    raster.linear_row(0, 0, raster.width, Channel::Luminance, &mut row);
    row.into_iter().map(f64::from).collect()
}

/// A profile of testdata/readers: a byte of the fuzz target stands before it.
macro_rules! profile {
    ($name:literal) => {
        &include_bytes!(concat!("../../testdata/readers/profiles/", $name, ".seed"))[1..]
    };
}

/// Code of a share, 16 bits.
fn code(share: f64) -> u16 {
    (share * 65_535.0).round() as u16
}

#[test]
fn densities_written_through_a_profile_come_back() {
    // Each row's density, encoded by the other side's formula, rounded to a code, read back.
    let rows = numbers(include_str!(
        "../../testdata/references/colour/density_reflectance_Lstar.csv"
    ));
    type Encode = fn(&[f64]) -> f64;
    // A code is worth more density in the dark; a gamma in a profile has steps of 1/256.
    let cases: [(&[u8], Encode, f64); 3] = [
        (profile!("grey-lightness-v2"), |row| row[2] / 100.0, 1e-3),
        (profile!("grey-22-v4"), |row| row[1].powf(1.0 / 2.2), 1e-3),
        (profile!("grey-linear-v4"), |row| row[1], 4e-3),
    ];
    for (profile, encode, within) in cases {
        let codes = rows.iter().map(|row| code(encode(row))).collect();
        let mut checked = 0;
        for (row, light) in rows.iter().zip(light(codes, profile)) {
            if row[0] <= 2.5 {
                let density = density_of(light);
                assert!((density - row[0]).abs() < within, "{}: {density}", row[0]);
                checked += 1;
            }
        }
        assert!(checked > 20);
    }
}

#[test]
fn srgb_codes_of_the_standard_come_back_through_both_versions_of_a_profile() {
    let rows = numbers(include_str!(
        "../../testdata/references/colour/srgb_encode.csv"
    ));
    for (profile, within) in [(profile!("srgb-v2"), 4e-5), (profile!("srgb-v4"), 2e-5)] {
        let codes = rows.iter().map(|row| row[4] as u16).collect();
        for (row, light) in rows.iter().zip(light(codes, profile)) {
            assert!((light - row[1]).abs() < within, "{}: {light}", row[1]);
        }
    }
}
