//! Do the stated errors of the steps hold? Strips with known truth at the level of cells,
//! made by means of their own (random waves), so that a slip in the covariance shows.
//!
//! The short version runs with the other tests; `TWINSTRIP_STUDY=full` makes the table of
//! docs/densities.md.

#![expect(clippy::unwrap_used, reason = "what fails here fails a test")]

use nalgebra::DVector;
use rand::{Rng as _, SeedableRng as _};
use rand_chacha::ChaCha8Rng;
use rand_distr::{ChiSquared, Distribution as _, StandardNormal};
use rayon::prelude::*;

use twinstrip::measure::geometry::{Edge, Field, Point, StripShape};
use twinstrip::measure::reading::{Cell, REACHES_MM, ReadingOptions, read_strip};
use twinstrip::measure::scale::DensityScale;

/// How uneven a coat is made.
#[derive(Clone, Copy)]
struct Coat {
    name: &'static str,
    /// Standard deviation in decades.
    exposure: f64,
    /// Correlation lengths in millimetres, drawn between these.
    scales: (f64, f64),
    /// Three scales at once (a quarter, one, and three times) instead of one.
    rough: bool,
    /// Standard deviation of mottle, share of net density.
    mottle: f64,
    /// Standard deviation of light fall-off over the length, decades.
    fall_off: f64,
}

const EASY: Coat = Coat {
    name: "easy",
    exposure: 0.008,
    scales: (6.0, 20.0),
    rough: false,
    mottle: 0.006,
    fall_off: 0.006,
};
const ORDINARY: Coat = Coat {
    name: "ordinary",
    exposure: 0.018,
    mottle: 0.012,
    fall_off: 0.010,
    ..EASY
};
const HARD: Coat = Coat {
    name: "hard",
    exposure: 0.035,
    mottle: 0.025,
    ..ORDINARY
};
const ROUGH: Coat = Coat {
    name: "rough at several scales",
    rough: true,
    scales: (4.0, 7.0),
    ..ORDINARY
};

/// Scanner density is density.
struct Plain;

impl DensityScale for Plain {
    fn density(&self, s: f64) -> f64 {
        s
    }
    fn slope(&self, _: f64) -> f64 {
        1.0
    }
    fn modes(&self, _: f64) -> Vec<f64> {
        vec![]
    }
    fn supported(&self) -> (f64, f64) {
        (0.0, 3.0)
    }
    fn by_wedge(&self) -> bool {
        true
    }
}

/// A smooth random field: a sum of plane waves whose wave vectors follow the spectrum of a
/// Matern 5/2 field, a t distribution with five degrees of freedom (Rasmussen & Williams
/// 2006, eq. 4.15; Rahimi & Recht 2007 for the sum).
struct Waves(Vec<(f64, f64, f64)>, f64);

impl Waves {
    fn draw(sd: f64, scale: f64, random: &mut ChaCha8Rng) -> Self {
        const COUNT: usize = 200;
        let five = ChiSquared::new(5.0).unwrap();
        let waves = (0..COUNT)
            .map(|_| {
                let stretch = f64::sqrt(5.0 / five.sample(random)) / scale;
                let mut axis = || -> f64 { StandardNormal.sample(random) };
                let (u, v) = (axis() * stretch, axis() * stretch);
                (u, v, random.random_range(0.0..std::f64::consts::TAU))
            })
            .collect();
        Self(waves, sd * (2.0 / COUNT as f64).sqrt())
    }

    fn at(&self, (x, y): (f64, f64)) -> f64 {
        let sum: f64 = self
            .0
            .iter()
            .map(|(u, v, p)| (u * x + v * y + p).cos())
            .sum();
        sum * self.1
    }
}

/// Two emulsions of different speed in one coat: none of the fitted families.
fn curve(x: f64) -> f64 {
    let part = |middle: f64, gradient: f64| 1.0 / (1.0 + (-gradient * (x - middle)).exp());
    0.08 + 1.0 * part(0.55, 5.5) + 0.45 * part(0.95, 4.5)
}

fn curve_slope(x: f64) -> f64 {
    (curve(x + 1e-5) - curve(x - 1e-5)) / 2e-5
}

