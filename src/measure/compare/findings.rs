//! What should be told about a pair.

use super::{BudgetPart, PairAnswer, Source};
use crate::measure::analysis::Settings;
use crate::measure::curve::StripEvidence;
use crate::measure::curve::model::SPEED_NET;
use crate::measure::exposure::{Incomparable, Series};
use crate::measure::finding::{Finding, Kind, Place, Weight};

/// f-numbers closer than this share are the same setting.
const SAME_APERTURE: f64 = 0.01;
/// Share of the variance from which the lamp's lag is worth a word.
const LAG_MATTERS: f64 = 0.2;
/// Half-width of the ratio's bounds, stops, below which no remedy is worth the trouble.
const FINE_ENOUGH: f64 = 0.05;
/// Ratio of the times of the two strips from which reciprocity failure is named: with the
/// exponent 0.9 it is 0.1 x log2 of the ratio, in stops.
const FAR_APART: f64 = 4.0;
/// The same for a caution.
const VERY_FAR_APART: f64 = 16.0;

/// Share of a coat's full net density beyond which middle grey is no middle tone of it (common
/// practice, no source: printing paper of net density 2 has it at 0.3).
const NEAR_DMAX: f64 = 0.6;
/// Unevenness of a reference, decades, from which it can't be factory-made paper, and how many
/// times that of the coupon it must be.
const UNEVEN_PAPER: f64 = 0.005;
const MORE_UNEVEN: f64 = 2.0;

/// Standard error of the ratio from the click stops, in stops; 0 at equal f-numbers.
pub(super) fn aperture_error(
    reference: &StripEvidence,
    coupon: &StripEvidence,
    settings: &Settings,
) -> f64 {
    let (a, b) = (reference.exposures.f_number, coupon.exposures.f_number);
    if (a / b).ln().abs() > SAME_APERTURE {
        settings.aperture_error_stops.abs()
    } else {
        0.0
    }
}

/// All findings about the pair as a pair.
pub(super) fn about_pair(
    reference: &StripEvidence,
    coupon: &StripEvidence,
    answer: &PairAnswer,
    aperture: f64,
) -> Vec<Finding> {
    let mut findings = vec![];
    if aperture > 0.0 {
        findings.push(different_apertures(reference, coupon, answer, aperture));
    }
    findings.extend(lamp_lag(coupon, answer));
    findings.extend(criterion_near_dmax(coupon, answer));
    findings.extend(reciprocity(reference, coupon));
    findings.extend(in_each_others_place(reference, coupon));
    findings
}

/// Two strips whose light can't be held against each other. The report knows their names.
pub(super) fn incomparable(
    reference: &StripEvidence,
    coupon: &StripEvidence,
    why: Incomparable,
) -> Finding {
    let word = why.word();
    let said = |strip: &StripEvidence| {
        let exposures = &strip.exposures;
        match why {
            Incomparable::Magnification => exposures.magnification.is_some(),
            Incomparable::Filter => exposures.filter_density.is_some(),
            Incomparable::Height | Incomparable::TooHigh => exposures.height.is_some(),
            Incomparable::Enlarger => {
                exposures.magnification.is_some() && exposures.focal_length.is_some()
            }
        }
    };
    let without = if said(reference) {
        coupon.strip
    } else {
        reference.strip
    };
    let height = |strip: &StripEvidence| strip.exposures.height.unwrap_or(0.0);
    let (seen, remedy) = match why {
        Incomparable::Enlarger => (
            format!(
                "The reference's face lay {:.0} mm above the easel and the coupon's {:.0} mm, and \
                 the enlarger isn't said of both.",
                height(reference),
                height(coupon)
            ),
            "Write `magnification` (on the easel) and `lens` (focal length in mm) with both strips."
                .to_owned(),
        ),
        Incomparable::TooHigh => (
            "A strip's face lay so high that no place of the lens makes a picture sharp on it."
                .to_owned(),
            "Correct `height`, `magnification` or `lens` of the two strips.".to_owned(),
        ),
        _ => (
            format!("`{word}` is said of one of the two strips only."),
            format!(
                "Say `{word}` of both strips, or of neither if it was the same for both{}.",
                match why {
                    Incomparable::Filter => "; no filter is `filter: 0`",
                    Incomparable::Height => "; the easel itself is `height: 0`",
                    _ => "",
                }
            ),
        ),
    };
    Finding {
        kind: Kind::LightNotSaid,
        weight: Weight::Blocking,
        place: Place::strip(without),
        seen,
        matters: "The light of the two can't be compared: the ratio would be off by as many stops \
                  as that makes."
            .into(),
        remedy,
    }
}

