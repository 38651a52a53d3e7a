//! A profile never outgrows its reader, and a damaged one is named.

use twinstrip::document::profile::{Evidence, Profile, Put};
use twinstrip::files::atomic::backup;
use twinstrip::files::shelf::{LARGEST, NoProfile, Shelf, ShelfError, read_profile, to_text};

use crate::support::evidence;

/// Steps of a long strip.
const STEPS: f64 = 40.0;

#[test]
fn a_hundred_sessions_of_forty_steps_fit_with_room_to_spare() {
    let steps = |one: &Evidence| {
        let counts = one.strips.iter().map(|strip| strip.reading.steps.len());
        counts.min().unwrap() as f64
    };
    let one = Profile::named("slates").with(evidence(1));
    let none = to_text(&Profile::named("slates")).unwrap().len();
    let bytes = (to_text(&one).unwrap().len() - none) as f64;
    // Steps and margin against each other, both strips, numbers of at most 24 letters; all else grows
    // with the steps at most.
    let covariance = 2.0 * (STEPS + 1.0).powi(2) * 24.0;
    let long = bytes * STEPS / steps(&one.evidence[0]) + covariance;
    assert!(
        100.0 * long < LARGEST as f64 / 2.0,
        "{long} bytes a session"
    );

    let folder = tempfile::tempdir().unwrap();
    let shelf = Shelf::new(folder.path());
    let mut profile = Profile::named("slates");
    for number in 0..100 {
        profile = profile.with(evidence(number));
    }
    let put = Put {
        before: None,
        after: Some(profile.clone()),
    };
    let file = shelf.put(None, &put).unwrap().file;
    assert_eq!(shelf.read(&file).unwrap(), profile);
    assert_eq!(shelf.list().unwrap().cards[0].1.sessions.len(), 100);
}

#[test]
fn a_profile_that_is_too_large_is_not_written_and_one_that_is_there_is_named() {
    let folder = tempfile::tempdir().unwrap();
    let shelf = Shelf::new(folder.path());
    let mut one = evidence(1);
    one.origin.note = "n".repeat(LARGEST as usize);
    let put = Put {
        before: None,
        after: Some(Profile::named("slates").with(one)),
    };
    let error = shelf.put(None, &put).unwrap_err();
    assert!(matches!(error, ShelfError::Write(_)), "{error}");
    assert!(error.to_string().contains("can't be read again"), "{error}");
    assert!(shelf.list().unwrap().cards.is_empty());

    let file = std::fs::File::create(shelf.path("slates.ron")).unwrap();
    file.set_len(LARGEST + 1).unwrap();
    let listing = shelf.list().unwrap();
    assert!(matches!(listing.find("slates"), Err(NoProfile::Damaged(_))));
    let fresh = Put {
        before: None,
        after: Some(Profile::named("slates")),
    };
    let error = shelf.put(None, &fresh).unwrap_err();
    assert!(matches!(error, ShelfError::Damaged(_)), "{error}");
    assert!(
        error.to_string().contains("too many for such a file"),
        "{error}"
    );
    assert!(!shelf.path("slates-2.ron").exists());
}

#[test]
fn a_damaged_profile_is_named_by_its_name_or_its_file_and_the_state_before_is_offered() {
    let folder = tempfile::tempdir().unwrap();
    let shelf = Shelf::new(folder.path());
    let put = Put {
        before: None,
        after: Some(Profile::named("Slates, two coats")),
    };
    let file = shelf.put(None, &put).unwrap().file;
    shelf.edit(&file, |there| there.with(evidence(1))).unwrap();
    let whole = std::fs::read_to_string(shelf.path(&file)).unwrap();
    std::fs::write(shelf.path(&file), &whole[..whole.len() / 2]).unwrap();
    let listing = shelf.list().unwrap();
    for wanted in [
        "slates, two coats",
        "slates-two-coats",
        "slates-two-coats.ron",
    ] {
        let Err(NoProfile::Damaged(damaged)) = listing.find(wanted) else {
            panic!("{wanted} is not named");
        };
        let said = damaged.to_string();
        assert!(
            said.contains("rename slates-two-coats.ron.before"),
            "{said}"
        );
    }
    assert!(matches!(shelf.put(None, &put), Err(ShelfError::Damaged(_))));
    // As it says: the state before, under the name.
    std::fs::rename(backup(&shelf.path(&file)), shelf.path(&file)).unwrap();
    assert_eq!(
        read_profile(&shelf.path(&file)).unwrap(),
        Profile::named("Slates, two coats")
    );
}
