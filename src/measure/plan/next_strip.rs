//! The next test strip: first time, step and count that shrink the interval of the ratio most.
//!
//! The coating's curve is known roughly: its place on the exposure axis is foreseen with some
//! error, its stretch and its full net density a little better than a priori. Each step of a
//! strip adds information about all three (least squares, linear about the foreseen curve);
//! what is left of the place's variance, averaged over where the curve may lie, is the score.
//! The length of the strip is shared by its steps, so more steps are rougher ones.

use nalgebra::{Matrix3, Vector3};
use serde::Serialize;

use super::basis::{Basis, Side};
use crate::measure::curve::DrawnCurve;
use crate::measure::curve::model::SPEED_NET;
use crate::measure::estimate::Gap;
use crate::measure::exposure::{Series, write};
use crate::measure::predictive::Predictive;
use crate::measure::units::{DECADES_PER_STOP, Seconds, Stops};

/// Error of a step's density that evenness doesn't mend: the scale's noise and the formula's
/// misfit (as in the fit of curves).
const FLOOR: f64 = 0.008;
/// Count of steps at which the roughness was seen: half as many are each twice as long.
const USUAL_STEPS: f64 = 8.0;
/// Standard deviation of ln(stretch) and ln(net density) before the strip: a coating that was
/// tested before is known to about a tenth.
const STRETCH: f64 = 0.1;
const NET: f64 = 0.1;
/// The same for a coating that no test has reached yet.
const STRETCH_UNKNOWN: f64 = 0.25;
const NET_UNKNOWN: f64 = 0.15;
/// Where the curve may lie: shares of what is foreseen.
const PLACES: [f64; 7] = [0.02, 0.1, 0.3, 0.5, 0.7, 0.9, 0.98];
/// Stops from step to step that are tried.
const STEPS_APART: [f64; 6] = [1.0 / 6.0, 0.25, 1.0 / 3.0, 0.5, 2.0 / 3.0, 1.0];
/// Counts of steps that are tried.
const COUNTS: std::ops::RangeInclusive<usize> = 5..=12;
/// Shortest first time, seconds, and longest last one.
const FIRST: f64 = 1.0;
const LAST: f64 = 600.0;
/// Standard deviation of a place that nothing is known of, decades.
const NO_PRIOR: f64 = 1000.0;
/// How far beyond its times a strip that missed is followed, stops, and how sure that is.
const MISSED_BY: f64 = 1.5;
const MISSED_SPREAD: f64 = 1.5;
/// Standard deviations from the middle to the end of a 95 % interval.
const TO_THE_END: f64 = 1.959_964;

/// How rough a coat is.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Roughness {
    /// Standard deviation of what acts like exposure, decades.
    pub exposure_decades: f64,
    /// Standard deviation of the mottle, share of net density.
    pub net_share: f64,
}

impl Default for Roughness {
    /// A hand-made coat as usual (common practice, no source; the practice scans of ordinary
    /// difficulty have the same).
    fn default() -> Self {
        Self {
            exposure_decades: 0.018,
            net_share: 0.012,
        }
    }
}

/// A strip worth making.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct NextStrip {
    /// Time of the first step, seconds, at the aperture and height of the tests.
    pub first: f64,
    /// Stops from step to step.
    pub step: f64,
    /// Count of steps.
    pub steps: usize,
    /// The same as the series is written: `1/3 stop from 4s, 9 steps`.
    pub series: String,
    /// Half-width of the 95 % interval of what the day's coating needs, as foreseen now, stops.
    pub half_width_now: f64,
    /// The same after this strip was made on that day, as far as can be foreseen, stops: its
    /// coupon's own scatter as a piece and the reference's error are counted.
    pub half_width_after: f64,
}

/// What is known before the strip is made.
struct Known<'a> {
    curve: &'a DrawnCurve,
    /// Log exposure of the curve's speed point, decades.
    speed: f64,
    /// Where it will lie: stops from `speed`.
    foreseen: Predictive,
    roughness: Roughness,
    /// Standard deviations of ln(stretch) and ln(net density).
    shape: (f64, f64),
    /// What the new coupon's place differs by from what the ratio is wanted for, however well the
    /// strip is made: its own scatter as a piece, and the reference's error. Stops.
    apart: f64,
}

