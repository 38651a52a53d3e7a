//! From the cells of a strip to the densities of its steps.

use nalgebra::{DMatrix, DVector};

use super::gls::{self, Prior, Problem, Theta, ThetaMatrix};
use super::mixture;
use super::robust::median;
use super::{Cell, StripReading, Unevenness, tone};
use crate::measure::geometry::{Field, StripShape};
use crate::measure::scale::DensityScale;

/// Steps this far apart (half a stop, in decades) when the exposures are not known: only
/// the size of the unevenness depends on it, and that is estimated.
const ASSUMED_STEP: f64 = 0.15;
/// Error of the first guess of the steps' densities, for the first guess of the slopes.
const FIRST_GUESS_ERROR: f64 = 0.02;
/// A cell of which less than this share of the pixels counted is itself a stranger.
const LEAST_COUNTED: f64 = 0.5;
/// A cell this many standard errors from what the others foretell is left out.
const STRANGE_CELL: f64 = 4.5;
/// No more than this share of the cells is left out as strange.
const MOST_STRANGE: f64 = 0.08;

/// Share of a step's error that is taken as its own and not common with its neighbours', on
/// top of what the model says. Waves and streaks that the model does not know make the
/// steps look more alike than they are; a fit that believes it trusts their differences, and
/// one strange step then moves the whole curve.
const OWN_SHARE: f64 = 0.5;

/// Distance over which errors of the light become unlike, millimetres: a lamp and a lid change
/// over centimetres (common practice, no source).
const LIGHT_REACH_MM: f64 = 30.0;

/// What is believed of a strip before it is read.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct ReadingOptions {
    /// Priors of the unevenness.
    pub unevenness: Prior,
    /// Prior standard deviation of light fall-off over the whole length, decades.
    pub fall_off_along: f64,
    /// Prior standard deviation of light fall-off over the whole width, decades.
    pub fall_off_across: f64,
    /// Standard error of the light that falls on a place, scanner density.
    pub lighting: f64,
}

impl Default for ReadingOptions {
    /// Coated by hand: 0.012 decades over 4 mm and more over 17 mm, 1 % of net density over
    /// 5.5 mm. Their sizes are left wide; their lengths are not, since a strip is too short to
    /// tell a long wave from a slope.
    fn default() -> Self {
        let ln = f64::ln;
        Self {
            unevenness: Prior {
                middle: Theta::from([
                    ln(0.012),
                    ln(4.0),
                    ln(0.01),
                    ln(5.5),
                    ln(0.001),
                    ln(0.002),
                    ln(0.78),
                ]),
                width: Theta::from([1.0, 0.25, 0.8, 0.35, 0.8, 0.8, 0.4]),
            },
            fall_off_along: 0.012,
            fall_off_across: 0.004,
            lighting: 0.0,
        }
    }
}

