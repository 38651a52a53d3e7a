//! What was taken for unexposed coat, and the readings of a strip in doubt: on the scan and in the
//! column beside it.

use egui::{Pos2, Rect, RichText, Shape, Stroke, Ui, Vec2};

use super::marks::{Sight, chip};
use crate::document::Edit;
use crate::measure::analysis::JointReading;
use crate::measure::geometry::{Field, Point, StripShape};
use crate::measure::reading::patch::even_patch;
use crate::window::command::Command;
use crate::window::request::{Request, Scene};
use crate::window::shell::{explained, term};

/// Distance of the hatch's lines, screen points.
const HATCH: f32 = 7.0;
/// Digits of a pixel that a patch is kept with: a tenth is nothing to a coat.
const KEPT: f64 = 10.0;

/// Patches of unexposed coat of a strip: as the session says, or as they were found.
pub fn patches<'a>(scene: &Scene<'a>, strip: usize) -> &'a [[Point; 4]] {
    let said = scene.session.strips.get(strip);
    let said = said.and_then(|strip| strip.unexposed.as_deref());
    let found = || {
        let strip = scene.analysis?.strips.get(strip)?;
        Some(&strip.located.as_ref()?.shape.unexposed[..])
    };
    said.or_else(found).unwrap_or_default()
}

/// Draws the patches of unexposed coat of a strip: hatched, which nothing else on a scan is, and
/// with a plate on the largest.
pub fn paint(painter: &egui::Painter, sight: &Sight<'_>, strip: usize, scene: &Scene<'_>) {
    let role = scene.session.strips.get(strip).map(|strip| strip.role);
    let colour = scene.theme.role(role);
    let mut largest: Option<Rect> = None;
    for patch in patches(scene, strip) {
        let corners = patch.map(|corner| sight.on_screen(corner));
        hatch(painter, &corners, Stroke::new(1.0, colour));
        let mut round = corners.to_vec();
        round.extend(corners.first());
        painter.extend(Shape::dashed_line(
            &round,
            Stroke::new(1.5, colour),
            2.0,
            2.0,
        ));
        let rect = Rect::from_points(&corners);
        if largest.is_none_or(|known| known.area() < rect.area()) {
            largest = Some(rect);
        }
    }
    if let Some(rect) = largest {
        let density = scene.analysis.and_then(|analysis| {
            let steps = &analysis.strips.get(strip)?.steps;
            Some(steps.iter().find(|step| step.step == 0)?.density)
        });
        let words = match density {
            Some(density) => format!("unexposed · {density:.2}"),
            None => "unexposed".to_owned(),
        };
        chip(painter, rect.center(), &words, colour, scene.theme);
    }
}

/// Slanted lines over a convex quadrangle.
fn hatch(painter: &egui::Painter, corners: &[Pos2; 4], stroke: Stroke) {
    let across = |at: &Pos2| at.x + at.y;
    let low = corners.iter().map(across).fold(f32::INFINITY, f32::min);
    let high = corners.iter().map(across).fold(f32::NEG_INFINITY, f32::max);
    if !(low.is_finite() && high.is_finite()) {
        return;
    }
    // A fixed raster of lines, so that they stand still while the scan is moved little.
    let mut level = (low / HATCH).ceil() * HATCH;
    while level < high {
        let mut met = Vec::with_capacity(2);
        for (index, &from) in corners.iter().enumerate() {
            let to = corners[(index + 1) % 4];
            let (a, b) = (across(&from) - level, across(&to) - level);
            if (a <= 0.0) != (b <= 0.0) {
                met.push(from + (to - from) * (a / (a - b)));
            }
        }
        if let [from, to] = met[..] {
            painter.line_segment([from, to], stroke);
        }
        level += HATCH;
    }
}

/// What a click with the tool does: the chosen strip's unexposed coat is there, and nowhere else;
/// with Shift, there too.
pub fn pointed_at(sight: &Sight<'_>, scene: &Scene<'_>, at: Pos2, too: bool) -> Option<Edit> {
    let strip = scene.chosen_strip()?;
    let shape = scene
        .shape(strip)
        .filter(|shape| shape.scan == sight.scan)?;
    scene.session.strips.get(strip)?;
    let channel = scene.session.settings.channel;
    let patch = even_patch(sight.raster, shape, sight.on_scan(at), channel)?;
    let round = |value: f64| (value * KEPT).round() / KEPT;
    let patch = patch.map(|corner| Point::new(round(corner.x), round(corner.y)));
    let mut patches = if too {
        patches(scene, strip).to_vec()
    } else {
        vec![]
    };
    patches.push(patch);
    Some(Edit::SetUnexposed {
        strip,
        patches: Some(patches),
    })
}

