//! The contrast of a coat against its paper, in sentences.

use super::words::{self, CONTRAST, Directions};
use crate::measure::compare::ToneContrast;
use crate::measure::estimate::Estimate;

/// Stops softer and harder, from one tone to another.
pub(crate) const TONES: Directions = Directions {
    more: "softer",
    less: "harder",
    unit: [" stop", " stops"],
    decimals: 2,
};

/// What ISO R is, wherever one is shown.
pub(crate) const WHAT_RANGE_IS: &str =
    "ISO R is as ISO 6846 defines it, for comparing strips; it is not a paper's printed grade.";

/// Contrast over the tones that both strips show.
pub(crate) fn by_tones(paper: &str, contrast: &ToneContrast) -> String {
    let (Some(value), Some(quotient)) = (contrast.stops.value, contrast.quotient.value) else {
        return format!(
            "No contrast against {paper} can be given, because {}.",
            words::reason(&contrast.stops)
        );
    };
    let direction = if value < 0.0 { "Harder" } else { "Softer" };
    let bounds = contrast
        .stops
        .bounds()
        .map_or_else(String::new, |(low, high)| {
            format!(" (95 %: {})", TONES.span(low, high))
        });
    let times = |value: f64| words::plain(value, 2);
    let range = contrast
        .quotient
        .bounds()
        .map_or_else(String::new, |(low, high)| {
            format!(" (95 %: {} to {})", times(low), times(high))
        });
    format!(
        "{direction} than {paper} by {}{bounds}: {} the emulsion takes {} times the range of \
         exposure{range}.",
        TONES.amount(value),
        between(contrast),
        times(quotient)
    )
}

/// "From net density 0.10 to 1.10".
pub(crate) fn between(contrast: &ToneContrast) -> String {
    match (contrast.light, contrast.dark) {
        (Some(light), Some(dark)) => format!(
            "from net density {} to {}",
            words::plain(light, 2),
            words::plain(dark, 2)
        ),
        _ => "over the tones that both show".into(),
    }
}

/// The difference of the ISO ranges.
pub(crate) fn by_range(paper: &str, difference: &Estimate) -> String {
    let Some(value) = difference.value else {
        return format!(
            "No difference of ISO R against {paper} can be given, because {}.",
            words::reason(difference)
        );
    };
    let signed = |value: f64| words::signed(value, CONTRAST.decimals);
    let bounds = difference.bounds().map_or_else(
        || format!(", {}", words::interval(difference, signed)),
        |(low, high)| format!(" (95 %: {} to {})", signed(low), signed(high)),
    );
    format!(
        "ISO R of the emulsion less that of {paper}: {}{bounds}. {WHAT_RANGE_IS}",
        signed(value)
    )
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::measure::estimate::Gap;

    #[test]
    fn contrast_names_its_tones_and_both_bounds() {
        let contrast = ToneContrast {
            light: Some(0.1),
            dark: Some(1.1),
            stops: Estimate::between(0.75, 0.3, 0.12, 1.35),
            quotient: Estimate::between(1.25, 0.1, 1.04, 1.5),
        };
        assert_eq!(
            by_tones("Paper", &contrast),
            "Softer than Paper by 0.75 stops (95 %: 0.12 to 1.35 stops softer): from net density \
             0.10 to 1.10 the emulsion takes 1.25 times the range of exposure (95 %: 1.04 to 1.50)."
        );
        assert_eq!(
            by_tones("Paper", &ToneContrast::absent(Gap::FewCommonTones)),
            "No contrast against Paper can be given, because both strips show too few tones in \
             common."
        );
    }

    #[test]
    fn a_range_says_which_end_lacks_steps() {
        assert_eq!(
            by_range("Paper", &Estimate::absent(Gap::ShoulderNotReached)),
            "No difference of ISO R against Paper can be given, because no step is dark enough to \
             reach 90 % of the full density."
        );
        let said = by_range("Paper", &Estimate::between(36.2, 5.0, 26.6, 46.1));
        assert!(
            said.starts_with("ISO R of the emulsion less that of Paper: +36 (95 %: +27 to +46).")
        );
    }
}
