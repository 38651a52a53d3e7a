//! The preview of every pixel of the scan.

use std::sync::atomic::{AtomicUsize, Ordering};

use rayon::prelude::*;

use super::picture::ByLight;
use super::tones::{LEVELS, Table, encoded_srgb, level_of_density};
use crate::measure::raster::{Channel, Raster, Samples};
use crate::measure::scale::DensityScale;
use crate::measure::watch::{Cancelled, Watch};

/// The scan at its full size as it would look on the coating: red, green and blue, 16 bits,
/// encoded as sRGB (IEC 61966-2-1).
///
/// # Errors
/// When it is called off.
pub fn full_size(
    raster: &Raster,
    scale: &dyn DensityScale,
    channel: Channel,
    table: &Table,
    watch: &dyn Watch,
) -> Result<Samples, Cancelled> {
    let by_light = ByLight::new(scale);
    let codes: Vec<[u16; 3]> = (0..LEVELS)
        .map(|level| {
            table.light[level].map(|light| (encoded_srgb(light) * 65_535.0).round() as u16)
        })
        .collect();
    let mut samples = vec![0u16; raster.width * raster.height * 3];
    let done = AtomicUsize::new(0);
    samples
        .par_chunks_mut(raster.width * 3)
        .enumerate()
        .try_for_each_init(Vec::new, |row, (y, out)| {
            watch.at(done.fetch_add(1, Ordering::Relaxed), raster.height)?;
            raster.linear_row(y, 0, raster.width, channel, row);
            for (out, &light) in out.chunks_exact_mut(3).zip(row.iter()) {
                let level = level_of_density(f64::from(by_light.density(light)));
                out.copy_from_slice(&codes[usize::from(level)]);
            }
            Ok(())
        })?;
    Ok(Samples::Sixteen(samples))
}
