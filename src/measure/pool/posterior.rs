//! The standard deviation between sessions as a posterior on a grid: for few sessions.

use serde::Serialize;
use statrs::function::gamma::ln_gamma;

use super::model::Model;
use super::student::{chi_squared_above, normal_below, student_quantile};
use crate::measure::estimate::Estimate;
use crate::measure::predictive::Predictive;

/// Degrees of freedom of the prior: tails heavy enough to give way to sessions that differ by
/// stops, and a variance that is finite.
const PRIOR_FREEDOM: f64 = 4.0;
/// Nodes of the grid.
const NODES: usize = 250;
/// Halvings of an interval when a quantile is looked for.
const HALVINGS: usize = 40;

/// What is believed of the standard deviation between sessions before they are seen: half a
/// Student t with 4 degrees of freedom.
///
/// Half of it lies below 0.74 of the scale, 95 % below 2.8 of it. The scales are common
/// practice, no source: a printmaker's repeats of a print's exposure mostly agree within a
/// third of a stop.
#[derive(Debug, Clone, Copy, PartialEq, Serialize)]
pub struct Prior {
    /// Scale, in the unit of the value.
    pub scale: f64,
}

impl Prior {
    /// Of a speed ratio in stops: half below 0.11, 95 % below 0.42 stop.
    pub const STOPS: Self = Self { scale: 0.15 };
    /// Of a contrast difference in ISO range units: half below 3, 95 % below 11.
    pub const RANGE: Self = Self { scale: 4.0 };
    /// Of a density: half below 0.02, 95 % below 0.08.
    pub const DENSITY: Self = Self { scale: 0.03 };

    /// Natural logarithm of the density at a standard deviation.
    fn ln_density(&self, deviation: f64) -> f64 {
        let t = deviation / self.scale;
        let half = (PRIOR_FREEDOM + 1.0) / 2.0;
        ln_gamma(half) - ln_gamma(PRIOR_FREEDOM / 2.0) - half * (t * t / PRIOR_FREEDOM).ln_1p()
            + (2.0 / self.scale).ln()
            - 0.5 * (PRIOR_FREEDOM * std::f64::consts::PI).ln()
    }
}

/// One node of the grid.
#[derive(Debug, Clone, Copy, PartialEq)]
struct Node {
    weight: f64,
    deviation: f64,
    /// Where the node's share of the half line ends; the last one's has no end.
    upper: f64,
    mean: f64,
    /// Standard error of the mean at this deviation, by what sessions don't share.
    error: f64,
    /// The same by the errors that they share.
    shared: f64,
}

/// The posterior of deviation between sessions and mean; the mean's prior is flat.
#[derive(Debug, Clone, PartialEq)]
pub struct Posterior {
    nodes: Vec<Node>,
}

impl Posterior {
    /// Integrates over the deviation between sessions numerically.
    ///
    /// The mean is integrated out in closed form: what is left of the likelihood is the
    /// restricted one.
    pub fn new(model: &Model, prior: Prior) -> Self {
        // deviation = scale u / (1 - u) brings the whole half line onto 0 to 1.
        let scale = prior.scale;
        let mut nodes: Vec<(f64, Node)> = (0..NODES)
            .map(|index| {
                let u = (index as f64 + 0.5) / NODES as f64;
                let at = |u: f64| scale * u / (1.0 - u);
                let deviation = at(u);
                let fit = model.fit(deviation * deviation);
                let ln = fit.log_likelihood + prior.ln_density(deviation) - 2.0 * (1.0 - u).ln();
                let node = Node {
                    weight: 0.0,
                    deviation,
                    upper: at((index + 1) as f64 / NODES as f64),
                    mean: fit.coefficients[0],
                    error: fit.own_error(0),
                    shared: fit.shared_error(0),
                };
                (ln, node)
            })
            .collect();
        let top = nodes.iter().fold(f64::NEG_INFINITY, |top, n| top.max(n.0));
        let mut sum = 0.0;
        for (ln, node) in &mut nodes {
            node.weight = (*ln - top).exp();
            sum += node.weight;
        }
        for (_, node) in &mut nodes {
            node.weight /= sum;
        }
        Self {
            nodes: nodes.into_iter().map(|(_, node)| node).collect(),
        }
    }

    /// The confidence distribution of the deviation between sessions instead of a posterior: no
    /// prior, for sessions enough to go without.
    ///
    /// At the true variance Q is a chi squared, so the confidence that the variance lies below
    /// some value is the chance of a chi squared above the Q there; what is left at 0 stays at
    /// 0. Predictions that put one estimated variance in the place of the true one hold in
    /// 82 to 95 of 100 cases where they claim 95 (docs/pooling.md); this is why they aren't
    /// used. Source: Nagashima, Noma & Furukawa 2019, Stat. Methods Med. Res. 28:1689.
    pub fn confidence(model: &Model) -> Self {
        let scale = model.spread() + model.largest_variance().sqrt();
        let freedom = model.freedom();
        let at = |u: f64| scale * u / (1.0 - u);
        let mut reached = 0.0;
        let nodes = (0..NODES).map(|index| {
            let upper = at((index + 1) as f64 / NODES as f64);
            // The first node holds what is left at 0.
            let deviation = match index {
                0 => 0.0,
                _ => at((index as f64 + 0.5) / NODES as f64),
            };
            let below = if upper.is_finite() {
                chi_squared_above(model.fit(upper * upper).q, freedom)
            } else {
                1.0
            };
            let fit = model.fit(deviation * deviation);
            let weight = (below - reached).max(0.0);
            reached = below;
            Node {
                weight,
                deviation,
                upper,
                mean: fit.coefficients[0],
                error: fit.own_error(0),
                shared: fit.shared_error(0),
            }
        });
        Self {
            nodes: nodes.collect(),
        }
    }

