//! Burns and dodges, carried over by the two curves.
//!
//! A part that was changed by s stops on paper and ends there at a net density D lay, unburned, s
//! stops below X_paper(D). The base exposure carries that place to the coating with the shift of
//! the tone that the plan meets; from there it takes
//! `[X_coat(D) - (X_paper(D) - s + shift)] / log10 2` stops to come to D on the coating. A part
//! whose tone the base exposure has moved too far is burned instead of dodged, or the other way
//! round.

use super::basis::{Basis, ToneShift};
use super::planned::CarriedChange;
use super::recipe::{Change, Recipe, Tone, Way};
use crate::measure::curve::model::SHOULDER_SHARE;
use crate::measure::estimate::{End, Estimate, Gap};
use crate::measure::predictive::Predictive;
use crate::measure::units::Stops;

/// Share of a curve's full net density up to which it counts as reached.
const REACHED: f64 = 0.98;

/// The base exposure that burns and dodges go with.
pub(super) struct Base {
    /// Seconds of light.
    pub(super) seconds: f64,
    /// The ratio at the tone that the plan meets, against that at the speed point.
    pub(super) shift: ToneShift,
    /// The ratio at the speed point as foreseen.
    pub(super) speed: Predictive,
    /// Standard deviations of everything else that one piece differs by: click stops, lag, the
    /// piece's own scatter; stops.
    pub(super) others: [f64; 3],
}

/// All burns and dodges of a recipe.
pub(super) fn carry(recipe: &Recipe, basis: &Basis, base: &Base) -> Vec<CarriedChange> {
    recipe
        .changes
        .iter()
        .map(|change| one(recipe, change, basis, base))
        .collect()
}

fn one(recipe: &Recipe, change: &Change, basis: &Basis, base: &Base) -> CarriedChange {
    let lag = basis.lag.0;
    // Stops of light act like p times as many where reciprocity fails with the exponent p.
    let by_paper = basis.paper.reciprocity.unwrap_or(1.0);
    let by_coating = basis.coating.reciprocity.unwrap_or(1.0);
    let on_paper = recipe.stops_of(change, lag);
    let net = change.tone.unwrap_or(Tone::Middle).net();
    let full = basis.coating.curve.full();
    let reached = net <= REACHED * full;
    // A tone that the coating doesn't have is burned to where its shoulder ends.
    let wanted = if reached { net } else { SHOULDER_SHARE * full };
    let carried = basis.carried(net, wanted);
    let effect =
        on_paper * by_paper + carried.map_or(0.0, |carried| carried.shift.stops - base.shift.stops);
    let stops = effect / by_coating;
    let share = stops.exp2() - 1.0;
    let way = if stops >= 0.0 { Way::Burn } else { Way::Dodge };
    let time = match way {
        // A burst of its own: the lamp needs its lag again.
        Way::Burn => base.seconds * share + lag,
        Way::Dodge => -base.seconds * share,
    };
    CarriedChange {
        asked: change.way,
        way,
        name: change.name.clone(),
        stops_on_paper: on_paper.abs(),
        stops: stops.abs(),
        time,
        net_density: net,
        comes_out: comes_out(basis, base, wanted, carried),
        reached,
    }
}

/// The net density that the part of one piece comes out with, changed as told.
fn comes_out(basis: &Basis, base: &Base, wanted: f64, carried: Option<Carried>) -> Estimate {
    let curve = &basis.coating.curve;
    let (Some(carried), Some(x)) = (carried, curve.x_at(wanted)) else {
        return Estimate::absent(Gap::MostlyPrior);
    };
    let need = basis.at_tone(base.speed, carried.shift);
    let need = base
        .others
        .iter()
        .fold(need, |need, &error| need.widened(error));
    // A piece that needs more light than it got comes out lighter.
    let off = Stops(need.half_width()).decades();
    let slope = curve.slope(x) * Stops(1.0).decades();
    let (low, high) = (curve.net(x - off), curve.net(x + off));
    let mut estimate = Estimate::between(wanted, slope * need.spread(), low, high);
    if !carried.compared {
        estimate.standard_error = None;
        estimate.lower = End::Open(Gap::MostlyPrior);
        estimate.upper = End::Open(Gap::MostlyPrior);
    }
    estimate
}

/// How a place of the picture with one tone on paper comes to a tone of the coating.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) struct Carried {
    /// Against the speed points, as for a tone.
    pub(super) shift: ToneShift,
    /// Whether the strips compared the tone, so that its error is known.
    pub(super) compared: bool,
}

impl Basis {
    /// The way from a net density on paper to one on the coating. `None` when the curves don't
    /// come to them.
    ///
    /// Between the tones that were compared by the ratio at them; beyond, by the two curves from
    /// the last of these on.
    fn carried(&self, on_paper: f64, on_coating: f64) -> Option<Carried> {
        let same = on_paper == on_coating;
        if same && let Some(shift) = self.tone_shift(on_paper) {
            return Some(Carried {
                shift,
                compared: !self.by_tone.is_empty(),
            });
        }
        let decades = self.coating.curve.x_at(on_coating)? - self.paper.curve.x_at(on_paper)?;
        let from = match self.by_tone.last() {
            Some(last) if on_paper > last.net_density => Some(last),
            _ => self.by_tone.first(),
        };
        let drawn = |net: f64| {
            let coating = self.coating.curve.x_at(net)?;
            Some(Stops::from_decades(coating - self.paper.curve.x_at(net)?).0)
        };
        let stops = Stops::from_decades(decades).0;
        let (stops, variance) = match from {
            Some(tone) => (tone.stops + stops - drawn(tone.net_density)?, tone.variance),
            None => (stops - drawn(crate::measure::curve::model::SPEED_NET)?, 0.0),
        };
        Some(Carried {
            shift: ToneShift {
                net_density: on_paper,
                stops,
                variance,
            },
            compared: false,
        })
    }
}
