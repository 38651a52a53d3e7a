//! How long the work on a scan of A4 at 600 dots per inch takes, 16 bits RGB: 35 million
//! pixels, 209 MB. `cargo bench --bench speed`, or with parts of the names of cases after `--`.
//!
//! The file is in the system's memory when it is timed (it was just written). Each case runs
//! five times; the least and the median are printed, and the memory taken at
//! the peak beyond that before.

#![expect(
    clippy::disallowed_methods,
    clippy::unwrap_used,
    reason = "a benchmark needs a clock and files, and nobody to report failures to"
)]

use std::path::Path;
use std::time::{Duration, Instant};

use twinstrip::files::scan::{
    Container, Mark, Packing, Picture, ScanOptions, WriteOptions, content_hash, read_scan,
    write_scan,
};
use twinstrip::measure::raster::{Channel, Raster, Samples};
use twinstrip::measure::watch::Unwatched;

const WIDTH: usize = 4960;
const HEIGHT: usize = 7016;

/// A page of grey fields with the noise of a scanner: about 100 codes of 65,535.
fn page(width: usize, height: usize) -> Samples {
    let mut state = 0x9e37_79b9_7f4a_7c15_u64;
    let mut codes = Vec::with_capacity(width * height * 3);
    for y in 0..height {
        for x in 0..width {
            let field = (x / 600 + y / 400) % 12;
            let base = 60_000 - 4_800 * field as i32 + (x / 16 + y / 16) as i32;
            state ^= state << 13;
            state ^= state >> 7;
            state ^= state << 17;
            for channel in 0..3 {
                // Two sums of uniform numbers make a hump like noise has.
                let noise = (state >> (channel * 16) & 0xff) + (state >> (channel * 16 + 8) & 0xff);
                codes.push((base + noise as i32 - 255).clamp(0, 65_535) as u16);
            }
        }
    }
    Samples::Sixteen(codes)
}

/// Bytes by a line of this process's status (Linux; 0 elsewhere).
fn memory(line: &str) -> usize {
    let status = std::fs::read_to_string("/proc/self/status").unwrap_or_default();
    let found = status.lines().find(|text| text.starts_with(line));
    let kib = found.and_then(|text| text.split_whitespace().nth(1)?.parse::<usize>().ok());
    kib.unwrap_or(0) * 1024
}

struct Runs {
    wanted: Vec<String>,
}

impl Runs {
    fn case<T>(&self, name: &str, mut work: impl FnMut() -> T) {
        if !self.wanted.is_empty() && !self.wanted.iter().any(|part| name.contains(part)) {
            return;
        }
        let mut times: Vec<Duration> = Vec::new();
        let mut peak = 0;
        for _ in 0..5 {
            // Writing 5 sets the high-water mark back to what is in use now.
            std::fs::write("/proc/self/clear_refs", "5").ok();
            let before = memory("VmRSS:");
            let start = Instant::now();
            let kept = work();
            times.push(start.elapsed());
            peak = peak.max(memory("VmHWM:").saturating_sub(before));
            drop(kept);
        }
        times.sort();
        println!(
            "{name:<44} {:>8.1} ms least  {:>8.1} ms median  {:>6.0} MB more at the peak",
            times[0].as_secs_f64() * 1e3,
            times[2].as_secs_f64() * 1e3,
            peak as f64 / 1e6,
        );
    }
}

fn read(path: &Path) -> Raster {
    read_scan(path, &ScanOptions::default(), &Unwatched).unwrap()
}

fn main() {
    let runs = Runs {
        wanted: std::env::args()
            .skip(1)
            .filter(|arg| !arg.starts_with('-'))
            .collect(),
    };
    let folder = tempfile::tempdir().unwrap();
    let tiff = |packing, rows| Container::Tiff {
        packing,
        rows_per_strip: Some(rows),
        big: false,
    };
    let files = [
        ("uncompressed", tiff(Packing::Plain, 16)),
        (
            "uncompressed in one strip",
            tiff(Packing::Plain, HEIGHT as u32),
        ),
        ("LZW", tiff(Packing::Lzw, 16)),
        ("deflate", tiff(Packing::Deflate, 16)),
        ("PackBits", tiff(Packing::PackBits, 1)),
        ("PNG", Container::Png),
    ];
    let samples = page(WIDTH, HEIGHT);
    for (name, container) in files {
        let path = folder.path().join("page");
        let picture = Picture {
            width: WIDTH,
            height: HEIGHT,
            channels: 3,
            samples: &samples,
        };
        let options = WriteOptions {
            container,
            pixels_per_mm: Some(600.0 / 25.4),
            mark: Mark::None,
        };
        write_scan(&path, &picture, &options).unwrap();
        runs.case(&format!("decode, {name}"), || read(&path));
        if name == "uncompressed" {
            runs.case("content hash", || content_hash(&path, &Unwatched).unwrap());
            let raster = read(&path);
            for channel in [Channel::Luminance, Channel::Green] {
                for step in [1, 6, 8] {
                    let case = format!("overview, step {step}, {channel:?}");
                    runs.case(&case, || raster.overview(step, channel));
                }
            }
            runs.case("linear light of every row, one thread", || {
                let mut row = Vec::new();
                (0..HEIGHT)
                    .map(|y| {
                        raster.linear_row(y, 0, WIDTH, Channel::Luminance, &mut row);
                        row[y % WIDTH]
                    })
                    .sum::<f32>()
            });
        }
    }
}
