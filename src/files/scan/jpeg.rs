//! JPEG (ITU-T T.81) with JFIF and Exif data.

use std::io::{Cursor, Read};

use zune_jpeg::JpegDecoder;
use zune_jpeg::errors::DecodeErrors;
use zune_jpeg::zune_core::bytestream::{ZByteReaderTrait, ZCursor};
use zune_jpeg::zune_core::colorspace::ColorSpace;
use zune_jpeg::zune_core::options::DecoderOptions;

use super::decoded::{Claim, Decoded};
use super::error::{Format, Problem};
use super::ifd::{Ifd, tag};
use super::jpeg_blocks::missing;
use super::limits::{JPEG as PACKS, Limits, check_room, room_for};
use super::source::Source;
use super::tiff::turned;
use crate::measure::raster::Samples;

const JPEG: Format = Format::Jpeg;
const SAVE_AS: &str = "save the scan as an RGB JPEG, or better as TIFF with 16 bits";

/// Reads the picture.
pub(super) fn read(source: &Source<'_>, limits: &Limits) -> Result<Decoded, Problem> {
    // The file itself is small beside the picture; in memory it is decoded several times faster.
    let length = limits.check_bytes(JPEG, &[source.length()])?;
    check_room(JPEG, length as u64)?;
    let mut file = room_for::<u8>(JPEG, length)?;
    let mut stream = source.reader();
    stream
        .read_exact(&mut file)
        .map_err(|error| Problem::reading(JPEG, error))?;
    let head = Head::of(&file)?;
    limits.check_pixels(JPEG, head.width, head.height)?;
    let channels = match head.components {
        1 => 1,
        3 => 3,
        4 => return Err(Problem::unsupported(JPEG, "CMYK colour", SAVE_AS)),
        other => {
            let what = format!("{other} colour components");
            return Err(Problem::unsupported(JPEG, what, SAVE_AS));
        }
    };
    // A progressive file keeps all its 16-bit coefficients while it is decoded.
    let share = if head.progressive { 3 } else { 1 };
    let bytes = limits.check_bytes(JPEG, &[head.width, head.height, channels, share])?;
    let codes = u128::from(head.width) * u128::from(head.height) * u128::from(channels);
    Limits::check_length(JPEG, codes, source.length(), PACKS)?;
    // A profile of tables turns 8 bits into 16.
    check_room(JPEG, bytes as u64 * if head.has_profile { 3 } else { 1 })?;
    if !ends(&file[head.scan_at..]) {
        return Err(Problem::cut_short(JPEG, "its end marker is missing"));
    }
    if let Some(what) = missing(&file) {
        return Err(Problem::cut_short(JPEG, what));
    }
    let color = if channels == 1 {
        ColorSpace::Luma
    } else {
        ColorSpace::RGB
    };
    // Not to be lenient: made-up pixels would be measured like real ones.
    let options = DecoderOptions::default()
        .set_strict_mode(true)
        .set_max_width(usize::from(u16::MAX))
        .set_max_height(usize::from(u16::MAX))
        .jpeg_set_out_colorspace(color);
    let mut decoder = JpegDecoder::new_with_options(ZCursor::new(&file), options);
    decoder.decode_headers().map_err(problem)?;
    let (width, height) = (head.width as usize, head.height as usize);
    let mut codes = room_for::<u8>(JPEG, width * height * channels as usize)?;
    if decoder.output_buffer_size() != Some(codes.len()) {
        return Err(Problem::damaged(JPEG, "its headers contradict each other"));
    }
    decoder.decode_into(&mut codes).map_err(problem)?;
    let mut resolution = head.resolution;
    let mut notes = Vec::new();
    let mut colour_space = None;
    if let Some(exif) = decoder.exif() {
        let mut exif = Cursor::new(exif);
        if let Ok(ifd) = Ifd::first(&mut exif) {
            resolution = resolution.or_else(|| ifd.resolution(&mut exif));
            if let Ok(Some(orientation @ 2..=8)) = ifd.number(&mut exif, tag::ORIENTATION) {
                notes.push(turned(orientation).into());
            }
            colour_space = ifd
                .child(&mut exif, tag::EXIF)
                .and_then(|ifd| ifd.number(&mut exif, tag::EXIF_COLOUR_SPACE).ok()?);
        }
    }
    Ok(Decoded {
        width,
        height,
        channels: channels as usize,
        samples: Samples::Eight(codes),
        bits: 8,
        lossy: true,
        whole: true,
        resolution,
        claim: claim(&decoder, head.has_profile, colour_space),
        notes,
    })
}

