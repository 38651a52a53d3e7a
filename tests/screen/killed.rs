//! A window that is killed in the midst of work loses at most the last edit.

use std::sync::mpsc::Receiver;
use std::thread::sleep;
use std::time::{Duration, Instant};

use rand::{Rng as _, SeedableRng as _};
use rand_chacha::ChaCha8Rng;
use twinstrip::document::Session;

use crate::program::{Bench, CTRL, Program, alone, rest};
use crate::screen::{PAGE_DOWN, RIGHT, Screen, tones, wait_for};

/// Edits that a round would make, were it not for the kill.
const EDITS: usize = 50;
/// Rounds, unless `TWINSTRIP_KILLS` says how many.
const ROUNDS: usize = 10;
/// Tones that a scan with its marks shows at least.
const TONES: usize = 200;
/// The kill comes at most so many milliseconds after its edit's key.
const LATEST: u64 = 60;
/// Frames after which a key must have had its effect: one may be on its way to the screen, one
/// being drawn and one begun before the key arrives.
const FRAMES: usize = 4;
/// A window that drew something and then nothing for so long has come to rest.
const QUIET: Duration = Duration::from_millis(200);
/// Longest until the first frame after a key.
const PATIENCE: Duration = Duration::from_secs(20);

/// Where the first strip begins: every edit moves it by the same way.
fn place(session: &Session) -> Option<f64> {
    Some(session.strips[0].shape.as_ref()?.corners[0].x)
}

/// Waits until a key pressed before must have had its effect.
fn wait_for_frames(drawn: &Receiver<Instant>) {
    drawn.recv_timeout(PATIENCE).expect("a key draws something");
    for _ in 1..FRAMES {
        if drawn.recv_timeout(QUIET).is_err() {
            return;
        }
    }
}

/// Makes edits until the kill; tells how many keys were pressed and how many edits were kept.
fn round(random: &mut ChaCha8Rng) -> (usize, f64) {
    let screen = Screen::start(1280, 800);
    let bench = Bench::with_demo();
    let before = bench.saved();
    let program = Program::start(&screen, &bench.state, &[&bench.session]);
    let last = random.random_range(2..=EDITS);
    let moment = Duration::from_micros(random.random_range(0..=LATEST * 1000));

    // The keyboard goes to the scan, the first strip is chosen, an arrow moves it once it has
    // been found.
    wait_for("the scan", || {
        (tones(&screen.picture()) > TONES).then_some(())
    });
    let drawn = screen.watch();
    let act = |what: &dyn Fn()| {
        while drawn.try_recv().is_ok() {}
        what();
        wait_for_frames(&drawn);
    };
    wait_for("the first edit", || {
        // Beside the strips, which chooses none of them.
        act(&|| screen.click(640, 500));
        act(&|| screen.press(&[], PAGE_DOWN));
        act(&|| screen.press(&[], RIGHT));
        (0..40).find_map(|_| {
            sleep(Duration::from_millis(20));
            place(&bench.kept(1)?)
        })
    });
    sleep(4 * QUIET);
    let start = place(&bench.kept(1).unwrap()).unwrap();
    screen.press(&[], RIGHT);
    let step = wait_for("the next edit", || {
        let moved = place(&bench.kept(1)?)? - start;
        (moved != 0.0).then_some(moved)
    });
    for _ in 2..last {
        act(&|| screen.press(&[], RIGHT));
    }
    screen.press(&[], RIGHT);
    sleep(moment);
    program.kill();
    let kept = bench.kept(1).expect("a whole copy is left");
    let edits = (place(&kept).unwrap() - start) / step;

    // Nothing else was touched, and the session's own file not at all.
    assert_eq!(bench.saved(), before);
    reopen(&screen, &bench, &kept);
    (last, edits)
}

/// Starts the program again, takes the session back and saves it: it is what was kept.
fn reopen(screen: &Screen, bench: &Bench, kept: &Session) {
    let program = Program::start(screen, &bench.state, &[]);
    let copy = bench.state.join("rescue-1.ron");
    wait_for("the session to be taken back", || {
        (60..400).step_by(12).find_map(|y| {
            screen.click(372, y);
            rest();
            (!copy.exists()).then_some(())
        })
    });
    screen.press_sign(&[CTRL], 's');
    let saved = wait_for("the saved session", || {
        let saved = bench.saved();
        (saved.strips == kept.strips).then_some(saved)
    });
    let mut kept = kept.clone();
    kept.scans.clone_from(&saved.scans);
    assert_eq!(saved, kept);
    program.quit();
}

#[test]
fn a_kill_at_a_random_moment_loses_at_most_the_last_edit() {
    let _alone = alone();
    let rounds = std::env::var("TWINSTRIP_KILLS").ok();
    let rounds = rounds.and_then(|rounds| rounds.parse().ok());
    let mut random = ChaCha8Rng::seed_from_u64(20_261_125);
    let mut lost = Vec::new();
    for _ in 0..rounds.unwrap_or(ROUNDS) {
        let (made, kept) = round(&mut random);
        let whole = (kept - kept.round()).abs();
        assert!(whole < 1e-6, "{kept} edits were kept, which is no number");
        let missing = made as f64 - kept.round();
        assert!(
            (0.0..=1.0).contains(&missing),
            "{made} edits were made, {kept} were kept"
        );
        lost.push((made, missing));
    }
    println!("edits made before the kill, and lost by it: {lost:?}");
}
