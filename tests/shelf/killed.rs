//! Programs that save: killed at any moment, or two at a time.
//!
//! The one that saves is this very test program, started anew with a folder in its environment.

use std::collections::BTreeMap;
use std::io::{BufRead as _, BufReader};
use std::process::{Child, Command, Stdio};
use std::time::Duration;

use rand::{Rng as _, SeedableRng as _};
use rand_chacha::ChaCha8Rng;
use twinstrip::document::day::Day;
use twinstrip::document::profile::{Evidence, Profile, Put};
use twinstrip::files::atomic::backup;
use twinstrip::files::shelf::{Shelf, read_profile, write};

use crate::support::{evidence, wished};

/// Names the folder in which the one that saves works.
const FOLDER: &str = "TWINSTRIP_TEST_SAVER";
/// Its first session and how many.
const FROM: &str = "TWINSTRIP_TEST_FROM";
const COUNT: &str = "TWINSTRIP_TEST_COUNT";
/// Profiles on the shelf.
const PROFILES: u32 = 4;
/// The file, beside the shelf, whose one session all the others are made of.
const PATTERN: &str = "pattern";

/// The pattern's session as if on another day, with other scans.
fn session(pattern: &Evidence, number: u32) -> Evidence {
    let mut one = pattern.clone();
    one.origin.session = format!("slates-{number}.ron");
    one.origin.scans[0].hash = format!("{number:064x}");
    one.origin.date = Some(Day::since_1970(20_000 + i64::from(number)));
    one
}

/// Does nothing when it is run as a test. Started by another test, it saves session after
/// session, each to one of the profiles, and says so after each.
#[test]
fn the_one_that_saves() {
    let Some(folder) = std::env::var_os(FOLDER) else {
        return;
    };
    let folder = std::path::PathBuf::from(folder);
    let pattern = read_profile(&folder.join(PATTERN)).unwrap();
    let shelf = Shelf::new(folder.join("shelf"));
    let from = wished(FROM, 0) as u32;
    for number in from..from + wished(COUNT, 0) as u32 {
        let name = format!("slates {}", number % PROFILES);
        let file = format!("slates-{}.ron", number % PROFILES);
        let one = session(&pattern.evidence[0], number);
        let new = Put {
            before: None,
            after: Some(Profile::named(&name)),
        };
        // Somebody may make it at the same time: then it is there.
        if !shelf.path(&file).exists() {
            shelf.put(None, &new).ok();
        }
        shelf.edit(&file, |there| there.with(one.clone())).unwrap();
        println!("saved {number}");
    }
}

fn saver(folder: &std::path::Path, from: u32, count: u32) -> Child {
    Command::new(std::env::current_exe().unwrap())
        .args(["--exact", "killed::the_one_that_saves", "--nocapture"])
        .env(FOLDER, folder)
        .env(FROM, from.to_string())
        .env(COUNT, count.to_string())
        .stdout(Stdio::piped())
        .stderr(Stdio::null())
        .spawn()
        .unwrap()
}

/// What a saver said it had saved, once it has ended.
fn said(child: &mut Child) -> Vec<u32> {
    let out = BufReader::new(child.stdout.take().unwrap());
    let said = out
        .lines()
        .map_while(Result::ok)
        .filter_map(|line| line.split_once("saved ")?.1.parse().ok())
        .collect();
    child.wait().unwrap();
    said
}

fn desk() -> tempfile::TempDir {
    let desk = tempfile::tempdir().unwrap();
    let pattern = Profile::named("pattern").with(evidence(0));
    write(&desk.path().join(PATTERN), &pattern).unwrap();
    desk
}

/// Every session that was said to be saved is there, whole and once.
fn assert_there(shelf: &Shelf, saved: &[u32], when: &str) {
    let listing = shelf.list().unwrap();
    assert!(listing.damaged.is_empty(), "{when}: {:?}", listing.damaged);
    let mut there: BTreeMap<String, Profile> = BTreeMap::new();
    for (file, card) in &listing.cards {
        let profile = shelf.read(file).unwrap();
        assert_eq!(profile.evidence.len(), card.sessions.len(), "{when}");
        profile.check().unwrap();
        let before = backup(&shelf.path(file));
        if before.exists() {
            read_profile(&before).unwrap();
        }
        there.insert(card.name.clone(), profile);
    }
    for number in saved {
        let profile = &there[&format!("slates {}", number % PROFILES)];
        let name = format!("slates-{number}.ron");
        let count = profile
            .evidence
            .iter()
            .filter(|one| one.origin.session == name)
            .count();
        assert_eq!(count, 1, "{when}: session {number}");
    }
}

/// 20 saves in all unless `TWINSTRIP_SAVES` says another number (200 for the published claim).
/// Some ten saves a life, and a kill at a moment drawn from a seed.
#[test]
fn a_program_that_is_killed_while_it_saves_loses_and_halves_nothing() {
    let wanted = wished("TWINSTRIP_SAVES", 20);
    let desk = desk();
    let shelf = Shelf::new(desk.path().join("shelf"));
    let mut rng = ChaCha8Rng::seed_from_u64(5);
    let mut saved = Vec::new();
    let (mut next, mut kills) = (0, 0);
    while saved.len() < wanted {
        let mut child = saver(desk.path(), next, 10_000);
        // Starting takes some milliseconds, a save a few more.
        std::thread::sleep(Duration::from_millis(rng.random_range(40..400)));
        child.kill().unwrap();
        kills += 1;
        let said = said(&mut child);
        saved.extend(&said);
        assert_there(&shelf, &saved, &format!("kill {kills}"));
        // The one that was begun may or may not be there; it is not begun again.
        next = said.last().map_or(next, |last| last + 1) + 1;
        assert!(kills < 50 * wanted, "nothing is ever saved");
    }
    println!("{} saves, {kills} kills, nothing lost", saved.len());
    let left = std::fs::read_dir(shelf.folder()).unwrap().count();
    assert!(left <= 2 * PROFILES as usize + 2, "{left} files");
}

#[test]
fn two_programs_that_save_to_one_shelf_lose_nothing() {
    let each = wished("TWINSTRIP_SAVES", 20) as u32;
    let desk = desk();
    let shelf = Shelf::new(desk.path().join("shelf"));
    let mut both = [
        saver(desk.path(), 0, each),
        saver(desk.path(), 50_000, each),
    ];
    let saved: Vec<u32> = both.iter_mut().flat_map(said).collect();
    assert_eq!(saved.len(), 2 * each as usize);
    assert_there(&shelf, &saved, "two savers");
}
