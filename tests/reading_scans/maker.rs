//! Makes TIFF files byte by byte (TIFF 6.0, 1992), for the layouts that the encoder in use
//! cannot write: big-endian, tiles, planes, extra channels, white is zero.

use std::io::Write;

#[derive(Clone, Copy, Debug, PartialEq)]
pub enum Packed {
    Plain,
    Lzw,
    Deflate,
    PackBits,
}

/// A TIFF to be made.
#[derive(Clone, Debug)]
pub struct Maker {
    pub size: (usize, usize),
    /// Bytes of a code value.
    pub width: usize,
    /// TIFF SampleFormat: 1 whole numbers, 3 floating point.
    pub format: u16,
    pub photometric: u16,
    /// Channels in the file.
    pub channels: usize,
    /// ExtraSamples for those beyond the picture's.
    pub extra: Vec<u16>,
    pub big_endian: bool,
    pub big: bool,
    pub planar: bool,
    /// Tile size, or else strips of so many rows.
    pub tile: Option<(usize, usize)>,
    pub rows: usize,
    pub packed: Packed,
    pub differences: bool,
    /// More tags: tag, type, values.
    pub tags: Vec<(u16, u16, Vec<u64>)>,
}

impl Maker {
    pub fn rgb16(size: (usize, usize)) -> Self {
        Self {
            size,
            width: 2,
            format: 1,
            photometric: 2,
            channels: 3,
            extra: Vec::new(),
            big_endian: false,
            big: false,
            planar: false,
            tile: None,
            rows: 7,
            packed: Packed::Plain,
            differences: false,
            tags: Vec::new(),
        }
    }

    fn put(&self, value: u64, width: usize, out: &mut Vec<u8>) {
        let bytes = value.to_le_bytes();
        if self.big_endian {
            out.extend(bytes[..width].iter().rev());
        } else {
            out.extend(&bytes[..width]);
        }
    }

    /// The file; `value(x, y, channel)` gives the bits of each code value.
    pub fn file(&self, value: impl Fn(usize, usize, usize) -> u64) -> Vec<u8> {
        let (width, height) = self.size;
        let (chunk_width, chunk_height) = self.tile.unwrap_or((width, self.rows));
        let mut out = Vec::new();
        out.extend(if self.big_endian { b"MM" } else { b"II" });
        self.put(if self.big { 43 } else { 42 }, 2, &mut out);
        if self.big {
            self.put(8, 2, &mut out);
            self.put(0, 2, &mut out);
        }
        let link_at = out.len();
        let wide = if self.big { 8 } else { 4 };
        self.put(0, wide, &mut out);
        let (mut offsets, mut lengths) = (Vec::new(), Vec::new());
        let side_by_side = if self.planar { 1 } else { self.channels };
        for first in (0..self.channels).step_by(side_by_side) {
            for top in (0..height).step_by(chunk_height) {
                for left in (0..width).step_by(chunk_width) {
                    // Tiles are full to the edge; strips end with the picture.
                    let bottom = match self.tile {
                        Some(_) => top + chunk_height,
                        None => (top + chunk_height).min(height),
                    };
                    let mut raw = Vec::new();
                    for y in top..bottom {
                        for x in left..left + chunk_width {
                            for channel in first..first + side_by_side {
                                let here = |x: usize| {
                                    let inside = x < width && y < height;
                                    if inside { value(x, y, channel) } else { 0 }
                                };
                                let mut code = here(x);
                                if self.differences && x > left {
                                    code = code.wrapping_sub(here(x - 1));
                                }
                                self.put(code, self.width, &mut raw);
                            }
                        }
                    }
                    let packed = self.pack(&raw, chunk_width * side_by_side * self.width);
                    offsets.push(out.len() as u64);
                    lengths.push(packed.len() as u64);
                    out.extend(packed);
                    out.resize(out.len().next_multiple_of(2), 0);
                }
            }
        }
        let bits = vec![8 * self.width as u64; self.channels];
        let compression = match self.packed {
            Packed::Plain => 1,
            Packed::Lzw => 5,
            Packed::Deflate => 8,
            Packed::PackBits => 32_773,
        };
        let long = if self.big { 16 } else { 4 };
        let mut tags = vec![
            (256, 4, vec![width as u64]),
            (257, 4, vec![height as u64]),
            (258, 3, bits),
            (259, 3, vec![compression]),
            (262, 3, vec![u64::from(self.photometric)]),
            (277, 3, vec![self.channels as u64]),
            (284, 3, vec![if self.planar { 2 } else { 1 }]),
            (339, 3, vec![u64::from(self.format); self.channels]),
        ];
        if self.tile.is_some() {
            tags.push((322, 3, vec![chunk_width as u64]));
            tags.push((323, 3, vec![chunk_height as u64]));
            tags.push((324, long, offsets));
            tags.push((325, long, lengths));
        } else {
            tags.push((273, long, offsets));
            tags.push((278, 4, vec![chunk_height as u64]));
            tags.push((279, long, lengths));
        }
        if self.differences {
            tags.push((317, 3, vec![2]));
        }
        if !self.extra.is_empty() {
            tags.push((
                338,
                3,
                self.extra.iter().map(|&kind| u64::from(kind)).collect(),
            ));
        }
        for tag in &self.tags {
            tags.retain(|known| known.0 != tag.0);
            tags.push(tag.clone());
        }
        tags.sort();
        let directory = self.directory(&tags, &mut out);
        let mut link = Vec::new();
        self.put(directory, wide, &mut link);
        out[link_at..link_at + wide].copy_from_slice(&link);
        out
    }

