//! Smoothing on a grid: a plane through what lies near, at every place.

use rayon::prelude::*;

/// Bells are cut off at so many widths.
const CUT: f64 = 3.0;

/// What the local planes say.
#[derive(Debug, Clone, PartialEq)]
pub(super) struct Plane {
    /// The smooth value, by place.
    pub value: Vec<f64>,
    /// Its variance, by place, from how far the places are off what the others foretell.
    pub variance: Vec<f64>,
    /// Mean square of the known places' distance from what the others foretell.
    pub left_out: f64,
}

/// A bell and its first moments over distances from `-reach` to `reach`.
struct Bell {
    reach: usize,
    /// The bell, the bell times distance, and times its square.
    moments: [Vec<f64>; 3],
}

impl Bell {
    fn new(width: f64) -> Self {
        let reach = (CUT * width).ceil() as usize;
        let distances = || (0..=2 * reach).map(move |k| k as f64 - reach as f64);
        let bell = move |d: f64| (-(d / width).powi(2) / 2.0).exp();
        let of = |power: i32| distances().map(|d| bell(d) * d.powi(power)).collect();
        Self {
            reach,
            moments: [of(0), of(1), of(2)],
        }
    }

    /// Sums over a line of `count` values `step` apart.
    fn along(&self, power: usize, values: &[f64], columns: usize, rows: bool) -> Vec<f64> {
        let kernel = &self.moments[power];
        let height = values.len() / columns;
        let mut sums = vec![0.0; values.len()];
        sums.par_chunks_mut(columns)
            .enumerate()
            .for_each(|(y, sums)| {
                if rows {
                    let line = &values[y * columns..][..columns];
                    for (x, sum) in sums.iter_mut().enumerate() {
                        let from = x.saturating_sub(self.reach);
                        let to = (x + self.reach + 1).min(columns);
                        let kernel = &kernel[from + self.reach - x..];
                        *sum = line[from..to].iter().zip(kernel).map(|(v, k)| v * k).sum();
                    }
                } else {
                    let from = y.saturating_sub(self.reach);
                    for other in from..(y + self.reach + 1).min(height) {
                        let weight = kernel[other + self.reach - y];
                        let line = &values[other * columns..][..columns];
                        for (sum, value) in sums.iter_mut().zip(line) {
                            *sum += weight * value;
                        }
                    }
                }
            });
        sums
    }
}

impl Plane {
    /// Planes through the known ones of `levels`, weighted by bells of these widths along rows and
    /// down columns, in places.
    pub(super) fn through(
        levels: &[f64],
        known: &[bool],
        columns: usize,
        widths: (f64, f64),
    ) -> Self {
        let (bell_x, bell_y) = (Bell::new(widths.0), Bell::new(widths.1));
        let weight: Vec<f64> = known.iter().map(|known| f64::from(*known)).collect();
        // About their mean, so that nothing of weight is lost to rounding.
        let middle = levels.iter().zip(&weight).map(|(l, w)| l * w).sum::<f64>()
            / weight.iter().sum::<f64>().max(1.0);
        let light: Vec<f64> = levels
            .iter()
            .zip(&weight)
            .map(|(level, weight)| (level - middle) * weight)
            .collect();
        let x = |of: &[f64], power| bell_x.along(power, of, columns, true);
        let y = |of: &[f64], power| bell_y.along(power, of, columns, false);
        let (w0, w1, w2) = (x(&weight, 0), x(&weight, 1), x(&weight, 2));
        let (l0, l1) = (x(&light, 0), x(&light, 1));
        let (s00, s10, s01) = (y(&w0, 0), y(&w1, 0), y(&w0, 1));
        let (s20, s11, s02) = (y(&w2, 0), y(&w1, 1), y(&w0, 2));
        let (t00, t10, t01) = (y(&l0, 0), y(&l1, 0), y(&l0, 1));
        let mut value = Vec::with_capacity(levels.len());
        let mut own = Vec::with_capacity(levels.len());
        for i in 0..levels.len() {
            // A weak pull to a level plane keeps lone places solvable.
            let pull = 1e-6 * s00[i] + 1e-12;
            let (xx, yy) = (s20[i] + pull, s02[i] + pull);
            let determinant = xx * yy - s11[i] * s11[i];
            // The slopes by the level taken out: Cramer's rule on the two that are left.
            let along = (s10[i] * yy - s01[i] * s11[i]) / determinant;
            let down = (s01[i] * xx - s10[i] * s11[i]) / determinant;
            let precision = (s00[i] - along * s10[i] - down * s01[i]).max(1e-9);
            value.push((t00[i] - along * t10[i] - down * t01[i]) / precision + middle);
            own.push((1.0 / precision).min(0.95));
        }
        let (mut squares, mut count) = (0.0, 0.0);
        for i in (0..levels.len()).filter(|&i| known[i]) {
            squares += ((levels[i] - value[i]) / (1.0 - own[i])).powi(2);
            count += 1.0;
        }
        let left_out = squares / f64::max(count, 1.0);
        // The sum of squared weights is half the weight of a place itself under a bell.
        let variance = own.iter().map(|own| left_out * own / 2.0).collect();
        Self {
            value,
            variance,
            left_out,
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_plane_is_kept_whole_by_any_width_and_over_gaps() {
        let columns = 30;
        let levels: Vec<f64> = (0..columns * 20)
            .map(|i| 0.1 + 0.002 * (i % columns) as f64 - 0.001 * (i / columns) as f64)
            .collect();
        let known: Vec<bool> = (0..levels.len()).map(|i| i % 7 != 0).collect();
        for widths in [(1.0, 1.0), (2.5, 10.0), (16.0, 4.0)] {
            let plane = Plane::through(&levels, &known, columns, widths);
            for (value, level) in plane.value.iter().zip(&levels) {
                assert!((value - level).abs() < 1e-5, "{value} for {level}");
            }
        }
    }

    #[test]
    fn the_variance_is_that_of_the_noise_divided_by_the_places_that_count() {
        // Far from the borders a bell of width h in two directions counts 4 pi h h places
        // (integral of the squared Gaussian).
        let columns = 60;
        let mut state = 1u64;
        let mut noise = || {
            let mut sum = -6.0;
            for _ in 0..12 {
                state = state
                    .wrapping_mul(6_364_136_223_846_793_005)
                    .wrapping_add(1);
                sum += (state >> 33) as f64 / f64::from(1u32 << 31);
            }
            0.01 * sum
        };
        let levels: Vec<f64> = (0..columns * 60).map(|_| noise()).collect();
        let plane = Plane::through(&levels, &vec![true; levels.len()], columns, (3.0, 2.0));
        let expected = 1e-4 / (4.0 * std::f64::consts::PI * 6.0);
        let middle = plane.variance[30 * columns + 30];
        assert!(
            (middle / expected - 1.0).abs() < 0.15,
            "{middle} {expected}"
        );
        // Near the borders fewer places count, which the variances know.
        let count = levels.len() as f64;
        let found = plane.value.iter().map(|v| v * v).sum::<f64>() / count;
        let stated = plane.variance.iter().sum::<f64>() / count;
        assert!((found / stated - 1.0).abs() < 0.35, "{found} {stated}");
    }
}
