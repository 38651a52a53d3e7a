//! Random fields over a strip: white noise smoothed by a Gaussian, with the wanted expected
//! variance.
//!
//! The realised sample is *not* centred or scaled: the mean over a strip is as random as on
//! a real coat, which is what the bounds have to cover.

use rand::Rng;
use rand_distr::StandardNormal;

/// One scale of a field.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Component {
    /// Standard deviation.
    pub sd: f64,
    /// Length along the strip in millimetres over which correlation falls to exp(-1/2).
    pub along: f64,
    /// The same across.
    pub across: f64,
}

impl Component {
    /// The same scale both ways.
    pub fn round(sd: f64, scale: f64) -> Self {
        Self {
            sd,
            along: scale,
            across: scale,
        }
    }
}

/// A field over a strip, read bilinearly.
#[derive(Debug, Clone)]
pub struct Field {
    columns: usize,
    rows: usize,
    /// Grid points per millimetre: along, across.
    per_mm: (f32, f32),
    values: Vec<f32>,
}

impl Field {
    /// A field that is zero everywhere.
    pub fn flat() -> Self {
        Self {
            columns: 2,
            rows: 2,
            per_mm: (0.0, 0.0),
            values: vec![0.0; 4],
        }
    }

    /// Sum of independent components over an area of `length` x `width` millimetres.
    pub fn draw(rng: &mut impl Rng, length: f64, width: f64, parts: &[Component]) -> Self {
        let finest = |scale: fn(&Component) -> f64| {
            parts.iter().map(scale).fold(6.0, f64::min).max(0.3) / 6.0
        };
        let spacing = (finest(|part| part.along), finest(|part| part.across));
        let columns = (length / spacing.0).ceil() as usize + 2;
        let rows = (width / spacing.1).ceil() as usize + 2;
        let mut field = Self {
            columns,
            rows,
            per_mm: (1.0 / spacing.0 as f32, 1.0 / spacing.1 as f32),
            values: vec![0.0; columns * rows],
        };
        for part in parts {
            field.add(rng, spacing, part);
        }
        field
    }

    /// Value at a place in millimetres from the strip's start-left corner.
    pub fn at(&self, along: f32, across: f32) -> f32 {
        let u = (along * self.per_mm.0).clamp(0.0, (self.columns - 1) as f32 - 0.001);
        let v = (across * self.per_mm.1).clamp(0.0, (self.rows - 1) as f32 - 0.001);
        let (column, row) = (u as usize, v as usize);
        let (a, b) = (u - column as f32, v - row as f32);
        let at = row * self.columns + column;
        let (top, bottom) = (&self.values[at..], &self.values[at + self.columns..]);
        let upper = top[0] + (top[1] - top[0]) * a;
        let lower = bottom[0] + (bottom[1] - bottom[0]) * a;
        upper + (lower - upper) * b
    }

    /// Adds a component: noise on a grid as coarse as its scale allows, smoothed each way,
    /// and brought onto the field's grid by cubic interpolation.
    fn add(&mut self, rng: &mut impl Rng, spacing: (f64, f64), part: &Component) {
        let coarse = (part.along / 4.0, part.across / 4.0);
        let columns = (self.columns as f64 * spacing.0 / coarse.0).ceil() as usize + 4;
        let rows = (self.rows as f64 * spacing.1 / coarse.1).ceil() as usize + 4;
        let kernel = kernel();
        let pad = kernel.len() - 1;
        let wide = columns + pad;
        let mut smooth = Vec::with_capacity(columns * (rows + pad));
        let mut noise = vec![0f64; wide];
        for _ in 0..rows + pad {
            noise.fill_with(|| rng.sample(StandardNormal));
            smooth.extend((0..columns).map(|at| dot(&noise[at..], &kernel)));
        }
        let down: Vec<f64> = (0..rows * columns)
            .map(|at| {
                kernel
                    .iter()
                    .enumerate()
                    .map(|(k, weight)| weight * smooth[at + k * columns])
                    .sum()
            })
            .collect();
        // Along first, then across; both by four-point cubics.
        let mut stretched = vec![0f64; self.columns * rows];
        for (row, out) in stretched.chunks_exact_mut(self.columns).enumerate() {
            let line = &down[row * columns..(row + 1) * columns];
            for (column, value) in out.iter_mut().enumerate() {
                let (at, weights) = cubic(column as f64 * spacing.0 / coarse.0);
                *value = dot(&line[at..], &weights);
            }
        }
        for row in 0..self.rows {
            let (at, weights) = cubic(row as f64 * spacing.1 / coarse.1);
            for column in 0..self.columns {
                let sum: f64 = (0..4)
                    .map(|k| weights[k] * stretched[(at + k) * self.columns + column])
                    .sum();
                self.values[row * self.columns + column] += (sum * part.sd) as f32;
            }
        }
    }
}

