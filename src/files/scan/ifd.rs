//! Directories of tags, as TIFF and Exif have them: just enough to look at a header before a
//! decoder is trusted with it, and to read Exif, which holds no picture.
//!
//! Layout: TIFF 6.0 (1992), section 2; BigTIFF doubles the widths.

use std::collections::BTreeMap;
use std::io::{self, Read, Seek, SeekFrom};

/// The tags looked at.
pub(super) mod tag {
    pub const WIDTH: u16 = 256;
    pub const HEIGHT: u16 = 257;
    pub const BITS: u16 = 258;
    pub const COMPRESSION: u16 = 259;
    pub const PHOTOMETRIC: u16 = 262;
    pub const FILL_ORDER: u16 = 266;
    pub const STRIP_OFFSETS: u16 = 273;
    pub const ORIENTATION: u16 = 274;
    pub const SAMPLES: u16 = 277;
    pub const ROWS_PER_STRIP: u16 = 278;
    pub const STRIP_BYTES: u16 = 279;
    pub const SOFTWARE: u16 = 305;
    pub const X_RESOLUTION: u16 = 282;
    pub const Y_RESOLUTION: u16 = 283;
    pub const PLANAR: u16 = 284;
    pub const RESOLUTION_UNIT: u16 = 296;
    pub const TRANSFER_FUNCTION: u16 = 301;
    pub const PREDICTOR: u16 = 317;
    pub const TILE_WIDTH: u16 = 322;
    pub const TILE_HEIGHT: u16 = 323;
    pub const TILE_OFFSETS: u16 = 324;
    pub const TILE_BYTES: u16 = 325;
    pub const EXTRA_SAMPLES: u16 = 338;
    pub const SAMPLE_FORMAT: u16 = 339;
    pub const PROFILE: u16 = 34675;
    pub const EXIF: u16 = 34665;
    pub const EXIF_COLOUR_SPACE: u16 = 40961;
}

#[derive(Debug, Clone, Copy)]
struct Entry {
    kind: u16,
    count: u64,
    /// Where the value's bytes start.
    at: u64,
}

/// One directory of tags.
#[derive(Debug)]
pub(super) struct Ifd {
    entries: BTreeMap<u16, Entry>,
    pub(super) little_endian: bool,
    big: bool,
    /// Where it starts.
    pub(super) at: u64,
    /// Where the next directory (page) starts; 0 when there is none.
    next: u64,
}

/// Most pages that are looked at.
const MOST_PAGES: usize = 256;

impl Ifd {
    /// Reads the header and the first directory.
    pub(super) fn first(stream: &mut (impl Read + Seek)) -> io::Result<Self> {
        stream.seek(SeekFrom::Start(0))?;
        let mut head = [0; 4];
        stream.read_exact(&mut head)?;
        let little_endian = &head[..2] == b"II";
        let mut order = Order {
            stream,
            little_endian,
        };
        let big = order.number(&head[2..]) == 43;
        let offset = if big {
            order.read(4)?;
            order.read(8)?
        } else {
            order.read(4)?
        };
        Self::read(stream, offset, little_endian, big)
    }

    fn read(
        stream: &mut (impl Read + Seek),
        offset: u64,
        little_endian: bool,
        big: bool,
    ) -> io::Result<Self> {
        stream.seek(SeekFrom::Start(offset))?;
        let mut order = Order {
            stream,
            little_endian,
        };
        let (count_width, width) = if big { (8, 8) } else { (2, 4) };
        let count = order.read(count_width)?;
        if count > u64::from(u16::MAX) {
            return Err(nonsense("a directory of more than 65,535 tags"));
        }
        let start = offset;
        let mut at = start.saturating_add(count_width as u64);
        let mut entries = BTreeMap::new();
        for _ in 0..count {
            let tag = order.read(2)? as u16;
            let kind = order.read(2)? as u16;
            let count = order.read(width)?;
            let value = order.read(width)?;
            let inside = count.saturating_mul(size(kind)) <= width as u64;
            let value_at = if inside { at + 4 + width as u64 } else { value };
            at += 4 + 2 * width as u64;
            entries.entry(tag).or_insert(Entry {
                kind,
                count,
                at: value_at,
            });
        }
        // Some writers leave the link to the next page out at the end of the file.
        let next = order.read(width).unwrap_or(0);
        Ok(Self {
            entries,
            little_endian,
            big,
            at: start,
            next,
        })
    }

    /// The directories of all pages, this one the first. A page that can't be read ends the list, and
    /// so does one that was there before.
    pub(super) fn pages(self, stream: &mut (impl Read + Seek)) -> Vec<Self> {
        let mut pages = vec![self];
        while let Some(last) = pages.last()
            && last.next != 0
            && pages.len() < MOST_PAGES
            && pages.iter().all(|page| page.at != last.next)
            && let Ok(page) = Self::read(stream, last.next, last.little_endian, last.big)
        {
            pages.push(page);
        }
        pages
    }

    /// The bytes at the start of the file that make this directory its first, and where they stand.
    pub(super) fn as_first(&self) -> (u64, Vec<u8>) {
        let (place, width) = if self.big { (8, 8) } else { (4, 4) };
        let mut bytes = self.at.to_be_bytes()[8 - width..].to_vec();
        if self.little_endian {
            bytes.reverse();
        }
        (place, bytes)
    }

