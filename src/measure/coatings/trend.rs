//! What another coat brings: a straight line through coatings of different thickness.

use nalgebra::{DMatrix, DVector};
use serde::Serialize;

use super::joint::Values;
use crate::measure::estimate::Estimate;
use crate::measure::pool::{chi_squared_above, chi_squared_quantile, normal_quantile};

/// Points of the drawn band.
const BAND_POINTS: usize = 25;

/// One point of the line with its band.
#[derive(Debug, Clone, Copy, PartialEq, Serialize)]
pub struct BandPoint {
    /// Coats, or wet weight.
    pub thickness: f64,
    /// The line there.
    pub value: f64,
    /// Lower edge of the band.
    pub lower: f64,
    /// Upper edge of the band.
    pub upper: f64,
}

/// A straight line through the coatings.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct Line {
    /// Change per coat, or per unit of wet weight, with its 95 % interval.
    pub slope: Estimate,
    /// The line with a band that holds the whole of it in 95 of 100 cases.
    pub band: Vec<BandPoint>,
    /// Chance of coatings as far from a straight line when it is one; `None` with two coatings
    /// only. Where it is small the slope and its band describe nothing.
    pub straight: Option<f64>,
}

/// The line through values at these thicknesses, by generalised least squares with their known
/// covariance.
///
/// The band is Working & Hotelling's (1929, J. Am. Stat. Assoc. 24:73) for known variances:
/// sqrt(chi squared of 2 at 95 %) = 2.45 standard errors, for all thicknesses at once. It does
/// not count that two coatings of equal thickness differ: with several coupons a thickness, that
/// shows in `straight`. `None` with fewer than two thicknesses or a covariance without inverse.
pub fn line(values: &Values, thickness: &[f64]) -> Option<Line> {
    let count = thickness.len();
    if count != values.values.len() || count < 2 {
        return None;
    }
    let (least, most) = thickness
        .iter()
        .fold((f64::INFINITY, f64::NEG_INFINITY), |(low, high), &t| {
            (low.min(t), high.max(t))
        });
    if !(most - least).is_finite() || most <= least {
        return None;
    }
    // About the middle, so that level and slope are numerically apart.
    let middle = (least + most) / 2.0;
    let design = DMatrix::from_fn(count, 2, |row, column| match column {
        0 => 1.0,
        _ => thickness[row] - middle,
    });
    let root = values.covariance.clone().cholesky()?;
    let weighted = root.solve(&design);
    let covariance = (design.tr_mul(&weighted)).try_inverse()?;
    let coefficients = &covariance * weighted.tr_mul(&values.values);
    let residuals = &values.values - &design * &coefficients;
    let misfit = residuals.dot(&root.solve(&residuals));
    let slope = coefficients[1];
    let error = covariance[(1, 1)].sqrt();
    let half = normal_quantile(0.975) * error;
    let wide = chi_squared_quantile(0.95, 2.0).sqrt();
    let band = (0..BAND_POINTS)
        .map(|point| {
            let share = point as f64 / (BAND_POINTS - 1) as f64;
            let thickness = least + (most - least) * share;
            let at = DVector::from_vec(vec![1.0, thickness - middle]);
            let value = at.dot(&coefficients);
            let half = wide * (covariance.clone() * &at).dot(&at).max(0.0).sqrt();
            BandPoint {
                thickness,
                value,
                lower: value - half,
                upper: value + half,
            }
        })
        .collect();
    Some(Line {
        slope: Estimate::between(slope, error, slope - half, slope + half),
        band,
        straight: (count > 2).then(|| chi_squared_above(misfit, count as f64 - 2.0)),
    })
}
