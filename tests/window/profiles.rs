//! The bench with the profiles, used by the names of its controls.

use std::path::PathBuf;

use twinstrip::document::profile::Profile;
use twinstrip::files::shelf::Shelf;

use crate::support::Window;

const TWO: &str = "Profile slate, two coats (invented data)";

fn shelf(window: &Window) -> Shelf {
    Shelf::new(window.folder.path().join("profiles"))
}

fn names(window: &Window) -> Vec<String> {
    let listing = shelf(window).list().unwrap();
    assert!(listing.damaged.is_empty(), "{:?}", listing.damaged);
    listing
        .cards
        .into_iter()
        .map(|(_, card)| card.name)
        .collect()
}

fn profile(window: &Window, name: &str) -> Profile {
    let shelf = shelf(window);
    let listing = shelf.list().unwrap();
    let (file, _) = listing.find(name).unwrap();
    shelf.read(file).unwrap()
}

#[test]
fn the_answer_is_kept_with_one_click_and_undo_takes_it_back() {
    let mut window = Window::of_size(1280.0, 720.0);
    window.with_demo();
    window.click("Keep slate 1 in a profile");
    window.until("the profile", |app| {
        app.said().starts_with("Kept in the profile slate 1")
    });
    let kept = profile(&window, "slate 1");
    assert_eq!(kept.evidence.len(), 1);
    let analysis = window.harness.state().analysis().unwrap();
    assert_eq!(kept.evidence[0].answer, analysis.pairs[0].answer);
    assert_eq!(kept.evidence[0].recompute(), analysis.pairs[0].answer);
    // Kept again, the same scans are no second session.
    window.click("Keep slate 1 in a profile");
    window.until("it to be replaced", |app| {
        app.said().contains("has been replaced")
    });
    assert_eq!(profile(&window, "slate 1").evidence.len(), 1);
    window.click("Profiles");
    window.until_shown("1 profiles");
    window.click("Undo keep in slate 1");
    window.click("Read again");
    window.until_shown("Undo keep in slate 1");
    window.click("Undo keep in slate 1");
    window.until_shown("No profiles yet");
    assert!(names(&window).is_empty());
    window.click("Redo keep in slate 1");
    window.until_shown("1 profiles");
    assert_eq!(profile(&window, "slate 1").evidence.len(), 1);
}

#[test]
fn particulars_are_said_found_filtered_and_undone() {
    let mut window = Window::of_size(1280.0, 720.0);
    window.with_profiles();
    window.click(TWO);
    window.until_shown("1: 2026-03-02");
    window.write("Batch of the profile", "47 of spring");
    window.until_shown("Undo say batch");
    let two = "slate, two coats (invented data)";
    assert_eq!(profile(&window, two).particulars.batch, "47 of spring");
    window.write("Coats of the profile", "two");
    window.until_shown("coats are counted");
    assert_eq!(profile(&window, two).particulars.coats, Some(2));
    window.write("Find profiles", "spring");
    window.until_shown("1 of 3 profiles");
    window.write("Find profiles", "harbour");
    window.until_shown("3 profiles");
    window.click("Filter by field");
    window.click("Coats");
    window.write("Coats holds", "3");
    window.until_shown("1 of 3 profiles");
    window.click("Undo say batch of slate, two coats (invented data)");
    window.until("the undo", |_| true);
    for _ in 0..500 {
        window.harness.step();
        if profile(&window, two).particulars.batch == "practice" {
            break;
        }
        std::thread::sleep(std::time::Duration::from_millis(10));
    }
    assert_eq!(profile(&window, two).particulars.batch, "practice");
}

