//! Differences with intervals that hold all at once.

use nalgebra::{DMatrix, DVector};
use serde::Serialize;

use super::classical;
use super::draws::{Draws, normal_draws};
use crate::measure::estimate::Estimate;
use crate::measure::pool::{
    holm, normal_below, normal_quantile, student_quantile, student_two_sided,
};

/// Share of sets in which all intervals hold.
const TOGETHER: f64 = 0.95;
/// Variances this near to each other count as equal.
const EQUAL: f64 = 1e-9;
/// Degrees of freedom from which a standard deviation counts as known.
const KNOWN: f64 = 1e6;

/// Values of several coatings and how they err together.
#[derive(Debug, Clone, PartialEq)]
pub struct Values {
    /// One a coating.
    pub values: DVector<f64>,
    /// Their covariance: what they share (a reference strip, a wedge) stands off the diagonal.
    pub covariance: DMatrix<f64>,
    /// Degrees of freedom that the covariance's size is known with; infinite when known.
    pub freedom: f64,
    /// Degrees of freedom of each value's own error, where these differ: of independent means of few
    /// sessions, whose 95 % intervals the covariance stands for. Empty: all known as said above.
    pub own_freedom: Vec<f64>,
}

impl Values {
    /// Values with independent known errors.
    pub fn independent(values: &[f64], errors: &[f64]) -> Self {
        let variances = errors.iter().map(|error| error * error);
        Self {
            values: DVector::from_row_slice(values),
            covariance: DMatrix::from_diagonal(&DVector::from_iterator(errors.len(), variances)),
            freedom: f64::INFINITY,
            own_freedom: vec![],
        }
    }

    /// Whether each value has an error of its own that is known from few sessions.
    fn has_own_freedom(&self) -> bool {
        self.own_freedom.len() == self.values.len()
            && self.own_freedom.iter().any(|freedom| *freedom < KNOWN)
            && self.is_independent()
    }

    /// Value and standard error of one less another.
    fn difference(&self, of: usize, less: usize) -> (f64, f64) {
        let c = &self.covariance;
        let variance = c[(of, of)] + c[(less, less)] - 2.0 * c[(of, less)];
        (
            self.values[of] - self.values[less],
            variance.max(0.0).sqrt(),
        )
    }

    fn is_independent(&self) -> bool {
        let largest = self.covariance.diagonal().max();
        let count = self.values.len();
        (0..count)
            .all(|i| (0..count).all(|j| i == j || self.covariance[(i, j)].abs() <= EQUAL * largest))
    }
}

/// Which differences are looked at together.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum Among {
    /// Every coating with every other.
    AllPairs,
    /// Every other coating with a chosen one.
    Against(usize),
    /// A list of pairs: the first less the second.
    List(Vec<(usize, usize)>),
}

impl Among {
    /// The pairs: of which coating, less which.
    pub fn pairs(&self, coatings: usize) -> Vec<(usize, usize)> {
        match self {
            Self::AllPairs => (0..coatings)
                .flat_map(|less| (less + 1..coatings).map(move |of| (of, less)))
                .collect(),
            Self::Against(chosen) => (0..coatings)
                .filter(|of| of != chosen)
                .map(|of| (of, *chosen))
                .collect(),
            Self::List(pairs) => pairs
                .iter()
                .copied()
                .filter(|&(of, less)| of != less && of.max(less) < coatings)
                .collect(),
        }
    }
}

/// Where the joint bound comes from.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize)]
#[serde(rename_all = "kebab-case")]
pub enum Bound {
    /// One pair only: Student's t.
    Single,
    /// The studentised range: all pairs of equally well known, independent values (Tukey).
    StudentisedRange,
    /// All against one, errors independent (Dunnett).
    AgainstOne,
    /// The largest |t| under the actual correlation of the differences, by quasi-Monte Carlo.
    LargestOfAll,
}

/// One difference.
#[derive(Debug, Clone, Copy, PartialEq, Serialize)]
pub struct Difference {
    /// Which coating, from 0.
    pub of: usize,
    /// Less which, from 0.
    pub less: usize,
    /// Its value, with an interval that holds together with all others of the table in 95 of
    /// 100 cases.
    pub difference: Estimate,
    /// Chance of so large a difference anywhere in the table when no coating differs.
    pub p: f64,
    /// Chance adjusted by Holm's steps, for a list of questions.
    pub p_holm: f64,
}

/// A table of differences.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct Together {
    /// The differences.
    pub differences: Vec<Difference>,
    /// Standard errors to either side of each interval.
    pub critical: f64,
    /// Where that comes from.
    pub bound: Bound,
}

