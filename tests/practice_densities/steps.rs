//! Steps read from practice scans against the curve, at the true geometry: how far off they are,
//! and whether the stated errors hold.

use nalgebra::DVector;
use twinstrip::measure::raster::Channel;
use twinstrip::measure::reading::cells::{self, CellOptions};
use twinstrip::measure::reading::{ReadingOptions, StripReading, read_strip};
use twinstrip::measure::scale::{DensityScale, assumed_white, fit_wedge};
use twinstrip::measure::strip::Role;
use twinstrip::measure::units::DECADES_PER_STOP;
use twinstrip::measure::watch::Unwatched;
use twinstrip::simulate::curve::{TrueCurve, Wanted};
use twinstrip::simulate::{Level, Practice, Recipe, Twist, make};

/// Sessions a level of the full study.
const FULL: u64 = 120;

/// Borders of the density bands that errors are told for.
const BANDS: [f64; 5] = [0.0, 0.3, 0.8, 1.4, 2.3];

/// One entry of one strip against the truth.
struct Entry {
    truth: f64,
    error: f64,
    standard_error: f64,
}

/// One strip.
struct Read {
    role: Role,
    entries: Vec<Entry>,
    /// Standardised shift of exposure that all entries share, and in stops.
    shift: f64,
    shift_stops: f64,
    /// Mean squared distance in the covariance with the scale's modes.
    distance: f64,
    /// Unevenness found over made.
    found: f64,
}

fn white_of(practice: &Practice, scan: usize) -> f64 {
    // The lid: the brightest hundredth of an overview.
    let mut light = practice.scans[scan].overview(16, Channel::Luminance).light;
    light.sort_by(f32::total_cmp);
    f64::from(light[light.len() * 99 / 100])
}

fn read(practice: &Practice) -> Vec<Read> {
    let measure = |shape: &_, scan: usize| {
        cells::measure(
            &practice.scans[scan],
            shape,
            Channel::Luminance,
            &CellOptions::default(),
            &Unwatched,
        )
        .unwrap()
    };
    let scales: Vec<Box<dyn DensityScale>> = (0..practice.scans.len())
        .map(|scan| -> Box<dyn DensityScale> {
            let found = practice.truth.wedges.iter().find(|w| w.shape.scan == scan);
            match (found, &practice.wedge) {
                (Some(wedge), Some(told)) => {
                    let cells = measure(&wedge.shape, scan);
                    let fit = fit_wedge(&cells, &wedge.shape, &told.densities, told.uncertainty);
                    Box::new(fit.unwrap().scale)
                }
                _ => Box::new(assumed_white(white_of(practice, scan))),
            }
        })
        .collect();
    let strips = practice.truth.strips.iter().zip(&practice.strips);
    strips
        .filter_map(|(truth, told)| {
            let shape = truth.shape.as_ref()?;
            let cells = measure(shape, shape.scan);
            let exposures = told.exposures.as_ref()?.log_exposures(practice.lag.0);
            let reading = read_strip(
                &cells,
                shape,
                scales[shape.scan].as_ref(),
                Some(&exposures),
                &ReadingOptions::default(),
            );
            let curve = TrueCurve::new(
                truth.curve.shape,
                &Wanted {
                    dmin: truth.curve.dmin,
                    dmax: truth.curve.dmax,
                    speed_point: truth.curve.speed_point,
                    range: truth.curve.range,
                },
            );
            let steps: Vec<(f64, f64)> = reading
                .has_margin
                .then_some((truth.curve.dmin, 0.0))
                .into_iter()
                .chain(reading.steps.iter().map(|&step| {
                    let step = truth.steps[step];
                    let at = |x: f64| curve.density(step.log_exposure + x);
                    (step.density, (at(1e-3) - at(-1e-3)) / 2e-3)
                }))
                .collect();
            Some(compare(
                &reading,
                &steps,
                truth.role,
                truth.exposure_unevenness,
            ))
        })
        .collect()
}

