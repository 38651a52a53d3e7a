//! Mixtures of readings whose answers are known.

use nalgebra::{DMatrix, DVector};

use super::mixture::{cases, shares, variances};
use super::{Compared, OtherReading, Source, StripEvidence, solve_readings};
use crate::measure::analysis::Settings;
use crate::measure::curve::model::{Curve, SPEED_NET};
use crate::measure::estimate::{End, Gap};
use crate::measure::exposure::{Exposures, Series};
use crate::measure::reading::{StripReading, Unevenness};
use crate::measure::strip::Role;
use crate::measure::units::{DECADES_PER_STOP, Seconds};

/// Stops that the coat is slower by the reading used.
const SLOWER: f64 = 3.0;

/// What is read of half stops from 4 s on a curve whose speed point lies at `speed` decades.
fn reading(exposures: &Exposures, speed: f64) -> StripReading {
    let parameters = [0.08, 1.7f64.ln(), 90f64.ln(), speed, 0.0, 0.0];
    let curve = Curve::new(&parameters, SPEED_NET).unwrap();
    let steps = exposures.log_exposures(0.0);
    let density: Vec<f64> = std::iter::once(curve.dmin)
        .chain(steps.iter().map(|&x| curve.density(x)))
        .collect();
    let entries = density.len();
    StripReading {
        has_margin: true,
        steps: (0..steps.len()).collect(),
        scanner: DVector::from_vec(density.clone()),
        density: DVector::from_vec(density),
        covariance: DMatrix::identity(entries, entries) * 4e-5,
        scale_modes: DMatrix::zeros(entries, 1),
        repeat_modes: 0,
        unevenness: Unevenness {
            exposure_decades: 0.012,
            net_share: 0.01,
            scale_mm: 5.0,
        },
    }
}

/// A strip with other readings: by how many stops each would be slower, its chance, its way.
fn strip(role: Role, slower: f64, others: &[(f64, f64, usize)]) -> StripEvidence {
    let exposures = Exposures {
        series: Series::InStops {
            first: Seconds(2.0 * slower.exp2()),
            stops: 0.5,
            steps: 12,
        },
        f_number: 16.0,
        magnification: None,
        filter_density: None,
        height: None,
        focal_length: None,
    };
    let read = |slower: f64| reading(&exposures, -1.5 + slower * DECADES_PER_STOP);
    StripEvidence {
        strip: usize::from(role == Role::Coupon),
        role,
        reading: read(slower),
        excluded: vec![],
        others: others
            .iter()
            .map(|&(by, chance, way)| OtherReading {
                chance,
                way,
                reading: read(slower + by),
            })
            .collect(),
        exposures,
    }
}

fn solved(others: &[(f64, f64, usize)]) -> Compared {
    solve_readings(
        &strip(Role::Reference, 0.0, &[]),
        &strip(Role::Coupon, SLOWER, others),
        &Settings::default(),
    )
}

#[test]
fn the_bounds_of_a_mixture_hold_both_readings_and_the_likelier_one_leads() {
    let alone = solved(&[]);
    assert!(alone.readings.is_empty());
    let mixed = solved(&[(0.5, 0.3, 0)]);
    let stops = mixed.answer.stops;
    let (low, high) = stops.bounds().unwrap();
    assert!(low < SLOWER && SLOWER + 0.5 < high, "{low} to {high}");
    assert!((stops.value.unwrap() - SLOWER).abs() < 0.15, "{stops:?}");
    let chances: Vec<f64> = mixed.readings.iter().map(|read| read.chance).collect();
    assert!((chances[0] - 0.7).abs() < 1e-9 && (chances[1] - 0.3).abs() < 1e-9);
    for (read, slower) in mixed.readings.iter().zip([SLOWER, SLOWER + 0.5]) {
        assert!(
            (read.stops.value.unwrap() - slower).abs() < 0.05,
            "{read:?}"
        );
    }
    // Two values half a stop apart with chances 0.7 and 0.3 (law of total variance).
    let part = mixed.answer.budget.iter();
    let part = part.clone().find(|p| p.source == Source::Places).unwrap();
    let expected = 0.5 * (0.7f64 * 0.3).sqrt();
    assert!((part.stops - expected).abs() < 0.02, "{part:?}");
    let whole: f64 = mixed.answer.budget.iter().map(|part| part.share).sum();
    assert!((whole - 1.0).abs() < 1e-9);
    assert!(part.remedy.contains("choose"));
}

#[test]
fn a_reading_without_a_chance_worth_it_changes_nothing() {
    let alone = solved(&[]);
    let with = solved(&[(2.0, 0.005, 0)]);
    assert_eq!(with.answer, alone.answer);
    assert!(with.readings.is_empty());
}

#[test]
fn readings_far_apart_of_which_none_leads_give_no_answer_but_a_choice() {
    let torn = solved(&[(2.0, 0.45, 0)]);
    assert_eq!(torn.answer.stops.lower, End::Open(Gap::UncertainSteps));
    assert_eq!(torn.answer.stops.value, None);
    assert_eq!(torn.readings.len(), 2);
    // The same doubt where one leads by far: a wide answer, but an answer.
    let leading = solved(&[(1.0, 0.1, 0)]);
    let (low, high) = leading.answer.stops.bounds().unwrap();
    assert!(low < SLOWER && SLOWER + 0.9 < high, "{low} to {high}");
}

#[test]
fn which_strip_is_which_goes_for_both_at_once() {
    let reference = strip(Role::Reference, 0.0, &[(3.0, 0.2, 1)]);
    let coupon = strip(Role::Coupon, SLOWER, &[(0.3, 0.4, 0), (-3.0, 0.2, 1)]);
    let joint: Vec<([usize; 2], f64)> = cases(&reference, &coupon)
        .iter()
        .map(|case| (case.of, case.chance))
        .collect();
    let expected = [([0, 0], 0.4), ([0, 1], 0.4), ([1, 2], 0.2)];
    assert_eq!(joint.len(), expected.len());
    for ((of, chance), (known, right)) in joint.iter().zip(expected) {
        assert_eq!(*of, known);
        assert!((chance - right).abs() < 1e-9, "{joint:?}");
    }
}

#[test]
fn draws_are_shared_out_by_chance_and_all_of_them_are_given() {
    let places = shares(&[0.62, 0.33, 0.05], 2000);
    let counts: Vec<usize> = places.iter().map(Vec::len).collect();
    assert_eq!(counts, [1240, 660, 100]);
    assert!(places.iter().flatten().all(|&place| place < 2000));
    assert_eq!(places[2][..3], [0, 20, 40], "evenly over all of its own");
    // Three alike of 1000: 333 or 334 each.
    let thirds = shares(&[1.0, 1.0, 1.0], 1000);
    assert_eq!(thirds.iter().map(Vec::len).sum::<usize>(), 1000);
}

#[test]
fn variance_within_and_between_readings_add_up_to_the_whole() {
    let (within, between) = variances(&[(vec![1.0, 3.0], 0.5), (vec![5.0, 7.0], 0.5)]).unwrap();
    // Of 1, 3, 5, 7: variance 5 about 4.
    assert_eq!((within, between), (1.0, 4.0));
    assert_eq!(variances(&[(vec![f64::INFINITY], 1.0)]), None);
}
