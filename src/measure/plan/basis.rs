//! What is known of an emulsion, as far as a print needs it.

use serde::Serialize;

use crate::measure::compare::PairAnswer;
use crate::measure::curve::CurveAnswer;
use crate::measure::curve::DrawnCurve;
use crate::measure::curve::model::SPEED_NET;
use crate::measure::estimate::{End, Estimate, Gap};
use crate::measure::exposure::{Exposures, Series};
use crate::measure::predictive::Predictive;
use crate::measure::units::DECADES_PER_STOP;

/// How far a session to come lies from one that was measured, standard deviation in stops:
/// another pour, another coat, another day's developer (common practice, no source). A profile
/// with several sessions replaces it by what they showed.
pub const SESSION_ERROR: f64 = 1.0 / 6.0;
/// How far pieces of one coating and one day lie apart, standard deviation in stops (common
/// practice, no source).
pub const PIECE_SCATTER: f64 = 0.1;
/// Standard deviations from the middle to the end of a 95 % interval (normal distribution).
const TO_THE_END: f64 = 1.959_964;
/// Net densities nearer than this are one tone.
const SAME_TONE: f64 = 1e-6;
/// Least part of the speed point's variance that is left at another tone.
const LEAST_VARIANCE: f64 = 0.25;

/// One of the two materials as it was tested.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct Side {
    /// What the printer calls it.
    pub name: String,
    /// Its characteristic curve; both sides share the unit of exposure.
    pub curve: DrawnCurve,
    /// Bounds (95 %) of its ISO range, where the steps reach both ends.
    pub range_bounds: Option<(f64, f64)>,
    /// Shortest and longest time that a step got, seconds.
    pub times: (f64, f64),
    /// Time that puts a step on the speed point, seconds.
    pub speed_time: f64,
    /// Exact f-number; `None` when the tests had several.
    pub f_number: Option<f64>,
    /// How far its face lay above the easel in the tests, mm; `None`: nobody says.
    pub height: Option<f64>,
    /// Whether its steps differ by their times: then its curve is on a scale of time.
    pub by_time: bool,
    /// Exponent p of the law of reciprocity failure, effect ~ I t^p (K. Schwarzschild 1900),
    /// when known; about the tested times.
    pub reciprocity: Option<f64>,
}

/// How the ratio at a tone differs from that at the speed point.
#[derive(Debug, Clone, Copy, PartialEq, Serialize)]
pub struct ToneShift {
    /// Net density of the tone.
    pub net_density: f64,
    /// Stops to add to the ratio at the speed point.
    pub stops: f64,
    /// Variance to add to that at the speed point, stops squared; may be negative.
    pub variance: f64,
}

/// Where the knowledge comes from.
#[derive(Debug, Clone, Copy, PartialEq, Serialize)]
#[serde(rename_all = "kebab-case")]
pub enum Origin {
    /// One session; the next is taken to lie this far from it (standard deviation, stops).
    OneSession(f64),
    /// So many sessions of a profile, whose scatter is in the prediction.
    Sessions(usize),
}

/// What is known of an emulsion against a paper.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct Basis {
    /// The paper.
    pub paper: Side,
    /// The coating.
    pub coating: Side,
    /// Stops by which the coating is slower at the speed point, as the next session is
    /// foreseen, with the apertures of the tests taken as exact.
    pub stops: Predictive,
    /// How the errors of the tests' click stops are in `stops`: f-number and weight. A coupon's
    /// stop that lets more light through than engraved makes the coating look faster: -1, and the
    /// reference's +1; of several sessions each has its share.
    pub clicks: Vec<(f64, f64)>,
    /// The ratio at other tones, lightest first; empty: only the curves say.
    pub by_tone: Vec<ToneShift>,
    /// Dead time of the lamp a burst, seconds, and its standard uncertainty.
    pub lag: (f64, f64),
    /// Standard error between two click stops, in stops.
    pub click_error: f64,
    /// Standard error of what one pair of strips tells, in stops.
    pub pair_error: f64,
    /// The reference's part of that, in stops.
    pub paper_error: f64,
    /// Standard deviation from piece to piece, in stops.
    pub piece_scatter: f64,
    /// Where this comes from.
    pub origin: Origin,
    /// What was made of an alarm that the speed drifts.
    pub drift: Option<Drift>,
}

/// How a plan follows a material that changes from session to session.
#[derive(Debug, Clone, Copy, PartialEq, Serialize)]
pub struct Drift {
    /// Sessions that the plan goes by.
    pub trusted: usize,
    /// Sessions that the profile has.
    pub of: usize,
    /// Stops from one session to the next along a steady trend, which the plan follows one session
    /// on; `None` after a step.
    pub next_change: Option<f64>,
}

