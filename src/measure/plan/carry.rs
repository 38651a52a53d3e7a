//! From a recipe on paper to the plan for a coated piece.
//!
//! t_e = t_p r (N_e/N_p)^2 ((1 + m_e)/(1 + m_p))^2, times without the lamp's dead time.

use super::aperture_choice::{self, Light, click_error};
use super::basis::{Basis, Origin, ToneShift};
use super::bracket::Bracket;
use super::changes::{self, Base};
use super::contrast;
use super::notes;
use super::piece::{HeadMove, Piece};
use super::place::{self, Place};
use super::planned::{Aim, Choices, Doubt, Plan, PlannedExposure};
use super::recipe::{Recipe, Tone};
use crate::measure::estimate::Estimate;
use crate::measure::exposure::Aperture;
use crate::measure::finding::Finding;
use crate::measure::predictive::Predictive;
use crate::measure::units::Stops;

/// Carries a recipe over to a piece.
///
/// Whatever can't be computed is absent, with a finding that says why.
pub fn carry(recipe: &Recipe, piece: &Piece, basis: &Basis, choices: &Choices) -> Plan {
    let mut findings = notes::about_recipe(recipe, basis);
    if choices.head == HeadMove::Stays {
        findings.extend(notes::tested_height(piece, basis));
    }
    let place = place::find(recipe, piece, choices, &mut findings);
    let exposure = place
        .as_ref()
        .and_then(|place| exposure(recipe, piece, basis, choices, place, &mut findings));
    let mut plan = Plan {
        aim: choices.aim,
        on_piece: None,
        changes: vec![],
        scale: None,
        bracket: None,
        exposure: None,
        findings,
    };
    if let (Some(place), Some((planned, base))) = (place, exposure) {
        plan.on_piece = place::on_piece(&place, piece, choices, planned.aperture.exact);
        if let Some(on_piece) = &plan.on_piece {
            let about = notes::about_place(on_piece, piece, choices);
            plan.findings.extend(about);
        }
        plan.changes = changes::carry(recipe, basis, &base);
        plan.findings
            .extend(notes::about_changes(&plan.changes, basis));
        plan.findings
            .extend(notes::about_exposure(&planned, basis, choices));
        let shift = Stops(planned.need.centre).decades();
        let (scale, about) = contrast::scale(recipe, basis, shift);
        plan.scale = scale;
        plan.findings.extend(about);
        plan.bracket = Some(bracket(&planned, base.seconds, basis, choices));
        plan.exposure = Some(planned);
    }
    plan.findings
        .sort_by_key(|finding| std::cmp::Reverse(finding.weight));
    plan
}

/// The exposure, and what burns and dodges go by.
fn exposure(
    recipe: &Recipe,
    piece: &Piece,
    basis: &Basis,
    choices: &Choices,
    place: &Place,
    findings: &mut Vec<Finding>,
) -> Option<(PlannedExposure, Base)> {
    let (lag, lag_error) = basis.lag;
    let white = recipe.white_seconds(lag);
    if white <= 0.0 {
        findings.push(notes::lag_swallows(recipe, lag));
        return None;
    }
    let shift = tone_shift(basis, choices.aim, findings);
    // What the paper's tests would have had, were its times those that were tested.
    let lamp = recipe.lamp_seconds() - lag * recipe.base.len() as f64;
    let as_tested = white * reciprocity_on_paper(basis, lamp);
    let at_recipe =
        as_tested * Stops(basis.stops.centre + shift.stops - place.stops_gained()).factor();
    let seconds = |aperture: &Aperture| {
        let nominal = at_recipe * (aperture.exact / recipe.aperture.exact).powi(2);
        basis.coating.light_needed(nominal, lag)
    };
    let light = Light {
        recipe,
        piece,
        basis,
        choices,
        place,
        seconds: &seconds,
        spread: basis.stops.spread(),
    };
    let (aperture, why) = aperture_choice::choose(&light);
    let given = seconds(&aperture);
    let click = click_error(basis, recipe.aperture.exact, aperture.exact);
    let speed = basis.stops;
    // t_e - lag = k (t_p - lag): the lag's error moves what is needed by what it takes from
    // the one and adds to the other, in stops.
    let by_lag = (1.0 / given - recipe.base.len() as f64 / white) / std::f64::consts::LN_2;
    let by_lag = (by_lag * lag_error).abs();
    let at_tone = basis.at_tone(speed, shift);
    let need = at_tone.widened(click).widened(by_lag);
    let one_piece = need.widened(basis.piece_scatter);
    let stops = one_piece.estimate();
    let factor_slope = need.centre.exp2() * std::f64::consts::LN_2;
    let planned = PlannedExposure {
        aperture,
        f_number: aperture.written(),
        why,
        time: basis.coating.in_seconds(&stops, need.centre, given, lag),
        factor: stops.map(f64::exp2, factor_slope),
        stops,
        need,
        piece_scatter: basis.piece_scatter,
        doubts: doubts(basis, &at_tone, click, by_lag),
    };
    let base = Base {
        seconds: given,
        shift,
        speed,
        others: [click, by_lag, basis.piece_scatter],
    };
    Some((planned, base))
}