    /// The mean over sessions.
    pub fn mean(&self) -> Estimate {
        self.mixture(|node| node.error.hypot(node.shared))
    }

    /// Standard deviation between sessions: its median and 95 % interval.
    pub fn between(&self) -> Estimate {
        let mean = self.sum(|node| node.deviation);
        let variance = self.sum(|node| (node.deviation - mean).powi(2));
        Estimate::between(
            self.deviation_quantile(0.5),
            variance.sqrt(),
            self.deviation_quantile(0.025),
            self.deviation_quantile(0.975),
        )
    }

    /// Chance that the standard deviation between sessions is below `limit`.
    pub fn between_below(&self, limit: f64) -> f64 {
        let mut before = 0.0;
        let mut below = 0.0;
        for node in &self.nodes {
            if node.upper > limit {
                return below + node.weight * (limit - before).max(0.0) / (node.upper - before);
            }
            below += node.weight;
            before = node.upper;
        }
        below
    }

    /// Median of the standard deviation between sessions if it is below `limit`.
    pub fn between_median_below(&self, limit: f64) -> f64 {
        self.deviation_quantile(self.between_below(limit) / 2.0)
    }

    /// Standard error of the mean by the errors that sessions share, on average.
    pub fn shared_error(&self) -> f64 {
        self.sum(|node| node.shared)
    }

    /// What the next session will be: the Student t with the median and the 50 and 95 %
    /// intervals' widths of the posterior, the errors that sessions share left out.
    pub fn next(&self) -> Predictive {
        let spread = |node: &Node| node.deviation.hypot(node.error);
        let quantile = |share| self.quantile(share, spread);
        let half = |tail: f64| (quantile(1.0 - tail) - quantile(tail)) / 2.0;
        let (near, far) = (half(0.25), half(0.025));
        let freedom = freedom_of(far / near);
        Predictive::student(
            quantile(0.5),
            far / student_quantile(0.975, freedom),
            freedom,
        )
    }

    /// Half-width of the 95 % interval of the next session, where sessions lie evenly about their
    /// mean.
    pub(super) fn even_half_width(&self) -> f64 {
        let spread = |node: &Node| node.deviation.hypot(node.error);
        self.quantile(0.975, spread) - self.sum(|node| node.mean)
    }

    fn sum(&self, of: impl Fn(&Node) -> f64) -> f64 {
        self.nodes.iter().map(|node| node.weight * of(node)).sum()
    }

    fn mixture(&self, spread: impl Fn(&Node) -> f64 + Copy) -> Estimate {
        let mean = self.sum(|node| node.mean);
        let variance = self.sum(|node| spread(node).powi(2) + (node.mean - mean).powi(2));
        Estimate::between(
            self.quantile(0.5, spread),
            variance.sqrt(),
            self.quantile(0.025, spread),
            self.quantile(0.975, spread),
        )
    }

    /// Quantile of the mixture of normals about each node's mean.
    fn quantile(&self, share: f64, spread: impl Fn(&Node) -> f64) -> f64 {
        let below = |x: f64| self.sum(|node| normal_below((x - node.mean) / spread(node)));
        let middle = self.sum(|node| node.mean);
        let step = self.sum(&spread);
        let (mut low, mut high) = (middle - step, middle + step);
        for _ in 0..HALVINGS {
            if below(low) <= share {
                break;
            }
            low -= high - low;
        }
        for _ in 0..HALVINGS {
            if below(high) >= share {
                break;
            }
            high += high - low;
        }
        for _ in 0..HALVINGS {
            let middle = (low + high) / 2.0;
            if below(middle) < share {
                low = middle;
            } else {
                high = middle;
            }
        }
        (low + high) / 2.0
    }

    /// Quantile of the deviation, straight within a node's share of the half line.
    fn deviation_quantile(&self, share: f64) -> f64 {
        let mut reached = 0.0;
        let mut before = 0.0;
        for node in &self.nodes {
            if reached + node.weight >= share {
                let part = (share - reached) / node.weight;
                let upper = if node.upper.is_finite() {
                    node.upper
                } else {
                    node.deviation
                };
                return before + part * (upper - before);
            }
            reached += node.weight;
            before = node.upper;
        }
        before
    }
}

/// Degrees of freedom of the Student t whose 95 % interval is `ratio` times as wide as its
/// 50 % interval; a million for a ratio of a normal distribution or less.
fn freedom_of(ratio: f64) -> f64 {
    let of = |freedom: f64| student_quantile(0.975, freedom) / student_quantile(0.75, freedom);
    let (mut low, mut high): (f64, f64) = (1.0, 1e6);
    if ratio <= of(high) {
        return high;
    }
    for _ in 0..HALVINGS {
        let middle = (low * high).sqrt();
        if of(middle) > ratio {
            low = middle;
        } else {
            high = middle;
        }
    }
    (low * high).sqrt()
}
