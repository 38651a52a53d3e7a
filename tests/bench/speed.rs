//! How long a scan takes from its file to the findings, and how much memory: A4 at 600 dots
//! per inch, 16 bits RGB (35 million pixels, 209 MB), and at 1,200 (140 million).
//!
//! `cargo bench --bench speed` prints the table of docs/performance.md in about a minute;
//! with `-- --check` it ends with an error when a figure is beyond its limit. `-- --keep
//! FOLDER` leaves the scans in a folder, for tests/bench/numpy_baseline.py; `-- --short`
//! leaves out the large scan.
//!
//! Every case runs in a process of its own, so that its memory is its own. The files lie in
//! the system's memory when they are read (they were just written).

#![expect(
    clippy::disallowed_methods,
    clippy::unwrap_used,
    reason = "a benchmark needs a clock and files, and nobody to report failures to"
)]

mod cases;
mod page;
mod process;

use std::path::{Path, PathBuf};

use process::Report;

/// Runs of a case, of which the median by wall time is printed.
const RUNS: usize = 5;

/// Limits of the whole way at 600 dots per inch, wall milliseconds.
const WHOLE_LIMITS: [(&str, f64); 3] = [
    ("uncompressed", 500.0),
    ("LZW", 1200.0),
    ("deflate", 1200.0),
];

/// Limits of parts, wall milliseconds.
const PART_LIMITS: [(&str, f64); 2] = [
    ("curves of a pair with all bounds", 30.0),
    ("covariance of a strip, the slowest", 150.0),
];

/// Parts that, after decoding, do what the yardstick in Python does: linear light of every
/// pixel, and means of patches that leave out what does not belong.
const YARDSTICK: [&str; 3] = [
    "overview of the scan",
    "cells of the wedge",
    "cells of the strips",
];

/// Limit of memory at the peak, as a multiple of the decoded pixels.
const MEMORY_LIMIT: f64 = 1.3;

/// Four times the pixels may take this many times the time: linear, and room for scatter.
const GROWTH_LIMIT: f64 = 4.4;

/// Command line and what went beyond a limit.
struct Bench {
    check: bool,
    short: bool,
    beyond: Vec<String>,
}

fn main() {
    let arguments: Vec<String> = std::env::args().skip(1).collect();
    if let Some(at) = arguments.iter().position(|argument| argument == "--case") {
        let report = cases::run(&arguments[at + 1], Path::new(&arguments[at + 2]));
        println!("{}", serde_json::to_string(&report).unwrap());
        return;
    }
    let has = |name: &str| arguments.iter().any(|argument| argument == name);
    let mut bench = Bench {
        check: has("--check"),
        short: has("--short"),
        beyond: Vec::new(),
    };
    let kept = arguments.iter().position(|argument| argument == "--keep");
    let folder = tempfile::tempdir().unwrap();
    let folder = match kept {
        Some(at) => {
            let folder = PathBuf::from(&arguments[at + 1]);
            std::fs::create_dir_all(&folder).unwrap();
            folder
        }
        None => folder.path().to_owned(),
    };
    bench.all(&folder);
    if bench.check && !bench.beyond.is_empty() {
        eprintln!("beyond the limit:\n  {}", bench.beyond.join("\n  "));
        std::process::exit(1);
    }
}

impl Bench {
    fn all(&mut self, folder: &Path) {
        let names = page::FILES.map(|(name, _)| name);
        let small = make(folder, 600.0, &names);
        heading(600.0);
        let whole: Vec<(&str, Report)> = small
            .iter()
            .map(|(name, file)| (*name, median("whole", file)))
            .collect();
        for (name, report) in &whole {
            self.whole(name, report, 600.0);
        }
        if !self.short {
            self.large(folder, whole[0].1.wall);
        }
        println!("\n| a part alone, 600 dpi | ms |\n| --- | --- |");
        let uncompressed = &small[0].1;
        println!(
            "| content hash | {:.0} |",
            median("hash", uncompressed).wall
        );
        let parts = process::run("parts", uncompressed);
        for (name, time) in &parts.parts {
            println!("| {name} | {time:.1} |");
            if let Some((_, limit)) = PART_LIMITS.iter().find(|(part, _)| part == name) {
                self.limit(name, *time, *limit);
            }
        }
        let work = |report: &Report| report.parts[0].1 + sum(&parts, &YARDSTICK);
        for (name, report) in &whole {
            if WHOLE_LIMITS.iter().any(|(limited, _)| limited == name) {
                println!("| the yardstick's work, {name} | {:.0} |", work(report));
            }
        }
        println!("\n{}", parts.told);
    }

