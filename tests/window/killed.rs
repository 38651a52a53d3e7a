//! A window that is killed in the midst of work loses at most the last edit.

use std::io::{BufRead as _, BufReader};
use std::path::{Path, PathBuf};
use std::process::{Command, Stdio};
use std::time::Duration;

use twinstrip::files::keep::left_behind;
use twinstrip::files::session::from_text;
use twinstrip::measure::exposure::Series;

use crate::support::{Window, demo};

/// Tells the child process that it is one, and its folder.
const CHILD: &str = "TWINSTRIP_CHILD";
/// Edits that the child makes.
const EDITS: usize = 50;
/// How long the child is left alone, milliseconds after its first edit: spread over the time
/// that its edits take.
const MOMENTS: [u64; 8] = [0, 3, 11, 29, 71, 131, 211, 367];

/// The other process of the test below; without its folder there is nothing to do.
#[test]
fn child_that_edits_until_it_is_killed() {
    let Some(folder) = std::env::var_os(CHILD).map(PathBuf::from) else {
        return;
    };
    let mut window = Window::in_folder(1280.0, 800.0, &folder);
    window.drop_files(&[demo().join("session.ron")]);
    window.click("Exposures");
    for edit in 1..=EDITS {
        println!("edit {edit}");
        window.write(
            "Exposures of fibre paper",
            &format!("halves from {edit}.5s, 10 steps at f/16"),
        );
        let session = window.harness.state().session();
        assert_eq!(
            first_time(&session.strips[1].exposure.as_ref().unwrap().series),
            edit as f64 + 0.5
        );
    }
    println!("all done");
    std::thread::sleep(Duration::from_secs(60));
}

fn first_time(series: &Series) -> f64 {
    match series {
        Series::InStops { first, .. } => first.0,
        _ => f64::NAN,
    }
}

#[test]
fn a_kill_at_any_moment_loses_at_most_the_last_edit() {
    for (round, moment) in MOMENTS.into_iter().enumerate() {
        let folder = tempfile::tempdir().unwrap();
        let mut child = Command::new(std::env::current_exe().unwrap())
            .args([
                "killed::child_that_edits_until_it_is_killed",
                "--exact",
                "--nocapture",
            ])
            .env(CHILD, folder.path())
            .stdout(Stdio::piped())
            .stderr(Stdio::null())
            .spawn()
            .unwrap();
        let mut lines = BufReader::new(child.stdout.take().unwrap()).lines();
        // Let it get some way first, farther in every round.
        let begun = lines
            .by_ref()
            .map_while(Result::ok)
            .find(|line| *line == format!("edit {}", 2 + 5 * round));
        assert!(begun.is_some(), "the child made its edits");
        std::thread::sleep(Duration::from_millis(moment));
        // On Unix this is SIGKILL.
        child.kill().unwrap();
        child.wait().unwrap();
        let rest = lines
            .map_while(Result::ok)
            .filter_map(|line| line.strip_prefix("edit ")?.parse::<usize>().ok());
        let announced = rest.last().unwrap_or(2 + 5 * round);
        let left = left_behind(folder.path());
        assert_eq!(left.len(), 1, "one copy is left");
        let session = from_text(&left[0].0, &left[0].1, &|_: &Path| Ok(vec![])).unwrap();
        let kept = first_time(&session.strips[1].exposure.as_ref().unwrap().series);
        let lost = announced as f64 + 0.5 - kept;
        assert!(
            (0.0..=1.0).contains(&lost),
            "edit {announced} was announced, {kept} was kept"
        );
    }
}
