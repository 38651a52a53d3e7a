//! One practice session: what was answered, and whether it holds.

use twinstrip::measure::analysis::{Analysis, StripResult, analyse};
use twinstrip::measure::finding::{Kind, Weight};
use twinstrip::measure::geometry::{Point, StripShape};
use twinstrip::measure::units::DECADES_PER_STOP;
use twinstrip::measure::watch::Unwatched;
use twinstrip::simulate::curve::{TrueCurve, Wanted};
use twinstrip::simulate::truth::{PairTruth, Patch, StripTruth, Truth};
use twinstrip::simulate::{Recipe, make, question};

/// Steps whose net densities end this near to the criterion don't bracket it safely.
const NEAR_CRITERION: f64 = 0.02;
/// Net density of the speed criterion (ISO 6846).
const CRITERION: f64 = 0.60;
/// A bound that misses the truth by more than this, in stops, is wrong and not just unlucky.
const WRONG_BY: f64 = 0.05;
/// The middle of what is read must lie in its step, and this share of its size clear of its rim.
const CLEAR: f64 = 0.2;

/// A patch of unexposed coat is given this far from its border, millimetres: coats are ragged.
const CLEAR_MM: f64 = 0.7;

/// Whether places are found or told.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Places {
    /// Nothing is told.
    Found,
    /// Outline and fields are told where a session file can tell them.
    Given,
}

/// An answer against the truth.
#[derive(Debug, Clone, Copy)]
pub struct Answer {
    /// Stops, error.
    pub stops_error: f64,
    /// Half of its bounds, if both are closed.
    pub stops_half_width: Option<f64>,
    /// Whether its bounds hold.
    pub stops_held: bool,
    /// Whether they miss by more than bad luck.
    pub wrong: bool,
    /// Contrast difference over the tones that both strips show, error in stops.
    pub tones_error: Option<f64>,
    /// Half of its bounds.
    pub tones_half_width: Option<f64>,
    /// Whether they hold.
    pub tones_held: bool,
    /// Difference of the ISO ranges, error.
    pub range_error: Option<f64>,
    /// Half of its bounds.
    pub range_half_width: Option<f64>,
    /// Whether they hold.
    pub range_held: bool,
}

/// One pair.
#[derive(Debug, Clone)]
pub struct Outcome {
    /// Whether the steps of both strips bracket the criterion.
    pub bracketed: bool,
    /// The answer.
    pub answer: Option<Answer>,
    /// Whether every step of both strips was read inside that step.
    pub placed: bool,
    /// Whether a caution or more says that the reading is in doubt.
    pub doubted: bool,
    /// Kinds of the findings that forbid an answer.
    pub blocking: Vec<Kind>,
}

/// What becomes of the pairs of a session, once for each way of telling places.
pub fn outcomes(recipe: &Recipe, ways: &[Places]) -> Vec<Vec<Outcome>> {
    let made = make(recipe);
    ways.iter()
        .map(|places| {
            let mut asked = question(&made);
            if *places == Places::Given {
                for (spec, truth) in asked.strips.iter_mut().zip(&made.truth.strips) {
                    spec.shape = given(truth, made.truth.dpi / 25.4);
                    // All there is, so that nothing is left to look for.
                    spec.unexposed = spec.shape.as_ref().map(|shape| shape.unexposed.clone());
                }
                if let (Some(spec), [truth]) = (&mut asked.wedge, &made.truth.wedges[..]) {
                    spec.shape = Some(truth.shape.clone());
                }
            }
            let analysis = analyse(&asked, &Unwatched).expect("nothing cancels");
            let truth = &made.truth;
            let pairs = truth.pairs.iter();
            let found: Vec<_> = pairs.map(|pair| outcome(&analysis, truth, pair)).collect();
            if std::env::var_os("TWINSTRIP_SHOW").is_some() {
                show(recipe, *places, &analysis, &found);
            }
            found
        })
        .collect()
}

/// A strip's place, and the patches of unexposed coat beside its fields, clear of their borders.
fn given(truth: &StripTruth, per_mm: f64) -> Option<StripShape> {
    let mut shape = truth.shape.clone()?;
    shape.unexposed = truth
        .unexposed
        .iter()
        .filter_map(|patch| clear(patch, CLEAR_MM * per_mm))
        .collect();
    Some(shape)
}

/// A patch this many pixels clear of its border; `None` where nothing worth reading is left.
fn clear([a, b, c, d]: &[Point; 4], pixels: f64) -> Option<[Point; 4]> {
    let (along, across) = (a.distance(*d), a.distance(*b));
    if along.min(across) < 2.5 * pixels {
        return None;
    }
    let (u, v) = (pixels / along, pixels / across);
    let at = |u: f64, v: f64| a.toward(*d, u).toward(b.toward(*c, u), v);
    Some([
        at(u, v),
        at(u, 1.0 - v),
        at(1.0 - u, 1.0 - v),
        at(1.0 - u, v),
    ])
}

