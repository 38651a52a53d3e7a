//! The speed ratio of several sessions, with the errors that they share.
//!
//! A click stop errs every time by the same amount, and so does the list of a wedge: repeats agree
//! about a wrong answer. Both are a covariance of the sessions and no part of each one's own error.

use nalgebra::{DMatrix, DVector};

use super::Evidence;
use crate::measure::compare::Source;
use crate::measure::estimate::Estimate;
use crate::measure::pool::Effect;

/// f-numbers closer than this share are the same setting.
const SAME_APERTURE: f64 = 1e-3;
/// Least part of a session's variance that stays its own.
const LEAST_OWN: f64 = 0.25;

/// What sessions say of the speed ratio, and what errs alike in them.
#[derive(Debug, Clone, PartialEq)]
pub(in crate::document) struct SharedStops {
    /// Which sessions (from 0) of those that were given have a ratio.
    pub(in crate::document) sessions: Vec<usize>,
    /// Their ratios with each one's own error: click stops and wedge list left out.
    pub(in crate::document) effects: Vec<Effect>,
    /// The same as estimates, click stops left out.
    pub(in crate::document) estimates: Vec<Estimate>,
    /// f-numbers of reference and coupon.
    pub(in crate::document) f_numbers: Vec<[f64; 2]>,
    /// Standard error between two click stops, by session.
    clicks: Vec<f64>,
    /// What the wedge's list moves each ratio by, one standard error of it.
    wedge: Vec<f64>,
}

impl SharedStops {
    /// From the sessions of a profile.
    pub(in crate::document) fn of<'a>(evidence: impl IntoIterator<Item = &'a Evidence>) -> Self {
        let mut all = Self {
            sessions: vec![],
            effects: vec![],
            estimates: vec![],
            f_numbers: vec![],
            clicks: vec![],
            wedge: vec![],
        };
        for (session, one) in evidence.into_iter().enumerate() {
            let estimate = one.answer.stops_exact_aperture;
            let Some(effect) = Effect::of(&estimate) else {
                continue;
            };
            let is_scale = |source: Source| source == Source::DensityScale;
            let mut budget = one.answer.budget.iter();
            let wedge = budget
                .find(|part| is_scale(part.source))
                .map_or(0.0, |part| part.stops);
            let variance = effect.standard_error.powi(2);
            let own = (variance - wedge * wedge).max(LEAST_OWN * variance);
            all.sessions.push(session);
            all.estimates.push(estimate);
            all.f_numbers
                .push(one.strips.each_ref().map(|strip| strip.exposures.f_number));
            all.clicks.push(one.settings.aperture_error_stops);
            all.wedge.push((variance - own).max(0.0).sqrt());
            all.effects.push(Effect {
                standard_error: own.sqrt(),
                ..effect
            });
        }
        all
    }

    /// Covariance of the click stops' errors, stops squared.
    ///
    /// A session's is e(coupon's stop) - e(reference's stop); each stop has an error of its own, the
    /// difference of two has the standard error of the session's settings.
    pub(in crate::document) fn click_covariance(&self) -> DMatrix<f64> {
        let count = self.effects.len();
        DMatrix::from_fn(count, count, |i, j| {
            let ([r1, c1], [r2, c2]) = (self.f_numbers[i], self.f_numbers[j]);
            let same = |a: f64, b: f64| f64::from((a / b - 1.0).abs() < SAME_APERTURE);
            let meet = same(c1, c2) + same(r1, r2) - same(c1, r2) - same(r1, c2);
            0.5 * self.clicks[i] * self.clicks[j] * meet
        })
    }

    /// Covariance of what the wedge's list does: sessions of one profile are taken to have been
    /// read by one wedge.
    pub(in crate::document) fn wedge_covariance(&self) -> DMatrix<f64> {
        let wedge = DVector::from_row_slice(&self.wedge);
        &wedge * wedge.transpose()
    }
}

/// Standard error of a mean with these shares by a covariance of its sessions.
pub(in crate::document) fn error_of(shares: &[f64], covariance: &DMatrix<f64>) -> f64 {
    let shares = DVector::from_row_slice(shares);
    shares.dot(&(covariance * &shares)).max(0.0).sqrt()
}
