//! Practice scans with known truth: a physical model of strips, coat and scanner.
//!
//! A [`Recipe`] (level, seed, perhaps a [`Twist`]) gives a [`Practice`]: scans in memory,
//! the session as told, and the [`truth`]. From the light on: [`exposing`] plans the
//! exposures, [`curve`] and [`shape`] turn them into density, [`field`] makes the coat
//! uneven, [`layout`] lays the sheets, [`paint`] makes light of them, [`scanner`] codes, and
//! [`faults`] spoils.

pub mod curve;
pub mod exposing;
pub mod faults;
pub mod field;
pub mod layout;
pub mod marks;
pub mod material;
pub mod noise;
pub mod optics;
pub mod paint;
pub mod practice;
pub mod recipe;
pub mod scanner;
pub mod scene;
pub mod session;
pub mod shape;
pub mod shelf;
pub mod strips;
pub mod told;
pub mod truth;

#[cfg(test)]
mod tests;

pub use practice::{Practice, question};
pub use recipe::{Encoding, Level, Material, Materials, Recipe, Twist};
pub use session::{empty_glass, make};
pub use shape::Family;
pub use truth::Truth;
