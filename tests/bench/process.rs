//! Time and memory of a process of its own (Linux; elsewhere memory and processor time are 0).

use std::path::Path;
use std::process::Command;
use std::sync::Mutex;
use std::time::Instant;

use serde::{Deserialize, Serialize};
use twinstrip::measure::watch::{Cancelled, Watch};

/// Figures by name: milliseconds, or megabytes, or what the name says.
pub type Figures = Vec<(String, f64)>;

/// What one process measured.
#[derive(Debug, Clone, Default, Serialize, Deserialize)]
pub struct Report {
    /// From the start of the work to its end, milliseconds.
    pub wall: f64,
    /// Processor time over all threads, milliseconds.
    pub processor: f64,
    /// Most memory the whole process ever held, megabytes.
    pub peak: f64,
    /// Wall milliseconds of the parts.
    pub parts: Figures,
    /// What was found, in words.
    pub told: String,
}

/// Runs this program again for one case and takes its report.
pub fn run(case: &str, file: &Path) -> Report {
    let program = std::env::current_exe().unwrap();
    let output = Command::new(program)
        .args(["--case", case])
        .arg(file)
        .output()
        .unwrap();
    assert!(
        output.status.success(),
        "case {case} failed: {}",
        String::from_utf8_lossy(&output.stderr)
    );
    serde_json::from_slice(&output.stdout).unwrap()
}

/// A report of work that measures its parts.
pub fn measure(work: impl FnOnce(&mut Figures) -> String) -> Report {
    let before = processor();
    let start = Instant::now();
    let mut parts = Figures::new();
    let told = work(&mut parts);
    Report {
        wall: milliseconds(start),
        processor: processor() - before,
        peak: memory("VmHWM:"),
        parts,
        told,
    }
}

/// Milliseconds since then.
pub fn milliseconds(start: Instant) -> f64 {
    start.elapsed().as_secs_f64() * 1e3
}

/// Megabytes by a line of this process's status.
fn memory(line: &str) -> f64 {
    let status = std::fs::read_to_string("/proc/self/status").unwrap_or_default();
    let found = status.lines().find(|text| text.starts_with(line));
    let kib = found.and_then(|text| text.split_whitespace().nth(1)?.parse::<f64>().ok());
    kib.unwrap_or(0.0) * 1024.0 / 1e6
}

/// Processor time of this process so far, milliseconds: user and system, in ticks of 10 ms.
fn processor() -> f64 {
    let stat = std::fs::read_to_string("/proc/self/stat").unwrap_or_default();
    // The name in parentheses may hold blanks; the times are fields 14 and 15 of proc(5).
    let after = stat.rsplit(')').next().unwrap_or_default();
    let fields: Vec<&str> = after.split_whitespace().collect();
    let ticks = |index: usize| {
        fields
            .get(index)
            .and_then(|field| field.parse::<f64>().ok())
    };
    10.0 * (ticks(11).unwrap_or(0.0) + ticks(12).unwrap_or(0.0))
}

/// Notes when the chain of the analysis goes from stage to stage, by its reports of progress.
pub struct Stages {
    start: Instant,
    seen: Mutex<Vec<f64>>,
}

/// Stages as the chain counts them.
const STAGES: [&str; 5] = ["find", "wedge", "cells", "check and read", "compare"];

impl Stages {
    /// Starts the clock.
    pub fn new() -> Self {
        Self {
            start: Instant::now(),
            seen: Mutex::new(Vec::new()),
        }
    }

    /// Milliseconds of each stage; the last ends now.
    pub fn parts(&self) -> Figures {
        let mut times = self.seen.lock().unwrap().clone();
        times.push(milliseconds(self.start));
        let spans = times.windows(2).map(|pair| pair[1] - pair[0]);
        STAGES.map(String::from).into_iter().zip(spans).collect()
    }
}

impl Watch for Stages {
    fn at(&self, done: usize, of: usize) -> Result<(), Cancelled> {
        if of == STAGES.len() {
            let mut seen = self.seen.lock().unwrap();
            if done == seen.len() {
                seen.push(milliseconds(self.start));
            }
        }
        Ok(())
    }
}