    /// The directory that a tag points to.
    pub(super) fn child(&self, stream: &mut (impl Read + Seek), tag: u16) -> Option<Self> {
        let offset = self.number(stream, tag).ok()??;
        Self::read(stream, offset, self.little_endian, self.big).ok()
    }

    /// Where a tag's value lies and how many bytes it takes, if the tag is there.
    pub(super) fn extent(&self, tag: u16) -> Option<(u64, u64)> {
        let entry = self.entries.get(&tag)?;
        Some((entry.at, entry.count.saturating_mul(size(entry.kind))))
    }

    /// How many values a tag has.
    pub(super) fn count(&self, tag: u16) -> Option<u64> {
        self.entries.get(&tag).map(|entry| entry.count)
    }

    /// The bytes of a tag's value, at most `most`.
    pub(super) fn bytes(
        &self,
        stream: &mut (impl Read + Seek),
        tag: u16,
        most: u64,
    ) -> io::Result<Option<Vec<u8>>> {
        let Some((at, length)) = self.extent(tag) else {
            return Ok(None);
        };
        if length > most {
            return Err(nonsense(format!("tag {tag} claims {length} bytes")));
        }
        stream.seek(SeekFrom::Start(at))?;
        let mut bytes = vec![0; length as usize];
        stream.read_exact(&mut bytes)?;
        Ok(Some(bytes))
    }

    /// The whole numbers of a tag; `most` bounds their bytes.
    pub(super) fn numbers(
        &self,
        stream: &mut (impl Read + Seek),
        tag: u16,
        most: u64,
    ) -> io::Result<Option<Vec<u64>>> {
        let Some(bytes) = self.bytes(stream, tag, most)? else {
            return Ok(None);
        };
        let kind = self.entries[&tag].kind;
        if !matches!(kind, 1 | 3 | 4 | 13 | 16 | 18) {
            return Err(nonsense(format!("tag {tag} holds no whole numbers")));
        }
        let order = Order {
            stream,
            little_endian: self.little_endian,
        };
        let numbers = bytes
            .chunks_exact(size(kind) as usize)
            .map(|bytes| order.number(bytes))
            .collect();
        Ok(Some(numbers))
    }

    /// The first whole number of a tag.
    pub(super) fn number(
        &self,
        stream: &mut (impl Read + Seek),
        tag: u16,
    ) -> io::Result<Option<u64>> {
        let numbers = self.numbers(stream, tag, 1 << 20)?;
        Ok(numbers.and_then(|numbers| numbers.first().copied()))
    }

    /// The first fraction of a tag, if it is a positive number.
    pub(super) fn fraction(&self, stream: &mut (impl Read + Seek), tag: u16) -> Option<f64> {
        let entry = self.entries.get(&tag)?;
        if entry.kind != 5 {
            let number = self.number(stream, tag).ok()??;
            return (number > 0).then_some(number as f64);
        }
        let bytes = self.bytes(stream, tag, 64).ok()??;
        let order = Order {
            stream,
            little_endian: self.little_endian,
        };
        let above = order.number(bytes.get(..4)?) as f64;
        let below = order.number(bytes.get(4..8)?) as f64;
        (above > 0.0 && below > 0.0).then(|| above / below)
    }

    /// Pixels per millimetre across and down, where the directory says so.
    pub(super) fn resolution(&self, stream: &mut (impl Read + Seek)) -> Option<[f64; 2]> {
        let unit = self.number(stream, tag::RESOLUTION_UNIT).ok()?.unwrap_or(2);
        let millimetres = match unit {
            2 => 25.4,
            3 => 10.0,
            _ => return None,
        };
        let across = self.fraction(stream, tag::X_RESOLUTION)?;
        let down = self.fraction(stream, tag::Y_RESOLUTION).unwrap_or(across);
        Some([across / millimetres, down / millimetres])
    }
}

/// Size of one value of a TIFF field type; unknown types count as bytes.
fn size(kind: u16) -> u64 {
    match kind {
        3 | 8 => 2,
        4 | 9 | 11 | 13 => 4,
        5 | 10 | 12 | 16 | 17 | 18 => 8,
        _ => 1,
    }
}

fn nonsense(what: impl Into<Box<dyn std::error::Error + Send + Sync>>) -> io::Error {
    io::Error::new(io::ErrorKind::InvalidData, what)
}

struct Order<'a, R> {
    stream: &'a mut R,
    little_endian: bool,
}

impl<R: Read> Order<'_, R> {
    fn read(&mut self, width: usize) -> io::Result<u64> {
        let mut bytes = [0; 8];
        self.stream.read_exact(&mut bytes[..width])?;
        Ok(self.number(&bytes[..width]))
    }

    fn number(&self, bytes: &[u8]) -> u64 {
        let add = |sum: u64, &byte: &u8| sum << 8 | u64::from(byte);
        if self.little_endian {
            bytes.iter().rev().fold(0, add)
        } else {
            bytes.iter().fold(0, add)
        }
    }
}
