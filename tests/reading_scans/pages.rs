//! What a file holds beside the picture that is read: pages, alpha, and sizes that can't be.

use twinstrip::files::scan::{Container, Mark, Sort};
use twinstrip::measure::raster::Samples;

use crate::maker::{Maker, Packed};
use crate::support::{Folder, eight, read, write};

/// The first file with the second's directory linked behind its own; both little endian.
fn two_pages(first: &[u8], second: &[u8]) -> Vec<u8> {
    let number = |bytes: &[u8], at: usize| {
        u32::from_le_bytes([bytes[at], bytes[at + 1], bytes[at + 2], bytes[at + 3]])
    };
    let mut file = first.to_vec();
    file.resize(file.len().next_multiple_of(2), 0);
    let shift = file.len() as u32;
    file.extend(second);
    let place = number(first, 4) as usize;
    let count = usize::from(u16::from_le_bytes([first[place], first[place + 1]]));
    let link = place + 2 + 12 * count;
    let target = number(second, 4) + shift;
    file[link..link + 4].copy_from_slice(&target.to_le_bytes());
    // Offsets within the second are from its own start.
    let place = target as usize;
    let count = usize::from(u16::from_le_bytes([file[place], file[place + 1]]));
    for entry in 0..count {
        let at = place + 2 + 12 * entry;
        let tag = u16::from_le_bytes([file[at], file[at + 1]]);
        let kind = u16::from_le_bytes([file[at + 2], file[at + 3]]);
        let values = number(&file, at + 4);
        let bytes = values * if kind == 3 { 2 } else { 4 };
        // A list that lies elsewhere, or the one strip's offset.
        if bytes > 4 {
            let moved = number(&file, at + 8) + shift;
            file[at + 8..at + 12].copy_from_slice(&moved.to_le_bytes());
            if tag == 273 || tag == 324 {
                for value in 0..values {
                    let at = (moved + 4 * value) as usize;
                    let strip = number(&file, at) + shift;
                    file[at..at + 4].copy_from_slice(&strip.to_le_bytes());
                }
            }
        } else if tag == 273 {
            let moved = number(&file, at + 8) + shift;
            file[at + 8..at + 12].copy_from_slice(&moved.to_le_bytes());
        }
    }
    file
}

fn page(size: (usize, usize), packed: Packed, base: u64) -> Vec<u8> {
    let maker = Maker {
        packed,
        ..Maker::rgb16(size)
    };
    maker.file(|x, y, channel| base + (7 * x + 300 * y + channel) as u64)
}

#[test]
fn a_small_first_page_is_passed_over_for_the_largest_and_that_is_said() {
    let folder = Folder::new();
    for packed in [Packed::Plain, Packed::Lzw, Packed::Deflate] {
        let file = two_pages(&page((8, 6), packed, 5), &page((40, 30), packed, 9));
        let raster = read(&folder.with("scan.tif", &file)).unwrap();
        assert_eq!((raster.width, raster.height), (40, 30), "{packed:?}");
        let Samples::Sixteen(codes) = &raster.samples else {
            panic!("16 bits");
        };
        assert_eq!(codes[..3], [9, 10, 11]);
        assert_eq!(codes[3 * 40 * 29 + 3 * 39], 9 + 7 * 39 + 300 * 29);
        let notes = raster.origin.notes.join("; ");
        assert!(notes.contains("page 2 of 40 x 30 pixels"), "{notes}");
    }
}

#[test]
fn of_pages_of_like_size_the_first_is_read_and_that_is_said() {
    let folder = Folder::new();
    let file = two_pages(
        &page((38, 30), Packed::Lzw, 5),
        &page((40, 30), Packed::Lzw, 9),
    );
    let raster = read(&folder.with("scan.tif", &file)).unwrap();
    assert_eq!(raster.width, 38);
    let notes = raster.origin.notes.join("; ");
    assert!(notes.contains("2 pages; the first was read"), "{notes}");
}

#[test]
fn colour_that_was_multiplied_by_its_alpha_is_refused() {
    let folder = Folder::new();
    let maker = Maker {
        channels: 4,
        extra: vec![1],
        ..Maker::rgb16((20, 10))
    };
    let error = read(&folder.with("scan.tif", &maker.file(|_, _, _| 9))).unwrap_err();
    assert_eq!(error.sort(), Sort::Unsupported);
    assert!(
        error.to_string().contains("without transparency"),
        "{error}"
    );
}