/// Finds a reference that is a good deal more uneven than the coupon: factory-made paper is
/// always the more even of the two (common practice, no source), so the strips were probably
/// listed in each other's place.
fn in_each_others_place(reference: &StripEvidence, coupon: &StripEvidence) -> Option<Finding> {
    let [paper, coat] = [reference, coupon].map(|e| e.reading.unevenness.exposure_decades);
    (paper > UNEVEN_PAPER && paper > MORE_UNEVEN * coat).then(|| Finding {
        kind: Kind::PoorFit,
        weight: Weight::Caution,
        place: Place::strip(reference.strip),
        seen: format!(
            "The reference is {:.0} times as uneven as the coupon, though no hand coats as evenly \
             as a factory.",
            paper / coat
        ),
        matters: "If the two are listed in each other's place, the ratio is upside down.".into(),
        remedy: "Compare the strips with their outlines: is each the one that it is listed as, \
                 and is the list of exposures right?"
            .into(),
    })
}

fn different_apertures(
    reference: &StripEvidence,
    coupon: &StripEvidence,
    answer: &PairAnswer,
    aperture: f64,
) -> Finding {
    let half_widths = (
        answer.stops.half_width(),
        answer.stops_exact_aperture.half_width(),
    );
    let matters = match half_widths {
        (Some(with), Some(without)) => format!(
            "Click stops are not exact: an error of {aperture:.2} stops is in the bounds, which \
             are ±{with:.2} stops with it and would be ±{without:.2} without."
        ),
        _ => format!("Click stops are not exact: they add {aperture:.2} stops of error."),
    };
    Finding {
        kind: Kind::DifferentApertures,
        weight: Weight::Caution,
        place: Place::strip(coupon.strip),
        seen: format!(
            "The reference was exposed at f/{:.1}, the coupon at f/{:.1}.",
            reference.exposures.f_number, coupon.exposures.f_number
        ),
        matters,
        remedy: "Expose both strips at one aperture; if the times then differ too much, put a \
                 filter of known density in the light."
            .into(),
    }
}

/// Finds a coat so thin or so little developed that middle grey is one of its darkest tones.
fn criterion_near_dmax(coupon: &StripEvidence, answer: &PairAnswer) -> Option<Finding> {
    let net = answer.coupon.dmax.value? - answer.coupon.dmin.value?;
    (SPEED_NET > NEAR_DMAX * net).then(|| Finding {
        kind: Kind::CriterionNearDmax,
        weight: Weight::Caution,
        place: Place::strip(coupon.strip),
        seen: format!(
            "The full net density of the coupon is {net:.2}, and the ratio is that at net density \
             {SPEED_NET:.2}: {:.0} % of it.",
            100.0 * SPEED_NET / net
        ),
        matters:
            "Middle grey of the paper is one of this coat's darkest tones. A print exposed by \
                  this ratio is far too dark in the highlights."
                .into(),
        remedy: "Plan by the highlights instead (see the ratio by tone), or coat heavier and \
                 develop longer, and test again."
            .into(),
    })
}

fn lamp_lag(coupon: &StripEvidence, answer: &PairAnswer) -> Option<Finding> {
    let is_lag = |part: &&BudgetPart| part.source == Source::LampLag;
    let part = answer.budget.iter().find(is_lag)?;
    let half_width = answer.stops.half_width()?;
    if part.share < LAG_MATTERS || half_width < FINE_ENOUGH {
        return None;
    }
    Some(Finding {
        kind: Kind::LampLag,
        weight: Weight::Note,
        place: Place::strip(coupon.strip),
        seen: format!(
            "The lamp's lag, known only roughly, makes {:.0} % of the variance of the ratio.",
            100.0 * part.share
        ),
        matters: format!("It adds an error of {:.2} stops.", part.stops),
        remedy: part.remedy.clone(),
    })
}

/// Middle of a strip's exposure times, seconds.
fn middle_time(series: &Series) -> Option<f64> {
    let mut times: Vec<f64> = series
        .doses()
        .iter()
        .map(|dose| dose.total.0)
        .filter(|time| time.is_finite() && *time > 0.0)
        .collect();
    times.sort_by(f64::total_cmp);
    times.get(times.len() / 2).copied()
}

fn reciprocity(reference: &StripEvidence, coupon: &StripEvidence) -> Option<Finding> {
    let reference_time = middle_time(&reference.exposures.series)?;
    let coupon_time = middle_time(&coupon.exposures.series)?;
    let apart = coupon_time / reference_time;
    let far = apart.max(1.0 / apart);
    if far < FAR_APART {
        return None;
    }
    let stops = 0.1 * far.log2();
    Some(Finding {
        kind: Kind::Reciprocity,
        weight: if far < VERY_FAR_APART {
            Weight::Note
        } else {
            Weight::Caution
        },
        place: Place::strip(coupon.strip),
        seen: format!(
            "The middle steps got {reference_time:.1} s on the reference and {coupon_time:.1} s \
             on the coupon."
        ),
        matters: format!(
            "Materials respond a little less to the same light spread over a longer time; with a \
             typical exponent of 0.9 that would be {stops:.1} stops, which the bounds leave out."
        ),
        remedy: "Use the ratio for times like those tested, or expose the strips so that their \
                 times lie closer."
            .into(),
    })
}
