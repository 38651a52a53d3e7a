//! What the steps alone say of Dmin: where their curve can lead when no light is left.

use nalgebra::{DMatrix, DVector};

use crate::measure::least_squares::{self, Care, Problem};

/// Asymmetries of the curve that are tried: from a toe far longer than its shoulder to the opposite,
/// even in their logarithm.
const ASYMMETRIES: usize = 9;
/// Least and greatest of them.
const ASYMMETRY: (f64, f64) = (0.3, 4.0);
/// Prior of the logarithm of the asymmetry: 0 is the logistic curve.
const LN_ASYMMETRY_SD: f64 = 0.7;
/// Prior of Dmin above nought: supports from white paper to brown slate.
const DMIN: (f64, f64) = (0.12, 0.5);
/// How fast it becomes impossible below nought, density.
const BELOW_NOUGHT: f64 = 0.02;
/// Priors of ln of net density and of ln of the slope per decade (papers and coats of all grades:
/// common practice, no source).
const LN_NET: (f64, f64) = (0.405, 0.35);
const LN_SLOPE: (f64, f64) = (1.705, 0.45);
/// How far the middle of the curve may lie from the middle of the steps, decades.
const MIDDLE_SD: f64 = 1.0;
/// What no formula follows: density, and share of the net density.
const MISFIT: f64 = 0.006;
const MISFIT_SHARE: f64 = 0.015;
/// Standard errors as fitted are too small by this factor, as held against known truth.
const WIDER: f64 = 1.1;
/// Share of doubt about all of this, spread evenly from nought to the lightest step.
const DOUBT: f64 = 0.05;
/// The least standard error it is believed to.
const LEAST_ERROR: f64 = 0.006;

/// One way for the toe to run on: a normal distribution of Dmin with its chance.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Way {
    /// Chance; all ways together have 1.
    pub chance: f64,
    /// Mean, density.
    pub mean: f64,
    /// Standard deviation, density.
    pub sd: f64,
}

/// The distribution of Dmin given the steps, without any look at what lies around them.
#[derive(Debug, Clone, PartialEq)]
pub struct Toe {
    /// Its parts.
    pub ways: Vec<Way>,
    /// Density of the lightest step.
    pub lightest: f64,
}

/// A generalised logistic of one asymmetry with its priors, against the steps.
struct Fit<'a> {
    x: &'a [f64],
    density: &'a [f64],
    sigma: &'a [f64],
    middle: f64,
    asymmetry: f64,
}

impl Problem for Fit<'_> {
    fn residual_count(&self) -> usize {
        self.x.len() + 5
    }

    fn evaluate(
        &self,
        parameters: &DVector<f64>,
        residuals: &mut DVector<f64>,
        mut jacobian: Option<&mut DMatrix<f64>>,
    ) -> bool {
        let [dmin, ln_net, x0, ln_slope] = [0, 1, 2, 3].map(|index| parameters[index]);
        let (net, slope, v) = (ln_net.exp(), ln_slope.exp(), self.asymmetry);
        let steps = self.x.len();
        if let Some(jacobian) = jacobian.as_deref_mut() {
            jacobian.fill(0.0);
        }
        for (row, ((&x, &density), &sigma)) in
            self.x.iter().zip(self.density).zip(self.sigma).enumerate()
        {
            let z = (slope * (x - x0)).clamp(-50.0, 50.0);
            let e = (-z).exp();
            let share = (1.0 + e).powf(-v);
            let by_z = v * (1.0 + e).powf(-v - 1.0) * e;
            residuals[row] = (density - dmin - net * share) / sigma;
            if let Some(jacobian) = jacobian.as_deref_mut() {
                jacobian[(row, 0)] = -1.0 / sigma;
                jacobian[(row, 1)] = -net * share / sigma;
                jacobian[(row, 2)] = net * by_z * slope / sigma;
                jacobian[(row, 3)] = -net * by_z * z / sigma;
            }
        }
        let (at_dmin, by_dmin) = if dmin > 0.0 {
            ((dmin - DMIN.0) / DMIN.1, 1.0 / DMIN.1)
        } else {
            (dmin / BELOW_NOUGHT - DMIN.0 / DMIN.1, 1.0 / BELOW_NOUGHT)
        };
        let priors = [
            (at_dmin, Some((0, by_dmin))),
            ((ln_net - LN_NET.0) / LN_NET.1, Some((1, 1.0 / LN_NET.1))),
            ((x0 - self.middle) / MIDDLE_SD, Some((2, 1.0 / MIDDLE_SD))),
            (
                (ln_slope - LN_SLOPE.0) / LN_SLOPE.1,
                Some((3, 1.0 / LN_SLOPE.1)),
            ),
            (v.ln() / LN_ASYMMETRY_SD, None),
        ];
        for (index, (residual, by)) in priors.into_iter().enumerate() {
            residuals[steps + index] = residual;
            if let (Some(jacobian), Some((parameter, by))) = (jacobian.as_deref_mut(), by) {
                jacobian[(steps + index, parameter)] = by;
            }
        }
        residuals.iter().all(|residual| residual.is_finite())
    }
}

