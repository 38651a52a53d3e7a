//! Writes scan files: for practice scans and for tests.

use std::borrow::Cow;
use std::io::{BufWriter, Seek, Write};
use std::path::{Path, PathBuf};

use image::ImageEncoder as _;
use image::codecs::jpeg::{JpegEncoder, PixelDensity, PixelDensityUnit};
use tiff::encoder::colortype::{ColorType, Gray8, Gray16, Gray32Float, RGB8, RGB16, RGB32Float};
use tiff::encoder::{
    Compression, DeflateLevel, ImageEncoder, Predictor, Rational, TiffEncoder, TiffKind,
    TiffKindBig, TiffKindStandard, TiffValue,
};
use tiff::tags::{ResolutionUnit, Tag};

use crate::files::atomic::Unfinished;
use crate::measure::raster::Samples;

/// Code values to be written.
#[derive(Debug, Clone, Copy)]
pub struct Picture<'a> {
    /// Width in pixels.
    pub width: usize,
    /// Height in pixels.
    pub height: usize,
    /// 1 (grey) or 3 (RGB).
    pub channels: usize,
    /// `width * height * channels` code values, row by row, channels interleaved.
    pub samples: &'a Samples,
}

/// How the strips of a TIFF are packed.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default)]
pub enum Packing {
    /// Not at all.
    #[default]
    Plain,
    /// LZW with horizontal differences.
    Lzw,
    /// Deflate with horizontal differences.
    Deflate,
    /// PackBits; every row is a strip of its own.
    PackBits,
}

/// The kind of file.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Container {
    /// TIFF in strips, in the byte order of this machine.
    Tiff {
        /// Packing of the strips.
        packing: Packing,
        /// Rows of a strip; `None` makes strips of about 1 MB.
        rows_per_strip: Option<u32>,
        /// 64-bit offsets (BigTIFF).
        big: bool,
    },
    /// PNG (8 or 16 bits).
    Png,
    /// JPEG (8 bits), with loss.
    Jpeg {
        /// 1 (worst) to 100 (best).
        quality: u8,
    },
}

impl Container {
    /// An ordinary TIFF.
    pub fn tiff(packing: Packing) -> Self {
        Self::Tiff {
            packing,
            rows_per_strip: None,
            big: false,
        }
    }
}

/// What the file says about the meaning of its code values.
#[derive(Debug, Clone, PartialEq, Default)]
pub enum Mark {
    /// Nothing.
    #[default]
    None,
    /// An embedded ICC profile (any container).
    Profile(Vec<u8>),
    /// An sRGB chunk (PNG only).
    PngSrgb,
    /// A gAMA chunk for code = light^(1/gamma) (PNG only), such as 2.2.
    PngGamma(f64),
}

/// How a scan is written.
#[derive(Debug, Clone, PartialEq)]
pub struct WriteOptions {
    /// The kind of file.
    pub container: Container,
    /// Resolution, pixels per millimetre; `None` leaves it unsaid. JPEG keeps whole pixels
    /// per inch, PNG whole pixels per metre.
    pub pixels_per_mm: Option<f64>,
    /// What the file says about its encoding.
    pub mark: Mark,
}

/// Why a scan was not written.
#[derive(Debug, thiserror::Error)]
pub enum WriteError {
    /// The picture doesn't go with the container.
    #[error("{}: cannot be written: {what}", path.display())]
    Unfit {
        /// The file that was to be written.
        path: PathBuf,
        /// What doesn't fit.
        what: String,
    },
    /// The disk refused, or the encoder did.
    #[error("{}: could not be written: {what}; check that the folder exists and has room", path.display())]
    Refused {
        /// The file that was to be written.
        path: PathBuf,
        /// What the system said.
        what: String,
    },
}

/// What a picture that this program made says of itself, so that it is told from a scan: a scan is
/// never replaced.
pub(in crate::files) const OWN_PICTURE: &str = "twinstrip picture";

