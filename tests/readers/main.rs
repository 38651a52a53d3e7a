//! Every file of testdata/readers: the sound ones against an independent colour engine, the
//! broken ones against the message they must give. How they were made: testdata/readers/README.md.

#![expect(
    clippy::disallowed_methods,
    clippy::unwrap_used,
    reason = "what fails here fails a test, and files are what is tested"
)]

use std::path::{Path, PathBuf};

use twinstrip::files::scan::{ScanOptions, Sort, read_scan};
use twinstrip::measure::raster::{Channel, Raster};
use twinstrip::measure::watch::Unwatched;

fn corpus() -> PathBuf {
    Path::new(env!("CARGO_MANIFEST_DIR")).join("testdata/readers")
}

/// Lines of a list that are no comment.
fn lines(path: &Path) -> Vec<String> {
    let text = std::fs::read_to_string(path).unwrap();
    let said = text.lines().filter(|line| !line.starts_with('#'));
    said.map(str::to_owned).collect()
}

/// Files of a folder, sorted by name.
fn names(folder: &str) -> Vec<String> {
    let entries = std::fs::read_dir(corpus().join(folder)).unwrap();
    let mut names: Vec<String> = entries
        .map(|entry| entry.unwrap().file_name().into_string().unwrap())
        .collect();
    names.sort();
    names
}

/// Light by channel, row by row.
fn light(raster: &Raster, channel: Channel) -> Vec<f32> {
    let mut all = Vec::new();
    let mut row = Vec::new();
    for y in 0..raster.height {
        raster.linear_row(y, 0, raster.width, channel, &mut row);
        all.extend_from_slice(&row);
    }
    all
}

/// The largest difference from the table, in reflectance: of red, green and blue, and of luminance.
fn farthest(raster: &Raster, table: &Path) -> (f64, f64) {
    let rows: Vec<Vec<f64>> = lines(table)
        .iter()
        .map(|line| line.split(' ').map(|n| n.parse().unwrap()).collect())
        .collect();
    assert_eq!(rows.len(), raster.width * raster.height);
    assert!(
        rows.iter()
            .all(|row| row.len() == if raster.channels == 3 { 4 } else { 1 })
    );
    let channels: &[Channel] = if raster.channels == 3 {
        &[
            Channel::Red,
            Channel::Green,
            Channel::Blue,
            Channel::Luminance,
        ]
    } else {
        &[Channel::Luminance]
    };
    let mut farthest = (0f64, 0f64);
    for (column, &channel) in channels.iter().enumerate() {
        for (found, row) in light(raster, channel).iter().zip(&rows) {
            // Light is between none and white; the engine goes on beyond.
            let right = row[column].clamp(0.0, 1.0);
            let away = (f64::from(*found).min(1.0) - right).abs();
            let worst = match channel {
                Channel::Luminance => &mut farthest.1,
                _ => &mut farthest.0,
            };
            *worst = worst.max(away);
        }
    }
    farthest
}

/// How exact light is, reflectance; where it isn't, the list says why, file by file.
const EXACT: f64 = 0.002;

#[test]
fn the_light_of_every_sound_file_is_that_of_an_independent_colour_engine() {
    let list = lines(&corpus().join("sound.txt"));
    let mut listed = Vec::new();
    let mut wrong = Vec::new();
    let mut worst = (0f64, String::new());
    for line in &list {
        let words: Vec<&str> = line.split(' ').collect();
        let [file, table, tolerance, _, why] = words.as_slice() else {
            panic!("{line}");
        };
        listed.push((*file).to_owned());
        let tolerance: f64 = tolerance.parse().unwrap();
        assert!(tolerance <= EXACT || *why != "-", "{line}");
        let path = corpus().join("sound").join(file);
        match read_scan(&path, &ScanOptions::default(), &Unwatched) {
            Ok(raster) => {
                let (channels, luminance) = farthest(&raster, &corpus().join("light").join(table));
                // A reason that is about luminance lets nothing else pass.
                let for_channels = if why.starts_with("luminance") {
                    EXACT
                } else {
                    tolerance
                };
                let far = channels.max(luminance);
                if channels > for_channels || luminance > tolerance {
                    wrong.push(format!("{file}: {far:.4} ({})", raster.light.source));
                } else if tolerance <= EXACT && far > worst.0 {
                    worst = (far, (*file).to_owned());
                }
            }
            Err(error) => wrong.push(error.to_string()),
        }
    }
    println!("worst of the exact ones: {:.5} in {}", worst.0, worst.1);
    listed.sort();
    assert_eq!(listed, names("sound"), "list and folder");
    assert!(
        wrong.is_empty(),
        "{} wrong:\n{}",
        wrong.len(),
        wrong.join("\n")
    );
    assert!(listed.len() >= 80);
}

#[test]
fn every_broken_file_gives_its_message() {
    let mut listed = Vec::new();
    let mut wrong = Vec::new();
    for line in lines(&corpus().join("broken.txt")) {
        let (file, rest) = line.split_once(' ').unwrap();
        let (sort, message) = rest.split_once(' ').unwrap();
        listed.push(file.to_owned());
        let path = corpus().join("broken").join(file);
        let found = read_scan(&path, &ScanOptions::default(), &Unwatched);
        let meant = match sort {
            "file" => Some(Sort::File),
            "unsupported" => Some(Sort::Unsupported),
            "fine" => None,
            other => panic!("{other}"),
        };
        match (found, meant) {
            (Ok(_), None) => {}
            (Ok(_), Some(_)) => wrong.push(format!("{file}: was read")),
            (Err(error), meant) => {
                let said = error.to_string();
                if Some(error.sort()) != meant || !said.contains(message) {
                    wrong.push(format!("{file}: {:?}, {said}", error.sort()));
                }
            }
        }
    }
    listed.sort();
    assert_eq!(listed, names("broken"), "list and folder");
    assert!(
        wrong.is_empty(),
        "{} wrong:\n{}",
        wrong.len(),
        wrong.join("\n")
    );
    assert!(listed.len() >= 50);
}
