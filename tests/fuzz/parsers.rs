//! What each fuzz target does with its bytes, and what must hold whatever they are. The fuzz
//! targets and tests/fuzz_findings.rs share it.

#![expect(
    dead_code,
    clippy::disallowed_methods,
    clippy::unwrap_used,
    reason = "each target uses its own part, and files are what is tested"
)]

use std::io::Write as _;
use std::path::Path;

use twinstrip::files::scan::{Limits, ScanOptions, Sort, StatedEncoding, read_scan};
use twinstrip::measure::watch::Unwatched;

/// Small, so that what takes more than it should is seen.
const LIMITS: Limits = Limits {
    max_pixels: 1_000_000,
    max_bytes: 8 << 20,
};

/// A panic in a decoder of others is caught by `read_scan` and reported as damage, so it is
/// forgiven; one in our own sources, or one that nobody catches, ends the run.
pub fn forgive_decoders() {
    std::panic::set_hook(Box::new(|panic| {
        let ours = panic.location().is_none_or(|place| {
            !place.file().contains("registry") && !place.file().contains("rustc")
        });
        if ours {
            eprintln!("{panic}");
            std::process::abort();
        }
    }));
}

/// Any bytes as a scan file.
pub fn scan(bytes: &[u8]) {
    read(bytes, None);
    if bytes.len().is_multiple_of(7) {
        read(bytes, Some(StatedEncoding::Gamma(1.8)));
    }
}

fn read(bytes: &[u8], stated: Option<StatedEncoding>) {
    let mut file = tempfile::NamedTempFile::new().unwrap();
    file.write_all(bytes).unwrap();
    let limits = LIMITS;
    match read_scan(file.path(), &ScanOptions { limits, stated }, &Unwatched) {
        Ok(raster) => {
            let count = raster.width * raster.height * raster.channels;
            assert_eq!(raster.samples.len(), count);
            assert!(raster.channels == 1 || raster.channels == 3);
            assert!(count as u64 <= LIMITS.max_pixels * 3);
            assert_eq!(raster.light.tables.len(), raster.channels);
            let sound = |light: &f32| light.is_finite() && *light >= 0.0;
            let tables = &raster.light.tables;
            assert!(tables.iter().all(|table| table.iter().all(sound)));
            let weights = raster.light.weights;
            for weights in [weights.luminance, weights.visual] {
                let white: f32 = weights.iter().sum();
                assert!((white - 1.0).abs() < 1e-3, "weights {white}");
            }
            let per_mm = raster.pixels_per_mm;
            assert!(per_mm.is_none_or(|per_mm| per_mm.is_finite() && per_mm > 0.0));
        }
        Err(error) => {
            let sort = error.sort();
            assert!(matches!(sort, Sort::File | Sort::Unsupported), "{error}");
            assert!(error.to_string().len() < 2000);
        }
    }
}

/// Any bytes as the colour profile of a sound TIFF; the first byte chooses grey or RGB and the
/// bits.
pub fn colour_profile(bytes: &[u8]) {
    let Some((&choice, profile)) = bytes.split_first() else {
        return;
    };
    let channels = if choice & 1 == 0 { 3 } else { 1 };
    let bits = if choice & 2 == 0 { 16 } else { 8 };
    read(&tiff_with_profile(profile, channels, bits), None);
}

/// The smallest TIFF: 4 x 3 pixels in one strip, and the profile behind them.
fn tiff_with_profile(profile: &[u8], channels: u16, bits: u16) -> Vec<u8> {
    let (width, height) = (4u32, 3u32);
    let size = width * height * u32::from(channels * bits / 8);
    let pixels: Vec<u8> = (0..size).map(|i| (i * 37 % 256) as u8).collect();
    let strip = 8;
    let icc = strip + size;
    let depths = icc + profile.len() as u32;
    let depth = if channels == 3 {
        (258, 3, 3, depths)
    } else {
        (258, 3, 1, u32::from(bits))
    };
    let photometric = if channels == 3 { 2 } else { 1 };
    let entries: [(u16, u16, u32, u32); 10] = [
        (256, 4, 1, width),
        (257, 4, 1, height),
        depth,
        (259, 3, 1, 1),
        (262, 3, 1, photometric),
        (273, 4, 1, strip),
        (277, 3, 1, u32::from(channels)),
        (278, 4, 1, height),
        (279, 4, 1, size),
        (34_675, 7, profile.len() as u32, icc),
    ];
    let mut file = b"II*\0".to_vec();
    file.extend((depths + 6).to_le_bytes());
    file.extend(&pixels);
    file.extend(profile);
    file.extend([bits.to_le_bytes(); 3].concat());
    file.extend((entries.len() as u16).to_le_bytes());
    for (tag, kind, count, value) in entries {
        file.extend(tag.to_le_bytes());
        file.extend(kind.to_le_bytes());
        file.extend(count.to_le_bytes());
        file.extend(value.to_le_bytes());
    }
    file.extend([0; 4]);
    file
}

/// Any text as a recipe file and as a recipe in words; what was read is written and read again.
pub fn recipe(bytes: &[u8]) {
    let Ok(text) = std::str::from_utf8(bytes) else {
        return;
    };
    use twinstrip::files::recipe::{from_text, to_text};
    use twinstrip::measure::plan::Recipe;
    let path = Path::new("recipe.ron");
    if let Ok(kept) = from_text(path, text) {
        let written = to_text(&kept).unwrap();
        assert_eq!(from_text(path, &written), Ok(kept), "{written}");
    }
    if let Ok(recipe) = Recipe::read(text) {
        let written = recipe.written();
        assert_eq!(Recipe::read(&written), Ok(recipe), "{written}");
    }
    // One burn or dodge alone, as the window's form reads it.
    let base = Recipe::read("20s at f/8").unwrap();
    base.read_change(text).ok();
}

