//! PNG (W3C Portable Network Graphics, third edition).

use std::io::{Read, Seek, SeekFrom};

use png::{BitDepth, ColorType, DecodingError, Info, Transformations};

use super::decoded::{Claim, Decoded};
use super::error::{Format, Problem};
use super::limits::{DEFLATE, Limits, check_room, room_for};
use super::source::{Reader, Source};
use super::tiff::turned;
use crate::measure::raster::Samples;

const PNG: Format = Format::Png;

/// Reads the picture (of an animation the first).
pub(super) fn read(source: &Source<'_>, limits: &Limits) -> Result<Decoded, Problem> {
    let mut stream = source.reader();
    let has_profile = has_profile(&mut stream, limits, source.length())?;
    stream.seek(SeekFrom::Start(0)).map_err(Problem::Broken)?;
    let mut decoder = png::Decoder::new(stream);
    decoder.set_ignore_text_chunk(true);
    decoder.set_transformations(Transformations::EXPAND);
    let mut reader = decoder.read_info().map_err(problem)?;
    let info = reader.info().clone();
    let (color, depth) = reader.output_color_type();
    let (channels, stored) = match color {
        ColorType::Grayscale => (1, 1),
        ColorType::GrayscaleAlpha => (1, 2),
        ColorType::Rgb => (3, 3),
        ColorType::Rgba => (3, 4),
        ColorType::Indexed => return Err(Problem::damaged(PNG, "no palette")),
    };
    let (width, height) = (info.width as usize, info.height as usize);
    let bytes = if depth == BitDepth::Sixteen { 2 } else { 1 };
    let whole = [
        u64::from(info.width),
        u64::from(info.height),
        stored as u64,
        bytes as u64,
    ];
    // With four channels and passes all four are needed at once; a profile of tables turns 8 bits
    // into 16.
    let decoded = limits.check_bytes(PNG, &whole)? as u64;
    let apart = info.interlaced && stored > channels;
    let converted = has_profile && bytes == 1;
    check_room(
        PNG,
        decoded * (1 + u64::from(apart) + 2 * u64::from(converted)),
    )?;
    let mut notes = Vec::new();
    if stored > channels {
        notes.push("The alpha channel was passed over".into());
    }
    let count = width * height * channels;
    let samples = if bytes == 2 {
        let mut codes = room_for::<u16>(PNG, count)?;
        let rows = bytemuck::cast_slice_mut(&mut codes);
        fill(
            &mut reader,
            width * channels * 2,
            (channels * 2, stored * 2),
            rows,
        )?;
        // PNG puts the higher byte first.
        codes
            .iter_mut()
            .for_each(|code| *code = u16::from_be(*code));
        Samples::Sixteen(codes)
    } else {
        let mut codes = room_for::<u8>(PNG, count)?;
        fill(
            &mut reader,
            width * channels,
            (channels, stored),
            &mut codes,
        )?;
        Samples::Eight(codes)
    };
    if let Some(exif) = &info.exif_metadata {
        let mut exif = std::io::Cursor::new(exif);
        if let Ok(ifd) = super::ifd::Ifd::first(&mut exif)
            && let Ok(Some(orientation @ 2..=8)) =
                ifd.number(&mut exif, super::ifd::tag::ORIENTATION)
        {
            notes.push(turned(orientation).into());
        }
    }
    Ok(Decoded {
        width,
        height,
        channels,
        samples,
        bits: info.bit_depth as u8,
        lossy: false,
        whole: true,
        resolution: info.pixel_dims.and_then(|dims| {
            let per_mm = [dims.xppu, dims.yppu].map(|per_metre| f64::from(per_metre) / 1000.0);
            (dims.unit == png::Unit::Meter).then_some(per_mm)
        }),
        claim: claim(&info, has_profile)?,
        notes,
    })
}

