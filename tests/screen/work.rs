//! A person's way through the window: drop, correct, match, save, close.

use std::path::Path;
use std::process::Command;
use std::sync::Arc;
use std::thread::sleep;
use std::time::Duration;

use egui::Rect;
use image::RgbImage;
use twinstrip::document::{Edit, Session};
use twinstrip::files::scan::{ScanOptions, StatedEncoding, read_scan};
use twinstrip::measure::analysis::{Analysis, analyse};
use twinstrip::measure::geometry::{Field, Point, StripShape};
use twinstrip::measure::watch::Unwatched;
use twinstrip::window::theme::{Light, Theme};

use crate::drop::drop_files;
use crate::program::{Bench, CTRL, ENTER, Program, alone, path, rest};
use crate::screen::{LEFT, RIGHT, SHIFT, Screen, tones, wait_for};

/// Strips of the demo in its order.
const SLATE: usize = 0;
const PAPER: usize = 1;
/// Pixels of the screen that a border is dragged by.
const DRAGGED: i16 = 12;
/// Tones that a scan with its marks shows at least.
const TONES: usize = 200;
/// A border is where the pointer put it to within this share of a screen pixel's way; the
/// pointer itself has whole pixels.
const PIXEL: f64 = 1.0;

/// The answer to a session, as the command line works it out.
fn analysed(session: &Session, scan: &Path) -> (Analysis, (f64, f64)) {
    let options = ScanOptions {
        stated: Some(StatedEncoding::Srgb),
        ..ScanOptions::default()
    };
    let raster = Arc::new(read_scan(scan, &options, &Unwatched).unwrap());
    let size = (raster.width as f64, raster.height as f64);
    let question = session.question(vec![raster]);
    (analyse(&question, &Unwatched).unwrap(), size)
}

/// Where the scan lies on the screen while the whole of it is in sight.
struct Sight {
    middle: (f64, f64),
    scale: f64,
    size: (f64, f64),
}

impl Sight {
    /// The neutral surround bounds the place; a fitted scan is in its middle, with its longer
    /// way 94 % of it.
    fn of(picture: &RgbImage, size: (f64, f64)) -> Option<Self> {
        let surround = Theme::of(Light::Day).surround;
        let tone = [surround.r(), surround.g(), surround.b()];
        let mut place = Rect::NOTHING;
        for (x, y, pixel) in picture.enumerate_pixels() {
            if pixel.0 == tone {
                place.extend_with(egui::Pos2::new(x as f32, y as f32));
                place.extend_with(egui::Pos2::new(x as f32 + 1.0, y as f32 + 1.0));
            }
        }
        let (width, height) = (f64::from(place.width()), f64::from(place.height()));
        (width > 100.0 && height > 100.0).then(|| Self {
            middle: (place.center().x.into(), place.center().y.into()),
            scale: 0.94 * (width / size.0).min(height / size.1),
            size,
        })
    }

    fn on_screen(&self, at: Point) -> (i16, i16) {
        let x = self.middle.0 + (at.x - self.size.0 / 2.0) * self.scale;
        let y = self.middle.1 + (at.y - self.size.1 / 2.0) * self.scale;
        (x.round() as i16, y.round() as i16)
    }
}

fn middle_of(shape: &StripShape, wanted: Field) -> Point {
    let field = shape.fields.iter().position(|&field| field == wanted);
    let corners = shape.field_corners(field.unwrap());
    corners[0].toward(corners[2], 0.5)
}

/// Puts the pointer on a step and presses the key that leaves it out, until that has happened.
fn leave_out(screen: &Screen, bench: &Bench, (x, y): (i16, i16)) {
    let excluded = || {
        let kept = bench.kept(1)?;
        (!kept.strips[SLATE].excluded.is_empty()).then_some(())
    };
    wait_for("a step left out", || {
        screen.point(x, y);
        rest();
        screen.point(x + 1, y);
        rest();
        screen.press_sign(&[], 'x');
        // The analysis may still be on its way; the key then does nothing.
        (0..20).find_map(|_| {
            sleep(Duration::from_millis(20));
            excluded()
        })
    });
}

