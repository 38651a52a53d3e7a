//! Coatings of a session, or profiles, held against each other.

use super::Session;
use super::profile::{Price, PricePer, Profile, ProfilePool, Quantity, Wet};
use crate::measure::analysis::{Analysis, PairResult};
use crate::measure::coatings::{
    self, Among, Amount, Coating, Compared, DARK_ENOUGH, Look, Shared, on_piece,
};
use crate::measure::estimate::{Estimate, Gap};
use crate::measure::nearest::{hint, nearest};
use crate::measure::pool::ENOUGH_SESSIONS;

/// What a person asks of a comparison.
#[derive(Debug, Clone, PartialEq)]
pub struct Asked {
    /// Compare all with the coating of this name; all with all without.
    pub against: Option<String>,
    /// Only these pairs: the first less the second.
    pub pairs: Vec<(String, String)>,
    /// Density below the best Dmax that still is dark enough.
    pub within: f64,
    /// Coats of each coating, where the person says so.
    pub coats: Vec<u32>,
    /// Emulsion on a square decimetre of each coating, where the person says so.
    pub wet: Vec<Wet>,
    /// What the emulsion costs, where the profiles don't say.
    pub price: Option<Price>,
    /// Size of a piece in square decimetres, for the cost.
    pub piece: Option<f64>,
}

impl Default for Asked {
    fn default() -> Self {
        Self {
            against: None,
            pairs: vec![],
            within: DARK_ENOUGH,
            coats: vec![],
            wet: vec![],
            price: None,
            piece: None,
        }
    }
}

/// Emulsion on one piece.
#[derive(Debug, Clone, PartialEq)]
pub struct Cost {
    /// Millilitres or grams.
    pub amount: Amount,
    /// Money and its currency, when the price is known and for the same measure.
    pub price: Option<(f64, String)>,
}

/// Coatings, and what was found of them together.
#[derive(Debug, Clone, PartialEq)]
pub struct Comparison {
    /// The coatings, in the order of the session or as they were named.
    pub coatings: Vec<Coating>,
    /// How even each is; nothing for profiles, whose scans aren't kept.
    pub looks: Vec<Option<Look>>,
    /// Emulsion on a piece, where size and amount are known.
    pub costs: Vec<Option<Cost>>,
    /// Density below the best Dmax that still is dark enough.
    pub within: f64,
    /// What they are together.
    pub compared: Compared,
}

/// Why nothing can be compared.
#[derive(Debug, Clone, PartialEq, Eq, thiserror::Error)]
pub enum CannotCompare {
    /// Fewer than two.
    #[error("there is nothing to compare: {0} coating with an answer, and it takes two")]
    TooFew(usize),
    /// A name that none has.
    #[error("no coating is called {name:?}; there are {known}{hint}")]
    NoSuchName {
        /// As asked for.
        name: String,
        /// Those there are.
        known: String,
        /// The one that may be meant.
        hint: String,
    },
    /// A list that doesn't fit.
    #[error("{given} {what} for {coatings} coatings: give one for each, in their order")]
    Count {
        /// "coats" or "amounts of emulsion".
        what: &'static str,
        /// How many were given.
        given: usize,
        /// How many there are.
        coatings: usize,
    },
}

/// The coatings of a session, in its order, with how their errors hang together.
pub fn of_session(session: &Session, analysis: &Analysis) -> (Vec<Coating>, Shared) {
    let answered: Vec<&PairResult> = analysis
        .pairs
        .iter()
        .filter(|pair| pair.answer.stops.value.is_some() || pair.answer.coupon.dmax.value.is_some())
        .collect();
    let coatings = answered
        .iter()
        .map(|pair| {
            let name = analysis.strips.get(pair.coupon).map(|strip| &strip.name);
            Coating::of(name.cloned().unwrap_or_default(), &pair.answer)
        })
        .collect();
    let evidence: Vec<_> = answered.iter().map(|pair| &pair.evidence[1]).collect();
    let answers: Vec<_> = answered.iter().map(|pair| &pair.answer).collect();
    // Different reference strips share nothing that is known here.
    let one_reference = answered
        .windows(2)
        .all(|two| two[0].reference == two[1].reference);
    let shared = if one_reference {
        coatings::shared(&evidence, &answers, &session.settings)
    } else {
        Shared::default()
    };
    (coatings, shared)
}

