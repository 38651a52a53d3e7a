//! What is known of photographic materials before a strip is read.
//!
//! Each prior is a normal distribution so wide that it matters only where the steps leave
//! the parameter free. Where the numbers come from: papers and liquid emulsions reach net
//! densities of 1.1 to 2.2, grades 0 to 5 have ranges R of 50 to 170 (the bounds of the
//! ANSI PH2.2-1966 appendix), and the shapes are those of log-normal grain sizes, mixtures
//! of two emulsions, long toes and surfaces that reflect (fitted without noise in
//! tests/curve_study).

use super::evidence::Usable;
use super::model::{ANCHOR_X, DMIN, LN_NET, LN_Q, LN_RANGE, LN_S, PARAMETERS};

/// A normal distribution.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Normal {
    /// Its mean.
    pub mean: f64,
    /// Its standard deviation.
    pub sd: f64,
}

/// ln of the net density: 1.6, times or divided by 1.4 at one standard deviation.
pub const LN_NET_PRIOR: Normal = Normal {
    mean: 0.470,
    sd: 0.35,
};
/// ln of the ISO range: R 105, times or divided by 1.5.
pub const LN_RANGE_PRIOR: Normal = Normal {
    mean: 4.654,
    sd: 0.40,
};
/// ln q, the shoulder's shape; 0 is the logistic curve.
pub const LN_Q_PRIOR: Normal = Normal {
    mean: -0.3,
    sd: 0.8,
};
/// ln s, the toe's shape; 0 is the logistic curve.
pub const LN_S_PRIOR: Normal = Normal { mean: 0.2, sd: 0.6 };
/// Spread of the anchor's log exposure about the middle of the steps, decades: only keeps a
/// strip that is dark or light all over from running away.
pub const ANCHOR_SPREAD: f64 = 1.5;
/// Without a margin: Dmin about the lightest step less half this, density.
pub const DMIN_SPREAD: f64 = 0.15;
/// How much wider every prior is when priors are switched off: what is left only keeps the
/// arithmetic finite.
pub const SWITCHED_OFF: f64 = 4.0;

/// Density of the model discrepancy, where net density is half of the full one: no paper is
/// our formula. It falls to nothing toward Dmin and Dmax.
pub const DISCREPANCY: f64 = 0.008;
/// Log exposure over which the discrepancy stays alike, decades.
pub const DISCREPANCY_LENGTH: f64 = 0.2;

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
    set(LN_NET, LN_NET_PRIOR);
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