impl Toe {
    /// Dmin as steps of these log exposures (decades), densities and standard errors foretell it.
    ///
    /// D = Dmin + N (1 + e^(-k (x - x0)))^-v for several v, each fitted with weak priors; each
    /// gives a normal distribution (Laplace's approximation), weighted by its evidence.
    pub fn of(x: &[f64], density: &[f64], errors: &[f64]) -> Self {
        let lightest = density.iter().copied().fold(f64::INFINITY, f64::min);
        let darkest = density.iter().copied().fold(f64::NEG_INFINITY, f64::max);
        let sigma: Vec<f64> = density
            .iter()
            .zip(errors)
            .map(|(density, error)| {
                error
                    .hypot(MISFIT)
                    .hypot(MISFIT_SHARE * (density - lightest))
            })
            .collect();
        let middle = x.iter().sum::<f64>() / x.len().max(1) as f64;
        let net = (darkest - lightest).max(1.0);
        let starts = [crossing(x, density, lightest + 0.5 * net), middle];
        let ln = ASYMMETRY.0.ln()..ASYMMETRY.1.ln();
        let fits = (0..ASYMMETRIES).filter_map(|index| {
            let share = index as f64 / (ASYMMETRIES - 1) as f64;
            let fit = Fit {
                x,
                density,
                sigma: &sigma,
                middle,
                asymmetry: (ln.start + share * (ln.end - ln.start)).exp(),
            };
            let solved = starts.iter().filter_map(|&x0| {
                let start =
                    DVector::from_vec(vec![(lightest - 0.03).max(0.02), net.ln(), x0, 5f64.ln()]);
                least_squares::minimise(&fit, &start, Care::QUICK).ok()
            });
            let best = solved.min_by(|a, b| a.sum_of_squares().total_cmp(&b.sum_of_squares()))?;
            let covariance = best.unit_covariance()?;
            let log =
                -0.5 * best.sum_of_squares() + 0.5 * covariance.determinant().max(1e-300).ln();
            let sd = WIDER * covariance[(0, 0)].max(0.0).sqrt();
            (log.is_finite() && sd.is_finite()).then_some((log, best.parameters[0], sd))
        });
        let fits: Vec<(f64, f64, f64)> = fits.collect();
        let most = fits
            .iter()
            .map(|fit| fit.0)
            .fold(f64::NEG_INFINITY, f64::max);
        let weigh = |log: f64| ((log - most) / (WIDER * WIDER)).exp();
        let total: f64 = fits.iter().map(|fit| weigh(fit.0)).sum();
        let way = |&(log, mean, sd): &(f64, f64, f64)| Way {
            chance: weigh(log) / total,
            mean,
            sd,
        };
        Self {
            ways: fits.iter().map(way).collect(),
            lightest,
        }
    }

    /// Logarithm of how much likelier Dmin lies at a density than if anything from nought to the
    /// lightest step were alike likely.
    pub fn ln_odds(&self, at: f64) -> f64 {
        let span = self.lightest.max(0.0) + 0.05;
        let likely = |way: &Way| {
            let sd = way.sd.hypot(LEAST_ERROR);
            way.chance * (-0.5 * ((at - way.mean) / sd).powi(2)).exp() / sd
        };
        let density: f64 = self.ways.iter().map(likely).sum();
        let density = density / std::f64::consts::TAU.sqrt();
        (((1.0 - DOUBT) * density + DOUBT / span) * span).ln()
    }

    /// Mean and standard deviation of Dmin by the steps alone.
    pub fn mean_and_error(&self) -> (f64, f64) {
        let mean: f64 = self.ways.iter().map(|way| way.chance * way.mean).sum();
        let square = |way: &Way| way.chance * (way.sd.powi(2) + (way.mean - mean).powi(2));
        (mean, self.ways.iter().map(square).sum::<f64>().sqrt())
    }
}

/// Where a density is first reached, by straight lines between the steps in order of exposure.
fn crossing(x: &[f64], density: &[f64], at: f64) -> f64 {
    let mut order: Vec<usize> = (0..x.len()).collect();
    order.sort_by(|&a, &b| x[a].total_cmp(&x[b]));
    let mut before: Option<usize> = None;
    for &here in &order {
        if density[here] >= at {
            return before.map_or(x[here], |before| {
                let rise = (density[here] - density[before]).max(1e-9);
                x[before] + (x[here] - x[before]) * (at - density[before]) / rise
            });
        }
        before = Some(here);
    }
    order.last().map_or(0.0, |&last| x[last])
}

#[cfg(test)]
mod tests {
    use super::*;

    /// A strip on a curve that no fit here has the formula of: a normal distribution of
    /// sensitivities (a probit), Dmin 0.10 and net 1.6.
    fn steps(from: f64, count: usize) -> (Vec<f64>, Vec<f64>) {
        use statrs::distribution::{ContinuousCDF, Normal};
        let normal = Normal::standard();
        let x: Vec<f64> = (0..count).map(|step| from + 0.15 * step as f64).collect();
        let density = x.iter().map(|x| 0.10 + 1.6 * normal.cdf(2.6 * x));
        let density = density.collect();
        (x, density)
    }

    #[test]
    fn steps_that_start_in_the_toe_foretell_dmin() {
        let (x, density) = steps(-0.9, 11);
        let toe = Toe::of(&x, &density, &[0.004; 11]);
        let (mean, error) = toe.mean_and_error();
        assert!((mean - 0.10).abs() < 0.02, "{mean}");
        assert!(error < 0.03, "{error}");
        assert!(toe.ln_odds(0.10) > 0.5 && toe.ln_odds(0.02) < 0.0);
    }

    #[test]
    fn steps_that_start_high_on_the_curve_say_little_of_dmin_and_know_it() {
        let (x, density) = steps(-0.2, 6);
        let toe = Toe::of(&x, &density, &[0.004; 6]);
        let (mean, error) = toe.mean_and_error();
        assert!(error > 0.05, "{error}");
        assert!((mean - 0.10).abs() < 2.5 * error, "{mean} {error}");
    }
}
