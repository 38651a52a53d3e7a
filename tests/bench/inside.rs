//! The program's own part of a frame, without a screen.

use std::path::{Path, PathBuf};
use std::sync::Arc;
use std::time::{Duration, Instant};

use egui_kittest::Harness;
use twinstrip::window::dialogs::SystemDialogs;
use twinstrip::window::{App, theme};

use crate::{tell, tell_memory};

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

/// Pans and zooms for 600 frames. A frame is timed only when it shows the scan otherwise than
/// the one before: idle frames would make the median of nothing.
pub fn run(path: &Path) {
    let mut harness = Harness::builder()
        .with_size(egui::Vec2::new(1920.0, 1080.0))
        .with_pixels_per_point(1.0)
        .build_eframe(|cc| {
            theme::install_fonts(&cc.egui_ctx);
            App::new(&cc.egui_ctx, Box::<SystemDialogs>::default(), None)
        });
    let dropped = Arc::new(Dropped(path.to_owned()));
    harness.input_mut().dropped_files.push(dropped);
    harness.step();
    let since = Instant::now();
    while harness.state().analysis().is_none() && since.elapsed() < Duration::from_secs(300) {
        harness.step();
        std::thread::sleep(Duration::from_millis(20));
    }
    println!(
        "140 megapixels: opened, pyramid made and searched for strips in {:.1} s",
        since.elapsed().as_secs_f64()
    );
    let (mut times, mut idle) = (Vec::new(), 0);
    let mut before = Vec::new();
    harness.hover_at(egui::Pos2::new(900.0, 560.0));
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
        let time = begun.elapsed().as_secs_f64() * 1e3;
        let shown = pictures(&triangles);
        if shown == before {
            idle += 1;
        } else {
            times.push(time);
        }
        before = shown;
    }
    tell("frame, the program's own part", times);
    println!("frames that showed the scan as before, not timed: {idle}");
    tell_memory("self");
}

/// Where the corners of all pictures lie that are drawn.
fn pictures(triangles: &[egui::ClippedPrimitive]) -> Vec<(u32, u32)> {
    let meshes = triangles.iter().filter_map(|part| match &part.primitive {
        egui::epaint::Primitive::Mesh(mesh) => Some(mesh),
        egui::epaint::Primitive::Callback(_) => None,
    });
    meshes
        .filter(|mesh| mesh.texture_id != egui::TextureId::default())
        .flat_map(|mesh| &mesh.vertices)
        .map(|corner| (corner.pos.x.to_bits(), corner.pos.y.to_bits()))
        .collect()
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

/// Back and forth while the button is down, so that the scan stays in sight.
fn drag(harness: &Harness<'_, App>, frame: usize) {
    let step = frame % 100;
    let way = (if step < 50 { step } else { 100 - step }) as f32;
    let at = egui::Pos2::new(700.0 + 9.0 * way, 350.0 + 5.0 * way);
    match step {
        0 => {
            harness.event(egui::Event::PointerMoved(at));
            harness.drag_at(at);
        }
        99 => harness.drop_at(at),
        _ => harness.event(egui::Event::PointerMoved(at)),
    }
}
