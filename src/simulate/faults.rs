//! What scanning software does to a scan when it is let.

use image::codecs::jpeg::{JpegDecoder, JpegEncoder};
use image::{ExtendedColorType, ImageDecoder};

use super::optics::blur;
use super::recipe::Encoding;
use super::recipe::Twist;
use super::scanner::light_of;
use crate::measure::raster::{Raster, Samples};

/// Spoils a scan as the twist asks.
pub fn spoil(mut raster: Raster, twist: Twist, encoding: Encoding, per_mm: f64) -> Raster {
    match twist {
        Twist::ClippedBlacks => each_code(&mut raster, |code| (code - 0.16) / 0.84),
        Twist::ClippedWhites => each_code(&mut raster, |code| code * 1.22),
        Twist::AutoLevels => {
            let eight = to_eight(&raster);
            let (low, high) = (percentile(&eight, 0.003), percentile(&eight, 0.997));
            let spread = (high - low).max(1.0);
            let stretched = eight
                .iter()
                .map(|&code| {
                    ((f32::from(code) - low) / spread * 255.0)
                        .clamp(0.0, 255.0)
                        .round() as u8
                })
                .collect();
            put_eight(&mut raster, stretched, encoding);
        }
        Twist::Sharpened => sharpen(&mut raster, per_mm),
        Twist::Jpeg(quality) => {
            let eight = to_eight(&raster);
            if let Some(codes) = through_jpeg(&eight, &raster, quality) {
                put_eight(&mut raster, codes, encoding);
                raster.origin.lossy = true;
            }
        }
        _ => {}
    }
    raster
}

fn each_code(raster: &mut Raster, change: impl Fn(f32) -> f32) {
    match &mut raster.samples {
        Samples::Eight(codes) => codes.iter_mut().for_each(|code| {
            *code = (change(f32::from(*code) / 255.0).clamp(0.0, 1.0) * 255.0).round() as u8;
        }),
        Samples::Sixteen(codes) => codes.iter_mut().for_each(|code| {
            *code = (change(f32::from(*code) / 65535.0).clamp(0.0, 1.0) * 65535.0).round() as u16;
        }),
        Samples::Float(codes) => codes.iter_mut().for_each(|code| *code = change(*code)),
    }
}

fn to_eight(raster: &Raster) -> Vec<u8> {
    match &raster.samples {
        Samples::Eight(codes) => codes.clone(),
        Samples::Sixteen(codes) => codes
            .iter()
            .map(|&code| ((u32::from(code) + 128) / 257) as u8)
            .collect(),
        Samples::Float(codes) => codes
            .iter()
            .map(|&code| (code.clamp(0.0, 1.0) * 255.0).round() as u8)
            .collect(),
    }
}

fn put_eight(raster: &mut Raster, codes: Vec<u8>, encoding: Encoding) {
    raster.samples = Samples::Eight(codes);
    raster.light = light_of(encoding, 8, raster.channels);
    raster.origin.bits = 8;
}

fn percentile(codes: &[u8], share: f64) -> f32 {
    let mut counts = [0usize; 256];
    for &code in codes {
        counts[usize::from(code)] += 1;
    }
    let mut left = (share * codes.len() as f64) as usize;
    for (code, &count) in counts.iter().enumerate() {
        if count > left {
            return code as f32;
        }
        left -= count;
    }
    255.0
}

/// Unsharp mask on the codes.
fn sharpen(raster: &mut Raster, per_mm: f64) {
    const AMOUNT: f32 = 0.9;
    let (width, channels) = (raster.width, raster.channels);
    let full = match &raster.samples {
        Samples::Eight(_) => 255.0f32,
        _ => 65535.0,
    };
    let shares: Vec<f32> = match &raster.samples {
        Samples::Eight(codes) => codes.iter().map(|&c| f32::from(c) / full).collect(),
        Samples::Sixteen(codes) => codes.iter().map(|&c| f32::from(c) / full).collect(),
        Samples::Float(codes) => codes.clone(),
    };
    let mut sharp = shares.clone();
    for channel in 0..channels {
        let mut plane: Vec<f32> = shares
            .iter()
            .skip(channel)
            .step_by(channels)
            .copied()
            .collect();
        blur(&mut plane, width, (0.2 * per_mm).max(1.2));
        for (at, soft) in plane.into_iter().enumerate() {
            let value = &mut sharp[at * channels + channel];
            *value = (*value + AMOUNT * (*value - soft)).clamp(0.0, 1.0);
        }
    }
    match &mut raster.samples {
        Samples::Eight(codes) => {
            for (code, share) in codes.iter_mut().zip(&sharp) {
                *code = (share * full).round() as u8;
            }
        }
        Samples::Sixteen(codes) => {
            for (code, share) in codes.iter_mut().zip(&sharp) {
                *code = (share * full).round() as u16;
            }
        }
        Samples::Float(codes) => *codes = sharp,
    }
}

/// Codes after a trip through a JPEG file; `None` when the size is beyond the format.
fn through_jpeg(codes: &[u8], raster: &Raster, quality: u8) -> Option<Vec<u8>> {
    let kind = if raster.channels == 3 {
        ExtendedColorType::Rgb8
    } else {
        ExtendedColorType::L8
    };
    let mut file = Vec::new();
    JpegEncoder::new_with_quality(&mut file, quality.clamp(1, 100))
        .encode(
            codes,
            u32::try_from(raster.width).ok()?,
            u32::try_from(raster.height).ok()?,
            kind,
        )
        .ok()?;
    let decoder = JpegDecoder::new(std::io::Cursor::new(file)).ok()?;
    let mut back = vec![0; codes.len()];
    decoder.read_image(&mut back).ok()?;
    Some(back)
}
