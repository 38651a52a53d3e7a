//! How the code values of a TIFF lie in the file; everything in the header is checked here.

use std::io::{Read, Seek, SeekFrom};

use super::TIFF;
use crate::files::scan::error::Problem;
use crate::files::scan::ifd::{Ifd, tag};
use crate::files::scan::limits::{DEFLATE, LZW, Limits, PACKBITS, PLAIN, check_room};

/// The kind of code value.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) enum Kind {
    Eight,
    Sixteen,
    /// Unsigned whole numbers of 32 bits, read as shares of full scale.
    ThirtyTwo,
    /// 32-bit floating point.
    Float,
}

impl Kind {
    pub(super) fn bytes(self) -> usize {
        match self {
            Self::Eight => 1,
            Self::Sixteen => 2,
            Self::ThirtyTwo | Self::Float => 4,
        }
    }
}

/// Uncompressed strips, which are read without a decoder.
#[derive(Debug)]
pub(super) struct PlainStrips {
    pub offsets: Vec<u64>,
}

/// The layout of the first page.
#[derive(Debug)]
pub(super) struct Layout {
    pub width: usize,
    pub height: usize,
    /// Channels of the picture: 1 or 3.
    pub channels: usize,
    /// Channels in the file, those passed over among them.
    pub stored: usize,
    pub kind: Kind,
    /// Every channel in strips of its own.
    pub planar: bool,
    pub white_is_zero: bool,
    pub little_endian: bool,
    /// Width and height of a strip or tile.
    pub chunk: (usize, usize),
    pub plain: Option<PlainStrips>,
    /// What makes its directory the file's first, for a decoder that reads the first page.
    pub first: (u64, Vec<u8>),
    /// Where the photometric interpretation stands in the file.
    pub photometric_at: u64,
    pub notes: Vec<String>,
}

const SAVE_AS: &str = "save the scan as grey or RGB with 16 bits, uncompressed or LZW";

