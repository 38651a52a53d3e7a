//! What a frame of the window costs while a 140 megapixel scan is panned and zoomed, and the
//! memory at the peak. Run: `cargo bench --bench frames`.
//!
//! The time is that of the program's own part of a frame: its state, its drawing and the making
//! of triangles, without the graphics card's.
#![expect(
    clippy::disallowed_methods,
    reason = "a benchmark measures time and writes its scan"
)]

use std::path::{Path, PathBuf};
use std::sync::Arc;
use std::time::{Duration, Instant};

use egui_kittest::Harness;
use twinstrip::files::scan::{Container, Mark, Packing, Picture, WriteOptions, write_scan};
use twinstrip::measure::raster::Samples;
use twinstrip::window::dialogs::SystemDialogs;
use twinstrip::window::{App, theme};

const WIDTH: usize = 14_000;
const HEIGHT: usize = 10_000;

#[derive(Debug)]
struct Dropped(PathBuf);

impl egui::DroppedFile for Dropped {
    fn path(&self) -> &Path {
        &self.0
    }
    fn bytes(&self) -> Result<Vec<u8>, String> {
        std::fs::read(&self.0).map_err(|error| error.to_string())
    }
}

fn peak_bytes() -> Option<u64> {
    let status = std::fs::read_to_string("/proc/self/status").ok()?;
    let line = status.lines().find(|line| line.starts_with("VmHWM:"))?;
    Some(line.split_whitespace().nth(1)?.parse::<u64>().ok()? * 1024)
}

fn main() {
    let folder = tempfile::tempdir().expect("a folder for the scan");
    let path = folder.path().join("large.tif");
    write_large(&path);
    let mut harness = Harness::builder()
        .with_size(egui::Vec2::new(1920.0, 1080.0))
        .with_pixels_per_point(1.0)
        .build_eframe(|cc| {
            theme::install_fonts(&cc.egui_ctx);
            App::new(&cc.egui_ctx, Box::<SystemDialogs>::default(), None)
        });
    harness
        .input_mut()
        .dropped_files
        .push(Arc::new(Dropped(path)));
    harness.step();
    let since = Instant::now();
    while harness.state().analysis().is_none() && since.elapsed() < Duration::from_secs(300) {
        harness.step();
        std::thread::sleep(Duration::from_millis(20));
    }
    println!(
        "opened, pyramid made and searched for strips in {:.1} s",
        since.elapsed().as_secs_f64()
    );
    let mut times = Vec::new();
    let middle = egui::Pos2::new(900.0, 560.0);
    harness.hover_at(middle);
    for frame in 0..600 {
        match frame / 100 {
            0 | 2 => wheel(&harness, 24.0),
            4 => wheel(&harness, -48.0),
            _ => drag(&harness, frame),
        }
        let begun = Instant::now();
        harness.step();
        let output = harness.output();
        let triangles = harness.ctx.tessellate(output.shapes.clone(), 1.0);
        times.push(begun.elapsed().as_secs_f64() * 1e3);
        std::hint::black_box(triangles);
    }
    times.sort_by(f64::total_cmp);
    let at = |share: f64| times[((times.len() - 1) as f64 * share) as usize];
    println!(
        "frame: median {:.2} ms, 99th percentile {:.2} ms, longest {:.2} ms",
        at(0.5),
        at(0.99),
        at(1.0)
    );
    let decoded = (WIDTH * HEIGHT * 6) as f64;
    if let Some(peak) = peak_bytes() {
        println!(
            "memory at the peak: {:.2} times the decoded pixels",
            peak as f64 / decoded
        );
    }
}

fn wheel(harness: &Harness<'_, App>, by: f32) {
    harness.event(egui::Event::MouseWheel {
        unit: egui::MouseWheelUnit::Point,
        delta: egui::Vec2::new(0.0, by),
        phase: egui::TouchPhase::Move,
        modifiers: egui::Modifiers::NONE,
    });
}

fn drag(harness: &Harness<'_, App>, frame: usize) {
    let step = (frame % 100) as f32;
    let at = egui::Pos2::new(500.0 + 7.0 * step, 300.0 + 4.0 * step);
    if step == 0.0 {
        harness.event(egui::Event::PointerMoved(at));
        harness.drag_at(at);
    } else if step == 99.0 {
        harness.drop_at(at);
    } else {
        harness.event(egui::Event::PointerMoved(at));
    }
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