/// Reads the densities of a strip from its cells.
///
/// `log_exposures` holds decades by step number; without it, equal steps are assumed, which
/// touches the division of the unevenness only. Margin fields and patches of unexposed coat are
/// read together as entry 0.
/// Fields without a usable cell are absent from the reading, which may so be empty. Cells
/// that stand out from what all others foretell are left out.
///
/// The uncertainty of the covariance parameters is integrated over, so that few steps give
/// wide errors and not lucky ones.
pub fn read_strip(
    cells: &[Cell],
    shape: &StripShape,
    scale: &dyn DensityScale,
    log_exposures: Option<&[f64]>,
    options: &ReadingOptions,
) -> StripReading {
    let (has_margin, steps) = entries(cells, shape);
    let entry_of = |cell: &Cell| match shape.part(cell.field)? {
        Field::Margin => Some(0),
        Field::Step(step) => Some(usize::from(has_margin) + steps.binary_search(&step).ok()?),
        Field::Ignored => None,
    };
    let mut used: Vec<(Cell, usize)> = cells
        .iter()
        .filter(|cell| usable(cell))
        .filter_map(|cell| Some((*cell, entry_of(cell)?)))
        .collect();
    let count = usize::from(has_margin) + steps.len();
    let exposures = exposures(has_margin, &steps, log_exposures);
    if used.is_empty() {
        return empty();
    }
    let fields = shape.fields.len();
    let mut problem = problem(&used, (count, fields), scale, options);
    let guess = DVector::from_iterator(
        count,
        (0..count).map(|entry| {
            let here = (0..used.len()).filter(|&cell| used[cell].1 == entry);
            let mut here: Vec<f64> = here.map(|cell| problem.density[cell]).collect();
            median(&mut here).unwrap_or(0.0)
        }),
    );
    let error = DMatrix::identity(count, count) * FIRST_GUESS_ERROR.powi(2);
    set_tones(&mut problem, has_margin, &exposures, &guess, &error);
    let prior = &options.unevenness;
    let mut theta = prior.middle;
    let mut information = ThetaMatrix::from_diagonal(&prior.width.map(|w| 1.0 / (w * w)));
    if let Some((found, _)) = problem.estimate(theta, prior, 12) {
        theta = found;
    }
    if let Some(strange) = strange_cells(&problem, &theta) {
        used = keep_without(&used, &strange, count);
        problem = self::problem(&used, (count, fields), scale, options);
        set_tones(&mut problem, has_margin, &exposures, &guess, &error);
    }
    if let Some(first) = problem.solve(&theta, prior) {
        set_tones(
            &mut problem,
            has_margin,
            &exposures,
            &first.mean,
            &first.covariance,
        );
    }
    if let Some((found, curvature)) = problem.estimate(theta, prior, 8) {
        (theta, information) = (found, curvature);
    }
    let Some(solution) = mixture::average(&problem, &theta, &information, prior) else {
        return empty();
    };
    let Some(weights) = problem.weights(&theta) else {
        return empty();
    };
    let scanner = DVector::from_iterator(used.len(), used.iter().map(|(c, _)| scanner(c)));
    let modes: Vec<Vec<f64>> = scanner
        .iter()
        .zip(&used)
        .map(|(&s, (cell, _))| {
            let mut modes = scale.modes(s);
            modes.extend(scale.stray(s, &cell.around).modes);
            modes
        })
        .collect();
    let mode_count = modes.iter().map(Vec::len).min().unwrap_or(0);
    let cell_modes = DMatrix::from_fn(used.len(), mode_count, |cell, mode| modes[cell][mode]);
    let value = theta.map(f64::exp);
    // Where the curve bends, unevenness of either sign moves the mean one way (second-order
    // term of the expansion about the even coat).
    let slow = gls::slow_share(value[6], value[1]);
    let variance = value[0].powi(2) * (1.0 + slow.powi(2));
    let bent = DVector::from_iterator(count, problem.bend.iter().map(|b| b * variance / 2.0));
    StripReading {
        has_margin,
        steps,
        scanner: &weights * scanner,
        density: solution.0 - bent,
        covariance: with_own_share(&solution.1)
            + lit(&problem, &used, scale, &weights) * options.lighting.powi(2),
        scale_modes: &weights * cell_modes,
        repeat_modes: 0,
        unevenness: Unevenness {
            exposure_decades: variance.sqrt(),
            net_share: value[2],
            scale_mm: value[1],
        },
    }
}

/// Covariance that an error of the light of one scanner density makes between entries: alike where
/// they lie near each other.
fn lit(
    problem: &Problem,
    used: &[(Cell, usize)],
    scale: &dyn DensityScale,
    weights: &DMatrix<f64>,
) -> DMatrix<f64> {
    let slopes = used.iter().map(|(cell, _)| scale.slope(scanner(cell)));
    let slopes = DVector::from_iterator(used.len(), slopes);
    let alike = DMatrix::from_fn(used.len(), used.len(), |i, j| {
        (-problem.distance[(i, j)] / LIGHT_REACH_MM).exp() * slopes[i] * slopes[j]
    });
    weights * alike * weights.transpose()
}

/// The covariance with [`OWN_SHARE`] of every error made the step's own.
fn with_own_share(covariance: &DMatrix<f64>) -> DMatrix<f64> {
    let mut own = covariance * (1.0 - OWN_SHARE);
    own.set_diagonal(&covariance.diagonal());
    own
}

/// Whether a cell can be read at all.
fn usable(cell: &Cell) -> bool {
    cell.light.is_finite()
        && cell.light > 0.0
        && cell.light_error.is_finite()
        && 1.0 - cell.rejected >= LEAST_COUNTED
}

fn scanner(cell: &Cell) -> f64 {
    -cell.light.log10()
}

/// Whether there is a margin, and which steps have a usable cell, ascending.
fn entries(cells: &[Cell], shape: &StripShape) -> (bool, Vec<usize>) {
    let mut has_margin = false;
    let mut steps = Vec::new();
    for cell in cells.iter().filter(|cell| usable(cell)) {
        match shape.part(cell.field) {
            Some(Field::Margin) => has_margin = true,
            Some(Field::Step(step)) => steps.push(step),
            Some(Field::Ignored) | None => {}
        }
    }
    steps.sort_unstable();
    steps.dedup();
    (has_margin, steps)
}

