//! From a strip's own millimetres to its place on a scan.

use super::arrange::{Cut, Lies, Place};
use super::scene::{Frame, Strip};
use super::strips::Draft;
use super::truth::{Patch, StripTruth};
use crate::measure::geometry::{Edge, Point, StripShape};

/// The pictures of a strip whose sheet lies in a frame: one, or one a piece.
pub fn pieces(draft: &Draft, frame: &Frame) -> Vec<Strip> {
    let cuts = &draft.arranged.cuts;
    if cuts.is_empty() {
        let mut strip = draft.strip.clone();
        strip.frame = *frame;
        return vec![strip];
    }
    cuts.iter()
        .map(|cut| {
            let mut strip = draft.strip.clone();
            strip.frame = of_piece(cut, frame, draft.arranged.size.1);
            strip.origin = cut.along.0;
            strip
        })
        .collect()
}

fn of_piece(cut: &Cut, frame: &Frame, width: f64) -> Frame {
    let (c, s) = frame.along;
    let (turn_c, turn_s) = (cut.tilt.cos(), cut.tilt.sin());
    Frame {
        start: frame.on_scan(cut.at.0, cut.at.1),
        along: (c * turn_c - s * turn_s, s * turn_c + c * turn_s),
        length: cut.along.1 - cut.along.0,
        width,
        per_mm: frame.per_mm,
    }
}

/// Writes into the truth where everything lies.
pub fn place(truth: &mut StripTruth, draft: &Draft, scan: usize, frame: &Frame) {
    let arranged = &draft.arranged;
    let point = |place: Place| on_scan(&arranged.cuts, frame, place);
    truth.scan = Some(scan);
    truth.shape = arranged.told.as_ref().map(|told| {
        let (left, right) = told.across;
        // Shares are of the outline that the session file gives, which starts at the first border.
        let from = told.edges[0];
        let to = told.edges[told.edges.len() - 1];
        let share = |at: f64, from: f64, to: f64| (at - from) / (to - from);
        StripShape {
            scan,
            corners: [
                frame.on_scan(from.0, left),
                frame.on_scan(from.1, right),
                frame.on_scan(to.1, right),
                frame.on_scan(to.0, left),
            ],
            edges: told
                .edges
                .iter()
                .map(|edge| Edge {
                    left: share(edge.0, from.0, to.0),
                    right: share(edge.1, from.1, to.1),
                })
                .collect(),
            fields: told.fields.clone(),
            unexposed: vec![],
        }
    });
    truth.outline = pieces(draft, frame)
        .iter()
        .map(|piece| piece.frame.corners(0.0))
        .collect();
    truth.unexposed = arranged
        .unexposed
        .iter()
        .map(|quad| quad.map(point))
        .collect();
    for (step, lies) in truth.steps.iter_mut().zip(&arranged.steps) {
        step.patch = Some(match *lies {
            Lies::Quad(quad) => Patch::Quad(quad.map(point)),
            Lies::Disc(centre, radius) => Patch::Disc {
                centre: point(centre),
                radius: radius * frame.per_mm,
            },
        });
    }
}

/// Scan place of a place on the coat: on the piece that holds it, if it was cut apart.
fn on_scan(cuts: &[Cut], frame: &Frame, place: Place) -> Point {
    const SLACK: f64 = 1e-9;
    let holds = |cut: &&Cut| (cut.along.0 - SLACK..=cut.along.1 + SLACK).contains(&place.0);
    let (u, v) = cuts
        .iter()
        .find(holds)
        .map_or(place, |cut| cut.in_row(place));
    frame.on_scan(u, v)
}
