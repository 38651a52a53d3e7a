//! The points of ISO 6846 in every draw, and whether the steps reach them.

use super::fit::Joint;
use super::model::{LN_NET, LN_RANGE, PARAMETERS, SPEED_NET, TOE_NET};
use super::posterior::Posterior;
use super::priors;
use super::summary;
use crate::measure::estimate::{Estimate, Gap};

/// Chance that the darkest step is beyond the criterion from which an answer is given.
///
/// High, because an answer beyond the tested exposures is worse than none.
pub(crate) const SURE: f64 = 0.95;
/// Chance that the lightest step is short of a point from which it counts as bracketed.
const LIKELY: f64 = 0.5;
/// Standard deviation left, as a share of the prior's, from which a quantity counts as prior.
const MOSTLY_PRIOR: f64 = 0.6;

/// What each draw says of one strip.
#[derive(Debug, Clone)]
pub(crate) struct StripDraws {
    pub(crate) dmin: Vec<f64>,
    pub(crate) dmax: Vec<f64>,
    /// Speed point in decades; infinite where the curve does not reach it.
    pub(crate) speed: Vec<f64>,
    /// ISO range.
    pub(crate) range: Vec<f64>,
    /// Mean gradient, net density per decade.
    pub(crate) gradient: Vec<f64>,
    /// Whether and how the steps bracket the points.
    pub(crate) reach: Reach,
}

/// Whether the steps bracket the points of the standard.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(crate) struct Reach {
    /// Chance that the darkest step is beyond the speed point.
    pub(crate) speed_reached: f64,
    /// Chance that the lightest step is short of the speed point.
    pub(crate) speed_preceded: f64,
    /// Chance that the lightest step is short of the toe end.
    pub(crate) toe_preceded: f64,
    /// Chance that the darkest step is beyond the shoulder end.
    pub(crate) shoulder_reached: f64,
    /// Standard deviation of ln R as a share of its prior's.
    pub(crate) range_prior: f64,
    /// Standard deviation of ln net density as a share of its prior's.
    pub(crate) net_prior: f64,
}

impl Reach {
    /// Why there is no speed point, if there is none.
    pub(crate) fn speed_gap(&self) -> Option<Gap> {
        if self.speed_reached < SURE {
            Some(Gap::AllStepsBelow)
        } else if self.speed_preceded < LIKELY {
            Some(Gap::AllStepsAbove)
        } else {
            None
        }
    }

    /// Why there is no range, if there is none.
    pub(crate) fn range_gap(&self) -> Option<Gap> {
        (self.range_prior > MOSTLY_PRIOR).then_some(Gap::MostlyPrior)
    }

    /// Why Dmax has no upper bound, if it has none.
    pub(crate) fn dmax_gap(&self) -> Option<Gap> {
        (self.net_prior > MOSTLY_PRIOR).then_some(Gap::MostlyPrior)
    }

    /// Whether the lightest step probably lies below the toe end.
    pub(crate) fn has_toe(&self) -> bool {
        self.toe_preceded >= LIKELY
    }

    /// Whether the darkest step probably lies beyond the shoulder end.
    pub(crate) fn has_shoulder(&self) -> bool {
        self.shoulder_reached >= LIKELY
    }
}

fn sd(values: impl Iterator<Item = f64> + Clone) -> f64 {
    let count = values.clone().count().max(1) as f64;
    let mean = values.clone().sum::<f64>() / count;
    (values.map(|v| (v - mean).powi(2)).sum::<f64>() / count).sqrt()
}

