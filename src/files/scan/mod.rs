//! Scan files, read and written.

mod write;

pub use write::{Container, Mark, Packing, Picture, WriteError, WriteOptions, write_scan};
