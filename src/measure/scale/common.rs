//! What a strip that lies on two scans shows of them: whether it is one strip, how far the scans'
//! levels are apart, and whether more than the level differs.

use super::repeats::{band, wider};
use crate::measure::finding::{Finding, Kind, Place, Weight};

/// Root mean square of what a straight line through the differences leaves, density, from which
/// they are taken to be two strips: many times what a scanner's readings scatter by.
const TWO_STRIPS: f64 = 0.03;
/// And the slope of that line.
const TWO_STRIPS_SLOPE: f64 = 0.15;
/// What the level of a strip is uncertain by wherever it lies, scanner density: the glass is lit
/// no more evenly than that (as with the lid; common practice, no source).
const PLACE: f64 = 0.002;
/// Least standard error of one difference, scanner density, so that no field counts alone.
const LEAST: f64 = 0.002;
/// How many standard errors apart is a disagreement.
const CERTAIN: f64 = 3.0;
/// Density over which a tone curve must differ for a person to be told.
const TOLD: f64 = 0.01;
/// Root mean square difference, density, that readings of one strip have at least.
const AS_WELL: f64 = 0.005;
/// By how much nearer to none a level must be for another count of steps to be likelier, density.
const NEARER: f64 = 0.03;
/// Fewest fields that show a level.
const FEWEST: usize = 3;

/// One field as read on two scans.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Apart {
    /// Mean density.
    pub density: f64,
    /// Second reading less the first, in density or scanner density.
    pub by: f64,
    /// Standard error of the difference from the pixels' noise.
    pub noise: f64,
}

/// What the fields of a common strip show of two scans.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Common {
    /// How much darker the second scan is.
    pub level: f64,
    /// Standard error of the level.
    pub error: f64,
    /// How much more a unit of density, beyond the level.
    pub slope: f64,
    /// Standard error of the slope.
    pub slope_error: f64,
    /// Span of the densities.
    pub span: f64,
    /// Root mean square of what is left.
    pub left: f64,
    /// Whether the two agree as well or better with one of them counted a step further.
    pub miscounted: bool,
}

impl Common {
    /// What the fields show; `None` for fewer than three.
    ///
    /// A straight line over density is fitted by weighted least squares; the level is its weighted
    /// mean. Errors are common to a band of densities (as [`super::repeats`] has it), so bands and
    /// not fields are counted in the level's error.
    pub fn shown(fields: &[Apart]) -> Option<Self> {
        if fields.len() < FEWEST {
            return None;
        }
        let weight = |field: &Apart| 1.0 / (LEAST.powi(2) + field.noise.powi(2));
        let total: f64 = fields.iter().map(weight).sum();
        let mean = |value: &dyn Fn(&Apart) -> f64| -> f64 {
            fields.iter().map(|f| weight(f) * value(f)).sum::<f64>() / total
        };
        let middle = mean(&|f| f.density);
        let level = mean(&|f| f.by);
        let spread = mean(&|f| (f.density - middle).powi(2));
        let slope = if spread > 1e-6 {
            mean(&|f| (f.density - middle) * (f.by - level)) / spread
        } else {
            0.0
        };
        let off = |f: &Apart| f.by - level - slope * (f.density - middle);
        let freedom = fields.len() as f64 - 2.0;
        let count = fields.len() as f64;
        let left = mean(&|f| off(f).powi(2)) * count / freedom;
        let scatter = mean(&|f| (f.by - level).powi(2)) * count / (count - 1.0);
        let mut bands: Vec<usize> = fields.iter().map(|f| band(f.density)).collect();
        bands.sort_unstable();
        bands.dedup();
        let (low, high) = fields
            .iter()
            .fold((f64::INFINITY, f64::NEG_INFINITY), |(a, b), f| {
                (a.min(f.density), b.max(f.density))
            });
        let wider = wider(freedom);
        let in_bands = bands.len() as f64;
        Some(Self {
            level,
            error: (PLACE.powi(2) + scatter / in_bands * wider.powi(2)).sqrt(),
            slope,
            slope_error: (left / in_bands / spread.max(1e-6)).sqrt() * wider,
            span: high - low,
            left: left.sqrt(),
            miscounted: false,
        })
    }

    /// Whether the two can be one strip at all.
    pub fn is_one_strip(&self) -> bool {
        !self.miscounted && self.left < TWO_STRIPS && self.slope.abs() < TWO_STRIPS_SLOPE
    }

    /// By how much the tone curves differ over the strip, if surely and by enough to be told.
    pub fn bent(&self) -> Option<f64> {
        let over = self.slope * self.span;
        (self.slope.abs() > CERTAIN * self.slope_error && over.abs() > TOLD).then_some(over)
    }
}

