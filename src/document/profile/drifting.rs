//! Whether a material changes from session to session.

use super::pooled::Quantity;
use super::{Evidence, Profile};
use crate::measure::pool::{self, Effect, Occasion, Trend, drift};

impl Profile {
    /// What each session says for the drift, in the order of the evidence.
    fn occasions(&self) -> Vec<Occasion> {
        let first = self.evidence.iter().filter_map(|one| one.origin.date).min();
        let numbers = |one: &Evidence| one.strips.each_ref().map(|strip| strip.exposures.f_number);
        let first_numbers = self.evidence.first().map(numbers);
        let shared = self
            .evidence
            .iter()
            .all(|one| Some(numbers(one)) == first_numbers);
        let occasion = |one: &Evidence| Occasion {
            // An error that all sessions share drifts nowhere.
            stops: Effect::of(if shared {
                &one.answer.stops_exact_aperture
            } else {
                &one.answer.stops
            }),
            dmin: Effect::of(&one.answer.coupon.dmin),
            dmax: Effect::of(&one.answer.coupon.dmax),
            day: first.and_then(|first| Some(one.origin.date?.since(first) as f64)),
            bottle_days: self.days_open(one).map(|days| days as f64),
            remelts: one.origin.remelts.map(f64::from),
        };
        self.evidence.iter().map(occasion).collect()
    }

    /// Trends of speed, fog and Dmax with the calendar, the bottle and remelts.
    pub fn drift(&self) -> Vec<Trend> {
        drift(&self.occasions())
    }

    /// Where a session lies along what a trend goes with: days after the first session, days
    /// since the bottle was opened, or remelts.
    pub fn place(&self, against: pool::Against, session: usize) -> Option<f64> {
        let occasion = *self.occasions().get(session)?;
        match against {
            pool::Against::Date => occasion.day,
            pool::Against::BottleAge => occasion.bottle_days,
            pool::Against::Remelts => occasion.remelts,
        }
    }
}

/// The pooled quantity that a trend is of.
pub fn trend_quantity(quantity: pool::Quantity) -> Quantity {
    match quantity {
        pool::Quantity::Stops => Quantity::Stops,
        pool::Quantity::Dmin => Quantity::Dmin,
        pool::Quantity::Dmax => Quantity::Dmax,
    }
}
