//! What the sessions of a profile foretell of the next one's speed ratio.

use super::shared::{SharedStops, error_of};
use super::{Evidence, Profile};
use crate::measure::plan::Drift;
use crate::measure::pool::{
    CannotPool, Model, Posterior, Quantity, Shape, Trend, Wish, pool_sharing,
};
use crate::measure::predictive::Predictive;

/// The next session of a profile.
#[derive(Debug, Clone, PartialEq)]
pub struct Foretold {
    /// Stops slower that the next session's coating is, apertures taken as exact.
    pub next: Predictive,
    /// How the tests' click stops are in it: f-number and weight, as in
    /// [`crate::measure::plan::Basis::clicks`].
    pub clicks: Vec<(f64, f64)>,
    /// Which sessions (from 0) it comes from.
    pub sessions: Vec<usize>,
    /// What was made of an alarm of drift, if there is one.
    pub drift: Option<Drift>,
}

impl Profile {
    /// What the sessions foretell of the next one.
    ///
    /// With an alarm that the speed drifts, from the sessions that the alarm trusts after a step,
    /// and along the trend, one session on, with a slope.
    ///
    /// # Errors
    /// [`CannotPool`] when no session has a ratio with both bounds.
    pub fn foretold(&self) -> Result<Foretold, CannotPool> {
        let trends = self.drift();
        let alarm = trends
            .iter()
            .filter(|trend| trend.alarm && trend.quantity == Quantity::Stops)
            .min_by(|a, b| a.p_together.total_cmp(&b.p_together));
        let all: Vec<usize> = (0..self.evidence.len()).collect();
        match alarm {
            None => self.pooled_of(&all, None),
            Some(trend) if trend.shape == Shape::Slope => self
                .along(trend)
                .map_or_else(|| self.pooled_of(&all, None), Ok),
            Some(trend) => {
                let drift = Drift {
                    trusted: trend.trusted.len(),
                    of: all.len(),
                    next_change: None,
                };
                self.pooled_of(&trend.trusted, Some(drift))
            }
        }
    }

    fn pooled_of(&self, which: &[usize], drift: Option<Drift>) -> Result<Foretold, CannotPool> {
        let stops = SharedStops::of(self.some(which));
        let wedge = stops.wedge_covariance();
        let shared = stops.click_covariance() + &wedge;
        let pooled = pool_sharing(&stops.effects, &shared, &Wish::STOPS)?;
        Ok(Foretold {
            next: pooled
                .next_unshared
                .widened(error_of(&pooled.shares, &wedge)),
            clicks: clicks(&stops, &pooled.shares),
            sessions: stops.sessions.iter().map(|&at| which[at]).collect(),
            drift,
        })
    }

    /// Along a slope to where the next session is expected: as far beyond the newest as sessions
    /// lie apart on average.
    fn along(&self, trend: &Trend) -> Option<Foretold> {
        let placed: Vec<(usize, f64)> = (0..self.evidence.len())
            .filter_map(|session| Some((session, self.place(trend.against, session)?)))
            .collect();
        let which: Vec<usize> = placed.iter().map(|(session, _)| *session).collect();
        let stops = SharedStops::of(self.some(&which));
        let places: Vec<f64> = stops.sessions.iter().map(|&at| placed[at].1).collect();
        let newest = *places.last()?;
        let (first, last) = places
            .iter()
            .fold((f64::INFINITY, f64::NEG_INFINITY), |(low, high), &place| {
                (low.min(place), high.max(place))
            });
        let apart = (last - first) / (places.len().checked_sub(1)? as f64);
        // About the next session's place, so that the first coefficient is the value there.
        let column: Vec<f64> = places
            .iter()
            .map(|place| (place - newest - apart) / trend.against.unit())
            .collect();
        let wedge = stops.wedge_covariance();
        let shared = stops.click_covariance() + &wedge;
        let model = Model::new(&stops.effects, &[&column])
            .ok()?
            .sharing(&shared);
        let confidence = Posterior::confidence(&model);
        let shares: Vec<f64> = model
            .fit(confidence.between().value?.powi(2))
            .shares
            .row(0)
            .iter()
            .copied()
            .collect();
        Some(Foretold {
            next: confidence.next().widened(error_of(&shares, &wedge)),
            clicks: clicks(&stops, &shares),
            sessions: stops.sessions.iter().map(|&at| which[at]).collect(),
            drift: Some(Drift {
                trusted: stops.sessions.len(),
                of: self.evidence.len(),
                next_change: trend
                    .slope
                    .value
                    .map(|slope| slope * apart / trend.against.unit()),
            }),
        })
    }

    fn some<'a>(&'a self, which: &'a [usize]) -> impl Iterator<Item = &'a Evidence> {
        which
            .iter()
            .filter_map(|&session| self.evidence.get(session))
    }
}

/// What each tested click stop's error does to the foretold ratio.
fn clicks(stops: &SharedStops, shares: &[f64]) -> Vec<(f64, f64)> {
    let each = stops.f_numbers.iter().zip(shares);
    each.flat_map(|(&[reference, coupon], &share)| [(coupon, -share), (reference, share)])
        .collect()
}
