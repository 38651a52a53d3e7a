//! From code values to light and density: sRGB (IEC 61966-2-1), CIE L*.

use twinstrip::files::scan::{Mark, ScanOptions, StatedEncoding};
use twinstrip::files::wedge::read_wedge;
use twinstrip::measure::raster::{Channel, Raster, Samples};
use twinstrip::measure::units::density_of;

use crate::{grey_scan, numbers};

/// Light is kept as single-precision tables.
const SINGLE: f64 = 2e-7;

/// A scan of these grey code values, stated to be sRGB.
fn scanned(samples: Samples) -> Raster {
    let stated = ScanOptions {
        stated: Some(StatedEncoding::Srgb),
        ..ScanOptions::default()
    };
    grey_scan(&samples, Mark::None, &stated)
}

fn light_of(raster: &Raster) -> Vec<f64> {
    let mut row = vec![];
    raster.linear_row(0, 0, raster.width, Channel::Luminance, &mut row);
    row.into_iter().map(f64::from).collect()
}

/// Columns of the decoding tables: code, linear light, density.
fn assert_light_and_density(csv: &str, raster: &Raster) {
    let rows = numbers(csv);
    assert!(rows.len() > 15);
    for (row, light) in rows.iter().zip(light_of(raster)) {
        assert!(
            (light - row[1]).abs() <= SINGLE * row[1],
            "code {}: {light} {}",
            row[0],
            row[1]
        );
        if row[0] > 0.0 {
            let density = density_of(light);
            assert!(
                (density - row[2]).abs() < 1e-6,
                "code {}: {density}",
                row[0]
            );
        }
    }
}

#[test]
fn srgb_codes_read_from_a_scan_are_the_light_and_density_of_the_standard() {
    let eight = include_str!("../../testdata/colour/srgb_decode_8bit.csv");
    let codes = numbers(eight).iter().map(|row| row[0] as u8).collect();
    assert_light_and_density(eight, &scanned(Samples::Eight(codes)));
    let sixteen = include_str!("../../testdata/colour/srgb_decode_16bit.csv");
    let codes = numbers(sixteen).iter().map(|row| row[0] as u16).collect();
    assert_light_and_density(sixteen, &scanned(Samples::Sixteen(codes)));
}

#[test]
fn a_density_scanned_in_srgb_comes_back_within_half_a_code() {
    // Columns: density, linear, encoded, 8-bit code, 16-bit code.
    let rows = numbers(include_str!(
        "../../testdata/references/colour/srgb_encode.csv"
    ));
    let codes = rows.iter().map(|row| row[4] as u16).collect();
    let light = light_of(&scanned(Samples::Sixteen(codes)));
    for (row, light) in rows.iter().zip(light) {
        // sRGB is steepest, 2.3 of light a code share, at white and 1/12.92 at black.
        let half_a_code = 0.5 / 65535.0 * 2.3;
        assert!((light - row[1]).abs() < half_a_code, "{} {light}", row[0]);
    }
}

/// A wedge's list in lightness, as a measuring instrument writes it (CGATS.17).
fn wedge_in_lightness(lightness: &[f64]) -> Vec<f64> {
    let folder = tempfile::tempdir().unwrap();
    let path = folder.path().join("wedge.txt");
    let rows: Vec<String> = lightness
        .iter()
        .enumerate()
        .map(|(row, lightness)| format!("{} {lightness}", row + 1))
        .collect();
    let table = format!(
        "CGATS.17\nBEGIN_DATA_FORMAT\nSAMPLE_ID LAB_L\nEND_DATA_FORMAT\nBEGIN_DATA\n{}\nEND_DATA\n",
        rows.join("\n")
    );
    twinstrip::files::atomic::write(&path, table.as_bytes()).unwrap();
    read_wedge(&path).unwrap()
}

#[test]
fn lightness_becomes_density_as_the_cie_defines_it() {
    // Columns: L*, Y/Yn, density.
    let dark = numbers(include_str!(
        "../../testdata/references/Lstar_to_density.csv"
    ));
    // Columns: density, Y/Yn, L*.
    let light = numbers(include_str!(
        "../../testdata/references/colour/density_reflectance_Lstar.csv"
    ));
    let mut pairs: Vec<(f64, f64)> = dark
        .iter()
        .map(|row| (row[0], row[2]))
        .chain(light.iter().map(|row| (row[2], row[0])))
        .filter(|(lightness, density)| lightness.is_finite() && density.is_finite())
        .collect();
    // A list goes one way.
    pairs.sort_by(|a, b| a.0.total_cmp(&b.0));
    pairs.dedup_by(|a, b| (a.0 - b.0).abs() < 1e-9);
    assert!(pairs.len() > 40);
    let lightness: Vec<f64> = pairs.iter().map(|pair| pair.0).collect();
    for ((lightness, density), found) in pairs.iter().zip(wedge_in_lightness(&lightness)) {
        assert!(
            (found - density).abs() < 1e-9,
            "L* {lightness}: {found} {density}"
        );
    }
}