/// A strip of the session that a basis is built from.
#[derive(Debug, Clone, Copy)]
pub struct Tested<'a> {
    /// Its name.
    pub name: &'a str,
    /// How it was exposed.
    pub exposures: &'a Exposures,
}

impl Basis {
    /// From one pair of strips. `lag` and `click_error` are those of the session;
    /// `session_error` is how far the next session is taken to lie from this one, in stops.
    ///
    /// # Errors
    /// The reason when the pair has no ratio with both bounds, or no curves.
    pub fn of_pair(
        answer: &PairAnswer,
        [paper, coating]: [Tested<'_>; 2],
        lag: (f64, f64),
        click_error: f64,
        session_error: f64,
    ) -> Result<Self, Gap> {
        let exact = predictive(&answer.stops_exact_aperture).ok_or_else(|| gap(&answer.stops))?;
        let side = |tested: Tested<'_>, answer: &CurveAnswer| {
            Side::of(tested, answer, lag.0).ok_or(Gap::NotMeasured)
        };
        let speed_error = answer.reference.speed_point.half_width();
        let paper_error = speed_error.unwrap_or(0.0) / TO_THE_END / DECADES_PER_STOP;
        Ok(Self {
            paper: side(paper, &answer.reference)?,
            coating: side(coating, &answer.coupon)?,
            stops: exact.widened(session_error),
            clicks: vec![
                (coating.exposures.f_number, -1.0),
                (paper.exposures.f_number, 1.0),
            ],
            by_tone: by_tone(answer),
            lag,
            click_error,
            pair_error: exact.scale,
            paper_error: paper_error.min(exact.scale),
            piece_scatter: PIECE_SCATTER,
            origin: Origin::OneSession(session_error),
            drift: None,
        })
    }

    /// The same knowledge of a coating whose exponent of reciprocity failure is known.
    ///
    /// Strips that were exposed by time have their curves on a scale of time: with the exponent p a
    /// stop of time acts like p stops of light, so that such a curve, its range and the ratio by tone
    /// are stretched by 1/p against what the light of a negative does. Here they are put on the scale
    /// of light, about the speed point, whose tested time the law is anchored at.
    #[must_use]
    pub fn knowing_reciprocity(&self, exponent: Option<f64>) -> Self {
        let mut known = self.clone();
        known.coating.reciprocity = exponent;
        let coating = &self.coating;
        let (Some(p), Some(middle)) = (exponent, coating.curve.speed_point()) else {
            return known;
        };
        if !coating.by_time {
            return known;
        }
        known.coating.curve = coating.curve.stretched(middle, p);
        known.coating.range_bounds = coating.range_bounds.map(|(low, high)| (p * low, p * high));
        for tone in &mut known.by_tone {
            if let Some(x) = coating.curve.x_at(tone.net_density) {
                tone.stops -= (1.0 - p) * (x - middle) / DECADES_PER_STOP;
            }
        }
        known
    }

    /// The same knowledge with paper and coating in each other's place: how a recipe of the
    /// coating is carried back to paper.
    #[must_use]
    pub fn reversed(&self) -> Self {
        Self {
            paper: self.coating.clone(),
            coating: self.paper.clone(),
            stops: Predictive {
                centre: -self.stops.centre,
                ..self.stops
            },
            clicks: self
                .clicks
                .iter()
                .map(|&(at, weight)| (at, -weight))
                .collect(),
            by_tone: self
                .by_tone
                .iter()
                .map(|tone| ToneShift {
                    stops: -tone.stops,
                    ..*tone
                })
                .collect(),
            ..self.clone()
        }
    }

    /// How the ratio at a net density differs from that at the speed point, between the tones
    /// that were compared. `None` beyond them: what the curves say there is mostly their
    /// formula, and nobody knows how wrong. Only where no tone was compared at all the curves
    /// alone say.
    pub fn tone_shift(&self, net: f64) -> Option<ToneShift> {
        if self.by_tone.is_empty() {
            let ratio = |net: f64| {
                let decades = self.coating.curve.x_at(net)? - self.paper.curve.x_at(net)?;
                Some(decades / DECADES_PER_STOP)
            };
            return Some(ToneShift {
                net_density: net,
                stops: ratio(net)? - ratio(SPEED_NET)?,
                variance: 0.0,
            });
        }
        let beyond = |tone: &ToneShift| tone.net_density > net - SAME_TONE;
        let after = self.by_tone.iter().position(beyond)?;
        let upper = self.by_tone[after];
        if (upper.net_density - net).abs() <= SAME_TONE {
            return Some(upper);
        }
        let lower = self.by_tone[after.checked_sub(1)?];
        let share = (net - lower.net_density) / (upper.net_density - lower.net_density);
        Some(ToneShift {
            net_density: net,
            stops: lower.stops + share * (upper.stops - lower.stops),
            variance: lower.variance + share * (upper.variance - lower.variance),
        })
    }