impl Known<'_> {
    /// Standard deviation that the 95 % interval of what is foreseen has as a normal one, decades.
    fn prior(&self) -> f64 {
        self.foreseen.half_width() / TO_THE_END * DECADES_PER_STOP
    }

    /// Standard deviation of the day's place, decades, after a strip whose steps lie at these log
    /// exposures on the curve as drawn, when the curve is moved up by `moved` decades.
    fn left(&self, steps: &[f64], moved: f64) -> f64 {
        let prior = self.prior();
        let apart = self.apart * DECADES_PER_STOP;
        // The strip tells its own place, which lies about the day's.
        let mut information = Matrix3::from_diagonal(&Vector3::new(
            NO_PRIOR.powi(-2),
            self.shape.0.powi(-2),
            self.shape.1.powi(-2),
        ));
        let share = (steps.len() as f64 / USUAL_STEPS).sqrt();
        for x in steps {
            let x = x - moved;
            let (net, slope) = (self.curve.net(x), self.curve.slope(x));
            let error = FLOOR
                .hypot(share * slope * self.roughness.exposure_decades)
                .hypot(share * net * self.roughness.net_share);
            // By the place, by ln(stretch) about the speed point, by ln(net density).
            let by = Vector3::new(-slope, -slope * (x - self.speed), net) / error;
            information += by * by.transpose();
        }
        // Net density moves the speed point itself.
        let slope = self.curve.slope(self.speed).max(1e-3);
        let speed = Vector3::new(1.0, 0.0, -SPEED_NET / slope);
        information.try_inverse().map_or(prior, |variance| {
            let told = speed.dot(&(variance * speed)) + apart * apart;
            (prior.powi(-2) + told.recip()).powf(-0.5)
        })
    }

    /// What is left on average over where the curve may lie, decades.
    fn score(&self, steps: &[f64]) -> f64 {
        let sum: f64 = PLACES
            .iter()
            .map(|&share| self.left(steps, Stops(self.foreseen.quantile(share)).decades()))
            .sum();
        sum / PLACES.len() as f64
    }

    /// The best strip, when `speed_time` seconds put a step on the speed point as drawn.
    fn best(&self, speed_time: f64) -> Option<NextStrip> {
        let mut best: Option<(f64, f64, f64, usize)> = None;
        for steps in COUNTS {
            for step in STEPS_APART {
                for offset in -12i32..=12 {
                    let middle = f64::from(offset) / 4.0;
                    let first_stops = middle - step * (steps - 1) as f64 / 2.0;
                    let first = tidy(speed_time * first_stops.exp2());
                    let last = first * (step * (steps - 1) as f64).exp2();
                    if first < FIRST || last > LAST {
                        continue;
                    }
                    let start = self.speed + (first / speed_time).log10();
                    let places: Vec<f64> = (0..steps)
                        .map(|at| start + step * at as f64 * DECADES_PER_STOP)
                        .collect();
                    let score = self.score(&places);
                    if best.is_none_or(|(least, ..)| score < least - 1e-9) {
                        best = Some((score, first, step, steps));
                    }
                }
            }
        }
        let (score, first, step, steps) = best?;
        Some(NextStrip {
            first,
            step,
            steps,
            series: format!(
                "{} stop from {}, {steps} steps",
                write::stops(step),
                write::time(Seconds(first))
            ),
            half_width_now: self.foreseen.half_width(),
            half_width_after: TO_THE_END * score / DECADES_PER_STOP,
        })
    }
}

/// A time as a timer is set: tenths below 10 s, halves below 30 s, else whole seconds.
fn tidy(seconds: f64) -> f64 {
    let to = if seconds < 10.0 {
        10.0
    } else if seconds < 30.0 {
        2.0
    } else {
        1.0
    };
    (seconds * to).round() / to
}

/// The best next strip of a coating that is known; `None` when its curve doesn't come to the
/// speed point.
pub fn next_strip(basis: &Basis, roughness: Roughness) -> Option<NextStrip> {
    let curve = &basis.coating.curve;
    let known = Known {
        curve,
        speed: curve.speed_point()?,
        foreseen: Predictive {
            centre: 0.0,
            ..basis.stops
        },
        roughness,
        shape: (STRETCH, NET),
        apart: basis.piece_scatter.hypot(basis.paper_error),
    };
    known.best(basis.coating.speed_time)
}

