//! A set of coatings, compared in everything that matters of them.

use nalgebra::{DMatrix, DVector};
use rayon::prelude::*;
use serde::Serialize;

use super::joint::{Among, Together, Values, together};
use super::thinnest::{Amount, Thinnest, thinnest};
use super::trend::{Line, line};
use crate::measure::analysis::Settings;
use crate::measure::compare::{self, PairAnswer, StripEvidence};
use crate::measure::curve::CurvePoint;
use crate::measure::estimate::Estimate;
use crate::measure::pool::Effect;

/// What is known of one coating.
#[derive(Debug, Clone, PartialEq)]
pub struct Coating {
    /// What the person calls it.
    pub name: String,
    /// Stops slower than the reference.
    pub speed: Estimate,
    /// Density of the margin.
    pub dmin: Estimate,
    /// Density the curve tends to.
    pub dmax: Estimate,
    /// ISO range R.
    pub range: Estimate,
    /// Degrees of freedom of these intervals: of means of sessions that scatter one less than
    /// sessions; infinite where errors are known.
    pub freedom: f64,
    /// How many coats.
    pub coats: Option<u32>,
    /// How much emulsion, all coats together.
    pub amount: Option<Amount>,
    /// The fitted curve, for drawing.
    pub curve: Vec<CurvePoint>,
}

impl Coating {
    /// From what a session says of a pair.
    pub fn of(name: impl Into<String>, answer: &PairAnswer) -> Self {
        Self {
            name: name.into(),
            speed: answer.stops,
            dmin: answer.coupon.dmin,
            dmax: answer.coupon.dmax,
            range: answer.coupon.range,
            freedom: f64::INFINITY,
            coats: None,
            amount: None,
            curve: answer.coupon.curve.clone(),
        }
    }

    fn value(&self, quantity: Measured) -> &Estimate {
        match quantity {
            Measured::Speed => &self.speed,
            Measured::Dmin => &self.dmin,
            Measured::Dmax => &self.dmax,
            Measured::Range => &self.range,
        }
    }
}

/// What is compared.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Serialize)]
#[serde(rename_all = "kebab-case")]
pub enum Measured {
    /// Stops slower than the reference.
    Speed,
    /// Density of the margin.
    Dmin,
    /// Density the curve tends to.
    Dmax,
    /// ISO range R.
    Range,
}

impl Measured {
    /// All of them, as they are shown.
    pub const ALL: [Self; 4] = [Self::Speed, Self::Dmin, Self::Dmax, Self::Range];
}

/// What thickness is told by.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize)]
#[serde(rename_all = "kebab-case")]
pub enum Thickness {
    /// Count of coats.
    Coats,
    /// Millilitres of emulsion a square decimetre.
    Millilitres,
    /// Grams of wet emulsion a square decimetre.
    Grams,
}

/// How the errors of coatings of one session hang together; absent: they are independent, which
/// makes differences wider and never narrower, as what they share is positive.
#[derive(Debug, Clone, PartialEq, Default)]
pub struct Shared {
    /// Covariance of the speeds, stops squared.
    pub speed: Option<DMatrix<f64>>,
    /// Covariance of the ranges.
    pub range: Option<DMatrix<f64>>,
}

/// One quantity of all coatings.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct Table {
    /// Which.
    pub quantity: Measured,
    /// Coatings (from 0) without a value of it.
    pub without: Vec<usize>,
    /// The differences; `None` with fewer than two values, or none of the chosen coating.
    pub together: Option<Together>,
    /// The line through the coatings by thickness, where thicknesses are known and differ.
    pub line: Option<Line>,
}

/// Everything that is found of a set of coatings.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct Compared {
    /// One a quantity.
    pub tables: Vec<Table>,
    /// What thickness was told by, if by anything.
    pub thickness: Option<Thickness>,
    /// The thinnest coating that is dark enough; `coating` and `chances` count the coatings that
    /// have a Dmax, which are all but those that the table of it is without.
    pub thinnest: Option<Thinnest>,
}