    /// Appends the values and the directory; gives the directory's place.
    fn directory(&self, tags: &[(u16, u16, Vec<u64>)], out: &mut Vec<u8>) -> u64 {
        let wide = if self.big { 8 } else { 4 };
        let mut entries = Vec::new();
        self.put(
            tags.len() as u64,
            if self.big { 8 } else { 2 },
            &mut entries,
        );
        for (tag, kind, values) in tags {
            // A fraction (type 5) is given as two values.
            let (width, count) = match kind {
                1 => (1, values.len()),
                3 => (2, values.len()),
                5 => (4, values.len() / 2),
                16 => (8, values.len()),
                _ => (4, values.len()),
            };
            let mut bytes = Vec::new();
            for &value in values {
                self.put(value, width, &mut bytes);
            }
            self.put(u64::from(*tag), 2, &mut entries);
            self.put(u64::from(*kind), 2, &mut entries);
            self.put(count as u64, wide, &mut entries);
            if bytes.len() <= wide {
                bytes.resize(wide, 0);
                entries.extend(bytes);
            } else {
                self.put(out.len() as u64, wide, &mut entries);
                out.extend(bytes);
                out.resize(out.len().next_multiple_of(2), 0);
            }
        }
        self.put(0, wide, &mut entries);
        let place = out.len() as u64;
        out.extend(entries);
        place
    }

    fn pack(&self, raw: &[u8], row: usize) -> Vec<u8> {
        match self.packed {
            Packed::Plain => raw.to_vec(),
            Packed::Lzw => weezl::encode::Encoder::with_tiff_size_switch(weezl::BitOrder::Msb, 8)
                .encode(raw)
                .expect("the encoder takes any bytes"),
            Packed::Deflate => {
                let level = flate2::Compression::fast();
                let mut encoder = flate2::write::ZlibEncoder::new(Vec::new(), level);
                encoder.write_all(raw).expect("memory takes any bytes");
                encoder.finish().expect("memory takes any bytes")
            }
            // Runs of literal bytes only, and a run of equal bytes where a row starts with one.
            Packed::PackBits => {
                let mut packed = Vec::new();
                for row in raw.chunks(row) {
                    let equal = row
                        .iter()
                        .take_while(|&&byte| byte == row[0])
                        .count()
                        .min(128);
                    let rest = if equal > 1 {
                        packed.extend([(257 - equal) as u8, row[0]]);
                        &row[equal..]
                    } else {
                        row
                    };
                    for run in rest.chunks(128) {
                        packed.push(run.len() as u8 - 1);
                        packed.extend(run);
                    }
                }
                packed
            }
        }
    }
}
