//! Scan files as scanners and programs write them, read through the public interface.

#![expect(
    clippy::disallowed_methods,
    clippy::unwrap_used,
    reason = "what fails here fails a test, and files are what is tested"
)]

mod containers;
mod encodings;
mod layouts;
mod maker;
mod mutations;
mod pages;
mod refusals;
mod support;
