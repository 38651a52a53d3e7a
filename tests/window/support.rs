//! A window without a screen, used like a person would use it.

use std::path::{Path, PathBuf};
use std::sync::{Arc, Mutex};
use std::time::Duration;

use egui_kittest::kittest::{NodeT as _, Queryable as _};
use egui_kittest::{Harness, TestRenderer};
use twinstrip::window::dialogs::{Ask, Dialogs};
use twinstrip::window::jobs::{Job, Wake};
use twinstrip::window::paper::raster::{Textures, picture};
use twinstrip::window::{App, theme};

/// Frames that a test waits for background work, 10 ms apart: two minutes, for slow machines.
const PATIENCE: usize = 12_000;

/// A file dialog that answers by itself.
#[derive(Default, Clone)]
pub struct Answers(pub Arc<Mutex<Vec<PathBuf>>>);

impl Dialogs for Answers {
    fn ask(&mut self, _what: Ask, wake: &Wake) -> Job<Vec<PathBuf>> {
        let answer = self
            .0
            .lock()
            .map(|mut paths| std::mem::take(&mut *paths))
            .unwrap_or_default();
        Job::start("answer", wake, move |_| Ok(answer))
    }
}

struct Recorder(Arc<Mutex<Textures>>);

impl TestRenderer for Recorder {
    fn handle_delta(&mut self, delta: &mut egui::TexturesDelta) {
        self.0.lock().unwrap().take(delta);
    }
}

/// A window under test.
pub struct Window {
    pub harness: Harness<'static, App>,
    pub answers: Answers,
    pub folder: tempfile::TempDir,
    textures: Arc<Mutex<Textures>>,
    scale: f32,
}

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

/// The demo's folder.
pub fn demo() -> PathBuf {
    Path::new(env!("CARGO_MANIFEST_DIR"))
        .join("testdata")
        .join("demo")
}

impl Window {
    /// An empty window of this size.
    pub fn of_size(width: f32, height: f32) -> Self {
        let folder = tempfile::tempdir().unwrap();
        // The tour comes up by itself only once.
        std::fs::write(folder.path().join("window.txt"), "tour seen\n").unwrap();
        Self::with_state(width, height, folder)
    }

    /// A window that finds what an earlier one left.
    pub fn with_state(width: f32, height: f32, folder: tempfile::TempDir) -> Self {
        let state = folder.path().to_owned();
        Self::build(width, height, &state, folder)
    }

    /// An empty window of so many pixels, with so many of them to a point.
    pub fn at_scale(width: u32, height: u32, scale: f32) -> Self {
        let folder = tempfile::tempdir().unwrap();
        std::fs::write(folder.path().join("window.txt"), "tour seen\n").unwrap();
        let state = folder.path().to_owned();
        let (width, height) = (width as f32 / scale, height as f32 / scale);
        Self::scaled(width, height, scale, &state, folder)
    }

    fn build(width: f32, height: f32, state: &Path, folder: tempfile::TempDir) -> Self {
        Self::scaled(width, height, 1.0, state, folder)
    }

    fn scaled(
        width: f32,
        height: f32,
        scale: f32,
        state: &Path,
        folder: tempfile::TempDir,
    ) -> Self {
        let textures = Arc::default();
        let answers = Answers::default();
        let (shared, dialogs) = (Arc::clone(&textures), answers.clone());
        let state = state.to_owned();
        let harness = Harness::builder()
            .with_size(egui::Vec2::new(width, height))
            .with_pixels_per_point(scale)
            .renderer(Recorder(shared))
            .build_eframe(move |cc| {
                theme::install_fonts(&cc.egui_ctx);
                let shelf = state.join("profiles");
                let day = "2026-11-25".parse().unwrap();
                App::new(&cc.egui_ctx, Box::new(dialogs), Some(state))
                    .with_shelf(shelf)
                    .on_day(day)
            });
        Self {
            harness,
            answers,
            folder,
            textures,
            scale,
        }
    }

    /// A window whose folder outlives it.
    pub fn in_folder(width: f32, height: f32, folder: &Path) -> Self {
        let mut window = Self::build(width, height, folder, tempfile::tempdir().unwrap());
        window.harness.run_steps(1);
        window
    }

    /// Puts the demo's profiles on the person's own shelf, and goes there.
    pub fn with_profiles(&mut self) {
        let shelf = self.folder.path().join("profiles");
        std::fs::create_dir_all(&shelf).unwrap();
        for entry in std::fs::read_dir(demo().with_file_name("demo-shelf")).unwrap() {
            let path = entry.unwrap().path();
            if path.extension().is_some_and(|ending| ending == "ron") {
                std::fs::copy(&path, shelf.join(path.file_name().unwrap())).unwrap();
            }
        }
        self.click("Profiles");
        self.until_shown("3 profiles");
    }