/// Writes a scan file. The file appears under its name only once it is complete.
///
/// # Errors
/// [`WriteError::Unfit`] when the samples don't match the size or the container can't hold
/// them, [`WriteError::Refused`] when the disk refuses.
pub fn write_scan(
    path: &Path,
    picture: &Picture<'_>,
    options: &WriteOptions,
) -> Result<(), WriteError> {
    write(path, picture, options, None)
}

/// Writes a picture that is no scan: as [`write_scan`] (PNG and TIFF), and the file says that this
/// program made it.
///
/// # Errors
/// Those of [`write_scan`].
pub fn write_picture(
    path: &Path,
    picture: &Picture<'_>,
    options: &WriteOptions,
) -> Result<(), WriteError> {
    write(path, picture, options, Some(OWN_PICTURE))
}

fn write(
    path: &Path,
    picture: &Picture<'_>,
    options: &WriteOptions,
    maker: Option<&str>,
) -> Result<(), WriteError> {
    let unfit = |what: &str| WriteError::Unfit {
        path: path.to_owned(),
        what: what.to_owned(),
    };
    let refused = |what: String| WriteError::Refused {
        path: path.to_owned(),
        what,
    };
    check(picture, options).map_err(|what| unfit(&what))?;
    let mut file = Unfinished::begin(path).map_err(|error| refused(error.source.to_string()))?;
    {
        let mut sink = BufWriter::with_capacity(1 << 18, file.as_file_mut());
        encode(&mut sink, picture, options, maker).map_err(refused)?;
        sink.flush().map_err(|error| refused(error.to_string()))?;
    }
    file.finish()
        .map_err(|error| refused(error.source.to_string()))
}

/// Encodes a scan into anything that can be written and sought.
fn encode(
    sink: &mut (impl Write + Seek),
    picture: &Picture<'_>,
    options: &WriteOptions,
    maker: Option<&str>,
) -> Result<(), String> {
    check(picture, options)?;
    match options.container {
        Container::Tiff { big: false, .. } => {
            encode_tiff::<TiffKindStandard>(sink, picture, options, maker)
                .map_err(|e| e.to_string())
        }
        Container::Tiff { big: true, .. } => {
            encode_tiff::<TiffKindBig>(sink, picture, options, maker).map_err(|e| e.to_string())
        }
        Container::Png => encode_png(sink, picture, options, maker).map_err(|e| e.to_string()),
        Container::Jpeg { quality } => encode_jpeg(sink, picture, options, quality),
    }
}

fn check(picture: &Picture<'_>, options: &WriteOptions) -> Result<(), String> {
    let sides = [picture.width, picture.height];
    if sides.iter().any(|&side| u32::try_from(side).is_err()) || sides.contains(&0) {
        return Err("a side is zero or too long".into());
    }
    if !matches!(picture.channels, 1 | 3) {
        return Err("only grey and RGB pictures can be written".into());
    }
    if picture.samples.len() != picture.width * picture.height * picture.channels {
        return Err("the count of samples doesn't match width, height and channels".into());
    }
    let png_mark = matches!(options.mark, Mark::PngSrgb | Mark::PngGamma(_));
    match (options.container, picture.samples) {
        (Container::Png, Samples::Float(_)) => Err("PNG holds 8 or 16 bits".into()),
        (Container::Jpeg { .. }, Samples::Sixteen(_) | Samples::Float(_)) => {
            Err("JPEG holds 8 bits".into())
        }
        (Container::Tiff { .. } | Container::Jpeg { .. }, _) if png_mark => {
            Err("only PNG has sRGB and gAMA chunks".into())
        }
        _ => Ok(()),
    }
}

fn encode_tiff<K: TiffKind>(
    sink: &mut (impl Write + Seek),
    picture: &Picture<'_>,
    options: &WriteOptions,
    maker: Option<&str>,
) -> tiff::TiffResult<()> {
    match (picture.samples, picture.channels) {
        (Samples::Eight(codes), 1) => {
            encode_strips::<Gray8, K>(sink, picture, options, maker, codes)
        }
        (Samples::Eight(codes), _) => {
            encode_strips::<RGB8, K>(sink, picture, options, maker, codes)
        }
        (Samples::Sixteen(codes), 1) => {
            encode_strips::<Gray16, K>(sink, picture, options, maker, codes)
        }
        (Samples::Sixteen(codes), _) => {
            encode_strips::<RGB16, K>(sink, picture, options, maker, codes)
        }
        (Samples::Float(codes), 1) => {
            encode_strips::<Gray32Float, K>(sink, picture, options, maker, codes)
        }
        (Samples::Float(codes), _) => {
            encode_strips::<RGB32Float, K>(sink, picture, options, maker, codes)
        }
    }
}

