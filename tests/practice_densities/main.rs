//! Densities read from practice scans whose truth is known.
//!
//! A short version runs with the other tests; `TWINSTRIP_STUDY=full` makes the tables of
//! docs/densities.md (a number instead: so many sessions a level; `TWINSTRIP_SEED`: from there).

#![expect(clippy::unwrap_used, reason = "what fails here fails a test")]

mod areas;
mod steps;
