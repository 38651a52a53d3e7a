//! Everything on disk: scans, sessions, wedge lists, exports, atomic writes.

pub mod atomic;

pub mod calibration;
mod cgats;
pub mod clock;
mod explain;
pub mod folder;
pub mod fonts;
pub mod inbox;
mod inputs;
pub mod keep;
mod layout;
mod memory;
pub mod output;
pub mod paths;
pub mod recipe;
pub mod scan;
pub mod session;
pub mod sheet;
pub mod shelf;
pub mod text;
pub mod wedge;
