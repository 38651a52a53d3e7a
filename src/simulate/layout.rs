//! Laying sheets on the glass.

use rand::Rng;
use rand::seq::SliceRandom;

use super::recipe::Level;
use super::scene::Frame;
use super::setting::Setting;
use crate::measure::geometry::Point;

/// A sheet to be laid: size of its frame and of the border around it, millimetres.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Sheet {
    /// Length and width of the frame.
    pub size: (f64, f64),
    /// Border around it.
    pub border: f64,
}

/// Where the sheets came to lie.
#[derive(Debug, Clone)]
pub struct Laid {
    /// Width of the scan in pixels.
    pub width: usize,
    /// Height of the scan in pixels.
    pub height: usize,
    /// One frame a sheet, in the order they were given.
    pub frames: Vec<Frame>,
    /// Sheets in reading order.
    pub order: Vec<usize>,
}

/// Lays sheets side by side, along or across, tilted, in any order; those of a grid two or three
/// in a row where they are short.
pub fn lay(
    rng: &mut impl Rng,
    level: Level,
    sheets: &[Sheet],
    per_mm: f64,
    bed: Option<(f64, f64)>,
    setting: Option<&Setting>,
) -> Laid {
    let grid = setting.is_some_and(|setting| setting.grid);
    let touching = setting.is_some_and(|setting| setting.touching);
    // On a whole bed the strips lie the long way and not too tilted, so that they fit; rows of
    // several sheets are read from the left.
    let across = (rng.random_bool(0.4) || bed.is_some()) && !grid;
    let limit: f64 = level.pick(1.5, 4.0, if bed.is_some() { 4.0 } else { 10.0 });
    let limit = setting.and_then(|setting| setting.turned).unwrap_or(limit);
    let limit = if grid { limit.min(3.0) } else { limit };
    let tilt = rng.random_range(-limit..limit).to_radians();
    let mut order: Vec<usize> = (0..sheets.len()).collect();
    order.shuffle(rng);
    // Centres in rows along x, stacked in y.
    let mut centres = vec![(0.0, 0.0, 0.0); sheets.len()];
    let mut y = 0.0;
    let (apart, own): (_, f64) = if touching {
        (-1.0..0.3, 0.2)
    } else {
        (3.0..12.0, 1.0)
    };
    for row in rows(&mut order, sheets, grid) {
        let (mut x, mut deepest) = (0.0, 0.0f64);
        for (place, &index) in row.iter().enumerate() {
            let sheet = &sheets[index];
            let (length, width) = (
                sheet.size.0 + 2.0 * sheet.border,
                sheet.size.1 + 2.0 * sheet.border,
            );
            let own = rng.random_range(-own..own).to_radians();
            let lean = length * f64::sin(own).abs() / 2.0;
            let beside = rng.random_range(-8.0..8.0);
            if place > 0 {
                x += length / 2.0 + 7.0;
            }
            centres[index] = (
                x + if row.len() > 1 { 0.3 * beside } else { beside },
                y + width / 2.0 + lean,
                own,
            );
            x += length / 2.0;
            deepest = deepest.max(width / 2.0 + lean);
        }
        y += deepest;
        y += deepest + rng.random_range(apart.clone());
    }
    let (c, s) = (tilt.cos(), tilt.sin());
    let quarter = if across {
        std::f64::consts::FRAC_PI_2
    } else {
        0.0
    };
    let mut frames: Vec<Frame> = sheets
        .iter()
        .zip(&centres)
        .map(|(sheet, &(x, y, own))| {
            let (x, y) = if across { (y, x) } else { (x, y) };
            let angle = tilt + quarter + own;
            let mut frame = Frame {
                start: Point::new(x * c - y * s, x * s + y * c),
                along: (angle.cos(), angle.sin()),
                length: sheet.size.0,
                width: sheet.size.1,
                per_mm: 1.0,
            };
            frame.start = frame.on_scan(-sheet.size.0 / 2.0, -sheet.size.1 / 2.0);
            frame
        })
        .collect();
    // Bounding box in millimetres, with glass to spare.
    let mut low = (f64::INFINITY, f64::INFINITY);
    let mut high = (f64::NEG_INFINITY, f64::NEG_INFINITY);
    for (frame, sheet) in frames.iter().zip(sheets) {
        for corner in frame.corners(sheet.border) {
            low = (low.0.min(corner.x), low.1.min(corner.y));
            high = (high.0.max(corner.x), high.1.max(corner.y));
        }
    }
    let mut spare = || rng.random_range(3.0..12.0);
    let (left, right, top, bottom) = (spare(), spare(), spare(), spare());
    let mut size = (high.0 - low.0 + left + right, high.1 - low.1 + top + bottom);
    let (mut shift_x, mut shift_y) = (left - low.0, top - low.1);
    if let Some((width, height)) = bed {
        shift_x += rng.random_range(0.0..1.0) * (width - size.0).max(0.0);
        shift_y += rng.random_range(0.0..1.0) * (height - size.1).max(0.0);
        size = (size.0.max(width), size.1.max(height));
    }
    for frame in &mut frames {
        frame.start = Point::new(
            (frame.start.x + shift_x) * per_mm,
            (frame.start.y + shift_y) * per_mm,
        );
        frame.per_mm = per_mm;
    }
    Laid {
        width: (size.0 * per_mm).ceil() as usize,
        height: (size.1 * per_mm).ceil() as usize,
        frames,
        order,
    }
}

/// Longest sheet that has others beside it in a grid, millimetres.
const SHORT: f64 = 115.0;

/// The sheets row by row; the order is put into reading order.
fn rows(order: &mut Vec<usize>, sheets: &[Sheet], grid: bool) -> Vec<Vec<usize>> {
    if !grid {
        return order.iter().map(|&index| vec![index]).collect();
    }
    let mut rows: Vec<Vec<usize>> = vec![];
    let mut open = None;
    for &index in order.iter() {
        let short = sheets[index].size.0 + 2.0 * sheets[index].border < SHORT;
        match open {
            Some(row) if short => {
                let row: &mut Vec<usize> = &mut rows[row];
                row.push(index);
                if row.len() == 3 {
                    open = None;
                }
            }
            _ => {
                rows.push(vec![index]);
                if short {
                    open = Some(rows.len() - 1);
                }
            }
        }
    }
    *order = rows.concat();
    rows
}
