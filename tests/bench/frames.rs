//! What a frame of the window costs while a 140 megapixel scan is panned and zoomed, the memory
//! at the peak, and how long an edit of the demo takes to reach the answer. First the program's
//! own part without a screen; then, where Xvfb is, the program itself in a window that a
//! processor draws, timed from outside. Run: `cargo bench --bench frames`, or a part of it:
//! `cargo bench --bench frames -- edits`, `-- window`, `-- large`.
#![expect(
    clippy::disallowed_methods,
    reason = "a benchmark measures time and writes its scan"
)]

mod edits;
mod inside;
#[cfg(target_os = "linux")]
mod outside;
#[cfg(target_os = "linux")]
#[path = "../screen/screen.rs"]
mod screen;

use std::path::Path;

use twinstrip::files::scan::{Container, Mark, Packing, Picture, WriteOptions, write_scan};
use twinstrip::measure::raster::Samples;

/// The scan: 140 megapixels, RGB, 16 bits; its columns.
pub const WIDTH: usize = 14_000;
/// Its rows.
pub const HEIGHT: usize = 10_000;

/// Milliseconds, told in one line.
pub fn tell(what: &str, mut times: Vec<f64>) {
    times.sort_by(f64::total_cmp);
    let Some(last) = times.len().checked_sub(1) else {
        println!("{what}: nothing was timed");
        return;
    };
    let at = |share: f64| times[(last as f64 * share).round() as usize];
    println!(
        "{what}: median {:.1} ms, 99th percentile {:.1} ms, longest {:.1} ms, of {}",
        at(0.5),
        at(0.99),
        at(1.0),
        times.len()
    );
}

/// The most memory that a process ever held, over that of the decoded pixels.
pub fn tell_memory(process: &str) {
    let status = std::fs::read_to_string(format!("/proc/{process}/status")).unwrap_or_default();
    let line = status.lines().find(|line| line.starts_with("VmHWM:"));
    let kilobytes = line.and_then(|line| line.split_whitespace().nth(1)?.parse::<f64>().ok());
    if let Some(kilobytes) = kilobytes {
        let share = kilobytes * 1024.0 / (WIDTH * HEIGHT * 6) as f64;
        println!("memory at the peak: {share:.2} times the decoded pixels");
    }
}

fn main() {
    let named: Vec<String> = std::env::args().skip(1).collect();
    let parts = ["edits", "window", "large"];
    let any = parts
        .iter()
        .any(|part| named.iter().any(|name| name == part));
    let wanted = |part: &str| !any || named.iter().any(|name| name == part);
    if wanted("edits") {
        edits::run();
    }
    #[cfg(target_os = "linux")]
    if wanted("window") {
        outside::small();
    }
    if wanted("large") {
        large();
    }
}

fn large() {
    let folder = tempfile::tempdir().expect("a folder for the scan");
    let path = folder.path().join("large.tif");
    write_large(&path);
    #[cfg(target_os = "linux")]
    outside::frames(&path);
    inside::run(&path);
}

fn write_large(path: &Path) {
    let codes: Vec<u16> = (0..WIDTH * HEIGHT * 3)
        .map(|i| ((i as u64).wrapping_mul(2_654_435_761) >> 9) as u16 | 0x4000)
        .collect();
    let samples = Samples::Sixteen(codes);
    let picture = Picture {
        width: WIDTH,
        height: HEIGHT,
        channels: 3,
        samples: &samples,
    };
    let options = WriteOptions {
        container: Container::tiff(Packing::Plain),
        pixels_per_mm: None,
        mark: Mark::None,
    };
    write_scan(path, &picture, &options).expect("the disk has room for the scan");
}
