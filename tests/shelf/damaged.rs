//! Profiles' files, damaged at random: told of with their place, never half read, no panic.

use std::path::Path;

use rand::{Rng as _, SeedableRng as _};
use rand_chacha::ChaCha8Rng;
use twinstrip::document::profile::ProfilePool;
use twinstrip::files::shelf::{from_text, to_text};
use twinstrip::files::text::read_text;

use crate::support::{testdata, wished};

/// What a number may become.
const NUMBERS: [&str; 10] = [
    "0",
    "-1",
    "1e308",
    "-1e308",
    "1e-320",
    "inf",
    "-inf",
    "NaN",
    "9999999999",
    "\"x\"",
];
/// Answers that are worked out again from readings that still can be read: each takes a while.
const RECOMPUTED: usize = 25;

/// 1,500 damaged files, unless `TWINSTRIP_DAMAGED` says another number.
#[test]
fn a_damaged_file_is_refused_with_its_place_or_read_as_a_profile_that_can_be_used() {
    let files = [
        "profiles/version-0.ron",
        "demo-shelf/slate-one-coat-invented-data.ron",
    ];
    // Of the second the first session alone, which is quicker.
    let texts = files.map(|file| {
        let path = testdata(file);
        let mut profile = from_text(&path, &read_text(&path).unwrap()).unwrap();
        profile.evidence.truncate(1);
        to_text(&profile).unwrap()
    });
    let mut rng = ChaCha8Rng::seed_from_u64(9_005);
    let path = Path::new("damaged.ron");
    let (mut refused, mut read, mut recomputed) = (0, 0, 0);
    for round in 0..wished("TWINSTRIP_DAMAGED", 1_500) {
        let damaged = damage(&texts[round % texts.len()], &mut rng);
        match from_text(path, &damaged) {
            Err(error) => {
                let told = error.to_string();
                assert!(told.starts_with("damaged.ron:"), "{told}");
                refused += 1;
            }
            Ok(profile) => {
                read += 1;
                let written = to_text(&profile).unwrap();
                let again = from_text(path, &written).unwrap();
                assert_eq!(to_text(&again).unwrap(), written);
                ProfilePool::of(&profile, None);
                if recomputed < RECOMPUTED
                    && let Some(evidence) = profile.evidence.first()
                {
                    evidence.recompute();
                    recomputed += 1;
                }
            }
        }
    }
    assert!(
        refused > 100 && read > 100,
        "{refused} refused, {read} read"
    );
    assert_eq!(recomputed, RECOMPUTED);
}

/// A byte changed, a piece taken out or doubled, the end cut off, or a number replaced.
fn damage(text: &str, rng: &mut ChaCha8Rng) -> String {
    let mut bytes = text.as_bytes().to_vec();
    let at = rng.random_range(0..bytes.len());
    match rng.random_range(0..5) {
        0 => bytes[at] = rng.random_range(32..127),
        1 => {
            let end = (at + rng.random_range(1..200)).min(bytes.len());
            bytes.drain(at..end);
        }
        2 => {
            let end = (at + rng.random_range(1..200)).min(bytes.len());
            let piece = bytes[at..end].to_vec();
            bytes.splice(at..at, piece);
        }
        3 => bytes.truncate(at),
        _ => {
            let digit = |byte: &u8| byte.is_ascii_digit() || *byte == b'.';
            if let Some(from) = bytes[at..].iter().position(digit).map(|from| at + from) {
                let length = bytes[from..].iter().take_while(|byte| digit(byte)).count();
                let number = NUMBERS[rng.random_range(0..NUMBERS.len())];
                bytes.splice(from..from + length, number.bytes());
            }
        }
    }
    String::from_utf8_lossy(&bytes).into_owned()
}
