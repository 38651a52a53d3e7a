//! Tones at which two curves are compared, and which of them a strip shows.

use super::points::StripDraws;
use super::summary;

/// Net densities: every twentieth up to 0.30, for the lightest tone that is shown; every tenth
/// beyond.
pub(crate) const NETS: [f64; 24] = [
    0.10, 0.15, 0.20, 0.25, 0.30, 0.40, 0.50, 0.60, 0.70, 0.80, 0.90, 1.00, 1.10, 1.20, 1.30, 1.40,
    1.50, 1.60, 1.70, 1.80, 1.90, 2.00, 2.10, 2.20,
];
/// Chance that a tone lies within the steps from which it counts as shown.
const SHOWN: f64 = 0.9;
/// A tone counts as shown up to this share of the net density that the curve surely has: beyond,
/// on a flat shoulder, its log exposure is unsure.
const OF_NET: f64 = 0.9;
/// What is surely exceeded: the quantile.
const SURELY: f64 = 0.05;

/// How many of the tones are no darker than a net density.
pub(crate) fn up_to(net_density: f64) -> usize {
    NETS.iter().filter(|&&net| net <= net_density).count()
}

/// Whether a tone is a whole tenth of net density.
pub(crate) fn is_tenth(tone: usize) -> bool {
    let tenths = 10.0 * NETS[tone];
    (tenths - tenths.round()).abs() < 1e-6
}

/// Lightest tone and darkest tenth that a strip's steps show in nine of ten draws.
pub(super) fn shown(draws: &StripDraws) -> Option<(usize, usize)> {
    let share = |tone: usize, limit: &[f64], within: fn(f64, f64) -> bool| {
        let x = &draws.tones[tone];
        let count = x.iter().zip(limit).filter(|&(&x, &at)| within(x, at));
        count.count() as f64 / x.len().max(1) as f64
    };
    let mut nets: Vec<f64> = draws
        .dmax
        .iter()
        .zip(&draws.dmin)
        .map(|(dmax, dmin)| dmax - dmin)
        .collect();
    let most = OF_NET * summary::quantile(&mut nets, SURELY)?;
    let count = draws.tones.len();
    let lightest =
        (0..count).find(|&tone| share(tone, &draws.first, |x, first| x >= first) >= SHOWN)?;
    let darkest = (0..count).rev().find(|&tone| {
        is_tenth(tone)
            && NETS[tone] <= most
            && share(tone, &draws.last, |x, last| x <= last) >= SHOWN
    })?;
    (lightest < darkest).then_some((lightest, darkest))
}