fn encode_strips<C: ColorType, K: TiffKind>(
    sink: &mut (impl Write + Seek),
    picture: &Picture<'_>,
    options: &WriteOptions,
    maker: Option<&str>,
    codes: &[C::Inner],
) -> tiff::TiffResult<()>
where
    [C::Inner]: TiffValue,
{
    let Container::Tiff {
        packing,
        rows_per_strip,
        ..
    } = options.container
    else {
        unreachable!("called for TIFF only");
    };
    let differences = matches!(picture.samples, Samples::Eight(_) | Samples::Sixteen(_));
    let (compression, predictor) = match packing {
        Packing::Plain => (Compression::Uncompressed, Predictor::None),
        Packing::PackBits => (Compression::Packbits, Predictor::None),
        Packing::Lzw if differences => (Compression::Lzw, Predictor::Horizontal),
        Packing::Lzw => (Compression::Lzw, Predictor::None),
        Packing::Deflate if differences => (
            Compression::Deflate(DeflateLevel::Balanced),
            Predictor::Horizontal,
        ),
        Packing::Deflate => (
            Compression::Deflate(DeflateLevel::Balanced),
            Predictor::None,
        ),
    };
    let mut encoder = TiffEncoder::<_, K>::new_generic(sink)?
        .with_compression(compression)
        .with_predictor(predictor);
    // The sides were checked to fit.
    let (width, height) = (picture.width as u32, picture.height as u32);
    let mut image: ImageEncoder<'_, _, C, K> = encoder.new_image(width, height)?;
    if let (Some(rows), false) = (rows_per_strip, packing == Packing::PackBits) {
        image.rows_per_strip(rows.max(1))?;
    }
    if let Some(per_mm) = options.pixels_per_mm {
        let per_inch = Rational {
            n: (per_mm * 25.4 * 10_000.0).round() as u32,
            d: 10_000,
        };
        let tags = image.encoder();
        tags.write_tag(Tag::ResolutionUnit, ResolutionUnit::Inch.to_u16())?;
        tags.write_tag(Tag::XResolution, per_inch.clone())?;
        tags.write_tag(Tag::YResolution, per_inch)?;
    }
    if let Mark::Profile(profile) = &options.mark {
        image
            .encoder()
            .write_tag(Tag::IccProfile, profile.as_slice())?;
    }
    if let Some(maker) = maker {
        image.encoder().write_tag(Tag::Software, maker)?;
    }
    image.write_data(codes)
}

fn encode_png(
    sink: &mut impl Write,
    picture: &Picture<'_>,
    options: &WriteOptions,
    maker: Option<&str>,
) -> Result<(), png::EncodingError> {
    let mut info = png::Info::with_size(picture.width as u32, picture.height as u32);
    info.color_type = if picture.channels == 1 {
        png::ColorType::Grayscale
    } else {
        png::ColorType::Rgb
    };
    info.pixel_dims = options.pixels_per_mm.map(|per_mm| {
        let per_metre = (per_mm * 1000.0).round() as u32;
        png::PixelDimensions {
            xppu: per_metre,
            yppu: per_metre,
            unit: png::Unit::Meter,
        }
    });
    if let Mark::Profile(profile) = &options.mark {
        info.icc_profile = Some(Cow::Borrowed(profile));
    }
    let bytes = match picture.samples {
        Samples::Eight(codes) => Cow::Borrowed(codes.as_slice()),
        Samples::Sixteen(codes) => {
            info.bit_depth = png::BitDepth::Sixteen;
            Cow::Owned(codes.iter().flat_map(|code| code.to_be_bytes()).collect())
        }
        Samples::Float(_) => unreachable!("refused by the check"),
    };
    let mut encoder = png::Encoder::with_info(sink, info)?;
    encoder.set_compression(png::Compression::Fast);
    match options.mark {
        Mark::PngSrgb => {
            encoder.set_source_srgb(png::SrgbRenderingIntent::RelativeColorimetric);
        }
        Mark::PngGamma(gamma) => {
            encoder.set_source_gamma(png::ScaledFloat::new((1.0 / gamma) as f32));
        }
        Mark::None | Mark::Profile(_) => {}
    }
    if let Some(maker) = maker {
        encoder.add_text_chunk("Software".into(), maker.into())?;
    }
    let mut writer = encoder.write_header()?;
    writer.write_image_data(&bytes)?;
    writer.finish()
}

