//! What is written comes back, whatever the container.

use twinstrip::files::scan::{Container, Mark, Packing};

use crate::support::{Folder, SIZE, eight, float, read, sixteen, write};

#[test]
fn a_scan_comes_back_from_tiff_and_png_as_it_was_written() {
    let folder = Folder::new();
    let mut containers = vec![Container::Png];
    for packing in [
        Packing::Plain,
        Packing::Lzw,
        Packing::Deflate,
        Packing::PackBits,
    ] {
        for big in [false, true] {
            for rows_per_strip in [Some(1), Some(5), Some(29), Some(1000), None] {
                containers.push(Container::Tiff {
                    packing,
                    rows_per_strip,
                    big,
                });
            }
        }
    }
    for container in containers {
        for channels in [1, 3] {
            let mut all = vec![eight(channels), sixteen(channels)];
            if container != Container::Png {
                all.push(float(channels));
            }
            for samples in all {
                let path = folder.path("scan");
                write(&path, &samples, channels, container, Mark::None);
                let raster = read(&path).unwrap();
                assert_eq!((raster.width, raster.height), SIZE);
                assert_eq!(raster.channels, channels);
                assert_eq!(raster.light.tables.len(), channels);
                assert!(
                    raster.samples == samples,
                    "{container:?}, {channels} channels"
                );
                let per_mm = raster.pixels_per_mm.unwrap();
                assert!((per_mm * 25.4 - 600.0).abs() < 0.02, "{per_mm}");
                assert!(!raster.origin.lossy);
            }
        }
    }
}
