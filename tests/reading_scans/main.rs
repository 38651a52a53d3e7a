//! Scan files as scanners and programs write them, read through the public interface.

mod containers;
mod support;
