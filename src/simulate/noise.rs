//! Quick normal deviates for noise on every pixel.

use rand::{Rng, RngCore, SeedableRng};
use rand_chacha::ChaCha8Rng;
use rand_distr::StandardNormal;

/// Normal deviates kept in a table, each with its negative: drawing one costs a look-up.
pub struct NoiseTable(Vec<f32>);

const NOISE_TABLE: usize = 1 << 13;

impl NoiseTable {
    /// The table or stream of a seed.
    pub fn new(seed: u64) -> Self {
        let mut rng = ChaCha8Rng::seed_from_u64(seed ^ 0x6e6f_6973);
        let mut table: Vec<f32> = (0..NOISE_TABLE / 2)
            .map(|_| rng.sample(StandardNormal))
            .collect();
        table.extend_from_within(..);
        table[NOISE_TABLE / 2..].iter_mut().for_each(|v| *v = -*v);
        Self(table)
    }

    /// The deviate that the low bits of a roll choose.
    pub fn at(&self, roll: u64) -> f32 {
        self.0[roll as usize % NOISE_TABLE]
    }
}

/// A quick stream of random bits, one a row, so that threads don't matter (xorshift64*,
/// Vigna 2016).
pub struct Rolls(u64);

impl Rolls {
    /// The stream of a row.
    pub fn new(seed: u64, row: u64) -> Self {
        let mut rng = ChaCha8Rng::seed_from_u64(seed);
        rng.set_stream(row + 1);
        Self(rng.next_u64() | 1)
    }

    /// 56 random bits.
    pub fn roll(&mut self) -> u64 {
        self.0 ^= self.0 >> 12;
        self.0 ^= self.0 << 25;
        self.0 ^= self.0 >> 27;
        self.0.wrapping_mul(0x2545_f491_4f6c_dd1d) >> 8
    }
}
