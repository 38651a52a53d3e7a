//! Everything on disk: scans, sessions, wedge lists, exports, atomic writes.

pub mod scan;
