//! From the recipe of a print on paper to the exposure of a coated piece.
//!
//! t_e = t_p r (N_e/N_p)^2 ((1 + m_e)/(1 + m_p))^2: docs/planning.md has the formulas with
//! their sources. A [`Recipe`] says how the paper print was made, a [`Piece`] what is to be
//! printed on, a [`Basis`] what is known of the emulsion; [`carry()`] makes a [`Plan`] of them.
//! Nothing here knows where the knowledge was kept.

mod aperture_choice;
pub mod basis;
pub mod bracket;
mod carry;
mod changes;
mod contrast;
mod next_strip;
mod notes;
pub mod piece;
mod place;
mod planned;
pub mod recipe;
mod recipe_check;
mod wording;

#[cfg(test)]
mod change_tests;
#[cfg(test)]
mod laws;
#[cfg(test)]
mod wording_tests;

pub use super::optics;
pub use basis::{Basis, Drift, Origin, Side, Tested, ToneShift};
pub use bracket::Bracket;
pub use carry::carry;
pub use next_strip::{NextStrip, Roughness, after_a_miss, next_strip};
pub use piece::{HeadMove, Piece};
pub use planned::{Aim, CarriedChange, Choices, Doubt, OnPiece, Plan, PlannedExposure, Scale};
pub use recipe::{Amount, Burst, Change, Grade, Recipe, Throw, Tone, Way};
pub use recipe_check::RecipeError;
