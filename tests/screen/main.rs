//! The program in a real window: on a screen in memory (Xvfb), with events of the X server.
//!
//! `TWINSTRIP_PROGRAM` names the program that is driven; `tests/check-all.sh` names the release
//! build. Without it, it is the one that cargo built along with these tests.
#![cfg(all(target_os = "linux", feature = "window"))]
#![expect(
    clippy::disallowed_methods,
    clippy::unwrap_used,
    reason = "tests put files in place, measure time and look at what was written"
)]

mod drop;
mod killed;
mod program;
mod screen;
mod start;
mod work;