/// Differences among coatings with intervals that hold all at once in 95 of 100 cases.
///
/// The intervals are value plus and minus `critical` standard errors, where `critical` is what
/// the largest |t| of the table stays below in 95 of 100 cases when nothing differs. For all
/// pairs of independent, equally well known values that is the studentised range over the root
/// of 2 (Tukey 1953); for all against one it is Dunnett's (1955) bound; with unequal or
/// correlated errors the largest |t| is integrated under its actual correlation, which is a
/// little narrower than Kramer's (1956) approximation for all pairs (Hayter 1984, Ann. Stat.
/// 12:61, shows that one to be on the safe side).
pub fn together(values: &Values, among: &Among) -> Together {
    let pairs = among.pairs(values.values.len());
    let found: Vec<(f64, f64)> = pairs
        .iter()
        .map(|&(of, less)| values.difference(of, less))
        .collect();
    let (bound, critical, chance) = joint(values, among, &pairs);
    let freedom = values.freedom.min(KNOWN);
    let t: Vec<f64> = found.iter().map(|(value, error)| value / error).collect();
    let alone: Vec<f64> = t.iter().map(|&t| student_two_sided(t, freedom)).collect();
    let stepped = holm(&alone);
    let differences = pairs
        .iter()
        .enumerate()
        .map(|(place, &(of, less))| {
            let (value, error) = found[place];
            let half = critical * error;
            Difference {
                of,
                less,
                difference: Estimate::between(value, error, value - half, value + half),
                p: chance(t[place].abs()),
                p_holm: stepped[place],
            }
        })
        .collect();
    Together {
        differences,
        critical,
        bound,
    }
}

/// Chance that the largest |t| of a table goes beyond a value.
type Chance = Box<dyn Fn(f64) -> f64>;

fn joint(values: &Values, among: &Among, pairs: &[(usize, usize)]) -> (Bound, f64, Chance) {
    let count = values.values.len();
    let freedom = values.freedom;
    let diagonal = values.covariance.diagonal();
    let independent = values.is_independent();
    let equal = diagonal
        .iter()
        .all(|v| (v / diagonal[0] - 1.0).abs() < EQUAL);
    match among {
        _ if values.has_own_freedom() => by_draws(values, pairs),
        _ if pairs.len() == 1 => {
            let freedom = freedom.min(KNOWN);
            let critical = student_quantile((1.0 + TOGETHER) / 2.0, freedom);
            let chance = move |t| student_two_sided(t, freedom);
            (Bound::Single, critical, Box::new(chance))
        }
        Among::AllPairs if independent && equal => {
            let root = std::f64::consts::SQRT_2;
            let critical = classical::studentised_range(TOGETHER, count, freedom) / root;
            let below = move |t: f64| classical::studentised_range_below(t * root, count, freedom);
            (
                Bound::StudentisedRange,
                critical,
                Box::new(move |t| 1.0 - below(t)),
            )
        }
        Among::Against(chosen) if independent => {
            let control = diagonal[*chosen];
            let loadings: Vec<f64> = pairs
                .iter()
                .map(|&(of, _)| (control / (control + diagonal[of])).sqrt())
                .collect();
            let critical = classical::dunnett(TOGETHER, &loadings, freedom);
            let chance = move |t| 1.0 - classical::dunnett_below(t, &loadings, freedom);
            (Bound::AgainstOne, critical, Box::new(chance))
        }
        _ => by_draws(values, pairs),
    }
}

/// The bound by the largest |t| in draws of the errors as they are.
fn by_draws(values: &Values, pairs: &[(usize, usize)]) -> (Bound, f64, Chance) {
    let largest = largest_of_draws(values, pairs);
    let place = (TOGETHER * largest.len() as f64) as usize;
    let critical = largest.get(place).copied().unwrap_or(f64::NAN);
    let chance = move |t: f64| {
        let beyond = largest.len() - largest.partition_point(|&largest| largest < t);
        (beyond + 1) as f64 / (largest.len() + 1) as f64
    };
    (Bound::LargestOfAll, critical, Box::new(chance))
}

/// From a normal deviate to that of a Student t whose 95 % interval is as wide as a standard normal
/// one's, at the same share.
fn tailed(freedom: f64) -> impl Fn(f64) -> f64 {
    const REACH: f64 = 5.0;
    const NODES: usize = 500;
    let narrow = normal_quantile(0.975) / student_quantile(0.975, freedom.min(KNOWN));
    let at = |node: usize| REACH * node as f64 / NODES as f64;
    let table: Vec<f64> = (0..=NODES)
        .map(|node| narrow * student_quantile(normal_below(at(node)), freedom.min(KNOWN)))
        .collect();
    move |deviate: f64| {
        let along = deviate.abs().min(REACH) / REACH * NODES as f64;
        let node = (along as usize).min(NODES - 1);
        let share = along - node as f64;
        (table[node] + share * (table[node + 1] - table[node])).copysign(deviate)
    }
}

/// The largest |t| of the pairs in many draws of the errors, ascending.
fn largest_of_draws(values: &Values, pairs: &[(usize, usize)]) -> Vec<f64> {
    let errors: Vec<f64> = pairs
        .iter()
        .map(|&(of, less)| values.difference(of, less).1)
        .collect();
    let Draws {
        errors: drawn,
        scale,
    } = normal_draws(&values.covariance, values.freedom);
    let drawn = if values.has_own_freedom() {
        let mut tailed_draws = drawn;
        for (coating, &freedom) in values.own_freedom.iter().enumerate() {
            let deviation = values.covariance[(coating, coating)].sqrt();
            let tail = tailed(freedom);
            for error in tailed_draws.row_mut(coating).iter_mut() {
                *error = deviation * tail(*error / deviation);
            }
        }
        tailed_draws
    } else {
        drawn
    };
    let mut largest: Vec<f64> = drawn
        .column_iter()
        .zip(scale)
        .map(|(draw, scale)| {
            let t = pairs
                .iter()
                .zip(&errors)
                .map(|(&(of, less), error)| ((draw[of] - draw[less]) / error).abs());
            t.fold(0.0, f64::max) / scale
        })
        .collect();
    largest.sort_by(f64::total_cmp);
    largest
}
