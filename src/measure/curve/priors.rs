//! What is known of photographic materials before a strip is read.
//!
//! A prior decides only what the steps leave free, so it must be wide where steps often say
//! nothing: it is flat over every net density that papers and coats have, and normal, wide, over
//! range and shapes. Where the numbers come from: printing papers reach net densities of 1.4
//! (matt) to 2.1 (glossy), coats by hand 0.6 to 2.0 (common practice, no source); grades 0 to 5
//! have ranges R of 50 to 170 (the bounds of the ANSI PH2.2-1966 appendix). The shapes lie
//! between a normal distribution of the grains' log sensitivities, which has ln q below -4 and
//! ln s near 2.6, and the logistic curve with 0 and 0; long toes, sharp shoulders, two emulsions
//! in one coat and surfaces that reflect lie between and beyond, the formula fitted to them
//! without noise by least squares.

use super::evidence::Usable;
use super::model::{ANCHOR_X, DMIN, LN_NET, LN_Q, LN_RANGE, LN_S, PARAMETERS};
use crate::measure::strip::Role;

/// A distribution of a parameter before the steps are read.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum Prior {
    /// Normal.
    Normal {
        /// Its mean.
        mean: f64,
        /// Its standard deviation.
        sd: f64,
    },
    /// Equal chances from `low` to `high`, falling beyond as a normal distribution does.
    Flat {
        /// Lower end.
        low: f64,
        /// Upper end.
        high: f64,
        /// Standard deviation of the fall beyond either end.
        edge: f64,
    },
}

impl Prior {
    /// Distance from what is expected, in standard deviations: -2 ln of the density is its square.
    pub(crate) fn distance(self, value: f64) -> f64 {
        match self {
            Self::Normal { mean, sd } => (value - mean) / sd,
            Self::Flat { low, high, edge } => (value - value.clamp(low, high)) / edge,
        }
    }

    /// Change of the distance with the value.
    pub(crate) fn slope(self, value: f64) -> f64 {
        match self {
            Self::Normal { sd, .. } => 1.0 / sd,
            Self::Flat { low, high, edge } => {
                if (low..=high).contains(&value) {
                    0.0
                } else {
                    1.0 / edge
                }
            }
        }
    }

    /// Its middle.
    pub(crate) fn middle(self) -> f64 {
        match self {
            Self::Normal { mean, .. } => mean,
            Self::Flat { low, high, .. } => 0.5 * (low + high),
        }
    }

    /// Its standard deviation, the edges left out.
    pub(crate) fn sd(self) -> f64 {
        match self {
            Self::Normal { sd, .. } => sd,
            Self::Flat { low, high, .. } => (high - low) / 12f64.sqrt(),
        }
    }

    /// The same, so many times wider.
    fn widened(self, times: f64) -> Self {
        match self {
            Self::Normal { mean, sd } => Self::Normal {
                mean,
                sd: sd * times,
            },
            Self::Flat { low, high, edge } => Self::Flat {
                low,
                high,
                edge: edge * times,
            },
        }
    }
}

/// ln of the net density of a printing paper: any from 1.0 to 2.34.
pub const LN_NET_PAPER: Prior = Prior::Flat {
    low: 0.0,
    high: 0.85,
    edge: 0.08,
};
/// ln of the net density of a hand-made coat: any from 0.4 to 2.34.
pub const LN_NET_COAT: Prior = Prior::Flat {
    low: -0.92,
    high: 0.85,
    edge: 0.08,
};
/// ln of the ISO range: R 99, times or divided by 1.5.
pub const LN_RANGE_PRIOR: Prior = Prior::Normal { mean: 4.6, sd: 0.4 };
/// ln q, the shoulder's shape; 0 is the logistic curve, and below -4 nothing changes.
pub const LN_Q_PRIOR: Prior = Prior::Normal {
    mean: -1.0,
    sd: 2.0,
};
/// ln s, the toe's shape; 0 is the logistic curve.
pub const LN_S_PRIOR: Prior = Prior::Normal { mean: 0.6, sd: 1.1 };
/// Spread of the anchor's log exposure about the middle of the steps, decades: only keeps a
/// strip that is dark or light all over from running away.
pub const ANCHOR_SPREAD: f64 = 1.5;
/// Dmin of a strip without unexposed coat: any from that of the whitest ground up; how far, its
/// lightest step says.
pub const DMIN_FREE: Prior = Prior::Flat {
    low: 0.02,
    high: 1.5,
    edge: 0.03,
};
/// How much wider every prior is when priors are switched off: what is left only keeps the
/// arithmetic finite.
pub const SWITCHED_OFF: f64 = 4.0;

/// The prior of ln of the net density, by what the strip is.
pub(crate) fn ln_net(role: Role) -> Prior {
    match role {
        Role::Reference => LN_NET_PAPER,
        Role::Coupon => LN_NET_COAT,
    }
}

/// The priors of one strip's parameters, in the order of the parameters.
pub(crate) fn of_strip(usable: &Usable, switched_on: bool) -> [Option<Prior>; PARAMETERS] {
    let widen = if switched_on { 1.0 } else { SWITCHED_OFF };
    let (low, high) = usable.x_span();
    let mut priors = [None; PARAMETERS];
    let mut set = |parameter: usize, prior: Prior| {
        priors[parameter] = Some(prior.widened(widen));
    };
    set(LN_NET, ln_net(usable.role));
    set(LN_RANGE, LN_RANGE_PRIOR);
    set(LN_Q, LN_Q_PRIOR);
    set(LN_S, LN_S_PRIOR);
    set(
        ANCHOR_X,
        Prior::Normal {
            mean: 0.5 * (low + high),
            sd: ANCHOR_SPREAD,
        },
    );
    if !usable.has_margin {
        set(DMIN, DMIN_FREE);
    }
    priors
}