impl Layout {
    pub(super) fn of(
        ifd: &Ifd,
        stream: &mut (impl Read + Seek),
        length: u64,
        limits: &Limits,
    ) -> Result<Self, Problem> {
        // No value of a tag can be longer than the file; so much memory is safe to take.
        let mut numbers = |tag: u16| {
            ifd.numbers(stream, tag, length.min(64 << 20))
                .map_err(|error| Problem::reading(TIFF, error))
        };
        let mut one = |tag: u16, otherwise: u64| -> Result<u64, Problem> {
            Ok(numbers(tag)?
                .and_then(|numbers| numbers.first().copied())
                .unwrap_or(otherwise))
        };
        let (width, height) = (one(tag::WIDTH, 0)?, one(tag::HEIGHT, 0)?);
        limits.check_pixels(TIFF, width, height)?;
        let compression = one(tag::COMPRESSION, 1)?;
        check_compression(compression)?;
        let photometric = one(tag::PHOTOMETRIC, u64::MAX)?;
        let channels = channels(photometric)?;
        let stored = one(tag::SAMPLES, 1)?;
        let planar = one(tag::PLANAR, 1)? == 2;
        let predictor = one(tag::PREDICTOR, 1)?;
        let tile = (one(tag::TILE_WIDTH, 0)?, one(tag::TILE_HEIGHT, 0)?);
        let rows = one(tag::ROWS_PER_STRIP, height)?.min(height);
        if one(tag::FILL_ORDER, 1)? != 1 {
            return Err(unsupported("reversed bit order"));
        }
        if stored < channels || stored > 64 {
            return Err(Problem::damaged(TIFF, format_args!("{stored} channels")));
        }
        // Section 18 of the standard: 1 is alpha that the colours were multiplied by.
        if stored > channels && numbers(tag::EXTRA_SAMPLES)?.is_some_and(|all| all.contains(&1)) {
            return Err(Problem::unsupported(
                TIFF,
                "colour multiplied by its alpha channel",
                "save the scan without transparency",
            ));
        }
        let bits = numbers(tag::BITS)?.unwrap_or_else(|| vec![1]);
        let formats = numbers(tag::SAMPLE_FORMAT)?.unwrap_or_else(|| vec![1]);
        let kind = kind(&bits, &formats)?;
        if !(matches!(predictor, 1 | 2) || predictor == 3 && kind == Kind::Float) {
            return Err(unsupported(format_args!("predictor {predictor}")));
        }
        if compression == 32_773 && predictor != 1 {
            return Err(unsupported("PackBits of differences"));
        }
        let tiled = ifd.extent(tag::TILE_OFFSETS).is_some();
        if !tiled && tile != (0, 0) {
            return Err(unsupported("tiles that are listed as strips"));
        }
        let chunk = if tiled { tile } else { (width, rows) };
        if chunk.0 == 0 || chunk.1 == 0 {
            return Err(Problem::damaged(TIFF, "strips or tiles without size"));
        }
        let (across, down) = (width.div_ceil(chunk.0), height.div_ceil(chunk.1));
        // Tiles hang over the edges; a hostile tile could be far larger than the picture.
        let (Some(padded_width), Some(padded_height)) =
            (across.checked_mul(chunk.0), down.checked_mul(chunk.1))
        else {
            return Err(Problem::damaged(TIFF, "tiles of absurd size"));
        };
        let value = kind.bytes() as u64;
        limits.check_bytes(TIFF, &[padded_width, padded_height, stored, value])?;
        let codes = u128::from(width) * u128::from(height) * u128::from(stored * value);
        Limits::check_length(TIFF, codes, length, packs(compression))?;
        // Beside the picture: planes and extra channels are unpacked apart, a strip or tile a
        // thread; a profile of tables turns 8 bits into 16.
        let picture = width * height * channels * value;
        let unpacked = chunk
            .0
            .saturating_mul(chunk.1)
            .saturating_mul(stored * value);
        let apart = unpacked.saturating_mul(rayon::current_num_threads() as u64);
        let converted = kind == Kind::Eight && ifd.extent(tag::PROFILE).is_some();
        check_room(
            TIFF,
            picture
                .saturating_mul(if converted { 3 } else { 1 })
                .saturating_add(apart.min(picture.saturating_mul(2))),
        )?;
        let planes = if planar { stored } else { 1 };
        let plain = compression == 1 && !tiled;
        let strips = check_chunks(ifd, tiled, across * down * planes, length)?;
        let offsets = if plain {
            numbers(tag::STRIP_OFFSETS)?
        } else {
            None
        };
        let first = if compression == 5 {
            let lists = [tag::TILE_OFFSETS, tag::STRIP_OFFSETS];
            numbers(lists[usize::from(!tiled)])?.and_then(|offsets| offsets.first().copied())
        } else {
            None
        };
        if let Some(at) = first {
            refuse_old_lzw(stream, at)?;
        }
        let (photometric_at, _) = ifd
            .extent(tag::PHOTOMETRIC)
            .ok_or_else(|| Problem::damaged(TIFF, "no photometric interpretation"))?;
        let mut notes = Vec::new();
        if stored > channels {
            notes.push(match stored - channels {
                1 => "A fourth or second channel (alpha or infrared) was passed over".into(),
                extra => format!("{extra} extra channels were passed over"),
            });
        }
        debug_assert!(strips > 0);
        Ok(Self {
            width: width as usize,
            height: height as usize,
            channels: channels as usize,
            stored: stored as usize,
            kind,
            planar,
            white_is_zero: photometric == 0,
            little_endian: ifd.little_endian,
            chunk: (chunk.0 as usize, chunk.1 as usize),
            plain: offsets.map(|offsets| PlainStrips { offsets }),
            photometric_at,
            first: ifd.as_first(),
            notes,
        })
    }

    /// Bytes of a row of the picture.
    pub(super) fn row_bytes(&self) -> usize {
        self.width * self.channels * self.kind.bytes()
    }

    /// Planes to be read and channels side by side in each.
    pub(super) fn planes(&self) -> (usize, usize) {
        if self.planar {
            (self.channels, 1)
        } else {
            (1, self.stored)
        }
    }
}

fn unsupported(what: impl ToString) -> Problem {
    Problem::unsupported(TIFF, what, SAVE_AS)
}

