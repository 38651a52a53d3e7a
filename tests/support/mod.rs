//! A folder with scans and sessions, and the program run in it.

use std::path::{Path, PathBuf};

use assert_cmd::cargo::cargo_bin_cmd;
use tempfile::TempDir;
use twinstrip::files::atomic;
use twinstrip::files::scan::{Container, Mark, Packing, Picture, WriteOptions, write_scan};
use twinstrip::measure::raster::Samples;

/// A folder that is gone when the test ends.
pub struct Desk {
    folder: TempDir,
}

/// What a run of the program left behind.
pub struct Ran {
    /// Exit code.
    pub code: i32,
    /// Standard output.
    pub out: String,
    /// Standard error.
    pub err: String,
}

impl Desk {
    /// An empty folder.
    pub fn new() -> Self {
        Self {
            folder: tempfile::tempdir().unwrap(),
        }
    }

    /// Where a file lies.
    pub fn path(&self, name: &str) -> PathBuf {
        self.folder.path().join(name)
    }

    /// Puts a file there.
    pub fn put(&self, name: &str, content: &[u8]) {
        atomic::write(&self.path(name), content).unwrap();
    }

    /// Puts an even grey scan there, `light` being its code as a share of full scale.
    pub fn put_scan(&self, name: &str, container: Container, light: f64) {
        even_scan(&self.path(name), container, light);
    }

    /// Runs the program in the folder.
    pub fn run(&self, arguments: &[&str]) -> Ran {
        let output = cargo_bin_cmd!("twinstrip")
            .current_dir(self.folder.path())
            .args(arguments)
            .output()
            .unwrap();
        Ran {
            code: output.status.code().unwrap(),
            out: String::from_utf8(output.stdout).unwrap(),
            err: String::from_utf8(output.stderr).unwrap(),
        }
    }
}

/// A plain TIFF.
pub fn tiff() -> Container {
    Container::tiff(Packing::Plain)
}

fn even_scan(path: &Path, container: Container, light: f64) {
    let (width, height) = (300, 200);
    let count = width * height * 3;
    let samples = match container {
        Container::Jpeg { .. } => Samples::Eight(vec![(light * 255.0) as u8; count]),
        _ => Samples::Sixteen(vec![(light * 65535.0) as u16; count]),
    };
    let picture = Picture {
        width,
        height,
        channels: 3,
        samples: &samples,
    };
    let options = WriteOptions {
        container,
        pixels_per_mm: Some(4.0),
        mark: Mark::None,
    };
    write_scan(path, &picture, &options).unwrap();
}