/// A strip of a margin and ten steps of half a stop, about 18 mm long and 30 mm wide.
fn strip(coat: &Coat, seed: u64) -> (Vec<Cell>, StripShape, Vec<f64>) {
    let random = &mut ChaCha8Rng::seed_from_u64(seed);
    let exposures: Vec<f64> = (0..10).map(|step| 0.15 * f64::from(step)).collect();
    let lengths: Vec<f64> = (0..11).map(|_| random.random_range(15.0..21.0)).collect();
    let total: f64 = lengths.iter().sum();
    let mut edges = vec![Edge::square(0.0)];
    let mut sum = 0.0;
    for length in &lengths {
        sum += length / total;
        edges.push(Edge::square(sum));
    }
    let corner = |x, y| Point::new(x, y);
    let shape = StripShape {
        scan: 0,
        corners: [
            corner(0.0, 0.0),
            corner(0.0, 30.0),
            corner(total, 30.0),
            corner(total, 0.0),
        ],
        edges,
        fields: std::iter::once(Field::Margin)
            .chain((0..10).map(Field::Step))
            .collect(),
        unexposed: vec![],
    };
    let scale = random.random_range(coat.scales.0..coat.scales.1);
    let f: Vec<Waves> = if coat.rough {
        [0.25, 1.0, 3.0]
            .map(|times| Waves::draw(coat.exposure / 3f64.sqrt(), scale * times, random))
            .into()
    } else {
        vec![Waves::draw(coat.exposure, scale, random)]
    };
    let mottle_scale = random.random_range(5.0..6.0);
    let g = Waves::draw(coat.mottle, mottle_scale, random);
    let normal = |random: &mut ChaCha8Rng| -> f64 { StandardNormal.sample(random) };
    let fall = coat.fall_off * normal(random);
    let noise = 0.0015;
    let mut cells = Vec::new();
    for (field, length) in lengths.iter().enumerate() {
        let start: f64 = lengths[..field].iter().sum();
        let (rows, columns) = (3, 4);
        let (deep, wide) = ((length - 5.0) / rows as f64, 23.0 / columns as f64);
        for i in 0..rows {
            for j in 0..columns {
                let x = start + 2.5 + deep * (i as f64 + 0.5);
                let y = 3.5 + wide * (j as f64 + 0.5);
                let mut mean = 0.0;
                for (a, b) in [(-1, -1), (-1, 1), (1, -1), (1, 1)] {
                    let place = (x + f64::from(a) * deep / 4.0, y + f64::from(b) * wide / 4.0);
                    let density = if field == 0 {
                        0.08
                    } else {
                        let uneven: f64 = f.iter().map(|wave| wave.at(place)).sum();
                        let light = fall * (place.0 / total - 0.5);
                        let d = curve(exposures[field - 1] + uneven + light);
                        d + (d - 0.08) * g.at(place)
                    };
                    mean += 10f64.powf(-density) / 4.0;
                }
                let light = mean * 10f64.powf(-noise * normal(random));
                cells.push(Cell {
                    field,
                    at_mm: (x, y),
                    at: Point::new(x, y),
                    light,
                    light_error: noise * light * std::f64::consts::LN_10,
                    pixels: 5000,
                    rejected: 0.0,
                    clipped: 0.0,
                    around: [light; REACHES_MM.len()],
                });
            }
        }
    }
    (cells, shape, exposures)
}

/// Median and 1.4826 times the median absolute deviation.
fn median_and_spread(values: &mut [f64]) -> (f64, f64) {
    let middle = |values: &mut [f64]| {
        values.sort_by(f64::total_cmp);
        let half = values.len() / 2;
        if values.len().is_multiple_of(2) {
            (values[half - 1] + values[half]) / 2.0
        } else {
            values[half]
        }
    };
    let median = middle(values);
    let mut away: Vec<f64> = values.iter().map(|v| (v - median).abs()).collect();
    (median, 1.4826 * middle(&mut away))
}

/// What one strip says about the stated errors.
struct Score {
    /// Standardised error of each entry but the margin.
    steps: Vec<f64>,
    /// Squared distance of all entries in their covariance, per entry.
    distance: f64,
    /// Standardised error of the shift of exposure that all steps share.
    shift: f64,
    /// That shift in stops, by the reading.
    shift_stops: f64,
    /// The same from patch medians with equal weights.
    naive_stops: f64,
    /// Standardised error of that by the scatter of the cells of each patch.
    naive: f64,
    /// Unevenness found over made.
    found: f64,
}

