//! Which aperture: times that a hand can keep, within what was tested, with depth enough.

use super::basis::Basis;
use super::optics::depth_of_focus;
use super::piece::Piece;
use super::place::Place;
use super::planned::Choices;
use super::recipe::Recipe;
use crate::measure::exposure::Aperture;

/// Shortest burn or dodge that a hand can do, seconds (common practice, no source).
pub(super) const SHORTEST_CHANGE: f64 = 1.5;
/// Full stops as engraved.
const FULL_STOPS: [f64; 12] = [
    1.4, 2.0, 2.8, 4.0, 5.6, 8.0, 11.0, 16.0, 22.0, 32.0, 45.0, 64.0,
];

/// f-numbers closer than this share are the same setting.
const SAME_APERTURE: f64 = 0.01;

/// What the choice is made from.
pub(super) struct Light<'a> {
    pub(super) recipe: &'a Recipe,
    pub(super) piece: &'a Piece,
    pub(super) basis: &'a Basis,
    pub(super) choices: &'a Choices,
    pub(super) place: &'a Place,
    /// Seconds of light at an aperture.
    pub(super) seconds: &'a dyn Fn(&Aperture) -> f64,
    /// Standard deviation of what is foreseen but for the click stops, stops.
    pub(super) spread: f64,
}

/// Something that speaks against an aperture: how much, in stops, and why.
struct Against {
    stops: f64,
    why: String,
}

impl Light<'_> {
    fn against(&self, aperture: &Aperture) -> Vec<Against> {
        let mut all = vec![];
        let mut add = |weight: f64, beyond: f64, why: String| {
            if beyond > 1.0 {
                all.push(Against {
                    stops: weight * beyond.log2(),
                    why,
                });
            }
        };
        let time = (self.seconds)(aperture) + self.basis.lag.0;
        let name = aperture.written();
        let (shortest, longest) = self.choices.times;
        add(
            4.0,
            shortest / time,
            format!("at {name} the {time:.1} s would be too short to time by hand"),
        );
        add(
            3.0,
            time / longest,
            format!("at {name} the {time:.0} s would be longer than {longest:.0} s"),
        );
        let lag = self.basis.lag.0;
        let shortest_change = self
            .recipe
            .changes
            .iter()
            .map(|change| {
                let stops = self.recipe.stops_of(change, lag);
                ((stops.exp2() - 1.0) * time).abs()
            })
            .fold(f64::INFINITY, f64::min);
        add(
            2.0,
            SHORTEST_CHANGE / shortest_change,
            format!(
                "at {name} the shortest burn or dodge, {shortest_change:.1} s, would be hurried"
            ),
        );
        let (first, last) = self.basis.coating.times;
        add(
            1.5,
            (first / time).max(time / last),
            format!(
                "at {name} the {time:.1} s would lie outside the {first:.1} to {last:.1} s tested"
            ),
        );
        if let Some(m) = self.place.on_piece() {
            let depth = depth_of_focus(aperture.exact, self.choices.blur, m);
            let rise = self.piece.rise;
            add(
                4.0,
                rise / depth,
                format!(
                    "at {name} a depth of focus of {depth:.1} mm would not hold the piece's {rise:.1} mm"
                ),
            );
        }
        all
    }

    /// Everything against an aperture as one number; the click stops' error counts for what it
    /// adds to the doubt.
    fn cost(&self, aperture: &Aperture) -> f64 {
        let against: f64 = self.against(aperture).iter().map(|a| a.stops).sum();
        let moved = 2.0 * (aperture.exact / self.recipe.aperture.exact).log2().abs();
        let click = click_error(self.basis, self.recipe.aperture.exact, aperture.exact);
        let click = self.spread.hypot(click) - self.spread;
        against + 10.0 * click + 0.02 * moved
    }
}

/// The aperture for the piece, and why.
pub(super) fn choose(light: &Light<'_>) -> (Aperture, String) {
    if let Some(aperture) = light.choices.aperture {
        return (aperture, "chosen by you".into());
    }
    let own = light.recipe.aperture;
    let (widest, smallest) = light.choices.lens;
    let others = FULL_STOPS
        .into_iter()
        .filter(|engraved| (widest..=smallest).contains(engraved))
        .filter_map(|engraved| Aperture::engraved(engraved).ok());
    let (mut best, mut cost) = (own, light.cost(&own));
    for aperture in others {
        let other = light.cost(&aperture);
        if other < cost - 1e-9 {
            (best, cost) = (aperture, other);
        }
    }
    let why = if best == own {
        match light.against(&own).first() {
            None => "as for the paper, so that the click stops drop out".into(),
            Some(against) => format!("none is better, though {}", against.why),
        }
    } else {
        light
            .against(&own)
            .into_iter()
            .max_by(|a, b| a.stops.total_cmp(&b.stops))
            .map_or_else(String::new, |against| against.why)
    };
    (best, why)
}

fn same(a: f64, b: f64) -> bool {
    (a / b).ln().abs() <= SAME_APERTURE
}

/// Error that the click stops add to the plan, in stops.
///
/// Each engraved stop has an error of its own, the same whenever it is set; the difference of
/// two has the standard error `click_error`. What the plan needs is e(N_e) - e(N_p) less what the
/// tests' stops did to the ratio, e(N_c) - e(N_r) with c and r the tested coupon and reference, of
/// several sessions each by its share: stops that meet themselves drop out.
pub(super) fn click_error(basis: &Basis, on_paper: f64, on_coating: f64) -> f64 {
    let mut weights: Vec<(f64, f64)> = vec![];
    let plan = [(on_coating, 1.0), (on_paper, -1.0)];
    for (f_number, weight) in plan.into_iter().chain(basis.clicks.iter().copied()) {
        match weights.iter_mut().find(|(other, _)| same(*other, f_number)) {
            Some((_, sum)) => *sum += weight,
            None => weights.push((f_number, weight)),
        }
    }
    let squares: f64 = weights.iter().map(|(_, weight)| weight * weight).sum();
    basis.click_error * (squares / 2.0).sqrt()
}