/// Where a strip's unexposed coat is, in the column.
pub fn ui(
    ui: &mut Ui,
    strip: usize,
    shape: &StripShape,
    pointing: bool,
    scene: &Scene<'_>,
    asks: &mut Vec<Request>,
) {
    let Some(described) = scene.session.strips.get(strip) else {
        return;
    };
    let margin = shape.fields.contains(&Field::Margin) && described.unexposed.is_none()
        || described.shape.is_some() && shape.fields.contains(&Field::Margin);
    let beside = patches(scene, strip).len();
    let places = match beside {
        0 => String::new(),
        1 => "1 place beside the steps".to_owned(),
        count => format!("{count} places beside the steps"),
    };
    let said = match (margin, beside) {
        (true, 0) => "the margin".to_owned(),
        (true, _) => format!("the margin and {places}"),
        (false, 0) => "nowhere: Dmin follows from the steps".to_owned(),
        (false, _) => places,
    };
    let whose = if described.unexposed.is_some() {
        ", said by you"
    } else {
        ""
    };
    ui.horizontal_wrapped(|ui| {
        term(
            ui,
            "Unexposed coat",
            "Coat that got no light: Dmin is read there. It is hatched on the scan where it lies beside the steps.",
        );
        ui.weak(format!("{said}{whose}"));
    });
    ui.horizontal_wrapped(|ui| {
        ui.spacing_mut().item_spacing = Vec2::splat(4.0);
        let point = ui.selectable_label(pointing, "Point at it");
        if explained(ui, point, Command::PointAtCoat).clicked() {
            asks.push(Request::Command(Command::PointAtCoat));
        }
        let nowhere = described.unexposed.as_ref().is_some_and(Vec::is_empty);
        if !nowhere
            && ui
                .button("There is none")
                .on_hover_text(
                    "No unexposed coat shows: Dmin then follows from the steps, with wider bounds.",
                )
                .clicked()
        {
            let patches = Some(vec![]);
            asks.push(Request::edit(Edit::SetUnexposed { strip, patches }));
        }
        if described.unexposed.is_some()
            && ui
                .button("Look for it again")
                .on_hover_text("Forgets what you said and looks for the unexposed coat anew.")
                .clicked()
        {
            let patches = None;
            asks.push(Request::edit(Edit::SetUnexposed { strip, patches }));
        }
    });
}

/// The readings of a strip in doubt, each with its chance, what it would give, and a button.
/// `considered` becomes the one whose button the pointer rests on or that the keys have reached.
pub fn readings_ui(
    ui: &mut Ui,
    strip: usize,
    scene: &Scene<'_>,
    considered: &mut Option<StripShape>,
    asks: &mut Vec<Request>,
) {
    let Some(analysis) = scene.analysis else {
        return;
    };
    let located = analysis.strips.get(strip);
    let Some(located) = located.and_then(|strip| strip.located.as_ref()) else {
        return;
    };
    if located.readings.len() < 2 || scene.session.strips.get(strip).is_none() {
        return;
    }
    let whole: f64 = located.readings.iter().map(|reading| reading.chance).sum();
    ui.separator();
    ui.horizontal_wrapped(|ui| {
        term(
            ui,
            "Readings",
            "The ways in which this strip can be read, with their chances. The answer counts all of them; choose the right one and only that counts.",
        );
    });
    for (number, reading) in located.readings.iter().enumerate() {
        let gives = analysis
            .pairs
            .iter()
            .find_map(|pair| {
                let own = |joint: &&JointReading| {
                    pair.reference == strip && joint.reference == number
                        || pair.coupon == strip && joint.coupon == number
                };
                let likeliest = pair.readings.iter().filter(own);
                likeliest.max_by(|a, b| a.chance.total_cmp(&b.chance))
            })
            .and_then(|joint| joint.stops.value)
            .map_or_else(String::new, |stops| {
                let way = if stops < 0.0 { "faster" } else { "slower" };
                format!(", {:.2} stops {way}", stops.abs())
            });
        let chance = 100.0 * reading.chance / whole.max(f64::MIN_POSITIVE);
        ui.horizontal_wrapped(|ui| {
            let words = format!("{}: {chance:.0} %{gives}", number + 1);
            ui.label(RichText::new(words));
            let choose = ui
                .button(format!("Choose reading {}", number + 1))
                .on_hover_text("Keeps this reading as the strip's outline and its unexposed coat.");
            if choose.hovered() || choose.has_focus() {
                *considered = Some(reading.shape.clone());
            }
            if choose.clicked() {
                let shape = reading.shape.clone();
                asks.push(Request::edit(Edit::ChooseReading { strip, shape }));
            }
        });
    }
}

/// Draws a reading that is being considered: its outline and fields, drawn through and broad, over
/// the reading that is used.
pub fn paint_considered(
    painter: &egui::Painter,
    sight: &Sight<'_>,
    shape: &StripShape,
    scene: &Scene<'_>,
) {
    let stroke = Stroke::new(3.0, scene.theme.accent);
    for field in 0..shape.fields.len() {
        let corners = shape
            .field_corners(field)
            .map(|corner| sight.on_screen(corner));
        let mut round = corners.to_vec();
        round.extend(corners.first());
        painter.line(round, stroke);
        let word = match shape.fields[field] {
            Field::Margin => "margin".to_owned(),
            Field::Step(step) => (step + 1).to_string(),
            Field::Ignored => continue,
        };
        let at = Rect::from_points(&corners).center();
        chip(painter, at, &word, scene.theme.accent, scene.theme);
    }
    for patch in &shape.unexposed {
        hatch(
            painter,
            &patch.map(|corner| sight.on_screen(corner)),
            stroke,
        );
    }
}