fn compare(reading: &StripReading, truth: &[(f64, f64)], role: Role, made: f64) -> Read {
    let count = truth.len();
    let covariance = &reading.covariance + &reading.scale_modes * reading.scale_modes.transpose();
    let error = DVector::from_fn(count, |i, _| reading.density[i] - truth[i].0);
    let slope = DVector::from_fn(count, |i, _| truth[i].1);
    let root = covariance.clone().cholesky().unwrap();
    let weighted = root.solve(&slope);
    let information = slope.dot(&weighted);
    let shift = error.dot(&weighted) / information;
    Read {
        role,
        entries: (0..count)
            .map(|i| Entry {
                truth: truth[i].0,
                error: error[i],
                standard_error: covariance[(i, i)].sqrt(),
            })
            .collect(),
        shift: shift * information.sqrt(),
        shift_stops: shift / DECADES_PER_STOP,
        distance: error.dot(&root.solve(&error)) / count as f64,
        found: reading.unevenness.exposure_decades / made,
    }
}

/// Mean standardised squares: steps, all together, shift.
struct Summary {
    distance: f64,
    shift: f64,
    worst_rms: f64,
}

fn study(name: &str, level: Level, twist: Option<Twist>, sessions: u64, role: Role) -> Summary {
    let reads: Vec<Read> = (0..sessions)
        .flat_map(|seed| {
            let mut recipe = Recipe::new(level, 70_000 + seed);
            recipe.dpi = Some(200.0);
            recipe.twist = twist;
            read(&make(&recipe))
        })
        .filter(|read| read.role == role)
        .collect();
    let count = reads.len() as f64;
    let mean = |of: &dyn Fn(&Read) -> f64| reads.iter().map(of).sum::<f64>() / count;
    let shift = mean(&|r| r.shift.powi(2));
    let distance = mean(&|r| r.distance);
    println!(
        "{name} {role:?} {level:?}, {count} strips: all {distance:.2}; shift {shift:.2}, covered {:.1} %, \
         rms {:.4} stops; found/made {:.2}",
        100.0 * mean(&|r| f64::from(u8::from(r.shift.abs() < 1.96))),
        mean(&|r| r.shift_stops.powi(2)).sqrt(),
        mean(&|r| r.found.ln()).exp(),
    );
    let mut worst_rms = 0f64;
    for band in BANDS.windows(2) {
        let here: Vec<&Entry> = reads
            .iter()
            .flat_map(|read| &read.entries)
            .filter(|entry| (band[0]..band[1]).contains(&entry.truth))
            .collect();
        let over = |of: &dyn Fn(&Entry) -> f64| {
            here.iter().map(|entry| of(entry)).sum::<f64>() / here.len() as f64
        };
        let rms = over(&|e| e.error.powi(2)).sqrt();
        worst_rms = worst_rms.max(rms);
        println!(
            "    {:.1} to {:.1} D, {:4}: rms {rms:.4}, mean {:+.4}, stated {:.4}, z^2 {:.2}, covered {:.1} %",
            band[0],
            band[1],
            here.len(),
            over(&|e| e.error),
            over(&|e| e.standard_error.powi(2)).sqrt(),
            over(&|e| (e.error / e.standard_error).powi(2)),
            100.0 * over(&|e| f64::from(u8::from(e.error.abs() < 1.96 * e.standard_error))),
        );
    }
    Summary {
        distance,
        shift,
        worst_rms,
    }
}

#[test]
fn densities_of_practice_scans_are_right_within_their_stated_errors() {
    let asked = std::env::var("TWINSTRIP_STUDY").ok();
    let full = asked.is_some();
    let sessions = asked.map_or(3, |count| count.parse().unwrap_or(FULL));
    for level in Level::ALL {
        for role in [Role::Reference, Role::Coupon] {
            let summary = study("with wedge", level, None, sessions, role);
            assert!(summary.distance < 4.0 && summary.shift < 4.0);
            assert!(summary.worst_rms < level.pick(0.015, 0.04, 0.08));
        }
    }
    if full {
        for role in [Role::Reference, Role::Coupon] {
            study(
                "several scales",
                Level::Ordinary,
                Some(Twist::SeveralScales),
                sessions,
                role,
            );
        }
        for level in Level::ALL {
            for role in [Role::Reference, Role::Coupon] {
                study("no wedge", level, Some(Twist::NoWedge), sessions, role);
            }
        }
    }
}
