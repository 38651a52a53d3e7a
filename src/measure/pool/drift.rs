//! Whether an emulsion changes: with the calendar, in its bottle, by being melted again.

use serde::Serialize;

use super::between::{Between, between_variance};
use super::chance::best_shape;
use super::holm::holm;
use super::model::Model;
use super::{ENOUGH_SESSIONS, Effect};
use crate::measure::estimate::Estimate;

/// Chance of a false alarm over all that is looked at together.
const FALSE_ALARMS: f64 = 0.05;
/// Sessions that a level must have before or after a step: one alone is an outlying session.
const SESSIONS_A_LEVEL: usize = 2;

/// What may drift.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Serialize)]
#[serde(rename_all = "kebab-case")]
pub enum Quantity {
    /// The speed ratio, in stops the emulsion is slower.
    Stops,
    /// Density of the emulsion's margin: fog and base.
    Dmin,
    /// Greatest density of the emulsion.
    Dmax,
}

impl Quantity {
    /// All of them.
    pub const ALL: [Self; 3] = [Self::Stops, Self::Dmin, Self::Dmax];

    /// Change that matters, in the quantity's unit: what counts as settled.
    pub fn tolerance(self) -> f64 {
        match self {
            Self::Stops => super::Wish::STOPS.tolerance,
            Self::Dmin | Self::Dmax => super::Wish::DENSITY.tolerance,
        }
    }
}

/// What it may drift with.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Serialize)]
#[serde(rename_all = "kebab-case")]
pub enum Against {
    /// The day of the session; slopes are per 30 days.
    Date,
    /// Days since the bottle was opened; slopes are per 30 days.
    BottleAge,
    /// How often the emulsion was melted again; slopes are per remelt.
    Remelts,
}

impl Against {
    /// All of them.
    pub const ALL: [Self; 3] = [Self::Date, Self::BottleAge, Self::Remelts];

    /// Size of the covariate's unit that slopes are told in.
    pub fn unit(self) -> f64 {
        match self {
            Self::Date | Self::BottleAge => 30.0,
            Self::Remelts => 1.0,
        }
    }
}

/// What one session says for the drift; what isn't known is absent.
#[derive(Debug, Clone, Copy, PartialEq, Default)]
pub struct Occasion {
    /// Stops slower.
    pub stops: Option<Effect>,
    /// Density of the emulsion's margin.
    pub dmin: Option<Effect>,
    /// Greatest density of the emulsion.
    pub dmax: Option<Effect>,
    /// The day, counted from any day that all sessions share.
    pub day: Option<f64>,
    /// Days since the bottle was opened.
    pub bottle_days: Option<f64>,
    /// Remelts before this session.
    pub remelts: Option<f64>,
}

impl Occasion {
    fn value(&self, quantity: Quantity) -> Option<Effect> {
        match quantity {
            Quantity::Stops => self.stops,
            Quantity::Dmin => self.dmin,
            Quantity::Dmax => self.dmax,
        }
    }

    fn place(&self, against: Against) -> Option<f64> {
        match against {
            Against::Date => self.day,
            Against::BottleAge => self.bottle_days,
            Against::Remelts => self.remelts,
        }
        .filter(|place| place.is_finite())
    }
}

/// How a quantity changes.
#[derive(Debug, Clone, Copy, PartialEq, Serialize)]
#[serde(rename_all = "kebab-case", tag = "is")]
pub enum Shape {
    /// Steadily.
    Slope,
    /// From one level to another.
    Step {
        /// Last place of the old level, in days or remelts.
        after: f64,
        /// First place of the new level.
        from: f64,
        /// New level less old, with the 95 % interval that it would have had, had the place
        /// been known beforehand; as the place was chosen, it is somewhat too far from 0.
        size: Estimate,
    },
}

/// One quantity against one covariate.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct Trend {
    /// What.
    pub quantity: Quantity,
    /// With what.
    pub against: Against,
    /// How many sessions tell both.
    pub sessions: usize,
    /// Change per 30 days or per remelt, with its 95 % interval.
    pub slope: Estimate,
    /// The shape that explains most.
    pub shape: Shape,
    /// Chance of a change that looks at least as large when nothing changes.
    pub p: f64,
    /// The same, counted that all pairs of quantity and covariate were looked at.
    pub p_together: f64,
    /// Whether that is beyond what chance explains.
    pub alarm: bool,
    /// Sessions (from 0) that are like the newest: those to trust today. All without an alarm.
    pub trusted: Vec<usize>,
}

/// Looks for changes of three quantities with three covariates.
///
/// Each pair is asked whether its values follow a slope or any step better than chance explains
/// ([`super::holm()`] over the pairs keeps false alarms to 5 % together). The weights are those
/// of the random-effects model (REML), so that sessions may scatter. Pairs with fewer than four
/// sessions, or a covariate that never changes, are absent. Regression: Knapp & Hartung 2003,
/// Stat. Med. 22:2693.
pub fn drift(occasions: &[Occasion]) -> Vec<Trend> {
    let pairs = Quantity::ALL
        .iter()
        .flat_map(|&quantity| Against::ALL.iter().map(move |&against| (quantity, against)));
    let mut trends: Vec<Trend> = pairs
        .filter_map(|(quantity, against)| trend(occasions, quantity, against))
        .collect();
    let chances: Vec<f64> = trends.iter().map(|trend| trend.p).collect();
    for (trend, together) in trends.iter_mut().zip(holm(&chances)) {
        trend.p_together = together;
        trend.alarm = together <= FALSE_ALARMS;
        if !trend.alarm {
            trend.trusted = (0..occasions.len()).collect();
        }
    }
    trends
}

