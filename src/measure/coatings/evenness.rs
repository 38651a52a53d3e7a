//! How even a coating is: mottle by scale and the direction of streaks, from small cells inside
//! the steps.

use nalgebra::{Matrix3, Vector3};
use serde::Serialize;
use statrs::distribution::{ContinuousCDF as _, FisherSnedecor};

use crate::measure::geometry::{Field, StripShape};
use crate::measure::raster::{Channel, Raster};
use crate::measure::reading::Cell;
use crate::measure::reading::cells::{self, CellOptions};
use crate::measure::watch::{Cancelled, Watch};

/// Side of the cells looked at, millimetres: pixels' noise averages out, brush marks don't.
const SIDE_MM: f64 = 1.2;
/// Most cells of a strip.
const MOST_CELLS: usize = 1500;
/// Cells with more than this share of their pixels rejected say more of a bubble.
const MOST_REJECTED: f64 = 0.3;
/// Distances that mottle is told for: each from one number to the next, millimetres.
const DISTANCES_MM: [f64; 5] = [1.0, 2.5, 5.0, 10.0, 20.0];
/// Farthest apart that two cells tell the direction of streaks, millimetres.
const STREAKS_MM: f64 = 6.0;
/// Cells a field needs to take part.
const FEWEST_CELLS: usize = 8;
/// Fields needed before the direction of streaks is told.
const FEWEST_FIELDS: usize = 4;
/// Chance of a direction as marked in a coat without streaks, below which streaks are told.
const BY_CHANCE: f64 = 0.01;

/// How much places some way apart differ.
#[derive(Debug, Clone, Copy, PartialEq, Serialize)]
pub struct Mottle {
    /// Distance of the places, millimetres: from,
    pub from_mm: f64,
    /// to.
    pub to_mm: f64,
    /// Standard deviation of density that shows between places so far apart, the scan's noise
    /// taken off; two places differ by 1.4 times as much.
    pub density: f64,
    /// Its standard error, from the scatter among the steps.
    pub standard_error: f64,
}

/// Streaks of brush, rod or flow.
#[derive(Debug, Clone, Copy, PartialEq, Serialize)]
pub struct Streaks {
    /// Direction of the streaks in degrees, from 0 to 180: 0 is along the strip, 90 across it,
    /// turning from along towards the strip's right side.
    pub degrees: f64,
    /// How marked the direction is: 0 as uneven in every direction, 1 for streaks broader than
    /// 6 mm along which nothing changes; narrow ones have less.
    pub strength: f64,
    /// Chance of a direction as marked in a coat that has none.
    pub p: f64,
    /// Whether that is small enough to speak of streaks.
    pub told: bool,
}

/// How even a coating is.
#[derive(Debug, Clone, PartialEq, Default, Serialize)]
pub struct Evenness {
    /// Mottle by distance, near to far.
    pub mottle: Vec<Mottle>,
    /// Streaks, where enough steps can be looked at.
    pub streaks: Option<Streaks>,
}

/// A cell as far as evenness goes.
#[derive(Debug, Clone, Copy)]
pub(super) struct Place {
    pub(super) field: usize,
    pub(super) at_mm: (f64, f64),
    pub(super) density: f64,
    pub(super) error: f64,
}

/// Looks at the steps of a strip that are listed (fields of the shape); `density` takes a scanner
/// density to a density.
///
/// # Errors
/// [`Cancelled`] when the watch says so.
pub fn evenness(
    raster: &Raster,
    shape: &StripShape,
    fields: &[usize],
    channel: Channel,
    density: &dyn Fn(f64) -> f64,
    watch: &dyn Watch,
) -> Result<Evenness, Cancelled> {
    let options = CellOptions {
        side_mm: SIDE_MM,
        most: MOST_CELLS,
        ..CellOptions::default()
    };
    let cells = cells::measure(raster, shape, channel, &options, watch)?;
    let place = |cell: &Cell| {
        let usable = cell.light > 0.0 && cell.rejected <= MOST_REJECTED;
        let is_step = matches!(shape.fields.get(cell.field), Some(Field::Step(_)));
        let scanner = -cell.light.log10();
        (usable && is_step && fields.contains(&cell.field)).then(|| Place {
            field: cell.field,
            at_mm: cell.at_mm,
            density: density(scanner),
            error: (density(scanner + 1e-3) - density(scanner - 1e-3)) / 2e-3 * cell.light_error
                / (cell.light * std::f64::consts::LN_10),
        })
    };
    let places: Vec<Place> = cells.iter().filter_map(place).collect();
    Ok(of_places(places))
}

/// The same from places already read; those of a field stand together.
pub(super) fn of_places(places: Vec<Place>) -> Evenness {
    let fields: Vec<Vec<Place>> = places
        .chunk_by(|a, b| a.field == b.field)
        .filter(|field| field.len() >= FEWEST_CELLS)
        .map(<[Place]>::to_vec)
        .collect();
    Evenness {
        mottle: DISTANCES_MM
            .windows(2)
            .filter_map(|span| mottle(&fields, span[0], span[1]))
            .collect(),
        streaks: streaks(&fields),
    }
}

/// Squared differences of all pairs of a field: way along and across, and its square.
fn pairs(field: &[Place]) -> impl Iterator<Item = ((f64, f64), f64, f64)> {
    field.iter().enumerate().flat_map(move |(index, a)| {
        field[index + 1..].iter().map(move |b| {
            let way = (b.at_mm.0 - a.at_mm.0, b.at_mm.1 - a.at_mm.1);
            let noise = a.error.powi(2) + b.error.powi(2);
            (way, (b.density - a.density).powi(2), noise)
        })
    })
}