fn outcome(analysis: &Analysis, truth: &Truth, pair: &PairTruth) -> Outcome {
    let strips = [pair.reference, pair.coupon];
    let solved = analysis
        .pairs
        .iter()
        .find(|solved| [solved.reference, solved.coupon] == strips);
    let answer = solved.and_then(|solved| {
        let (stops, range) = (
            solved.answer.stops_exact_aperture,
            solved.answer.contrast_difference,
        );
        let tones = solved.answer.contrast_by_tones;
        let between = tones.light.zip(tones.dark);
        let true_tones = between.map(|between| by_tones(truth, pair, between));
        let held = stops.holds(pair.stops_as_exposed);
        let near = [-WRONG_BY, WRONG_BY].map(|by| stops.holds(pair.stops_as_exposed + by));
        Some(Answer {
            stops_error: stops.value? - pair.stops_as_exposed,
            stops_half_width: stops.half_width(),
            stops_held: held,
            wrong: !held && near == [false; 2],
            tones_error: tones
                .stops
                .value
                .zip(true_tones)
                .map(|(t, truth)| t - truth),
            tones_half_width: tones.stops.half_width(),
            tones_held: true_tones.is_some_and(|truth| tones.stops.holds(truth)),
            range_error: range.value.map(|range| range - pair.contrast_difference),
            range_half_width: range.half_width(),
            range_held: range.holds(pair.contrast_difference),
        })
    });
    let about_places = [
        Kind::AmbiguousStrip,
        Kind::UncertainEdges,
        Kind::NoMargin,
        Kind::StepCount,
        Kind::StripNotFound,
        Kind::NotMonotone,
        Kind::PoorFit,
    ];
    Outcome {
        bracketed: strips.iter().all(|&strip| brackets(&truth.strips[strip])),
        answer,
        placed: strips
            .iter()
            .all(|&strip| placed(&truth.strips[strip], &analysis.strips[strip])),
        doubted: analysis.findings.iter().any(|finding| {
            finding.weight >= Weight::Caution
                && about_places.contains(&finding.kind)
                && finding
                    .place
                    .strip
                    .is_none_or(|strip| strips.contains(&strip))
        }),
        blocking: analysis
            .findings
            .iter()
            .filter(|finding| finding.weight == Weight::Blocking)
            .map(|finding| finding.kind)
            .collect(),
    }
}

/// How many stops more than the paper the coat takes between two net densities.
fn by_tones(truth: &Truth, pair: &PairTruth, (light, dark): (f64, f64)) -> f64 {
    let takes = |strip: usize| {
        let known = &truth.strips[strip].curve;
        let wanted = Wanted {
            dmin: known.dmin,
            dmax: known.dmax,
            speed_point: known.speed_point,
            range: known.range,
        };
        let curve = TrueCurve::new(known.shape, &wanted);
        (curve.log_exposure_at_net(dark) - curve.log_exposure_at_net(light)) / DECADES_PER_STOP
    };
    takes(pair.coupon) - takes(pair.reference)
}

/// Whether a strip's steps lie on both sides of the criterion.
fn brackets(strip: &StripTruth) -> bool {
    let nets = || {
        strip
            .steps
            .iter()
            .map(|step| step.density - strip.curve.dmin)
    };
    let least = nets().fold(f64::INFINITY, f64::min);
    let most = nets().fold(f64::NEG_INFINITY, f64::max);
    least < CRITERION - NEAR_CRITERION && most > CRITERION + NEAR_CRITERION
}

/// Whether every step was read well inside itself.
fn placed(truth: &StripTruth, found: &StripResult) -> bool {
    let same_scan = found
        .located
        .as_ref()
        .is_some_and(|located| Some(located.shape.scan) == truth.scan);
    same_scan
        && truth.steps.iter().enumerate().all(|(number, step)| {
            let read = found.steps.iter().find(|read| read.step == number + 1);
            match (read, step.patch) {
                (Some(read), Some(patch)) => within(Patch::Quad(read.corners).centre(), &patch),
                _ => false,
            }
        })
}

/// Whether a place lies in a patch, clear of its rim.
fn within(place: Point, patch: &Patch) -> bool {
    match *patch {
        Patch::Disc { centre, radius } => place.distance(centre) <= (1.0 - 2.0 * CLEAR) * radius,
        Patch::Quad(corners) => {
            // Against each side: the distance from it, as a share of the opposite corner's.
            (0..4).all(|side| {
                let (a, b) = (corners[side], corners[(side + 1) % 4]);
                let across = |p: Point| (b.x - a.x) * (p.y - a.y) - (b.y - a.y) * (p.x - a.x);
                let far = (across(corners[(side + 2) % 4]) + across(corners[(side + 3) % 4])) / 2.0;
                across(place) / far >= CLEAR
            })
        }
    }
}

fn show(recipe: &Recipe, places: Places, analysis: &Analysis, found: &[Outcome]) {
    for outcome in found {
        let confidence: Vec<f64> = analysis
            .strips
            .iter()
            .map(|strip| strip.located.as_ref().map_or(0.0, |l| l.confidence))
            .collect();
        println!(
            "{:?} {} {places:?} confidence {confidence:.2?} placed {} {:.3?} {:?}",
            recipe.level, recipe.seed, outcome.placed, outcome.answer, outcome.blocking
        );
    }
}
