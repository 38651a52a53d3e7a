//! Every seed and every past finding of the fuzz targets (testdata/fuzz), through the same
//! functions as the targets: what was mended once stays mended. docs/fuzzing.md.

#[path = "fuzz/parsers.rs"]
mod parsers;

use std::path::Path;

/// Reads every file of these folders by one target; how many there were.
fn all(target: fn(&[u8]), folders: &[&str]) -> usize {
    let root = Path::new(env!("CARGO_MANIFEST_DIR")).join("testdata");
    let mut count = 0;
    for folder in folders {
        let mut files: Vec<_> = parsers::files(&root.join(folder));
        files.sort();
        for file in files {
            println!("{}", file.display());
            target(&parsers::bytes(&file));
            count += 1;
        }
    }
    count
}

#[test]
fn scans_of_every_kind_and_past_findings_do_no_harm() {
    let folders = ["readers/sound", "readers/broken", "fuzz/scan"];
    assert!(all(parsers::scan, &folders) >= 130);
}

#[test]
fn colour_profiles_and_past_findings_do_no_harm() {
    let folders = ["readers/profiles", "fuzz/colour_profile"];
    assert!(all(parsers::colour_profile, &folders) >= 20);
}

#[test]
fn texts_and_past_findings_do_no_harm() {
    assert!(all(parsers::session, &["fuzz/session"]) >= 2);
    assert!(all(parsers::calibration, &["fuzz/calibration"]) >= 1);
    assert!(
        all(
            parsers::profile,
            &["profiles", "demo-shelf", "fuzz/profile"]
        ) >= 6
    );
    assert!(all(parsers::wedge_list, &["fuzz/wedge_list"]) >= 4);
    assert!(all(parsers::exposure_words, &["fuzz/exposure_words"]) >= 7);
    assert!(all(parsers::recipe, &["fuzz/recipe"]) >= 2);
    assert!(all(parsers::baths, &["fuzz/baths"]) >= 2);
}
