//! How a sensible printmaker plans a strip's exposures.

use rand::Rng;

use super::recipe::Level;
use crate::measure::exposure::{Exposures, Series};
use crate::measure::units::{DECADES_PER_STOP, Seconds};

/// Kinds of series, to be kept for both strips of a session or drawn anew.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Kind {
    /// Equal or growing bursts, card moved between them.
    BuildingUp,
    /// Each step its own burst.
    OneAtATime,
    /// Constant steps in stops.
    InStops,
    /// Through a transmission wedge.
    PrintedWedge,
    /// Times as written down.
    List,
}

impl Kind {
    /// A kind.
    pub fn draw(rng: &mut impl Rng) -> Self {
        match rng.random_range(0..10) {
            0..3 => Self::BuildingUp,
            3..5 => Self::OneAtATime,
            5..8 => Self::InStops,
            8 => Self::PrintedWedge,
            _ => Self::List,
        }
    }
}

/// Engraved f-numbers with their exact values: stops of f/1.
pub const APERTURES: [(f64, f64); 7] = [
    (2.8, 1.5),
    (4.0, 2.0),
    (5.6, 2.5),
    (8.0, 3.0),
    (11.0, 3.5),
    (16.0, 4.0),
    (22.0, 4.5),
];

/// Exact f-number of an entry of [`APERTURES`].
pub fn exact_f_number(aperture: usize) -> f64 {
    APERTURES[aperture].1.exp2()
}

/// The part of a curve that the steps should cover, as log exposures.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Reach {
    /// Lowest step.
    pub low: f64,
    /// Highest step.
    pub high: f64,
}

impl Reach {
    /// As a printmaker would guess it, from toe and shoulder of the curve.
    pub fn guess(rng: &mut impl Rng, level: Level, toe: f64, shoulder: f64) -> Self {
        let least = level.pick(0.0, -0.03, -0.08);
        let miss = level.pick(0.04, 0.08, 0.12);
        let shift = rng.random_range(-miss..miss);
        Self {
            low: toe - rng.random_range(least..0.2) + shift,
            high: shoulder + rng.random_range(least + 0.05..0.3) + shift,
        }
    }
}

/// Exposures that cover a reach with about `steps` steps at an aperture; where the series asks for
/// another count, between the fewest and the most.
pub fn plan(
    rng: &mut impl Rng,
    kind: Kind,
    reach: Reach,
    steps: usize,
    (fewest, most): (usize, usize),
    aperture: usize,
) -> Exposures {
    let f_number = exact_f_number(aperture);
    let light = 2.0 * f_number.log10();
    let (first, last) = (reach.low + light, reach.high + light);
    let decades = (last - first) / (steps - 1) as f64;
    let ladder = |steps: usize| -> Vec<f64> {
        rising((0..steps).map(|k| 10f64.powf(first + decades * k as f64)))
    };
    let series = match kind {
        Kind::BuildingUp => {
            let equal = (steps as f64).log10() > (last - first) - 0.1 && rng.random_bool(0.6);
            let bursts = if equal {
                let burst = tidy(10f64.powf(last) / steps as f64);
                vec![Seconds(burst); steps]
            } else {
                let mut before = 0.0;
                ladder(steps)
                    .into_iter()
                    .map(|total| {
                        let burst = tidy(total - before);
                        before = total;
                        Seconds(burst)
                    })
                    .collect()
            };
            Series::BuildingUp { bursts }
        }
        Kind::OneAtATime => Series::OneAtATime {
            times: ladder(steps).into_iter().map(Seconds).collect(),
        },
        Kind::List => Series::List {
            times: ladder(steps).into_iter().map(Seconds).collect(),
        },
        Kind::InStops => {
            let wanted = decades / DECADES_PER_STOP;
            let stops = [0.25, 1.0 / 3.0, 0.5, 2.0 / 3.0, 0.75, 1.0]
                .into_iter()
                .min_by(|a, b| (a - wanted).abs().total_cmp(&(b - wanted).abs()))
                .unwrap_or(0.5);
            let steps = ((last - first) / (stops * DECADES_PER_STOP)).round() as usize + 1;
            let steps = steps.clamp(fewest, most);
            // Keep the middle where it was meant to be.
            let span = stops * DECADES_PER_STOP * (steps - 1) as f64;
            Series::InStops {
                first: Seconds(tidy(10f64.powf((first + last - span) / 2.0))),
                stops,
                steps,
            }
        }
        Kind::PrintedWedge => {
            let step = ((decades / 0.05).round() * 0.05).max(0.05);
            let steps = (((last - first) / step).round() as usize + 1).clamp(fewest, most);
            let span = step * (steps - 1) as f64;
            Series::PrintedWedge {
                time: Seconds(tidy(10f64.powf((first + last + span) / 2.0))),
                densities: (0..steps)
                    .map(|k| ((steps - 1 - k) as f64 * step * 100.0).round() / 100.0)
                    .collect(),
            }
        }
    };
    Exposures {
        series,
        f_number,
        magnification: None,
        filter_density: None,
        height: None,
        focal_length: None,
    }
}

/// A time as a timer takes it: tenths of a second below 20 s, whole seconds above.
fn tidy(seconds: f64) -> f64 {
    if seconds < 20.0 {
        (seconds * 10.0).round().max(2.0) / 10.0
    } else {
        seconds.round()
    }
}

/// Tidy times, each longer than the one before.
fn rising(times: impl Iterator<Item = f64>) -> Vec<f64> {
    let mut last = 0.0;
    times
        .map(|time| {
            let step = if last < 20.0 { 0.1 } else { 1.0 };
            last = tidy(time).max(((last + step) * 10.0_f64).round() / 10.0);
            last
        })
        .collect()
}

#[cfg(test)]
mod tests {
    use super::*;
    use rand::SeedableRng;
    use rand_chacha::ChaCha8Rng;

    #[test]
    fn every_kind_of_series_covers_what_it_was_planned_for() {
        let mut rng = ChaCha8Rng::seed_from_u64(3);
        for kind in [
            Kind::BuildingUp,
            Kind::OneAtATime,
            Kind::InStops,
            Kind::PrintedWedge,
            Kind::List,
        ] {
            for steps in 7..=11 {
                let reach = Reach {
                    low: -1.8,
                    high: -0.6,
                };
                let exposures = plan(&mut rng, kind, reach, steps, (7, 11), 4);
                let x = exposures.log_exposures(0.0);
                assert!(x.windows(2).all(|pair| pair[1] > pair[0]), "{kind:?} {x:?}");
                let (low, high) = (x[0], x[x.len() - 1]);
                assert!((low + 1.8).abs() < 0.25, "{kind:?} {steps} {x:?}");
                assert!((high + 0.6).abs() < 0.25, "{kind:?} {steps} {x:?}");
            }
        }
    }
}
