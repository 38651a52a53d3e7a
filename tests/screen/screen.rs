//! A screen in memory (Xvfb) with keyboard, pointer and eyes: events of the X server itself
//! (XTEST), pictures of what it shows, and the moments at which something is drawn (DAMAGE).

use std::collections::BTreeSet;
use std::io::{BufRead as _, BufReader};
use std::process::{Child, Command, Stdio};
use std::sync::mpsc::{Receiver, channel};
use std::thread::sleep;
use std::time::{Duration, Instant};

use image::RgbImage;
use x11rb::connection::Connection as _;
use x11rb::protocol::Event;
use x11rb::protocol::damage::{ConnectionExt as _, ReportLevel};
use x11rb::protocol::xproto::{
    BUTTON_PRESS_EVENT, BUTTON_RELEASE_EVENT, ConnectionExt as _, ImageFormat, InputFocus,
    KEY_PRESS_EVENT, KEY_RELEASE_EVENT, MOTION_NOTIFY_EVENT, MapState, Window,
};
use x11rb::protocol::xtest::ConnectionExt as _;
use x11rb::rust_connection::RustConnection;

/// A key by its X name's number (X11 keysymdef.h); printable ASCII stands for itself.
pub type Key = u32;
pub const RIGHT: Key = 0xff53;
pub const PAGE_DOWN: Key = 0xff56;
pub const SHIFT: Key = 0xffe1;

/// Buttons of the pointer.
pub const LEFT: u8 = 1;

/// How long anything may take before a test gives up.
const PATIENCE: Duration = Duration::from_secs(90);

pub struct Screen {
    server: Child,
    pub display: String,
    pub connection: RustConnection,
    pub root: Window,
    size: (u16, u16),
    first_code: u8,
    symbols_a_code: usize,
    symbols: Vec<Key>,
}

impl Screen {
    pub fn start(width: u16, height: u16) -> Self {
        let mut server = Command::new("Xvfb")
            .args(["-displayfd", "1", "-noreset", "-screen", "0"])
            .arg(format!("{width}x{height}x24"))
            .stdout(Stdio::piped())
            .stderr(Stdio::null())
            .spawn()
            .expect("Xvfb is installed (package xvfb)");
        let mut line = String::new();
        let told = server.stdout.take().expect("its output is piped");
        BufReader::new(told)
            .read_line(&mut line)
            .expect("Xvfb tells its number");
        let display = format!(":{}", line.trim());
        let (connection, number) = x11rb::connect(Some(&display)).expect("Xvfb answers");
        let setup = connection.setup();
        let root = setup.roots[number].root;
        let codes = (setup.min_keycode, setup.max_keycode);
        let mapping = connection
            .get_keyboard_mapping(codes.0, codes.1 - codes.0 + 1)
            .expect("sent")
            .reply()
            .expect("Xvfb has a keyboard");
        Self {
            server,
            display,
            connection,
            root,
            size: (width, height),
            first_code: codes.0,
            symbols_a_code: usize::from(mapping.keysyms_per_keycode),
            symbols: mapping.keysyms,
        }
    }

    /// A program that will show itself here, drawn without a graphics card.
    pub fn command(&self, program: &str) -> Command {
        let mut command = Command::new(program);
        command
            .env("DISPLAY", &self.display)
            .env("LIBGL_ALWAYS_SOFTWARE", "1")
            .env_remove("WAYLAND_DISPLAY");
        command
    }

    /// The window in sight whose title holds these words.
    pub fn window_named(&self, words: &str) -> Option<Window> {
        let tree = self.connection.query_tree(self.root).ok()?.reply().ok()?;
        let mut windows = tree.children.into_iter();
        windows.find(|&window| self.is_in_sight(window) && self.title(window).contains(words))
    }

    fn is_in_sight(&self, window: Window) -> bool {
        let asked = self.connection.get_window_attributes(window).ok();
        let told = asked.and_then(|asked| asked.reply().ok());
        told.is_some_and(|told| told.map_state == MapState::VIEWABLE)
    }

    pub fn title(&self, window: Window) -> String {
        let property = self
            .connection
            .get_property(false, window, self.atom("_NET_WM_NAME"), 0u32, 0, 1024)
            .ok()
            .and_then(|asked| asked.reply().ok());
        property.map_or_else(String::new, |property| {
            String::from_utf8_lossy(&property.value).into_owned()
        })
    }

    pub fn atom(&self, name: &str) -> u32 {
        let asked = self.connection.intern_atom(false, name.as_bytes());
        asked.expect("sent").reply().expect("an atom").atom
    }

    /// Gives a window the keyboard, as a window manager would.
    pub fn focus(&self, window: Window) {
        self.connection
            .set_input_focus(InputFocus::PARENT, window, x11rb::CURRENT_TIME)
            .expect("sent");
        self.connection.flush().expect("Xvfb listens");
    }

    fn fake(&self, kind: u8, detail: u8, x: i16, y: i16) {
        self.connection
            .xtest_fake_input(kind, detail, x11rb::CURRENT_TIME, self.root, x, y, 0)
            .expect("sent");
        self.connection.flush().expect("Xvfb listens");
    }

