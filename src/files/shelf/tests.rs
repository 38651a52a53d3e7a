#![expect(
    clippy::disallowed_methods,
    reason = "a test may damage files as it likes"
)]

use super::*;
use crate::document::profile::Field;
use crate::document::profile::tests::{profile, sample};

fn shelf() -> (tempfile::TempDir, Shelf) {
    let folder = tempfile::tempdir().unwrap();
    let shelf = Shelf::new(folder.path().join("profiles"));
    (folder, shelf)
}

fn make(shelf: &Shelf, profile: &Profile) -> String {
    let put = Put {
        before: None,
        after: Some(profile.clone()),
    };
    shelf.put(None, &put).unwrap().file
}

fn change(before: &Profile, after: &Profile) -> Put {
    Put {
        before: Some(before.clone()),
        after: Some(after.clone()),
    }
}

#[test]
fn a_profile_comes_back_as_it_was_and_gives_its_answers_again() {
    let (_folder, shelf) = shelf();
    let made = profile("Slates, two coats", 3);
    let file = make(&shelf, &made);
    assert_eq!(file, "slates-two-coats.ron");
    let read = shelf.read(&file).unwrap();
    assert_eq!(read, made);
    for evidence in &read.evidence {
        assert_eq!(evidence.recompute(), evidence.answer);
    }
}

#[test]
fn the_head_of_a_file_says_in_short_what_all_of_it_says() {
    let made = profile("slates", 2);
    let text = to_text(&made).unwrap();
    assert_eq!(file::sealed_card(&text), Some(Card::of(&made)));
    // Without the seal, or with a wrong one, all of it is read.
    let (_, body) = text.split_once('\n').unwrap();
    let edited = body.replace("two coats", "three coats");
    assert_eq!(file::sealed_card(&edited), None);
    let read = from_text(Path::new("slates.ron"), &edited).unwrap();
    assert_eq!(read.evidence[0].pair.coupon, "slate, three coats");
}

#[test]
fn every_field_stands_on_a_line_of_its_own() {
    let text = to_text(&profile("slates", 1)).unwrap();
    for line in [
        "    version: 1,",
        "    name: \"slates\",",
        "    emulsion: \"silver bromide, made in March\",",
        "    coats: 2.0,",
        "    wet: \"2.1 ml\",",
        "    temperature: 20.0,",
        "    evidence: [",
        "            session: \"slates-1.ron\",",
        "                    covariance: [",
    ] {
        assert!(text.lines().any(|known| known == line), "{line}\n{text}");
    }
}

#[test]
fn a_damaged_profile_is_told_of_with_its_place_and_the_others_are_there() {
    let (_folder, shelf) = shelf();
    make(&shelf, &profile("first", 1));
    let second = make(&shelf, &profile("second", 1));
    let third = make(&shelf, &profile("third", 0));
    let path = shelf.path(&second);
    let whole = fs::read_to_string(&path).unwrap();
    // Cut off in the middle of the evidence, where the head alone wouldn't notice.
    let cut = whole.find("scanner: [").unwrap() + 30;
    fs::write(&path, &whole[..cut]).unwrap();
    let line = whole[..cut].lines().count();
    fs::write(
        shelf.path(&third),
        "Profile(\n    version: 1,\n    nmae: \"x\",\n)\n",
    )
    .unwrap();
    let listing = shelf.list().unwrap();
    assert_eq!(listing.cards.len(), 1);
    assert_eq!(listing.cards[0].1.name, "first");
    let told: Vec<String> = listing.damaged.iter().map(ToString::to_string).collect();
    assert!(told[0].contains(&format!("second.ron:{line}:")), "{told:?}");
    assert!(told[1].contains("third.ron:3:5: `nmae` is not known here; did you mean `name`?"));
}

#[test]
fn a_number_that_cannot_be_is_told_of_with_its_session() {
    let text = to_text(&profile("slates", 1)).unwrap();
    for (good, bad, told) in [
        (
            "margin: true",
            "margin: false",
            "session slates-1.ron: readings of warm paper: 12",
        ),
        (
            "f_number: 16.0",
            "f_number: -1.0",
            "`f_number` must be above 0",
        ),
        ("steps: [1, 2", "steps: [0, 2", "counted from 1"),
        ("coats: 2.0", "coats: 2.5", "whole number"),
        ("name: \"slates\"", "name: \"\"", "needs a name"),
        (
            "version: 1,",
            "version: 2,",
            "version 2 is newer than this program understands (1)",
        ),
    ] {
        assert!(text.contains(good), "{good}");
        let error = from_text(Path::new("slates.ron"), &text.replacen(good, bad, 1)).unwrap_err();
        assert!(error.to_string().contains(told), "{error}");
    }
    let newer = "Profile(version: 7, name: \"x\", waves: 3)";
    let error = from_text(Path::new("slates.ron"), newer).unwrap_err();
    assert!(matches!(error, TextError::TooNew { found: 7, .. }));
}

