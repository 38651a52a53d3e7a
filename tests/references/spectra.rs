//! Three channels weighed as a visual densitometer weighs a spectrum (ISO 5-3): published spectra
//! of the 24-field chart (N. Ohta 1997), of the CIE's test colours (CIE 13.3) and invented ones of
//! toned silver, seen by the CIE 1931 observer under D50, as profiles have it.
//! testdata/references/README.md has the sources.

use nalgebra::{DMatrix, DVector};
use twinstrip::files::atomic;
use twinstrip::files::scan::{
    Container, Mark, Packing, Picture, ScanOptions, StatedEncoding, WriteOptions, read_scan,
    write_scan,
};
use twinstrip::files::session::read_session;
use twinstrip::measure::analysis::analyse;
use twinstrip::measure::raster::{Channel, Samples, Weights};
use twinstrip::measure::units::density_of;
use twinstrip::measure::visual::{of_primaries, visual_density};
use twinstrip::measure::watch::Unwatched;

use crate::{numbers, rgb_scan};

/// X, Y, Z as primaries: their weights are those of X, Y and Z themselves.
const AXES: [[f64; 3]; 3] = [[1.0, 0.0, 0.0], [0.0, 1.0, 0.0], [0.0, 0.0, 1.0]];
/// sRGB primaries for D50, as profiles hold them (IEC 61966-2-1; Bradford's adaptation; from
/// memory).
const SRGB: [[f64; 3]; 3] = [
    [0.436_075, 0.222_504, 0.013_932],
    [0.385_065, 0.716_879, 0.097_105],
    [0.143_080, 0.060_617, 0.714_173],
];

/// A reflectance every 10 nm.
type Spectrum = Vec<(f64, f64)>;

/// The spectra of a table: wavelengths in its first column, a spectrum in each other.
fn spectra(csv: &str) -> Vec<Spectrum> {
    let rows = numbers(csv);
    (1..rows[0].len())
        .map(|column| rows.iter().map(|row| (row[0], row[column])).collect())
        .collect()
}

fn chart() -> Vec<Spectrum> {
    spectra(include_str!(
        "../../testdata/references/colour/chart24_spectra.csv"
    ))
}

fn test_colours() -> Vec<Spectrum> {
    spectra(include_str!(
        "../../testdata/references/colour/test_colours_spectra.csv"
    ))
}

/// Invented: silver whose density falls or rises with the wavelength, on white and cream bases.
fn toned() -> Vec<Spectrum> {
    let mut all = vec![];
    for power in [-1.0, -0.5, 0.0, 0.5, 1.0, 2.0, 3.0] {
        for density in [0.1, 0.3, 0.6, 1.0, 1.5, 2.0] {
            for cream in [0.0, 0.1, 0.2] {
                let at = |nm: f64| {
                    let silver = density * (nm / 560.0).powf(-power);
                    let base = cream / (1.0 + ((nm - 480.0) / 30.0).exp());
                    (nm, 0.9 * 10f64.powf(-silver - base))
                };
                all.push((0..=40).map(|i| at(380.0 + 10.0 * f64::from(i))).collect());
            }
        }
    }
    all
}

/// X, Y and Z under D50, relative to white.
fn xyz(spectrum: &Spectrum) -> [f64; 3] {
    let observer = numbers(include_str!(
        "../../testdata/references/colour/observer.csv"
    ));
    [1, 2, 3].map(|axis| {
        let weight = |row: &Vec<f64>| row[axis] * row[4];
        let rows = || observer.iter().zip(spectrum);
        let white: f64 = rows().map(|(row, _)| weight(row)).sum();
        rows()
            .map(|(row, (_, light))| weight(row) * light)
            .sum::<f64>()
            / white
    })
}

/// How far the density by these weights of X, Y and Z lies from that of the spectrum: root mean
/// square and worst.
fn errors(spectra: &[Spectrum], weights: [f64; 3]) -> (f64, f64) {
    let errors: Vec<f64> = spectra
        .iter()
        .map(|spectrum| {
            let light: f64 = xyz(spectrum).iter().zip(weights).map(|(a, b)| a * b).sum();
            density_of(light) - visual_density(spectrum).unwrap()
        })
        .collect();
    let square: f64 = errors.iter().map(|error| error * error).sum();
    let worst = errors
        .iter()
        .fold(0.0f64, |worst, error| worst.max(error.abs()));
    ((square / errors.len() as f64).sqrt(), worst)
}

const LUMINANCE: [f64; 3] = [0.0, 1.0, 0.0];

fn weights() -> [f64; 3] {
    of_primaries(AXES).map(f64::from)
}

