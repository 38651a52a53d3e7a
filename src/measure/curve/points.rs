//! The points of ISO 6846 and the tones in every draw, and whether the steps reach them.

use rayon::prelude::*;

use super::fit::Joint;
use super::model::{SPEED_NET, TOE_NET};
use super::posterior::Posterior;
use super::summary;
use super::tones;
use crate::measure::estimate::{Estimate, Gap};

/// Chance that the darkest step is beyond the criterion from which an answer is given.
///
/// High, because an answer beyond the tested exposures is worse than none.
pub(crate) const SURE: f64 = 0.95;
/// Chance that the outermost step is beyond a point from which it counts as bracketed.
const LIKELY: f64 = 0.5;
/// Share of the range that may lie beyond the steps when the range is given with both bounds.
const MOST_MISSING: f64 = 0.10;
/// Share of the range beyond an end from which that end is named as missing.
const NAMED_MISSING: f64 = 0.03;
/// Draws that a core takes at a time, at least.
const SIDE_BY_SIDE: usize = 64;

/// What each draw says of one strip; all lists are as long as there are draws, and those of one
/// number belong together, in all strips of a fit.
#[derive(Debug, Clone, Default)]
pub(crate) struct StripDraws {
    pub(crate) dmin: Vec<f64>,
    pub(crate) dmax: Vec<f64>,
    /// Speed point in decades; infinite where the curve does not reach it.
    pub(crate) speed: Vec<f64>,
    /// Toe end of the range, decades.
    pub(crate) toe: Vec<f64>,
    /// Shoulder end of the range, decades.
    pub(crate) shoulder: Vec<f64>,
    /// Log exposure of the lightest step, decades.
    pub(crate) first: Vec<f64>,
    /// Log exposure of the darkest step, decades.
    pub(crate) last: Vec<f64>,
    /// Log exposure of every tone of [`tones::NETS`] up to the darkest that was read: a list of
    /// draws each; infinite where the curve does not reach it.
    pub(crate) tones: Vec<Vec<f64>>,
    /// Whether unexposed coat was read.
    pub(crate) has_margin: bool,
    /// Whether and how the steps bracket the points.
    pub(crate) reach: Reach,
}

/// Whether the steps bracket the points of the standard.
#[derive(Debug, Clone, Copy, PartialEq, Default)]
pub(crate) struct Reach {
    /// Chance that the darkest step is beyond the speed point.
    pub(crate) speed_reached: f64,
    /// Chance that the lightest step is short of the speed point.
    pub(crate) speed_preceded: f64,
    /// Chance that the lightest step is short of the toe end.
    pub(crate) toe_preceded: f64,
    /// Chance that the darkest step is beyond the shoulder end.
    pub(crate) shoulder_reached: f64,
    /// Shares of the range that lie before the lightest step and beyond the darkest, medians.
    pub(crate) missing: (f64, f64),
    /// Share of the range that lies outside the steps, median.
    pub(crate) missing_in_all: f64,
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

    /// Why the range has no upper bound, if it has none.
    pub(crate) fn range_gap(&self) -> Option<Gap> {
        let (toe, shoulder) = self.missing;
        if self.missing_in_all < MOST_MISSING {
            None
        } else if toe.min(shoulder) > NAMED_MISSING {
            Some(Gap::EndsNotReached)
        } else if toe > shoulder {
            Some(Gap::ToeNotReached)
        } else {
            Some(Gap::ShoulderNotReached)
        }
    }

