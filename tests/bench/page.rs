//! The scan that is measured: a practice session on a whole A4 bed, colour, 16 bits, sRGB.
//!
//! Every pixel carries the scanner's noise, so that LZW and deflate have to work as they do on
//! a real scan.

use std::path::Path;

use twinstrip::files::scan::{
    Container, Mark, Packing, Picture, ScanOptions, StatedEncoding, WriteOptions, read_scan,
    write_scan,
};
use twinstrip::measure::analysis::Question;
use twinstrip::measure::raster::Raster;
use twinstrip::measure::watch::Watch;
use twinstrip::simulate::{Encoding, Level, Practice, Recipe, make, question};

/// Seed of the session. It is one of those to tune on; nothing is published of its answer.
const SEED: u64 = 7;

/// Sides of A4, millimetres (ISO 216).
const A4: (f64, f64) = (210.0, 297.0);

/// Dots per inch at which only the description of the session is wanted.
const COARSE: f64 = 30.0;

/// The session at a resolution. What a person would say of it is the same at all of them.
pub fn practice(dpi: f64) -> Practice {
    make(&Recipe {
        dpi: Some(dpi),
        coupons: Some(1),
        encoding: Some(Encoding::Srgb),
        bits: Some(16),
        colour: Some(true),
        bed: Some(A4),
        ..Recipe::new(Level::Ordinary, SEED)
    })
}

/// What a person would say of the session, without the scan.
pub fn described() -> Question {
    Question {
        scans: vec![],
        ..question(&practice(COARSE))
    }
}

/// Reads a scan as the program does.
pub fn read(path: &Path, watch: &dyn Watch) -> Raster {
    let options = ScanOptions {
        stated: Some(StatedEncoding::Srgb),
        ..ScanOptions::default()
    };
    read_scan(path, &options, watch).unwrap()
}

/// The kinds of file, by the names of the table.
pub const FILES: [(&str, Container); 8] = [
    ("uncompressed", tiff(Packing::Plain, Some(16))),
    ("one strip", tiff(Packing::Plain, Some(20_000))),
    ("LZW", tiff(Packing::Lzw, Some(16))),
    ("deflate", tiff(Packing::Deflate, Some(16))),
    ("LZW by rows", tiff(Packing::Lzw, Some(1))),
    ("deflate by rows", tiff(Packing::Deflate, Some(1))),
    ("PackBits", tiff(Packing::PackBits, None)),
    ("PNG", Container::Png),
];

const fn tiff(packing: Packing, rows_per_strip: Option<u32>) -> Container {
    Container::Tiff {
        packing,
        rows_per_strip,
        big: false,
    }
}

/// Writes a scan.
pub fn write(raster: &Raster, container: Container, path: &Path) {
    let picture = Picture {
        width: raster.width,
        height: raster.height,
        channels: raster.channels,
        samples: &raster.samples,
    };
    let options = WriteOptions {
        container,
        pixels_per_mm: raster.pixels_per_mm,
        mark: Mark::None,
    };
    write_scan(path, &picture, &options).unwrap();
}
