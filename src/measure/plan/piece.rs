//! The piece that is to be printed on: where its face lies under the enlarger.

use serde::Serialize;

/// A coated piece on the baseboard. Lengths in millimetres.
#[derive(Debug, Clone, PartialEq, Default, Serialize)]
pub struct Piece {
    /// What the printer calls it.
    pub name: String,
    /// How far the middle of its face lies above the easel that the paper print lay on;
    /// below it: negative.
    pub height: f64,
    /// Width and length of its face.
    pub size: Option<(f64, f64)>,
    /// How much higher the highest part of its face lies than the lowest: slope, hollows,
    /// a bulge. Not negative.
    pub rise: f64,
}

/// What happens to the head of the enlarger when the piece is put under it.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default, Serialize)]
#[serde(rename_all = "kebab-case")]
pub enum HeadMove {
    /// It stays where it was for the paper; the picture on the piece becomes smaller.
    #[default]
    Stays,
    /// It is raised by the height of the piece: size and light stay as they were.
    RaisedByHeight,
}

impl Piece {
    /// A flat piece whose face lies this high above the easel, mm.
    pub fn flat(name: impl Into<String>, height: f64) -> Self {
        Self {
            name: name.into(),
            height,
            size: None,
            rise: 0.0,
        }
    }
}
