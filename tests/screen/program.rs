//! The program on a screen.

use std::path::{Path, PathBuf};
use std::process::Child;
use std::sync::{Mutex, MutexGuard, PoisonError};
use std::time::Duration;

use twinstrip::document::Session;
use twinstrip::files::session::{from_text, read_session};
use x11rb::protocol::xproto::Window;

use crate::screen::{Key, Screen, wait_for};

pub const ENTER: Key = 0xff0d;
pub const CTRL: Key = 0xffe3;

/// Names the program to be driven.
const NAMED: &str = "TWINSTRIP_PROGRAM";

/// One test at a time has the machine: they measure time.
pub fn alone() -> MutexGuard<'static, ()> {
    static ALONE: Mutex<()> = Mutex::new(());
    ALONE.lock().unwrap_or_else(PoisonError::into_inner)
}

/// Whether the program is one that somebody named, which is the release build.
pub fn is_named() -> bool {
    std::env::var_os(NAMED).is_some()
}

pub fn path() -> String {
    std::env::var(NAMED).unwrap_or_else(|_| env!("CARGO_BIN_EXE_twinstrip").to_owned())
}

pub struct Program<'a> {
    pub screen: &'a Screen,
    pub child: Child,
    pub window: Window,
}

impl<'a> Program<'a> {
    /// Starts it; it keeps its state in this folder.
    pub fn start(screen: &'a Screen, state: &Path, arguments: &[&Path]) -> Self {
        let child = screen
            .command(&path())
            .args(arguments)
            .env("TWINSTRIP_STATE", state)
            .spawn()
            .unwrap();
        let window = wait_for("the window", || screen.window_named("twinstrip"));
        screen.focus(window);
        Self {
            screen,
            child,
            window,
        }
    }

    /// Closes it by its own key.
    pub fn quit(mut self) {
        self.screen.press_sign(&[CTRL], 'q');
        let ended = wait_for("the end", || self.child.try_wait().unwrap());
        assert!(ended.success());
    }

    /// SIGKILL.
    pub fn kill(mut self) {
        self.child.kill().unwrap();
        self.child.wait().unwrap();
    }
}

impl Drop for Program<'_> {
    /// A test that failed leaves nothing running.
    fn drop(&mut self) {
        self.child.kill().ok();
        self.child.wait().ok();
    }
}

/// A folder with a copy of the demo, and a place for the program's state, whose tour was seen.
pub struct Bench {
    _folder: tempfile::TempDir,
    pub session: PathBuf,
    pub scan: PathBuf,
    pub state: PathBuf,
}

impl Bench {
    pub fn with_demo() -> Self {
        let folder = tempfile::tempdir().unwrap();
        let demo = Path::new(env!("CARGO_MANIFEST_DIR"))
            .join("testdata")
            .join("demo");
        // As people name their folders.
        let place = folder.path().join("Ziegel & Schiefer, März");
        std::fs::create_dir(&place).unwrap();
        let [session, scan] = ["session.ron", "scan-1.tif"].map(|name| {
            std::fs::copy(demo.join(name), place.join(name)).unwrap();
            place.join(name)
        });
        let state = folder.path().join("state");
        std::fs::create_dir(&state).unwrap();
        std::fs::write(state.join("window.txt"), "tour seen\n").unwrap();
        Self {
            _folder: folder,
            session,
            scan,
            state,
        }
    }

    /// The session as the file has it.
    pub fn saved(&self) -> Session {
        read_session(&self.session).unwrap()
    }

    /// The session as rescue copy number `number` has it, if there is one.
    pub fn kept(&self, number: usize) -> Option<Session> {
        let path = self.state.join(format!("rescue-{number}.ron"));
        let text = std::fs::read_to_string(&path).ok()?;
        from_text(&path, &text, &|_: &Path| Ok(vec![])).ok()
    }
}

/// Long enough for a pointer that moved to be noticed.
pub fn rest() {
    std::thread::sleep(Duration::from_millis(80));
}