fn check_compression(compression: u64) -> Result<(), Problem> {
    let what = match compression {
        1 | 5 | 8 | 32_773 | 32_946 => return Ok(()),
        2..=4 => "fax compression".into(),
        6 | 7 => {
            return Err(Problem::unsupported(
                TIFF,
                "JPEG compression",
                "save the scan without loss: uncompressed, LZW or deflate",
            ));
        }
        34_925 => "LZMA compression".into(),
        50_000 => "Zstandard compression".into(),
        50_001 => "WebP compression".into(),
        other => format!("compression method {other}"),
    };
    Err(unsupported(what))
}

/// Before TIFF 6.0 some programs put the lower bits of LZW's codes first: the code of nine bits that
/// clears the table, 256, then makes the bytes 00 and 01.
fn refuse_old_lzw(stream: &mut (impl Read + Seek), at: u64) -> Result<(), Problem> {
    let mut codes = [0; 2];
    let read = stream
        .seek(SeekFrom::Start(at))
        .and_then(|_| stream.read_exact(&mut codes));
    if read.is_ok() && codes[0] == 0 && codes[1] & 1 == 1 {
        return Err(unsupported(
            "LZW of the old kind, with its bits the other way round,",
        ));
    }
    // What else is wrong with the strip is said by whoever unpacks it.
    Ok(())
}

/// Most bytes that this compression packs into one.
fn packs(compression: u64) -> u64 {
    match compression {
        1 => PLAIN,
        5 => LZW,
        32_773 => PACKBITS,
        _ => DEFLATE,
    }
}

fn channels(photometric: u64) -> Result<u64, Problem> {
    Err(unsupported(match photometric {
        0 | 1 => return Ok(1),
        2 => return Ok(3),
        3 => "a colour palette".into(),
        5 => "CMYK colour".into(),
        6 => "YCbCr colour".into(),
        8..=10 => "CIELAB colour".into(),
        32_803 | 34_892 => "raw camera data".into(),
        u64::MAX => return Err(Problem::damaged(TIFF, "no photometric interpretation")),
        other => format!("photometric interpretation {other}"),
    }))
}

fn kind(bits: &[u64], formats: &[u64]) -> Result<Kind, Problem> {
    let (Some(&depth), Some(&format)) = (bits.first(), formats.first()) else {
        return Err(Problem::damaged(TIFF, "no bits"));
    };
    if bits.iter().any(|&other| other != depth) || formats.iter().any(|&other| other != format) {
        return Err(unsupported("channels of different kinds"));
    }
    match (depth, format) {
        // Format 4 is "undefined", which some writers put for whole numbers.
        (8, 1 | 4) => Ok(Kind::Eight),
        (16, 1 | 4) => Ok(Kind::Sixteen),
        (32, 1) => Ok(Kind::ThirtyTwo),
        (32, 3) => Ok(Kind::Float),
        (depth, 1 | 4) => Err(unsupported(format_args!("{depth} bits a channel"))),
        (depth, 2) => Err(unsupported(format_args!("signed numbers of {depth} bits"))),
        (depth, 3) => Err(unsupported(format_args!("floating point of {depth} bits"))),
        (depth, _) => Err(unsupported(format_args!(
            "numbers of an odd kind, {depth} bits"
        ))),
    }
}

/// Checks that there are as many strips or tiles as the size asks for, and that their lists
/// lie within the file, before the decoder takes memory for them.
fn check_chunks(ifd: &Ifd, tiled: bool, expected: u64, length: u64) -> Result<u64, Problem> {
    let tags = if tiled {
        [tag::TILE_OFFSETS, tag::TILE_BYTES]
    } else {
        [tag::STRIP_OFFSETS, tag::STRIP_BYTES]
    };
    for tag in tags {
        let Some((at, bytes)) = ifd.extent(tag) else {
            return Err(Problem::damaged(TIFF, "the list of its strips is missing"));
        };
        if at.saturating_add(bytes) > length {
            return Err(Problem::cut_short(
                TIFF,
                "the list of its strips is missing",
            ));
        }
        if ifd.count(tag) != Some(expected) {
            let what = "the count of its strips doesn't fit its size";
            return Err(Problem::damaged(TIFF, what));
        }
    }
    Ok(expected)
}
