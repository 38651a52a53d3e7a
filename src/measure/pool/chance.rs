//! What chance alone does to the best of several shapes of change.

use nalgebra::{DMatrix, DVector};
use rand::SeedableRng as _;
use rand_chacha::ChaCha8Rng;
use rand_distr::{Distribution as _, StandardNormal};

/// Draws that a small chance is counted from: 5 % in 9 is then known to a tenth of it.
const DRAWS: usize = 20_000;
/// Draws after which a chance is looked at,
const FIRST: usize = 2_000;
/// and from which on it is of no use to know it better.
const PLAIN: f64 = 0.15;
/// Seed of the draws: the same sessions give the same chance.
const SEED: u64 = 0x0d21_f700;

/// The shape that explains most, and how likely chance alone explains as much.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) struct Best {
    /// Which shape.
    pub(super) shape: usize,
    /// Chance of a shape that explains at least as much when nothing changes.
    pub(super) p: f64,
}

/// Which of `shapes` (each one number a session) the values follow best, and its chance.
///
/// Values and shapes are weighted and freed of their common mean; what is compared is the share
/// of the values' squares that a shape explains, which is the order of Student's t of each. Its
/// greatest among all shapes is held against that of normal deviates freed of their mean, so
/// the chance counts that several shapes were tried and how alike they are. It does not depend
/// on the size of the scatter, only on the weights. `None` without a shape or any scatter.
pub(super) fn best_shape(values: &[f64], weights: &[f64], shapes: &[Vec<f64>]) -> Option<Best> {
    let count = values.len();
    let root = DVector::from_iterator(count, weights.iter().map(|weight| weight.sqrt()));
    let common = root.normalize();
    let free = |column: &DVector<f64>| column - &common * common.dot(column);
    let weighted = |values: &[f64]| free(&root.component_mul(&DVector::from_row_slice(values)));
    let mut directions = DMatrix::zeros(count, shapes.len());
    for (mut column, shape) in directions.column_iter_mut().zip(shapes) {
        let direction = weighted(shape);
        let length = direction.norm();
        if length > 1e-9 * root.norm() {
            column.copy_from(&(direction / length));
        }
    }
    let residual = weighted(values);
    let explained = |residual: &DVector<f64>| {
        let along = directions.tr_mul(residual);
        let shape = along.iamax();
        (shape, along[shape].abs() / residual.norm())
    };
    if shapes.is_empty() || residual.norm() <= 0.0 {
        return None;
    }
    let (shape, found) = explained(&residual);
    let mut rng = ChaCha8Rng::seed_from_u64(SEED);
    let mut draw = DVector::zeros(count);
    let mut reached = 1usize;
    let mut drawn = 0usize;
    let p = |reached: usize, drawn: usize| reached as f64 / (drawn + 1) as f64;
    while drawn < DRAWS && !(drawn == FIRST && p(reached, drawn) > PLAIN) {
        draw.iter_mut()
            .for_each(|value| *value = StandardNormal.sample(&mut rng));
        if explained(&free(&draw)).1 >= found {
            reached += 1;
        }
        drawn += 1;
    }
    Some(Best {
        shape,
        p: p(reached, drawn),
    })
}
