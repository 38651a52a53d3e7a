//! Scan files as scanners and programs write them, read through the public interface.

mod containers;
mod encodings;
mod layouts;
mod maker;
mod mutations;
mod refusals;
mod support;
