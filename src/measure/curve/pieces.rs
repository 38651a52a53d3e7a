//! How far whole pieces lie off the curve: steps cut apart, each developed, dried and laid on the
//! glass by itself, scatter about their curve by more than the unevenness inside them tells.
//!
//! The scatter is seen only in what the steps leave of the fit, and a strip has few steps; so its
//! variance is averaged over its posterior: Laplace's approximation of the marginal likelihood
//! (Tierney & Kadane 1986, J. Am. Stat. Assoc. 81:82; from memory) for a few sizes, times what is
//! believed of them.

use nalgebra::DVector;

use super::evidence::Usable;
use super::fit::Joint;
use crate::measure::analysis::Settings;
use crate::measure::least_squares::Problem as _;

/// Sizes that are tried, density, and what is believed of each: strips in one piece scatter by
/// little, real film of one piece a step by a hundredth or two.
const SIZES: [(f64, f64); 6] = [
    (0.0, 0.5),
    (0.004, 0.2),
    (0.008, 0.14),
    (0.016, 0.09),
    (0.032, 0.05),
    (0.064, 0.02),
];

/// A strip with the scatter of whole pieces among its errors.
pub(super) struct Scattered {
    pub(super) usable: Usable,
    /// That scatter.
    pub(super) scatter: Scatter,
}

/// How far a strip's steps lie off its curve.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(crate) struct Scatter {
    /// Standard deviation of a step that is its own, beyond what was read inside it, density.
    pub(crate) size: f64,
    /// Chance of residuals as large as found if there were none.
    pub(crate) chance: Option<f64>,
}

/// A strip by itself with a scatter of one size.
struct Tried {
    variance: f64,
    /// Logarithm of its chance after the steps, without constants.
    log: f64,
    chance: Option<f64>,
}

/// Chance of residuals as large as found from which the steps are taken to be one piece: nothing
/// then asks for a scatter, and its belief alone would widen every answer.
const ONE_PIECE: f64 = 0.05;

/// Adds the scatter of whole pieces to the covariance of a strip's steps, where their residuals
/// are larger than their errors explain.
pub(super) fn scattered(usable: &Usable, settings: &Settings) -> Scattered {
    let alone = tried(usable, SIZES[0], settings);
    if let Some(chance) = alone.as_ref().and_then(|tried| tried.chance)
        && chance > ONE_PIECE
    {
        return Scattered {
            usable: usable.clone(),
            scatter: Scatter {
                size: 0.0,
                chance: Some(chance),
            },
        };
    }
    let tried: Vec<Tried> = SIZES
        .iter()
        .filter_map(|&(size, believed)| tried(usable, (size, believed), settings))
        .collect();
    let best = tried
        .iter()
        .map(|t| t.log)
        .fold(f64::NEG_INFINITY, f64::max);
    let weight = |t: &Tried| (t.log - best).exp();
    let total: f64 = tried.iter().map(weight).sum();
    let sum: f64 = tried.iter().map(|t| t.variance * weight(t)).sum();
    let variance = if total > 0.0 { sum / total } else { 0.0 };
    Scattered {
        usable: with(usable, variance),
        scatter: Scatter {
            size: variance.sqrt(),
            chance: tried
                .iter()
                .find(|tried| tried.variance == 0.0)
                .and_then(|tried| tried.chance),
        },
    }
}

fn with(usable: &Usable, variance: f64) -> Usable {
    let mut wider = usable.clone();
    // The margin is read at once from all that got no light.
    for entry in usize::from(usable.has_margin)..wider.density.len() {
        wider.covariance[(entry, entry)] += variance;
    }
    wider
}

/// The chance of the densities with the curve integrated out; `None` where there is no curve.
fn tried(usable: &Usable, (size, believed): (f64, f64), settings: &Settings) -> Option<Tried> {
    let variance = size * size;
    let strip = with(usable, variance);
    let mut joint = Joint::new(vec![strip], settings.lag, settings.priors)?;
    let best = joint.solve()?;
    let mut residuals = DVector::zeros(joint.residual_count());
    if !joint.evaluate(&best.parameters, &mut residuals, None) {
        return None;
    }
    let logs = |roots: DVector<f64>| roots.iter().map(|root| root.ln()).sum::<f64>();
    let precision = logs(joint.whiten.diagonal());
    let spread = logs(best.covariance.clone().cholesky()?.l_dirty().diagonal());
    let log = precision + spread - residuals.norm_squared() / 2.0 + f64::ln(believed);
    log.is_finite().then(|| Tried {
        variance,
        log,
        chance: joint.chance_of_misfit(&best, 0),
    })
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::measure::curve::StripEvidence;
    use crate::measure::curve::model::{Curve, SPEED_NET};
    use crate::measure::exposure::{Exposures, Series};
    use crate::measure::reading::{StripReading, Unevenness};
    use crate::measure::strip::Role;
    use crate::measure::units::Seconds;
    use nalgebra::DMatrix;

    /// Nine half-stop steps along a curve, each off by what is given, read to 0.004 D.
    fn strip(off: impl Fn(usize) -> f64) -> StripEvidence {
        let exposures = Exposures {
            series: Series::InStops {
                first: Seconds(4.0),
                stops: 0.5,
                steps: 9,
            },
            f_number: 16.0,
            magnification: None,
            filter_density: None,
            height: None,
            focal_length: None,
        };
        let parameters = [0.1, 1.5f64.ln(), 95f64.ln(), -1.2, 0.0, 0.0];
        let curve = Curve::new(&parameters, SPEED_NET).expect("a curve");
        let steps = exposures.log_exposures(0.0).into_iter().enumerate();
        let density: Vec<f64> = std::iter::once(curve.dmin)
            .chain(steps.map(|(step, x)| curve.density(x) + off(step)))
            .collect();
        StripEvidence {
            strip: 0,
            role: Role::Coupon,
            exposures,
            reading: StripReading {
                has_margin: true,
                steps: (0..9).collect(),
                scanner: DVector::zeros(10),
                density: DVector::from_vec(density),
                covariance: DMatrix::identity(10, 10) * 0.004f64.powi(2),
                scale_modes: DMatrix::zeros(10, 1),
                repeat_modes: 0,
                unevenness: Unevenness::default(),
            },
            excluded: vec![],
            others: vec![],
        }
    }

    /// Offsets of standard deviation 1 and mean 0, in no order (drawn once).
    const OFF: [f64; 9] = [0.9, -1.3, 0.4, 1.4, -0.8, -0.3, 1.1, -1.5, 0.1];

    #[test]
    fn pieces_that_scatter_widen_the_bounds_and_an_even_strip_hardly_does() {
        let settings = Settings::default();
        let size = |scatter: f64| {
            let strip = strip(|step| scatter * OFF[step]);
            scattered(&strip.usable(&settings).expect("nine steps"), &settings)
                .scatter
                .size
        };
        let even = size(0.0);
        assert!(even < 0.004, "{even}");
        let torn = size(0.03);
        assert!((0.015..0.06).contains(&torn), "{torn}");
    }
}
