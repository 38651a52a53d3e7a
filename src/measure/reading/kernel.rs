//! The Matern 5/2 covariance: how alike a smooth coat is at two places.

/// Correlation at `distance` for correlation length `scale` (same unit), and its derivative
/// by the logarithm of the scale.
///
/// k = (1 + a + a^2/3) e^-a with a = sqrt(5) distance/scale; the field is twice
/// differentiable, as a coat levelled by surface tension is. Distance >= 0, scale > 0.
///
/// Source: Rasmussen & Williams 2006, Gaussian Processes for Machine Learning, eq. 4.17.
pub fn matern_52(distance: f64, scale: f64) -> (f64, f64) {
    let a = 5f64.sqrt() * distance / scale;
    let fall = (-a).exp();
    (
        (1.0 + a + a * a / 3.0) * fall,
        a * a / 3.0 * (1.0 + a) * fall,
    )
}

/// Derivative of the correlation by the first of two places on a line, `x - other` apart.
pub fn matern_52_slope(apart: f64, scale: f64) -> f64 {
    let a = 5f64.sqrt() * apart.abs() / scale;
    -5.0 / 3.0 * apart / (scale * scale) * (1.0 + a) * (-a).exp()
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_correlation_is_the_textbook_formula_at_one_scale() {
        // Rasmussen & Williams eq. 4.17 at r = l: (1 + sqrt5 + 5/3) exp(-sqrt5).
        let (k, _) = matern_52(8.0, 8.0);
        assert!((k - 0.523_994_108_831_820).abs() < 1e-12, "{k}");
        assert_eq!(matern_52(0.0, 8.0).0, 1.0);
    }

    #[test]
    fn derivatives_agree_with_differences() {
        let step = 1e-5;
        let by_scale = (matern_52(5.0, 8.0 * (1.0 + step)).0
            - matern_52(5.0, 8.0 * (1.0 - step)).0)
            / ((1.0 + step).ln() - (1.0 - step).ln());
        assert!((matern_52(5.0, 8.0).1 - by_scale).abs() < 1e-8);
        let by_place = (matern_52(5.0 + step, 8.0).0 - matern_52(5.0 - step, 8.0).0) / (2.0 * step);
        assert!((matern_52_slope(5.0, 8.0) - by_place).abs() < 1e-8);
        assert!((matern_52_slope(-5.0, 8.0) + by_place).abs() < 1e-8);
    }
}
