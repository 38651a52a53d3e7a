//! Laws of the drift alarm; its rates are in tests/pooling.rs.

use super::*;

/// Scatter that is the same everywhere the tests run.
const SCATTER: [f64; 10] = [
    0.02, -0.05, 0.04, -0.01, 0.06, -0.04, 0.01, -0.03, 0.05, -0.02,
];

fn occasions(dmin: impl Fn(usize) -> f64) -> Vec<Occasion> {
    let effect = |value| {
        Some(Effect {
            value,
            standard_error: 0.01,
        })
    };
    (0..SCATTER.len())
        .map(|session| Occasion {
            stops: effect(2.5 + SCATTER[session]),
            dmin: effect(0.10 + 0.1 * SCATTER[9 - session] + dmin(session)),
            dmax: effect(1.9 + 0.5 * SCATTER[(session * 3) % 10]),
            day: Some(20.0 * session as f64),
            bottle_days: None,
            remelts: Some((session / 2) as f64),
        })
        .collect()
}

fn find(trends: &[Trend], quantity: Quantity, against: Against) -> &Trend {
    trends
        .iter()
        .find(|trend| (trend.quantity, trend.against) == (quantity, against))
        .unwrap()
}

#[test]
fn without_a_change_nothing_is_said_and_all_sessions_are_trusted() {
    let trends = drift(&occasions(|_| 0.0));
    // The bottle's age isn't known: six pairs of nine.
    assert_eq!(trends.len(), 6);
    for trend in &trends {
        assert!(!trend.alarm, "{trend:?}");
        assert!(trend.slope.holds(0.0), "{trend:?}");
        assert_eq!(trend.trusted.len(), 10);
    }
}

#[test]
fn a_fog_that_rises_with_each_remelt_is_told_with_its_slope() {
    let trends = drift(&occasions(|session| 0.02 * (session / 2) as f64));
    let trend = find(&trends, Quantity::Dmin, Against::Remelts);
    assert!(trend.alarm);
    assert!(trend.slope.holds(0.02), "{:?}", trend.slope);
    assert!((trend.slope.value.unwrap() - 0.02).abs() < 0.004);
    assert!(!find(&trends, Quantity::Stops, Against::Remelts).alarm);
    assert!(suspects(Quantity::Dmin, true)[0].contains("melted"));
}

#[test]
fn a_step_is_told_with_its_place_and_only_sessions_since_are_trusted() {
    let trends = drift(&occasions(|session| if session >= 6 { 0.08 } else { 0.0 }));
    let trend = find(&trends, Quantity::Dmin, Against::Date);
    assert!(trend.alarm);
    let Shape::Step { after, from, size } = trend.shape else {
        panic!("{trend:?}")
    };
    assert_eq!((after, from), (100.0, 120.0));
    assert!((size.value.unwrap() - 0.08).abs() < 0.01 && size.holds(0.08));
    assert_eq!(trend.trusted, [6, 7, 8, 9]);
}

#[test]
fn another_unit_or_day_nought_changes_the_slope_as_it_should_and_no_chance() {
    let told = occasions(|session| 0.004 * session as f64);
    let mut later = told.clone();
    for occasion in &mut later {
        occasion.day = occasion.day.map(|day| day + 20_000.0);
    }
    let (one, other) = (drift(&told), drift(&later));
    for (one, other) in one.iter().zip(&other) {
        assert!((one.slope.value.unwrap() - other.slope.value.unwrap()).abs() < 1e-9);
        assert!((one.p - other.p).abs() < 1e-3, "{} {}", one.p, other.p);
    }
}