impl StripDraws {
    /// Reads the points off every draw.
    pub(crate) fn new(joint: &Joint, posterior: &Posterior, strip: usize) -> Self {
        let count = posterior.parameters.ncols();
        let exposures = &joint.strips[strip].usable.exposures;
        let mut draws = Self {
            dmin: Vec::with_capacity(count),
            dmax: Vec::with_capacity(count),
            speed: Vec::with_capacity(count),
            range: Vec::with_capacity(count),
            gradient: Vec::with_capacity(count),
            reach: Reach {
                speed_reached: 0.0,
                speed_preceded: 0.0,
                toe_preceded: 0.0,
                shoulder_reached: 0.0,
                range_prior: 0.0,
                net_prior: 0.0,
            },
        };
        let by_light = |a: &&super::evidence::Exposure, b: &&super::evidence::Exposure| {
            a.at(joint.lag.0).total_cmp(&b.at(joint.lag.0))
        };
        let lightest = exposures.iter().min_by(by_light);
        let darkest = exposures.iter().max_by(by_light);
        let reach = &mut draws.reach;
        for draw in 0..count {
            let Some(drawn) = posterior.curve(joint, draw, strip) else {
                continue;
            };
            let lag = joint.lag_at(posterior.parameters.column(draw).as_slice());
            let speed = drawn.x_at(SPEED_NET);
            let (toe, shoulder) = (drawn.x_at(TOE_NET), drawn.shoulder_x());
            let curve = &drawn.curve;
            draws.dmin.push(curve.dmin);
            draws.dmax.push(curve.dmin + curve.net);
            draws.speed.push(speed);
            draws.range.push(100.0 * (shoulder - toe));
            draws
                .gradient
                .push((0.9 * curve.net - TOE_NET) / (shoulder - toe));
            let low = lightest.map_or(f64::INFINITY, |e| e.at(lag));
            let high = darkest.map_or(f64::NEG_INFINITY, |e| e.at(lag));
            reach.speed_reached += f64::from(speed < high);
            reach.speed_preceded += f64::from(speed > low);
            reach.toe_preceded += f64::from(toe > low);
            reach.shoulder_reached += f64::from(shoulder < high);
        }
        let kept = draws.dmin.len().max(1) as f64;
        for chance in [
            &mut reach.speed_reached,
            &mut reach.speed_preceded,
            &mut reach.toe_preceded,
            &mut reach.shoulder_reached,
        ] {
            *chance /= kept;
        }
        let first = strip * PARAMETERS;
        let row = |parameter: usize| {
            let row = posterior.parameters.row(first + parameter);
            sd(row.iter().copied().collect::<Vec<_>>().into_iter())
        };
        reach.range_prior = row(LN_RANGE) / priors::LN_RANGE_PRIOR.sd;
        let role = joint.strips[strip].usable.role;
        reach.net_prior = row(LN_NET) / priors::ln_net(role).sd;
        draws
    }

    /// Draws of several readings put together: of each its share of the draws, by their places,
    /// and its chance.
    pub(crate) fn mixed(parts: &[(&Self, &[usize], f64)]) -> Option<Self> {
        let picked = |of: fn(&Self) -> &Vec<f64>| -> Vec<f64> {
            let own = |(draws, places, _): &(&Self, &[usize], f64)| -> Vec<f64> {
                let all = of(draws);
                places.iter().filter_map(|&p| all.get(p).copied()).collect()
            };
            parts.iter().flat_map(own).collect()
        };
        let whole: f64 = parts.iter().map(|part| part.2).sum();
        let mean = |of: fn(&Reach) -> f64| -> f64 {
            let own = parts
                .iter()
                .map(|(draws, _, chance)| chance * of(&draws.reach));
            own.sum::<f64>() / whole
        };
        (whole > 0.0).then(|| Self {
            dmin: picked(|draws| &draws.dmin),
            dmax: picked(|draws| &draws.dmax),
            speed: picked(|draws| &draws.speed),
            range: picked(|draws| &draws.range),
            gradient: picked(|draws| &draws.gradient),
            reach: Reach {
                speed_reached: mean(|reach| reach.speed_reached),
                speed_preceded: mean(|reach| reach.speed_preceded),
                toe_preceded: mean(|reach| reach.toe_preceded),
                shoulder_reached: mean(|reach| reach.shoulder_reached),
                range_prior: mean(|reach| reach.range_prior),
                net_prior: mean(|reach| reach.net_prior),
            },
        })
    }

    /// Density of the margin.
    pub(crate) fn dmin(&self, has_margin: bool) -> Estimate {
        let mut values = self.dmin.clone();
        let loose = sd(values.iter().copied()) > MOSTLY_PRIOR * priors::DMIN_SPREAD;
        if !has_margin && loose {
            summary::one_sided(&mut values, Some(Gap::MostlyPrior), None)
        } else {
            summary::estimate(&mut values)
        }
    }

    /// Density the curve tends to.
    pub(crate) fn dmax(&self) -> Estimate {
        let mut values = self.dmax.clone();
        match self.reach.dmax_gap() {
            Some(gap) => summary::one_sided(&mut values, None, Some(gap)),
            None => summary::estimate(&mut values),
        }
    }

    /// Log exposure of the speed point, decades.
    pub(crate) fn speed_point(&self) -> Estimate {
        let mut values = self.speed.clone();
        match self.reach.speed_gap() {
            Some(Gap::AllStepsAbove) => {
                summary::one_sided(&mut values, Some(Gap::AllStepsAbove), None)
            }
            Some(gap) => summary::one_sided(&mut values, None, Some(gap)),
            None => summary::estimate(&mut values),
        }
    }

    /// ISO range.
    pub(crate) fn iso_range(&self) -> Estimate {
        match self.reach.range_gap() {
            Some(gap) => Estimate::absent(gap),
            None => summary::estimate(&mut self.range.clone()),
        }
    }

    /// Mean gradient, net density per decade.
    pub(crate) fn mean_gradient(&self) -> Estimate {
        match self.reach.range_gap().or(self.reach.dmax_gap()) {
            Some(gap) => Estimate::absent(gap),
            None => summary::estimate(&mut self.gradient.clone()),
        }
    }
}