/// Compares coatings; `tolerance` is the density below the best Dmax that still is dark enough.
pub fn compare(coatings: &[Coating], among: &Among, shared: &Shared, tolerance: f64) -> Compared {
    let thickness = thickness(coatings);
    let sizes: Option<Vec<f64>> = thickness.and_then(|kind| {
        let size = |coating: &Coating| size(coating, kind);
        coatings.iter().map(size).collect()
    });
    let mut darkest = None;
    let tables = Measured::ALL
        .into_iter()
        .map(|quantity| {
            let (with, values) = values(coatings, quantity, shared);
            let without = (0..coatings.len()).filter(|c| !with.contains(c)).collect();
            let own: Option<Vec<f64>> = sizes
                .as_ref()
                .map(|sizes| with.iter().map(|&coating| sizes[coating]).collect());
            if quantity == Measured::Dmax {
                let thin = own
                    .as_ref()
                    .and_then(|own| thinnest(&values, own, tolerance));
                darkest = thin.map(|thin| Thinnest {
                    coating: with[thin.coating],
                    ..thin
                });
            }
            Table {
                quantity,
                without,
                together: differences(&values, among, &with),
                line: own.and_then(|own| line(&values, &own)),
            }
        })
        .collect();
    Compared {
        tables,
        thickness,
        thinnest: darkest,
    }
}

/// How the errors of coupons of one session hang together: each pair of coupons is solved like a
/// reference and a coupon, so that lamp lag, density scale and apertures count as they do there.
///
/// The covariance of two is half of what both variances have more than that of the difference.
pub fn shared(evidence: &[&StripEvidence], answers: &[&PairAnswer], settings: &Settings) -> Shared {
    let count = evidence.len();
    let pairs: Vec<(usize, usize)> = Among::AllPairs.pairs(count);
    let solved: Vec<PairAnswer> = pairs
        .par_iter()
        .map(|&(of, less)| compare::solve(evidence[less], evidence[of], settings).0)
        .collect();
    let covariance = |own: &dyn Fn(&PairAnswer) -> Estimate,
                      apart: &dyn Fn(&PairAnswer) -> Estimate| {
        let variance = |estimate: Estimate| Some(Effect::of(&estimate)?.standard_error.powi(2));
        let mut all = DMatrix::zeros(count, count);
        for coating in 0..count {
            all[(coating, coating)] = variance(own(answers[coating]))?;
        }
        for (&(of, less), solved) in pairs.iter().zip(&solved) {
            let both = all[(of, of)] + all[(less, less)];
            let half = (both - variance(apart(solved))?) / 2.0;
            all[(of, less)] = half;
            all[(less, of)] = half;
        }
        all.clone().cholesky().map(|_| all)
    };
    Shared {
        speed: covariance(&|own| own.stops, &|apart| apart.stops),
        range: covariance(&|own| own.coupon.range, &|apart| apart.contrast_difference),
    }
}

/// Coatings that have a value, and these values.
fn values(coatings: &[Coating], quantity: Measured, shared: &Shared) -> (Vec<usize>, Values) {
    let known: Vec<(usize, Effect)> = coatings
        .iter()
        .enumerate()
        .filter_map(|(place, coating)| Some((place, Effect::of(coating.value(quantity))?)))
        .collect();
    let with: Vec<usize> = known.iter().map(|known| known.0).collect();
    let of_session = match quantity {
        Measured::Speed => shared.speed.as_ref(),
        Measured::Range => shared.range.as_ref(),
        Measured::Dmin | Measured::Dmax => None,
    };
    let count = known.len();
    let covariance = DMatrix::from_fn(count, count, |i, j| match of_session {
        Some(all) if all.nrows() == coatings.len() => all[(with[i], with[j])],
        _ if i == j => known[i].1.standard_error.powi(2),
        _ => 0.0,
    });
    let values = Values {
        values: DVector::from_iterator(count, known.iter().map(|known| known.1.value)),
        covariance,
        freedom: f64::INFINITY,
        own_freedom: with
            .iter()
            .map(|&coating| coatings[coating].freedom)
            .collect(),
    };
    (with, values)
}

