use std::sync::mpsc::{Receiver, channel};
use std::sync::{Arc, Mutex};
use std::time::Duration;

use super::{Job, Latest, Outcome, Wake};

/// Longest that a test waits for a thread; far beyond what one needs.
const PATIENCE: Duration = Duration::from_secs(20);

/// A wake that can be waited for.
fn bell() -> (Wake, Receiver<()>) {
    let (ring, heard) = channel();
    let ring = Mutex::new(ring);
    let wake: Wake = Arc::new(move || {
        if let Ok(ring) = ring.lock() {
            ring.send(()).ok();
        }
    });
    (wake, heard)
}

fn ended<T: Send + 'static>(job: &Job<T>, heard: &Receiver<()>) -> Outcome<T> {
    loop {
        heard.recv_timeout(PATIENCE).unwrap();
        match job.poll() {
            Outcome::Working => {}
            ended => return ended,
        }
    }
}

#[test]
fn the_last_wake_always_finds_the_answer() {
    for _ in 0..300 {
        let (wake, heard) = bell();
        let job = Job::start("answer", &wake, |_| Ok(7));
        assert!(matches!(ended(&job, &heard), Outcome::Done(7)));
    }
}

#[test]
fn a_panic_is_an_outcome_and_wakes_too() {
    let (wake, heard) = bell();
    let job: Job<()> = Job::start("breaks", &wake, |_| {
        std::panic::resume_unwind(Box::new("as the test wants"))
    });
    assert!(matches!(ended(&job, &heard), Outcome::Crashed));
}

#[test]
fn cancelled_work_stops_at_its_next_report_and_says_so() {
    let (wake, heard) = bell();
    let job: Job<()> = Job::start("long", &wake, |watch| {
        loop {
            watch.at(1, 2)?;
            std::thread::yield_now();
        }
    });
    heard.recv_timeout(PATIENCE).unwrap();
    assert_eq!(job.progress(), Some(0.5));
    job.cancel();
    assert!(matches!(ended(&job, &heard), Outcome::Cancelled));
}

#[test]
fn an_answer_never_stands_under_the_wrong_key_and_the_old_one_stays_on_show() {
    let (wake, heard) = bell();
    let mut latest: Latest<u32, u32> = Latest::default();
    let ask = |latest: &mut Latest<u32, u32>, key: u32| {
        latest.ask(key, || Job::start("square", &wake, move |_| Ok(key * key)))
    };
    ask(&mut latest, 3);
    while !latest.is_current(3) {
        heard.recv_timeout(PATIENCE).unwrap();
        ask(&mut latest, 3);
    }
    ask(&mut latest, 4);
    assert_eq!(latest.shown().map(|answer| **answer), Some(9));
    assert!(!latest.is_current(4));
    while !latest.is_current(4) {
        heard.recv_timeout(PATIENCE).unwrap();
        ask(&mut latest, 4);
    }
    assert_eq!(latest.shown().map(|answer| **answer), Some(16));
}

#[test]
fn a_question_that_crashed_is_not_asked_again() {
    let (wake, heard) = bell();
    let mut latest: Latest<u32, u32> = Latest::default();
    let mut asked = 0;
    while !latest.crashed(1) {
        latest.ask(1, || {
            asked += 1;
            Job::start("breaks", &wake, |_| {
                std::panic::resume_unwind(Box::new("as the test wants"))
            })
        });
        if !latest.crashed(1) {
            heard.recv_timeout(PATIENCE).unwrap();
        }
    }
    latest.ask(1, || {
        asked += 1;
        Job::start("breaks", &wake, |_| Ok(1))
    });
    assert_eq!(asked, 1);
}
