//! What a frame of the window costs while a 140 megapixel scan is panned and zoomed, and the
//! memory at the peak; and how long an edit of the demo takes to reach the answer. Run: `cargo bench --bench frames`.
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
use twinstrip::document::{Edit, Session};
use twinstrip::files::scan::{
    Container, Mark, Packing, Picture, ScanOptions, StatedEncoding, WriteOptions, read_scan,
    write_scan,
};
use twinstrip::files::session::read_session;
use twinstrip::measure::analysis::{Kept, analyse_again};
use twinstrip::measure::raster::Samples;
use twinstrip::measure::watch::Unwatched;
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

/// Times of an edit that needs no new pixels (a step left out), and of one that does (a border
/// moved), from the edit to the answer.
fn edits() {
    let demo = Path::new(env!("CARGO_MANIFEST_DIR"))
        .join("testdata")
        .join("demo");
    let session = read_session(&demo.join("session.ron")).expect("the demo");
    let options = ScanOptions {
        stated: Some(StatedEncoding::Srgb),
        ..ScanOptions::default()
    };
    let scan = read_scan(&demo.join("scan-1.tif"), &options, &Unwatched).expect("the demo's scan");
    let scan = Arc::new(scan);
    let mut kept = Kept::default();
    let mut solve = |session: &Session| {
        let begun = Instant::now();
        let question = session.question(vec![Arc::clone(&scan)]);
        let analysis = analyse_again(&question, &mut kept, &Unwatched).expect("nobody cancels");
        (begun.elapsed().as_secs_f64() * 1e3, analysis)
    };
    let (first, analysis) = solve(&session);
    println!("demo: first answer after {first:.0} ms");
    let mut without = Vec::new();
    for step in 1..6 {
        let edit = Edit::ExcludeStep { strip: 0, step };
        without.push(solve(&edit.apply(&session).expect("a step")).0);
    }
    let located = analysis.strips[0].located.as_ref().expect("the slate");
    let mut with = Vec::new();
    for moved in 1..6 {
        let mut shape = located.shape.clone();
        shape.edges[3].left += 0.001 * f64::from(moved);
        shape.edges[3].right += 0.001 * f64::from(moved);
        let edit = Edit::SetShape {
            strip: 0,
            shape: Some(shape),
        };
        with.push(solve(&edit.apply(&session).expect("a border")).0);
    }
    for (what, times) in [
        ("a step left out", &mut without),
        ("a border moved", &mut with),
    ] {
        times.sort_by(f64::total_cmp);
        println!(
            "demo: {what}: median {:.0} ms, longest {:.0} ms",
            times[2], times[4]
        );
    }
}

fn main() {
    edits();
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
        source: egui::MouseWheelSource::Wheel,
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