#[test]
fn the_weights_are_the_least_squares_ones_of_chart_and_toned_silver() {
    let all: Vec<Spectrum> = chart().into_iter().chain(toned()).collect();
    assert_eq!(all.len(), 24 + 126);
    // Light by weights (x, 1 - x - z, z) over the light of ISO 5-3, less 1: errors of density.
    let mut matrix = DMatrix::zeros(all.len(), 2);
    let mut right = DVector::zeros(all.len());
    for (row, spectrum) in all.iter().enumerate() {
        let light = 10f64.powf(-visual_density(spectrum).unwrap());
        let [x, y, z] = xyz(spectrum).map(|value| value / light);
        matrix[(row, 0)] = x - y;
        matrix[(row, 1)] = z - y;
        right[row] = 1.0 - y;
    }
    let found = matrix.svd(true, true).solve(&right, 1e-12).unwrap();
    let [x, y, z] = weights();
    assert!(
        (x - found[0]).abs() < 0.001 && (z - found[1]).abs() < 0.001,
        "{found}"
    );
    assert!(
        (x + y + z - 1.0).abs() < 1e-6,
        "a neutral keeps its luminance"
    );
}

#[test]
fn test_colours_that_were_not_used_come_out_as_their_spectra_do() {
    let (ours, worst) = errors(&test_colours(), weights());
    let (luminance, luminance_worst) = errors(&test_colours(), LUMINANCE);
    println!(
        "test colours: {ours:.4} at most {worst:.4}; luminance {luminance:.4} at most {luminance_worst:.4}"
    );
    assert!(ours < 0.003 && worst < 0.006, "{ours} {worst}");
    assert!(
        luminance > 0.05,
        "so that the weights are worth their while: {luminance}"
    );
}

#[test]
fn warm_and_toned_images_are_read_to_a_thousandth() {
    let (ours, worst) = errors(&toned(), weights());
    let (luminance, _) = errors(&toned(), LUMINANCE);
    println!("toned: {ours:.4} at most {worst:.4}; luminance {luminance:.4}");
    assert!(worst < 0.001 && luminance > 0.03, "{worst} {luminance}");
}

#[test]
fn the_charts_neutral_fields_are_the_same_by_either() {
    for spectrum in chart().iter().skip(18) {
        let [ours, luminance] = [weights(), LUMINANCE]
            .map(|weights| density_of(xyz(spectrum).iter().zip(weights).map(|(a, b)| a * b).sum()));
        assert!((ours - luminance).abs() < 0.002, "{ours} {luminance}");
    }
}

#[test]
fn a_scan_of_the_chart_reads_as_a_visual_densitometer_would() {
    // The chart as a scan that is true to its profile has it: linear sRGB of what was seen.
    let mut fields = vec![];
    let mut samples = vec![];
    for spectrum in chart() {
        let light = srgb(&spectrum);
        // One field lies outside of sRGB: cyan's red is below nothing.
        if light.iter().all(|&light| light >= 0.0) {
            fields.push(visual_density(&spectrum).unwrap());
            samples.extend(light.iter().map(|light| (light * 65_535.0).round() as u16));
        }
    }
    assert_eq!(fields.len(), 23);
    let stated = ScanOptions {
        stated: Some(StatedEncoding::Linear),
        ..ScanOptions::default()
    };
    let raster = rgb_scan(&Samples::Sixteen(samples), Mark::None, &stated);
    let mut row = vec![];
    let mut square = [0.0; 2];
    for (square, channel) in square.iter_mut().zip([Channel::Visual, Channel::Luminance]) {
        raster.linear_row(0, 0, raster.width, channel, &mut row);
        for (light, density) in row.iter().zip(&fields) {
            *square += (density_of(f64::from(*light)) - density).powi(2) / fields.len() as f64;
        }
    }
    let [ours, luminance] = square.map(f64::sqrt);
    println!("chart through a scan: {ours:.4}; luminance {luminance:.4}");
    assert!(ours < 0.002 && luminance > 0.04, "{ours} {luminance}");
}

#[test]
fn the_weights_of_srgb_follow_from_its_primaries() {
    for (listed, found) in Weights::SRGB.visual.iter().zip(of_primaries(SRGB)) {
        assert!((listed - found).abs() < 1e-4, "{listed} {found}");
    }
}

/// Pixels a millimetre of the painted scan.
const PER_MM: usize = 8;
/// Nominal densities of the painted wedge and of the toned strip's steps.
const WEDGE: [f64; 10] = [0.08, 0.2, 0.35, 0.5, 0.7, 0.9, 1.1, 1.3, 1.5, 1.7];
const STEPS: [f64; 8] = [0.08, 0.18, 0.32, 0.5, 0.72, 0.95, 1.2, 1.45];

/// Silver toned brown, on a white base.
fn brown(density: f64) -> Spectrum {
    let at = |nm: f64| (nm, 0.86 * 10f64.powf(-density * (nm / 560.0).powf(-1.5)));
    (0..=40).map(|i| at(380.0 + 10.0 * f64::from(i))).collect()
}

