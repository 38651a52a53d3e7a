//! What the sessions of a profile say together.

use super::shared::{SharedStops, error_of};
use super::{Evidence, Profile};
use crate::measure::estimate::Estimate;
use crate::measure::pool::{CannotPool, Effect, Pooled, Trend, Wish, pool, pool_sharing};

/// A quantity that sessions are pooled for.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
pub enum Quantity {
    /// log2 of the speed ratio.
    Stops,
    /// ISO range of the coat less that of the paper.
    Contrast,
    /// The coat's Dmax.
    Dmax,
    /// The coat's Dmin, its fog.
    Dmin,
}

impl Quantity {
    /// All of them, as they are shown.
    pub const ALL: [Self; 4] = [Self::Stops, Self::Contrast, Self::Dmax, Self::Dmin];

    /// Its word in JSON.
    pub fn word(self) -> &'static str {
        match self {
            Self::Stops => "stops",
            Self::Contrast => "contrast_difference",
            Self::Dmax => "dmax",
            Self::Dmin => "dmin",
        }
    }

    /// What it is called.
    pub fn label(self) -> &'static str {
        match self {
            Self::Stops => "Speed, stops slower than the paper",
            Self::Contrast => "Contrast difference, ISO R",
            Self::Dmax => "Dmax of the coat",
            Self::Dmin => "Dmin of the coat",
        }
    }

    fn wish(self) -> Wish {
        match self {
            Self::Stops => Wish::STOPS,
            Self::Contrast => Wish::RANGE,
            Self::Dmax | Self::Dmin => Wish::DENSITY,
        }
    }

    /// What a session says of it, every source of error counted.
    pub fn of(self, evidence: &Evidence) -> &Estimate {
        let answer = &evidence.answer;
        match self {
            Self::Stops => &answer.stops,
            Self::Contrast => &answer.contrast_difference,
            Self::Dmax => &answer.coupon.dmax,
            Self::Dmin => &answer.coupon.dmin,
        }
    }
}

/// One session of a quantity.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Row {
    /// Which session of the profile, from 0.
    pub session: usize,
    /// What it says, as it went into the pool.
    pub estimate: Estimate,
}

/// One quantity, pooled.
#[derive(Debug, Clone, PartialEq)]
pub struct PooledQuantity {
    /// Which.
    pub quantity: Quantity,
    /// The sessions that went in.
    pub rows: Vec<Row>,
    /// Sessions (from 0) that have no such value.
    pub without: Vec<usize>,
    /// What they say together, or why nothing.
    pub pooled: Result<Pooled, CannotPool>,
    /// Standard error of the mean, stops, by click stops: sessions that share apertures share
    /// their errors, which repeats don't show. It is counted in `pooled`.
    pub shared_aperture: f64,
}

/// Everything pooled.
#[derive(Debug, Clone, PartialEq)]
pub struct ProfilePool {
    /// Half-width in stops of the prediction that counts as settled.
    pub tolerance: f64,
    /// The quantities.
    pub quantities: Vec<PooledQuantity>,
    /// Trends with the calendar, the bottle and remelts; absent where fewer than four sessions
    /// tell both.
    pub drift: Vec<Trend>,
}

impl ProfilePool {
    /// Pools the sessions of a profile. `within` is the half-width, in stops, of the prediction
    /// that counts as settled (1/6 stop if `None`).
    pub fn of(profile: &Profile, within: Option<f64>) -> Self {
        let tolerance = within.unwrap_or(Wish::STOPS.tolerance);
        Self {
            tolerance,
            drift: profile.drift(),
            quantities: Quantity::ALL
                .into_iter()
                .map(|quantity| {
                    let mut wish = quantity.wish();
                    if quantity == Quantity::Stops {
                        wish.tolerance = tolerance;
                    }
                    one(profile, quantity, &wish)
                })
                .collect(),
        }
    }

    /// One of the quantities.
    pub fn quantity(&self, quantity: Quantity) -> Option<&PooledQuantity> {
        self.quantities.iter().find(|one| one.quantity == quantity)
    }

    /// Whether the sessions say a speed ratio together.
    pub fn answered(&self) -> bool {
        self.quantity(Quantity::Stops)
            .is_some_and(|stops| stops.pooled.is_ok())
    }
}

fn one(profile: &Profile, quantity: Quantity, wish: &Wish) -> PooledQuantity {
    if quantity == Quantity::Stops {
        return stops(profile, wish);
    }
    let mut rows = Vec::new();
    let mut without = Vec::new();
    let mut effects = Vec::new();
    for (session, evidence) in profile.evidence.iter().enumerate() {
        let estimate = *quantity.of(evidence);
        match Effect::of(&estimate) {
            Some(effect) => {
                rows.push(Row { session, estimate });
                effects.push(effect);
            }
            None => without.push(session),
        }
    }
    PooledQuantity {
        quantity,
        rows,
        without,
        pooled: pool(&effects, wish),
        shared_aperture: 0.0,
    }
}

/// The speed ratio, with what sessions share as a covariance.
fn stops(profile: &Profile, wish: &Wish) -> PooledQuantity {
    let stops = SharedStops::of(&profile.evidence);
    let clicks = stops.click_covariance();
    let shared = &clicks + stops.wedge_covariance();
    let pooled = pool_sharing(&stops.effects, &shared, wish);
    let shared_aperture = pooled
        .as_ref()
        .map_or(0.0, |pooled| error_of(&pooled.shares, &clicks));
    let rows: Vec<Row> = stops
        .sessions
        .iter()
        .zip(&stops.estimates)
        .map(|(&session, &estimate)| Row { session, estimate })
        .collect();
    let told = |session: &usize| stops.sessions.contains(session);
    PooledQuantity {
        quantity: Quantity::Stops,
        without: (0..profile.evidence.len()).filter(|s| !told(s)).collect(),
        rows,
        pooled,
        shared_aperture,
    }
}
