//! Every screen at the sizes and scales that people have: nothing essential outside the window.

use egui_kittest::kittest::{NodeT as _, Queryable as _};

use crate::support::Window;

/// Pixels wide and high, and how many of them a point has.
const SIZES: [(u32, u32, f32); 6] = [
    (1280, 720, 1.0),
    (1280, 720, 1.5),
    (1280, 720, 2.0),
    (2560, 1440, 1.0),
    (3840, 2160, 1.0),
    (3840, 2160, 2.0),
];

/// A folder that gets pictures of all of it, for whoever wants to look.
const FOLDER: &str = "TWINSTRIP_SIZES";

/// What must be in sight on each screen, without scrolling.
const ALWAYS: [&str; 12] = [
    "Session",
    "Undo",
    "Redo",
    "Light",
    "Help",
    "Scans",
    "Exposures",
    "Curves",
    "By eye",
    "Profiles",
    "Print",
    "Scanner",
];
const BENCHES: [(&str, &[&str]); 6] = [
    (
        "Scans",
        &[
            "Whole scan",
            "Pixel for pixel",
            "Closer",
            "Farther",
            "Magnifier",
            "Draw a strip",
            "Strips",
            "Scan scan-1.tif",
        ],
    ),
    ("Exposures", &["Exposures of slate 1"]),
    (
        "Curves",
        &[
            "Slide the coated strip's curve, in stops",
            "Onto each other",
            "Apart",
        ],
    ),
    (
        "By eye",
        &["Lighter on fibre paper", "Darker on fibre paper"],
    ),
    (
        "Profiles",
        &[
            "Find profiles",
            "Filter by field",
            "Name of a new profile",
            "Take in…",
            "Read again",
        ],
    ),
    ("Scanner", &["Choose scans…", "This session's scans"]),
];

fn assert_in_sight(window: &Window, name: &str, at: &str) {
    let screen = window.harness.ctx.viewport_rect().expand(0.5);
    let mut named = window.harness.query_all_by_label(name);
    let control = named
        .find(|node| node.accesskit_node().role() != egui::Role::Label)
        .unwrap_or_else(|| panic!("{at}: there is no {name}"));
    let rect = control.rect();
    assert!(
        screen.contains_rect(rect) && rect.area() > 100.0,
        "{at}: {name} lies at {rect:?} of {screen:?}"
    );
}

/// Controls in the bar don't lie on each other.
fn assert_apart(window: &Window, at: &str) {
    let rects: Vec<(&str, egui::Rect)> = ALWAYS
        .iter()
        .filter_map(|name| {
            let mut named = window.harness.query_all_by_label(name);
            let control = named.find(|node| node.accesskit_node().role() != egui::Role::Label)?;
            Some((*name, control.rect()))
        })
        .collect();
    for (index, (name, rect)) in rects.iter().enumerate() {
        for (other, there) in &rects[index + 1..] {
            assert!(
                !rect.shrink(0.5).intersects(there.shrink(0.5)),
                "{at}: {name} lies on {other}"
            );
        }
    }
}

fn keep(window: &mut Window, name: &str) {
    if let Some(folder) = std::env::var_os(FOLDER).map(std::path::PathBuf::from) {
        std::fs::create_dir_all(&folder).unwrap();
        window
            .picture()
            .save(folder.join(format!("{name}.png")))
            .unwrap();
    }
}

fn at_every_size(light: &str) {
    // Where things lie doesn't depend on the light: all sizes by day, and elsewhere the
    // tightest, unless pictures are wanted.
    let all = light == "Day" || std::env::var_os(FOLDER).is_some();
    let sizes = if all { &SIZES[..] } else { &SIZES[2..3] };
    for &(width, height, scale) in sizes {
        let at = format!("{width}x{height}-{:.0}-{light}", 100.0 * scale);
        let mut window = Window::at_scale(width, height, scale);
        window.harness.run_steps(2);
        window.click("Light");
        window.click(light);
        for name in ["Session", "Help", "Open…", "Open the demo"] {
            assert_in_sight(&window, name, &at);
        }
        keep(&mut window, &format!("welcome-{at}"));
        window.with_demo();
        for (bench, essential) in BENCHES {
            window.click(bench);
            if bench == "Profiles" {
                window.until_shown("No profiles yet");
            }
            let at = format!("{bench}-{at}");
            for name in ALWAYS {
                // Undo and redo carry the name of what they would do once there is something.
                assert_in_sight(&window, name, &at);
            }
            assert_apart(&window, &at);
            for name in essential {
                assert_in_sight(&window, name, &at);
            }
            assert!(window.shows("6.7"), "{at}: the answer is in view");
            keep(&mut window, &at.replace(' ', "-").to_lowercase());
        }
        // The strips' column and the answer's can be out at any size.
        window.click("Scans");
        if !window.shows("Choose this") && window.harness.query_by_label("fibre paper").is_none() {
            window.click("Strips");
        }
        window.click("fibre paper");
        assert_in_sight(&window, "Scan scan-1.tif", &at);
        assert_in_sight(&window, "fibre paper", &at);
        keep(&mut window, &format!("chosen-{at}").to_lowercase());
        if window.harness.query_by_label("Answer in full").is_some() {
            window.click("Answer in full");
            assert!(window.shows("What to know"), "{at}");
            assert_in_sight(&window, "Scan scan-1.tif", &at);
            keep(&mut window, &format!("answer-{at}").to_lowercase());
        }
    }
}

#[test]
fn nothing_essential_lies_outside_the_window_at_any_size_by_day() {
    at_every_size("Day");
}

#[test]
fn nothing_essential_lies_outside_the_window_at_any_size_in_the_evening() {
    at_every_size("Evening");
}

#[test]
fn nothing_essential_lies_outside_the_window_at_any_size_in_safelight() {
    at_every_size("Safelight");
}