fn score(coat: &Coat, seed: u64) -> Score {
    let (cells, shape, exposures) = strip(coat, seed);
    let reading = read_strip(
        &cells,
        &shape,
        &Plain,
        Some(&exposures),
        &ReadingOptions::default(),
    );
    let truth = |entry: usize| {
        if entry == 0 {
            0.08
        } else {
            curve(exposures[entry - 1])
        }
    };
    let count = reading.density.len();
    assert_eq!(count, 11);
    let error = DVector::from_fn(count, |i, _| reading.density[i] - truth(i));
    let slope = DVector::from_fn(count, |i, _| {
        if i == 0 {
            0.0
        } else {
            curve_slope(exposures[i - 1])
        }
    });
    let root = reading.covariance.clone().cholesky().unwrap();
    let weighted = root.solve(&slope);
    let information = slope.dot(&weighted);
    let shift = error.dot(&weighted) / information;
    // Patch medians, each with the scatter of its cells.
    let (mut top, mut bottom, mut variance) = (0.0, 0.0, 0.0);
    for entry in 1..count {
        let mut here: Vec<f64> = cells
            .iter()
            .filter(|cell| cell.field == entry)
            .map(|cell| -cell.light.log10())
            .collect();
        let (middle, spread) = median_and_spread(&mut here);
        top += slope[entry] * (middle - truth(entry));
        bottom += slope[entry].powi(2);
        variance += slope[entry].powi(2) * spread.powi(2) / here.len() as f64;
    }
    let naive = top / bottom;
    Score {
        steps: (1..count)
            .map(|i| error[i] / reading.covariance[(i, i)].sqrt())
            .collect(),
        distance: error.dot(&root.solve(&error)) / count as f64,
        shift: shift * information.sqrt(),
        shift_stops: shift / twinstrip::measure::units::DECADES_PER_STOP,
        naive_stops: naive / twinstrip::measure::units::DECADES_PER_STOP,
        naive: naive * bottom / variance.sqrt(),
        found: reading.unevenness.exposure_decades / coat.exposure,
    }
}

struct Summary {
    steps: f64,
    distance: f64,
    shift: f64,
    covered: f64,
    gain: f64,
}

fn summary(coat: &Coat, strips: u64, seed: u64) -> Summary {
    let scores: Vec<Score> = (0..strips)
        .into_par_iter()
        .map(|index| score(coat, seed + index))
        .collect();
    let mean = |of: &dyn Fn(&Score) -> f64| scores.iter().map(of).sum::<f64>() / strips as f64;
    let steps = mean(&|s| s.steps.iter().map(|z| z * z).sum::<f64>() / s.steps.len() as f64);
    let shift = mean(&|s| s.shift.powi(2));
    let covered = mean(&|s| f64::from(u8::from(s.shift.abs() < 1.96)));
    let rms = mean(&|s| s.shift_stops.powi(2)).sqrt();
    let naive_rms = mean(&|s| s.naive_stops.powi(2)).sqrt();
    let naive_covered = mean(&|s| f64::from(u8::from(s.naive.abs() < 1.96)));
    let distance = mean(&|s| s.distance);
    let bias = mean(&|s| s.shift_stops);
    println!(
        "{:24} n {strips:4} steps {steps:.2} all {distance:.2} shift {shift:.2} \
         covered {:.1} % rms {rms:.4} bias {bias:+.4} stops; medians rms {naive_rms:.4} covered {:.1} %; \
         found/made {:.2}",
        coat.name,
        100.0 * covered,
        100.0 * naive_covered,
        mean(&|s| s.found.ln()).exp(),
    );
    Summary {
        steps,
        distance,
        shift,
        covered,
        gain: naive_rms / rms,
    }
}

#[test]
fn stated_errors_of_the_steps_hold_on_coats_of_every_evenness() {
    let full = std::env::var("TWINSTRIP_STUDY").is_ok_and(|study| study == "full");
    let strips = if full { 300 } else { 24 };
    for coat in [EASY, ORDINARY, HARD, ROUGH] {
        let summary = summary(&coat, strips, 1000);
        assert!(summary.steps > 0.5 && summary.distance > 0.5);
        assert!(summary.covered > 0.6 && summary.shift < 4.0);
        assert!(
            summary.gain > 1.1,
            "patch medians are {} times worse",
            summary.gain
        );
    }
}