/// Log exposure of each entry; minus infinity for the margin.
fn exposures(has_margin: bool, steps: &[usize], given: Option<&[f64]>) -> Vec<f64> {
    let margin = has_margin.then_some(f64::NEG_INFINITY);
    let of_step = |&step: &usize| match given {
        Some(given) => given.get(step).copied().unwrap_or(f64::NEG_INFINITY),
        None => ASSUMED_STEP * step as f64,
    };
    margin
        .into_iter()
        .chain(steps.iter().map(of_step))
        .collect()
}

/// `fields` is how many fields the strip has: cells of later parts lie beside it.
fn problem(
    used: &[(Cell, usize)],
    (entries, fields): (usize, usize),
    scale: &dyn DensityScale,
    options: &ReadingOptions,
) -> Problem {
    let count = used.len();
    let at = |cell: usize| used[cell].0.at_mm;
    // Coat that lies beside the strip got no light that could fall off.
    let own = || {
        let inside = |(cell, _): &&(Cell, usize)| cell.field < fields;
        used.iter().filter(inside).map(|(cell, _)| cell)
    };
    let along = own().map(|cell| cell.at_mm.0);
    let across = own().map(|cell| cell.at_mm.1);
    let range = |values: &mut dyn Iterator<Item = f64>| {
        values.fold((f64::INFINITY, f64::NEG_INFINITY), |(low, high), v| {
            (low.min(v), high.max(v))
        })
    };
    let along = range(&mut along.into_iter());
    let across = range(&mut across.into_iter());
    let share = |v: f64, (low, high): (f64, f64)| (v - (low + high) / 2.0) / (high - low).max(1e-9);
    let distance = DMatrix::from_fn(count, count, |i, j| {
        (at(i).0 - at(j).0).hypot(at(i).1 - at(j).1)
    });
    Problem {
        density: DVector::from_fn(count, |cell, _| {
            let cell = &used[cell].0;
            let s = scanner(cell);
            scale.density(s) + scale.stray(s, &cell.around).density
        }),
        entry: used.iter().map(|&(_, entry)| entry).collect(),
        entries,
        slow_likeness: gls::slow_likeness(&distance),
        distance,
        slope: vec![0.0; entries],
        net: vec![0.0; entries],
        bend: vec![0.0; entries],
        noise: DVector::from_fn(count, |cell, _| {
            let cell = &used[cell].0;
            let relative = cell.light_error / (cell.light * std::f64::consts::LN_10);
            (scale.slope(scanner(cell)) * relative).powi(2)
        }),
        fall_off: DMatrix::from_fn(count, 2, |cell, shape| match shape {
            0 => options.fall_off_along * share(at(cell).0, along),
            _ => options.fall_off_across * share(at(cell).1, across),
        }),
    }
}

/// Puts slopes and net densities from a reading of the steps into the problem.
fn set_tones(
    problem: &mut Problem,
    has_margin: bool,
    exposures: &[f64],
    density: &DVector<f64>,
    covariance: &DMatrix<f64>,
) {
    let tones = tone::tones(exposures, density, covariance, has_margin);
    problem.slope = tones.slope;
    problem.net = tones.net;
    problem.bend = tones.bend;
}

/// Which cells stand out, worst first; `None` when none do.
fn strange_cells(problem: &Problem, theta: &Theta) -> Option<Vec<usize>> {
    let away = problem.deletion_residuals(theta)?;
    let mut strange: Vec<usize> = (0..away.len())
        .filter(|&cell| away[cell].abs() > STRANGE_CELL)
        .collect();
    strange.sort_by(|&a, &b| away[b].abs().total_cmp(&away[a].abs()));
    strange.truncate((MOST_STRANGE * away.len() as f64) as usize);
    (!strange.is_empty()).then_some(strange)
}

/// The cells without the strange ones, except where an entry would lose its last.
fn keep_without(used: &[(Cell, usize)], strange: &[usize], entries: usize) -> Vec<(Cell, usize)> {
    let mut left = vec![0usize; entries];
    for &(_, entry) in used {
        left[entry] += 1;
    }
    let mut out = vec![false; used.len()];
    for &cell in strange {
        let entry = used[cell].1;
        if left[entry] > 1 {
            left[entry] -= 1;
            out[cell] = true;
        }
    }
    let kept = used.iter().zip(out).filter(|(_, out)| !out);
    kept.map(|(&cell, _)| cell).collect()
}

/// A reading without any entry.
fn empty() -> StripReading {
    StripReading {
        has_margin: false,
        steps: vec![],
        scanner: DVector::zeros(0),
        density: DVector::zeros(0),
        covariance: DMatrix::zeros(0, 0),
        scale_modes: DMatrix::zeros(0, 0),
        repeat_modes: 0,
        unevenness: Unevenness::default(),
    }
}
