//! A patch of a step, cut from the scan.

use egui::Color32;

use crate::measure::geometry::{Area, StripShape};
use crate::window::shelf::Opened;

/// Side of a patch as it is cut, pixels.
const PATCH: usize = 192;

/// Everything a patch depends on.
#[derive(Clone, PartialEq)]
pub(super) struct PatchKey {
    pub(super) strip: usize,
    pub(super) shape: StripShape,
    pub(super) step: usize,
    /// Where the step is sampled, when the person says so.
    pub(super) area: Option<Area>,
    pub(super) grey: bool,
    pub(super) hash: String,
}

/// A square from well inside a step, or from its sampled area where a person placed one, as it
/// is on the scan.
pub(super) fn cut(opened: &Opened, key: &PatchKey) -> Option<egui::ColorImage> {
    let field = key.shape.field_of_step(key.step)?;
    let (centre, size) = match &key.area {
        Some(area) => {
            let [a, b, c, d] = key.shape.area_corners(field, area);
            let (along, across) = (a.distance(d), a.distance(b));
            (
                a.toward(c, 0.5).toward(b.toward(d, 0.5), 0.5),
                along.min(across),
            )
        }
        None => {
            let (from, to) = (key.shape.edges[field], key.shape.edges[field + 1]);
            let length = (to.middle() - from.middle()) * key.shape.length();
            (
                key.shape.field_centre(field),
                length.min(key.shape.width()) * 0.4,
            )
        }
    };
    // A larger square is taken from a smaller copy of the scan.
    let mut level = 0;
    while size as usize >> level > PATCH && level + 1 < opened.pyramid.levels() {
        level += 1;
    }
    let shrunk = (1u64 << level) as f64;
    let side = (size / shrunk).max(2.0);
    let corner = |at: f64| (at / shrunk - side / 2.0).max(0.0) as usize;
    let (x, y) = (corner(centre.x), corner(centre.y));
    let mut picture = opened
        .pyramid
        .cut(level, x, y, side as usize, side as usize);
    if picture.size[0] == 0 || picture.size[1] == 0 {
        return None;
    }
    if key.grey {
        for pixel in &mut picture.pixels {
            // Weights of luma (ITU-R BT.709).
            let [r, g, b, _] = pixel.to_array().map(f32::from);
            *pixel = Color32::from_gray((0.2126 * r + 0.7152 * g + 0.0722 * b).round() as u8);
        }
    }
    Some(picture)
}
