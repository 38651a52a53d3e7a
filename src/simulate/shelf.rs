//! Practice sessions that repeat one test: the same slate coatings against the same paper, with
//! known differences from session to session, known drift and known fog.

use rand::SeedableRng as _;
use rand_chacha::ChaCha8Rng;
use rand_distr::{Distribution as _, StandardNormal};
use serde::{Deserialize, Serialize};

use super::recipe::{Level, Material, Materials, Recipe};

/// Stops that a session shifts all coats (standard deviation).
pub const BETWEEN_STOPS: f64 = 0.08;
/// Stops that it shifts each coat on top.
pub const OWN_STOPS: f64 = 0.03;
/// ISO range that it shifts each coat.
pub const BETWEEN_RANGE: f64 = 2.0;
/// Dmax that it shifts each coat.
pub const BETWEEN_DMAX: f64 = 0.02;
/// Days from session to session.
pub const DAYS_APART: i64 = 14;

/// What to repeat.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct Series {
    /// Same series, same scans.
    pub seed: u64,
    /// How difficult.
    pub level: Level,
    /// How many sessions.
    pub sessions: usize,
    /// Coatings of one coat, two coats and so on.
    pub coats: usize,
    /// Stops by which the emulsion gets slower from session to session.
    pub drift: f64,
    /// Density by which the coats' Dmin rises from session to session: the emulsion is melted
    /// again before each.
    pub fog: f64,
    /// Resolution, dots per inch.
    pub dpi: f64,
}

/// One session of the series.
#[derive(Debug, Clone, PartialEq)]
pub struct Repeat {
    /// Its scans.
    pub recipe: Recipe,
    /// Days after the first session.
    pub day: i64,
    /// How many times the emulsion had been melted again.
    pub remelts: u32,
}

/// What is true of the series.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct SeriesTruth {
    /// What was asked.
    pub series: Series,
    /// Standard deviation between sessions of a coat's stops, drift left out.
    pub between_stops: f64,
    /// The materials on average over all sessions that there could be, before drift and fog.
    pub materials: Materials,
    /// The materials as they were in each session.
    pub sessions: Vec<Vec<Material>>,
}

/// What a coat count is called.
pub fn coat_name(coats: usize) -> String {
    let count = match coats {
        1 => "one coat".to_owned(),
        2 => "two coats".to_owned(),
        3 => "three coats".to_owned(),
        many => format!("{many} coats"),
    };
    format!("slate, {count}")
}

/// The paper, and coatings of 1 to `coats` coats: more coats are faster and blacker, each less
/// so than the one before.
fn materials(series: &Series) -> Materials {
    let coat = |number: usize| {
        let gained = 1.0 - 0.4f64.powi(number as i32 - 1);
        Material {
            name: coat_name(number),
            stops: 2.9 - 0.45 * gained,
            dmin: 0.11 + 0.01 * number as f64,
            dmax: 1.38 + 0.45 * gained,
            range: 118.0 - 10.0 * gained,
        }
    };
    Materials {
        seed: series.seed,
        paper: Material {
            name: "fibre paper".into(),
            stops: 0.0,
            dmin: 0.06,
            dmax: 2.0,
            range: 96.0,
        },
        coats: (1..=series.coats).map(coat).collect(),
    }
}

/// Plans the sessions.
pub fn plan(series: &Series) -> (Vec<Repeat>, SeriesTruth) {
    let usual = materials(series);
    let mut rng = ChaCha8Rng::seed_from_u64(series.seed);
    rng.set_stream(7);
    let mut normal = || -> f64 { StandardNormal.sample(&mut rng) };
    let mut repeats = Vec::new();
    let mut sessions = Vec::new();
    for number in 0..series.sessions {
        let shared = BETWEEN_STOPS * normal();
        let passed = number as f64;
        let mut now = usual.clone();
        for coat in &mut now.coats {
            coat.stops += shared + OWN_STOPS * normal() + series.drift * passed;
            coat.range += BETWEEN_RANGE * normal();
            coat.dmax += BETWEEN_DMAX * normal();
            coat.dmin += series.fog * passed;
        }
        sessions.push(now.coats.clone());
        let mut recipe = Recipe::new(series.level, series.seed + number as u64);
        recipe.materials = Some(now);
        recipe.dpi = Some(series.dpi);
        recipe.slate = Some(true);
        recipe.colour = Some(false);
        repeats.push(Repeat {
            recipe,
            day: DAYS_APART * number as i64,
            remelts: number as u32,
        });
    }
    let truth = SeriesTruth {
        series: series.clone(),
        between_stops: BETWEEN_STOPS.hypot(OWN_STOPS),
        materials: usual,
        sessions,
    };
    (repeats, truth)
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::simulate::make;

    fn series() -> Series {
        Series {
            seed: 7,
            level: Level::Easy,
            sessions: 3,
            coats: 2,
            drift: 0.5,
            fog: 0.04,
            dpi: 50.0,
        }
    }

    #[test]
    fn sessions_differ_by_drift_and_chance_and_the_scans_have_what_is_said() {
        let (repeats, truth) = plan(&series());
        assert_eq!(repeats, plan(&series()).0);
        for (repeat, said) in repeats.iter().zip(&truth.sessions) {
            let practice = make(&repeat.recipe);
            assert_eq!(practice.truth.pairs.len(), 2);
            for pair in &practice.truth.pairs {
                // Strips lie in any order.
                let strip = &practice.truth.strips[pair.coupon];
                let coat = said.iter().find(|coat| coat.name == strip.name).unwrap();
                assert!((pair.stops - coat.stops).abs() < 1e-6, "{pair:?} {coat:?}");
                assert!((strip.curve.dmax - coat.dmax).abs() < 1e-6);
            }
        }
        let drift = truth.sessions[2][0].stops - truth.sessions[0][0].stops;
        // Two steps of drift, give or take four standard deviations of the difference.
        assert!((drift - 1.0).abs() < 4.0 * truth.between_stops * 2f64.sqrt());
        let fog = truth.sessions[2][0].dmin - truth.sessions[0][0].dmin;
        assert!((fog - 0.08).abs() < 1e-12);
    }
}
