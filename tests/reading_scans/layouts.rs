//! Every layout of a TIFF gives the same picture.

use twinstrip::measure::raster::{Raster, Samples};

use crate::maker::{Maker, Packed};
use crate::support::{Folder, SIZE, code, codes, read};

fn read_back(folder: &Folder, file: &[u8], what: &str) -> Raster {
    read(&folder.with("layout.tif", file)).unwrap_or_else(|error| panic!("{what}: {error}"))
}

const PACKINGS: [(Packed, bool); 6] = [
    (Packed::Plain, false),
    (Packed::PackBits, false),
    (Packed::Lzw, false),
    (Packed::Lzw, true),
    (Packed::Deflate, false),
    (Packed::Deflate, true),
];

#[test]
fn sixteen_bits_come_back_from_any_order_of_bytes_strips_tiles_and_planes() {
    let folder = Folder::new();
    let right = Samples::Sixteen(codes(3));
    for (packed, differences) in PACKINGS {
        for bits in 0..8 {
            let (big_endian, big, planar) = (bits & 1 > 0, bits & 2 > 0, bits & 4 > 0);
            for (tile, rows) in [
                (Some((16, 16)), 0),
                (Some((64, 48)), 0),
                (None, 7),
                (None, 29),
            ] {
                let maker = Maker {
                    big_endian,
                    big,
                    planar,
                    tile,
                    rows,
                    packed,
                    differences,
                    ..Maker::rgb16(SIZE)
                };
                let file = maker.file(|x, y, channel| u64::from(code(x, y, channel)));
                let what = format!("{maker:?}");
                let raster = read_back(&folder, &file, &what);
                assert!(raster.samples == right, "{what}");
                assert_eq!(raster.origin.bits, 16);
            }
        }
    }
}

#[test]
fn an_extra_channel_is_passed_over_with_a_note_whatever_it_is() {
    let folder = Folder::new();
    // 0 unspecified (infrared of some scanners), 2 alpha.
    for kind in [0, 2] {
        for photometric in [0, 1, 2] {
            let channels = if photometric == 2 { 3 } else { 1 };
            let mut right = codes(channels);
            if photometric == 0 {
                right.iter_mut().for_each(|code| *code = 65_535 - *code);
            }
            for (packed, differences) in PACKINGS {
                for (planar, tile) in [(false, None), (true, None), (false, Some((16, 16)))] {
                    let maker = Maker {
                        photometric,
                        channels: channels + 1,
                        extra: vec![kind],
                        planar,
                        tile,
                        packed,
                        differences,
                        ..Maker::rgb16(SIZE)
                    };
                    let file = maker.file(|x, y, channel| u64::from(code(x, y, channel)));
                    let what = format!("{maker:?}");
                    let raster = read_back(&folder, &file, &what);
                    assert!(raster.samples == Samples::Sixteen(right.clone()), "{what}");
                    let notes = raster.origin.notes.join("; ");
                    assert!(notes.contains("passed over"), "{notes}");
                }
            }
        }
    }
}

#[test]
fn white_is_zero_is_turned_over() {
    let folder = Folder::new();
    for (packed, differences) in PACKINGS {
        let maker = Maker {
            photometric: 0,
            channels: 1,
            width: 1,
            packed,
            differences,
            ..Maker::rgb16(SIZE)
        };
        let file = maker.file(|x, y, _| u64::from(code(x, y, 0) >> 8));
        let right = codes(1)
            .iter()
            .map(|code| 255 - (code >> 8) as u8)
            .collect();
        assert!(
            read_back(&folder, &file, "").samples == Samples::Eight(right),
            "{packed:?}"
        );
    }
}

