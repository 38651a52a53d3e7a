//! Profiles that have only look-up tables: the samples are converted once, while reading, to
//! 16-bit code values in a wide space with the sRGB curve. At density 2.5 one code is 0.04 %
//! of the light. What the engine itself costs, measured on a synthetic profile: under 0.001 D up
//! to density 1.5, under 0.007 D up to 2.5.
//!
//! The colour engine puts the whole conversion into one cube of 33 points a side. For a linear
//! scanner the cube's first cell would reach up to density 1.5; so the curves with which the
//! profile itself makes its device values even are taken out and applied to each code first.

use std::sync::Arc;

use moxcms::{
    BarycentricWeightScale, ColorProfile, Layout, LutStore, LutWarehouse, RenderingIntent,
    ToneReprCurve, TransformOptions,
};
use rayon::prelude::*;

use super::curve::{self, between};
use super::decoded::Decoded;
use super::error::Problem;
use super::light::{srgb_to_light, table};
use crate::measure::raster::{Light, Samples};

/// A curve a channel, as tables over the code values.
type Curves = [Arc<[f32]>; 3];

/// Pixels converted at a time.
const BAND: usize = 4096;

/// Whether a profile can convert by tables.
pub(super) fn has_tables(profile: &ColorProfile) -> bool {
    profile.lut_a_to_b_colorimetric.is_some() || profile.lut_a_to_b_perceptual.is_some()
}

fn unusable(what: impl std::fmt::Display) -> Problem {
    Problem::Profile {
        what: format!("its tables are damaged: {what}"),
    }
}

/// Converts RGB samples by the tables of a profile.
pub(super) fn convert(
    decoded: &mut Decoded,
    profile: &ColorProfile,
    source: String,
) -> Result<Light, Problem> {
    let mut profile = profile.clone();
    // Colorimetric, because densities are wanted and not a pleasing picture.
    let tables = profile
        .lut_a_to_b_colorimetric
        .take()
        .or(profile.lut_a_to_b_perceptual.take())
        .ok_or_else(|| unusable("they are missing"))?;
    let (even, tables) = take_curves(&decoded.samples, tables)?;
    profile.lut_a_to_b_perceptual = Some(tables.clone());
    profile.lut_a_to_b_colorimetric = Some(tables);
    let mut target = ColorProfile::new_bt2020();
    let srgb = ColorProfile::new_srgb();
    (target.red_trc, target.green_trc, target.blue_trc) =
        (srgb.red_trc, srgb.green_trc, srgb.blue_trc);
    target.cicp = None;
    let transform = profile
        .create_transform_f32(
            Layout::Rgb,
            &target,
            Layout::Rgb,
            TransformOptions {
                rendering_intent: RenderingIntent::RelativeColorimetric,
                allow_use_cicp_transfer: false,
                prefer_fixed_point: false,
                barycentric_weight_scale: BarycentricWeightScale::High,
                ..TransformOptions::default()
            },
        )
        .map_err(unusable)?;
    let mut codes = vec![0u16; decoded.samples.len()];
    codes
        .par_chunks_mut(3 * BAND)
        .enumerate()
        .try_for_each_init(
            || (vec![0f32; 3 * BAND], vec![0f32; 3 * BAND]),
            |(device, wide), (band, codes)| {
                let device = &mut device[..codes.len()];
                let wide = &mut wide[..codes.len()];
                evened(&decoded.samples, &even, band * 3 * BAND, device);
                transform.transform(device, wide).map_err(unusable)?;
                for (code, share) in codes.iter_mut().zip(wide.iter()) {
                    *code = (share.clamp(0.0, 1.0) * 65_535.0 + 0.5) as u16;
                }
                Ok(())
            },
        )?;
    decoded.samples = Samples::Sixteen(codes);
    let note = "the colour profile has tables only; the values were converted by them";
    decoded.notes.push(note.into());
    let curve = table(&decoded.samples, srgb_to_light);
    Ok(Light {
        tables: vec![curve; 3],
        weights: [
            target.red_colorant.y as f32,
            target.green_colorant.y as f32,
            target.blue_colorant.y as f32,
        ],
        source,
    })
}

/// The samples from `start` on, each by the curve of its channel.
fn evened(samples: &Samples, even: &Curves, start: usize, out: &mut [f32]) {
    let count = out.len();
    match samples {
        Samples::Eight(codes) => {
            for (index, (out, &code)) in out.iter_mut().zip(&codes[start..][..count]).enumerate() {
                *out = even[index % 3][usize::from(code)];
            }
        }
        Samples::Sixteen(codes) => {
            for (index, (out, &code)) in out.iter_mut().zip(&codes[start..][..count]).enumerate() {
                *out = even[index % 3][usize::from(code)];
            }
        }
        Samples::Float(values) => {
            for (index, (out, &value)) in out.iter_mut().zip(&values[start..][..count]).enumerate()
            {
                // The cast makes nothing of what is no number, and bounds the rest.
                *out = even[index % 3][usize::from((value * 65_535.0 + 0.5) as u16)];
            }
        }
    }
}

/// Takes the input curves out of the tables: each as a table over the samples' code values.
fn take_curves(samples: &Samples, tables: LutWarehouse) -> Result<(Curves, LutWarehouse), Problem> {
    let straight = || [(); 3].map(|()| table(samples, |share| share));
    match tables {
        LutWarehouse::Lut(mut lut) => {
            let entries = usize::from(lut.num_input_table_entries);
            let shares: Vec<f64> = match &lut.input_table {
                LutStore::Store8(codes) => codes.iter().map(|&c| f64::from(c) / 255.0).collect(),
                LutStore::Store16(codes) => {
                    codes.iter().map(|&c| f64::from(c) / 65_535.0).collect()
                }
            };
            if lut.num_input_channels != 3 || entries < 2 || shares.len() < 3 * entries {
                return Err(unusable("their input curves are incomplete"));
            }
            let even = [0, 1, 2].map(|channel| {
                let curve = &shares[channel * entries..][..entries];
                table(samples, |share| between(curve, share))
            });
            lut.input_table = match &lut.input_table {
                LutStore::Store8(_) => {
                    lut.num_input_table_entries = 256;
                    LutStore::Store8((0..3).flat_map(|_| 0..=255).collect())
                }
                LutStore::Store16(_) => {
                    lut.num_input_table_entries = 2;
                    LutStore::Store16([0, 65_535].repeat(3))
                }
            };
            Ok((even, LutWarehouse::Lut(lut)))
        }
        LutWarehouse::Multidimensional(mut lut)
            if lut.clut.is_some() && lut.a_curves.len() == 3 =>
        {
            let mut even = straight();
            for (even, curve) in even.iter_mut().zip(&mut lut.a_curves) {
                let function = curve::function(curve).ok_or_else(|| unusable("a bad curve"))?;
                *even = table(samples, |share| function(share).clamp(0.0, 1.0));
                *curve = ToneReprCurve::Lut(Vec::new());
            }
            Ok((even, LutWarehouse::Multidimensional(lut)))
        }
        other => Ok((straight(), other)),
    }
}
