//! The part of a field that is sampled, moved by mouse and keyboard.

use egui::{Key, Modifiers, Vec2};
use egui_kittest::kittest::Queryable as _;
use twinstrip::measure::geometry::{Area, Field, StripShape};

use crate::support::Window;

/// The demo with a step of the slate chosen by a click in its middle.
fn with_step_chosen() -> (Window, StripShape, usize) {
    let mut window = Window::of_size(1280.0, 800.0);
    window.with_demo();
    window.click("slate 1");
    let shape = shape(&window);
    let field = shape.field_of_step(3).unwrap();
    window.click_at(window.on_screen(shape.on_scan(
        (shape.edges[field].middle() + shape.edges[field + 1].middle()) / 2.0,
        0.3,
    )));
    assert!(window.shows("chosen by the program"));
    (window, shape, field)
}

fn shape(window: &Window) -> StripShape {
    let analysis = window.harness.state().analysis().unwrap();
    analysis.strips[0].located.as_ref().unwrap().shape.clone()
}

fn areas(window: &Window) -> Vec<Area> {
    window.harness.state().session().strips[0].areas.clone()
}

fn density(window: &Window) -> f64 {
    let analysis = window.harness.state().analysis().unwrap();
    let steps = &analysis.strips[0].steps;
    steps.iter().find(|step| step.step == 4).unwrap().density
}

#[test]
fn the_mouse_moves_and_sizes_the_area_and_it_is_read_saved_and_undone() {
    let (mut window, shape, field) = with_step_chosen();
    let before = density(&window);
    let centre = window.on_screen(shape.field_centre(field));
    window.drag(centre, centre + Vec2::new(6.0, 4.0));
    let moved = areas(&window);
    assert_eq!(moved.len(), 1, "one area");
    assert_eq!(moved[0].field, Field::Step(3));
    assert!(window.shows("placed by you"));
    assert!(
        window.harness.state().session().strips[0].shape.is_none(),
        "the outline is still the program's"
    );

    // A corner, taken hold of where it lies now.
    let corner = shape.area_corners(field, &moved[0])[0];
    let middle = shape.field_centre(field);
    let (from, to) = (
        window.on_screen(corner),
        window.on_screen(corner.toward(middle, 0.6)),
    );
    window.drag(from, to);
    let sized = areas(&window);
    let extent = |(start, end): (f64, f64)| end - start;
    assert!(extent(sized[0].along) < 0.9 * extent(moved[0].along));
    assert!(extent(sized[0].across) < 0.9 * extent(moved[0].across));
    window.until_measured();
    assert_ne!(density(&window), before, "another part is read");

    // Saved and opened again it is the same.
    let saved = window.folder.path().join("areas.ron");
    window.answers.0.lock().unwrap().push(saved.clone());
    let keys = Modifiers::COMMAND | Modifiers::SHIFT;
    window.harness.key_press_modifiers(keys, Key::S);
    window.until("saving", |app| app.said().ends_with("saved"));
    let mut again = Window::of_size(1280.0, 800.0);
    again.drop_files(&[saved]);
    again.until_measured();
    assert_eq!(areas(&again), sized);
    assert_eq!(density(&again), density(&window));

    // Each drag is one step of undo.
    window.click("Undo move sampled area");
    assert_eq!(areas(&window), moved);
    window.click("Undo move sampled area");
    assert_eq!(areas(&window), []);
    window.until_measured();
    assert_eq!(density(&window), before);
}

#[test]
fn the_keyboard_moves_and_sizes_the_area_and_gives_it_back() {
    let (mut window, ..) = with_step_chosen();
    window.harness.key_press(Key::ArrowDown);
    window.harness.run_steps(2);
    let moved = areas(&window);
    assert_eq!(moved.len(), 1);
    window
        .harness
        .key_press_modifiers(Modifiers::ALT, Key::ArrowLeft);
    window.harness.run_steps(2);
    let sized = areas(&window);
    let extent = |area: &Area| area.across.1 - area.across.0;
    assert!(extent(&sized[0]) < extent(&moved[0]));
    window.harness.key_press(Key::Backspace);
    window.harness.run_steps(2);
    assert_eq!(areas(&window), []);
    window.click("Undo reset sampled area");
    assert_eq!(areas(&window), sized);
    window.click("Back to automatic");
    assert_eq!(areas(&window), []);
}

#[test]
fn the_keys_walk_from_the_outline_to_a_sampled_area() {
    let mut window = Window::of_size(1280.0, 800.0);
    window.with_demo();
    window.click("slate 1");
    window.harness.get_by_label("Scan scan-1.tif").focus();
    window.harness.run_steps(2);
    // The last part before the first: a corner of the last area.
    window.harness.key_press(Key::Comma);
    window.harness.run_steps(2);
    window.harness.key_press(Key::ArrowLeft);
    window.harness.run_steps(2);
    assert_eq!(areas(&window).len(), 1);
}

#[test]
fn areas_stay_where_they_lie_when_the_strip_is_turned_round() {
    let (mut window, shape, field) = with_step_chosen();
    let centre = window.on_screen(shape.field_centre(field));
    window.drag(centre, centre + Vec2::new(6.0, 4.0));
    let before = areas(&window)[0];
    window.click("Turn strip round");
    let after = areas(&window)[0];
    assert_eq!((after.along, after.across), (before.along, before.across));
    assert_eq!(
        after.field,
        Field::Step(6 - 3),
        "step 4 of 7 from the other end"
    );
    window.click("Undo outline strip");
    assert_eq!(areas(&window), [before]);
}

#[test]
fn by_eye_both_fields_are_cut_from_areas_placed_on_the_same_detail() {
    let mut window = Window::of_size(1280.0, 800.0);
    window.with_demo();
    window.click("By eye");
    let before = window.picture();
    window
        .harness
        .get_by_label("Sampled area of slate 1, step 1")
        .focus();
    window.harness.run_steps(2);
    for _ in 0..4 {
        window.harness.key_press(Key::ArrowRight);
        window.harness.run_steps(1);
    }
    let moved = areas(&window);
    assert_eq!(moved[0].field, Field::Step(0));
    // What is cut is another part of the coat: its right field looks different.
    let after = window.picture();
    let differing = before
        .enumerate_pixels()
        .filter(|(x, y, pixel)| {
            (700..860).contains(x) && (300..450).contains(y) && *after.get_pixel(*x, *y) != **pixel
        })
        .count();
    assert!(differing > 100, "{differing} pixels of the field changed");

    // By mouse on the picture of the paper's step.
    let place = window
        .harness
        .get_by_label("Sampled area of fibre paper, step 1")
        .rect();
    window.drag(place.center(), place.center() + Vec2::new(5.0, 3.0));
    let paper = &window.harness.state().session().strips[1];
    assert_eq!(paper.areas.len(), 1);
    window.click("Undo move sampled area");
    assert!(window.harness.state().session().strips[1].areas.is_empty());
}
