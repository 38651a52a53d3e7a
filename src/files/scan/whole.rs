//! Whether a scan file has its end yet: what a scanning program is still writing has not.

use std::io::{Read, Seek, SeekFrom};
use std::path::Path;

use super::error::{Format, Problem};
use super::format_of;
use super::ifd::{Ifd, tag};
use super::source::Source;
use crate::measure::watch::Watch;

/// Most bytes of a list of strips that are looked at.
const MOST_LIST: u64 = 1 << 24;
/// Bytes at the end of a JPEG among which its last mark is looked for: some programs pad.
const JPEG_END: u64 = 4096;

/// Whether a scan file is written to its end, by its own account: the last chunk of a PNG with its checksum, the
/// last mark of a JPEG, every strip of a TIFF. A file that isn't a scan counts as whole, since
/// waiting makes nothing of it; one that can't be opened does not.
pub fn is_whole(path: &Path, watch: &dyn Watch) -> bool {
    let Ok(source) = Source::open(path, watch) else {
        return false;
    };
    let by_format = match format_of(&source) {
        Ok(Format::Tiff) => tiff(&source),
        Ok(Format::Png) => ends_with(&source, 64, b"IEND\xae\x42\x60\x82"),
        Ok(Format::Jpeg) => ends_with(&source, JPEG_END, &[0xff, 0xd9]),
        Err(Problem::NotAScan { .. }) => return source.length() > 0,
        Err(_) => return false,
    };
    by_format.unwrap_or(false)
}

fn ends_with(source: &Source<'_>, bytes: u64, mark: &[u8]) -> std::io::Result<bool> {
    let mut reader = source.reader();
    let from = source.length().saturating_sub(bytes);
    reader.seek(SeekFrom::Start(from))?;
    let mut end = Vec::new();
    reader.take(bytes).read_to_end(&mut end)?;
    Ok(end.windows(mark.len()).any(|part| part == mark))
}

/// The directories are there, and everything that it names lies within the file.
fn tiff(source: &Source<'_>) -> std::io::Result<bool> {
    let mut reader = source.reader();
    let mut any = false;
    let pages = Ifd::first(&mut reader)?.pages(&mut reader);
    let lists = [
        (tag::STRIP_OFFSETS, tag::STRIP_BYTES),
        (tag::TILE_OFFSETS, tag::TILE_BYTES),
    ];
    for (ifd, (offsets, lengths)) in pages.iter().flat_map(|page| lists.map(|tags| (page, tags))) {
        let mut list = |tag| ifd.numbers(&mut reader, tag, MOST_LIST);
        let (Some(offsets), Some(lengths)) = (list(offsets)?, list(lengths)?) else {
            continue;
        };
        any = true;
        let mut ends = offsets.iter().zip(&lengths);
        if !ends.all(|(at, length)| *at > 0 && at.saturating_add(*length) <= source.length()) {
            return Ok(false);
        }
    }
    Ok(any)
}

#[cfg(test)]
mod tests {
    #![expect(clippy::disallowed_methods, reason = "cuts files short")]

    use super::*;
    use crate::measure::watch::Unwatched;

    #[test]
    fn a_tiff_is_whole_once_its_strips_and_tags_are_there() {
        let demo = Path::new(env!("CARGO_MANIFEST_DIR")).join("testdata/demo/scan-1.tif");
        assert!(is_whole(&demo, &Unwatched));
        let bytes = std::fs::read(&demo).unwrap();
        let folder = tempfile::tempdir().unwrap();
        let cut = folder.path().join("cut.tif");
        // The last four bytes point to a next page; some writers leave them out.
        for length in [0, 4, 8, bytes.len() / 2, bytes.len() - 5] {
            std::fs::write(&cut, &bytes[..length]).unwrap();
            assert!(!is_whole(&cut, &Unwatched), "{length} bytes");
        }
    }

    #[test]
    fn png_and_jpeg_are_whole_with_their_last_mark() {
        let folder = tempfile::tempdir().unwrap();
        for name in ["a.png", "a.jpg"] {
            let path = folder.path().join(name);
            image::RgbImage::new(40, 30).save(&path).unwrap();
            assert!(is_whole(&path, &Unwatched), "{name}");
            let bytes = std::fs::read(&path).unwrap();
            std::fs::write(&path, &bytes[..bytes.len() - 9]).unwrap();
            assert!(!is_whole(&path, &Unwatched), "{name} cut short");
        }
        assert!(!is_whole(&folder.path().join("none.png"), &Unwatched));
    }
}