#[test]
fn a_person_drops_the_demo_corrects_it_saves_and_the_file_holds_every_edit() {
    let _alone = alone();
    let screen = Screen::start(1280, 800);
    let bench = Bench::with_demo();
    let before = bench.saved();
    let (analysis, size) = analysed(&before, &bench.scan);
    let located = |strip: usize| &analysis.strips[strip].located.as_ref().unwrap().shape;

    let program = Program::start(&screen, &bench.state, &[]);
    wait_for("the drop to be taken", || {
        drop_files(&screen, program.window, (640, 400), &[&bench.session]).then_some(())
    });
    wait_for("the session's name in the title", || {
        screen
            .title(program.window)
            .contains("session.ron")
            .then_some(())
    });
    let sight = wait_for("the scan", || {
        let picture = screen.picture();
        (tones(&picture) > TONES)
            .then(|| Sight::of(&picture, size))
            .flatten()
    });

    // A step left out, by pointer and key.
    let third = middle_of(located(SLATE), Field::Step(2));
    leave_out(&screen, &bench, sight.on_screen(third));

    // The paper chosen by a click, which shows its handles.
    let (x, y) = sight.on_screen(middle_of(located(PAPER), Field::Step(7)));
    screen.click(x, y);
    rest();

    // A border of the paper dragged along the strip, and the drag undone and done again.
    let shape = located(PAPER);
    let border = 4;
    let (from, to) = (shape.on_scan(0.0, 0.5), shape.on_scan(1.0, 0.5));
    let at = shape.on_scan(shape.edges[border].middle(), 0.5);
    let (x, y) = sight.on_screen(at);
    let length = from.distance(to);
    let way = ((to.x - from.x) / length, (to.y - from.y) / length);
    screen.point(x, y);
    rest();
    screen.button_down(LEFT);
    for part in 1..=DRAGGED {
        let along = |way: f64| (way * f64::from(part)).round() as i16;
        screen.point(x + along(way.0), y + along(way.1));
        sleep(Duration::from_millis(20));
    }
    rest();
    screen.button_up(LEFT);
    let outlined = |wanted: bool| {
        let what = format!("the paper's outline to be given: {wanted}");
        wait_for(&what, || {
            let shape = bench.kept(1)?.strips[PAPER].shape.clone();
            (shape.is_some() == wanted).then_some(shape)
        })
    };
    outlined(true);
    rest();
    screen.press_sign(&[CTRL], 'z');
    outlined(false);
    screen.press_sign(&[CTRL, SHIFT], 'z');
    outlined(true);

    // Two steps that look alike, by keys alone.
    screen.press_sign(&[CTRL], '4');
    rest();
    screen.press(&[], RIGHT);
    rest();
    screen.press(&[], ENTER);
    let matched = wait_for("a match", || bench.kept(1)?.matches.first().cloned());

    // Every bench shows something.
    for bench in ['1', '2', '3', '4'] {
        screen.press_sign(&[CTRL], bench);
        wait_for("the bench", || {
            (tones(&screen.picture()) > 60).then_some(())
        });
    }

    let rescue = bench.state.join("rescue-1.ron");
    assert!(rescue.exists());
    screen.press_sign(&[CTRL], 's');
    wait_for("the saved session", || (!rescue.exists()).then_some(()));
    program.quit();
    assert!(!rescue.exists(), "a window closed in order leaves no copy");

    // The file holds these edits and nothing else.
    let after = bench.saved();
    let outline = after.strips[PAPER].shape.clone().unwrap();
    let edits = [
        Edit::ExcludeStep {
            strip: SLATE,
            step: 2,
        },
        Edit::SetShape {
            strip: PAPER,
            shape: Some(outline.clone()),
        },
        Edit::AddMatch(matched),
    ];
    let expected = edits
        .iter()
        .fold(before, |session, edit| edit.apply(&session).unwrap());
    let mut without_hash = after.clone();
    assert!(without_hash.scans[0].hash.take().is_some());
    assert_eq!(without_hash, expected);
    let mut moved_back = outline.clone();
    moved_back.edges[border] = shape.edges[border];
    assert_eq!(moved_back, *shape, "nothing but the border moved");
    let by = (outline.edges[border].middle() - shape.edges[border].middle()) * length;
    let wanted = f64::from(DRAGGED) / sight.scale;
    assert!(
        (by - wanted).abs() <= PIXEL / sight.scale,
        "moved by {by} pixels of the scan, the pointer by {wanted}"
    );

    // And the command line has an answer to it.
    let solved = Command::new(path())
        .args(["solve", "--json"])
        .arg(&bench.session)
        .output()
        .unwrap();
    assert!(solved.status.success(), "{solved:?}");
}
