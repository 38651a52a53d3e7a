//! Saying on the scan what a thing is.

use egui::Key;
use egui_kittest::kittest::Queryable as _;
use twinstrip::document::Session;
use twinstrip::measure::geometry::{Point, StripShape};
use twinstrip::measure::strip::Role;

use crate::support::{Window, demo};

fn session(window: &Window) -> &Session {
    window.harness.state().session()
}

fn demo_window() -> Window {
    let mut window = Window::of_size(1280.0, 800.0);
    window.with_demo();
    window
}

fn wedge_shape(window: &Window) -> StripShape {
    let analysis = window.harness.state().analysis().unwrap();
    analysis.wedges[0].shape.clone()
}

/// Opens the menu of what lies at a point of the scan.
fn menu_at(window: &mut Window, at: Point) {
    let at = window.on_screen(at);
    for pressed in [true, false] {
        window.harness.hover_at(at);
        window
            .harness
            .input_mut()
            .events
            .push(egui::Event::PointerButton {
                pos: at,
                button: egui::PointerButton::Secondary,
                pressed,
                modifiers: egui::Modifiers::NONE,
            });
        window.harness.run_steps(2);
    }
    window.harness.run_steps(2);
}

#[test]
fn a_strip_is_said_to_be_paper_with_a_key_and_undone() {
    let mut window = demo_window();
    window.click("slate 1");
    window.harness.key_press(Key::Num1);
    window.harness.run_steps(2);
    assert_eq!(session(&window).strips[0].role, Role::Reference);
    window.click("Undo set role");
    assert_eq!(session(&window).strips[0].role, Role::Coupon);
}

#[test]
fn the_menu_on_the_scan_says_what_a_strip_is() {
    let mut window = demo_window();
    let slate = {
        let analysis = window.harness.state().analysis().unwrap();
        analysis.strips[0].located.as_ref().unwrap().shape.clone()
    };
    menu_at(&mut window, slate.on_scan(0.5, 0.3));
    window.click("It is paper");
    assert_eq!(session(&window).strips[0].role, Role::Reference);
}

#[test]
fn the_wedge_can_be_said_to_be_a_strip_and_a_strip_the_wedge() {
    let mut window = demo_window();
    let first = session(&window).clone();
    let wedge = wedge_shape(&window);
    menu_at(&mut window, wedge.on_scan(0.5, 0.5));
    window.click("It is coated");
    assert_eq!(session(&window).strips.len(), 3);
    assert_eq!(session(&window).strips[2].role, Role::Coupon);
    assert_eq!(session(&window).strips[2].shape.as_ref(), Some(&wedge));
    // And back: the strip is the wedge after all.
    window.harness.key_press(Key::Num3);
    window.harness.run_steps(2);
    assert_eq!(session(&window).strips.len(), 2);
    let said = session(&window).wedge.as_ref().unwrap().shape.as_ref();
    assert_eq!(said.map(|shape| shape.corners), Some(wedge.corners));
    window.click("Undo outline wedge");
    window.click("Undo add strip");
    assert_eq!(*session(&window), first);
}

#[test]
fn the_wedge_is_chosen_and_moved_with_the_keyboard() {
    let mut window = demo_window();
    window.harness.get_by_label("Scan scan-1.tif").focus();
    window.harness.run_steps(2);
    // Two strips come first.
    for _ in 0..3 {
        window.harness.key_press(Key::PageDown);
        window.harness.run_steps(2);
    }
    window.harness.key_press(Key::ArrowRight);
    window.harness.run_steps(2);
    assert!(session(&window).wedge.as_ref().unwrap().shape.is_some());
    window.click("Find it again");
    assert!(session(&window).wedge.as_ref().unwrap().shape.is_none());
    window.click("Undo outline wedge");
    assert!(session(&window).wedge.as_ref().unwrap().shape.is_some());
}

#[test]
fn what_was_found_on_a_bare_scan_is_called_the_wedge_once_its_densities_are_written() {
    let mut window = Window::of_size(1280.0, 800.0);
    window.drop_files(&[demo().join("scan-1.tif")]);
    window.until_measured();
    let found = window.harness.state().analysis().unwrap().strips.len();
    assert!(found >= 2, "{found} things were found");
    // The middle one by its place from left to right.
    let thing = {
        let analysis = window.harness.state().analysis().unwrap();
        let x = |strip: &usize| {
            let located = analysis.strips[*strip].located.as_ref().unwrap();
            located.shape.on_scan(0.5, 0.5).x
        };
        let mut order: Vec<usize> = (0..found).collect();
        order.sort_by(|a, b| x(a).total_cmp(&x(b)));
        order[found / 2]
    };
    window.click(&format!("strip {}", thing + 1));
    window.harness.key_press(Key::Num3);
    window.harness.run_steps(2);
    assert!(window.harness.state().said().contains("densities"));
    window.write("Densities of the wedge", "0.06 0.5 1.0 1.5 2.0");
    let after = session(&window);
    assert_eq!(after.strips.len(), found - 1);
    let wedge = after.wedge.as_ref().unwrap();
    assert_eq!(wedge.shape.as_ref().unwrap().fields.len(), 5);
    assert!(
        window
            .harness
            .query_by_label("Undo describe wedge")
            .is_some()
    );
}