/// The differences, told by the places of all coatings and not only those with a value.
fn differences(values: &Values, among: &Among, with: &[usize]) -> Option<Together> {
    let place = |coating: usize| with.iter().position(|&with| with == coating);
    let own = match among {
        Among::AllPairs => Among::AllPairs,
        Among::Against(chosen) => Among::Against(place(*chosen)?),
        Among::List(pairs) => Among::List(
            pairs
                .iter()
                .filter_map(|&(of, less)| Some((place(of)?, place(less)?)))
                .collect(),
        ),
    };
    if own.pairs(with.len()).is_empty() {
        return None;
    }
    let mut found = together(values, &own);
    for difference in &mut found.differences {
        difference.of = with[difference.of];
        difference.less = with[difference.less];
    }
    Some(found)
}

/// Wet amounts where every coating has one of the same kind, else coats where every one has.
fn thickness(coatings: &[Coating]) -> Option<Thickness> {
    [Thickness::Millilitres, Thickness::Grams, Thickness::Coats]
        .into_iter()
        .find(|&kind| {
            !coatings.is_empty() && coatings.iter().all(|coating| size(coating, kind).is_some())
        })
}

fn size(coating: &Coating, kind: Thickness) -> Option<f64> {
    match (kind, coating.amount) {
        (Thickness::Coats, _) => coating.coats.map(f64::from),
        (Thickness::Millilitres, Some(Amount::Millilitres(amount)))
        | (Thickness::Grams, Some(Amount::Grams(amount))) => Some(amount),
        _ => None,
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::measure::estimate::Gap;

    fn coating(name: &str, speed: f64, dmax: f64, coats: u32) -> Coating {
        let about = |value: f64, error: f64| {
            Estimate::between(value, error, value - 1.96 * error, value + 1.96 * error)
        };
        Coating {
            name: name.into(),
            speed: about(speed, 0.05),
            dmin: about(0.1, 0.01),
            dmax: about(dmax, 0.02),
            range: about(100.0, 4.0),
            freedom: f64::INFINITY,
            coats: Some(coats),
            amount: None,
            curve: vec![],
        }
    }

    #[test]
    fn a_coating_without_a_value_is_named_and_the_others_keep_their_places() {
        let mut coatings = vec![
            coating("one", 2.0, 1.4, 1),
            coating("two", 2.5, 1.7, 2),
            coating("three", 3.0, 1.8, 3),
        ];
        coatings[0].speed = Estimate::absent(Gap::AllStepsBelow);
        let found = compare(&coatings, &Among::AllPairs, &Shared::default(), 0.05);
        let speed = &found.tables[0];
        assert_eq!(
            (speed.quantity, &speed.without),
            (Measured::Speed, &vec![0])
        );
        let together = speed.together.as_ref().unwrap();
        assert_eq!(together.differences.len(), 1);
        let difference = together.differences[0];
        assert_eq!((difference.of, difference.less), (2, 1));
        assert!((difference.difference.value.unwrap() - 0.5).abs() < 1e-9);
        assert_eq!(found.thickness, Some(Thickness::Coats));
        // A line through two of three.
        assert!((speed.line.as_ref().unwrap().slope.value.unwrap() - 0.5).abs() < 1e-9);
        assert_eq!(
            found.tables[2].together.as_ref().unwrap().differences.len(),
            3
        );
        assert_eq!(found.thinnest.unwrap().coating, 2);
        let against = compare(&coatings, &Among::Against(0), &Shared::default(), 0.05);
        assert_eq!(against.tables[0].together, None);
        assert!(against.tables[1].together.is_some());
    }

    #[test]
    fn wet_amounts_go_before_coats_where_all_have_one_of_a_kind() {
        let mut coatings = vec![coating("one", 2.0, 1.4, 1), coating("two", 2.5, 1.7, 2)];
        coatings[0].amount = Some(Amount::Millilitres(1.1));
        assert_eq!(thickness(&coatings), Some(Thickness::Coats));
        coatings[1].amount = Some(Amount::Millilitres(1.9));
        assert_eq!(thickness(&coatings), Some(Thickness::Millilitres));
        coatings[1].amount = Some(Amount::Grams(1.9));
        coatings[1].coats = None;
        assert_eq!(thickness(&coatings), None);
    }
}