#[test]
fn a_profile_is_put_aside_copied_handed_out_and_taken_in() {
    let mut window = Window::of_size(1280.0, 1900.0);
    window.with_profiles();
    window.click(TWO);
    window.until_shown("1: 2026-03-02");
    window.click("Copy without sessions");
    window.until_shown("4 profiles");
    let copy = profile(&window, "slate, two coats (invented data) (copy)");
    assert!(copy.evidence.is_empty());
    assert_eq!(copy.particulars.coats, Some(2));
    window.until_shown("None yet. Solve a session");
    window.click("Put aside");
    window.until_shown("3 of 4 profiles");
    window.click("Put aside, too");
    window.until_shown("4 profiles");
    window.click(TWO);
    window.until_shown("1: 2026-03-02");
    let out: PathBuf = window.folder.path().join("out.ron");
    window.answers.0.lock().unwrap().push(out.clone());
    window.click("Write to a file…");
    window.until("the file", |app| app.said().contains("out.ron written"));
    window.click("Day, bottle, remelts, note");
    window.write("Times melted again of session 1", "7");
    window.until_shown("Undo say times melted again");
    let two = profile(&window, "slate, two coats (invented data)");
    assert_eq!(two.evidence[0].origin.remelts, Some(7));
    window.click("Take out session 4");
    window.until_shown("Undo take session 4");
    assert_eq!(
        profile(&window, "slate, two coats (invented data)")
            .evidence
            .len(),
        3
    );
    window.answers.0.lock().unwrap().push(out);
    window.click("Take in…");
    window.until("the profile", |app| app.said().contains("is on the shelf"));
    assert_eq!(
        profile(&window, "slate, two coats (invented data)")
            .evidence
            .len(),
        4
    );
    window.write("Name of a new profile", "harbour slates, new batch");
    window.click("Make");
    window.until_shown("5 profiles");
    assert!(names(&window).contains(&"harbour slates, new batch".to_owned()));
}

#[test]
fn sessions_together_drift_and_another_beside_are_told_in_words() {
    let mut window = Window::of_size(1280.0, 720.0);
    window.with_profiles();
    window.click(TWO);
    window.until_shown("1: 2026-03-02");
    window.click("Sessions together");
    window.until_shown("4 sessions together say");
    for words in [
        "Sessions of Speed, stops slower than the paper: 1: 2026-03-02, session-1",
        "Together: 2.",
        "The next session: 2.",
        "The next session is foretold between",
    ] {
        assert!(window.shows(words), "{words}");
    }
    window.click("Drift");
    window.until_shown("Speed of 4 sessions against days after the first session");
    window.click("Dmin");
    window.click("Remelts");
    window.until_shown("Dmin of 4 sessions against times melted again");
    window.click("Beside another");
    window.click("The other profile");
    window.click("slate, three coats (invented data)");
    window.until_shown("chance explains");
    assert!(window.shows("differs"));
}

#[test]
fn an_empty_shelf_offers_the_demo_and_leads_back() {
    let mut window = Window::of_size(1280.0, 720.0);
    window.click("Profiles");
    window.until_shown("No profiles yet");
    window.click("Demo shelf");
    window.until_shown("The demo shelf: invented data");
    window.until_shown("3 profiles");
    assert!(
        names(&window).is_empty(),
        "the demo is no part of one's own shelf"
    );
    window.click("Back to my shelf");
    window.until_shown("No profiles yet");
}

#[test]
fn a_damaged_profile_is_told_of_and_the_others_are_listed() {
    let mut window = Window::of_size(1280.0, 720.0);
    let folder = window.folder.path().join("profiles");
    std::fs::create_dir_all(&folder).unwrap();
    std::fs::write(folder.join("broken.ron"), "Profile(version: 1,\nname: 7)").unwrap();
    window.with_profiles();
    assert!(window.shows("broken.ron:2:"));
}

/// What another window did to the shelf meanwhile stays.
#[test]
fn two_windows_that_save_to_one_shelf_lose_nothing() {
    let mut window = Window::of_size(1280.0, 720.0);
    window.with_profiles();
    window.click(TWO);
    window.until_shown("1: 2026-03-02");
    let mut other = Window::in_folder(1280.0, 720.0, window.folder.path());
    other.click("Profiles");
    other.until_shown("3 profiles");
    other.click(TWO);
    other.until_shown("1: 2026-03-02");
    window.write("Batch of the profile", "47");
    window.until_shown("Undo say batch");
    // The other window still shows the batch as it was: what it says of it is not taken over.
    other.write("Batch of the profile", "48");
    other.until("the word of it", |app| {
        app.said()
            .contains("somebody else changed it meanwhile to \"47\", which stays")
    });
    other.write("Drying of the profile", "flat, in the dark");
    other.until_shown("Undo say drying");
    let there = profile(&window, "slate, two coats (invented data)");
    assert_eq!(there.particulars.batch, "47");
    assert_eq!(there.particulars.drying, "flat, in the dark");
    assert_eq!(there.evidence.len(), 4);
}