/// Whether two lists of steps, each from the lightest to the darkest, agree as well or better, and
/// at a level nearer to none, once one is counted a step further: steps in equal stops on the
/// straight part of a curve look alike then, and the step would pass as the scans' level.
pub fn miscounted(first: &[f64], second: &[f64]) -> bool {
    let fit = |first: &[f64], second: &[f64]| -> Option<(f64, f64)> {
        let by: Vec<f64> = first.iter().zip(second).map(|(a, b)| b - a).collect();
        let count = by.len() as f64;
        let level = by.iter().sum::<f64>() / count;
        let squares: f64 = by.iter().map(|d| (d - level).powi(2)).sum();
        (by.len() >= FEWEST).then(|| (level, (squares / count).sqrt()))
    };
    let Some((level, left)) = fit(first, second) else {
        return false;
    };
    let further = [
        fit(first, second.get(1..).unwrap_or_default()),
        fit(first.get(1..).unwrap_or_default(), second),
    ];
    further.into_iter().flatten().any(|(other, left_then)| {
        left_then < 1.5 * left.max(AS_WELL) && other.abs() < level.abs() - NEARER
    })
}

/// The level between two scans by what the lid shows and what a common strip shows, each the
/// second scan's scanner density less the first's and its standard error; and by how many standard
/// errors the two are apart. Weighted by inverse variance; where they are further apart than their
/// errors allow, the error is as much wider.
pub fn combined(lid: Option<(f64, f64)>, strip: (f64, f64)) -> ((f64, f64), f64) {
    let Some(lid) = lid else {
        return (strip, 0.0);
    };
    let weights = [lid, strip].map(|(_, error)| 1.0 / (error * error));
    let total = weights[0] + weights[1];
    let level = (weights[0] * lid.0 + weights[1] * strip.0) / total;
    let apart = (strip.0 - lid.0).abs() / lid.1.hypot(strip.1);
    ((level, total.sqrt().recip() * apart.max(1.0)), apart)
}

/// That two entries of the list don't look like one strip.
pub fn two_strips(strip: usize, (again, first): (&str, &str), common: &Common) -> Finding {
    let seen = if common.miscounted {
        format!(
            "{again} is said to be {first} seen once more, but the two agree better with one of \
             them counted a step further."
        )
    } else {
        format!(
            "{again} is said to be {first} seen once more, but step by step the two differ by \
             {:.3} D once their levels are brought together.",
            common.left.hypot(common.slope * common.span / 12f64.sqrt())
        )
    };
    Finding {
        kind: Kind::RepeatsDisagree,
        weight: Weight::Caution,
        place: Place::strip(strip),
        seen,
        matters: "Nothing is concluded from the two being one strip; each is read by itself."
            .into(),
        remedy: "Look whether it is another strip, or a step was counted wrongly; outline it or \
                 take `same_as` back."
            .into(),
    }
}

/// What a common strip shows of the level of a scan that is read by another scan's wedge.
pub struct LevelShown<'a> {
    /// The scan, and the one whose wedge reads it.
    pub scans: (usize, usize),
    /// Names of the strips that lie on both.
    pub strips: &'a [&'a str],
    /// Level that the lid shows, if it is in sight on both, with its error.
    pub lid: Option<(f64, f64)>,
    /// Level that the strips show, with its error.
    pub strip: (f64, f64),
    /// Level that is used, with its error.
    pub used: (f64, f64),
    /// How many standard errors lid and strips are apart.
    pub apart: f64,
}

