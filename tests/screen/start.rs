//! How long it takes until there is something to see.

use std::time::{Duration, Instant};

use crate::program::{Bench, alone, is_named, path};
use crate::screen::{Screen, time_to_picture};

/// First picture of the release build after the start of its process: the issue asks for half
/// a second.
const LIMIT: Duration = Duration::from_millis(500);
/// The same of a development build, which nobody waits for.
const LIMIT_OF_DEVELOPMENT: Duration = Duration::from_secs(3);
/// Starts; the middle one counts, since a test run has the machine to itself only sometimes.
const STARTS: usize = 5;
/// Tones of a picture with words on it. An empty window has one.
const TONES: usize = 20;

#[test]
fn the_first_picture_is_there_within_half_a_second() {
    let _alone = alone();
    let bench = Bench::with_demo();
    let mut times: Vec<Duration> = (0..STARTS)
        .map(|_| {
            let screen = Screen::start(1280, 800);
            let drawn = screen.watch();
            let since = Instant::now();
            let mut child = screen
                .command(&path())
                .arg(&bench.session)
                .env("TWINSTRIP_STATE", &bench.state)
                .spawn()
                .unwrap();
            let time = time_to_picture(&screen, &drawn, since, TONES);
            child.kill().unwrap();
            child.wait().unwrap();
            time
        })
        .collect();
    times.sort();
    println!("first picture after {times:?}");
    let limit = if is_named() {
        LIMIT
    } else {
        LIMIT_OF_DEVELOPMENT
    };
    assert!(times[STARTS / 2] <= limit, "{times:?}");
}
