//! Whether the coating takes the scale of tones that the print has on paper.
//!
//! "Good prints when the exposure range of the paper equals the density range of the negative"
//! (introduction of ISO 6846:1992): the exposure range that the print uses on paper is laid
//! beside the ISO range of the coating.

use super::basis::Basis;
use super::planned::Scale;
use super::recipe::Recipe;
use crate::measure::curve::model::{SHOULDER_SHARE, TOE_NET};
use crate::measure::finding::{Finding, Kind, Place, Weight};

/// Difference of the ranges, ISO R, from which a word is said: about a grade of paper (the
/// grades of ANSI PH2.2-1966 are 15 to 30 apart; inner bounds from memory).
const A_GRADE: f64 = 20.0;
/// Difference from which the print isn't possible: two grades.
const TWO_GRADES: f64 = 40.0;

/// Lightness L* by which the lightest tone may come out darker than on the paper, and the darkest
/// lighter, before it is told (common practice, no source: 10 is a step that everybody sees side by
/// side; coats that are poured by hand are rarely as black as paper).
const VEILED: f64 = 10.0;
const WEAK: f64 = 20.0;

/// The scale of tones at a shift (decades of light that the coating gets more than the
/// paper), and what to say about it.
pub(super) fn scale(recipe: &Recipe, basis: &Basis, shift: f64) -> (Option<Scale>, Vec<Finding>) {
    let (paper, coating) = (&basis.paper.curve, &basis.coating.curve);
    let (light, dark) = recipe
        .tones
        .unwrap_or((TOE_NET, SHOULDER_SHARE * paper.full()));
    let mut findings = vec![];
    let (first, last) = paper.span();
    let x = |net: f64| {
        paper
            .x_at(net)
            .unwrap_or(if net > paper.least() { last } else { first })
    };
    let ends = (x(light), x(dark));
    if dark > paper.full() {
        findings.push(beyond_paper(dark, basis));
    }
    let range = coating.range();
    let scale = Scale {
        on_paper: (paper.net(ends.0), paper.net(ends.1)),
        on_coating: (coating.net(ends.0 + shift), coating.net(ends.1 + shift)),
        needed_range: 100.0 * (ends.1 - ends.0),
        coating_range: 100.0 * (range.1 - range.0),
    };
    let contrast = about(&scale, recipe.tones.is_some(), basis);
    // A word on contrast names the densities already.
    if contrast.is_none() {
        findings.extend(not_kept(&scale, basis));
    }
    findings.extend(contrast);
    (Some(scale), findings)
}

/// Lightness L* of a net density against the bare support (CIE 15, for reflectances from about
/// 0.009 on).
fn lightness(net: f64) -> f64 {
    116.0 * 10f64.powf(-net / 3.0) - 16.0
}

/// Judges where the two ends of the scale come out, whatever the exposure ranges say: two curves
/// of one range can still differ in full density, and the shift may be that of a dark tone.
fn not_kept(scale: &Scale, basis: &Basis) -> Option<Finding> {
    let away = |(paper, coating): (f64, f64)| lightness(coating) - lightness(paper);
    let light = (scale.on_paper.0, scale.on_coating.0);
    let dark = (scale.on_paper.1, scale.on_coating.1);
    let (end, (on_paper, on_coating), how, remedy) = if away(light) < -VEILED {
        let remedy = "Meet the highlights instead of the middle grey, or coat heavier and develop \
                      longer so that the coat's darkest tone is darker.";
        ("lightest", light, "a veil over the highlights", remedy)
    } else if away(dark) > WEAK {
        let remedy = "Coat heavier or develop longer, and test again; or choose a picture that \
                      needs no black.";
        ("darkest", dark, "no full black", remedy)
    } else {
        return None;
    };
    Some(Finding {
        kind: Kind::ScaleNotKept,
        weight: Weight::Caution,
        place: Place::default(),
        seen: format!(
            "The {end} tone that matters, net density {on_paper:.2} on the paper, comes out at \
             {on_coating:.2} on {}.",
            basis.coating.name
        ),
        matters: format!("The print has {how}, though the exposure ranges go together."),
        remedy: remedy.into(),
    })
}

fn about(scale: &Scale, told: bool, basis: &Basis) -> Option<Finding> {
    let difference = scale.needed_range - scale.coating_range;
    if difference.abs() < A_GRADE {
        return None;
    }
    // Where nobody says which tones matter, the whole scale of the paper is only a guess; and
    // what even the doubt about the coating's range can't mend is meant.
    let sure = basis.coating.range_bounds.is_some_and(|(low, high)| {
        if difference > 0.0 {
            scale.needed_range - high > TWO_GRADES - A_GRADE
        } else {
            low - scale.needed_range > TWO_GRADES - A_GRADE
        }
    });
    let impossible = told && sure && difference.abs() >= TWO_GRADES;
    let harder = difference > 0.0;
    let word = if harder { "high" } else { "low" };
    let lead = if impossible {
        format!("Cannot be printed: contrast too {word} for this negative.")
    } else {
        format!("The coating's contrast is {word} for this negative.")
    };
    let whole = if told {
        "between the lightest and the darkest tone that matter"
    } else {
        "if it uses the paper's whole scale"
    };
    Some(Finding {
        kind: if harder {
            Kind::ContrastTooHigh
        } else {
            Kind::ContrastTooLow
        },
        weight: if impossible {
            Weight::Blocking
        } else {
            Weight::Caution
        },
        place: Place::default(),
        seen: format!(
            "{lead} The print needs an exposure range of ISO R {:.0} {whole}; {} takes {:.0}.",
            scale.needed_range, basis.coating.name, scale.coating_range
        ),
        matters: if harder {
            format!(
                "Net densities {:.2} and {:.2} of the paper come out as {:.2} and {:.2}: \
                 highlights without detail, shadows that block, or both.",
                scale.on_paper.0, scale.on_paper.1, scale.on_coating.0, scale.on_coating.1
            )
        } else {
            format!(
                "Net densities {:.2} and {:.2} of the paper come out as {:.2} and {:.2}: a flat \
                 print without a full white or black.",
                scale.on_paper.0, scale.on_paper.1, scale.on_coating.0, scale.on_coating.1
            )
        },
        remedy: if harder {
            "Print a softer copy of the negative, give the coat a weak overall exposure before \
             the picture, or develop it softer; then test again."
                .into()
        } else {
            "Print a harder copy of the negative, or develop the coat harder; then test again."
                .into()
        },
    })
}

fn beyond_paper(dark: f64, basis: &Basis) -> Finding {
    Finding {
        kind: Kind::ToneOutOfReach,
        weight: Weight::Note,
        place: Place::default(),
        seen: format!(
            "The recipe's darkest tone has net density {dark:.2}; the tested curve of {} ends at \
             {:.2}.",
            basis.paper.name,
            basis.paper.curve.full()
        ),
        matters: "The darkest tone is taken as that of the curve's end.".into(),
        remedy: "Read the print's darkest tone again, or test the paper with longer exposures."
            .into(),
    }
}
