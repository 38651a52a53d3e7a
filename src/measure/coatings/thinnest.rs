//! The thinnest coat that is dark enough, and what it costs.

use serde::Serialize;

use super::draws::normal_draws;
use super::joint::Values;

/// Least chance of being dark enough for a coating to be proposed.
const LIKELY: f64 = 0.5;

/// Density below the best Dmax that still counts as equally dark, where nobody says: side by
/// side an eye hardly tells it (common practice, no source).
pub const DARK_ENOUGH: f64 = 0.05;

/// The thinnest coating that is dark enough.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct Thinnest {
    /// Which coating, from 0.
    pub coating: usize,
    /// Chance that its Dmax is within the tolerance of the best one's.
    pub confidence: f64,
    /// The same chance for every coating.
    pub chances: Vec<f64>,
}

/// The thinnest coating whose Dmax is more likely than not within `tolerance` of the best.
///
/// By draws of all Dmax from their joint normal distribution; in each the best is whichever
/// comes out darkest, so a coating is never held against one that only looks best by luck.
/// Among equally thin ones the likeliest is taken. `None` without coatings, or with a thickness
/// that is not a number.
pub fn thinnest(dmax: &Values, thickness: &[f64], tolerance: f64) -> Option<Thinnest> {
    let count = dmax.values.len();
    let known = thickness.iter().all(|thickness| thickness.is_finite());
    if count == 0 || thickness.len() != count || !known {
        return None;
    }
    let drawn = normal_draws(&dmax.covariance, f64::INFINITY).errors;
    let mut dark = vec![0usize; count];
    for draw in drawn.column_iter() {
        let densities = dmax.values.iter().zip(draw.iter()).map(|(v, e)| v + e);
        let best = densities.clone().fold(f64::NEG_INFINITY, f64::max);
        for (dark, density) in dark.iter_mut().zip(densities) {
            *dark += usize::from(density >= best - tolerance);
        }
    }
    let draws = drawn.ncols() as f64;
    let chances: Vec<f64> = dark.iter().map(|&dark| dark as f64 / draws).collect();
    let coating = (0..count)
        .filter(|&coating| chances[coating] >= LIKELY)
        .min_by(|&a, &b| {
            let thinner = thickness[a].total_cmp(&thickness[b]);
            thinner.then(chances[b].total_cmp(&chances[a]))
        })
        // Many coatings equally dark: none is likely the best, the likeliest is.
        .or_else(|| (0..count).max_by(|&a, &b| chances[a].total_cmp(&chances[b])))?;
    Some(Thinnest {
        coating,
        confidence: chances[coating],
        chances,
    })
}

/// How much liquid emulsion a coating took.
#[derive(Debug, Clone, Copy, PartialEq, Serialize)]
#[serde(rename_all = "kebab-case")]
pub enum Amount {
    /// Millilitres per square decimetre, all coats together.
    Millilitres(f64),
    /// Wet weight in grams per square decimetre, all coats together.
    Grams(f64),
}

/// Emulsion on a piece (millilitres or grams), and its price: `per_square_decimetre` of it on so
/// many square decimetres, at a price for a thousand (a litre or a kilogram).
///
/// Plain arithmetic; what stays in brush and tray is not counted.
pub fn on_piece(
    per_square_decimetre: f64,
    square_decimetres: f64,
    price_of_thousand: f64,
) -> (f64, f64) {
    let amount = per_square_decimetre * square_decimetres;
    (amount, amount / 1000.0 * price_of_thousand)
}
