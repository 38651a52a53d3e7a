//! The characteristic curve's own formula and derivatives as a least-squares problem, for
//! published data that some of its curves fit.

use nalgebra::{DMatrix, DVector};
use twinstrip::measure::curve::model::{Derivatives, PARAMETERS};
use twinstrip::measure::least_squares::Problem;

/// One or several curves that share free parameters.
pub struct OurCurves {
    /// Which curve, log exposure and density.
    pub rows: Vec<(usize, f64, f64)>,
    /// For each curve: the curve's own parameter, and the free one that it is. The others are 0.
    pub places: Vec<[(usize, usize); 4]>,
    /// Net density of the anchor.
    pub anchor: f64,
}

/// All parameters of a curve from the free ones.
pub fn whole(places: &[(usize, usize)], free: &[f64]) -> [f64; PARAMETERS] {
    let mut whole = [0.0; PARAMETERS];
    for &(own, place) in places {
        whole[own] = free[place];
    }
    whole
}

impl Problem for OurCurves {
    fn residual_count(&self) -> usize {
        self.rows.len()
    }

    fn evaluate(
        &self,
        parameters: &DVector<f64>,
        residuals: &mut DVector<f64>,
        mut jacobian: Option<&mut DMatrix<f64>>,
    ) -> bool {
        let curves: Option<Vec<Derivatives>> = self
            .places
            .iter()
            .map(|places| Derivatives::new(&whole(places, parameters.as_slice()), self.anchor))
            .collect();
        let Some(curves) = curves else {
            return false;
        };
        if let Some(jacobian) = jacobian.as_deref_mut() {
            jacobian.fill(0.0);
        }
        for (i, &(curve, x, density)) in self.rows.iter().enumerate() {
            let (fitted, by, _) = curves[curve].at(x);
            residuals[i] = fitted - density;
            if let Some(jacobian) = jacobian.as_deref_mut() {
                for (own, place) in self.places[curve] {
                    jacobian[(i, place)] = by[own];
                }
            }
        }
        residuals.iter().all(|residual| residual.is_finite())
    }
}