impl LevelShown<'_> {
    /// What a person is told.
    pub fn findings(&self, common: &Common) -> Vec<Finding> {
        let (scan, other) = self.scans;
        let lid = match self.lid {
            Some((lid, error)) => format!("the lid {lid:+.3} D (uncertain by {error:.3})"),
            None => "the lid is not in sight on both".to_owned(),
        };
        let mut findings = vec![Finding {
            kind: Kind::NoWedge,
            weight: Weight::Note,
            place: Place::scan(scan),
            seen: format!(
                "No wedge lies on scan {}; it is read by the wedge of scan {}. {} on both shows \
                 {:+.3} D of difference between them (uncertain by {:.3}), {lid}; {:+.3} D are \
                 taken off.",
                scan + 1,
                other + 1,
                self.strips.join(" and "),
                self.strip.0,
                self.strip.1,
                self.used.0,
            ),
            matters: format!(
                "The densities hold if both were scanned with the same settings; {:.3} D are \
                 allowed for the level.",
                self.used.1
            ),
            remedy: "Scan the wedge along with every scan, or all strips in one.".into(),
        }];
        if self.apart > CERTAIN {
            findings.push(Finding {
                kind: Kind::ScansDisagree,
                weight: Weight::Caution,
                place: Place::scan(scan),
                seen: format!(
                    "Lid and strip disagree on how much darker scan {} is than scan {}: {lid}, {} \
                     {:+.3} D (uncertain by {:.3}).",
                    scan + 1,
                    other + 1,
                    self.strips.join(" and "),
                    self.strip.0,
                    self.strip.1
                ),
                matters: format!(
                    "One of them is wrong; the level between the two is used and {:.3} D are \
                     allowed for it.",
                    self.used.1
                ),
                remedy: "Look whether the lid was closed on both scans and the strip lies flat; \
                         or scan the wedge along."
                    .into(),
            });
        }
        if let Some(over) = common.bent() {
            findings.push(Finding {
                kind: Kind::ScansDisagree,
                weight: Weight::Caution,
                place: Place::scan(scan),
                seen: format!(
                    "{} differs between scan {} and scan {} by more than the level: by {:+.3} D \
                     more at its dark end than at its light end.",
                    self.strips.join(" and "),
                    other + 1,
                    scan + 1,
                    over
                ),
                matters: format!(
                    "The scanner was set otherwise, so the wedge of one scan doesn't hold for the \
                     other; half of it, {:.3} D, is allowed for.",
                    over.abs() / 2.0
                ),
                remedy: "Switch off automatic exposure and tone correction, scan anew, and keep \
                         the wedge on each scan."
                    .into(),
            });
        }
        findings
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn fields(by: impl Fn(f64) -> f64) -> Vec<Apart> {
        let fields = (0..9).map(|step| f64::from(step) * 0.18 + 0.1);
        let field = |density| Apart {
            density,
            by: by(density),
            noise: 0.0005,
        };
        fields.map(field).collect()
    }

    #[test]
    fn a_pure_level_is_found_and_nothing_else_is_told() {
        let common = Common::shown(&fields(|_| 0.046)).unwrap();
        assert!((common.level - 0.046).abs() < 1e-12);
        assert!(common.is_one_strip() && common.bent().is_none());
        assert!((common.error - PLACE).abs() < 1e-9);
        assert_eq!(Common::shown(&fields(|_| 0.0)[..2]), None);
    }

    #[test]
    fn another_tone_curve_is_told_from_a_level() {
        let common = Common::shown(&fields(|density| 0.02 + 0.04 * density)).unwrap();
        let over = common.bent().unwrap();
        assert!((over - 0.04 * 1.44).abs() < 1e-9, "{over}");
        assert!(common.is_one_strip());
    }

    #[test]
    fn another_strip_is_not_taken_for_the_same() {
        // Turned round, or with another contrast.
        assert!(
            !Common::shown(&fields(|d| 1.6 - 2.0 * d))
                .unwrap()
                .is_one_strip()
        );
        assert!(
            !Common::shown(&fields(|d| 0.06 * (9.0 * d).sin()))
                .unwrap()
                .is_one_strip()
        );
    }

    #[test]
    fn a_step_counted_wrongly_is_not_taken_for_the_level() {
        // Half stops on a straight part of gamma 1: 0.15 D each.
        let steps: Vec<f64> = (0..9).map(|step| 0.2 + 0.15 * f64::from(step)).collect();
        let by = |more: f64| -> Vec<f64> { steps.iter().map(|d| d + more).collect() };
        assert!(!miscounted(&steps, &by(0.0)));
        assert!(!miscounted(&steps, &by(0.046)));
        assert!(miscounted(&steps, &by(0.15)));
        assert!(miscounted(&steps, &by(-0.14)));
        // Toe and shoulder settle it: here the scan is darker by half a stop.
        let curved: Vec<f64> = [0.1, 0.12, 0.2, 0.5, 0.9, 1.3, 1.6, 1.7].into();
        let darker: Vec<f64> = curved.iter().map(|d| d + 0.15).collect();
        assert!(!miscounted(&curved, &darker));
    }

    #[test]
    fn lid_and_strip_are_weighed_by_their_errors() {
        let ((level, error), apart) = combined(Some((0.040, 0.004)), (0.046, 0.002));
        assert!((level - (0.040 / 16.0 + 0.046 / 4.0) / (1.0 / 16.0 + 0.25)).abs() < 1e-12);
        assert!((apart - 0.006 / 0.004f64.hypot(0.002)).abs() < 1e-12);
        assert!(error > 0.0017 && error < 0.003);
        assert_eq!(combined(None, (0.046, 0.002)), ((0.046, 0.002), 0.0));
        // Far apart: the error covers both.
        let ((level, error), apart) = combined(Some((0.0, 0.004)), (0.046, 0.003));
        assert!(
            apart > 9.0 && level - 2.0 * error < 0.014,
            "{level} {error}"
        );
    }
}
