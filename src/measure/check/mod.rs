//! Checks of the scan: what is wrong with it, how much that matters, what to do.
//!
//! Each check is one file with its thresholds, and where they come from, at its head; rates of
//! detection and of false alarms are in docs/scan-checks.md.

pub mod auto_levels;
pub mod blocks;
pub mod clipped;
pub mod grid;
pub mod halos;
pub mod picture;
pub mod quantisation;
pub mod resolution;
pub mod sample;
#[cfg(test)]
pub mod synthetic;
