//! From a reading along a lane to the outline and fields of a strip on the scan.

use super::borders::Border;
use super::lane::Lane;
use crate::measure::geometry::{Edge, Field, Point, StripShape};

/// Fields with their borders along a lane, in lane coordinates (view pixels along).
#[derive(Debug, Clone)]
pub(super) struct Layout {
    /// Borders, ascending; one more than fields.
    pub borders: Vec<Border>,
    pub fields: Vec<Field>,
}

/// The shape on the scan: `step` is the view's pixel in scan pixels.
pub(super) fn shape(scan: usize, lane: &Lane, layout: &Layout, step: usize) -> StripShape {
    let first = layout.borders.first().map_or(0.0, |b| b.at);
    let last = layout.borders.last().map_or(1.0, |b| b.at);
    let length = last - first;
    let half = lane.half_width;
    let corner = |along: f64, across: f64| {
        let place = lane.place(along, across);
        Point::new(place.x * step as f64, place.y * step as f64)
    };
    let end = layout.borders.len() - 1;
    let edges = layout
        .borders
        .iter()
        .enumerate()
        .map(|(index, border)| {
            // The outline is a rectangle; its own ends are square.
            let slant = if index == 0 || index == end {
                0.0
            } else {
                border.slant
            };
            Edge {
                left: (border.at - slant * half - first) / length,
                right: (border.at + slant * half - first) / length,
            }
        })
        .collect();
    StripShape {
        scan,
        corners: [
            corner(first, -half),
            corner(first, half),
            corner(last, half),
            corner(last, -half),
        ],
        edges,
        fields: layout.fields.clone(),
        unexposed: vec![],
    }
}
