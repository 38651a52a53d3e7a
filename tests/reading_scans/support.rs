//! Pictures and files for the tests.

use std::path::{Path, PathBuf};

use twinstrip::files::scan::{
    Container, Mark, Picture, ScanError, ScanOptions, WriteOptions, read_scan, write_scan,
};
use twinstrip::measure::raster::{Raster, Samples};
use twinstrip::measure::watch::Unwatched;

/// A folder that goes away, with files in it.
pub struct Folder(tempfile::TempDir);

impl Folder {
    pub fn new() -> Self {
        Self(tempfile::tempdir().unwrap())
    }

    pub fn path(&self, name: &str) -> PathBuf {
        self.0.path().join(name)
    }

    pub fn with(&self, name: &str, bytes: &[u8]) -> PathBuf {
        let path = self.path(name);
        std::fs::write(&path, bytes).unwrap();
        path
    }
}

/// Width and height of the test picture: neither fits a tile, a strip or a byte border.
pub const SIZE: (usize, usize) = (37, 29);

/// A code value that differs from place to place and from channel to channel, 0 to 65535.
pub fn code(x: usize, y: usize, channel: usize) -> u16 {
    let mixed = (x * 1301 + y * 7919 + channel * 17_389 + x * y * 31) % 65_536;
    mixed as u16
}

/// The test picture.
pub fn codes(channels: usize) -> Vec<u16> {
    let (width, height) = SIZE;
    let mut codes = Vec::new();
    for y in 0..height {
        for x in 0..width {
            codes.extend((0..channels).map(|channel| code(x, y, channel)));
        }
    }
    codes
}

pub fn sixteen(channels: usize) -> Samples {
    Samples::Sixteen(codes(channels))
}

pub fn eight(channels: usize) -> Samples {
    Samples::Eight(
        codes(channels)
            .iter()
            .map(|code| (code >> 8) as u8)
            .collect(),
    )
}

pub fn float(channels: usize) -> Samples {
    Samples::Float(
        codes(channels)
            .iter()
            .map(|&code| f32::from(code) / 65_535.0)
            .collect(),
    )
}

pub fn write(path: &Path, samples: &Samples, channels: usize, container: Container, mark: Mark) {
    let picture = Picture {
        width: SIZE.0,
        height: SIZE.1,
        channels,
        samples,
    };
    let options = WriteOptions {
        container,
        pixels_per_mm: Some(600.0 / 25.4),
        mark,
    };
    write_scan(path, &picture, &options).unwrap();
}

pub fn bytes(path: &Path) -> Vec<u8> {
    std::fs::read(path).unwrap()
}

pub fn read(path: &Path) -> Result<Raster, ScanError> {
    read_scan(path, &ScanOptions::default(), &Unwatched)
}
