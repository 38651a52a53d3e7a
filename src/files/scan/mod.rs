//! Scan files, read and written.
//!
//! [`read_scan`] tells the kind of file by its content, decodes it straight into one picture
//! (TIFF on all threads), and finds the way from code values to linear light.

mod convert;
mod curve;
mod decoded;
mod error;
mod hash;
mod ifd;
mod jpeg;
mod light;
mod limits;
mod png;
mod profile;
mod sniff;
mod source;
mod tables;
mod tiff;
mod whole;
mod write;

use std::io::Read;
use std::panic::{AssertUnwindSafe, catch_unwind};
use std::path::Path;

pub use error::{Format, Problem, ScanError, Sort};
pub use hash::content_hash;
pub use light::{StatedEncoding, srgb_to_light};
pub use limits::Limits;
pub use whole::is_whole;
pub use write::{Container, Mark, Packing, Picture, WriteError, WriteOptions, write_scan};

use crate::measure::raster::{Origin, Raster};
use crate::measure::watch::Watch;
use source::Source;

/// How a scan is read.
#[derive(Debug, Clone, Copy, PartialEq, Default)]
pub struct ScanOptions {
    /// Limits on its size.
    pub limits: Limits,
    /// Its encoding, when the user says so; otherwise the file is asked, and if it is silent
    /// sRGB is assumed (linear for floating point) with a note.
    pub stated: Option<StatedEncoding>,
}

/// Reads a scan file: TIFF, PNG or JPEG, told by content.
///
/// The watch is told bytes of the file. Memory at the peak is the decoded picture and about
/// 1 MB a thread for TIFF in strips and PNG; see docs/scan-files.md for the exceptions.
///
/// # Errors
/// [`ScanError`] names the file, what is wrong, and what to do; when the watch cancels, its
/// problem is [`Problem::Cancelled`].
pub fn read_scan(
    path: &Path,
    options: &ScanOptions,
    watch: &dyn Watch,
) -> Result<Raster, ScanError> {
    let failed = |problem| ScanError::new(path, problem);
    let source = Source::open(path, watch).map_err(failed)?;
    let format = format_of(&source).map_err(failed)?;
    // The decoders are libraries of others, fed with bytes from anywhere: a panic in one of
    // them says that the file is damaged, and must not end the program.
    let result = catch_unwind(AssertUnwindSafe(|| read(&source, format, options)))
        .unwrap_or_else(|_| Err(Problem::damaged(format, "its decoder gave up")));
    match result {
        _ if source.cancelled() => Err(failed(Problem::Cancelled)),
        Ok(raster) => Ok(raster),
        Err(problem) => Err(failed(problem)),
    }
}

fn format_of(source: &Source<'_>) -> Result<Format, Problem> {
    let mut start = Vec::with_capacity(sniff::ENOUGH);
    source
        .reader()
        .and_then(|reader| reader.take(sniff::ENOUGH as u64).read_to_end(&mut start))
        .map_err(|error| {
            if source.cancelled() {
                Problem::Cancelled
            } else {
                Problem::Broken(error)
            }
        })?;
    sniff::format(&start)
}

fn read(source: &Source<'_>, format: Format, options: &ScanOptions) -> Result<Raster, Problem> {
    let mut decoded = match format {
        Format::Tiff => tiff::read(source, &options.limits),
        Format::Png => png::read(source, &options.limits),
        Format::Jpeg => jpeg::read(source, &options.limits),
    }?;
    let light = light::light(&mut decoded, format, options.stated)?;
    let pixels_per_mm = decoded.pixels_per_mm();
    Ok(Raster {
        width: decoded.width,
        height: decoded.height,
        channels: decoded.channels,
        samples: decoded.samples,
        light,
        pixels_per_mm,
        origin: Origin {
            bits: decoded.bits,
            lossy: decoded.lossy,
            notes: decoded.notes,
        },
    })
}
