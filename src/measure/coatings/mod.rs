//! Coatings against each other: differences that hold together, what another coat brings, the
//! thinnest coat that is dark enough, how even each is, what it costs.
//!
//! docs/pooling.md has formulas, sources and the measured coverage.

mod classical;
mod compared;
mod draws;
mod evenness;
mod joint;
mod look;
mod quadrature;
mod spots;
mod thinnest;
mod trend;

#[cfg(test)]
mod evenness_tests;
#[cfg(test)]
mod tests;

pub use classical::{dunnett, dunnett_below, studentised_range, studentised_range_below};
pub use compared::{Coating, Compared, Measured, Shared, Table, Thickness, compare, shared};
pub use evenness::{Evenness, Mottle, Streaks, evenness};
pub use joint::{Among, Bound, Difference, Together, Values, together};
pub use look::{Look, look};
pub use spots::{Count, Spots, spots};
pub use thinnest::{Amount, DARK_ENOUGH, Thinnest, on_piece, thinnest};
pub use trend::{BandPoint, Line, line};
