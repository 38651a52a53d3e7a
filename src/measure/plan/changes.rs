//! Burns and dodges, carried over by the two curves.
//!
//! A part that is burned by so many stops on paper comes from one net density to another. The
//! coating takes it between the same two in other stops: the distance of the two on its own
//! curve. Over a short way that is the ratio of the two curves' slopes there.

use super::basis::Basis;
use super::planned::CarriedChange;
use super::recipe::{Change, Recipe, Tone, Way};
use crate::measure::curve::DrawnCurve;
use crate::measure::curve::model::{SHOULDER_SHARE, TOE_NET};
use crate::measure::units::DECADES_PER_STOP;

/// Net densities nearer than this are one: the ratio of the slopes is taken there.
const ONE_TONE: f64 = 1e-6;
/// Share of a curve's full net density up to which it counts as reached.
const REACHED: f64 = 0.98;

/// All burns and dodges of a recipe; `seconds` are those of light of the planned exposure.
pub(super) fn carry(recipe: &Recipe, basis: &Basis, seconds: f64) -> Vec<CarriedChange> {
    recipe
        .changes
        .iter()
        .map(|change| one(recipe, change, basis, seconds))
        .collect()
}

fn one(recipe: &Recipe, change: &Change, basis: &Basis, seconds: f64) -> CarriedChange {
    let lag = basis.lag.0;
    let on_paper = recipe.stops_of(change, lag);
    let net = change.tone.unwrap_or(Tone::Middle).net();
    let stops = on_paper * ratio(basis, net, on_paper);
    let share = stops.exp2() - 1.0;
    let time = match change.way {
        // A burst of its own: the lamp needs its lag again.
        Way::Burn => seconds * share + lag,
        Way::Dodge => -seconds * share,
    };
    CarriedChange {
        way: change.way,
        name: change.name.clone(),
        stops_on_paper: on_paper.abs(),
        stops: stops.abs(),
        time,
        net_density: net,
        reached: net <= REACHED * basis.coating.curve.full(),
    }
}

/// Stops on the coating for one on the paper, for a part that ends at a net density after a
/// change by so many stops of the paper.
///
/// Where the way leads beyond the toe or the shoulder of either, only what lies between counts
/// and the rest goes on in proportion: beyond, no number of stops is worth a tone.
fn ratio(basis: &Basis, net: f64, stops: f64) -> f64 {
    let (paper, coating) = (&basis.paper.curve, &basis.coating.curve);
    let top = SHOULDER_SHARE * paper.full().min(coating.full());
    if top <= TOE_NET {
        return 1.0;
    }
    let end = net.clamp(TOE_NET, top);
    let Some(x) = paper.x_at(end) else {
        return 1.0;
    };
    let start = paper.net(x - stops * DECADES_PER_STOP).clamp(TOE_NET, top);
    let (low, high) = if (end - start).abs() < ONE_TONE {
        let middle = (0.5 * (start + end)).clamp(TOE_NET + 0.5 * ONE_TONE, top - 0.5 * ONE_TONE);
        (middle - 0.5 * ONE_TONE, middle + 0.5 * ONE_TONE)
    } else {
        (start.min(end), start.max(end))
    };
    let way = |curve: &DrawnCurve| Some(curve.x_at(high)? - curve.x_at(low)?);
    match (way(paper), way(coating)) {
        (Some(paper), Some(coating)) if paper > 0.0 && coating > 0.0 => coating / paper,
        _ => 1.0,
    }
}