fn trend(occasions: &[Occasion], quantity: Quantity, against: Against) -> Option<Trend> {
    let known: Vec<(usize, Effect, f64)> = occasions
        .iter()
        .enumerate()
        .filter_map(|(session, occasion)| {
            let value = occasion.value(quantity)?;
            Some((session, value, occasion.place(against)?))
        })
        .collect();
    let effects: Vec<Effect> = known.iter().map(|known| known.1).collect();
    let places: Vec<f64> = known.iter().map(|known| known.2).collect();
    let cuts = cuts(&places);
    let changes = places.iter().any(|&place| place != places[0]);
    if known.len() < ENOUGH_SESSIONS || !changes {
        return None;
    }
    // Weights as of no change, as the chance is that of no change.
    let mean = Model::mean(&effects).ok()?;
    let weights = mean.fit(between_variance(&mean, Between::RestrictedLikelihood));
    let mut shapes = vec![places.clone()];
    let indicator = |from: f64| -> Vec<f64> {
        let new = places.iter().map(|&place| f64::from(place >= from));
        new.collect()
    };
    shapes.extend(cuts.iter().map(|&(_, from)| indicator(from)));
    let values: Vec<f64> = effects.iter().map(|effect| effect.value).collect();
    let best = best_shape(&values, weights.weights.as_slice(), &shapes)?;
    let slope = coefficient(&effects, &scaled(&places, against.unit()))?;
    let newest = newest(occasions, &known);
    let shape = match best.shape.checked_sub(1).and_then(|cut| cuts.get(cut)) {
        None => Shape::Slope,
        Some(&(after, from)) => Shape::Step {
            after,
            from,
            size: coefficient(&effects, &indicator(from))?,
        },
    };
    let like_newest = |place: f64| match shape {
        Shape::Step { from, .. } => (place >= from) == (newest >= from),
        Shape::Slope => {
            let change = slope.value.unwrap_or(0.0) * (place - newest) / against.unit();
            change.abs() <= quantity.tolerance()
        }
    };
    Some(Trend {
        quantity,
        against,
        sessions: known.len(),
        slope,
        shape,
        p: best.p,
        p_together: best.p,
        alarm: false,
        trusted: known
            .iter()
            .filter(|known| like_newest(known.2))
            .map(|known| known.0)
            .collect(),
    })
}

/// Places of steps: the last of the old level and the first of the new one, with sessions
/// enough on both sides.
fn cuts(places: &[f64]) -> Vec<(f64, f64)> {
    let mut sorted = places.to_vec();
    sorted.sort_by(f64::total_cmp);
    (SESSIONS_A_LEVEL..=sorted.len().saturating_sub(SESSIONS_A_LEVEL))
        .map(|first| (sorted[first - 1], sorted[first]))
        .filter(|(after, from)| after < from)
        .collect()
}

/// Covariate about its mean, in the unit that slopes are told in.
fn scaled(places: &[f64], unit: f64) -> Vec<f64> {
    let mean = places.iter().sum::<f64>() / places.len() as f64;
    places.iter().map(|place| (place - mean) / unit).collect()
}

/// Where the newest session lies: the last day, else the last in the list.
fn newest(occasions: &[Occasion], known: &[(usize, Effect, f64)]) -> f64 {
    let day = |session: usize| occasions[session].day.unwrap_or(f64::NEG_INFINITY);
    known
        .iter()
        .max_by(|a, b| day(a.0).total_cmp(&day(b.0)).then(a.0.cmp(&b.0)))
        .map_or(f64::NAN, |known| known.2)
}

/// The coefficient of one column beside the mean, with its interval.
fn coefficient(effects: &[Effect], column: &[f64]) -> Option<Estimate> {
    let model = Model::new(effects, &[column]).ok()?;
    let fit = model.fit(between_variance(&model, Between::RestrictedLikelihood));
    let value = fit.coefficients[1];
    let half = fit.half_width(1);
    let error = fit.knapp_hartung_error(1).max(fit.plain_error(1));
    (value.is_finite() && half.is_finite())
        .then(|| Estimate::between(value, error, value - half, value + half))
}

/// What to look for when a quantity has changed: common practice, no source. Where a cause has
/// to do with chemicals or their waste, the product's safety sheet comes first.
pub fn suspects(quantity: Quantity, rises: bool) -> &'static [&'static str] {
    match (quantity, rises) {
        (Quantity::Dmin, true) => &[
            "melted again too often or too hot",
            "safelight too near, too bright or on too long",
            "age of the bottle, or stored too warm",
            "developer too warm, too strong or too long",
        ],
        (Quantity::Dmin, false) => &[
            "another ground or size layer, or a cleaner one",
            "developer colder, weaker or shorter",
        ],
        (Quantity::Stops, true) => &[
            "developer exhausted, colder or shorter",
            "thinner coat",
            "another batch of emulsion or paper",
            "lamp, filter or grade of the reference changed",
        ],
        (Quantity::Stops, false) => &[
            "emulsion ripened by melting or age",
            "developer warmer or longer",
            "another batch of emulsion or paper",
            "lamp, filter or grade of the reference changed",
        ],
        (Quantity::Dmax, true) => &["thicker or more coats", "developer longer or fresher"],
        (Quantity::Dmax, false) => &[
            "thinner coat, or emulsion lost in the wash",
            "developer exhausted or cut short",
            "emulsion settled in the bottle and not stirred",
        ],
    }
}
