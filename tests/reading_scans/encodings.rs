//! From code values to linear light: what is stated, what the file says, what is assumed.

use moxcms::{
    ColorProfile, DataColorSpace, LutDataType, LutStore, LutType, LutWarehouse, Matrix3d,
    ToneReprCurve, curve_from_gamma,
};
use twinstrip::files::scan::{
    Container, Mark, Packing, Problem, ScanOptions, StatedEncoding, read_scan, srgb_to_light,
};
use twinstrip::measure::raster::{Channel, Raster, Samples};
use twinstrip::measure::watch::Unwatched;

use crate::support::{Folder, SIZE, eight, float, read, sixteen, write};

const TIFF: Container = Container::Tiff {
    packing: Packing::Plain,
    rows_per_strip: Some(5),
    big: false,
};

fn read_marked(container: Container, samples: &Samples, channels: usize, mark: Mark) -> Raster {
    let folder = Folder::new();
    let path = folder.path("scan");
    write(&path, samples, channels, container, mark);
    read(&path).unwrap()
}

fn read_stated(samples: &Samples, stated: StatedEncoding) -> Raster {
    let folder = Folder::new();
    let path = folder.path("scan");
    write(&path, samples, 3, TIFF, Mark::None);
    let options = ScanOptions {
        stated: Some(stated),
        ..ScanOptions::default()
    };
    read_scan(&path, &options, &Unwatched).unwrap()
}

/// Rows of a table of numbers below its heading.
fn rows(csv: &str) -> Vec<Vec<f64>> {
    csv.lines()
        .skip(1)
        .map(|line| {
            line.split(',')
                .map(|number| number.parse().unwrap())
                .collect()
        })
        .collect()
}

fn assert_near(found: f32, right: f64, within: f64, what: &str) {
    let error = (f64::from(found) - right).abs();
    assert!(
        error <= within * right.abs() + 1e-9,
        "{what}: {found} instead of {right}"
    );
}

/// IEC 61966-2-1:1999, values in testdata/colour (see its README).
#[test]
fn srgb_code_values_become_the_light_of_the_standard() {
    let eight = read_stated(&eight(3), StatedEncoding::Srgb);
    let sixteen = read_stated(&sixteen(3), StatedEncoding::Srgb);
    let tables = [
        (
            include_str!("../../testdata/colour/srgb_decode_8bit.csv"),
            &eight,
        ),
        (
            include_str!("../../testdata/colour/srgb_decode_16bit.csv"),
            &sixteen,
        ),
    ];
    for (csv, raster) in tables {
        for row in rows(csv) {
            for table in &raster.light.tables {
                let what = format!("code {}", row[0]);
                assert_near(table[row[0] as usize], row[1], 2e-7, &what);
            }
        }
    }
}

#[test]
fn a_stated_gamma_or_linear_encoding_is_taken_at_its_word() {
    let raster = read_stated(&eight(3), StatedEncoding::Gamma(2.2));
    assert_near(
        raster.light.tables[1][100],
        (100.0f64 / 255.0).powf(2.2),
        1e-6,
        "gamma",
    );
    assert_eq!(raster.light.source, "stated: gamma 2.2");
    let raster = read_stated(&float(3), StatedEncoding::Linear);
    let mut row = Vec::new();
    raster.linear_row(3, 2, 9, Channel::Green, &mut row);
    let Samples::Float(values) = &raster.samples else {
        panic!("floats stay floats");
    };
    assert_eq!(row.len(), 7);
    for (light, x) in row.iter().zip(2..) {
        assert_near(
            *light,
            f64::from(values[(3 * SIZE.0 + x) * 3 + 1]),
            1e-6,
            "linear",
        );
    }
}

#[test]
fn what_is_stated_goes_before_the_profile_with_a_note() {
    let folder = Folder::new();
    let path = folder.path("scan.tif");
    write(
        &path,
        &sixteen(3),
        3,
        TIFF,
        Mark::Profile(b"no profile at all".to_vec()),
    );
    let options = ScanOptions {
        stated: Some(StatedEncoding::Srgb),
        ..ScanOptions::default()
    };
    let raster = read_scan(&path, &options, &Unwatched).unwrap();
    assert_eq!(raster.light.source, "stated: sRGB");
    let passed_over = |note: &String| note.contains("passed over");
    assert!(raster.origin.notes.iter().any(passed_over));
}

#[test]
fn a_silent_file_is_taken_for_srgb_with_a_note() {
    for container in [TIFF, Container::Png, Container::Jpeg { quality: 95 }] {
        let raster = read_marked(container, &eight(3), 3, Mark::None);
        assert_eq!(raster.light.source, "assumed: sRGB");
        assert_eq!(raster.origin.notes.len(), 1, "{:?}", raster.origin.notes);
        assert!(raster.origin.notes[0].contains("sRGB was assumed"));
        assert!((raster.light.weights.luminance.iter().sum::<f32>() - 1.0).abs() < 1e-6);
    }
}

