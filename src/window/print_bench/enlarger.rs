//! What the enlarger and its timer can do, and how sharp the print is to be.

use egui::{DragValue, Ui};

use super::{change, printing};
use crate::window::request::{Request, Scene};
use crate::window::shell::term;

/// Openings that lenses have, and times that are believed, s.
const OPENINGS: (f64, f64) = (0.5, 128.0);
const TIMES: (f64, f64) = (0.1, 36_000.0);
/// Blur that can be asked for, mm.
const BLUR: (f64, f64) = (0.01, 5.0);

/// Two numbers, the lower first, with what they are; tells whether one was changed.
fn pair_ui(
    ui: &mut Ui,
    (names, word, meaning): ((&str, &str), &str, &str),
    (low, high): (&mut f64, &mut f64),
    (least, most): (f64, f64),
    (prefix, suffix): (&str, &str),
) -> bool {
    ui.horizontal(|ui| {
        let mut number = |value: &mut f64, range: std::ops::RangeInclusive<f64>, name: &str| {
            let drag = DragValue::new(value)
                .range(range)
                .speed(0.1)
                .max_decimals(1)
                .prefix(prefix)
                .suffix(suffix)
                .update_while_editing(false);
            ui.add(drag).accessible_name(name).changed()
        };
        // The bounds keep the lower below the higher.
        let upper = *high;
        let mut changed = number(low, least..=upper, names.0);
        let lower = *low;
        changed |= number(high, lower..=most, names.1);
        term(ui, word, meaning);
        changed
    })
    .inner
}

/// The card with the enlarger.
pub(super) fn ui(ui: &mut Ui, scene: &Scene<'_>, asks: &mut Vec<Request>) {
    ui.heading("The enlarger");
    let choices = printing(scene).choices;
    let (mut lens, mut times, mut blur) = (choices.lens, choices.times, choices.blur);
    if pair_ui(
        ui,
        (
            ("Widest opening of the lens", "Smallest opening of the lens"),
            "Lens",
            "Its widest and its smallest engraved f-number: the plan chooses between them.",
        ),
        (&mut lens.0, &mut lens.1),
        OPENINGS,
        ("f/", ""),
    ) {
        change(scene, asks, "say the lens", |print| {
            print.choices.lens = lens
        });
    }
    if pair_ui(
        ui,
        (
            ("Shortest time, s", "Longest time, s"),
            "Times",
            "The shortest and the longest time that you can keep well: shorter ones suffer from the lamp's delay, longer ones from patience and heat.",
        ),
        (&mut times.0, &mut times.1),
        TIMES,
        ("", " s"),
    ) && times.0 < times.1
    {
        change(scene, asks, "say the times", |print| {
            print.choices.times = times
        });
    }
    let changed = ui
        .horizontal(|ui| {
            let drag = DragValue::new(&mut blur)
                .range(BLUR.0..=BLUR.1)
                .speed(0.01)
                .max_decimals(2)
                .suffix(" mm")
                .update_while_editing(false);
            let response = ui.add(drag).accessible_name("Allowed blur, mm");
            term(
                ui,
                "Blur",
                "How large a point may become on the print where the face leaves the plane of focus.",
            );
            response.changed()
        })
        .inner;
    if changed {
        change(scene, asks, "say the blur", |print| {
            print.choices.blur = blur
        });
    }
}
