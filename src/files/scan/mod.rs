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
mod jpeg_blocks;
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
pub use write::{
    Container, Mark, Packing, Picture, WriteError, WriteOptions, write_picture, write_scan,
};

use super::inputs;
use crate::measure::raster::{Origin, Raster};
use crate::measure::watch::{Unwatched, Watch};
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

/// Reads a scan file: TIFF, PNG or JPEG, told by content. No output of this run may replace it from
/// then on.
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
    let raster = decode(&source, options).map_err(failed)?;
    source.unchanged().map_err(failed)?;
    inputs::note(path);
    Ok(raster)
}

/// Reads a scan file as [`read_scan`] does, and gives the fingerprint of the very bytes that were
/// read (see [`content_hash`]): a scan that was saved anew meanwhile is not taken for this one.
///
/// # Errors
/// Those of [`read_scan`], and [`Problem::Changed`] when somebody wrote to the file meanwhile.
pub fn read_scan_and_hash(
    path: &Path,
    options: &ScanOptions,
    watch: &dyn Watch,
) -> Result<(Raster, String), ScanError> {
    let failed = |problem| ScanError::new(path, problem);
    let source = Source::open(path, watch).map_err(failed)?;
    let raster = decode(&source, options).map_err(failed)?;
    let hash = hash::hash_of(&source).map_err(failed)?;
    inputs::note(path);
    Ok((raster, hash))
}

fn decode(source: &Source<'_>, options: &ScanOptions) -> Result<Raster, Problem> {
    let format = format_of(source)?;
    // The decoders are libraries of others, fed with bytes from anywhere: a panic in one of
    // them says that the file is damaged, and must not end the program.
    let result = catch_unwind(AssertUnwindSafe(|| read(source, format, options)))
        .unwrap_or_else(|_| Err(Problem::damaged(format, "its decoder gave up")));
    if source.cancelled() {
        return Err(Problem::Cancelled);
    }
    result
}

/// Whether a file that begins like this is a picture that can be read.
pub(super) fn is_picture(head: &[u8]) -> bool {
    sniff::format(head).is_ok()
}

/// Whether a picture says that this program made it, and not a scanner.
pub(super) fn is_own_picture(path: &Path) -> bool {
    let Ok(source) = Source::open(path, &Unwatched) else {
        return false;
    };
    let mut stream = source.reader();
    let mark = match format_of(&source) {
        Ok(Format::Tiff) => ifd::Ifd::first(&mut stream)
            .and_then(|ifd| ifd.bytes(&mut stream, ifd::tag::SOFTWARE, 256)),
        Ok(Format::Png) => {
            let mut head = Vec::new();
            let read = stream.take(4096).read_to_end(&mut head);
            read.map(|_| Some(head))
        }
        _ => Ok(None),
    };
    let own = write::OWN_PICTURE.as_bytes();
    let holds = |bytes: Vec<u8>| bytes.windows(own.len()).any(|part| part == own);
    mark.ok().flatten().is_some_and(holds)
}

fn format_of(source: &Source<'_>) -> Result<Format, Problem> {
    let mut start = Vec::with_capacity(sniff::ENOUGH);
    let reader = source.reader().take(sniff::ENOUGH as u64);
    let read = { reader }.read_to_end(&mut start);
    read.map_err(|error| {
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
