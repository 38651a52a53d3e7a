//! What one strip brings to a fit: its readings and exposures, cleared of what cannot count.

use nalgebra::{DMatrix, DVector};

use super::model::Curve;
use crate::measure::analysis::Settings;
use crate::measure::exposure::Exposures;
use crate::measure::reading::robust::median;
use crate::measure::reading::{StripReading, Unevenness};
use crate::measure::strip::Role;

/// Fewest steps that carry a fit; the margin comes on top.
pub const FEWEST_STEPS: usize = 4;

/// One strip's readings together with how it was exposed.
#[derive(Debug, Clone, PartialEq)]
pub struct StripEvidence {
    /// Index of the strip in the session, for findings.
    pub strip: usize,
    /// Paper or coated: what may be expected of its net density.
    pub role: Role,
    /// How it was exposed.
    pub exposures: Exposures,
    /// What was read. Two strips that are compared need equally many scale modes; columns
    /// that belong to the scale of one scan alone are zero for the other strip.
    pub reading: StripReading,
    /// Steps (from 0, in the order of the series) left out of the fit.
    pub excluded: Vec<usize>,
    /// Other readings of the strip that the scan allows; the chance of `reading` is what their
    /// chances leave.
    pub others: Vec<OtherReading>,
}

/// Another reading of a strip: its steps lie elsewhere, or run the other way, or other coat is
/// the unexposed one, or another of the things found is this strip.
#[derive(Debug, Clone, PartialEq)]
pub struct OtherReading {
    /// Chance of it, 0 to 1.
    pub chance: f64,
    /// Which way of assigning the things found to the strips it belongs to; 0 is that of the
    /// reading used. Readings of two strips go together only in the same way.
    pub way: usize,
    /// What was read, with as many scale modes as the reading used.
    pub reading: StripReading,
}

/// Exposure of one step as a function of the lamp lag.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(crate) struct Exposure {
    total: f64,
    bursts: f64,
    base: f64,
}

impl Exposure {
    /// Least share of a step's time that the lag leaves, so that draws stay finite.
    const LEAST_SHARE: f64 = 0.02;

    /// Log exposure in decades at a lag in seconds.
    pub(crate) fn at(&self, lag: f64) -> f64 {
        self.light(lag).log10() + self.base
    }

    /// Change of the log exposure with the lag, decades per second.
    pub(crate) fn by_lag(&self, lag: f64) -> f64 {
        let light = self.light(lag);
        if light > self.total * Self::LEAST_SHARE {
            -self.bursts / (light * std::f64::consts::LN_10)
        } else {
            0.0
        }
    }

    fn light(&self, lag: f64) -> f64 {
        (self.total - lag * self.bursts).max(self.total * Self::LEAST_SHARE)
    }
}

/// The part of a strip that counts.
#[derive(Debug, Clone)]
pub(crate) struct Usable {
    /// Paper or coated.
    pub(crate) role: Role,
    /// Whether entry 0 is the margin.
    pub(crate) has_margin: bool,
    /// Places of the entries in the reading, ascending.
    pub(crate) entries: Vec<usize>,
    /// Exposures of the entries after the margin.
    pub(crate) exposures: Vec<Exposure>,
    /// Densities of the entries.
    pub(crate) density: DVector<f64>,
    /// Covariance of the densities, the scale's error left out.
    pub(crate) covariance: DMatrix<f64>,
    /// Modes of the scale's error at the entries.
    pub(crate) modes: DMatrix<f64>,
    /// How many of them, the last ones, are the scanner's repeat error.
    pub(crate) repeat_modes: usize,
    /// Log exposure of the entries after the margin at the expected lag.
    pub(crate) x: Vec<f64>,
    /// Covariance of these log exposures: the hand's timing, the step tablet's list.
    x_covariance: DMatrix<f64>,
    /// How uneven the coat is.
    unevenness: Unevenness,
}

impl StripEvidence {
    /// Chance that the reading used is right among all of them.
    pub fn chance(&self) -> f64 {
        let others: f64 = self.others.iter().map(|other| other.chance).sum();
        (1.0 - others).max(0.0)
    }

    /// Exposure of every step of the series.
    pub(crate) fn exposures(&self) -> Vec<Exposure> {
        // At lag 0 the log exposure is log10(total) + base, whatever the optics.
        self.exposures
            .series
            .doses()
            .iter()
            .zip(self.exposures.log_exposures(0.0))
            .map(|(dose, x)| Exposure {
                total: dose.total.0,
                bursts: f64::from(dose.bursts),
                base: x - dose.total.0.log10(),
            })
            .collect()
    }

    /// Step number of an entry of the reading; `None` for the margin.
    pub(crate) fn step_of(&self, entry: usize) -> Option<usize> {
        let reading = &self.reading;
        entry
            .checked_sub(usize::from(reading.has_margin))
            .and_then(|index| reading.steps.get(index).copied())
    }

    /// Standard error of an entry's density, all sources of the strip counted.
    pub(crate) fn standard_error(&self, entry: usize) -> f64 {
        let reading = &self.reading;
        let shared: f64 = reading.scale_modes.row(entry).norm_squared();
        (reading.covariance[(entry, entry)] + shared).sqrt()
    }

    /// Whether the sizes of vectors and matrices belong together.
    fn is_whole(&self) -> bool {
        let reading = &self.reading;
        let count = reading.steps.len() + usize::from(reading.has_margin);
        reading.density.len() == count
            && reading.covariance.shape() == (count, count)
            && reading.scale_modes.nrows() == count
    }

