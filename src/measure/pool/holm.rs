//! Several questions asked at once.

/// Chances adjusted for having been asked together, by Holm's steps, in the order given.
///
/// Whoever calls those at most 5 % raises a false alarm in at most one of twenty sets, however
/// the questions hang together. A chance that is not a number stays one and counts as not
/// asked. Source: Holm 1979, Scand. J. Stat. 6:65.
/// Checked against: tests/references/multiple.rs.
pub fn holm(chances: &[f64]) -> Vec<f64> {
    let mut order: Vec<usize> = (0..chances.len())
        .filter(|&place| !chances[place].is_nan())
        .collect();
    order.sort_by(|&a, &b| chances[a].total_cmp(&chances[b]));
    let asked = order.len();
    let mut adjusted = chances.to_vec();
    let mut reached = 0f64;
    for (rank, &place) in order.iter().enumerate() {
        reached = reached.max((asked - rank) as f64 * chances[place]).min(1.0);
        adjusted[place] = reached;
    }
    adjusted
}