/// Half the mean square difference of places so far apart (Matheron's estimator of the
/// semivariogram; any handbook of geostatistics), over the fields.
fn mottle(fields: &[Vec<Place>], from_mm: f64, to_mm: f64) -> Option<Mottle> {
    let of_field = |field: &Vec<Place>| {
        let (mut sum, mut count) = (0.0, 0usize);
        for (way, square, noise) in pairs(field) {
            let distance = way.0.hypot(way.1);
            if (from_mm..to_mm).contains(&distance) {
                sum += (square - noise) / 2.0;
                count += 1;
            }
        }
        (count >= FEWEST_CELLS).then(|| sum / count as f64)
    };
    let found: Vec<f64> = fields.iter().filter_map(of_field).collect();
    let count = found.len() as f64;
    if found.is_empty() {
        return None;
    }
    let mean = found.iter().sum::<f64>() / count;
    let squares: f64 = found.iter().map(|variance| (variance - mean).powi(2)).sum();
    let error = (squares / (count - 1.0).max(1.0) / count).sqrt();
    let density = mean.max(0.0).sqrt();
    Some(Mottle {
        from_mm,
        to_mm,
        density,
        standard_error: (mean.max(0.0) + error).sqrt() - density,
    })
}

/// The direction in which places differ least.
///
/// A plane is taken off each field (fall-off of light isn't a streak). Squared differences over
/// the mean of their distance are put on 1, cos 2a and sin 2a of their direction a, field by
/// field; the mean over fields of the last two, against their scatter, is Hotelling's T squared
/// (1931, Ann. Math. Stat. 2:360).
fn streaks(fields: &[Vec<Place>]) -> Option<Streaks> {
    let flat: Vec<Vec<Place>> = fields
        .iter()
        .filter_map(|field| without_plane(field))
        .collect();
    let near = |way: (f64, f64)| way.0.hypot(way.1) <= STREAKS_MM;
    // The mean square by distance, in quarters of the reach, over all fields.
    let bin = |way: (f64, f64)| (way.0.hypot(way.1) / STREAKS_MM * 4.0) as usize;
    let vectors: Vec<(f64, f64)> = flat
        .iter()
        .filter_map(|field| {
            let (mut sums, mut counts) = ([0.0; 5], [0.0f64; 5]);
            for (way, square, _) in pairs(field).filter(|pair| near(pair.0)) {
                sums[bin(way)] += square;
                counts[bin(way)] += 1.0;
            }
            let mut normal = Matrix3::zeros();
            let mut right = Vector3::zeros();
            for (way, square, _) in pairs(field).filter(|pair| near(pair.0)) {
                let mean = sums[bin(way)] / counts[bin(way)];
                let twice = 2.0 * way.1.atan2(way.0);
                let row = Vector3::new(1.0, twice.cos(), twice.sin());
                normal += row * row.transpose();
                right += row * (square / mean);
            }
            let found = normal.try_inverse()? * right;
            let usable = found.iter().all(|value| value.is_finite()) && found[0] > 0.0;
            usable.then(|| (-found[1] / found[0], -found[2] / found[0]))
        })
        .collect();
    direction(&vectors)
}

/// Mean of the fields' directions and its chance.
fn direction(vectors: &[(f64, f64)]) -> Option<Streaks> {
    if vectors.len() < FEWEST_FIELDS {
        return None;
    }
    let count = vectors.len() as f64;
    let mean = |of: &dyn Fn(&(f64, f64)) -> f64| vectors.iter().map(of).sum::<f64>() / count;
    let (c, s) = (mean(&|v| v.0), mean(&|v| v.1));
    let spread = |of: &dyn Fn(&(f64, f64)) -> f64| mean(of) * count / (count - 1.0);
    let (cc, ss, cs) = (
        spread(&|v| (v.0 - c).powi(2)),
        spread(&|v| (v.1 - s).powi(2)),
        spread(&|v| (v.0 - c) * (v.1 - s)),
    );
    let determinant = cc * ss - cs * cs;
    if determinant <= 0.0 {
        return None;
    }
    let t_squared = count * (c * c * ss - 2.0 * c * s * cs + s * s * cc) / determinant;
    let f = t_squared * (count - 2.0) / (2.0 * (count - 1.0));
    let p = FisherSnedecor::new(2.0, count - 2.0).ok()?.sf(f);
    let degrees = (s.atan2(c) / 2.0).to_degrees();
    Some(Streaks {
        degrees: degrees.rem_euclid(180.0),
        strength: c.hypot(s).min(1.0),
        p,
        told: p < BY_CHANCE,
    })
}

/// The field with its best plane taken off.
fn without_plane(field: &[Place]) -> Option<Vec<Place>> {
    let count = field.len() as f64;
    let mean = |of: &dyn Fn(&Place) -> f64| field.iter().map(of).sum::<f64>() / count;
    let middle = (mean(&|p| p.at_mm.0), mean(&|p| p.at_mm.1));
    let mut normal = Matrix3::zeros();
    let mut right = Vector3::zeros();
    let row = |p: &Place| Vector3::new(1.0, p.at_mm.0 - middle.0, p.at_mm.1 - middle.1);
    for place in field {
        normal += row(place) * row(place).transpose();
        right += row(place) * place.density;
    }
    let plane = normal.try_inverse()? * right;
    let flat = field.iter().map(|place| Place {
        density: place.density - row(place).dot(&plane),
        ..*place
    });
    Some(flat.collect())
}
