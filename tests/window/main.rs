//! The window, used by the accessible names of its controls, and how it looks.
#![expect(
    clippy::disallowed_methods,
    clippy::unwrap_used,
    reason = "tests put files in place and look at what was written"
)]

mod again;
mod areas;
mod closing;
mod coat;
mod coatings;
mod inbox;
mod killed;
mod looks;
mod path;
mod printing;
mod profiles;
mod saying;
mod scanner;
mod sizes;
mod support;
