//! Twenty thousand damaged session files: each is read or refused with its place and a remedy,
//! without a panic and in bounded memory.

use std::path::Path;

use rand::Rng as _;
use rand::SeedableRng as _;
use rand_chacha::ChaCha8Rng;
use twinstrip::files::session::from_text;
use twinstrip::files::text::TextError;

/// How many files.
const FILES: u64 = 20_000;

/// Most memory that reading them may take beyond what the process had, in bytes.
const MOST_MEMORY: usize = 64 << 20;

/// A session with a word of every kind.
const LONG: &str = r#"// Invented: harbour pictures on roof slates.
Session(
    version: 1,
    scans: ["paper.tif", Scan(path: "slates.tif", encoding: gamma(2.2))],
    wedge: Wedge(densities: [0.05, 0.20, 0.35, 0.50, 0.65], uncertainty: 0.02),
    strips: [
        Strip(name: "warm paper", role: reference, series: building_up(bursts: "4 x 2s then 4 x 4s"), aperture: "f/16", magnification: 3.5, filter: 0.3, excluded: [2, 5]),
        Strip(name: "slate, one coat", role: coupon, series: in_stops(first: "4s", stops: "1/2", steps: 9), aperture: 11),
        Strip(name: "slate, two coats", role: coupon, series: one_at_a_time(times: "thirds from 3s, 9 steps"), aperture: "exactly f/11"),
        Strip(name: "slate, three coats", role: coupon, series: printed_wedge(time: "1m20s", densities: [1.2, 0.9, 0.6, 0.3]), aperture: "N 8"),
        Strip(name: "slate, primed", role: coupon, series: list(times: [2, 3.5, 5, 8]), aperture: "f16",
            shape: Shape(scan: 2, corners: [(120, 80), (120, 420), (2020, 420), (2020, 80)], edges: [0, 0.2, 0.4, (0.59, 0.61), 0.8, 1], fields: [margin, step(1), step(2), step(3), step(4)])),
    ],
    settings: Settings(channel: green, lamp_lag: "0.1s", lamp_lag_error: "0.05s", aperture_error: "1/10", priors: true, seed: 7),
    notes: "warm tone developer, 20 C",
)
"#;

const WORDS: [&str; 22] = [
    "(",
    ")",
    "[",
    "]",
    ",",
    ":",
    "\"",
    "NaN",
    "inf",
    "-1",
    "-0.0",
    "1e308",
    "1e-320",
    "18446744073709551616",
    "999999999999",
    "999999999999 x 1s",
    "building_up",
    "step(0)",
    "Session(",
    "/*",
    "\u{0}",
    "\u{1F5FF}",
];

fn damage(random: &mut ChaCha8Rng, file: &mut Vec<u8>) {
    for _ in 0..random.random_range(1..=5) {
        if file.is_empty() {
            return;
        }
        let at = random.random_range(0..file.len());
        let end = (at + random.random_range(1..=40)).min(file.len());
        match random.random_range(0..8) {
            0 => file[at] = random.random(),
            1 => file.truncate(at),
            2 => {
                file.drain(at..end);
            }
            3 => {
                let piece = file[at..end].to_vec();
                let to = random.random_range(0..=file.len());
                file.splice(to..to, piece);
            }
            // As deep as brackets can be heaped up.
            4 if random.random_bool(0.1) => {
                let heap = ["(", "[", "Some(", "{"][random.random_range(0..4)].repeat(20_000);
                file.splice(at..at, heap.bytes());
            }
            4 => file[at] = b"0123456789.-\"()[],:"[random.random_range(0..19)],
            _ => {
                let word = WORDS[random.random_range(0..WORDS.len())];
                file.splice(at..at, word.bytes());
            }
        }
    }
}

/// The most memory this process ever had, in bytes, where the system tells.
fn peak_memory() -> Option<usize> {
    let status = twinstrip::files::text::read_text(Path::new("/proc/self/status")).ok()?;
    let line = status.lines().find(|line| line.starts_with("VmHWM:"))?;
    let kib: usize = line.split_whitespace().nth(1)?.parse().ok()?;
    Some(kib * 1024)
}

#[test]
fn twenty_thousand_damaged_sessions_are_read_or_refused_with_their_place() {
    let demo = include_str!("../testdata/demo/session.ron");
    let path = Path::new("session.ron");
    let no_lists = |list: &Path| {
        Err(TextError::Disk {
            path: list.to_owned(),
            what: "there is no such file".into(),
        })
    };
    let before = peak_memory();
    let (mut read, mut refused) = (0, 0);
    for round in 0..FILES {
        let mut random = ChaCha8Rng::seed_from_u64(round);
        let mut file = [LONG, demo][round as usize % 2].as_bytes().to_vec();
        damage(&mut random, &mut file);
        let text = String::from_utf8_lossy(&file);
        match from_text(path, &text, &no_lists) {
            Ok(session) => {
                read += 1;
                assert!(!session.scans.is_empty(), "round {round}");
            }
            // A list that isn't there, which the damage made up.
            Err(TextError::Disk { .. }) => refused += 1,
            Err(error) => {
                refused += 1;
                let said = error.to_string();
                let mut parts = said.splitn(4, ':');
                assert_eq!(parts.next(), Some("session.ron"), "round {round}: {said}");
                let number = |part: Option<&str>| part.and_then(|part| part.parse::<usize>().ok());
                let place = (number(parts.next()), number(parts.next()));
                assert!(
                    matches!(place, (Some(1..), Some(1..))),
                    "round {round}: {said}"
                );
                assert!(parts.next().is_some_and(|what| what.len() > 8), "{said}");
            }
        }
    }
    println!("{read} read, {refused} refused");
    assert!(
        read > 100 && refused > 15_000,
        "{read} read, {refused} refused"
    );
    if let (Some(before), Some(after)) = (before, peak_memory()) {
        let more = after - before;
        println!("{} KiB more", more >> 10);
        assert!(more < MOST_MEMORY, "{more} bytes more");
    }
}