/// Curves of the profiles as functions; the tolerance is that of the number format in which a
/// profile keeps gammas (1/256) and curves.
#[test]
fn a_profile_of_curves_and_a_matrix_gives_tables_and_luminance_weights() {
    type Curve = fn(f64) -> f64;
    let profiles: [(ColorProfile, Curve, f64); 4] = [
        (ColorProfile::new_srgb(), srgb_to_light, 2e-4),
        (
            ColorProfile::new_adobe_rgb(),
            |v| v.powf(563.0 / 256.0),
            1e-4,
        ),
        (
            ColorProfile::new_pro_photo_rgb(),
            |v| v.powf(461.0 / 256.0),
            1e-4,
        ),
        (ColorProfile::new_aces_cg_linear(), |v| v, 1e-6),
    ];
    for container in [TIFF, Container::Png, Container::Jpeg { quality: 95 }] {
        for (profile, curve, within) in &profiles {
            let bytes = profile.encode().unwrap();
            let raster = read_marked(container, &eight(3), 3, Mark::Profile(bytes));
            let what = raster.light.source.as_str();
            assert!(what.starts_with("embedded profile '"), "{what}");
            for table in &raster.light.tables {
                for code in [1, 20, 128, 254, 255] {
                    assert_near(table[code], curve(code as f64 / 255.0), *within, what);
                }
            }
            let row = [
                profile.red_colorant,
                profile.green_colorant,
                profile.blue_colorant,
            ];
            let white: f64 = row.iter().map(|primary| primary.y).sum();
            for (weight, primary) in raster.light.weights.luminance.iter().zip(row) {
                assert!(
                    (f64::from(*weight) - primary.y / white).abs() < 1e-4,
                    "{what}"
                );
            }
            assert!((raster.light.weights.luminance.iter().sum::<f32>() - 1.0).abs() < 1e-6);
            assert!(raster.origin.notes.is_empty(), "{:?}", raster.origin.notes);
        }
    }
}

#[test]
fn a_grey_profile_is_used_for_a_grey_scan() {
    let bytes = ColorProfile::new_gray_with_gamma(2.2).encode().unwrap();
    let raster = read_marked(TIFF, &sixteen(1), 1, Mark::Profile(bytes));
    assert_eq!(raster.light.tables.len(), 1);
    // ICC.1 keeps a gamma in steps of 1/256: 2.2 becomes 563/256.
    let right = (20_000.0f64 / 65_535.0).powf(563.0 / 256.0);
    assert_near(raster.light.tables[0][20_000], right, 1e-4, "grey gamma");
}

#[test]
fn a_grey_scan_with_an_rgb_profile_uses_its_curve() {
    let bytes = ColorProfile::new_srgb().encode().unwrap();
    let raster = read_marked(Container::Png, &eight(1), 1, Mark::Profile(bytes));
    assert_near(
        raster.light.tables[0][128],
        srgb_to_light(128.0 / 255.0),
        1e-4,
        "grey",
    );
}

#[test]
fn a_profile_that_cannot_be_used_says_how_to_go_on() {
    let folder = Folder::new();
    let srgb = ColorProfile::new_srgb().encode().unwrap();
    let mut falling = ColorProfile::new_srgb();
    falling.green_trc = Some(ToneReprCurve::Lut(vec![65_535, 30_000, 0]));
    let profiles = [
        b"no profile at all".to_vec(),
        Vec::new(),
        srgb[..srgb.len() / 2].to_vec(),
        falling.encode().unwrap(),
        ColorProfile::new_gray_with_gamma(2.2).encode().unwrap(),
        ColorProfile::new_lab().encode().unwrap(),
    ];
    for container in [TIFF, Container::Png, Container::Jpeg { quality: 95 }] {
        for profile in &profiles {
            if profile.is_empty() {
                continue;
            }
            let path = folder.path("scan");
            write(
                &path,
                &eight(3),
                3,
                container,
                Mark::Profile(profile.clone()),
            );
            let error = read(&path).unwrap_err();
            assert!(matches!(error.problem, Problem::Profile { .. }), "{error}");
            assert!(
                error
                    .to_string()
                    .contains("state its encoding: sRGB, a gamma, or linear")
            );
        }
    }
}

#[test]
fn png_chunks_give_srgb_or_a_gamma() {
    let raster = read_marked(Container::Png, &sixteen(3), 3, Mark::PngSrgb);
    assert_eq!(raster.light.source, "sRGB chunk: sRGB");
    let raster = read_marked(Container::Png, &sixteen(3), 3, Mark::PngGamma(1.8));
    assert_eq!(raster.light.source, "gAMA chunk: gamma 1.800");
    let right = (30_000.0f64 / 65_535.0).powf(1.8);
    assert_near(raster.light.tables[2][30_000], right, 1e-4, "gamma 1.8");
}