    /// Waits until words stand somewhere.
    #[track_caller]
    pub fn until_shown(&mut self, words: &str) {
        for _ in 0..PATIENCE {
            self.harness.step();
            if self.shows(words) {
                self.harness.run_steps(2);
                return;
            }
            std::thread::sleep(Duration::from_millis(10));
        }
        panic!(
            "waited in vain for the words: {words}; said: {}",
            self.harness.state().said()
        );
    }

    /// Drops files on the window.
    pub fn drop_files(&mut self, paths: &[PathBuf]) {
        for path in paths {
            let file = Arc::new(Dropped(path.clone()));
            self.harness.input_mut().dropped_files.push(file);
        }
        self.harness.step();
    }

    /// Waits until something holds.
    #[track_caller]
    pub fn until(&mut self, what: &str, holds: impl Fn(&App) -> bool) {
        for _ in 0..PATIENCE {
            self.harness.step();
            if holds(self.harness.state()) {
                self.harness.run_steps(2);
                return;
            }
            std::thread::sleep(Duration::from_millis(10));
        }
        panic!(
            "waited in vain for: {what}; said: {}",
            self.harness.state().said()
        );
    }

    /// Waits until the session as it stands is analysed.
    #[track_caller]
    pub fn until_measured(&mut self) {
        self.until("the analysis", |app| app.analysis().is_some());
    }

    /// The demo, opened by dropping it.
    #[track_caller]
    pub fn with_demo(&mut self) {
        self.drop_files(&[demo().join("session.ron")]);
        self.until_measured();
    }

    /// Clicks a control by its accessible name; words that only stand there don't count.
    #[track_caller]
    pub fn click(&mut self, label: &str) {
        {
            let mut named = self.harness.query_all_by_label(label);
            let control = named.find(|node| node.accesskit_node().role() != egui::Role::Label);
            control
                .unwrap_or_else(|| panic!("there is no control {label}"))
                .click();
        }
        self.harness.run_steps(2);
    }

    /// Types into a field by its accessible name and leaves it.
    #[track_caller]
    pub fn write(&mut self, label: &str, text: &str) {
        self.harness.get_by_label(label).focus();
        self.harness.run_steps(1);
        self.harness
            .key_press_modifiers(egui::Modifiers::COMMAND, egui::Key::A);
        self.harness.run_steps(1);
        self.harness.get_by_label(label).type_text(text);
        self.harness.run_steps(1);
        self.harness.key_press(egui::Key::Enter);
        self.harness.run_steps(2);
    }

    /// Whether words stand somewhere in the window.
    pub fn shows(&self, words: &str) -> bool {
        self.harness
            .query_all_by_label_contains(words)
            .next()
            .is_some()
    }

    /// The window as a picture.
    pub fn picture(&mut self) -> image::RgbaImage {
        self.harness.run_steps(2);
        let ctx = self.harness.ctx.clone();
        let output = self.harness.output();
        let primitives = ctx.tessellate(output.shapes.clone(), self.scale);
        let size = ctx.viewport_rect().size() * self.scale;
        let size = [size.x.round() as u32, size.y.round() as u32];
        let textures = self.textures.lock().unwrap();
        picture(size, self.scale, &primitives, &textures)
    }

    /// Where a point of the demo's scan lies on the screen, while the whole scan is in sight.
    pub fn on_screen(&self, at: twinstrip::measure::geometry::Point) -> egui::Pos2 {
        let place = self.harness.get_by_label("Scan scan-1.tif").rect();
        let (wide, high) = image::ImageReader::open(demo().join("scan-1.tif"))
            .unwrap()
            .into_dimensions()
            .unwrap();
        // As a fitted scan lies: 3 % free on each side.
        let scale = (0.94 * place.width() / wide as f32).min(0.94 * place.height() / high as f32);
        let (x, y) = (
            at.x as f32 - wide as f32 / 2.0,
            at.y as f32 - high as f32 / 2.0,
        );
        place.center() + egui::Vec2::new(x, y) * scale
    }

    /// Drags from one point of the screen to another.
    pub fn drag(&mut self, from: egui::Pos2, to: egui::Pos2) {
        self.harness.hover_at(from);
        self.harness.run_steps(2);
        self.harness.drag_at(from);
        self.harness.run_steps(1);
        for step in 1..=6 {
            let at = from + (to - from) * (step as f32 / 6.0);
            self.harness.hover_at(at);
            self.harness.run_steps(1);
        }
        self.harness.drop_at(to);
        self.harness.run_steps(3);
    }

    /// Clicks somewhere.
    pub fn click_at(&mut self, at: egui::Pos2) {
        self.harness.hover_at(at);
        self.harness.run_steps(1);
        self.harness.drag_at(at);
        self.harness.run_steps(1);
        self.harness.drop_at(at);
        self.harness.run_steps(2);
    }
}
