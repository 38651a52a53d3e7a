//! Uncompressed strips: read in bands of rows by several threads, whatever the strips are.
//!
//! Many programs write the whole scan as one strip; a decoder would read that on one thread.

use std::io::{Read, Seek, SeekFrom};

use rayon::prelude::*;

use super::TIFF;
use super::layout::{Kind, Layout, PlainStrips};
use super::packed::{finish, scatter};
use crate::files::scan::error::Problem;
use crate::files::scan::source::{Reader, Source};

/// Bytes read at a time, about.
const BAND: usize = 1 << 20;

pub(super) fn fill(
    source: &Source<'_>,
    layout: &Layout,
    strips: &PlainStrips,
    picture: &mut [u8],
) -> Result<(), Problem> {
    let (planes, side_by_side) = layout.planes();
    let stored_row = layout.width * side_by_side * layout.kind.bytes();
    let rows = (BAND / stored_row).clamp(1, layout.height);
    let direct = planes == 1 && side_by_side == layout.channels;
    picture
        .par_chunks_mut(rows * layout.row_bytes())
        .enumerate()
        .try_for_each_init(
            || (source.reader(), Vec::new()),
            |(reader, scratch), (band, out)| {
                let first = band * rows;
                let count = out.len() / layout.row_bytes();
                for plane in 0..planes {
                    if direct {
                        read_rows(reader, layout, strips, plane, first, stored_row, out)?;
                    } else {
                        scratch.resize(count * stored_row, 0);
                        read_rows(reader, layout, strips, plane, first, stored_row, scratch)?;
                        scatter(layout, scratch, stored_row, (0, layout.width), plane, out);
                    }
                }
                to_native(layout, out);
                finish(layout, out);
                Ok(())
            },
        )
}

/// Reads whole rows from `first` on, across the borders of strips.
fn read_rows(
    reader: &mut Reader<'_>,
    layout: &Layout,
    strips: &PlainStrips,
    plane: usize,
    first: usize,
    stored_row: usize,
    out: &mut [u8],
) -> Result<(), Problem> {
    let strip_rows = layout.chunk.1;
    let in_a_plane = layout.height.div_ceil(strip_rows);
    let mut row = first;
    let mut rest = out;
    while !rest.is_empty() {
        let within = row % strip_rows;
        let rows = (strip_rows - within).min(rest.len() / stored_row);
        let (now, later) = rest.split_at_mut(rows * stored_row);
        let offset = strips.offsets[plane * in_a_plane + row / strip_rows];
        let place = offset.saturating_add((within * stored_row) as u64);
        reader
            .seek(SeekFrom::Start(place))
            .and_then(|_| reader.read_exact(now))
            .map_err(|error| match Problem::reading(TIFF, error) {
                Problem::CutShort { .. } => {
                    let height = layout.height;
                    Problem::cut_short(TIFF, format_args!("near row {row} of {height}"))
                }
                other => other,
            })?;
        row += rows;
        rest = later;
    }
    Ok(())
}

fn to_native(layout: &Layout, bytes: &mut [u8]) {
    if layout.little_endian == cfg!(target_endian = "little") {
        return;
    }
    match layout.kind {
        Kind::Eight => {}
        Kind::Sixteen => {
            for code in bytemuck::cast_slice_mut::<u8, u16>(bytes) {
                *code = code.swap_bytes();
            }
        }
        Kind::ThirtyTwo | Kind::Float => {
            for code in bytemuck::cast_slice_mut::<u8, u32>(bytes) {
                *code = code.swap_bytes();
            }
        }
    }
}
