//! A session's answer in the file.

use serde::{Deserialize, Serialize};

use super::line::OneLine;
use crate::measure::compare::{BudgetPart, PairAnswer, Source, ToneContrast, ToneRatio};
use crate::measure::curve::{CurveAnswer, CurvePoint, MeasuredPoint};
use crate::measure::estimate::{End, Estimate, Gap};

#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[serde(rename = "Answer", deny_unknown_fields)]
pub(super) struct AnswerFields {
    stops: OneLine<EstimateFields>,
    stops_exact_aperture: OneLine<EstimateFields>,
    ratio: OneLine<EstimateFields>,
    ratio_exact_aperture: OneLine<EstimateFields>,
    contrast_difference: OneLine<EstimateFields>,
    /// Not in files of before it was told.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    contrast_by_tones: Option<OneLine<ContrastFields>>,
    by_tone: Vec<OneLine<ToneFields>>,
    budget: Vec<OneLine<BudgetFields>>,
    reference: CurveFields,
    coupon: CurveFields,
}

/// An end that isn't there has a reason.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[serde(rename = "Estimate", deny_unknown_fields)]
struct EstimateFields {
    #[serde(default, skip_serializing_if = "Option::is_none")]
    value: Option<f64>,
    #[serde(default, skip_serializing_if = "Option::is_none")]
    error: Option<f64>,
    #[serde(default, skip_serializing_if = "Option::is_none")]
    lower: Option<f64>,
    #[serde(default, skip_serializing_if = "Option::is_none")]
    upper: Option<f64>,
    #[serde(default, skip_serializing_if = "Option::is_none")]
    no_lower: Option<GapWord>,
    #[serde(default, skip_serializing_if = "Option::is_none")]
    no_upper: Option<GapWord>,
}

#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
#[serde(rename = "gap", rename_all = "snake_case")]
enum GapWord {
    AllStepsAbove,
    AllStepsBelow,
    TooFewSteps,
    MostlyPrior,
    ToeNotReached,
    ShoulderNotReached,
    EndsNotReached,
    FewCommonTones,
    UncertainSteps,
    PictureDetail,
    LightNotSaid,
    NotMeasured,
}

#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[serde(rename = "Tone", deny_unknown_fields)]
struct ToneFields {
    net_density: f64,
    stops: EstimateFields,
}

#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[serde(rename = "Contrast", deny_unknown_fields)]
struct ContrastFields {
    #[serde(default, skip_serializing_if = "Option::is_none")]
    light: Option<f64>,
    #[serde(default, skip_serializing_if = "Option::is_none")]
    dark: Option<f64>,
    stops: EstimateFields,
    quotient: EstimateFields,
}

#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[serde(rename = "Part", deny_unknown_fields)]
struct BudgetFields {
    source: SourceWord,
    stops: f64,
    share: f64,
}

#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
#[serde(rename = "source", rename_all = "snake_case")]
enum SourceWord {
    Fit,
    Unevenness,
    DensityScale,
    LampLag,
    Timing,
    Aperture,
    Repeats,
    ScanRepeats,
    Places,
}

#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[serde(rename = "Curve", deny_unknown_fields)]
struct CurveFields {
    dmin: OneLine<EstimateFields>,
    dmax: OneLine<EstimateFields>,
    speed_point: OneLine<EstimateFields>,
    range: OneLine<EstimateFields>,
    mean_gradient: OneLine<EstimateFields>,
    /// Step from 1, 0 for the margin.
    points: Vec<OneLine<PointFields>>,
    /// Log exposure, density, lower and upper end of the band.
    curve: Vec<OneLine<(f64, f64, f64, f64)>>,
}

#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[serde(rename = "Point", deny_unknown_fields)]
struct PointFields {
    step: usize,
    #[serde(default, skip_serializing_if = "Option::is_none")]
    log_exposure: Option<f64>,
    density: f64,
    error: f64,
    #[serde(default, skip_serializing_if = "Option::is_none")]
    residual: Option<f64>,
    #[serde(default, skip_serializing_if = "std::ops::Not::not")]
    excluded: bool,
}

macro_rules! words {
    ($word:ident, $inner:ident, $($name:ident),+) => {
        impl From<$inner> for $word {
            fn from(inner: $inner) -> Self {
                match inner {
                    $($inner::$name => Self::$name),+
                }
            }
        }
        impl From<$word> for $inner {
            fn from(word: $word) -> Self {
                match word {
                    $($word::$name => Self::$name),+
                }
            }
        }
    };
}

words!(
    GapWord,
    Gap,
    AllStepsAbove,
    AllStepsBelow,
    TooFewSteps,
    MostlyPrior,
    ToeNotReached,
    ShoulderNotReached,
    EndsNotReached,
    FewCommonTones,
    UncertainSteps,
    PictureDetail,
    LightNotSaid,
    NotMeasured
);

words!(
    SourceWord,
    Source,
    Fit,
    Unevenness,
    DensityScale,
    LampLag,
    Timing,
    Aperture,
    Repeats,
    ScanRepeats,
    Places
);

