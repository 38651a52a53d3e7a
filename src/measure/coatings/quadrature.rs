//! Integrals over smooth functions, by Gauss and Legendre's rule on equal panels.

/// Nodes a panel.
const NODES: usize = 16;

/// Nodes and weights of a composite rule over an interval.
#[derive(Debug, Clone)]
pub(super) struct Rule {
    /// Places and their weights.
    pub(super) nodes: Vec<(f64, f64)>,
}

impl Rule {
    /// The rule on `panels` equal parts of `low` to `high`.
    pub(super) fn new(low: f64, high: f64, panels: usize) -> Self {
        let unit = legendre();
        let width = (high - low) / panels as f64;
        let nodes = (0..panels)
            .flat_map(|panel| {
                let middle = low + width * (panel as f64 + 0.5);
                unit.iter()
                    .map(move |&(x, w)| (middle + x * width / 2.0, w * width / 2.0))
            })
            .collect();
        Self { nodes }
    }

    /// The integral of a function.
    pub(super) fn integral(&self, of: impl Fn(f64) -> f64) -> f64 {
        self.nodes.iter().map(|&(x, w)| w * of(x)).sum()
    }
}

/// Roots of the Legendre polynomial of degree [`NODES`] by Newton's method, and their weights
/// 2 / ((1 - x^2) P'(x)^2) (any handbook, e.g. DLMF 3.5).
fn legendre() -> Vec<(f64, f64)> {
    let degree = NODES as f64;
    (0..NODES)
        .map(|index| {
            let mut x = (std::f64::consts::PI * (index as f64 + 0.75) / (degree + 0.5)).cos();
            let mut slope = 1.0;
            for _ in 0..100 {
                let (mut before, mut value) = (1.0, x);
                for n in 2..=NODES {
                    let n = n as f64;
                    (before, value) = (
                        value,
                        ((2.0 * n - 1.0) * x * value - (n - 1.0) * before) / n,
                    );
                }
                slope = degree * (x * value - before) / (x * x - 1.0);
                let step = value / slope;
                x -= step;
                if step.abs() < 1e-15 {
                    break;
                }
            }
            (x, 2.0 / ((1.0 - x * x) * slope * slope))
        })
        .collect()
}

/// The `x` at which a rising function reaches `wanted`, by halving between 0 and a `high` that
/// is doubled until it is high enough.
pub(super) fn rising_to(wanted: f64, of: impl Fn(f64) -> f64) -> f64 {
    let mut high = 4.0;
    while of(high) < wanted && high < 1e6 {
        high *= 2.0;
    }
    let mut low = 0.0;
    while high - low > 1e-9 * high {
        let middle = (low + high) / 2.0;
        if of(middle) < wanted {
            low = middle;
        } else {
            high = middle;
        }
    }
    (low + high) / 2.0
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_rule_is_exact_for_what_has_a_closed_form() {
        let rule = Rule::new(0.0, 2.0, 1);
        assert!((rule.integral(|x| x.powi(31)) / (2f64.powi(32) / 32.0) - 1.0).abs() < 1e-12);
        assert!((rule.integral(f64::exp) - (2f64.exp() - 1.0)).abs() < 1e-13);
    }
}