fn claim<T: ZByteReaderTrait>(
    decoder: &JpegDecoder<T>,
    has_profile: bool,
    colour_space: Option<u64>,
) -> Claim {
    match (decoder.icc_profile(), has_profile, colour_space) {
        (Some(profile), ..) => Claim::Profile(profile),
        // Its parts don't fit; an empty profile is refused where profiles are read.
        (None, true, _) => Claim::Profile(Vec::new()),
        (None, false, Some(1)) => Claim::Srgb("Exif data"),
        _ => Claim::Nothing,
    }
}

/// What the segments before the picture say.
#[derive(Debug, Default)]
struct Head {
    width: u64,
    height: u64,
    components: u8,
    progressive: bool,
    has_profile: bool,
    /// JFIF density, pixels per millimetre.
    resolution: Option<[f64; 2]>,
    /// Where the coded picture starts.
    scan_at: usize,
}

impl Head {
    fn of(file: &[u8]) -> Result<Self, Problem> {
        let short = || Problem::cut_short(JPEG, "its headers are missing");
        let mut head = Self::default();
        let mut at = 2;
        loop {
            let marker = *file.get(at + 1).ok_or_else(short)?;
            if file[at] != 0xff {
                return Err(Problem::damaged(JPEG, "its headers are garbled"));
            }
            // Fill bytes.
            if marker == 0xff {
                at += 1;
                continue;
            }
            let length = file.get(at + 2..at + 4).ok_or_else(short)?;
            let length = usize::from(u16::from_be_bytes([length[0], length[1]]));
            let end = at + 2 + length.max(2);
            let body = file.get(at + 4..end).ok_or_else(short)?;
            match (marker, body) {
                // Start of frame; C4, C8 and CC are tables.
                (0xc0..=0xcf, &[_, h1, h0, w1, w0, components, ..])
                    if !matches!(marker, 0xc4 | 0xc8 | 0xcc) =>
                {
                    head.height = u64::from(u16::from_be_bytes([h1, h0]));
                    head.width = u64::from(u16::from_be_bytes([w1, w0]));
                    head.components = components;
                    head.progressive = marker == 0xc2;
                }
                (0xda, _) if head.components == 0 => {
                    return Err(Problem::damaged(JPEG, "it has no frame header"));
                }
                (0xda, _) => {
                    head.scan_at = end;
                    return Ok(head);
                }
                (0xe0, &[b'J', b'F', b'I', b'F', 0, _, _, unit, x1, x0, y1, y0, ..]) => {
                    let per_mm = match unit {
                        1 => 25.4,
                        2 => 10.0,
                        _ => f64::INFINITY,
                    };
                    let density = [[x1, x0], [y1, y0]]
                        .map(|bytes| f64::from(u16::from_be_bytes(bytes)) / per_mm);
                    head.resolution = Some(density).filter(|both| both.iter().all(|&d| d > 0.0));
                }
                (0xe2, body) if body.starts_with(b"ICC_PROFILE\0") => head.has_profile = true,
                _ => {}
            }
            at = end;
        }
    }
}

/// Whether the coded picture has an end marker; within it that pair of bytes cannot occur.
fn ends(coded: &[u8]) -> bool {
    coded.windows(2).rev().any(|pair| pair == [0xff, 0xd9])
}

fn problem(error: DecodeErrors) -> Problem {
    match error {
        DecodeErrors::ExhaustedData | DecodeErrors::IoErrors(_) => {
            Problem::cut_short(JPEG, "data are missing")
        }
        DecodeErrors::Unsupported(scheme) => {
            Problem::unsupported(JPEG, format!("{scheme:?}"), SAVE_AS)
        }
        other => Problem::damaged(JPEG, other.to_string().trim()),
    }
}
