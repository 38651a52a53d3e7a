//! A step that doesn't go with the others: named, with how far off it is and what leaving it out
//! would change.
//!
//! With the fit linearised at the most probable parameters, what the other entries and the priors
//! foretell of entry i follows without a second fit: its deletion residual is
//! (C^-1 r)_i / P_ii with P = C^-1 - C^-1 J H^-1 J' C^-1, and its variance 1 / P_ii (Cook &
//! Weisberg 1982, Residuals and Influence in Regression, ch. 2; from memory). What leaving the step
//! out does to the answer is then found by fitting anew without it.

use nalgebra::DMatrix;

use crate::measure::analysis::Settings;
use crate::measure::curve::model::SPEED_NET;
use crate::measure::curve::{Best, Joint, StripEvidence};
use crate::measure::finding::{Finding, Kind, Place, Weight};
use crate::measure::units::DECADES_PER_STOP;

/// Standard errors by which a step must be off: of 20 steps without a fault one is so far off in
/// one pair of 800.
const CERTAIN: f64 = 4.0;
/// Least distance that is told, density.
const LEAST: f64 = 0.03;
/// Most steps of a pair that are named; more are not odd steps but another curve.
const MOST: usize = 2;

/// What the two strips are called in a sentence.
const NAMES: [&str; 2] = ["the reference strip", "the coupon"];

/// A step that is off.
struct Odd {
    /// 0 for the reference, 1 for the coupon.
    strip: usize,
    /// From 0, in the order of the series.
    step: usize,
    /// Density as read less what the others foretell.
    by: f64,
    /// The same in standard errors.
    certainty: f64,
}

/// A pair's curves at their most probable, as they are with some steps left out.
struct Fit<'a> {
    strips: [&'a StripEvidence; 2],
    joint: Joint,
    best: Best,
}

impl<'a> Fit<'a> {
    fn of(strips: [&'a StripEvidence; 2], settings: &Settings) -> Option<Self> {
        let [reference, coupon] = strips.map(|strip| strip.usable(settings));
        let mut joint = Joint::new(vec![reference?, coupon?], settings.lag, settings.priors)?;
        let best = joint.solve()?;
        Some(Self {
            strips,
            joint,
            best,
        })
    }

    /// Stops the coupon is slower, where both curves reach the speed point.
    fn stops(&self) -> Option<f64> {
        let speed = |strip| {
            let curve = self.joint.curve(self.best.parameters.as_slice(), strip)?;
            Some(curve.x_at(SPEED_NET)).filter(|x| x.is_finite())
        };
        Some((speed(1)? - speed(0)?) / DECADES_PER_STOP)
    }

    /// The step that is most surely off, if one is.
    fn oddest(&self) -> Option<Odd> {
        let away = self.deletion_residuals();
        let odd = self
            .joint
            .strips
            .iter()
            .enumerate()
            .flat_map(|(at, strip)| {
                let evidence = self.strips[at];
                let first = strip.row;
                let entries = strip.usable.entries.iter().enumerate();
                let away = &away;
                entries.filter_map(move |(place, &entry)| {
                    let (by, certainty) = away[first + place];
                    Some(Odd {
                        strip: at,
                        step: evidence.step_of(entry)?,
                        by,
                        certainty,
                    })
                })
            });
        odd.filter(|odd| odd.certainty > CERTAIN && odd.by.abs() > LEAST)
            .max_by(|a, b| a.certainty.total_cmp(&b.certainty))
    }

    /// Each entry's density less what all others foretell, and how many standard errors that is.
    fn deletion_residuals(&self) -> Vec<(f64, f64)> {
        let Best {
            covariance,
            jacobian,
            whitened,
            ..
        } = &self.best;
        let whiten = &self.joint.whiten;
        let turned: DMatrix<f64> = whiten * jacobian;
        let pull = whiten.tr_mul(whitened);
        (0..pull.len())
            .map(|entry| {
                let column = whiten.column(entry);
                let explained = turned.tr_mul(&column);
                let left = column.norm_squared() - explained.dot(&(covariance * &explained));
                // Foretold by nothing, or by rounding alone.
                if left <= 1e-6 * column.norm_squared() {
                    return (0.0, 0.0);
                }
                (pull[entry] / left, pull[entry].abs() / left.sqrt())
            })
            .collect()
    }
}

/// Names the steps of a solved pair that are off.
pub(super) fn odd_steps(
    reference: &StripEvidence,
    coupon: &StripEvidence,
    settings: &Settings,
) -> Vec<Finding> {
    let mut kept = [reference.clone(), coupon.clone()];
    let mut findings = vec![];
    while findings.len() < MOST {
        let [reference, coupon] = &kept;
        let Some(with) = Fit::of([reference, coupon], settings) else {
            break;
        };
        let Some(odd) = with.oddest() else { break };
        let before = with.stops();
        kept[odd.strip].excluded.push(odd.step);
        let [reference, coupon] = &kept;
        let without = Fit::of([reference, coupon], settings);
        let after = without.and_then(|without| without.stops());
        findings.push(told(&kept[odd.strip], &odd, before.zip(after)));
    }
    findings
}

fn told(strip: &StripEvidence, odd: &Odd, stops: Option<(f64, f64)>) -> Finding {
    let step = odd.step + 1;
    let darker = if odd.by > 0.0 { "darker" } else { "lighter" };
    let matters = match stops {
        Some((with, without)) => format!(
            "With it the coat comes out {with:.2} stops slower than the paper, without it \
             {without:.2}."
        ),
        None => "Without it there are too few steps to say what it does to the answer.".into(),
    };
    Finding {
        kind: Kind::OddStep,
        weight: Weight::Caution,
        place: Place::step(strip.strip, step),
        seen: format!(
            "Step {step} of {} is {:.2} D {darker} than the other steps lead one to expect, {:.0} \
             times its standard error.",
            NAMES[odd.strip],
            odd.by.abs(),
            odd.certainty
        ),
        matters,
        remedy: "Look at the step on the scan, and think back: was its time kept? Leave it out if \
                 there is a reason, and only then."
            .into(),
    }
}
