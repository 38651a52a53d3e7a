//! Densities that no print has, and which encoding of the scan would make sense of them.

use super::sample::{Target, codes, main_channel, name, top_code};
use crate::measure::finding::{Finding, Kind, Place, Weight};
use crate::measure::raster::{Channel, Raster};

/// Darkest that a print gets, density: glossy silver prints come to 2.2, selenium-toned ones to
/// 2.4 (common practice, no source).
const DARKEST: f64 = 2.4;
/// Density from which no error of an assumed white or tone curve explains it any longer.
const BEYOND_DOUBT: f64 = 2.8;
/// The same at the light end, where nothing is lighter than a perfect white (density 0): an
/// assumed white may be off by so much, and no further.
const LIGHTEST: (f64, f64) = (-0.12, -0.3);
/// Densities that are shown at all; what lies outside is no reading.
const SHOWN: std::ops::RangeInclusive<f64> = -0.3..=3.2;
/// Density of what is white on a scan (common practice, no source).
const WHITE: f64 = 0.06;
/// Least range of densities that an exposed strip has once it is read rightly.
const LEAST_RANGE: f64 = 0.5;

/// Whether a density is one that can be shown: not a number gone wild.
pub fn can_be_shown(density: f64) -> bool {
    SHOWN.contains(&density)
}

/// How a scan's code values may be encoded.
#[derive(Debug, Clone, Copy)]
pub struct Encoding {
    /// In the words of the session file.
    pub word: &'static str,
    /// Linear light of a share of full scale.
    light: fn(f64) -> f64,
}

/// Those that files come in.
pub const ENCODINGS: [Encoding; 4] = [
    Encoding {
        word: "linear",
        light: |share| share,
    },
    Encoding {
        word: "gamma(1.8)",
        light: |share| share.powf(1.8),
    },
    Encoding {
        word: "gamma(2.2)",
        light: |share| share.powf(2.2),
    },
    Encoding {
        word: "srgb",
        light: srgb,
    },
];

/// IEC 61966-2-1.
fn srgb(share: f64) -> f64 {
    if share <= 0.040_45 {
        share / 12.92
    } else {
        ((share + 0.055) / 1.055).powf(2.4)
    }
}

/// Median code of each field that is read, as a share of full scale, in the channel with the
/// largest share.
pub fn code_shares(raster: &Raster, target: &Target<'_>, channel: Channel) -> Vec<f64> {
    let channel = main_channel(raster, channel);
    let mut row = vec![];
    let fields = target.fields().filter_map(|field| {
        let mut all = vec![];
        for span in target.spans(raster, field) {
            codes(raster, span, channel, &mut row);
            all.extend_from_slice(&row);
        }
        all.sort_unstable();
        let middle = all.get(all.len() / 2)?;
        Some(f64::from(*middle) / f64::from(top_code(raster)))
    });
    fields.collect()
}

/// Encodings by which fields of these code shares have densities that a strip can have, with the
/// darkest of them; `white` is the code share of what is white on the scan.
fn sensible(shares: &[f64], white: f64) -> Vec<(&'static str, f64)> {
    let lit = shares.iter().copied().filter(|share| *share > 0.0);
    let (dark, light) = lit.fold((f64::INFINITY, 0.0f64), |(dark, light), share| {
        (dark.min(share), light.max(share))
    });
    if !(dark.is_finite() && white > 0.0) {
        return vec![];
    }
    ENCODINGS
        .iter()
        .filter_map(|encoding| {
            let density =
                |share: f64| WHITE + ((encoding.light)(white) / (encoding.light)(share)).log10();
            let (lightest, darkest) = (density(light), density(dark));
            let fits =
                lightest > LIGHTEST.0 && darkest < DARKEST && darkest - lightest > LEAST_RANGE;
            fits.then_some((encoding.word, darkest))
        })
        .collect()
}

/// What a strip's readings are held against.
#[derive(Debug, Clone, Copy)]
pub struct Read<'a> {
    /// Step (from 1; 0 is the margin) and its density.
    pub steps: &'a [(usize, f64)],
    /// Densities between which a wedge or a calibration stands behind the scale, if one does.
    pub by_wedge: Option<(f64, f64)>,
    /// Code shares of the strip's fields, and of what is white on the scan.
    pub codes: (&'a [f64], f64),
    /// How the scan is read now, in words.
    pub encoding: &'a str,
}

