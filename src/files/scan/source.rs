//! A scan file as a stream that reports progress and notices cancellation.

#![expect(
    clippy::disallowed_methods,
    reason = "files/ is the one room that touches the disk"
)]

use std::fs::{File, Metadata};
use std::io::{self, BufRead, Read, Seek, SeekFrom};
use std::path::Path;
use std::sync::atomic::{AtomicBool, AtomicU64, Ordering};

use super::error::Problem;
use crate::measure::watch::Watch;

/// Bytes read at a time. Small strips lie side by side, so one window serves many.
const WINDOW: usize = 256 * 1024;

/// A scan file that can be read by several threads, each with a [`Reader`] of its own.
///
/// It is opened once: a file that is put in its place meanwhile is not mixed up with it.
pub(super) struct Source<'a> {
    file: File,
    facts: Metadata,
    watch: &'a dyn Watch,
    bytes_read: AtomicU64,
    cancelled: AtomicBool,
}

impl<'a> Source<'a> {
    pub(super) fn open(path: &Path, watch: &'a dyn Watch) -> Result<Self, Problem> {
        let facts = std::fs::metadata(path).map_err(|error| match error.kind() {
            io::ErrorKind::NotFound | io::ErrorKind::NotADirectory => Problem::Missing,
            _ => Problem::Refused(error),
        })?;
        if facts.is_dir() {
            return Err(Problem::Folder);
        }
        // Opening a pipe would wait for whoever writes into it.
        if !facts.is_file() {
            return Err(Problem::NoFile);
        }
        if facts.len() == 0 {
            return Err(Problem::Empty);
        }
        let file = File::open(path).map_err(Problem::Refused)?;
        let facts = file.metadata().map_err(Problem::Refused)?;
        Ok(Self {
            file,
            facts,
            watch,
            bytes_read: AtomicU64::new(0),
            cancelled: AtomicBool::new(false),
        })
    }

    /// Refuses a file that was written to since it was opened: what was read of it may be half of
    /// the one and half of the other.
    pub(super) fn unchanged(&self) -> Result<(), Problem> {
        let now = self.file.metadata().map_err(Problem::Broken)?;
        let same =
            now.len() == self.facts.len() && now.modified().ok() == self.facts.modified().ok();
        if same { Ok(()) } else { Err(Problem::Changed) }
    }

    /// Length of the file in bytes.
    pub(super) fn length(&self) -> u64 {
        self.facts.len()
    }

    /// Whether a reader met a cancellation; what it reported then is not the file's fault.
    pub(super) fn cancelled(&self) -> bool {
        self.cancelled.load(Ordering::Relaxed)
    }

    pub(super) fn reader(&self) -> Reader<'_> {
        Reader {
            source: self,
            at: 0,
            window: Vec::new(),
            window_from: 0,
            patches: Vec::new(),
        }
    }

    /// Reads from a place, whatever other threads read meanwhile.
    fn read_at(&self, out: &mut [u8], place: u64) -> io::Result<usize> {
        #[cfg(unix)]
        let count = std::os::unix::fs::FileExt::read_at(&self.file, out, place)?;
        #[cfg(windows)]
        let count = std::os::windows::fs::FileExt::seek_read(&self.file, out, place)?;
        self.count(count)?;
        Ok(count)
    }

    fn count(&self, bytes: usize) -> io::Result<()> {
        // Headers are read by every thread, so the sum may run past the length.
        let sum = self.bytes_read.fetch_add(bytes as u64, Ordering::Relaxed) + bytes as u64;
        let done = usize::try_from(sum.min(self.length())).unwrap_or(usize::MAX);
        let of = usize::try_from(self.length()).unwrap_or(usize::MAX);
        self.watch.at(done, of).map_err(|cancelled| {
            self.cancelled.store(true, Ordering::Relaxed);
            io::Error::other(cancelled)
        })
    }
}

/// Reads a [`Source`] through a window that survives seeking, unlike that of the standard
/// buffered reader: files with thousands of short strips would be read many times over.
pub(super) struct Reader<'a> {
    source: &'a Source<'a>,
    /// Where the next byte is taken from.
    at: u64,
    window: Vec<u8>,
    window_from: u64,
    /// Bytes shown in place of the file's, each from an offset on.
    patches: Vec<(u64, Vec<u8>)>,
}

impl Reader<'_> {
    /// Shows `bytes` instead of what the file has at `offset`.
    pub(super) fn patched(mut self, offset: u64, bytes: &[u8]) -> Self {
        self.patches.push((offset, bytes.to_vec()));
        self
    }

    /// What the window holds from the current place on.
    fn ready(&self) -> &[u8] {
        self.at
            .checked_sub(self.window_from)
            .and_then(|skip| usize::try_from(skip).ok())
            .and_then(|skip| self.window.get(skip..))
            .unwrap_or(&[])
    }
}