/// How many times the light as if its time were one of those that the paper was tested with.
fn reciprocity_on_paper(basis: &Basis, lamp: f64) -> f64 {
    let tested = basis.paper.speed_time - basis.lag.0;
    match basis.paper.reciprocity {
        Some(p) if tested > 0.0 && lamp > 0.0 => (lamp / tested).powf(p - 1.0),
        _ => 1.0,
    }
}

impl super::basis::Side {
    /// Seconds that give the effect of `nominal` seconds, were reciprocity to hold about the
    /// tested time: t = t_0 (t_nominal / t_0)^(1/p), from I t^p at both (K. Schwarzschild 1900,
    /// Astrophysical Journal 11:89).
    pub(super) fn light_needed(&self, nominal: f64, lag: f64) -> f64 {
        let tested = self.speed_time - lag;
        match self.reciprocity {
            Some(p) if tested > 0.0 => tested * (nominal / tested).powf(1.0 / p),
            _ => nominal,
        }
    }

    /// Seconds of light for so many stops of effect more than `seconds` have.
    fn seconds_at(&self, seconds: f64, stops: f64) -> f64 {
        seconds * (stops / self.reciprocity.unwrap_or(1.0)).exp2()
    }

    /// Lamp time at stops of need around those that `seconds` of light were worked out for.
    fn in_seconds(&self, stops: &Estimate, centre: f64, seconds: f64, lag: f64) -> Estimate {
        let time = |stops: f64| self.seconds_at(seconds, stops - centre) + lag;
        let slope = seconds * std::f64::consts::LN_2 / self.reciprocity.unwrap_or(1.0);
        stops.map(time, slope)
    }
}

fn tone_shift(basis: &Basis, aim: Aim, findings: &mut Vec<Finding>) -> ToneShift {
    let none = ToneShift {
        net_density: Tone::Middle.net(),
        stops: 0.0,
        variance: 0.0,
    };
    let found = match aim {
        Aim::SpeedPoint => Some(none),
        Aim::Highlights => basis.tone_shift(Tone::HIGHLIGHTS),
        Aim::Shadows => basis.tone_shift(Tone::SHADOWS),
        Aim::Net(net) => basis.tone_shift(net),
        Aim::WholeScale => basis.whole_scale(),
    };
    found.unwrap_or_else(|| {
        findings.push(notes::aim_not_compared(aim, basis));
        none
    })
}

fn doubts(basis: &Basis, at_tone: &Predictive, click: f64, lag: f64) -> Vec<Doubt> {
    let mut doubts = vec![];
    let mut add = |what: &str, stops: f64| {
        if stops > 1e-4 {
            doubts.push(Doubt {
                what: what.into(),
                stops,
            });
        }
    };
    match basis.origin {
        Origin::OneSession(session) => {
            let measured = (at_tone.spread().powi(2) - session * session)
                .max(0.0)
                .sqrt();
            add("what the test strips tell", measured);
            add(
                "from the test session to this one (taken, not measured)",
                session,
            );
        }
        Origin::Sessions(_) => add(
            "from session to session, and what the strips tell",
            at_tone.half_width() / 1.959_964,
        ),
    }
    add(notes::CLICK_STOPS, click);
    add("the lamp's lag", lag);
    add(
        "from piece to piece (taken, not measured)",
        basis.piece_scatter,
    );
    doubts.sort_by(|a, b| b.stops.total_cmp(&a.stops));
    doubts
}

fn bracket(planned: &PlannedExposure, seconds: f64, basis: &Basis, choices: &Choices) -> Bracket {
    let mut bracket = Bracket::new(
        &planned.need,
        basis.piece_scatter,
        choices.tolerance,
        choices.pieces,
        basis.pair_error,
    );
    bracket.times = bracket
        .stops
        .iter()
        .map(|&stops| basis.coating.seconds_at(seconds, stops) + basis.lag.0)
        .collect();
    bracket
}
