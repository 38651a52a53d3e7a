//! The pure core: numbers in, numbers and findings out.
//!
//! Nothing in here touches files, windows, clocks or the terminal. Work on pixels is
//! data-parallel through rayon; results don't depend on the number of threads.

pub mod analysis;
pub mod calibrating;
pub mod check;
pub mod coatings;
pub mod compare;
pub mod curve;
pub mod estimate;
pub mod exposure;
pub mod finding;
pub mod geometry;
pub mod least_squares;
pub mod nearest;
pub mod optics;
pub mod plan;
pub mod pool;
pub mod predictive;
pub mod preview;
pub mod raster;
pub mod reading;
pub mod scale;
pub mod strip;
pub mod unexposed;
pub mod units;
pub mod visual;
pub mod watch;
