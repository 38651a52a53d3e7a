//! What the sessions of a profile say together.

use super::{Evidence, Profile};
use crate::measure::estimate::{End, Estimate};
use crate::measure::pool::{CannotPool, Effect, Pooled, Settled, Trend, Wish, pool};
use crate::measure::predictive::Predictive;

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
    /// Standard error in stops that all sessions share because they used the same two
    /// apertures: repeats don't show it, and pooling doesn't shrink it. It is counted in `pooled`.
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
    let shared_aperture = match quantity {
        Quantity::Stops => shared_aperture(&profile.evidence),
        _ => 0.0,
    };
    let mut rows = Vec::new();
    let mut without = Vec::new();
    let mut effects = Vec::new();
    for (session, evidence) in profile.evidence.iter().enumerate() {
        let estimate = if shared_aperture > 0.0 {
            evidence.answer.stops_exact_aperture
        } else {
            *quantity.of(evidence)
        };
        match Effect::of(&estimate) {
            Some(effect) => {
                rows.push(Row { session, estimate });
                effects.push(effect);
            }
            None => without.push(session),
        }
    }
    let pooled = pool(&effects, wish).map(|mut pooled| {
        if shared_aperture > 0.0 {
            pooled.mean = widened(&pooled.mean, shared_aperture);
            pooled.next = pooled.next.widened(shared_aperture);
            pooled.settled = with_shared(pooled.settled, &pooled.next, wish.tolerance);
        }
        pooled
    });
    PooledQuantity {
        quantity,
        rows,
        without,
        pooled,
        shared_aperture,
    }
}

/// The standard error of the click stops that all sessions share: they all exposed reference and
/// coupon at the same two f-numbers, and these differ.
///
/// A click stop errs every time by the same amount, so that repeats at the same two agree about
/// a wrong answer. Sessions at other f-numbers each have an error of their own, which is in their
/// bounds: then this is 0.
pub(super) fn shared_aperture(sessions: &[Evidence]) -> f64 {
    let numbers = |one: &Evidence| one.strips.each_ref().map(|strip| strip.exposures.f_number);
    let same = |a: [f64; 2], b: [f64; 2]| (0..2).all(|i| (a[i] / b[i] - 1.0).abs() < 1e-3);
    let Some(first) = sessions.first() else {
        return 0.0;
    };
    let pair = numbers(first);
    let differ = (pair[0] / pair[1] - 1.0).abs() > 1e-3;
    if differ && sessions.iter().all(|one| same(numbers(one), pair)) {
        let errors = sessions.iter().map(|one| one.settings.aperture_error_stops);
        errors.fold(0.0, f64::max)
    } else {
        0.0
    }
}

/// An estimate with an independent normal error added.
fn widened(estimate: &Estimate, error: f64) -> Estimate {
    let Some(value) = estimate.value else {
        return *estimate;
    };
    let end = |end: End, side: f64| match end {
        End::At(at) => End::At(value + side * (at - value).abs().hypot(1.96 * error)),
        open @ End::Open(_) => open,
    };
    Estimate {
        value: estimate.value,
        standard_error: estimate.standard_error.map(|own| own.hypot(error)),
        lower: end(estimate.lower, -1.0),
        upper: end(estimate.upper, 1.0),
    }
}

/// What the click stops leave of "settled".
fn with_shared(settled: Settled, next: &Predictive, tolerance: f64) -> Settled {
    let half_width = next.quantile(0.975) - next.centre;
    match settled {
        Settled::Yes if half_width > tolerance => Settled::Never {
            least_half_width: half_width,
        },
        other => other,
    }
}