fn encode_jpeg(
    sink: &mut impl Write,
    picture: &Picture<'_>,
    options: &WriteOptions,
    quality: u8,
) -> Result<(), String> {
    let Samples::Eight(codes) = picture.samples else {
        unreachable!("refused by the check");
    };
    if picture.width > 65_535 || picture.height > 65_535 {
        return Err("JPEG holds at most 65,535 pixels a side".into());
    }
    let mut encoder = JpegEncoder::new_with_quality(sink, quality);
    if let Some(per_mm) = options.pixels_per_mm {
        let per_inch = (per_mm * 25.4).round() as u16;
        encoder.set_pixel_density(PixelDensity {
            density: (per_inch, per_inch),
            unit: PixelDensityUnit::Inches,
        });
    }
    if let Mark::Profile(profile) = &options.mark {
        encoder
            .set_icc_profile(profile.clone())
            .map_err(|error| error.to_string())?;
    }
    let color = if picture.channels == 1 {
        image::ExtendedColorType::L8
    } else {
        image::ExtendedColorType::Rgb8
    };
    encoder
        .write_image(codes, picture.width as u32, picture.height as u32, color)
        .map_err(|error| error.to_string())
}

#[cfg(test)]
mod tests {
    #![expect(clippy::disallowed_methods, reason = "reads back what was written")]

    use super::*;

    fn file_start(container: Container, samples: &Samples) -> Vec<u8> {
        let folder = tempfile::tempdir().unwrap();
        let path = folder.path().join("scan");
        let picture = Picture {
            width: 4,
            height: 2,
            channels: 3,
            samples,
        };
        let options = WriteOptions {
            container,
            pixels_per_mm: Some(600.0 / 25.4),
            mark: Mark::None,
        };
        write_scan(&path, &picture, &options).unwrap();
        std::fs::read(path).unwrap()[..4].to_vec()
    }

    #[test]
    fn every_container_is_written_as_what_it_is() {
        let eight = Samples::Eight((0..24).collect());
        let sixteen = Samples::Sixteen((0..24).collect());
        for packing in [
            Packing::Plain,
            Packing::Lzw,
            Packing::Deflate,
            Packing::PackBits,
        ] {
            assert_eq!(file_start(Container::tiff(packing), &sixteen)[2..], [42, 0]);
        }
        let big = Container::Tiff {
            packing: Packing::Plain,
            rows_per_strip: Some(1),
            big: true,
        };
        assert_eq!(file_start(big, &sixteen)[2..], [43, 0]);
        assert_eq!(file_start(Container::Png, &sixteen)[1..], *b"PNG");
        let jpeg = Container::Jpeg { quality: 90 };
        assert_eq!(file_start(jpeg, &eight)[..3], [0xff, 0xd8, 0xff]);
    }

    #[test]
    fn a_jpeg_of_sixteen_bits_is_refused() {
        let samples = Samples::Sixteen(vec![0; 24]);
        let picture = Picture {
            width: 4,
            height: 2,
            channels: 3,
            samples: &samples,
        };
        let options = WriteOptions {
            container: Container::Jpeg { quality: 90 },
            pixels_per_mm: None,
            mark: Mark::None,
        };
        let folder = tempfile::tempdir().unwrap();
        let error = write_scan(&folder.path().join("scan.jpg"), &picture, &options).unwrap_err();
        assert!(error.to_string().ends_with("JPEG holds 8 bits"), "{error}");
    }
}