fn told(estimate: &Estimate) -> EstimateFields {
    let gap = |end: End| match end {
        End::At(_) => None,
        End::Open(gap) => Some(gap.into()),
    };
    EstimateFields {
        value: estimate.value,
        error: estimate.standard_error,
        lower: estimate.lower.at(),
        upper: estimate.upper.at(),
        no_lower: gap(estimate.lower),
        no_upper: gap(estimate.upper),
    }
}

fn read(fields: EstimateFields) -> Estimate {
    let end = |at: Option<f64>, gap: Option<GapWord>| match at {
        Some(at) => End::At(at),
        None => End::Open(gap.map_or(Gap::NotMeasured, Into::into)),
    };
    Estimate {
        value: fields.value,
        standard_error: fields.error,
        lower: end(fields.lower, fields.no_lower),
        upper: end(fields.upper, fields.no_upper),
    }
}

impl AnswerFields {
    pub(super) fn of(answer: &PairAnswer) -> Self {
        let line = |estimate: &Estimate| OneLine(told(estimate));
        Self {
            stops: line(&answer.stops),
            stops_exact_aperture: line(&answer.stops_exact_aperture),
            ratio: line(&answer.ratio),
            ratio_exact_aperture: line(&answer.ratio_exact_aperture),
            contrast_difference: line(&answer.contrast_difference),
            contrast_by_tones: Some(OneLine(ContrastFields {
                light: answer.contrast_by_tones.light,
                dark: answer.contrast_by_tones.dark,
                stops: told(&answer.contrast_by_tones.stops),
                quotient: told(&answer.contrast_by_tones.quotient),
            })),
            by_tone: answer
                .by_tone
                .iter()
                .map(|tone| {
                    OneLine(ToneFields {
                        net_density: tone.net_density,
                        stops: told(&tone.stops),
                    })
                })
                .collect(),
            budget: answer
                .budget
                .iter()
                .map(|part| {
                    OneLine(BudgetFields {
                        source: part.source.into(),
                        stops: part.stops,
                        share: part.share,
                    })
                })
                .collect(),
            reference: CurveFields::of(&answer.reference),
            coupon: CurveFields::of(&answer.coupon),
        }
    }

    pub(super) fn answer(self) -> PairAnswer {
        PairAnswer {
            reference: self.reference.curve(),
            coupon: self.coupon.curve(),
            stops: read(self.stops.0),
            ratio: read(self.ratio.0),
            stops_exact_aperture: read(self.stops_exact_aperture.0),
            ratio_exact_aperture: read(self.ratio_exact_aperture.0),
            contrast_difference: read(self.contrast_difference.0),
            contrast_by_tones: self.contrast_by_tones.map_or_else(
                || ToneContrast::absent(Gap::NotMeasured),
                |OneLine(contrast)| ToneContrast {
                    light: contrast.light,
                    dark: contrast.dark,
                    stops: read(contrast.stops),
                    quotient: read(contrast.quotient),
                },
            ),
            by_tone: self
                .by_tone
                .into_iter()
                .map(|OneLine(tone)| ToneRatio {
                    net_density: tone.net_density,
                    stops: read(tone.stops),
                })
                .collect(),
            budget: self
                .budget
                .into_iter()
                .map(|OneLine(part)| {
                    let source = Source::from(part.source);
                    BudgetPart {
                        source,
                        stops: part.stops,
                        share: part.share,
                        remedy: source.remedy().into(),
                    }
                })
                .collect(),
        }
    }
}

impl CurveFields {
    fn of(curve: &CurveAnswer) -> Self {
        let line = |estimate: &Estimate| OneLine(told(estimate));
        Self {
            dmin: line(&curve.dmin),
            dmax: line(&curve.dmax),
            speed_point: line(&curve.speed_point),
            range: line(&curve.range),
            mean_gradient: line(&curve.mean_gradient),
            points: curve
                .points
                .iter()
                .map(|point| {
                    OneLine(PointFields {
                        step: point.step.map_or(0, |step| step + 1),
                        log_exposure: point.log_exposure,
                        density: point.density,
                        error: point.standard_error,
                        residual: point.residual,
                        excluded: point.excluded,
                    })
                })
                .collect(),
            curve: curve
                .curve
                .iter()
                .map(|at| OneLine((at.log_exposure, at.density, at.lower, at.upper)))
                .collect(),
        }
    }

    fn curve(self) -> CurveAnswer {
        CurveAnswer {
            dmin: read(self.dmin.0),
            dmax: read(self.dmax.0),
            speed_point: read(self.speed_point.0),
            range: read(self.range.0),
            mean_gradient: read(self.mean_gradient.0),
            points: self
                .points
                .into_iter()
                .map(|OneLine(point)| MeasuredPoint {
                    step: point.step.checked_sub(1),
                    log_exposure: point.log_exposure,
                    density: point.density,
                    standard_error: point.error,
                    residual: point.residual,
                    excluded: point.excluded,
                })
                .collect(),
            curve: self
                .curve
                .into_iter()
                .map(
                    |OneLine((log_exposure, density, lower, upper))| CurvePoint {
                        log_exposure,
                        density,
                        lower,
                        upper,
                    },
                )
                .collect(),
        }
    }
}