/// By the same rule as 16 bits: sRGB where the file says nothing (docs/scan-files.md).
#[test]
fn whole_numbers_of_32_bits_mean_what_16_bits_mean() {
    let folder = Folder::new();
    let light = |width: usize, full: u64| {
        let maker = Maker {
            width,
            ..Maker::rgb16((20, 10))
        };
        let file = maker.file(|_, _, _| full / 3);
        let raster = read(&folder.with("scan.tif", &file)).unwrap();
        assert_eq!(raster.light.source, "assumed: sRGB");
        let table = &raster.light.tables[0];
        let share = match &raster.samples {
            Samples::Sixteen(codes) => f64::from(codes[3 * 10]) / 65_535.0,
            Samples::Float(values) => f64::from(values[3 * 10]),
            Samples::Eight(_) => panic!("more than 8 bits"),
        };
        f64::from(table[(share * (table.len() - 1) as f64).round() as usize])
    };
    let (sixteen, thirty_two) = (light(2, 65_535), light(4, u64::from(u32::MAX)));
    assert!(
        (sixteen - thirty_two).abs() < 1e-4,
        "{sixteen} {thirty_two}"
    );
}

#[test]
fn a_small_file_cannot_ask_for_gigabytes() {
    let folder = Folder::new();
    for packed in [
        Packed::Plain,
        Packed::Lzw,
        Packed::Deflate,
        Packed::PackBits,
    ] {
        let maker = Maker {
            packed,
            rows: 20_000,
            ..Maker::rgb16((20, 10))
        };
        let mut file = maker.file(|x, y, _| (x * y) as u64);
        // The size that it claims: 20,000 x 20,000 pixels, 2.4 GB.
        let place = u32::from_le_bytes([file[4], file[5], file[6], file[7]]) as usize;
        let count = usize::from(u16::from_le_bytes([file[place], file[place + 1]]));
        for entry in 0..count {
            let at = place + 2 + 12 * entry;
            let tag = u16::from_le_bytes([file[at], file[at + 1]]);
            if matches!(tag, 256 | 257) {
                file[at + 8..at + 12].copy_from_slice(&20_000u32.to_le_bytes());
            }
        }
        file.resize(25_000, 0);
        let error = read(&folder.with("scan.tif", &file)).unwrap_err();
        assert!(
            error.to_string().contains("can't hold the picture"),
            "{packed:?}: {error}"
        );
    }
}

#[test]
fn a_jpeg_that_was_cut_short_is_said_to_be_though_an_end_marker_follows() {
    let folder = Folder::new();
    for (name, channels) in [("grey.jpg", 1), ("colour.jpg", 3)] {
        let path = folder.path(name);
        let container = Container::Jpeg { quality: 90 };
        write(&path, &eight(channels), channels, container, Mark::None);
        let whole = std::fs::read(&path).unwrap();
        assert!(read(&path).is_ok());
        let start = whole
            .windows(2)
            .rposition(|pair| pair == [0xff, 0xda])
            .unwrap();
        for share in [3, 6, 9] {
            let mut cut = whole[..start + (whole.len() - start) * share / 10].to_vec();
            while cut.last() == Some(&0xff) {
                cut.pop();
            }
            cut.extend([0xff, 0xd9]);
            let error = read(&folder.with("cut.jpg", &cut)).unwrap_err().to_string();
            assert!(
                error.contains("blocks of the picture are there"),
                "{name} {share}: {error}"
            );
        }
    }
    let behind = [
        b"\0\0\0\0",
        &std::fs::read(folder.path("grey.jpg")).unwrap()[..],
    ]
    .concat();
    let error = read(&folder.with("behind.jpg", &behind))
        .unwrap_err()
        .to_string();
    assert!(
        error.contains("a JPEG picture behind other bytes"),
        "{error}"
    );
}

/// The standard wants tiles in multiples of 16; others are read all the same.
#[test]
fn tiles_of_odd_sizes_are_read() {
    let folder = Folder::new();
    for packed in [
        Packed::Plain,
        Packed::Lzw,
        Packed::Deflate,
        Packed::PackBits,
    ] {
        let maker = Maker {
            packed,
            tile: Some((10, 6)),
            ..Maker::rgb16((33, 20))
        };
        let code = |x: usize, y: usize, channel: usize| (7 * x + 300 * y + channel) as u64;
        let raster = read(&folder.with("scan.tif", &maker.file(code))).unwrap();
        let Samples::Sixteen(codes) = &raster.samples else {
            panic!("16 bits");
        };
        for (place, &read) in codes.iter().enumerate() {
            let right = code(place / 3 % 33, place / 99, place % 3);
            assert_eq!(u64::from(read), right, "{packed:?} {place}");
        }
    }
}

/// Before TIFF 6.0 some programs put the lower bits first; the codes then begin with 00 01.
#[test]
fn lzw_of_the_old_kind_is_named_as_what_it_is() {
    let folder = Folder::new();
    let maker = Maker {
        packed: Packed::Lzw,
        rows: 100,
        ..Maker::rgb16((20, 10))
    };
    let mut file = maker.file(|x, y, _| (x * y) as u64);
    // The one strip stands behind the header.
    assert_eq!(file[8], 0x80, "the code that clears the table");
    file[8] = 0;
    file[9] |= 1;
    let error = read(&folder.with("old.tif", &file)).unwrap_err();
    assert_eq!(error.sort(), Sort::Unsupported, "{error}");
    assert!(error.to_string().contains("LZW of the old kind"), "{error}");
}