/// A chunk with its checksum (PNG third edition, 5.3 and annex D).
fn chunk(name: &[u8; 4], data: &[u8]) -> Vec<u8> {
    let mut bytes = (data.len() as u32).to_be_bytes().to_vec();
    bytes.extend(name);
    bytes.extend(data);
    let mut sum = flate2::Crc::new();
    sum.update(&bytes[4..]);
    bytes.extend(sum.sum().to_be_bytes());
    bytes
}

#[test]
fn of_several_png_chunks_the_one_the_standard_prefers_counts() {
    let folder = Folder::new();
    let path = folder.path("scan.png");
    let profile = ColorProfile::new_adobe_rgb().encode().unwrap();
    // Chunks follow the header of 8 + 25 bytes: cICP, iCCP, sRGB, gAMA with cHRM.
    let code_points = chunk(b"cICP", &[1, 8, 0, 1]);
    let srgb = chunk(b"sRGB", &[0]);
    let gamma = chunk(b"gAMA", &45_455u32.to_be_bytes());
    // CIE x, y of white, red, green, blue of ITU-R BT.2020, whose Y row is 0.2627 0.6780 0.0593.
    let wide = [
        31_270u32, 32_900, 70_800, 29_200, 17_000, 79_700, 13_100, 4_600,
    ];
    let primaries = chunk(b"cHRM", &wide.map(u32::to_be_bytes).concat());
    let read_with = |mark: Mark, chunks: &[&Vec<u8>]| {
        write(&path, &sixteen(3), 3, Container::Png, mark);
        let mut file = crate::support::bytes(&path);
        let new: Vec<u8> = chunks
            .iter()
            .flat_map(|chunk| chunk.iter().copied())
            .collect();
        file.splice(33..33, new);
        read(&folder.with("more.png", &file)).unwrap().light
    };
    let all = read_with(
        Mark::Profile(profile.clone()),
        &[&code_points, &srgb, &gamma],
    );
    assert_eq!(all.source, "cICP chunk: primaries 1, transfer 8");
    assert_near(
        all.tables[0][30_000],
        30_000.0 / 65_535.0,
        1e-4,
        "transfer 8 is linear",
    );
    let light = read_with(Mark::Profile(profile), &[&srgb, &gamma]);
    assert!(
        light.source.starts_with("embedded profile"),
        "{}",
        light.source
    );
    let light = read_with(Mark::None, &[&srgb, &gamma]);
    assert_eq!(light.source, "sRGB chunk: sRGB");
    let light = read_with(Mark::None, &[&gamma, &primaries]);
    assert_eq!(light.source, "gAMA chunk: gamma 2.200");
    for (weight, right) in light.weights.luminance.iter().zip([0.2627, 0.6780, 0.0593]) {
        assert!((weight - right).abs() < 2e-4, "{weight} instead of {right}");
    }
}

