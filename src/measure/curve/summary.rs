//! From draws to a value with its 95 % bounds.

use crate::measure::estimate::{End, Estimate, Gap};

/// Share of the draws beyond each bound: bounds of 95 %.
const BEYOND: f64 = 0.025;

/// Quantile of values that may be infinite, by linear interpolation; reorders them.
///
/// `None` without values.
pub(crate) fn quantile(values: &mut [f64], share: f64) -> Option<f64> {
    if values.is_empty() {
        return None;
    }
    let place = share * (values.len() - 1) as f64;
    let below = place.floor() as usize;
    let (_, &mut low, rest) = values.select_nth_unstable_by(below, f64::total_cmp);
    let high = rest.iter().copied().fold(f64::INFINITY, f64::min);
    let part = place - below as f64;
    if part == 0.0 || !low.is_finite() || !high.is_finite() {
        Some(low)
    } else {
        Some(low + part * (high - low))
    }
}

/// Median and standard deviation of the finite values; `None` if the median is not finite.
fn centre(values: &mut [f64]) -> Option<(f64, f64)> {
    let median = quantile(values, 0.5).filter(|m| m.is_finite())?;
    let finite = values.iter().filter(|v| v.is_finite());
    let count = finite.clone().count() as f64;
    let mean = finite.clone().sum::<f64>() / count;
    let variance = finite.map(|v| (v - mean).powi(2)).sum::<f64>() / count;
    Some((median, variance.sqrt()))
}

fn end(values: &mut [f64], share: f64, open: Option<Gap>) -> End {
    match (open, quantile(values, share)) {
        (Some(gap), _) => End::Open(gap),
        (None, Some(value)) if value.is_finite() => End::At(value),
        (None, _) => End::Open(Gap::NotMeasured),
    }
}

/// Median, standard deviation and 95 % bounds of draws; reorders them.
pub(crate) fn estimate(values: &mut [f64]) -> Estimate {
    match centre(values) {
        Some((median, error)) => Estimate {
            value: Some(median),
            standard_error: Some(error),
            lower: end(values, BEYOND, None),
            upper: end(values, 1.0 - BEYOND, None),
        },
        None => Estimate::absent(Gap::NotMeasured),
    }
}

/// Only the ends that are not open, and no value; reorders the draws.
pub(crate) fn one_sided(values: &mut [f64], lower: Option<Gap>, upper: Option<Gap>) -> Estimate {
    Estimate {
        value: None,
        standard_error: None,
        lower: end(values, BEYOND, lower),
        upper: end(values, 1.0 - BEYOND, upper),
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_quantile_lies_between_its_neighbours() {
        let mut values = [4.0, 1.0, 3.0, 2.0, 5.0];
        assert_eq!(quantile(&mut values, 0.5), Some(3.0));
        assert_eq!(quantile(&mut values, 0.125), Some(1.5));
        assert_eq!(quantile(&mut values, 1.0), Some(5.0));
        assert_eq!(quantile(&mut [], 0.5), None);
    }

    #[test]
    fn infinite_draws_leave_the_end_open() {
        let mut values: Vec<f64> = (0..100).map(f64::from).collect();
        values[90..].fill(f64::INFINITY);
        let found = estimate(&mut values);
        assert_eq!(found.upper, End::Open(Gap::NotMeasured));
        assert!(found.lower.at().is_some_and(|lower| lower < 5.0));
    }
}
