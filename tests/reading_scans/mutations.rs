//! Twenty thousand damaged files: each is read or refused with a problem that has a name, in
//! bounded memory and time.

use std::path::Path;

use moxcms::ColorProfile;
use rand::Rng as _;
use rand::SeedableRng as _;
use rand_chacha::ChaCha8Rng;
use twinstrip::files::scan::{
    Container, Limits, Mark, Packing, ScanOptions, Sort, StatedEncoding, read_scan,
};
use twinstrip::measure::watch::Unwatched;

use crate::maker::{Maker, Packed};
use crate::support::{Folder, SIZE, bytes, code, eight, float, sixteen, write};

const ROUNDS: usize = 800;
const LIMITS: Limits = Limits {
    max_pixels: 2_000_000,
    max_bytes: 16 << 20,
};

/// Sound files of every kind.
fn sound(folder: &Folder) -> Vec<Vec<u8>> {
    let path = folder.path("sound");
    let profile = || Mark::Profile(ColorProfile::new_srgb().encode().unwrap());
    let mut files = Vec::new();
    for packing in [
        Packing::Plain,
        Packing::Lzw,
        Packing::Deflate,
        Packing::PackBits,
    ] {
        write(&path, &sixteen(3), 3, Container::tiff(packing), profile());
        files.push(bytes(&path));
    }
    write(
        &path,
        &float(1),
        1,
        Container::tiff(Packing::Plain),
        Mark::None,
    );
    files.push(bytes(&path));
    for (packed, planar, tile) in [
        (Packed::Plain, true, None),
        (Packed::Lzw, false, Some((16, 16))),
        (Packed::Deflate, true, Some((16, 16))),
    ] {
        let maker = Maker {
            packed,
            planar,
            tile,
            big_endian: true,
            big: planar,
            channels: 4,
            extra: vec![2],
            differences: packed != Packed::Plain,
            ..Maker::rgb16(SIZE)
        };
        files.push(maker.file(|x, y, channel| u64::from(code(x, y, channel))));
    }
    for (samples, channels, mark) in [
        (sixteen(3), 3, profile()),
        (eight(1), 1, Mark::PngSrgb),
        (eight(3), 3, Mark::PngGamma(2.2)),
    ] {
        write(&path, &samples, channels, Container::Png, mark);
        files.push(bytes(&path));
    }
    for (samples, channels, quality) in [(eight(3), 3, 95), (eight(1), 1, 60)] {
        write(
            &path,
            &samples,
            channels,
            Container::Jpeg { quality },
            profile(),
        );
        files.push(bytes(&path));
    }
    files
}

/// Damages a file: flipped bits, extreme numbers, a cut, a piece moved, doubled or left out.
fn damage(random: &mut ChaCha8Rng, file: &mut Vec<u8>) {
    for _ in 0..random.random_range(1..=3) {
        if file.len() < 8 {
            return;
        }
        // Headers are short; half of the damage is aimed at the first or last part.
        let length = file.len();
        let near = length.min(200);
        let at = match random.random_range(0..4) {
            0 => random.random_range(0..near),
            1 => length - 1 - random.random_range(0..near),
            _ => random.random_range(0..length),
        };
        let end = (at + random.random_range(1..=32)).min(length);
        match random.random_range(0..7) {
            0 | 1 => {
                for _ in 0..random.random_range(1..=8) {
                    let place = (at + random.random_range(0..16)).min(length - 1);
                    file[place] ^= 1 << random.random_range(0..8);
                }
            }
            2 => {
                let extreme = [0, 1, 0x7f, 0x80, 0xfe, 0xff][random.random_range(0..6)];
                file[at..(at + random.random_range(1..=8)).min(length)].fill(extreme);
            }
            3 => file.truncate(at),
            4 => {
                let piece = file[at..end].to_vec();
                let to = random.random_range(0..=length - piece.len());
                file[to..to + piece.len()].copy_from_slice(&piece);
            }
            5 => {
                let piece = file[at..end].to_vec();
                let to = random.random_range(0..=length);
                file.splice(to..to, piece);
            }
            _ => {
                file.drain(at..end);
            }
        }
    }
}

/// Makes the checksums of PNG chunks right again, so that damage gets past them.
fn mend_checksums(file: &mut [u8]) {
    let mut at = 8;
    while let Some(length) = file.get(at..at + 4) {
        let length = length
            .iter()
            .fold(0, |sum, &byte| sum << 8 | usize::from(byte));
        let end = at + 8 + length;
        let Some(chunk) = file.get(at + 4..end) else {
            return;
        };
        let mut sum = flate2::Crc::new();
        sum.update(chunk);
        let Some(stored) = file.get_mut(end..end + 4) else {
            return;
        };
        stored.copy_from_slice(&sum.sum().to_be_bytes());
        at = end + 4;
    }
}

/// The most memory this process ever had, in bytes, where the system tells.
fn peak_memory() -> Option<usize> {
    let status = bytes(Path::new("/proc/self/status"));
    let status = String::from_utf8(status).ok()?;
    let line = status.lines().find(|line| line.starts_with("VmHWM:"))?;
    let kib: usize = line.split_whitespace().nth(1)?.parse().ok()?;
    Some(kib * 1024)
}

#[test]
fn twenty_thousand_damaged_files_are_read_or_refused_and_no_more() {
    let folder = Folder::new();
    let files = sound(&folder);
    assert!(files.len() * ROUNDS * 2 >= 20_000);
    let before = peak_memory();
    let (mut read, mut refused, mut gave_up) = (0, 0, 0);
    for (index, file) in files.iter().enumerate() {
        for round in 0..2 * ROUNDS {
            let mut random = ChaCha8Rng::seed_from_u64((index * 10_000 + round) as u64);
            let mut damaged = file.clone();
            damage(&mut random, &mut damaged);
            if damaged.starts_with(b"\x89PNG") && round % 2 == 0 {
                mend_checksums(&mut damaged);
            }
            let path = folder.with("damaged", &damaged);
            let options = ScanOptions {
                limits: LIMITS,
                stated: (round % 4 == 0).then_some(StatedEncoding::Srgb),
            };
            match read_scan(&path, &options, &Unwatched) {
                Ok(raster) => {
                    read += 1;
                    let count = raster.width * raster.height * raster.channels;
                    assert_eq!(raster.samples.len(), count);
                    assert_eq!(raster.light.tables.len(), raster.channels);
                    let sound = |light: &f32| light.is_finite() && *light >= 0.0;
                    assert!(
                        raster
                            .light
                            .tables
                            .iter()
                            .all(|table| table.iter().all(sound))
                    );
                }
                Err(error) => {
                    refused += 1;
                    assert!(
                        matches!(error.sort(), Sort::File | Sort::Unsupported),
                        "file {index}, round {round}: {error}"
                    );
                    gave_up += usize::from(error.to_string().contains("gave up"));
                }
            }
        }
    }
    assert!(
        read > 500 && refused > 5_000,
        "{read} read, {refused} refused"
    );
    println!("{read} read, {refused} refused, in {gave_up} the decoder panicked");
    if let (Some(before), Some(after)) = (before, peak_memory()) {
        let more = after - before;
        // Beside the picture: a profile's tables, windows of readers, the decoders' rooms.
        assert!(more < 3 * LIMITS.max_bytes as usize, "{more} bytes more");
    }
}
