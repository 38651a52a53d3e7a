//! Files that cannot be read, each with its own message: what is wrong, and the remedy.

use std::path::Path;
use std::sync::atomic::{AtomicUsize, Ordering};

use twinstrip::files::scan::{
    Container, Limits, Mark, Packing, Problem, ScanError, ScanOptions, Sort, read_scan,
};
use twinstrip::measure::watch::{Cancelled, Unwatched, Watch};

use crate::maker::{Maker, Packed};
use crate::support::{Folder, SIZE, bytes, eight, read, sixteen, write};

fn refused(path: &Path) -> ScanError {
    let Err(error) = read(path) else {
        panic!("{} was read", path.display());
    };
    let said = error.to_string();
    assert!(said.starts_with(&path.display().to_string()), "{said}");
    error
}

#[track_caller]
fn assert_said(error: &ScanError, sort: Sort, parts: &[&str]) {
    let said = error.to_string();
    assert_eq!(error.sort(), sort, "{said}");
    for part in parts {
        assert!(said.contains(part), "'{part}' is missing in: {said}");
    }
}

#[test]
fn a_missing_file_a_folder_and_an_empty_file_are_told_apart() {
    let folder = Folder::new();
    let error = refused(&folder.path("slate.tif"));
    assert_said(&error, Sort::Disk, &["no such file", "check its name"]);
    let error = refused(&folder.path(""));
    assert_said(&error, Sort::Disk, &["folder", "name one scan file"]);
    let error = refused(&folder.with("slate.tif", b""));
    assert_said(&error, Sort::File, &["empty", "scan again"]);
}

#[test]
fn a_text_that_is_named_tif_is_seen_for_what_it_is() {
    let folder = Folder::new();
    let error = refused(&folder.with("slate.tif", b"Harbour wall, slate 7, 4 s at f/8\n"));
    assert_said(
        &error,
        Sort::File,
        &["not a TIFF, PNG or JPEG", "text", "save the scan as TIFF"],
    );
    let error = refused(&folder.with("slate.tif", &[7; 100]));
    assert_said(&error, Sort::File, &["not a TIFF, PNG or JPEG file;"]);
}

#[test]
fn a_name_that_lies_about_the_kind_of_file_does_no_harm() {
    let folder = Folder::new();
    let path = folder.path("slate.jpg");
    write(&path, &sixteen(3), 3, Container::Png, Mark::None);
    assert!(read(&path).unwrap().samples == sixteen(3));
}

#[test]
fn a_file_that_was_cut_short_is_said_to_be_at_any_length() {
    let folder = Folder::new();
    let tiff = |packing| Container::Tiff {
        packing,
        rows_per_strip: Some(8),
        big: false,
    };
    let containers = [
        tiff(Packing::Plain),
        tiff(Packing::Lzw),
        tiff(Packing::Deflate),
        tiff(Packing::PackBits),
        Container::Png,
        Container::Jpeg { quality: 90 },
    ];
    for container in containers {
        let path = folder.path("whole");
        write(&path, &eight(3), 3, container, Mark::None);
        let whole = bytes(&path);
        for share in [0.1, 0.5, 0.9, 0.98] {
            let length = (whole.len() as f64 * share) as usize;
            let error = refused(&folder.with("short", &whole[..length]));
            assert_said(
                &error,
                Sort::File,
                &["ends too early", "fetch a complete copy"],
            );
        }
    }
}

#[test]
fn pixels_that_are_missing_from_a_strip_are_said_with_their_row() {
    let folder = Folder::new();
    for packed in [Packed::Plain, Packed::Deflate, Packed::Lzw] {
        let whole = Maker {
            packed,
            ..Maker::rgb16(SIZE)
        };
        // The directory stands at the end; a strip that is said to lie behind it is missing.
        let far = Maker {
            tags: vec![(273, 4, vec![8, 8, 8, 8, 60_000])],
            ..whole
        };
        let error = refused(&folder.with("slate.tif", &far.file(|x, _, _| x as u64)));
        assert_said(&error, Sort::File, &["ends too early", "near row 28"]);
    }
}

#[test]
fn a_million_by_a_million_pixels_are_refused_before_memory_is_taken() {
    let folder = Folder::new();
    let tiff = Maker {
        tags: vec![(256, 4, vec![1_000_000]), (257, 4, vec![1_000_000])],
        ..Maker::rgb16(SIZE)
    };
    let path = folder.path("slate.png");
    write(&path, &eight(3), 3, Container::Png, Mark::None);
    let mut png = bytes(&path);
    png[16..20].copy_from_slice(&1_000_000u32.to_be_bytes());
    png[20..24].copy_from_slice(&1_000_000u32.to_be_bytes());
    write(
        &path,
        &eight(3),
        3,
        Container::Jpeg { quality: 90 },
        Mark::None,
    );
    let mut jpeg = bytes(&path);
    let frame = jpeg
        .windows(2)
        .position(|pair| pair == [0xff, 0xc0])
        .unwrap();
    jpeg[frame + 5..frame + 9].copy_from_slice(&[0xff; 4]);
    for (file, size) in [
        (tiff.file(|_, _, _| 0), "1000000 x 1000000"),
        (png, "1000000 x 1000000"),
        (jpeg, "65535 x 65535"),
    ] {
        let error = refused(&folder.with("slate", &file));
        assert_said(&error, Sort::Unsupported, &[size, "raise the pixel limit"]);
    }
}

