//! Many profiles: how long a list takes.

use std::time::{Duration, Instant};

use twinstrip::document::profile::{Field, Profile};
use twinstrip::files::shelf::{Shelf, to_text};

use crate::support::{evidence, wished};

/// Most that the list of 2,000 profiles may take in the release program.
const LONGEST: Duration = Duration::from_millis(500);
/// Sessions a profile.
const SESSIONS: u32 = 4;

/// 2,000 profiles of four sessions in release, unless `TWINSTRIP_PROFILES` says another number;
/// 60 otherwise, since the time of an unoptimised program says nothing. The files have just been
/// written, so that they come out of the system's memory.
#[test]
fn a_shelf_of_two_thousand_profiles_is_listed_in_half_a_second() {
    let count = wished(
        "TWINSTRIP_PROFILES",
        if cfg!(debug_assertions) { 60 } else { 2_000 },
    );
    let folder = tempfile::tempdir().unwrap();
    let mut bytes = 0;
    let mut profile = (0..SESSIONS).fold(Profile::named(""), |profile, number| {
        profile.with(evidence(number))
    });
    for number in 0..count {
        profile.name = format!("Slates {number:04}");
        let coats = (number % 3 + 1).to_string();
        profile.particulars.set(Field::Coats, &coats).unwrap();
        let text = to_text(&profile).unwrap();
        bytes += text.len();
        std::fs::write(folder.path().join(format!("slates-{number:04}.ron")), text).unwrap();
    }
    let begun = Instant::now();
    let listing = Shelf::new(folder.path()).list().unwrap();
    let took = begun.elapsed();
    println!(
        "{count} profiles, {} MB, {} ms",
        bytes >> 20,
        took.as_millis()
    );
    assert_eq!(listing.cards.len(), count);
    assert!(listing.damaged.is_empty());
    let (_, last) = &listing.cards[count - 1];
    assert_eq!(last.name, format!("Slates {:04}", count - 1));
    assert_eq!(last.sessions.len(), SESSIONS as usize);
    if !cfg!(debug_assertions) && count <= 2_000 {
        assert!(took < LONGEST, "{took:?}");
    }
}
