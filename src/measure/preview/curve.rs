//! A characteristic curve between the steps that were tested.

use crate::measure::curve::model::{SHOULDER_SHARE, SPEED_NET, TOE_NET};
use crate::measure::curve::{CurveAnswer, DrawnCurve};

/// A log exposure or density read off a curve, and whether the curve was tested there.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum Reached {
    /// Between the lightest and the darkest step.
    Tested(f64),
    /// Lighter than the lightest step: the lightest step's value.
    Lighter(f64),
    /// Darker than the darkest step: the darkest step's value.
    Darker(f64),
}

impl Reached {
    /// The value, held at the end of the tested span where it lies beyond.
    pub fn value(self) -> f64 {
        match self {
            Self::Tested(value) | Self::Lighter(value) | Self::Darker(value) => value,
        }
    }
}

/// A drawn curve, used only between the steps that were tested.
#[derive(Debug, Clone, PartialEq)]
pub struct TestedCurve {
    drawn: DrawnCurve,
    /// Log exposures of the lightest and the darkest step that were used.
    tested: (f64, f64),
    /// Density that the curve tends to, or of its darkest drawn tone where that isn't known.
    dmax: f64,
}

impl TestedCurve {
    /// A drawn curve that was tested between two log exposures and tends to a density, if that
    /// is known.
    ///
    /// `None` when nothing between the two log exposures was drawn.
    pub fn new(drawn: DrawnCurve, tested: (f64, f64), dmax: Option<f64>) -> Option<Self> {
        let (first, last) = drawn.span();
        let tested = (tested.0.max(first), tested.1.min(last));
        if tested.0.is_nan() || tested.0 >= tested.1 {
            return None;
        }
        let dmax = dmax
            .filter(|dmax| *dmax > drawn.dmin)
            .unwrap_or(drawn.dmin + drawn.full());
        Some(Self {
            drawn,
            tested,
            dmax,
        })
    }

    /// The curve of a strip that was fitted; `None` where there is none.
    pub fn of(answer: &CurveAnswer) -> Option<Self> {
        let used = answer.points.iter().filter(|point| !point.excluded);
        let tested = used.filter_map(|point| point.log_exposure.filter(|x| x.is_finite()));
        let ends = tested.fold((f64::INFINITY, f64::NEG_INFINITY), |(low, high), x| {
            (low.min(x), high.max(x))
        });
        Self::new(DrawnCurve::of(answer)?, ends, answer.dmax.value)
    }

    /// Log exposures (decades) of the lightest and the darkest tested step.
    pub fn tested(&self) -> (f64, f64) {
        self.tested
    }

    /// Density of the unexposed material.
    pub fn dmin(&self) -> f64 {
        self.drawn.dmin
    }

    /// Density below which a tone is blank: net 0.04, the light end of the exposure range of
    /// ISO 6846.
    pub fn blank_below(&self) -> f64 {
        self.drawn.dmin + TOE_NET
    }

    /// Density above which tones are blocked: 90 % of the full net density, the dark end of
    /// the exposure range of ISO 6846.
    pub fn blocked_above(&self) -> f64 {
        self.drawn.dmin + SHOULDER_SHARE * (self.dmax - self.drawn.dmin)
    }

    /// Log exposure of the speed point (net 0.60, ISO 6846), held within the tested span.
    pub fn speed_point(&self) -> f64 {
        self.log_exposure(self.drawn.dmin + SPEED_NET).value()
    }

    /// Density at a log exposure (decades).
    pub fn density(&self, log_exposure: f64) -> Reached {
        let (low, high) = self.tested;
        if log_exposure < low {
            Reached::Lighter(self.drawn.density(low))
        } else if log_exposure > high {
            Reached::Darker(self.drawn.density(high))
        } else {
            Reached::Tested(self.drawn.density(log_exposure))
        }
    }

    /// Log exposure (decades) that gives a density; the curve the other way round.
    pub fn log_exposure(&self, density: f64) -> Reached {
        let (low, high) = self.tested;
        let net = density - self.drawn.dmin;
        if net < self.drawn.net(low) {
            return Reached::Lighter(low);
        }
        if net > self.drawn.net(high) {
            return Reached::Darker(high);
        }
        // Between the two it is drawn; a rounding at the ends can't lead out of it.
        let x = self
            .drawn
            .x_at(net.clamp(self.drawn.least(), self.drawn.full()));
        Reached::Tested(x.unwrap_or(high).clamp(low, high))
    }
}