/// Any text as baths with their times; what was read is written and read again.
pub fn baths(bytes: &[u8]) {
    let Ok(text) = std::str::from_utf8(bytes) else {
        return;
    };
    use twinstrip::document::sheet::Process;
    use twinstrip::document::sheet::process::MOST_BATHS;
    match Process::read(text) {
        Ok(process) => {
            assert!((1..=MOST_BATHS).contains(&process.stages.len()));
            for stage in &process.stages {
                assert!(!stage.bath.trim().is_empty());
                assert!(
                    stage
                        .time
                        .is_none_or(|time| time.0.is_finite() && time.0 > 0.0)
                );
            }
            let written = process.written();
            assert_eq!(Process::read(&written), Ok(process), "{written}");
        }
        Err(error) => assert!(!error.to_string().is_empty()),
    }
}

/// Any text as a session file; what was read is written and read again.
pub fn session(bytes: &[u8]) {
    let Ok(text) = std::str::from_utf8(bytes) else {
        return;
    };
    use twinstrip::files::session::{from_text, to_text};
    let path = Path::new("session.ron");
    let list = vec![0.05, 0.2, 0.35, 0.5, 0.65];
    let read = |text: &str| from_text(path, text, &|_: &Path| Ok(list.clone()));
    match read(text) {
        Ok(session) => {
            let written = to_text(&session).unwrap();
            match read(&written) {
                Ok(again) => assert_eq!(again, session, "{written}"),
                Err(error) => panic!("{error}, in what was written:\n{written}"),
            }
        }
        Err(error) => told(&error.to_string(), "session.ron"),
    }
}

/// Any text as a list of a wedge's densities, plain or a table.
pub fn wedge_list(bytes: &[u8]) {
    let Ok(text) = std::str::from_utf8(bytes) else {
        return;
    };
    match twinstrip::files::wedge::references_from_text(Path::new("wedge.txt"), text) {
        Ok(references) => {
            let channels = references.channels.iter().flatten();
            for densities in channels.chain([&references.visual]) {
                assert!(densities.iter().all(|density| density.is_finite()));
            }
        }
        Err(error) => told(&error.to_string(), "wedge.txt"),
    }
}

/// Any text as a calibration; what was read is written, read again, and fitted.
pub fn calibration(bytes: &[u8]) {
    let Ok(text) = std::str::from_utf8(bytes) else {
        return;
    };
    use twinstrip::files::calibration::{from_text, to_text};
    use twinstrip::measure::scale::{DensityScale as _, standard_error};
    let path = Path::new("scanner.ron");
    match from_text(path, text) {
        Ok(calibration) => {
            let written = to_text(&calibration).unwrap();
            match from_text(path, &written) {
                Ok(again) => assert_eq!(again, calibration, "{written}"),
                Err(error) => panic!("{error}, in what was written:\n{written}"),
            }
            for seen in &calibration.channels {
                if let Ok(fit) = calibration.fit(seen.channel) {
                    let (low, high) = fit.scale.supported();
                    assert!(fit.usable.0 < fit.usable.1);
                    for s in [low, 0.5 * (low + high), high] {
                        assert!(fit.scale.density(s).is_finite());
                        assert!(fit.scale.slope(s) > 0.0);
                        assert!(standard_error(&fit.scale, s).is_finite());
                    }
                }
            }
        }
        Err(error) => told(&error.to_string(), "scanner.ron"),
    }
}

/// Any text as a profile; what was read is written and read again, and pooled.
pub fn profile(bytes: &[u8]) {
    let Ok(text) = std::str::from_utf8(bytes) else {
        return;
    };
    use twinstrip::document::profile::ProfilePool;
    use twinstrip::files::shelf::{from_text, to_text};
    let path = Path::new("profile.ron");
    match from_text(path, text) {
        Ok(profile) => {
            let written = to_text(&profile).unwrap();
            match from_text(path, &written) {
                // As texts: what is no number is not equal to itself.
                Ok(again) => assert_eq!(to_text(&again).unwrap(), written),
                Err(error) => panic!("{error}, in what was written:\n{written}"),
            }
            let pool = ProfilePool::of(&profile, None);
            assert_eq!(pool.quantities.len(), 4);
        }
        Err(error) => told(&error.to_string(), "profile.ron"),
    }
}

/// Any text as a time, times, stops, an aperture, a whole exposure, and a day.
pub fn exposure_words(bytes: &[u8]) {
    let Ok(text) = std::str::from_utf8(bytes) else {
        return;
    };
    use twinstrip::measure::exposure::{Exposure, entry};
    if let Ok(times) = entry::times(text) {
        assert!(times.list().iter().all(|time| time.0.is_finite()));
    }
    entry::time(text).ok();
    entry::stops(text).ok();
    entry::aperture(text).ok();
    Exposure::read(text).ok();
    if let Ok(day) = text.parse::<twinstrip::document::day::Day>() {
        assert_eq!(day.to_string().parse(), Ok(day));
    }
}

/// The files of a folder; none if there is no such folder.
pub fn files(folder: &Path) -> Vec<std::path::PathBuf> {
    let entries = std::fs::read_dir(folder);
    let paths = entries
        .into_iter()
        .flatten()
        .flatten()
        .map(|entry| entry.path());
    paths.filter(|path| path.is_file()).collect()
}

/// A file's content.
pub fn bytes(file: &Path) -> Vec<u8> {
    std::fs::read(file).unwrap()
}

/// An error says where and what, in a few words.
fn told(message: &str, file: &str) {
    assert!(message.starts_with(file), "{message}");
    assert!(
        message.len() > file.len() + 4 && message.len() < 4000,
        "{message}"
    );
}
