//! The session file: versioned RON that a person can write by hand.
//!
//! docs/session-file.md describes it.

mod dto;
mod print;
mod read;
mod shape;
mod used;
mod values;
mod write;

#[cfg(test)]
mod print_tests;
#[cfg(test)]
mod same_tests;
#[cfg(test)]
mod tests;

pub use read::{Beside, Folder, from_text, read_session, read_session_and_hash};
pub use write::{to_text, write_session};

/// Version of the session file that this program writes, and the newest that it reads.
pub const VERSION: u64 = 4;
