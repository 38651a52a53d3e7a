//! Blur and stray light of the scanner's optics.

use rayon::prelude::*;

use super::scanner::Scanner;

/// Adds stray light: a share of the mean of the neighbourhood and of the whole glass.
pub fn add_haze(scanner: &Scanner, light: &mut [f32], width: usize, per_mm: f64) {
    let step = (per_mm * 2.0).round().max(1.0) as usize;
    let (columns, rows) = (width.div_ceil(step), (light.len() / width).div_ceil(step));
    let mut coarse = vec![0f32; columns * rows];
    coarse
        .par_chunks_mut(columns)
        .zip(light.par_chunks(width * step))
        .for_each(|(sums, band)| {
            let lines = (band.len() / width) as f32;
            for line in band.chunks_exact(width) {
                for (sum, pixels) in sums.iter_mut().zip(line.chunks(step)) {
                    *sum += pixels.iter().sum::<f32>() / (pixels.len() as f32 * lines);
                }
            }
        });
    let whole = coarse.iter().sum::<f32>() / coarse.len() as f32;
    blur(
        &mut coarse,
        columns,
        scanner.haze_reach * per_mm / step as f64,
    );
    let near = (scanner.haze * scanner.haze_near) as f32;
    let far = (scanner.haze * (1.0 - scanner.haze_near)) as f32 * whole;
    let keep = 1.0 - scanner.haze as f32;
    // Where each column of pixels stands between the coarse columns.
    let places: Vec<(u32, f32)> = (0..width)
        .map(|x| {
            let u = ((x as f32 + 0.5) / step as f32 - 0.5).clamp(0.0, (columns - 1) as f32);
            let column = (u as usize).min(columns.saturating_sub(2));
            (column as u32, u - column as f32)
        })
        .collect();
    light.par_chunks_mut(width).enumerate().for_each_init(
        Vec::new,
        |between: &mut Vec<f32>, (y, line)| {
            let v = ((y as f32 + 0.5) / step as f32 - 0.5).clamp(0.0, (rows - 1) as f32);
            let row = (v as usize).min(rows.saturating_sub(2));
            let share = v - row as f32;
            let upper = &coarse[row * columns..][..columns];
            let lower = &coarse[(row + 1).min(rows - 1) * columns..][..columns];
            between.clear();
            between.extend(
                upper
                    .iter()
                    .zip(lower)
                    .map(|(a, b)| near * (a + (b - a) * share) + far),
            );
            between.push(between[columns - 1]);
            for (pixel, &(column, a)) in line.iter_mut().zip(&places) {
                let pair = &between[column as usize..];
                *pixel = keep * *pixel + pair[0] + (pair[1] - pair[0]) * a;
            }
        },
    );
}

/// Gaussian blur in place, rows then columns; borders repeat.
pub fn blur(values: &mut [f32], width: usize, sd: f64) {
    if sd < 0.2 {
        return;
    }
    let reach = (3.0 * sd).ceil() as usize;
    let mut kernel: Vec<f32> = (0..=2 * reach)
        .map(|k| (-0.5 * ((k as f64 - reach as f64) / sd).powi(2)).exp() as f32)
        .collect();
    let sum: f32 = kernel.iter().sum();
    kernel.iter_mut().for_each(|tap| *tap /= sum);
    values
        .par_chunks_mut(width)
        .for_each_init(Vec::new, |padded, line| {
            padded.clear();
            padded.extend(std::iter::repeat_n(line[0], reach));
            padded.extend_from_slice(line);
            padded.extend(std::iter::repeat_n(line[width - 1], reach));
            for (x, value) in line.iter_mut().enumerate() {
                *value = kernel.iter().zip(&padded[x..]).map(|(k, p)| k * p).sum();
            }
        });
    let height = values.len() / width;
    let source = values.to_vec();
    values
        .par_chunks_mut(width)
        .enumerate()
        .for_each(|(y, line)| {
            line.fill(0.0);
            for (k, tap) in kernel.iter().enumerate() {
                let from = (y + k).saturating_sub(reach).min(height - 1) * width;
                for (value, above) in line.iter_mut().zip(&source[from..from + width]) {
                    *value += tap * above;
                }
            }
        });
}
