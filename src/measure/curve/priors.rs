//! What is known of photographic materials before a strip is read.
//!
//! Each prior is a normal distribution so wide that it matters only where the steps leave
//! the parameter free. Where the numbers come from: printing papers reach net densities of 1.4
//! (matt) to 2.1 (glossy), coats by hand 1.0 to 1.8 (common practice, no source), all of them
//! alike likely: the priors have the mean and the spread of that;
//! grades 0 to 5 have ranges R of 50 to 170 (the bounds of the ANSI PH2.2-1966 appendix). The
//! shapes lie between a normal distribution of the grains' log sensitivities, which has
//! ln q below -4 and ln s near 2.6, and the logistic curve with 0 and 0; long toes, sharp
//! shoulders, two emulsions in one coat and surfaces that reflect lie between, the formula
//! fitted to them without noise by least squares.

use super::evidence::Usable;
use super::model::{ANCHOR_X, DMIN, LN_NET, LN_Q, LN_RANGE, LN_S, PARAMETERS};
use crate::measure::strip::Role;

/// A normal distribution.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Normal {
    /// Its mean.
    pub mean: f64,
    /// Its standard deviation.
    pub sd: f64,
}

/// ln of the net density of a printing paper, uniform from 1.4 to 2.1: 1.74, times or divided by
/// 1.12 at one standard deviation.
pub const LN_NET_PAPER: Normal = Normal {
    mean: 0.553,
    sd: 0.116,
};
/// ln of the net density of a hand-made coat, uniform from 1.0 to 1.8: 1.38, times or divided by
/// 1.18.
pub const LN_NET_COAT: Normal = Normal {
    mean: 0.322,
    sd: 0.167,
};
/// ln of the ISO range: R 105, times or divided by 1.28.
pub const LN_RANGE_PRIOR: Normal = Normal {
    mean: 4.65,
    sd: 0.25,
};
/// ln q, the shoulder's shape; 0 is the logistic curve, and below -4 nothing changes.
pub const LN_Q_PRIOR: Normal = Normal {
    mean: -2.5,
    sd: 1.2,
};
/// ln s, the toe's shape; 0 is the logistic curve.
pub const LN_S_PRIOR: Normal = Normal { mean: 1.6, sd: 0.8 };
/// Spread of the anchor's log exposure about the middle of the steps, decades: only keeps a
/// strip that is dark or light all over from running away.
pub const ANCHOR_SPREAD: f64 = 1.5;
/// Without a margin: Dmin about the lightest step less half this, density.
pub const DMIN_SPREAD: f64 = 0.15;
/// How much wider every prior is when priors are switched off: what is left only keeps the
/// arithmetic finite.
pub const SWITCHED_OFF: f64 = 4.0;

/// Density of the model discrepancy, where net density is half of the full one: no paper is
/// our formula. It falls to nothing toward Dmin and Dmax. The formula fitted without noise
/// misses the shapes named above by 0.001 to 0.011.
pub const DISCREPANCY: f64 = 0.011;
/// How slowly it falls: the power of 4 F (1 - F), F the share of net density. Toe and shoulder
/// are where formulas differ most, so it is held up there.
pub const DISCREPANCY_POWER: f64 = 0.25;
/// Log exposure over which the discrepancy stays alike, decades.
pub const DISCREPANCY_LENGTH: f64 = 0.2;

/// The prior of ln of the net density, by what the strip is.
pub(crate) fn ln_net(role: Role) -> Normal {
    match role {
        Role::Reference => LN_NET_PAPER,
        Role::Coupon => LN_NET_COAT,
    }
}

/// The priors of one strip's parameters, in the order of the parameters.
pub(crate) fn of_strip(usable: &Usable, switched_on: bool) -> [Option<Normal>; PARAMETERS] {
    let widen = if switched_on { 1.0 } else { SWITCHED_OFF };
    let (low, high) = usable.x_span();
    let mut priors = [None; PARAMETERS];
    let mut set = |parameter: usize, prior: Normal| {
        priors[parameter] = Some(Normal {
            sd: prior.sd * widen,
            ..prior
        });
    };
    set(LN_NET, ln_net(usable.role));
    set(LN_RANGE, LN_RANGE_PRIOR);
    set(LN_Q, LN_Q_PRIOR);
    set(LN_S, LN_S_PRIOR);
    set(
        ANCHOR_X,
        Normal {
            mean: 0.5 * (low + high),
            sd: ANCHOR_SPREAD,
        },
    );
    if !usable.has_margin {
        set(
            DMIN,
            Normal {
                mean: usable.base() - 0.5 * DMIN_SPREAD,
                sd: DMIN_SPREAD,
            },
        );
    }
    priors
}