/// Decodes the rows; `pixel` gives the bytes of a pixel kept and stored.
fn fill(
    reader: &mut png::Reader<Reader<'_>>,
    row_bytes: usize,
    pixel: (usize, usize),
    out: &mut [u8],
) -> Result<(), Problem> {
    let (kept, stored) = pixel;
    let keep = |out: &mut [u8], from: &[u8]| {
        for (out, from) in out.chunks_exact_mut(kept).zip(from.chunks_exact(stored)) {
            out.copy_from_slice(&from[..kept]);
        }
    };
    if kept == stored {
        reader.next_frame(out).map_err(problem)?;
    } else if reader.info().interlaced {
        // Passes fill pixels all over the picture, so all of it is needed at once.
        let mut whole = room_for::<u8>(PNG, out.len() / kept * stored)?;
        reader.next_frame(&mut whole).map_err(problem)?;
        keep(out, &whole);
    } else {
        let mut row = vec![0; row_bytes / kept * stored];
        for out in out.chunks_exact_mut(row_bytes) {
            reader.read_row(&mut row).map_err(problem)?;
            keep(out, &row);
        }
    }
    // The end of the file holds nothing of use, but its absence is worth knowing.
    reader.finish().map_err(problem)
}

/// Walks the chunks before the picture: checks the size, before a decoder takes memory for it,
/// and tells whether a profile is there, since the decoder drops a damaged one in silence.
fn has_profile(stream: &mut Reader<'_>, limits: &Limits, length: u64) -> Result<bool, Problem> {
    let broken = |error| Problem::reading(PNG, error);
    let mut place = 8;
    loop {
        let mut head = [0; 16];
        stream.seek(SeekFrom::Start(place)).map_err(broken)?;
        stream.read_exact(&mut head[..8]).map_err(broken)?;
        let number = |at: usize| {
            u64::from(head[at]) << 24
                | u64::from(head[at + 1]) << 16
                | u64::from(head[at + 2]) << 8
                | u64::from(head[at + 3])
        };
        match &head[4..8] {
            b"IDAT" | b"IEND" => return Ok(false),
            b"iCCP" => return Ok(true),
            b"IHDR" => {
                let mut size = [0; 10];
                stream.read_exact(&mut size).map_err(broken)?;
                let [width, height] = [&size[..4], &size[4..8]].map(|bytes| {
                    bytes
                        .iter()
                        .fold(0, |sum, &byte| sum << 8 | u64::from(byte))
                });
                limits.check_pixels(PNG, width, height)?;
                let samples = match size[9] {
                    2 => 3,
                    4 => 2,
                    6 => 4,
                    _ => 1,
                };
                let bits = u128::from(size[8]) * samples * u128::from(width);
                let codes = bits.div_ceil(8) * u128::from(height);
                Limits::check_length(PNG, codes, length, DEFLATE)?;
            }
            _ => {}
        }
        place += 12 + number(0);
    }
}

/// The first of cICP, iCCP, sRGB, gAMA that is there (third edition, section 4.3).
fn claim(info: &Info<'_>, has_profile: bool) -> Result<Claim, Problem> {
    if let Some(points) = info.coding_independent_code_points {
        if points.matrix_coefficients != 0 || !points.is_video_full_range_image {
            return Err(Problem::unsupported(
                PNG,
                "video range or YCbCr by a cICP chunk",
                "save the scan as plain RGB",
            ));
        }
        return Ok(Claim::CodePoints {
            primaries: points.color_primaries,
            transfer: points.transfer_function,
        });
    }
    if let Some(profile) = &info.icc_profile {
        return Ok(Claim::Profile(profile.to_vec()));
    }
    if has_profile {
        // An empty profile is refused where profiles are read, unless an encoding is stated.
        return Ok(Claim::Profile(Vec::new()));
    }
    if info.srgb.is_some() {
        return Ok(Claim::Srgb("sRGB chunk"));
    }
    let Some(gamma) = info.gama_chunk else {
        return Ok(Claim::Nothing);
    };
    let gamma = 100_000.0 / f64::from(gamma.into_scaled());
    if !(0.2..=10.0).contains(&gamma) {
        return Ok(Claim::Nothing);
    }
    Ok(Claim::Gamma {
        gamma,
        weights: info.chrm_chunk.and_then(|chunk| {
            let point = |(x, y): (png::ScaledFloat, png::ScaledFloat)| {
                [x, y].map(|share| f64::from(share.into_scaled()) / 100_000.0)
            };
            let primaries = [chunk.red, chunk.green, chunk.blue].map(point);
            super::profile::weights_of_primaries(primaries, point(chunk.white))
        }),
    })
}

fn problem(error: DecodingError) -> Problem {
    match error {
        DecodingError::IoError(error) => Problem::reading(PNG, error),
        DecodingError::LimitsExceeded => Problem::damaged(PNG, "a chunk of absurd size"),
        other => Problem::damaged(PNG, other),
    }
}