#[test]
fn the_limits_are_the_users_to_set() {
    let folder = Folder::new();
    let path = folder.path("slate.tif");
    write(
        &path,
        &sixteen(3),
        3,
        Container::tiff(Packing::Plain),
        Mark::None,
    );
    let read_within = |max_pixels, max_bytes| {
        let options = ScanOptions {
            limits: Limits {
                max_pixels,
                max_bytes,
            },
            stated: None,
        };
        read_scan(&path, &options, &Unwatched)
    };
    let pixels = (SIZE.0 * SIZE.1) as u64;
    let error = read_within(pixels - 1, u64::MAX).unwrap_err();
    assert!(matches!(error.problem, Problem::TooManyPixels { .. }));
    let error = read_within(pixels, pixels * 6 - 1).unwrap_err();
    assert_said(
        &error,
        Sort::Unsupported,
        &["bytes of memory", "raise the byte limit"],
    );
    assert!(read_within(pixels, pixels * 6).is_ok());
}

#[test]
fn a_tile_far_larger_than_the_picture_is_refused() {
    let folder = Folder::new();
    let maker = Maker {
        tile: Some((48, 32)),
        tags: vec![(322, 4, vec![4_000_000_000]), (323, 4, vec![4_000_000_000])],
        ..Maker::rgb16(SIZE)
    };
    let error = refused(&folder.with("slate.tif", &maker.file(|_, _, _| 0)));
    assert_said(&error, Sort::Unsupported, &["bytes of memory"]);
}

#[test]
fn kinds_of_tiff_that_are_not_read_are_named_with_a_remedy() {
    let folder = Folder::new();
    let grey = |width, format| Maker {
        channels: 1,
        photometric: 1,
        width,
        format,
        ..Maker::rgb16(SIZE)
    };
    let with = |tag: u16, value: u64| Maker {
        tags: vec![(tag, 3, vec![value])],
        ..Maker::rgb16(SIZE)
    };
    for (maker, what) in [
        (with(259, 7), "JPEG compression"),
        (with(259, 4), "fax compression"),
        (with(259, 50_000), "Zstandard compression"),
        (with(259, 12_345), "compression method 12345"),
        (with(262, 5), "CMYK colour"),
        (with(262, 3), "colour palette"),
        (with(262, 8), "CIELAB colour"),
        (with(262, 32_803), "raw camera data"),
        (with(317, 3), "predictor 3"),
        (with(266, 2), "reversed bit order"),
        (grey(2, 3), "floating point of 16 bits"),
        (grey(2, 2), "signed numbers of 16 bits"),
        (grey(8, 3), "floating point of 64 bits"),
    ] {
        let error = refused(&folder.with("slate.tif", &maker.file(|_, _, _| 0)));
        assert_said(&error, Sort::Unsupported, &[what, "save the scan"]);
    }
}

#[test]
fn a_cmyk_jpeg_is_refused_by_name() {
    let folder = Folder::new();
    let path = folder.path("slate.jpg");
    write(
        &path,
        &eight(3),
        3,
        Container::Jpeg { quality: 90 },
        Mark::None,
    );
    let mut file = bytes(&path);
    let frame = file
        .windows(2)
        .position(|pair| pair == [0xff, 0xc0])
        .unwrap();
    // A fourth component in the frame header: length 17 becomes 20.
    file[frame + 3] = 20;
    file[frame + 9] = 4;
    file.splice(frame + 19..frame + 19, [4, 0x11, 0]);
    let error = refused(&folder.with("slate.jpg", &file));
    assert_said(
        &error,
        Sort::Unsupported,
        &["CMYK colour", "save the scan as an RGB JPEG"],
    );
}

/// PNG has checksums. LZW has none, and garbled codes may well decode to something.
#[test]
fn garbled_data_are_damage_where_the_file_can_tell() {
    let folder = Folder::new();
    let path = folder.path("slate.png");
    write(&path, &eight(3), 3, Container::Png, Mark::None);
    let mut file = bytes(&path);
    let middle = file.len() / 2;
    file[middle] ^= 1;
    let error = refused(&folder.with("slate.png", &file));
    assert_said(&error, Sort::File, &["damaged", "fetch a sound copy"]);
}

#[test]
fn work_that_is_called_off_stops_without_blame() {
    struct After(AtomicUsize);
    impl Watch for After {
        fn at(&self, done: usize, of: usize) -> Result<(), Cancelled> {
            assert!(done <= of);
            match self.0.fetch_add(1, Ordering::Relaxed) {
                0..3 => Ok(()),
                _ => Err(Cancelled),
            }
        }
    }
    let folder = Folder::new();
    for container in [
        Container::tiff(Packing::Plain),
        Container::tiff(Packing::Lzw),
        Container::Png,
        Container::Jpeg { quality: 90 },
    ] {
        let path = folder.path("slate");
        write(&path, &eight(3), 3, container, Mark::None);
        let watch = After(AtomicUsize::new(2));
        let error = read_scan(&path, &ScanOptions::default(), &watch).unwrap_err();
        assert_eq!(error.sort(), Sort::Cancelled, "{container:?}: {error}");
    }
}
