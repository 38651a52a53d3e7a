//! The curves of ICC profiles (ICC.1:2022, 10.6 curveType and 10.18 parametricCurveType).
//!
//! Evaluated here rather than by the colour engine, whose quick powers are far off at black.

use moxcms::{ParametricCurve, ToneReprCurve};

/// A curve from 0 to 1, as a function.
pub(super) fn function(curve: &ToneReprCurve) -> Option<Box<dyn Fn(f64) -> f64>> {
    match curve {
        ToneReprCurve::Lut(values) => match *values.as_slice() {
            [] => Some(Box::new(|share| share)),
            [gamma] => {
                let gamma = f64::from(gamma) / 256.0;
                Some(Box::new(move |share| share.powf(gamma)))
            }
            ref values => {
                let values: Vec<f64> = values.iter().map(|&v| f64::from(v) / 65_535.0).collect();
                Some(Box::new(move |share| between(&values, share)))
            }
        },
        ToneReprCurve::Parametric(numbers) => {
            let parts = (!numbers.is_empty()).then(|| ParametricCurve::new(numbers))??;
            let [g, a, b, c, d, e, f] = [
                parts.g, parts.a, parts.b, parts.c, parts.d, parts.e, parts.f,
            ]
            .map(f64::from);
            Some(Box::new(move |share| {
                if share < d {
                    c * share + f
                } else {
                    (a * share + b).max(0.0).powf(g) + e
                }
            }))
        }
    }
}

/// A curve given by evenly spaced values, at a share of its length.
pub(super) fn between(curve: &[f64], share: f64) -> f64 {
    let place = share.clamp(0.0, 1.0) * (curve.len() - 1) as f64;
    let below = place.floor() as usize;
    let above = (below + 1).min(curve.len() - 1);
    curve[below] + (curve[above] - curve[below]) * (place - below as f64)
}

#[cfg(test)]
mod tests {
    use super::*;

    fn at(curve: ToneReprCurve, share: f64) -> f64 {
        function(&curve).unwrap()(share)
    }

    #[test]
    fn curves_of_all_types_are_what_the_standard_says() {
        assert_eq!(at(ToneReprCurve::Lut(vec![]), 0.3), 0.3);
        assert_eq!(at(ToneReprCurve::Lut(vec![512]), 0.5), 0.25);
        assert_eq!(at(ToneReprCurve::Lut(vec![512]), 0.0), 0.0);
        assert_eq!(at(ToneReprCurve::Lut(vec![0, 0, 65_535]), 0.75), 0.5);
        let close = |numbers: &[f32], share: f64, right: f64| {
            let found = at(ToneReprCurve::Parametric(numbers.to_vec()), share);
            assert!(
                (found - right).abs() < 1e-6,
                "{numbers:?} at {share}: {found}"
            );
        };
        close(&[2.0], 0.5, 0.25);
        // Type 1: 0 below -b/a.
        close(&[2.0, 1.25, -0.25], 0.1, 0.0);
        close(&[2.0, 1.25, -0.25], 0.6, 0.25);
        // Type 2: c below -b/a, and added above.
        close(&[2.0, 1.25, -0.25, 0.1], 0.1, 0.1);
        close(&[2.0, 1.25, -0.25, 0.1], 0.6, 0.35);
        // Type 3: a line below d.
        close(&[2.0, 1.0, 0.0, 0.5, 0.2], 0.1, 0.05);
        close(&[2.0, 1.0, 0.0, 0.5, 0.2], 0.5, 0.25);
        // Type 4: with e above and f below.
        close(&[2.0, 1.0, 0.0, 0.5, 0.2, 0.1, 0.05], 0.1, 0.1);
        close(&[2.0, 1.0, 0.0, 0.5, 0.2, 0.1, 0.05], 0.5, 0.35);
    }

    #[test]
    fn a_parametric_curve_without_numbers_is_none() {
        assert!(function(&ToneReprCurve::Parametric(Vec::new())).is_none());
        assert!(function(&ToneReprCurve::Parametric(vec![1.0, 2.0])).is_none());
    }
}
