//! What a print plan is made from: the recipe that is kept with a negative, and what a session
//! or a profile knows of the emulsion.

use crate::document::Session;
use crate::document::profile::{Evidence, Profile};
use crate::measure::analysis::{Analysis, PairResult};
use crate::measure::estimate::{End, Gap};
use crate::measure::plan::{Basis, NextStrip, Origin, Recipe, Side, Tested, after_a_miss};

/// A recipe and the negative that it belongs to, as it is kept in a file of its own.
#[derive(Debug, Clone, PartialEq)]
pub struct KeptRecipe {
    /// What the printer calls the negative or the picture.
    pub negative: String,
    /// How it was printed on paper.
    pub recipe: Recipe,
    /// Whatever the person wants to remember.
    pub notes: String,
}

/// Why nothing is known that a plan could be made from.
#[derive(Debug, Clone, PartialEq, Eq, thiserror::Error)]
pub enum NoBasis {
    /// The session has no such pair.
    #[error("the session has no solved coupon{0}")]
    NoPair(String),
    /// It has no speed ratio with bounds.
    #[error("{coupon} has no speed ratio with both bounds, because {}", why.reason())]
    NoRatio {
        /// The coupon.
        coupon: String,
        /// Why.
        why: Gap,
    },
    /// No session of the profile has a ratio.
    #[error("no session of {0} has a speed ratio with both bounds")]
    Nothing(String),
}

/// What a pair (from 0) of a session knows. The next session is taken to lie `session_error`
/// stops (standard deviation) from this one.
///
/// # Errors
/// [`NoBasis`].
pub fn basis_of_session(
    session: &Session,
    analysis: &Analysis,
    pair: usize,
    session_error: f64,
) -> Result<Basis, NoBasis> {
    let none = || NoBasis::NoPair(String::new());
    let found = analysis.pairs.get(pair).ok_or_else(none)?;
    let strip = |index: usize| session.strips.get(index).ok_or_else(none);
    let (reference, coupon) = (strip(found.reference)?, strip(found.coupon)?);
    let exposures = [reference, coupon].map(|strip| strip.exposure.as_ref());
    let [Some(on_paper), Some(on_coating)] = exposures else {
        return Err(none());
    };
    let exposures = [on_paper.exposures(), on_coating.exposures()];
    let tested = [
        Tested {
            name: &reference.name,
            exposures: &exposures[0],
        },
        Tested {
            name: &coupon.name,
            exposures: &exposures[1],
        },
    ];
    let settings = &session.settings;
    Basis::of_pair(
        &found.answer,
        tested,
        settings.lag,
        settings.aperture_error_stops,
        session_error,
    )
    .map_err(|why| NoBasis::NoRatio {
        coupon: coupon.name.clone(),
        why,
    })
}

/// The strip to make after a pair (from 0) whose coupon missed: all its steps were too light or
/// too dark. `None` when it didn't, or when the reference has no curve.
pub fn strip_after_a_miss(
    session: &Session,
    analysis: &Analysis,
    pair: usize,
) -> Option<NextStrip> {
    let found = analysis.pairs.get(pair)?;
    let speed_point = &found.answer.coupon.speed_point;
    let missed = [speed_point.upper, speed_point.lower]
        .into_iter()
        .find_map(|end| match end {
            End::Open(why) => Some(why),
            End::At(_) => None,
        })?;
    after_miss_of(session, found, missed)
}

fn after_miss_of(session: &Session, found: &PairResult, why: Gap) -> Option<NextStrip> {
    let reference = session.strips.get(found.reference)?;
    let exposures = reference.exposure.as_ref()?.exposures();
    let tested = Tested {
        name: &reference.name,
        exposures: &exposures,
    };
    let paper = Side::of(tested, &found.answer.reference, session.settings.lag.0)?;
    let missed = session.strips.get(found.coupon)?.exposure.as_ref()?;
    after_a_miss(&paper, &missed.series, why)
}

/// What the sessions of a profile know together: the ratio as they foretell the next one (by
/// [`Profile::foretold`], which heeds an alarm of drift), curves and tones from the newest that has
/// them.
///
/// # Errors
/// [`NoBasis::Nothing`].
pub fn basis_of_profile(profile: &Profile) -> Result<Basis, NoBasis> {
    let nothing = || NoBasis::Nothing(profile.name.clone());
    let usable: Vec<(&Evidence, Basis)> = profile
        .evidence
        .iter()
        .filter_map(|one| Some((one, alone(one)?)))
        .collect();
    let (_, newest) = usable.last().ok_or_else(nothing)?;
    let foretold = profile.foretold().map_err(|_| nothing())?;
    let mut errors: Vec<f64> = usable.iter().map(|(_, basis)| basis.pair_error).collect();
    errors.sort_by(f64::total_cmp);
    let mut basis = newest.clone();
    basis.paper.name = match profile.particulars.paper.trim() {
        "" => basis.paper.name,
        paper => paper.to_owned(),
    };
    basis.coating.name.clone_from(&profile.name);
    basis.stops = foretold.next;
    basis.clicks = foretold.clicks;
    basis.pair_error = errors[errors.len() / 2];
    basis.origin = Origin::Sessions(foretold.sessions.len());
    basis.drift = foretold.drift;
    Ok(basis)
}

/// What one session of a profile knows.
fn alone(evidence: &Evidence) -> Option<Basis> {
    let [reference, coupon] = &evidence.strips;
    let tested = [
        Tested {
            name: &evidence.pair.reference,
            exposures: &reference.exposures,
        },
        Tested {
            name: &evidence.pair.coupon,
            exposures: &coupon.exposures,
        },
    ];
    let settings = &evidence.settings;
    Basis::of_pair(
        &evidence.answer,
        tested,
        settings.lag,
        settings.aperture_error_stops,
        0.0,
    )
    .ok()
}
