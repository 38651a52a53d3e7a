//! The session file: versioned RON that a person can write by hand.
//!
//! docs/session-file.md describes it.

mod dto;
mod explain;
mod read;
mod shape;
mod values;
mod write;

#[cfg(test)]
mod tests;

pub use read::{from_text, read_session};
pub use write::{to_text, write_session};

/// Version of the session file that this program writes, and the newest that it reads.
pub const VERSION: u64 = 1;

/// RON in which an optional value stands without `Some`.
fn ron_options() -> ron::Options {
    ron::Options::default().with_default_extension(ron::extensions::Extensions::IMPLICIT_SOME)
}
