//! Profiles that have only look-up tables: the samples are converted once, while reading.
//!
//! They become 16-bit code values for the square root of linear light in a wide space. The
//! square root spends its codes like the eye: at density 2.5 one code is 0.05 % of the light,
//! and at density 3.5 it is still 0.2 %.

use moxcms::{ColorProfile, Layout, RenderingIntent, ToneReprCurve, TransformOptions};
use rayon::prelude::*;

use super::decoded::Decoded;
use super::error::Problem;
use super::light::table;
use crate::measure::raster::{Light, Samples};

/// Pixels converted at a time.
const BAND: usize = 4096;

/// Whether a profile can convert by tables.
pub(super) fn has_tables(profile: &ColorProfile) -> bool {
    profile.lut_a_to_b_colorimetric.is_some() || profile.lut_a_to_b_perceptual.is_some()
}

/// Converts RGB samples by the tables of a profile.
pub(super) fn convert(
    decoded: &mut Decoded,
    profile: &ColorProfile,
    source: String,
) -> Result<Light, Problem> {
    let mut target = ColorProfile::new_bt2020();
    target.cicp = None;
    for curve in [
        &mut target.red_trc,
        &mut target.green_trc,
        &mut target.blue_trc,
    ] {
        *curve = Some(ToneReprCurve::Lut(Vec::new()));
    }
    let transform = profile
        .create_transform_f32(
            Layout::Rgb,
            &target,
            Layout::Rgb,
            TransformOptions {
                rendering_intent: RenderingIntent::RelativeColorimetric,
                allow_use_cicp_transfer: false,
                prefer_fixed_point: false,
                ..TransformOptions::default()
            },
        )
        .map_err(|error| Problem::Profile {
            what: format!("its tables are damaged: {error}"),
        })?;
    let band = |shares: &[f32], light: &mut [f32], codes: &mut [u16]| {
        transform
            .transform(shares, light)
            .map_err(|error| Problem::Profile {
                what: format!("its tables failed: {error}"),
            })?;
        for (code, light) in codes.iter_mut().zip(light.iter()) {
            *code = (light.clamp(0.0, 1.0).sqrt() * 65_535.0 + 0.5) as u16;
        }
        Ok(())
    };
    let rooms = || (vec![0f32; 3 * BAND], vec![0f32; 3 * BAND]);
    let codes = match std::mem::replace(&mut decoded.samples, Samples::Eight(Vec::new())) {
        Samples::Sixteen(mut codes) => {
            codes
                .par_chunks_mut(3 * BAND)
                .try_for_each_init(rooms, |(shares, light), codes| {
                    let shares = &mut shares[..codes.len()];
                    for (share, &code) in shares.iter_mut().zip(codes.iter()) {
                        *share = f32::from(code) / 65_535.0;
                    }
                    band(shares, &mut light[..codes.len()], codes)
                })?;
            codes
        }
        Samples::Eight(bytes) => {
            let mut codes = vec![0u16; bytes.len()];
            codes
                .par_chunks_mut(3 * BAND)
                .zip(bytes.par_chunks(3 * BAND))
                .try_for_each_init(rooms, |(shares, light), (codes, bytes)| {
                    let shares = &mut shares[..codes.len()];
                    for (share, &code) in shares.iter_mut().zip(bytes) {
                        *share = f32::from(code) / 255.0;
                    }
                    band(shares, &mut light[..codes.len()], codes)
                })?;
            codes
        }
        Samples::Float(values) => {
            let mut codes = vec![0u16; values.len()];
            codes
                .par_chunks_mut(3 * BAND)
                .zip(values.par_chunks(3 * BAND))
                .try_for_each_init(rooms, |(_, light), (codes, values)| {
                    band(values, &mut light[..codes.len()], codes)
                })?;
            codes
        }
    };
    decoded.samples = Samples::Sixteen(codes);
    decoded
        .notes
        .push("the colour profile has tables only; the values were converted by it".into());
    let square = table(&decoded.samples, |share| share * share);
    Ok(Light {
        tables: vec![square; 3],
        weights: [
            target.red_colorant.y as f32,
            target.green_colorant.y as f32,
            target.blue_colorant.y as f32,
        ],
        source,
    })
}