/// Finds a strip with densities that no print has.
///
/// Blocking where nothing explains them but a wrong tone curve, a wrong white or a wrong wedge;
/// a caution where an assumed white or tone curve may be just so far off. What a wedge reaches is
/// taken at its word.
pub fn implausible(strip: usize, read: Read<'_>) -> Option<Finding> {
    let supported = |density: f64| {
        let by = read.by_wedge;
        by.is_some_and(|(low, high)| (low..=high).contains(&density))
    };
    let strange = |density: &f64| {
        !supported(*density) && (*density > DARKEST || *density < LIGHTEST.0 || density.is_nan())
    };
    let all = read.steps.iter();
    let strange: Vec<f64> = all.map(|(_, d)| *d).filter(strange).collect();
    let dark = strange.iter().copied().fold(f64::NEG_INFINITY, f64::max);
    let light = strange.iter().copied().fold(f64::INFINITY, f64::min);
    if strange.is_empty() {
        return None;
    }
    let wild = strange.iter().any(|d| !can_be_shown(*d));
    let too_dark = dark > DARKEST;
    let several = strange.iter().filter(|d| **d > DARKEST).count() > 1;
    // A lone step a little darker than prints get is as likely deep black read a little wrong.
    let beyond = wild || several || dark > BEYOND_DOUBT || light < LIGHTEST.1;
    let seen = match (too_dark, !wild) {
        (true, true) => format!(
            "{} of the fields of {} read darker than any print, up to {dark:.2} D; prints come to \
             about {DARKEST} D.",
            strange.len(),
            name(Some(strip)),
        ),
        (false, true) => format!(
            "{} of the fields of {} read lighter than a perfect white, down to {light:.2} D.",
            strange.len(),
            name(Some(strip)),
        ),
        (_, false) => format!(
            "{} of the fields of {} read as densities that nothing has.",
            strange.len(),
            name(Some(strip)),
        ),
    };
    let (cause, remedy) = match (read.by_wedge, too_dark) {
        (Some(_), _) => (
            "They lie beyond the wedge, where its scale does not hold.".to_owned(),
            "Use a wedge that reaches as dark and as light as the strips, and look whether its \
             densities are listed in its order."
                .to_owned(),
        ),
        (None, true) => {
            let fits = sensible(read.codes.0, read.codes.1);
            let now = read.encoding;
            (
                format!("The scan's tone curve is not what it is read by ({now})."),
                encoding_advice(&fits),
            )
        }
        (None, false) => (
            "What was taken for white on the scan is not white.".to_owned(),
            "Scan with the lid closed, so that white lies around the strips, and a wedge beside \
             them."
                .to_owned(),
        ),
    };
    let (weight, effect) = if beyond {
        (Weight::Blocking, "No density of the strip can be trusted.")
    } else {
        (
            Weight::Caution,
            "Its darkest or lightest steps may be off by more than their bounds.",
        )
    };
    Some(Finding {
        kind: Kind::ImplausibleDensities,
        weight,
        place: Place::strip(strip),
        seen,
        matters: format!("{cause} {effect}"),
        remedy,
    })
}

fn encoding_advice(fits: &[(&str, f64)]) -> String {
    match fits {
        [] => "Find out how the scanner encodes its values and say so with `encoding`, or scan a \
               wedge beside the strips."
            .to_owned(),
        [(word, darkest)] => format!(
            "With `encoding: {word}` the darkest step would be {darkest:.2} D: if the scanner \
             writes its values so, say so; a wedge on the scan settles it."
        ),
        several => {
            let each: Vec<String> = several
                .iter()
                .map(|(word, darkest)| format!("`{word}` ({darkest:.2} D)"))
                .collect();
            format!(
                "These encodings would make sense of it, with the darkest step at: {}. Say which \
                 one the scanner writes; a wedge on the scan settles it.",
                each.join(", ")
            )
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn read(densities: &[f64], by_wedge: Option<(f64, f64)>, shares: &[f64]) -> Option<Finding> {
        let steps: Vec<(usize, f64)> = densities.iter().copied().enumerate().collect();
        implausible(
            1,
            Read {
                steps: &steps,
                by_wedge,
                codes: (shares, 1.0),
                encoding: "assumed: sRGB",
            },
        )
    }

    /// Reflectances of a strip from 0.1 to 1.7 D, white being 0.06 D.
    fn strip() -> Vec<f64> {
        let densities = [0.1, 0.2, 0.5, 0.9, 1.3, 1.6, 1.7];
        densities.map(|d: f64| 10f64.powf(WHITE - d)).into()
    }

    #[test]
    fn a_linear_file_read_as_srgb_is_told_and_the_encoding_that_makes_sense_is_named() {
        let shares = strip();
        let by_srgb: Vec<f64> = shares.iter().map(|c| WHITE - srgb(*c).log10()).collect();
        assert!(by_srgb[6] > 2.6, "{by_srgb:?}");
        let found = read(&by_srgb, None, &shares).expect("no print is so dark");
        assert_eq!(found.weight, Weight::Blocking);
        assert_eq!(found.kind, Kind::ImplausibleDensities);
        assert!(found.matters.contains("assumed: sRGB"), "{}", found.matters);
        assert!(
            found.remedy.contains("`encoding: linear`"),
            "{}",
            found.remedy
        );
        assert!(found.remedy.contains("1.70 D"), "{}", found.remedy);
    }

    #[test]
    fn densities_that_prints_have_are_nothing_to_tell() {
        for densities in [[0.02, 0.3, 1.2], [0.3, 1.0, 2.2], [-0.03, 0.5, 2.35]] {
            assert_eq!(read(&densities, None, &strip()), None);
        }
        // What the wedge reaches is what it says.
        assert_eq!(read(&[0.1, 1.0, 2.55], Some((0.05, 2.6)), &strip()), None);
    }

    #[test]
    fn a_deep_black_by_an_assumed_white_is_doubted_and_no_more() {
        let found = read(&[0.1, 1.2, 2.5], None, &strip()).expect("darker than prints");
        assert_eq!(found.weight, Weight::Caution);
    }

    #[test]
    fn numbers_gone_wild_are_not_shown() {
        for densities in [[0.1, 1.2, 25.0], [-2.7, 0.1, 0.3], [0.1, f64::NAN, 0.4]] {
            for by_wedge in [None, Some((0.05, 1.8))] {
                let found = read(&densities, by_wedge, &strip()).expect("nothing has that");
                assert_eq!(found.weight, Weight::Blocking, "{densities:?}");
                for number in ["25", "2.7", "NaN"] {
                    assert!(!found.seen.contains(number), "{}", found.seen);
                }
            }
        }
        assert!(!can_be_shown(25.0) && !can_be_shown(-2.7) && !can_be_shown(f64::NAN));
    }

    #[test]
    fn white_that_is_not_white_is_told_as_such() {
        let found = read(&[-0.5, -0.4, 0.3], None, &strip()).expect("lighter than white");
        assert_eq!(found.weight, Weight::Blocking);
        assert!(found.matters.contains("not white"), "{}", found.matters);
    }
}