#[test]
fn floats_and_wide_whole_numbers_come_back_as_shares_of_full_scale() {
    let folder = Folder::new();
    let share = |code: u16| f32::from(code) / 65_535.0;
    for (big_endian, packed) in [
        (false, Packed::Plain),
        (true, Packed::Plain),
        (true, Packed::Lzw),
    ] {
        let maker = Maker {
            width: 4,
            format: 3,
            big_endian,
            packed,
            ..Maker::rgb16(SIZE)
        };
        let file = maker.file(|x, y, channel| u64::from(share(code(x, y, channel)).to_bits()));
        let raster = read_back(&folder, &file, "");
        let right: Vec<f32> = codes(3).into_iter().map(share).collect();
        assert!(raster.samples == Samples::Float(right));
        assert!(
            raster.light.source.contains("linear"),
            "{}",
            raster.light.source
        );

        let wide = Maker { format: 1, ..maker };
        let file = wide.file(|x, y, channel| u64::from(code(x, y, channel)) * 65_537);
        let Samples::Float(values) = read_back(&folder, &file, "").samples else {
            panic!("32-bit whole numbers become floats");
        };
        let close = |(&value, code): (&f32, u16)| (value - share(code)).abs() < 1e-6;
        assert!(values.iter().zip(codes(3)).all(close));
    }
}

#[test]
fn resolution_comes_in_pixels_a_millimetre_from_inches_and_centimetres() {
    let folder = Folder::new();
    let read_with = |tags: Vec<(u16, u16, Vec<u64>)>| {
        let maker = Maker {
            tags,
            ..Maker::rgb16(SIZE)
        };
        read_back(&folder, &maker.file(|_, _, _| 0), "")
    };
    let fractions = |across: u64, down: u64| {
        vec![
            (282, 5, vec![across * 10, 10]),
            (283, 5, vec![down * 10, 10]),
        ]
    };
    let with_unit = |unit: u64, across: u64, down: u64| {
        let mut tags = fractions(across, down);
        tags.push((296, 3, vec![unit]));
        read_with(tags)
    };
    // 254 pixels an inch are 10 a millimetre; inches go without saying.
    assert_eq!(read_with(fractions(254, 254)).pixels_per_mm, Some(10.0));
    assert_eq!(with_unit(2, 254, 254).pixels_per_mm, Some(10.0));
    assert_eq!(with_unit(3, 100, 100).pixels_per_mm, Some(10.0));
    assert_eq!(with_unit(1, 254, 254).pixels_per_mm, None);
    assert_eq!(with_unit(2, 0, 0).pixels_per_mm, None);
    let uneven = with_unit(3, 100, 120);
    assert_eq!(uneven.pixels_per_mm, Some(11.0));
    assert!(
        uneven
            .origin
            .notes
            .iter()
            .any(|note| note.contains("differ"))
    );
}

#[test]
fn an_orientation_is_noted_and_the_picture_kept_as_stored() {
    let folder = Folder::new();
    let maker = Maker {
        tags: vec![(274, 3, vec![6])],
        ..Maker::rgb16(SIZE)
    };
    let file = maker.file(|x, y, channel| u64::from(code(x, y, channel)));
    let raster = read_back(&folder, &file, "");
    assert!(raster.samples == Samples::Sixteen(codes(3)));
    let turned = |note: &String| note.contains("90 degrees clockwise");
    assert!(
        raster.origin.notes.iter().any(turned),
        "{:?}",
        raster.origin.notes
    );
}

#[test]
fn a_transfer_function_in_the_file_is_used() {
    let folder = Folder::new();
    let square: Vec<u64> = (0..256u64)
        .map(|code| code * code * 65_535 / 65_025)
        .collect();
    let maker = Maker {
        width: 1,
        channels: 1,
        photometric: 1,
        tags: vec![(301, 3, square)],
        ..Maker::rgb16(SIZE)
    };
    let raster = read_back(&folder, &maker.file(|_, _, _| 128), "");
    let light = raster.light.tables[0][128];
    assert!((light - (128.0f32 / 255.0).powi(2)).abs() < 1e-4, "{light}");
}