/// Light of linear sRGB that a scanner true to its profile sees.
fn srgb(spectrum: &Spectrum) -> [f64; 3] {
    let columns = nalgebra::Matrix3::from_fn(|axis, primary| SRGB[primary][axis]);
    let white = columns * nalgebra::Vector3::repeat(1.0);
    let seen = nalgebra::Vector3::from(xyz(spectrum)).component_mul(&white);
    (columns.try_inverse().unwrap() * seen).into()
}

/// Fields side by side.
struct Sheet {
    /// Its corner from the left and from the top, mm.
    corner: (usize, usize),
    /// Length and width of a field, mm.
    field: (usize, usize),
    /// Light of the fields, linear sRGB.
    lights: Vec<[f64; 3]>,
}

/// Codes of a scan of the lid with sheets on it: 16 bits, linear.
fn painted((width, height): (usize, usize), sheets: &[Sheet]) -> Vec<u16> {
    let mut light = vec![[0.88; 3]; width * height];
    for sheet in sheets {
        let ((left, top), (long, wide)) = (sheet.corner, sheet.field);
        for (place, field) in sheet.lights.iter().enumerate() {
            for y in top * PER_MM..(top + wide) * PER_MM {
                let from = y * width + (left + place * long) * PER_MM;
                light[from..from + long * PER_MM].fill(*field);
            }
        }
    }
    // Noise of a scanner: even, a hundredth of the light, the same on every run.
    let mut state = 1u64;
    let mut noise = || {
        state = state
            .wrapping_mul(6_364_136_223_846_793_005)
            .wrapping_add(1);
        (state >> 40) as f64 / (1u64 << 24) as f64 - 0.5
    };
    let code = |light: f64| (light.clamp(0.0, 1.0) * 65_535.0).round() as u16;
    light
        .iter()
        .flatten()
        .map(|light| code(light * (1.0 + 0.02 * noise())))
        .collect()
}

#[test]
fn a_brown_coat_measured_by_a_neutral_wedge_has_the_densities_of_a_visual_densitometer() {
    let base = brown(0.0);
    let truth: Vec<f64> = STEPS
        .iter()
        .map(|density| visual_density(&brown(*density)).unwrap())
        .collect();
    let wedge = WEDGE.map(|density| [10f64.powf(-density); 3]).to_vec();
    let coat = std::iter::once(srgb(&base)).chain(STEPS.map(|density| srgb(&brown(density))));
    let (width, height) = (150 * PER_MM, 70 * PER_MM);
    let sheets = [
        Sheet {
            corner: (10, 8),
            field: (12, 12),
            lights: wedge,
        },
        Sheet {
            corner: (10, 32),
            field: (14, 24),
            lights: coat.collect(),
        },
    ];
    let samples = painted((width, height), &sheets);
    let folder = tempfile::tempdir().unwrap();
    let path = folder.path().join("slate.tif");
    let samples = Samples::Sixteen(samples);
    let picture = Picture {
        width,
        height,
        channels: 3,
        samples: &samples,
    };
    let options = WriteOptions {
        container: Container::tiff(Packing::Plain),
        pixels_per_mm: Some(PER_MM as f64),
        mark: Mark::None,
    };
    write_scan(&path, &picture, &options).unwrap();
    let errors = |channel: &str| -> Vec<f64> {
        let text = format!(
            "Session(version: 1, scans: [Scan(path: \"slate.tif\", encoding: linear)], wedge: \
             {WEDGE:?}, settings: Settings(channel: {channel}), strips: [Strip(name: \"slate\", \
             role: reference, series: in_stops(first: \"2s\", stops: \"1/2\", steps: {}), \
             aperture: 16)])",
            STEPS.len()
        );
        let file = folder.path().join("session.ron");
        atomic::write(&file, text.as_bytes()).unwrap();
        let session = read_session(&file).unwrap();
        let options = ScanOptions {
            stated: Some(StatedEncoding::Linear),
            ..ScanOptions::default()
        };
        let raster = read_scan(&path, &options, &Unwatched).unwrap();
        let analysis = analyse(&session.question(vec![raster.into()]), &Unwatched).unwrap();
        let steps = analysis.strips[0].steps.iter().filter(|step| step.step > 0);
        let read: Vec<f64> = steps.map(|step| step.density).collect();
        assert_eq!(read.len(), truth.len());
        read.iter()
            .zip(&truth)
            .map(|(read, truth)| read - truth)
            .collect()
    };
    let worst = |errors: &[f64]| errors.iter().fold(0.0f64, |worst, e| worst.max(e.abs()));
    let (visual, luminance) = (errors("visual"), errors("luminance"));
    println!("visual {visual:.4?}\nluminance {luminance:.4?}");
    assert!(worst(&visual) < 0.005, "{visual:?}");
    assert!(worst(&luminance) > 0.04, "{luminance:?}");
}
