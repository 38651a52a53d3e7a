//! Unexposed coat: said in the column, drawn on the scan, pointed at with one click.

use egui::{Key, Modifiers, Vec2};
use egui_kittest::kittest::Queryable as _;
use twinstrip::measure::geometry::{Field, Point, StripShape};

use crate::support::Window;

/// The demo with the slate chosen.
fn with_slate_chosen() -> (Window, StripShape) {
    let mut window = Window::of_size(1280.0, 800.0);
    window.with_demo();
    window.click("slate 1");
    let shape = {
        let analysis = window.harness.state().analysis().unwrap();
        analysis.strips[0].located.as_ref().unwrap().shape.clone()
    };
    (window, shape)
}

fn patches(window: &Window) -> Option<Vec<[Point; 4]>> {
    window.harness.state().session().strips[0].unexposed.clone()
}

fn margin(window: &Window) -> Option<f64> {
    let analysis = window.harness.state().analysis().unwrap();
    let margin = analysis.strips[0].steps.iter().find(|step| step.step == 0);
    margin.map(|margin| margin.density)
}

/// The middle of what was found to be unexposed: the margin, or the largest patch beside the steps.
fn middle_of_unexposed(shape: &StripShape) -> Point {
    let margin = shape.fields.iter().position(|f| *f == Field::Margin);
    let size = |patch: &[Point; 4]| patch[0].distance(patch[2]);
    let patches = shape.unexposed.iter();
    match margin {
        Some(field) => shape.field_centre(field),
        None => {
            let largest = patches.max_by(|a, b| size(a).total_cmp(&size(b)));
            let [a, _, c, _] = largest.unwrap();
            a.toward(*c, 0.5)
        }
    }
}

#[test]
fn one_click_points_at_unexposed_coat_and_it_is_read_saved_and_undone() {
    let (mut window, shape) = with_slate_chosen();
    let before = margin(&window).unwrap();
    let place = middle_of_unexposed(&shape);
    window.click("Point at it");
    let at = window.on_screen(place);
    window.click_at(at);
    let pointed = patches(&window).unwrap();
    assert_eq!(pointed.len(), 1);
    let centre = pointed[0][0].toward(pointed[0][2], 0.5);
    assert!(centre.distance(place) < 3.0, "{centre:?} for {place:?}");
    assert!(window.shows("1 place beside the steps, said by you"));
    window.until_measured();
    let after = margin(&window).unwrap();
    assert!((after - before).abs() < 0.02, "{after} for {before}");

    // The tool is put down: a click chooses again.
    window.click_at(at + Vec2::new(2.0, 0.0));
    assert_eq!(patches(&window), Some(pointed.clone()));

    // Saved and opened again it is the same.
    let saved = window.folder.path().join("coat.ron");
    window.answers.0.lock().unwrap().push(saved.clone());
    let keys = Modifiers::COMMAND | Modifiers::SHIFT;
    window.harness.key_press_modifiers(keys, Key::S);
    window.until("saving", |app| app.said().ends_with("saved"));
    let mut again = Window::of_size(1280.0, 800.0);
    again.drop_files(&[saved]);
    again.until_measured();
    assert_eq!(patches(&again), Some(pointed));
    assert_eq!(margin(&again), Some(after));

    window.click("Undo point at unexposed coat");
    assert_eq!(patches(&window), None);
    window.until_measured();
    assert_eq!(margin(&window), Some(before));
}

#[test]
fn that_there_is_none_is_said_with_one_click_and_taken_back() {
    let (mut window, _) = with_slate_chosen();
    window.click("There is none");
    assert_eq!(patches(&window), Some(vec![]));
    assert!(window.shows("nowhere: Dmin follows from the steps, said by you"));
    window.until_measured();
    assert_eq!(margin(&window), None);
    window.click("Look for it again");
    assert_eq!(patches(&window), None);
    window.until_measured();
    assert!(margin(&window).is_some());
}

#[test]
fn the_key_points_too_and_asks_for_a_strip_first() {
    let mut window = Window::of_size(1280.0, 800.0);
    window.with_demo();
    window.harness.key_press(Key::U);
    window.harness.run_steps(2);
    assert_eq!(window.harness.state().said(), "Choose a strip first.");
    window.click("slate 1");
    window.harness.key_press(Key::U);
    window.harness.run_steps(2);
    assert!(
        window
            .harness
            .state()
            .said()
            .starts_with("Click where slate 1")
    );
    assert!(window.harness.query_by_label("Point at it").is_some());
}