    /// Why Dmax has no upper bound, if it has none.
    pub(crate) fn dmax_gap(&self) -> Option<Gap> {
        (!self.has_shoulder()).then_some(Gap::ShoulderNotReached)
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

/// Share of the pairs of values for which it holds.
fn share(a: &[f64], b: &[f64], holds: impl Fn(f64, f64) -> bool) -> f64 {
    let count = a.iter().zip(b).filter(|&(&a, &b)| holds(a, b)).count();
    count as f64 / a.len().max(1) as f64
}

/// What one draw says.
struct OfDraw {
    dmin: f64,
    dmax: f64,
    speed: f64,
    toe: f64,
    shoulder: f64,
    first: f64,
    last: f64,
    tones: Vec<f64>,
}

impl StripDraws {
    /// Reads the points off every draw.
    pub(crate) fn new(joint: &Joint, posterior: &Posterior, strip: usize) -> Self {
        let usable = &joint.strips[strip].usable;
        let by_light = |a: &&super::evidence::Exposure, b: &&super::evidence::Exposure| {
            a.at(joint.lag.0).total_cmp(&b.at(joint.lag.0))
        };
        let lightest = usable.exposures.iter().min_by(by_light);
        let darkest = usable.exposures.iter().max_by(by_light);
        let count = tones::up_to(usable.highest_net());
        let of_draws: Vec<OfDraw> = (0..posterior.len())
            .into_par_iter()
            .with_min_len(SIDE_BY_SIDE)
            .map(|draw| {
                let drawn = posterior.curve(draw, strip);
                let lag = posterior.lag(draw);
                let mut reached = f64::NEG_INFINITY;
                let tones = tones::NETS[..count]
                    .iter()
                    .map(|&net| {
                        // A warp that falls faster than X rises would turn the order round.
                        reached = reached.max(drawn.x_at(net));
                        reached
                    })
                    .collect();
                OfDraw {
                    dmin: drawn.curve.dmin,
                    dmax: drawn.curve.dmin + drawn.curve.net,
                    speed: drawn.x_at(SPEED_NET),
                    toe: drawn.x_at(TOE_NET),
                    shoulder: drawn.shoulder_x(),
                    first: lightest.map_or(f64::INFINITY, |e| e.at(lag)),
                    last: darkest.map_or(f64::NEG_INFINITY, |e| e.at(lag)),
                    tones,
                }
            })
            .collect();
        let list = |of: fn(&OfDraw) -> f64| of_draws.iter().map(of).collect::<Vec<f64>>();
        let mut draws = Self {
            dmin: list(|d| d.dmin),
            dmax: list(|d| d.dmax),
            speed: list(|d| d.speed),
            toe: list(|d| d.toe),
            shoulder: list(|d| d.shoulder),
            first: list(|d| d.first),
            last: list(|d| d.last),
            tones: (0..count)
                .map(|tone| of_draws.iter().map(|d| d.tones[tone]).collect())
                .collect(),
            has_margin: usable.has_margin,
            reach: Reach::default(),
        };
        draws.look_at_reach();
        draws
    }

    /// Draws of several readings put together: of each its share of the draws, by their places.
    ///
    /// `None` without a draw.
    pub(crate) fn mixed(parts: &[(&Self, &[usize])]) -> Option<Self> {
        let picked = |of: &dyn Fn(&Self) -> &[f64]| -> Vec<f64> {
            let own = |&(draws, places): &(&Self, &[usize])| -> Vec<f64> {
                let all = of(draws);
                places.iter().filter_map(|&p| all.get(p).copied()).collect()
            };
            parts.iter().flat_map(own).collect()
        };
        let tones = parts.iter().map(|(draws, _)| draws.tones.len()).min()?;
        let mut mixed = Self {
            dmin: picked(&|draws| &draws.dmin),
            dmax: picked(&|draws| &draws.dmax),
            speed: picked(&|draws| &draws.speed),
            toe: picked(&|draws| &draws.toe),
            shoulder: picked(&|draws| &draws.shoulder),
            first: picked(&|draws| &draws.first),
            last: picked(&|draws| &draws.last),
            tones: (0..tones)
                .map(|tone| picked(&|draws| &draws.tones[tone]))
                .collect(),
            has_margin: parts.iter().any(|(draws, _)| draws.has_margin),
            reach: Reach::default(),
        };
        if mixed.dmin.is_empty() {
            return None;
        }
        mixed.look_at_reach();
        Some(mixed)
    }

    /// Works out anew whether the steps bracket the points.
    fn look_at_reach(&mut self) {
        let range = self.range();
        let median_of = |outside: fn(&Self, usize) -> f64| {
            let mut shares: Vec<f64> = (0..range.len())
                .map(|draw| 100.0 * outside(self, draw).max(0.0) / range[draw])
                .collect();
            summary::quantile(&mut shares, 0.5).unwrap_or(1.0)
        };
        let missing = (
            median_of(|own, draw| own.first[draw] - own.toe[draw]),
            median_of(|own, draw| own.shoulder[draw] - own.last[draw]),
        );
        let mut shown: Vec<f64> = self
            .range_shown()
            .iter()
            .zip(&range)
            .map(|(shown, range)| 1.0 - shown / range)
            .collect();
        self.reach = Reach {
            speed_reached: share(&self.speed, &self.last, |speed, last| speed < last),
            speed_preceded: share(&self.speed, &self.first, |speed, first| speed > first),
            toe_preceded: share(&self.toe, &self.first, |toe, first| toe > first),
            shoulder_reached: share(&self.shoulder, &self.last, |s, last| s < last),
            missing,
            missing_in_all: summary::quantile(&mut shown, 0.5).unwrap_or(1.0),
        };
    }

    /// ISO range of every draw.
    pub(crate) fn range(&self) -> Vec<f64> {
        self.toe
            .iter()
            .zip(&self.shoulder)
            .map(|(toe, shoulder)| 100.0 * (shoulder - toe))
            .collect()
    }

    /// The part of the range in every draw that the steps show.
    fn range_shown(&self) -> Vec<f64> {
        (0..self.toe.len())
            .map(|draw| {
                let from = self.toe[draw].max(self.first[draw]);
                let to = self.shoulder[draw].min(self.last[draw]);
                100.0 * (to - from).max(0.0)
            })
            .collect()
    }

    /// Density of the margin.
    pub(crate) fn dmin(&self) -> Estimate {
        let mut values = self.dmin.clone();
        if !self.has_margin && !self.reach.has_toe() {
            summary::one_sided(&mut values, Some(Gap::ToeNotReached), None)
        } else {
            summary::estimate(&mut values)
        }
    }

    /// Density the curve tends to; at least that, where the steps end before 90 % of it.
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

    /// ISO range; where a good part of it lies beyond the steps, at least what they show of it.
    ///
    /// What is shown leans on no prior, and passes over into the lower bound of the whole
    /// without a jump.
    pub(crate) fn iso_range(&self) -> Estimate {
        match self.reach.range_gap() {
            Some(gap) => summary::one_sided(&mut self.range_shown(), None, Some(gap)),
            None => summary::estimate(&mut self.range()),
        }
    }

    /// Mean gradient, net density per decade.
    pub(crate) fn mean_gradient(&self) -> Estimate {
        if let Some(gap) = self.reach.range_gap().or(self.reach.dmax_gap()) {
            return Estimate::absent(gap);
        }
        let mut gradients: Vec<f64> = (0..self.dmin.len())
            .map(|draw| {
                let net = self.dmax[draw] - self.dmin[draw];
                let gained = super::model::SHOULDER_SHARE * net - TOE_NET;
                gained / (self.shoulder[draw] - self.toe[draw])
            })
            .collect();
        summary::estimate(&mut gradients)
    }

    /// Log exposures of the draws at a net density of [`tones::NETS`]; `None` beyond the darkest
    /// tone that was read.
    pub(crate) fn at_tone(&self, tone: usize) -> Option<&[f64]> {
        self.tones.get(tone).map(Vec::as_slice)
    }

    /// Lightest and darkest tone that the steps show; `None` without any.
    pub(crate) fn shown_tones(&self) -> Option<(usize, usize)> {
        tones::shown(self)
    }
}
