//! The tone preview: what a finished paper print would look like on the coated piece.
//!
//! Every tone of the print's scan goes the same way: linear light to density (by a wedge, a
//! calibration or an assumed white), back through the paper's curve to the log exposure that
//! made it, on by the planned shift, and through the coating's curve to the density that the
//! piece will have. For the screen the colour of coat and ground, as seen on the coated strip,
//! is laid over it.
//!
//! What that leaves out: stray light, the eye's adaptation, and how a pixel smaller than the
//! picture's grain would look; tones beyond the tested steps are held at the nearest tested
//! one, and their share is told.

mod closest;
mod colour;
mod curve;
mod picture;
mod prepare;
mod print;
mod told;
mod tones;

#[cfg(test)]
mod tests;

pub use closest::{Closest, Contrast, Match, closest};
pub use colour::CoatColour;
pub use curve::{Reached, TestedCurve};
pub use picture::{Histogram, PrintPicture};
pub use prepare::{Prepared, prepare};
pub use print::full_size;
pub use told::{Shares, findings, shares};
pub use tones::{LEVELS, Loss, Table, Tones, density_of_level, encoded_srgb, level_of_density};