    /// The code of a key, and whether it needs Shift.
    fn code(&self, key: Key) -> (u8, bool) {
        let place = |column: usize| {
            let keys = self.symbols.chunks(self.symbols_a_code);
            keys.map(|key| key.get(column).copied().unwrap_or(0))
                .position(|symbol| symbol == key)
        };
        let (index, shifted) = place(0)
            .map(|index| (index, false))
            .or_else(|| Some((place(1)?, true)))
            .unwrap_or_else(|| panic!("no key {key:#x} on this keyboard"));
        (self.first_code + index as u8, shifted)
    }

    /// Presses a key and lets it go, with others held.
    pub fn press(&self, held: &[Key], key: Key) {
        let (code, shifted) = self.code(key);
        let mut held: Vec<u8> = held.iter().map(|&key| self.code(key).0).collect();
        if shifted {
            held.push(self.code(SHIFT).0);
        }
        for &code in &held {
            self.fake(KEY_PRESS_EVENT, code, 0, 0);
        }
        self.fake(KEY_PRESS_EVENT, code, 0, 0);
        self.fake(KEY_RELEASE_EVENT, code, 0, 0);
        for &code in held.iter().rev() {
            self.fake(KEY_RELEASE_EVENT, code, 0, 0);
        }
    }

    /// Presses a key with a letter or sign on it.
    pub fn press_sign(&self, held: &[Key], sign: char) {
        self.press(held, Key::from(sign));
    }

    pub fn point(&self, x: i16, y: i16) {
        self.fake(MOTION_NOTIFY_EVENT, 0, x, y);
    }

    pub fn button_down(&self, button: u8) {
        self.fake(BUTTON_PRESS_EVENT, button, 0, 0);
    }

    pub fn button_up(&self, button: u8) {
        self.fake(BUTTON_RELEASE_EVENT, button, 0, 0);
    }

    pub fn click(&self, x: i16, y: i16) {
        self.point(x, y);
        sleep(Duration::from_millis(60));
        self.button_down(LEFT);
        sleep(Duration::from_millis(40));
        self.button_up(LEFT);
    }

    /// What the screen shows.
    pub fn picture(&self) -> RgbImage {
        let (width, height) = self.size;
        let image = self
            .connection
            .get_image(ImageFormat::Z_PIXMAP, self.root, 0, 0, width, height, !0)
            .expect("sent")
            .reply()
            .expect("a picture of the screen");
        // Depth 24 on a little-endian server: blue, green, red, nothing.
        let rgb = image.data.chunks_exact(4).flat_map(|p| [p[2], p[1], p[0]]);
        RgbImage::from_raw(width.into(), height.into(), rgb.collect()).expect("all its pixels")
    }

    /// From now on, every moment at which a frame is drawn.
    pub fn watch(&self) -> Receiver<Instant> {
        let (connection, _) = x11rb::connect(Some(&self.display)).expect("Xvfb answers");
        connection
            .damage_query_version(1, 1)
            .expect("sent")
            .reply()
            .expect("Xvfb has DAMAGE");
        let damage = connection.generate_id().expect("a number");
        connection
            .damage_create(damage, self.root, ReportLevel::RAW_RECTANGLES)
            .expect("sent")
            .check()
            .expect("the screen can be watched");
        let (send, drawn) = channel();
        std::thread::spawn(move || {
            // Ends with the server or with the listener.
            while let Ok(event) = connection.wait_for_event() {
                let Event::DamageNotify(event) = event else {
                    continue;
                };
                // Every frame covers the whole window, which fills the screen or nearly.
                let (part, whole) = (event.area, event.geometry);
                if part.width < whole.width / 2 || part.height < whole.height / 2 {
                    continue;
                }
                if send.send(Instant::now()).is_err() {
                    return;
                }
            }
        });
        drawn
    }
}

impl Drop for Screen {
    fn drop(&mut self) {
        self.server.kill().ok();
        self.server.wait().ok();
    }
}

/// Looks again and again until something is there.
#[track_caller]
pub fn wait_for<T>(what: &str, mut look: impl FnMut() -> Option<T>) -> T {
    let since = Instant::now();
    while since.elapsed() < PATIENCE {
        if let Some(found) = look() {
            return found;
        }
        sleep(Duration::from_millis(20));
    }
    panic!("waited in vain for {what}");
}

/// How many tones a picture has.
pub fn tones(picture: &RgbImage) -> usize {
    let tones: BTreeSet<[u8; 3]> = picture.pixels().map(|pixel| pixel.0).collect();
    tones.len()
}

/// Time from `since` until the screen shows a picture of at least so many tones: words and
/// drawings have edges, an empty window has none.
pub fn time_to_picture(
    screen: &Screen,
    drawn: &Receiver<Instant>,
    since: Instant,
    least: usize,
) -> Duration {
    loop {
        let drawn = drawn
            .recv_timeout(PATIENCE)
            .expect("something is drawn in time");
        if tones(&screen.picture()) >= least {
            return drawn.duration_since(since);
        }
    }
}
