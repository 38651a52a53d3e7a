use crate::files::atomic::backup;
use std::path::Path;

use super::*;
use crate::measure::raster::Channel;
use crate::measure::scale::DensityScale as _;

/// As docs/calibrations.md shows one; invented.
const SMALL: &str = include_str!("../../../testdata/fuzz/calibration/small.ron");

fn read(text: &str) -> Result<Calibration, String> {
    from_text(Path::new("flatbed.ron"), text).map_err(|error| error.to_string())
}

#[track_caller]
fn assert_refused(from: &str, to: &str, message: &str) {
    assert!(SMALL.contains(from), "{from}");
    let said = read(&SMALL.replacen(from, to, 1)).unwrap_err();
    assert!(said.starts_with("flatbed.ron:"), "{said}");
    assert!(said.contains(message), "{said}");
}

#[test]
fn what_is_written_is_read_again_and_gives_the_same_curve() {
    let calibration = read(SMALL).unwrap();
    let again = read(&to_text(&calibration).unwrap()).unwrap();
    assert_eq!(again, calibration);
    let (one, other) = (
        calibration.fit(Channel::Luminance).unwrap(),
        again.fit(Channel::Luminance).unwrap(),
    );
    for s in [0.1, 0.7, 1.3] {
        assert_eq!(one.scale.density(s), other.scale.density(s));
    }
}

#[test]
fn what_is_wrong_is_said_with_its_place() {
    assert_refused("version: 1", "version: 2", "version 2 is newer");
    assert_refused(
        "version: 1",
        "version: 0",
        "version 0: this program reads 1 to 1",
    );
    assert_refused("version: 1,", "", "`version` is missing");
    assert_refused(
        "\"flatbed in the shed\"",
        "\" \"",
        "call the scanner something",
    );
    assert_refused(
        "uncertainty: 0.01",
        "uncertainty: 0",
        "above 0 and at most 0.5",
    );
    assert_refused("scanner", "scaner", "did you mean `scanner`?");
    assert_refused(
        "scan: 1, field: 2",
        "scan: 2, field: 2",
        "field 2: scan 2 is not one of the 1",
    );
    assert_refused("field: 3", "field: 0", "fields are counted from 1");
    assert_refused("density: 0.65", "density: 6.5", "field 3: its density");
    assert_refused("reading: 0.634", "reading: NaN", "field 3: its reading");
    assert_refused("error: 0.0006", "error: -1", "the error of its reading");
    assert_refused("stray: (0.0025", "stray: (2.5", "`stray` is a share");
    assert_refused(
        "pixels_per_mm: 23.6",
        "pixels_per_mm: 0",
        "resolution must be above 0",
    );
    assert_refused(
        "version: 1,",
        "version: 1, file: \"x.ron\",",
        "doesn't name another file",
    );
    let said = read("Calibration(version: 1, scanner: \"a\"").unwrap_err();
    assert!(said.contains("a comma is missing before this"), "{said}");
}

#[test]
fn a_file_is_replaced_whole_and_the_one_before_is_kept() {
    let folder = tempfile::tempdir().unwrap();
    let path = folder.path().join("flatbed.ron");
    let mut calibration = read(SMALL).unwrap();
    let first = write_calibration(&path, &calibration).unwrap();
    assert!(!backup(&path).exists());
    calibration.settings = "300 dpi".into();
    let second = write_calibration(&path, &calibration).unwrap();
    assert_ne!(first, second);
    assert_eq!(read_calibration(&path).unwrap(), (calibration, second));
    let (before, hash) = read_calibration(&backup(&path)).unwrap();
    assert_eq!(
        (before.settings.as_str(), hash),
        ("600 dpi, 16 bits", first)
    );
}