/// The best strip after one that missed: all its steps were too light or too dark. `paper` is
/// the reference, whose curve stands in for the coating's.
pub fn after_a_miss(paper: &Side, missed: &Series, why: Gap) -> Option<NextStrip> {
    let totals = missed.doses();
    let totals = totals.iter().map(|dose| dose.total.0);
    let speed_time = match why {
        Gap::AllStepsBelow => totals.fold(0.0, f64::max) * MISSED_BY.exp2(),
        Gap::AllStepsAbove => totals.fold(f64::INFINITY, f64::min) * (-MISSED_BY).exp2(),
        _ => return None,
    };
    let known = Known {
        curve: &paper.curve,
        speed: paper.curve.speed_point()?,
        foreseen: Predictive::normal(0.0, MISSED_SPREAD),
        roughness: Roughness::default(),
        shape: (STRETCH_UNKNOWN, NET_UNKNOWN),
        apart: 0.0,
    };
    known.best(speed_time)
}

#[cfg(test)]
mod tests {
    use super::*;

    /// A cubic rise of net 1.7 over 1.4 decades.
    fn curve() -> DrawnCurve {
        let points = (0..=70).map(|at| {
            let share = f64::from(at) / 70.0;
            (1.4 * share, 1.7 * share * share * (3.0 - 2.0 * share))
        });
        DrawnCurve::new(0.0, points).unwrap()
    }

    fn known(curve: &DrawnCurve, spread: f64) -> Known<'_> {
        Known {
            curve,
            speed: curve.speed_point().unwrap(),
            foreseen: Predictive::normal(0.0, spread),
            roughness: Roughness::default(),
            shape: (STRETCH, NET),
            apart: 0.0,
        }
    }

    #[test]
    fn a_strip_that_lies_beside_the_curve_teaches_nothing() {
        let curve = curve();
        let known = known(&curve, 0.2);
        let beside: Vec<f64> = (0..8).map(|at| -3.0 + 0.05 * f64::from(at)).collect();
        let prior = 0.2 * DECADES_PER_STOP;
        assert!((known.score(&beside) - prior).abs() < 1e-6);
        let on_it: Vec<f64> = (0..8).map(|at| 0.1 + 0.12 * f64::from(at)).collect();
        assert!(known.score(&on_it) < 0.5 * prior);
    }

    #[test]
    fn the_best_strip_brackets_the_speed_point_and_the_less_is_known_the_wider_it_is() {
        let curve = curve();
        let mut before = 0.0;
        for spread in [0.1, 0.6, 1.5] {
            let best = known(&curve, spread).best(12.0).unwrap();
            let span = best.step * (best.steps - 1) as f64;
            let last = best.first * span.exp2();
            assert!(best.first < 12.0 && last > 12.0, "{best:?}");
            assert!(
                best.half_width_after < 0.7 * best.half_width_now,
                "{best:?}"
            );
            assert!(span >= before, "{best:?} {before}");
            before = span;
            let read = crate::measure::exposure::Exposure::read(&format!("{} at f/8", best.series));
            assert!(read.is_ok(), "{read:?}");
        }
    }

    /// A Student t's interval is not 1.96 of its scale; and a strip can't tell the day's middle better
    /// than its coupon lies to it.
    #[test]
    fn now_and_after_are_95_percent_of_the_same_thing() {
        let curve = curve();
        let mut known = known(&curve, 0.1);
        known.foreseen = Predictive::student(0.0, 0.1, 2.0);
        known.apart = 0.1;
        let best = known.best(12.0).unwrap();
        // 4.303: Student's t of 2 degrees of freedom at 97.5 %, any table.
        assert!((best.half_width_now - 0.4303).abs() < 1e-4, "{best:?}");
        assert!(best.half_width_after > 1.96 * 0.09, "{best:?}");
        known.apart = 0.0;
        assert!(known.best(12.0).unwrap().half_width_after < best.half_width_after);
    }

    #[test]
    fn a_strip_that_stayed_light_is_followed_by_longer_times() {
        let paper = Side {
            name: "paper".into(),
            curve: curve(),
            range_bounds: None,
            times: (1.0, 30.0),
            speed_time: 8.0,
            f_number: Some(8.0),
            height: None,
            by_time: true,
            reciprocity: None,
        };
        let missed = Series::List {
            times: vec![Seconds(2.0), Seconds(4.0), Seconds(8.0)],
        };
        let longer = after_a_miss(&paper, &missed, Gap::AllStepsBelow).unwrap();
        assert!(longer.first * (longer.step * (longer.steps - 1) as f64).exp2() > 20.0);
        let shorter = after_a_miss(&paper, &missed, Gap::AllStepsAbove);
        assert!(shorter.is_none_or(|strip| strip.first < 2.0));
        assert_eq!(after_a_miss(&paper, &missed, Gap::TooFewSteps), None);
    }
}