    /// Four times the pixels.
    fn large(&mut self, folder: &Path, small: f64) {
        heading(1200.0);
        for (name, file) in make(folder, 1200.0, &["uncompressed"]) {
            let report = median("whole", &file);
            self.whole(name, &report, 1200.0);
            let growth = report.wall / small;
            println!("\n{growth:.2} times the time for 4 times the pixels");
            self.limit("growth for 4 times the pixels", growth, GROWTH_LIMIT);
            std::fs::remove_file(file).unwrap();
        }
    }

    /// One line of the table.
    fn whole(&mut self, name: &str, report: &Report, dpi: f64) {
        let decoded = decoded_megabytes(dpi);
        print!("| {name} | {:.0} | {:.0} |", report.wall, report.processor);
        for (_, time) in &report.parts {
            print!(" {time:.0} |");
        }
        let share = report.peak / decoded;
        println!(" {:.0} ({share:.2}) |", report.peak);
        let name = format!("{name} at {dpi} dpi");
        self.limit(&format!("memory, {name}"), share, MEMORY_LIMIT);
        let limit = WHOLE_LIMITS
            .iter()
            .find(|(packing, _)| dpi == 600.0 && name.starts_with(packing));
        if let Some((_, limit)) = limit {
            self.limit(&name, report.wall, *limit);
        }
    }

    fn limit(&mut self, name: &str, figure: f64, limit: f64) {
        if figure > limit {
            self.beyond
                .push(format!("{name}: {figure:.2}, limit {limit}"));
        }
    }
}

fn heading(dpi: f64) {
    println!(
        "\n| {dpi} dpi, {:.0} MB | wall ms | processor ms | decode | find | wedge | cells | \
         check and read | compare | peak MB (of decoded) |",
        decoded_megabytes(dpi)
    );
    println!("|{}", " --- |".repeat(10));
}

/// Six bytes for every pixel of A4.
fn decoded_megabytes(dpi: f64) -> f64 {
    let side = |millimetres: f64| (millimetres / 25.4 * dpi).ceil();
    side(210.0) * side(297.0) * 6.0 / 1e6
}

/// The run of middling wall time of several, each in a process of its own; its memory is the
/// most that any of them took.
fn median(case: &str, file: &Path) -> Report {
    let mut reports: Vec<Report> = (0..RUNS).map(|_| process::run(case, file)).collect();
    reports.sort_by(|a, b| a.wall.total_cmp(&b.wall));
    let peak = reports.iter().map(|report| report.peak).fold(0.0, f64::max);
    Report {
        peak,
        ..reports.swap_remove(RUNS / 2)
    }
}

/// Wall milliseconds of some parts together.
fn sum(report: &Report, names: &[&str]) -> f64 {
    let wanted = report
        .parts
        .iter()
        .filter(|(part, _)| names.contains(&part.as_str()));
    wanted.map(|(_, time)| time).sum()
}

/// Writes the scan in several ways.
fn make(folder: &Path, dpi: f64, names: &[&'static str]) -> Vec<(&'static str, PathBuf)> {
    let practice = page::practice(dpi);
    let raster = &practice.scans[0];
    let write = |name: &&'static str| {
        let (_, container) = page::FILES.iter().find(|(file, _)| file == name).unwrap();
        let path = folder.join(format!("a4-{dpi}-{}", name.replace(' ', "-")));
        page::write(raster, *container, &path);
        let length = std::fs::metadata(&path).unwrap().len();
        eprintln!("{name} at {dpi} dpi: {:.0} MB", length as f64 / 1e6);
        (*name, path)
    };
    names.iter().map(write).collect()
}
