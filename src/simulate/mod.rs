//! Practice scans with known truth: a physical model of strips, coat and scanner.
//!
//! A [`Recipe`] (level, seed, perhaps a [`Twist`]) gives a [`Practice`]: scans in memory,
//! the session as told, and the [`truth`]. From the light on: [`exposing`] plans the
//! exposures, [`curve`] and [`shape`] turn them into density, [`field`] makes the coat
//! uneven, [`setting`] and [`arrange`] say where the steps lie on it, [`layout`] lays the sheets, [`paint`] makes light of them, [`scanner`] codes, and
//! [`faults`] spoils.

pub mod arrange;
pub mod clutter;
pub mod curve;
pub(crate) mod cutting;
pub mod exposing;
pub mod faults;
pub mod field;
pub mod layout;
pub mod marks;
pub mod mask;
pub mod material;
pub mod noise;
pub mod optics;
pub mod paint;
pub mod placing;
pub mod practice;
pub mod recipe;
pub mod scanner;
pub mod scene;
pub mod session;
pub mod setting;
pub mod shape;
pub mod shelf;
pub mod strips;
pub mod told;
pub mod truth;
pub(crate) mod windowed;

#[cfg(test)]
mod layout_tests;
#[cfg(test)]
mod tests;

pub use practice::{Practice, question};
pub use recipe::{Encoding, Level, Material, Materials, Recipe, Twist};
pub use session::{empty_glass, make};
pub use setting::{Arrangement, Kept, Layout, Relief, Setting, Support, Surround};
pub use shape::Family;
pub use truth::Truth;