    /// What is foreseen at a tone, from what is foreseen at the speed point.
    pub fn at_tone(&self, speed: Predictive, shift: ToneShift) -> Predictive {
        let moved = Predictive {
            centre: speed.centre + shift.stops,
            ..speed
        };
        if shift.variance >= 0.0 {
            return moved.widened(shift.variance.sqrt());
        }
        let variance = speed.spread().powi(2);
        let left = ((variance + shift.variance) / variance).max(LEAST_VARIANCE);
        Predictive {
            scale: moved.scale * left.sqrt(),
            normal: moved.normal * left.sqrt(),
            ..moved
        }
    }

    /// The whole scale: every compared tone counts by how much the eye sees of a small step of
    /// density there, dL*/dD, which falls as 10^(-D/3) (CIE 15: L* goes with the cube root of
    /// the reflectance). `None` when no tone was compared.
    pub fn whole_scale(&self) -> Option<ToneShift> {
        let weight = |tone: &ToneShift| 10f64.powf(-tone.net_density / 3.0);
        let total: f64 = self.by_tone.iter().map(weight).sum();
        let mean = |value: fn(&ToneShift) -> f64| {
            self.by_tone
                .iter()
                .map(|tone| weight(tone) * value(tone))
                .sum::<f64>()
                / total
        };
        (total > 0.0).then(|| ToneShift {
            net_density: mean(|tone| tone.net_density),
            stops: mean(|tone| tone.stops),
            variance: mean(|tone| tone.variance),
        })
    }
}

impl Side {
    /// What one strip tells of its material, for a lamp lag in seconds; `None` without a curve
    /// that comes to the speed point.
    pub fn of(tested: Tested<'_>, answer: &CurveAnswer, lag: f64) -> Option<Self> {
        let curve = DrawnCurve::of(answer)?;
        let exposures = tested.exposures;
        let doses = exposures.series.doses();
        let totals = || doses.iter().map(|dose| dose.total.0);
        let times = (
            totals().fold(f64::INFINITY, f64::min),
            totals().fold(0.0, f64::max),
        );
        let speed = answer.speed_point.value.or_else(|| curve.speed_point())?;
        let in_the_way = exposures.in_the_way();
        let speed_time = match exposures.series {
            // One burst for all steps.
            Series::PrintedWedge { time, .. } => time.0,
            _ => 10f64.powf(speed + in_the_way) + lag,
        };
        Some(Self {
            name: tested.name.to_owned(),
            curve,
            range_bounds: answer.range.bounds(),
            times,
            speed_time,
            f_number: Some(exposures.f_number),
            height: exposures.height,
            by_time: !matches!(exposures.series, Series::PrintedWedge { .. }),
            reciprocity: None,
        })
    }
}

/// What one piece of another evening needs, in stops slower, from a pair of strips: the strips'
/// error, and the usual scatter from evening to evening and from piece to piece. It is what a plan
/// by one session goes by where paper and piece are printed at one aperture; `None` without a ratio
/// that has both bounds.
pub fn next_evening(answer: &PairAnswer) -> Option<Predictive> {
    let told = predictive(&answer.stops)?;
    Some(told.widened(SESSION_ERROR).widened(PIECE_SCATTER))
}

/// The normal distribution with the median and the half-width of an estimate.
fn predictive(estimate: &Estimate) -> Option<Predictive> {
    Some(Predictive::normal(
        estimate.value?,
        estimate.half_width()? / TO_THE_END,
    ))
}

fn gap(estimate: &Estimate) -> Gap {
    match (estimate.lower, estimate.upper) {
        (End::Open(why), _) | (_, End::Open(why)) => why,
        _ => Gap::NotMeasured,
    }
}

/// Tones against the speed point. The click stops' error is the same at all tones, so it
/// drops out of the differences.
fn by_tone(answer: &PairAnswer) -> Vec<ToneShift> {
    let Some(speed) = predictive(&answer.stops) else {
        return vec![];
    };
    answer
        .by_tone
        .iter()
        .filter_map(|tone| {
            let at = predictive(&tone.stops)?;
            Some(ToneShift {
                net_density: tone.net_density,
                stops: at.centre - speed.centre,
                variance: at.scale.powi(2) - speed.scale.powi(2),
            })
        })
        .collect()
}
