//! Strips and tiles that a decoder has to unpack, side by side on all threads.

use rayon::prelude::*;
use tiff::TiffError;
use tiff::decoder::{Decoder, DecodingResult};

use super::TIFF;
use super::layout::{Kind, Layout};
use crate::files::scan::error::Problem;
use crate::files::scan::source::{Reader, Source};

pub(super) fn fill(
    source: &Source<'_>,
    layout: &Layout,
    picture: &mut [u8],
) -> Result<(), Problem> {
    let rows_of_chunks = layout.height.div_ceil(layout.chunk.1);
    // Each group opens the file and reads the header anew, so groups are not too small; and
    // there are several for each thread, because strips differ in the time they take.
    let groups = 4 * rayon::current_num_threads();
    let in_a_group = rows_of_chunks.div_ceil(groups).max(1);
    let chunk_row_bytes = layout.chunk.1 * layout.row_bytes();
    picture
        .par_chunks_mut(in_a_group * chunk_row_bytes)
        .enumerate()
        .try_for_each(|(group, out)| {
            let mut decoder = open(source, layout)?;
            let mut scratch = Vec::new();
            for (within, out) in out.chunks_mut(chunk_row_bytes).enumerate() {
                let chunk_row = group * in_a_group + within;
                unpack_row(&mut decoder, layout, chunk_row, &mut scratch, out)
                    .map_err(|error| problem(error, chunk_row * layout.chunk.1))?;
                finish(layout, out);
            }
            Ok(())
        })
}

/// A decoder that is shown the file as plain channels: photometric interpretation 1.
fn open<'a>(source: &'a Source<'_>, layout: &Layout) -> Result<Decoder<Reader<'a>>, Problem> {
    let shown = if layout.little_endian { [1, 0] } else { [0, 1] };
    let reader = source
        .reader()
        .patched(layout.photometric_at, &shown)
        .patched(layout.first.0, &layout.first.1);
    let mut limits = tiff::decoder::Limits::default();
    // The layout was checked against the limits; what is unpacked goes into memory of ours.
    let tile = layout.chunk.0 * layout.chunk.1 * layout.stored * layout.kind.bytes();
    limits.decoding_buffer_size = limits.decoding_buffer_size.max(tile);
    limits.intermediate_buffer_size = usize::try_from(source.length()).unwrap_or(usize::MAX);
    Ok(Decoder::new(reader)
        .map_err(|error| problem(error, 0))?
        .with_limits(limits))
}

/// Unpacks the strips or tiles that lie side by side into rows of the picture.
fn unpack_row(
    decoder: &mut Decoder<Reader<'_>>,
    layout: &Layout,
    chunk_row: usize,
    scratch: &mut Vec<u8>,
    out: &mut [u8],
) -> Result<(), TiffError> {
    let across = layout.width.div_ceil(layout.chunk.0);
    let in_a_plane = across * layout.height.div_ceil(layout.chunk.1);
    let (planes, side_by_side) = layout.planes();
    let direct = planes == 1 && side_by_side == layout.channels && layout.chunk.0 == layout.width;
    for plane in 0..planes {
        for column in 0..across {
            let index = (plane * in_a_plane + chunk_row * across + column) as u32;
            let (width, height) = decoder.chunk_data_dimensions(index);
            let row_bytes = layout.chunk.0 * side_by_side * layout.kind.bytes();
            let from = column * layout.chunk.0;
            let columns = (from, (from + width as usize).min(layout.width));
            if (width as usize) < layout.chunk.0 {
                // A tile over the right edge. Asked for its part within the picture, the
                // library reads row by row, and its LZW reader then misses the last codes; so
                // the whole tile is taken.
                let mut whole = DecodingResult::U8(Vec::new());
                decoder.read_chunk_to_buffer(&mut whole, index, row_bytes)?;
                let whole = whole.as_buffer(0);
                scatter(layout, whole.as_bytes(), row_bytes, columns, plane, out);
            } else if direct && row_bytes * height as usize == out.len() {
                decoder.read_chunk_bytes(index, out)?;
            } else {
                scratch.resize(row_bytes * height as usize, 0);
                decoder.read_chunk_bytes(index, scratch)?;
                scatter(layout, scratch, row_bytes, columns, plane, out);
            }
        }
    }
    Ok(())
}

/// Puts rows of stored channels into rows of the picture, columns from `.0` to before `.1`.
pub(super) fn scatter(
    layout: &Layout,
    stored: &[u8],
    stored_row: usize,
    columns: (usize, usize),
    plane: usize,
    out: &mut [u8],
) {
    let bytes = layout.kind.bytes();
    let (_, side_by_side) = layout.planes();
    let (stored_pixel, pixel) = (side_by_side * bytes, layout.channels * bytes);
    let kept = if layout.planar { bytes } else { pixel };
    let rows = out.chunks_exact_mut(layout.row_bytes());
    for (row, stored) in rows.zip(stored.chunks_exact(stored_row)) {
        let row = &mut row[columns.0 * pixel..columns.1 * pixel];
        if stored_pixel == pixel && kept == pixel {
            let length = row.len();
            row.copy_from_slice(&stored[..length]);
            continue;
        }
        let pixels = row.chunks_exact_mut(pixel);
        for (pixel, stored) in pixels.zip(stored.chunks_exact(stored_pixel)) {
            pixel[plane * bytes..][..kept].copy_from_slice(&stored[..kept]);
        }
    }
}

/// Turns stored values, in the byte order of this machine, into those of the picture.
pub(super) fn finish(layout: &Layout, bytes: &mut [u8]) {
    if layout.kind == Kind::ThirtyTwo {
        for code in bytemuck::cast_slice_mut::<u8, u32>(bytes) {
            *code = ((f64::from(*code) / f64::from(u32::MAX)) as f32).to_bits();
        }
    }
    if !layout.white_is_zero {
        return;
    }
    match layout.kind {
        Kind::Eight | Kind::Sixteen => {
            for byte in bytes {
                *byte = !*byte;
            }
        }
        Kind::ThirtyTwo | Kind::Float => {
            for value in bytemuck::cast_slice_mut::<u8, f32>(bytes) {
                *value = 1.0 - *value;
            }
        }
    }
}

fn problem(error: TiffError, row: usize) -> Problem {
    match error {
        TiffError::IoError(error) => match Problem::reading(TIFF, error) {
            Problem::CutShort { .. } => {
                Problem::cut_short(TIFF, format_args!("data are missing near row {row}"))
            }
            other => other,
        },
        TiffError::UnsupportedError(what) => Problem::unsupported(
            TIFF,
            what,
            "save the scan as grey or RGB with 16 bits, uncompressed or LZW",
        ),
        other => Problem::damaged(TIFF, format_args!("{other}, near row {row}")),
    }
}
