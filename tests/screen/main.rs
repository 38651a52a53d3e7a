//! The program in a real window: on a screen in memory (Xvfb), with real key and mouse events.
#![cfg(all(target_os = "linux", feature = "window"))]
#![expect(
    clippy::disallowed_methods,
    clippy::unwrap_used,
    reason = "tests put files in place and look at what was written"
)]

use std::io::{BufRead as _, BufReader};
use std::path::Path;
use std::process::{Child, Command, Stdio};
use std::thread::sleep;
use std::time::Duration;

/// Tries, a quarter of a second apart, until something must have happened: one minute and a half.
const TRIES: usize = 360;

struct Screen {
    server: Child,
    display: String,
}

impl Screen {
    fn new() -> Self {
        let mut server = Command::new("Xvfb")
            .args(["-displayfd", "1", "-screen", "0", "1280x800x24"])
            .stdout(Stdio::piped())
            .stderr(Stdio::null())
            .spawn()
            .expect("Xvfb is installed (package xvfb)");
        let mut line = String::new();
        BufReader::new(server.stdout.take().unwrap())
            .read_line(&mut line)
            .unwrap();
        Self {
            server,
            display: format!(":{}", line.trim()),
        }
    }

    fn command(&self, program: &str) -> Command {
        let mut command = Command::new(program);
        command
            .env("DISPLAY", &self.display)
            .env_remove("WAYLAND_DISPLAY");
        command
    }

    fn xdotool(&self, words: &[&str]) -> String {
        let output = self
            .command("xdotool")
            .args(words)
            .output()
            .expect("xdotool is installed");
        String::from_utf8_lossy(&output.stdout).trim().to_owned()
    }

    fn press(&self, keys: &str) {
        self.xdotool(&["key", "--clearmodifiers", keys]);
        sleep(Duration::from_millis(120));
    }
}

impl Drop for Screen {
    fn drop(&mut self) {
        self.server.kill().ok();
        self.server.wait().ok();
    }
}

fn wait_for<T>(what: &str, mut look: impl FnMut() -> Option<T>) -> T {
    for _ in 0..TRIES {
        if let Some(found) = look() {
            return found;
        }
        sleep(Duration::from_millis(250));
    }
    panic!("waited in vain for {what}");
}

#[test]
fn a_real_window_opens_the_demo_leaves_a_step_out_saves_and_closes() {
    let screen = Screen::new();
    let folder = tempfile::tempdir().unwrap();
    let demo = Path::new(env!("CARGO_MANIFEST_DIR"))
        .join("testdata")
        .join("demo");
    for name in ["session.ron", "scan-1.tif"] {
        std::fs::copy(demo.join(name), folder.path().join(name)).unwrap();
    }
    let session = folder.path().join("session.ron");
    let state = folder.path().join("state");
    let mut program = screen
        .command(env!("CARGO_BIN_EXE_twinstrip"))
        .arg(&session)
        .env("TWINSTRIP_STATE", &state)
        .env("LIBGL_ALWAYS_SOFTWARE", "1")
        .spawn()
        .unwrap();
    let window = wait_for("the window", || {
        let found = screen.xdotool(&["search", "--name", "session.ron"]);
        found.lines().next().map(str::to_owned)
    });
    screen.xdotool(&["windowfocus", &window]);

    // The pointer on a step and the key for it: somewhere along this line lies a strip.
    let rescue = state.join("rescue-1.ron");
    let left_out = || std::fs::read_to_string(&rescue).is_ok_and(|text| text.contains("excluded"));
    wait_for("a step left out", || {
        for x in (340..1010).step_by(36) {
            screen.xdotool(&["mousemove", &x.to_string(), "430"]);
            sleep(Duration::from_millis(120));
            screen.press("x");
            if left_out() {
                return Some(());
            }
        }
        None
    });

    let picture = folder.path().join("window.png");
    let taken = screen
        .command("import")
        .args(["-window", "root"])
        .arg(&picture)
        .status();
    assert!(taken.expect("ImageMagick is installed").success());
    let pixels = image::open(&picture).unwrap().to_rgb8();
    let tones: std::collections::BTreeSet<[u8; 3]> = pixels.pixels().map(|pixel| pixel.0).collect();
    assert!(
        tones.len() > 200,
        "{} colours: the scan is shown",
        tones.len()
    );

    screen.press("ctrl+s");
    wait_for("the saved session", || {
        let text = std::fs::read_to_string(&session).ok()?;
        (text.contains("excluded") && text.contains("hash")).then_some(())
    });
    screen.press("ctrl+q");
    let ended = wait_for("the end", || program.try_wait().unwrap());
    assert!(ended.success());
    assert!(
        !rescue.exists(),
        "a window closed in order leaves no rescue copy"
    );
}
