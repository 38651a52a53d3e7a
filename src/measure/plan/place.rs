//! Where the piece lies under the enlarger, and what that does to the picture.

use super::notes;
use super::optics::{self, Thrown};
use super::piece::{HeadMove, Piece};
use super::planned::{Choices, OnPiece};
use super::recipe::{Recipe, Throw};
use crate::measure::finding::Finding;

/// The piece under the enlarger, as far as the enlarger is known.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) struct Place {
    pub(super) magnification: Option<f64>,
    pub(super) focal_length: Option<f64>,
    /// The picture on the piece, when the head stays and everything is known.
    thrown: Option<Thrown>,
}

impl Place {
    pub(super) fn stops_gained(&self) -> f64 {
        self.thrown.map_or(0.0, |thrown| thrown.stops_gained())
    }

    /// Magnification on the piece.
    pub(super) fn on_piece(&self) -> Option<f64> {
        self.thrown
            .map(|thrown| thrown.on_piece)
            .or(self.magnification)
    }
}

/// Magnification of the paper print.
fn magnification(recipe: &Recipe) -> Option<f64> {
    match recipe.throw {
        Throw::Unknown => None,
        Throw::Magnified(m) => Some(m),
        Throw::Head(distance) => optics::magnification_at(recipe.focal_length?, distance),
    }
}

/// Finds the place; `None`, with a finding, when nothing would be sharp on the piece.
pub(super) fn find(
    recipe: &Recipe,
    piece: &Piece,
    choices: &Choices,
    findings: &mut Vec<Finding>,
) -> Option<Place> {
    let magnification = magnification(recipe);
    let mut place = Place {
        magnification,
        focal_length: recipe.focal_length,
        thrown: None,
    };
    if choices.head == HeadMove::RaisedByHeight || piece.height == 0.0 {
        return Some(place);
    }
    match (magnification, recipe.focal_length) {
        (Some(m), Some(focal_length)) => {
            let thrown = Thrown::new(focal_length, m, piece.height);
            if thrown.is_none() {
                findings.push(notes::too_near(piece, m, focal_length));
            }
            place.thrown = Some(thrown?);
        }
        (m, focal_length) => {
            findings.push(notes::height_unknown(
                piece,
                m.is_some(),
                focal_length.is_some(),
            ));
        }
    }
    Some(place)
}

/// The picture on the piece at an f-number; `None` without a magnification.
pub(super) fn on_piece(
    place: &Place,
    piece: &Piece,
    choices: &Choices,
    f_number: f64,
) -> Option<OnPiece> {
    let on_paper = place.magnification?;
    let on_piece = place.on_piece()?;
    let depth = optics::depth_of_focus(f_number, choices.blur, on_piece);
    // The paper's focus is kept when the piece's face lies within half the depth of it.
    let off_focus = match choices.head {
        HeadMove::Stays => piece.height.abs(),
        HeadMove::RaisedByHeight => 0.0,
    };
    let refocus = off_focus > 0.0 && off_focus + 0.5 * piece.rise > 0.5 * depth;
    let raise = match choices.head {
        HeadMove::Stays => piece.height,
        HeadMove::RaisedByHeight => 0.0,
    };
    let across = place.focal_length.filter(|_| piece.rise > 0.0);
    Some(OnPiece {
        magnification_on_paper: on_paper,
        magnification: on_piece,
        size: on_piece / on_paper,
        stops_gained: place.stops_gained(),
        refocus,
        lens_moves: place
            .thrown
            .filter(|_| refocus)
            .map(|thrown| thrown.lens_moves),
        depth_of_focus: depth,
        fits: piece.rise <= depth,
        head_that_restores: place
            .focal_length
            .map(|focal_length| optics::throw_distance(focal_length, on_paper) + piece.height),
        raise_head: raise,
        stops_across: across
            .map(|focal_length| optics::stops_across(focal_length, on_piece, piece.rise)),
    })
}
