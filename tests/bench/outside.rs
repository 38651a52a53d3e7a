//! The release program in a window on a screen in memory, drawn by the processor, timed by what
//! the screen shows.

use std::path::Path;
use std::process::Child;
use std::sync::mpsc::Receiver;
use std::thread::sleep;
use std::time::{Duration, Instant};

use crate::screen::{Key, LEFT, PAGE_DOWN, RIGHT, SHIFT, Screen, time_to_picture, wait_for};
use crate::{edits, tell, tell_memory};

/// The wheel away from the hand and toward it, which X calls buttons.
const WHEEL_UP: u8 = 4;
const WHEEL_DOWN: u8 = 5;
const LEFT_ARROW: Key = 0xff51;
/// The screen, which the window fills.
const SCREEN: (u16, u16) = (1280, 800);
/// Tones of a picture with words on it.
const TONES: usize = 20;
/// How long panning and zooming go on.
const MOVING: Duration = Duration::from_secs(8);
/// Between two events of the hand: a mouse that reports 125 times a second.
const REPORT: Duration = Duration::from_millis(8);
/// Nothing drawn for so long: the program has come to rest.
const AT_REST: Duration = Duration::from_millis(700);

struct Program(Child);

impl Drop for Program {
    fn drop(&mut self) {
        self.0.kill().ok();
        self.0.wait().ok();
    }
}

fn start(screen: &Screen, argument: &Path, state: &Path) -> Program {
    let child = screen
        .command(env!("CARGO_BIN_EXE_twinstrip"))
        .arg(argument)
        .env("TWINSTRIP_STATE", state)
        .spawn();
    Program(child.expect("the program starts"))
}

/// The demo: its first picture, and edits.
pub fn small() {
    first_picture();
    real_edits();
}

/// From the start of the process to the first picture with words on it.
fn first_picture() {
    let (folder, _) = edits::demo();
    let times = (0..11).map(|_| {
        let state = tempfile::tempdir().expect("a folder");
        let screen = Screen::start(SCREEN.0, SCREEN.1);
        let drawn = screen.watch();
        let since = Instant::now();
        let _program = start(&screen, &folder.join("session.ron"), state.path());
        time_to_picture(&screen, &drawn, since, TONES).as_secs_f64() * 1e3
    });
    tell("window: first picture", times.collect());
}

fn until_rest(drawn: &Receiver<Instant>) {
    while drawn.recv_timeout(AT_REST).is_ok() {}
}

/// From a key to the first picture on which the answer, left on the screen, stands as it
/// will stay. Until then it is shown as stale.
fn real_edits() {
    let (folder, _) = edits::demo();
    let state = tempfile::tempdir().expect("a folder");
    std::fs::write(state.path().join("window.txt"), "tour seen\n").expect("the disk has room");
    let screen = Screen::start(SCREEN.0, SCREEN.1);
    let drawn = screen.watch();
    let program = start(&screen, &folder.join("session.ron"), state.path());
    let window = wait_for("the window", || screen.window_named("session.ron"));
    screen.focus(window);
    until_rest(&drawn);
    let rescue = state.path().join("rescue-1.ron");
    let kept = || std::fs::read_to_string(&rescue).unwrap_or_default();
    let time = |what: &str, edit: &dyn Fn(usize)| {
        let times = (0..11).filter_map(|count| {
            until_rest(&drawn);
            let before = answer(&screen);
            let begun = Instant::now();
            edit(count);
            let mut seen = Vec::new();
            while let Ok(at) = drawn.recv_timeout(AT_REST) {
                seen.push((at, answer(&screen)));
            }
            let (_, last) = seen.last()?;
            // The same digits as before tell nothing.
            if *last == before {
                return None;
            }
            let changed = seen.iter().rposition(|(_, answer)| answer != last);
            let (at, _) = seen[changed.map_or(0, |index| index + 1)];
            Some(at.duration_since(begun).as_secs_f64() * 1e3)
        });
        tell(&format!("window: {what}, key to answer"), times.collect());
    };
    let act = |what: &dyn Fn()| {
        what();
        until_rest(&drawn);
    };
    // The keyboard goes to the scan, the first strip is chosen, then its parts in turn until the
    // key that leaves a step out finds one.
    act(&|| screen.click(640, 500));
    act(&|| screen.press(&[], PAGE_DOWN));
    for _ in 0..40 {
        act(&|| screen.press_sign(&[], '.'));
        act(&|| screen.press_sign(&[], 'x'));
        if kept().contains("excluded") {
            break;
        }
    }
    time("a step left out or taken back", &|_| {
        screen.press_sign(&[], 'x')
    });
    // Over the other strip back to this one as a whole.
    act(&|| screen.press(&[], PAGE_DOWN));
    act(&|| screen.press(&[], PAGE_DOWN));
    // To and fro, so that the strip stays where it can be read.
    time("a strip moved", &|count| {
        screen.press(&[SHIFT], if count % 2 == 0 { RIGHT } else { LEFT_ARROW });
    });
    drop(program);
}

/// The part of the screen with the answer.
fn answer(screen: &Screen) -> Vec<u8> {
    let picture = screen.picture();
    image::imageops::crop_imm(&picture, 0, 44, 310, 380)
        .to_image()
        .into_raw()
}

/// Time from one picture to the next while the hand drags and turns the wheel.
pub fn frames(large: &Path) {
    let state = tempfile::tempdir().expect("a folder");
    let screen = Screen::start(SCREEN.0, SCREEN.1);
    let drawn = screen.watch();
    let program = start(&screen, large, state.path());
    let window = wait_for("the window", || screen.window_named("twinstrip"));
    screen.focus(window);
    // Reading 840 MB shows its progress all the while.
    until_rest(&drawn);
    sleep(Duration::from_secs(2));
    until_rest(&drawn);
    screen.point(640, 450);
    let mut moments = Vec::new();
    let begun = Instant::now();
    let mut event = 0;
    let mut down = false;
    while begun.elapsed() < MOVING {
        // In turns: closer, about, closer, about, farther.
        let (part, step) = (event / 60 % 5, event % 60);
        match part {
            0 | 2 if step % 6 == 0 => wheel(&screen, WHEEL_UP),
            4 if step % 3 == 0 => wheel(&screen, WHEEL_DOWN),
            1 | 3 => {
                if step == 0 {
                    screen.button_down(LEFT);
                    down = true;
                }
                let way = if step < 30 { step } else { 60 - step };
                screen.point(640 + 7 * way as i16, 450 + 3 * way as i16);
            }
            _ => {}
        }
        if down && (step == 59 || !matches!(part, 1 | 3)) {
            screen.button_up(LEFT);
            down = false;
        }
        event += 1;
        sleep(REPORT);
        moments.extend(drawn.try_iter());
    }
    let between = moments.windows(2).map(|pair| {
        let between = pair[1].duration_since(pair[0]);
        between.as_secs_f64() * 1e3
    });
    let seconds = MOVING.as_secs_f64();
    let rate = moments.len() as f64 / seconds;
    tell("window: picture to picture", between.collect());
    println!("window: {rate:.0} pictures a second of {SCREEN:?} pixels, drawn by the processor");
    tell_memory(&program.0.id().to_string());
}

fn wheel(screen: &Screen, way: u8) {
    screen.button_down(way);
    screen.button_up(way);
}