/// Profiles as coatings: what their sessions say together, and the newest curve.
///
/// In the place of the range stands the contrast difference, which differs from it by the range
/// of the paper, the same for all of one paper.
pub fn of_profile(profile: &Profile) -> Coating {
    let pool = ProfilePool::of(profile, None);
    let mean = |quantity| {
        let pooled = pool
            .quantity(quantity)
            .and_then(|one| one.pooled.as_ref().ok());
        pooled.map_or_else(|| Estimate::absent(Gap::NotMeasured), |pooled| pooled.mean)
    };
    let newest = profile.evidence.last();
    Coating {
        name: profile.name.clone(),
        speed: mean(Quantity::Stops),
        dmin: mean(Quantity::Dmin),
        dmax: mean(Quantity::Dmax),
        range: mean(Quantity::Contrast),
        freedom: (profile.evidence.len().max(ENOUGH_SESSIONS) - 1) as f64,
        coats: profile.particulars.coats,
        amount: profile.particulars.wet.map(amount),
        curve: newest.map_or_else(Vec::new, |one| one.answer.coupon.curve.clone()),
    }
}

impl Comparison {
    /// Compares coatings as asked; `prices` has one a coating where its profile says so.
    ///
    /// # Errors
    /// [`CannotCompare`].
    pub fn new(
        mut coatings: Vec<Coating>,
        shared: &Shared,
        looks: Vec<Option<Look>>,
        prices: &[Option<Price>],
        asked: &Asked,
    ) -> Result<Self, CannotCompare> {
        if coatings.len() < 2 {
            return Err(CannotCompare::TooFew(coatings.len()));
        }
        let fits = |what, given: usize| match given {
            0 => Ok(()),
            given if given == coatings.len() => Ok(()),
            given => Err(CannotCompare::Count {
                what,
                given,
                coatings: coatings.len(),
            }),
        };
        fits("coats", asked.coats.len())?;
        fits("amounts of emulsion", asked.wet.len())?;
        for (coating, &coats) in coatings.iter_mut().zip(&asked.coats) {
            coating.coats = Some(coats);
        }
        for (coating, &wet) in coatings.iter_mut().zip(&asked.wet) {
            coating.amount = Some(amount(wet));
        }
        let among = among(&coatings, asked)?;
        let compared = coatings::compare(&coatings, &among, shared, asked.within);
        let costs = coatings
            .iter()
            .enumerate()
            .map(|(place, coating)| {
                let price = prices.get(place).and_then(Option::as_ref);
                cost(
                    coating.amount?,
                    asked.piece?,
                    asked.price.as_ref().or(price),
                )
            })
            .collect();
        Ok(Self {
            coatings,
            looks,
            costs,
            within: asked.within,
            compared,
        })
    }

    /// Whether any difference could be told.
    pub fn answered(&self) -> bool {
        let tables = &self.compared.tables;
        tables.iter().any(|table| table.together.is_some())
    }
}

fn among(coatings: &[Coating], asked: &Asked) -> Result<Among, CannotCompare> {
    let find = |name: &String| {
        let plain = name.trim().to_lowercase();
        let place = coatings
            .iter()
            .position(|coating| coating.name.trim().to_lowercase() == plain);
        place.ok_or_else(|| {
            let names: Vec<&str> = coatings.iter().map(|c| c.name.as_str()).collect();
            CannotCompare::NoSuchName {
                name: name.clone(),
                known: names.join(", "),
                hint: hint(nearest(name, &names)),
            }
        })
    };
    if !asked.pairs.is_empty() {
        let pairs = asked
            .pairs
            .iter()
            .map(|(of, less)| Ok((find(of)?, find(less)?)));
        return Ok(Among::List(pairs.collect::<Result<_, _>>()?));
    }
    asked
        .against
        .as_ref()
        .map_or(Ok(Among::AllPairs), |name| Ok(Among::Against(find(name)?)))
}

fn amount(wet: Wet) -> Amount {
    match wet {
        Wet::Millilitres(millilitres) => Amount::Millilitres(millilitres),
        Wet::Grams(grams) => Amount::Grams(grams),
    }
}

/// Emulsion on a piece; the price only where it is for the measure that the amount has.
fn cost(amount: Amount, piece: f64, price: Option<&Price>) -> Option<Cost> {
    let (per_area, per) = match amount {
        Amount::Millilitres(millilitres) => (millilitres, PricePer::Litre),
        Amount::Grams(grams) => (grams, PricePer::Kilogram),
    };
    let known = price.filter(|price| price.per == per);
    let (on_it, money) = on_piece(per_area, piece, known.map_or(0.0, |price| price.amount));
    Some(Cost {
        amount: match amount {
            Amount::Millilitres(_) => Amount::Millilitres(on_it),
            Amount::Grams(_) => Amount::Grams(on_it),
        },
        price: known.map(|price| (money, price.currency.clone())),
    })
}
