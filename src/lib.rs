//! twinstrip carries an exposure found on ordinary printing paper over to a hand-coated
//! photographic emulsion, from scans of two test strips exposed in one session.
//!
//! The rooms, from the bottom up (each knows only what stands above it in this list):
//! [`measure`] the pure core, [`document`] the session and its edits, [`files`] everything on
//! disk, [`headless`] the command line, `window` the desktop window (a feature); [`simulate`]
//! makes practice scans with known truth.

pub mod document;
pub mod files;
pub mod headless;
pub mod measure;
pub mod simulate;
#[cfg(feature = "window")]
pub mod window;