    /// What counts in a fit, at the expected lag of the settings; `None` with fewer than
    /// [`FEWEST_STEPS`] steps.
    pub(crate) fn usable(&self, settings: &Settings) -> Option<Usable> {
        let lag = settings.lag.0;
        if !self.is_whole() {
            return None;
        }
        let reading = &self.reading;
        let all = self.exposures();
        let mut has_margin = false;
        let mut entries = vec![];
        let mut exposures = vec![];
        let mut steps = vec![];
        for entry in 0..reading.density.len() {
            let finite = reading.density[entry].is_finite()
                && reading
                    .covariance
                    .row(entry)
                    .iter()
                    .all(|v| !v.is_infinite())
                && reading.covariance[(entry, entry)] > 0.0
                && reading.scale_modes.row(entry).iter().all(|v| v.is_finite());
            if !finite {
                continue;
            }
            match self.step_of(entry) {
                None => has_margin = true,
                Some(step) => {
                    let Some(&exposure) = all.get(step) else {
                        continue;
                    };
                    let left = exposure.total - lag * exposure.bursts;
                    let lit = left > exposure.total * Exposure::LEAST_SHARE
                        && exposure.at(lag).is_finite();
                    if !lit || self.excluded.contains(&step) {
                        continue;
                    }
                    exposures.push(exposure);
                    steps.push(step);
                }
            }
            entries.push(entry);
        }
        // An entry whose error is not a number has made the others' covariance with it so.
        let covariance = reading
            .covariance
            .select_rows(&entries)
            .select_columns(&entries);
        if exposures.len() < FEWEST_STEPS || covariance.iter().any(|v| !v.is_finite()) {
            return None;
        }
        let x = exposures.iter().map(|e| e.at(lag)).collect();
        let x_covariance = self
            .exposures
            .log_exposure_covariance(lag, settings.timing_error, settings.tablet_error)
            .select_rows(&steps)
            .select_columns(&steps);
        Some(Usable {
            role: self.role,
            has_margin,
            density: reading.density.select_rows(&entries),
            covariance,
            modes: reading.scale_modes.select_rows(&entries),
            repeat_modes: reading.repeat_modes,
            entries,
            exposures,
            x,
            x_covariance,
            unevenness: reading.unevenness,
        })
    }
}

impl Usable {
    /// What the errors of the log exposures do to the steps' densities on a curve.
    pub(crate) fn timing_along(&self, curve: &Curve) -> DMatrix<f64> {
        let slopes: Vec<f64> = self.x.iter().map(|&x| curve.slope(x)).collect();
        DMatrix::from_fn(slopes.len(), slopes.len(), |i, j| {
            self.x_covariance[(i, j)] * slopes[i] * slopes[j]
        })
    }

    /// Most that a step's error is resized by the curve, either way.
    const MOST_RESIZED: f64 = 3.0;

    /// Covariance of the densities with each step's error in proportion to what the coat's
    /// unevenness does on this curve, through its slope and its net density.
    ///
    /// The reading took both from the steps themselves. A step that came out light then looks
    /// surer than one that came out dark, and a fit is drawn below all of them: Peelle's
    /// puzzle (D'Agostini 1994, Nucl. Instrum. Methods A 346:306; from memory), for which the
    /// cure is to take the sizes of the errors from the fit. Their sizes on the whole and
    /// their correlations stay.
    pub(crate) fn covariance_along(&self, curve: &Curve) -> DMatrix<f64> {
        let skip = usize::from(self.has_margin);
        let Unevenness {
            exposure_decades,
            net_share,
            ..
        } = self.unevenness;
        let read = |step: usize| self.covariance[(skip + step, skip + step)].sqrt();
        // What no unevenness explains, the scanner's noise above all, is there on every step.
        let floor = (0..self.x.len()).map(read).fold(f64::INFINITY, f64::min);
        let surplus: Vec<f64> = self
            .x
            .iter()
            .enumerate()
            .map(|(step, &x)| {
                let by_exposure = exposure_decades * curve.slope(x);
                let by_coat = by_exposure.hypot(net_share * curve.net_density(x));
                (read(step) / by_coat.hypot(floor)).ln()
            })
            .collect();
        let Some(usual) = median(&mut surplus.clone()).filter(|usual| usual.is_finite()) else {
            return self.covariance.clone();
        };
        let limit = Self::MOST_RESIZED.ln();
        let resized = DVector::from_fn(self.density.len(), |entry, _| {
            entry.checked_sub(skip).map_or(1.0, |step| {
                (usual - surplus[step]).clamp(-limit, limit).exp()
            })
        });
        DMatrix::from_fn(resized.len(), resized.len(), |i, j| {
            self.covariance[(i, j)] * resized[i] * resized[j]
        })
    }

    /// Lowest and highest log exposure at the expected lag.
    pub(crate) fn x_span(&self) -> (f64, f64) {
        let low = self.x.iter().copied().fold(f64::INFINITY, f64::min);
        let high = self.x.iter().copied().fold(f64::NEG_INFINITY, f64::max);
        (low, high)
    }

    /// Log exposures and densities of the steps, by rising exposure.
    pub(crate) fn by_exposure(&self) -> Vec<(f64, f64)> {
        let skip = usize::from(self.has_margin);
        let mut steps: Vec<(f64, f64)> = self
            .x
            .iter()
            .copied()
            .zip(self.density.iter().copied().skip(skip))
            .collect();
        steps.sort_by(|a, b| a.0.total_cmp(&b.0));
        steps
    }

    /// Density of the margin as read; without a margin, of the lightest step.
    pub(crate) fn base(&self) -> f64 {
        if self.has_margin {
            self.density[0]
        } else {
            self.density.min()
        }
    }

    /// Highest net density read.
    pub(crate) fn highest_net(&self) -> f64 {
        self.density.max() - self.base()
    }
}