/// Gaussian taps for four grid points per correlation scale, with unit sum of squares.
///
/// Noise smoothed with standard deviation s has correlation exp(-d^2 / (4 s^2)); with
/// s = scale / sqrt 2 this is exp(-1/2) at d = scale.
fn kernel() -> Vec<f64> {
    let sd = 4.0 * std::f64::consts::FRAC_1_SQRT_2;
    let taps: Vec<f64> = (-11..=11)
        .map(|k| (-0.5 * (f64::from(k) / sd).powi(2)).exp())
        .collect();
    let norm = taps.iter().map(|tap| tap * tap).sum::<f64>().sqrt();
    taps.iter().map(|tap| tap / norm).collect()
}

fn dot(values: &[f64], weights: &[f64]) -> f64 {
    values.iter().zip(weights).map(|(a, b)| a * b).sum()
}

/// First of four neighbours and their weights (Catmull-Rom).
fn cubic(place: f64) -> (usize, [f64; 4]) {
    let below = place.floor();
    let t = place - below;
    let (t2, t3) = (t * t, t * t * t);
    (
        below as usize,
        [
            0.5 * (-t3 + 2.0 * t2 - t),
            0.5 * (3.0 * t3 - 5.0 * t2 + 2.0),
            0.5 * (-3.0 * t3 + 4.0 * t2 + t),
            0.5 * (t3 - t2),
        ],
    )
}

#[cfg(test)]
mod tests {
    use super::*;
    use rand::SeedableRng;
    use rand_chacha::ChaCha8Rng;

    #[test]
    fn a_coat_is_as_uneven_as_asked_over_many_draws() {
        let (mut squares, mut products, mut count) = (0.0, 0.0, 0.0);
        for seed in 0..900 {
            let mut rng = ChaCha8Rng::seed_from_u64(seed);
            let field = Field::draw(&mut rng, 60.0, 30.0, &[Component::round(0.018, 5.0)]);
            for k in 0..11 {
                for l in 0..6 {
                    let (u, v) = (k as f32 * 5.03 + 0.4, l as f32 * 5.1 + 0.2);
                    let here = f64::from(field.at(u, v));
                    squares += here * here;
                    products += here * f64::from(field.at(u + 5.0, v));
                    count += 1.0;
                }
            }
        }
        let sd: f64 = f64::sqrt(squares / count);
        assert!((sd / 0.018 - 1.0).abs() < 0.02, "sd {sd}");
        let correlation = products / squares;
        assert!(
            (correlation - (-0.5f64).exp()).abs() < 0.05,
            "{correlation}"
        );
    }

    #[test]
    fn the_mean_over_a_strip_is_left_to_chance() {
        let means: Vec<f64> = (0..60)
            .map(|seed| {
                let mut rng = ChaCha8Rng::seed_from_u64(seed);
                let field = Field::draw(&mut rng, 100.0, 30.0, &[Component::round(1.0, 8.0)]);
                field.values.iter().map(|&v| f64::from(v)).sum::<f64>() / field.values.len() as f64
            })
            .collect();
        let variance = means.iter().map(|m| m * m).sum::<f64>() / means.len() as f64;
        // About 2 pi scale^2 / area = 0.13, less at the borders.
        assert!(variance.sqrt() > 0.2 && variance.sqrt() < 0.5, "{variance}");
    }
}