/// A scanner profile of tables: device to XYZ, gamma 1 (a linear scanner) or 2.2, whose own
/// input curves make the device values even.
fn profile_of_tables(gamma: f64) -> Vec<u8> {
    let entries = 4096u16;
    let grid = 33u8;
    let srgb = ColorProfile::new_srgb();
    let primaries = [srgb.red_colorant, srgb.green_colorant, srgb.blue_colorant];
    let to_even = |v: f64| v.powf(gamma / 2.4);
    let sixteen = |share: f64| (share * 65_535.0).round().clamp(0.0, 65_535.0) as u16;
    let input: Vec<u16> = (0..entries)
        .map(|i| sixteen(to_even(f64::from(i) / f64::from(entries - 1))))
        .collect();
    // CIELAB needs no curve on its side of the cube; lightness is even where the grid is.
    let mut cube = Vec::new();
    let light = |i: u8| (f64::from(i) / f64::from(grid - 1)).powf(2.4);
    for r in 0..grid {
        for g in 0..grid {
            for b in 0..grid {
                let rgb = [light(r), light(g), light(b)];
                let sum = |part: fn(&moxcms::Xyzd) -> f64, white: f64| {
                    let xyz: f64 = primaries.iter().zip(rgb).map(|(p, l)| part(p) * l).sum();
                    let t = xyz / white;
                    // CIE 15: lightness function.
                    if t > 216.0 / 24_389.0 {
                        t.cbrt()
                    } else {
                        (24_389.0 / 27.0 * t + 16.0) / 116.0
                    }
                };
                let (fx, fy, fz) = (
                    sum(|p| p.x, 0.9642),
                    sum(|p| p.y, 1.0),
                    sum(|p| p.z, 0.8249),
                );
                // Version 2 tables: L* 0 to 100 is 0 to 65280, a* and b* are 256 a unit from 32768.
                let lab = [116.0 * fy - 16.0, 500.0 * (fx - fy), 200.0 * (fy - fz)];
                cube.push((lab[0] * 652.8).round().clamp(0.0, 65_535.0) as u16);
                cube.push((lab[1] * 256.0 + 32_768.0).round() as u16);
                cube.push((lab[2] * 256.0 + 32_768.0).round() as u16);
            }
        }
    }
    let lut = LutWarehouse::Lut(LutDataType {
        num_input_channels: 3,
        num_output_channels: 3,
        num_clut_grid_points: grid,
        matrix: Matrix3d::IDENTITY,
        num_input_table_entries: entries,
        num_output_table_entries: 2,
        input_table: LutStore::Store16(input.repeat(3)),
        clut_table: LutStore::Store16(cube),
        output_table: LutStore::Store16([0, 65_535].repeat(3)),
        lut_type: LutType::Lut16,
    });
    let mut profile = ColorProfile::new_srgb();
    profile.cicp = None;
    profile.color_space = DataColorSpace::Rgb;
    profile.pcs = DataColorSpace::Lab;
    (profile.red_trc, profile.green_trc, profile.blue_trc) = (None, None, None);
    profile.lut_a_to_b_perceptual = Some(lut.clone());
    profile.lut_a_to_b_colorimetric = Some(lut);
    let mut bytes = profile.encode().unwrap();
    // The encoder says version 4; tables of this type count Lab the way of version 2 in both.
    bytes[8..12].copy_from_slice(&[2, 0x40, 0, 0]);
    bytes
}

#[test]
fn a_profile_of_tables_keeps_densities_even_from_a_linear_scanner() {
    for gamma in [1.0, 2.2] {
        // Neutral fields of density 0 to 2.5.
        let densities: Vec<f64> = (0..=25).map(|tenth| f64::from(tenth) / 10.0).collect();
        let (width, height) = SIZE;
        let code = |x: usize| {
            let light = 10f64.powf(-densities[x.min(25)]);
            (light.powf(1.0 / gamma) * 65_535.0).round() as u16
        };
        let row: Vec<u16> = (0..width).flat_map(|x| [code(x); 3]).collect();
        let samples = Samples::Sixteen(row.repeat(height));
        let mark = Mark::Profile(profile_of_tables(gamma));
        let raster = read_marked(TIFF, &samples, 3, mark);
        let converted = |note: &String| note.contains("has tables");
        assert!(raster.origin.notes.iter().any(converted));
        assert_eq!(raster.origin.bits, 16);
        let mut light = Vec::new();
        raster.linear_row(0, 0, 26, Channel::Luminance, &mut light);
        for (light, density) in light.iter().zip(&densities) {
            let found = -f64::from(*light).log10();
            let says = density_between_points(*density);
            assert!(
                (found - says).abs() < 0.001,
                "gamma {gamma}: {found} is {says}"
            );
            assert!(*density > 1.5 || (found - density).abs() < 0.001);
        }
    }
}

/// What the table above says of a density: between its points lightness goes straight, which
/// tells in the darks.
fn density_between_points(density: f64) -> f64 {
    let lightness = |even: f64| {
        let t = even.powf(2.4);
        // CIE 15: lightness function.
        if t > 216.0 / 24_389.0 {
            116.0 * t.cbrt() - 16.0
        } else {
            24_389.0 / 27.0 * t
        }
    };
    let place = 32.0 * 10f64.powf(-density / 2.4);
    let (low, high) = (place.floor() / 32.0, (place.floor() + 1.0) / 32.0);
    let between = lightness(low) + (lightness(high) - lightness(low)) * place.fract();
    let light = if between > 8.0 {
        ((between + 16.0) / 116.0).powi(3)
    } else {
        between * 27.0 / 24_389.0
    };
    -light.log10()
}

#[test]
fn channels_with_curves_of_their_own_keep_them() {
    let mut profile = ColorProfile::new_srgb();
    profile.red_trc = Some(curve_from_gamma(1.5));
    profile.blue_trc = Some(curve_from_gamma(2.5));
    let raster = read_marked(TIFF, &eight(3), 3, Mark::Profile(profile.encode().unwrap()));
    let light = |channel: usize| raster.light.tables[channel][128];
    assert_near(light(0), (128.0f64 / 255.0).powf(1.5), 1e-3, "red");
    assert_near(light(1), srgb_to_light(128.0 / 255.0), 1e-3, "green");
    assert_near(light(2), (128.0f64 / 255.0).powf(2.5), 1e-3, "blue");
}
