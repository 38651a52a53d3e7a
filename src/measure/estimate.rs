//! A value that never travels without its uncertainty, or the reason there is none.

use serde::Serialize;

/// Why an interval has no end on one side, or a quantity no value at all.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize)]
#[serde(rename_all = "kebab-case")]
pub enum Gap {
    /// Every step is darker than the criterion: the answer lies below the tested exposures.
    AllStepsAbove,
    /// Every step is lighter than the criterion: the answer lies above the tested exposures.
    AllStepsBelow,
    /// Too few usable steps to fit anything.
    TooFewSteps,
    /// The steps say next to nothing; what would be shown is the prior.
    MostlyPrior,
    /// No step is light enough to show the toe, net density 0.04.
    ToeNotReached,
    /// No step is dark enough to reach 90 % of the full density.
    ShoulderNotReached,
    /// The steps reach neither the toe nor 90 % of the full density.
    EndsNotReached,
    /// Both strips show too few tones in common.
    FewCommonTones,
    /// It isn't certain where the steps lie or which is which.
    UncertainSteps,
    /// A strip carries picture detail, so that its steps aren't even fields.
    PictureDetail,
    /// Magnification, filter or height is said of one of two strips only.
    LightNotSaid,
    /// Something this needs could not be measured.
    NotMeasured,
}

impl Gap {
    /// The reason in words, to stand after "no bound, because".
    pub fn reason(self) -> &'static str {
        match self {
            Self::AllStepsAbove => "every step is already darker than the criterion",
            Self::AllStepsBelow => "no step is dark enough to reach the criterion",
            Self::TooFewSteps => "too few steps could be measured",
            Self::MostlyPrior => "the steps do not reach that part of the curve",
            Self::ToeNotReached => "no step is light enough to show the toe (net density 0.04)",
            Self::ShoulderNotReached => "no step is dark enough to reach 90 % of the full density",
            Self::EndsNotReached => {
                "the steps reach neither the toe (net density 0.04) nor 90 % of the full density"
            }
            Self::FewCommonTones => "both strips show too few tones in common",
            Self::UncertainSteps => "it is not certain where the steps lie",
            Self::PictureDetail => "the steps carry picture detail",
            Self::LightNotSaid => "the light of the two strips can't be compared",
            Self::NotMeasured => "it could not be measured",
        }
    }
}

/// One end of an interval.
#[derive(Debug, Clone, Copy, PartialEq, Serialize)]
#[serde(rename_all = "kebab-case")]
pub enum End {
    /// The interval ends here.
    At(f64),
    /// The interval has no end on this side, and why.
    Open(Gap),
}

impl End {
    /// The number, if there is one.
    pub fn at(self) -> Option<f64> {
        match self {
            Self::At(value) => Some(value),
            Self::Open(_) => None,
        }
    }
}

/// A quantity with its 95 % interval.
///
/// `value` is absent when nothing sensible can be said; the ends then say why.
#[derive(Debug, Clone, Copy, PartialEq, Serialize)]
pub struct Estimate {
    /// Best value.
    pub value: Option<f64>,
    /// Standard error, in the unit of the value.
    pub standard_error: Option<f64>,
    /// Lower end of the 95 % interval.
    pub lower: End,
    /// Upper end of the 95 % interval.
    pub upper: End,
}

impl Estimate {
    /// A value with both ends known.
    pub fn between(value: f64, standard_error: f64, lower: f64, upper: f64) -> Self {
        Self {
            value: Some(value),
            standard_error: Some(standard_error),
            lower: End::At(lower),
            upper: End::At(upper),
        }
    }

    /// No value, and why.
    pub fn absent(why: Gap) -> Self {
        Self {
            value: None,
            standard_error: None,
            lower: End::Open(why),
            upper: End::Open(why),
        }
    }

    /// Both ends, when both are known.
    pub fn bounds(&self) -> Option<(f64, f64)> {
        Some((self.lower.at()?, self.upper.at()?))
    }

    /// Half the width of the interval, when both ends are known.
    pub fn half_width(&self) -> Option<f64> {
        self.bounds().map(|(lower, upper)| (upper - lower) / 2.0)
    }

    /// Whether the interval holds `truth`; an open end holds everything on its side.
    pub fn holds(&self, truth: f64) -> bool {
        self.lower.at().is_none_or(|lower| lower <= truth)
            && self.upper.at().is_none_or(|upper| truth <= upper)
    }

    /// The estimate after a strictly increasing change of unit.
    pub fn map(&self, change: impl Fn(f64) -> f64, slope_at_value: f64) -> Self {
        let end = |end: End| match end {
            End::At(value) => End::At(change(value)),
            open @ End::Open(_) => open,
        };
        Self {
            value: self.value.map(&change),
            standard_error: self
                .standard_error
                .map(|error| error * slope_at_value.abs()),
            lower: end(self.lower),
            upper: end(self.upper),
        }
    }
}