fn apply(patches: &[(u64, Vec<u8>)], from: u64, bytes: &mut [u8]) {
    let shown = patches
        .iter()
        .flat_map(|(offset, shown)| (*offset..).zip(shown.iter().copied()));
    for (place, value) in shown {
        if let Some(byte) = place
            .checked_sub(from)
            .and_then(|index| bytes.get_mut(usize::try_from(index).ok()?))
        {
            *byte = value;
        }
    }
}

impl Read for Reader<'_> {
    fn read(&mut self, out: &mut [u8]) -> io::Result<usize> {
        let count = if self.ready().is_empty() && out.len() >= WINDOW {
            if self.at >= self.source.length() {
                return Ok(0);
            }
            let count = self.source.read_at(out, self.at)?;
            apply(&self.patches, self.at, &mut out[..count]);
            count
        } else {
            let ready = self.fill_buf()?;
            let count = ready.len().min(out.len());
            out[..count].copy_from_slice(&ready[..count]);
            count
        };
        self.at += count as u64;
        Ok(count)
    }
}

impl BufRead for Reader<'_> {
    fn fill_buf(&mut self) -> io::Result<&[u8]> {
        // Past the end the file isn't asked: a damaged offset can be more than the system takes.
        if self.ready().is_empty() && self.at < self.source.length() {
            self.window.resize(WINDOW, 0);
            let read = self.source.read_at(&mut self.window, self.at);
            self.window.truncate(*read.as_ref().unwrap_or(&0));
            read?;
            self.window_from = self.at;
            apply(&self.patches, self.window_from, &mut self.window);
        }
        Ok(self.ready())
    }

    fn consume(&mut self, count: usize) {
        self.at = self.at.saturating_add(count as u64);
    }
}

impl Seek for Reader<'_> {
    fn seek(&mut self, to: SeekFrom) -> io::Result<u64> {
        let place = match to {
            SeekFrom::Start(place) => Some(place),
            SeekFrom::Current(by) => self.at.checked_add_signed(by),
            SeekFrom::End(by) => self.source.length().checked_add_signed(by),
        };
        self.at = place.ok_or(io::ErrorKind::InvalidInput)?;
        Ok(self.at)
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::measure::watch::{Cancelled, Unwatched};
    use std::io::Write;

    fn file(length: usize) -> tempfile::NamedTempFile {
        let mut file = tempfile::NamedTempFile::new().unwrap();
        let bytes: Vec<u8> = (0..length).map(|i| (i % 251) as u8).collect();
        file.write_all(&bytes).unwrap();
        file
    }

    #[test]
    fn bytes_come_from_where_they_are_asked_for() {
        let file = file(3 * WINDOW + 17);
        let source = Source::open(file.path(), &Unwatched).unwrap();
        let mut reader = source.reader();
        for (place, length) in [
            (5, 10),
            (WINDOW - 3, 9),
            (2, 1),
            (WINDOW / 2, 2 * WINDOW),
            (3 * WINDOW, 17),
        ] {
            let mut bytes = vec![0; length];
            reader.seek(SeekFrom::Start(place as u64)).unwrap();
            reader.read_exact(&mut bytes).unwrap();
            let right = (place..place + length).all(|i| bytes[i - place] == (i % 251) as u8);
            assert!(right, "{length} bytes at {place}");
        }
        assert_eq!(reader.read(&mut [0; 4]).unwrap(), 0);
    }

    #[test]
    fn a_patch_is_shown_through_the_window_and_past_it() {
        let file = file(2 * WINDOW);
        let source = Source::open(file.path(), &Unwatched).unwrap();
        for length in [100, 2 * WINDOW] {
            let mut reader = source.reader().patched(7, &[200, 201]);
            let mut bytes = vec![0; length];
            reader.read_exact(&mut bytes).unwrap();
            assert_eq!(bytes[6..10], [6, 200, 201, 9]);
        }
    }

    #[test]
    fn reading_stops_when_it_is_called_off() {
        struct Once;
        impl Watch for Once {
            fn at(&self, done: usize, of: usize) -> Result<(), Cancelled> {
                assert!(done <= of);
                Err(Cancelled)
            }
        }
        let file = file(10);
        let source = Source::open(file.path(), &Once).unwrap();
        assert!(source.reader().read_exact(&mut [0; 4]).is_err());
        assert!(source.cancelled());
    }
}