#[test]
fn two_who_save_at_a_time_lose_nothing() {
    let (_folder, shelf) = shelf();
    let seen = profile("slates", 1);
    let file = make(&shelf, &seen);
    let mut mine = seen.with(sample(2, 2.6));
    mine.particulars.set(Field::Batch, "8").unwrap();
    let mut yours = seen.with(sample(3, 2.7));
    yours.particulars.set(Field::Batch, "9").unwrap();
    shelf.put(Some(&file), &change(&seen, &mine)).unwrap();
    let done = shelf.put(Some(&file), &change(&seen, &yours)).unwrap();
    assert_eq!(done.conflicts.len(), 1);
    assert_eq!(done.conflicts[0].kept, "8");
    let there = shelf.read(&file).unwrap();
    assert_eq!(there.evidence.len(), 3);
    assert_eq!(Some(&there), done.profile.as_ref());
    // What stood there before is beside it.
    assert_eq!(read_profile(&backup(&shelf.path(&file))).unwrap(), mine);
}

#[test]
fn what_was_done_can_be_undone() {
    let (_folder, shelf) = shelf();
    let made = profile("slates", 1);
    let new = Put {
        before: None,
        after: Some(made.clone()),
    };
    let file = shelf.put(None, &new).unwrap().file;
    let grown = change(&made, &made.with(sample(2, 2.6)));
    shelf.put(Some(&file), &grown).unwrap();
    // As long as it has grown, making it can't be undone.
    let error = shelf.put(Some(&file), &new.undone()).unwrap_err();
    assert!(matches!(error, ShelfError::Changed { .. }), "{error}");
    shelf.put(Some(&file), &grown.undone()).unwrap();
    assert_eq!(shelf.read(&file).unwrap(), made);
    shelf.put(Some(&file), &new.undone()).unwrap();
    assert!(shelf.list().unwrap().cards.is_empty());
    assert_eq!(shelf.put(Some(&file), &new).unwrap().file, file);
    assert_eq!(shelf.read(&file).unwrap(), made);
}

#[test]
fn a_name_is_given_once_and_names_that_look_alike_get_files_of_their_own() {
    let (_folder, shelf) = shelf();
    assert_eq!(make(&shelf, &Profile::named("Slates!")), "slates.ron");
    assert_eq!(make(&shelf, &Profile::named("slates?")), "slates-2.ron");
    let again = Put {
        before: None,
        after: Some(Profile::named("slates?")),
    };
    let error = shelf.put(None, &again).unwrap_err().to_string();
    assert!(
        error.contains("slates-2.ron: a profile of that name"),
        "{error}"
    );
    let unnamed = Put {
        before: None,
        after: Some(Profile::named("")),
    };
    assert!(shelf.put(None, &unnamed).is_err());
}

#[test]
fn a_change_to_a_profile_that_is_gone_is_refused_with_where_it_was() {
    let (_folder, shelf) = shelf();
    let seen = profile("slates", 0);
    let file = make(&shelf, &seen);
    fs::remove_file(shelf.path(&file)).unwrap();
    let grown = change(&seen, &seen.with(sample(1, 2.5)));
    let error = shelf.put(Some(&file), &grown).unwrap_err().to_string();
    assert!(error.contains("no longer on the shelf"), "{error}");
}

#[test]
fn what_a_killed_program_left_half_written_is_swept_and_never_listed() {
    let (_folder, shelf) = shelf();
    make(&shelf, &Profile::named("slates"));
    let left = shelf.path(".writingXyZ12a");
    fs::write(&left, "Profile(version: 1, na").unwrap();
    assert_eq!(shelf.list().unwrap().cards.len(), 1);
    make(&shelf, &Profile::named("more slates"));
    assert!(!left.exists());
}

#[test]
fn a_shelf_that_is_not_there_is_empty_and_one_that_is_a_file_says_so() {
    let (folder, shelf) = shelf();
    assert_eq!(shelf.list().unwrap(), Listing::default());
    let file = folder.path().join("file");
    fs::write(&file, "no folder").unwrap();
    let error = Shelf::new(&file).list().unwrap_err().to_string();
    assert!(error.contains("name another folder"), "{error}");
}
