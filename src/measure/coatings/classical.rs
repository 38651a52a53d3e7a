//! The two classical families: all pairs of means, and all against one.

use statrs::function::gamma::ln_gamma;

use super::quadrature::{Rule, rising_to};
use crate::measure::pool::normal_below;

/// Panels across the normal density.
const NORMAL_PANELS: usize = 12;
/// Panels across the density of the estimated standard deviation.
const SCALE_PANELS: usize = 8;
/// Beyond this many standard deviations the normal density is nought.
const FAR: f64 = 9.0;

fn normal_density(z: f64) -> f64 {
    (-0.5 * z * z).exp() / std::f64::consts::TAU.sqrt()
}

/// The mean of a chance over what the estimated standard deviation may be: over s, where
/// freedom s^2 is a chi squared; the chance itself when the deviation is known.
fn over_scale(freedom: f64, chance: impl Fn(f64) -> f64) -> f64 {
    if freedom.is_infinite() {
        return chance(1.0);
    }
    let half = freedom / 2.0;
    let constant = std::f64::consts::LN_2 + half * half.ln() - ln_gamma(half);
    let density = |s: f64| (constant + (freedom - 1.0) * s.ln() - half * s * s).exp();
    let reach = FAR / freedom.sqrt();
    Rule::new((1.0 - reach).max(0.0), 1.0 + reach, SCALE_PANELS)
        .integral(|s| density(s) * chance(s))
}

/// Chance of a studentised range of at most `q` among `groups` means.
///
/// `freedom` are the degrees of freedom of the standard deviation, infinite when it is known.
/// Source: Tukey 1953; the integrals as in Copenhaver & Holland 1988, J. Stat. Comput. Simul.
/// 30:1. Checked against: tests/references/multiple.rs, tables to five decimals.
pub fn studentised_range_below(q: f64, groups: usize, freedom: f64) -> f64 {
    let rule = Rule::new(-FAR, FAR, NORMAL_PANELS);
    let others = groups.saturating_sub(1) as i32;
    // The largest lies at z, the others within the range below it.
    let known = |w: f64| {
        groups as f64
            * rule.integral(|z| {
                normal_density(z) * (normal_below(z) - normal_below(z - w)).powi(others)
            })
    };
    over_scale(freedom, |s| known(q * s)).clamp(0.0, 1.0)
}

/// The studentised range that a share of sets stays below.
pub fn studentised_range(share: f64, groups: usize, freedom: f64) -> f64 {
    rising_to(share, |q| studentised_range_below(q, groups, freedom))
}

/// Chance that no |t| of several comparisons with one control goes beyond `t`.
///
/// `loadings` has one number a comparison: sqrt(v0 / (v0 + vi)) with the variances of control
/// and group, so that two comparisons correlate by the product of theirs. Source: Dunnett 1955,
/// J. Am. Stat. Assoc. 50:1096. Checked against: tests/references/multiple.rs.
pub fn dunnett_below(t: f64, loadings: &[f64], freedom: f64) -> f64 {
    let rule = Rule::new(-FAR, FAR, NORMAL_PANELS);
    let known = |t: f64| {
        rule.integral(|control| {
            let inside = loadings.iter().map(|loading| {
                let own = (1.0 - loading * loading).max(1e-12).sqrt();
                normal_below((t + loading * control) / own)
                    - normal_below((loading * control - t) / own)
            });
            normal_density(control) * inside.product::<f64>()
        })
    };
    over_scale(freedom, |s| known(t * s)).clamp(0.0, 1.0)
}

/// The |t| that all comparisons with one control stay below in a share of sets.
pub fn dunnett(share: f64, loadings: &[f64], freedom: f64) -> f64 {
    rising_to(share, |t| dunnett_below(t, loadings, freedom))
}
