//! What the preview has to tell: shares of the picture's area, and where it had to hold tones.

use serde::Serialize;

use super::picture::Histogram;
use super::tones::{LEVELS, Loss, Table, Tones, density_of_level};
use crate::measure::finding::{Finding, Kind, Place, Weight};

/// Share of the picture beyond the tested steps from which it is told.
const WORTH_TELLING: f64 = 0.005;

/// Shares of the picture's area, 0 to 1.
#[derive(Debug, Clone, Copy, PartialEq, Default, Serialize)]
pub struct Shares {
    /// Blank on the coating: net density below 0.04.
    pub blank: f64,
    /// Of these, what has tone on the paper print: highlights that are lost.
    pub blank_lost: f64,
    /// Blocked on the coating: above 90 % of its full net density.
    pub blocked: f64,
    /// Of these, what isn't blocked on the paper print: shadows that are lost.
    pub blocked_lost: f64,
    /// Lighter than the lightest tested step of the paper, or darker than its darkest: shown
    /// as the nearest tested tone.
    pub beyond_paper: f64,
    /// Beyond the tested steps of the coating at this exposure: shown as the nearest tested
    /// tone.
    pub beyond_coat: f64,
}

/// Shares of the picture at one exposure.
pub fn shares(tones: &Tones, table: &Table, histogram: &Histogram) -> Shares {
    let total = histogram.total().max(1) as f64;
    let (lightest, darkest) = tones.paper().tested();
    let light = tones.paper().density(lightest).value();
    let dark = tones.paper().density(darkest).value();
    let mut shares = Shares::default();
    for level in 0..LEVELS {
        let share = histogram.counts[level] as f64 / total;
        if share == 0.0 {
            continue;
        }
        match table.loss[level] {
            Loss::None => {}
            Loss::Blank(lost) => {
                shares.blank += share;
                shares.blank_lost += if lost { share } else { 0.0 };
            }
            Loss::Blocked(lost) => {
                shares.blocked += share;
                shares.blocked_lost += if lost { share } else { 0.0 };
            }
        }
        if table.beyond[level] {
            let print = density_of_level(level);
            if print < light || print > dark {
                shares.beyond_paper += share;
            } else {
                shares.beyond_coat += share;
            }
        }
    }
    shares
}

/// What a person should be told of a preview.
pub fn findings(shares: &Shares) -> Vec<Finding> {
    let beyond = |share: f64, what: &str, remedy: &str| Finding {
        kind: Kind::TonesBeyondSteps,
        weight: Weight::Caution,
        place: Place::default(),
        seen: format!(
            "{} of the picture's area lies beyond {what}.",
            percent(share)
        ),
        matters: "It is shown as the nearest tested tone; what it will really be is not known."
            .into(),
        remedy: remedy.into(),
    };
    let mut told = Vec::new();
    if shares.beyond_paper > WORTH_TELLING {
        told.push(beyond(
            shares.beyond_paper,
            "the paper's tested steps",
            "Give the paper's strip lighter and darker steps.",
        ));
    }
    if shares.beyond_coat > WORTH_TELLING {
        told.push(beyond(
            shares.beyond_coat,
            "the coating's tested steps at this exposure",
            "Give the coated strip more steps, lighter and darker.",
        ));
    }
    told
}

/// A share in words: "3 %", "less than 1 %".
fn percent(share: f64) -> String {
    if share > 0.0 && share < 0.01 {
        "less than 1 %".into()
    } else {
        format!("{:.0} %", 100.0 * share)
    }
}
