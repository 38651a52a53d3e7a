//! Profiles that have look-up tables: the samples are converted once, while reading, to 16-bit
//! code values in a wide space (the primaries of ITU-R BT.2020), light = code^2. At density 2.5
//! one code is 0.05 % of the light.

use std::sync::Arc;

use moxcms::ColorProfile;
use nalgebra::{Matrix3, Vector3};
use rayon::prelude::*;

use super::decoded::Decoded;
use super::error::Problem;
use super::light::table;
use super::tables::{Way, take_apart};
use crate::measure::raster::{Light, Samples, Weights};
use crate::measure::visual;

/// A curve a channel, as tables over the code values.
type Curves = [Arc<[f32]>; 3];

/// Pixels converted at a time.
const BAND: usize = 4096;

/// Whether a profile can convert by tables.
pub(super) fn has_tables(profile: &ColorProfile) -> bool {
    profile.lut_a_to_b_colorimetric.is_some() || profile.lut_a_to_b_perceptual.is_some()
}

fn unusable(what: &str) -> Problem {
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
    // Colorimetric, because densities are wanted and not a pleasing picture.
    let tables = profile
        .lut_a_to_b_colorimetric
        .as_ref()
        .or(profile.lut_a_to_b_perceptual.as_ref())
        .ok_or_else(|| unusable("they are missing"))?;
    let (curves, way) = take_apart(tables, profile.pcs).map_err(unusable)?;
    let even: Curves = curves.map(|curve| table(&decoded.samples, curve));
    let target = ColorProfile::new_bt2020();
    let columns = [
        target.red_colorant,
        target.green_colorant,
        target.blue_colorant,
    ];
    let to_xyz = Matrix3::from_columns(&columns.map(|c| Vector3::new(c.x, c.y, c.z)));
    let from_xyz = to_xyz
        .try_inverse()
        .ok_or_else(|| unusable("no way to a wide space"))?
        .map(|factor| factor as f32);
    let samples = convert_samples(&decoded.samples, &even, &way, &from_xyz);
    decoded.samples = Samples::Sixteen(samples);
    let note = "The colour profile has tables; the values were converted by them";
    decoded.notes.push(note.into());
    let curve = table(&decoded.samples, |share| share * share);
    Ok(Light {
        tables: vec![curve; 3],
        weights: Weights {
            luminance: columns.map(|colorant| colorant.y as f32),
            visual: visual::of_primaries(
                columns.map(|colorant| [colorant.x, colorant.y, colorant.z]),
            ),
        },
        source,
    })
}

fn convert_samples(samples: &Samples, even: &Curves, way: &Way, to: &Matrix3<f32>) -> Vec<u16> {
    let mut codes = vec![0u16; samples.len()];
    codes.par_chunks_mut(3 * BAND).enumerate().for_each_init(
        || vec![0f32; 3 * BAND],
        |device, (band, codes)| {
            let device = &mut device[..codes.len()];
            evened(samples, even, band * 3 * BAND, device);
            for (codes, device) in codes.chunks_exact_mut(3).zip(device.chunks_exact(3)) {
                let xyz = way.xyz([device[0], device[1], device[2]]);
                let wide = to * Vector3::from(xyz);
                for (code, light) in codes.iter_mut().zip(wide.iter()) {
                    *code = (light.clamp(0.0, 1.0).sqrt() * 65_535.0 + 0.5) as u16;
                }
            }
        },
    );
    codes
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
