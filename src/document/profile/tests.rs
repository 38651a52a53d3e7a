use nalgebra::{DMatrix, DVector};

use super::*;
use crate::measure::analysis::Settings;
use crate::measure::compare::{StripEvidence, solve};
use crate::measure::curve::model::{Curve, SPEED_NET};
use crate::measure::exposure::{Exposures, Series};
use crate::measure::reading::{StripReading, Unevenness};
use crate::measure::strip::Role;
use crate::measure::units::{DECADES_PER_STOP, Seconds};

/// A strip of eleven half stops from `first` seconds whose speed point lies at `speed` decades.
fn strip(role: Role, place: usize, first: f64, speed: f64) -> StripEvidence {
    let exposures = Exposures {
        series: Series::InStops {
            first: Seconds(first),
            stops: 0.5,
            steps: 11,
        },
        f_number: 16.0,
        magnification: None,
        filter_density: None,
        height: None,
        focal_length: None,
    };
    let parameters = [0.08, 1.7f64.ln(), 90f64.ln(), speed, 0.0, 0.0];
    let curve = Curve::new(&parameters, SPEED_NET).unwrap();
    let x = exposures.log_exposures(0.0);
    let density: Vec<f64> = std::iter::once(curve.dmin)
        .chain(x.iter().map(|&x| curve.density(x)))
        .collect();
    let entries = density.len();
    StripEvidence {
        strip: place,
        role,
        exposures,
        reading: StripReading {
            has_margin: true,
            steps: (0..11).collect(),
            scanner: DVector::from_vec(density.clone()),
            density: DVector::from_vec(density),
            covariance: DMatrix::from_fn(entries, entries, |i, j| {
                1e-4 * 0.4f64.powi((i as i32 - j as i32).abs())
            }),
            scale_modes: DMatrix::from_fn(entries, 2, |i, j| 0.002 * (i + j) as f64 / 12.0),
            repeat_modes: 0,
            unevenness: Unevenness {
                exposure_decades: 0.012,
                net_share: 0.01,
                scale_mm: 5.0,
            },
        },
        excluded: vec![10],
        others: vec![],
    }
}

/// A session in which the coat needs `stops` more than the paper.
pub(crate) fn sample(number: u32, stops: f64) -> Evidence {
    let strips = [
        strip(Role::Reference, 0, 2.0, -1.5),
        strip(Role::Coupon, 1, 12.0, -1.5 + stops * DECADES_PER_STOP),
    ];
    let settings = Settings::default();
    let (answer, _) = solve(&strips[0], &strips[1], &settings);
    Evidence {
        origin: Origin {
            session: format!("slates-{number}.ron"),
            hash: format!("{number:064x}"),
            scans: vec![ScanMark {
                path: format!("scan-{number}.tif"),
                hash: format!("{:064x}", 1000 + number),
            }],
            date: Some(Day::since_1970(20_000 + i64::from(number))),
            opened: None,
            remelts: Some(number),
            program: "twinstrip 0.1.0".into(),
            note: "a \"quoted\" word,\nand a line".into(),
        },
        pair: Pair {
            reference: "warm paper".into(),
            reference_place: 0,
            coupon: "slate, two coats".into(),
            coupon_place: 1,
        },
        strips,
        settings,
        answer,
    }
}

/// A profile with so many sessions.
pub(crate) fn profile(name: &str, sessions: u32) -> Profile {
    let mut made = Profile::named(name);
    let said = [
        (Field::Emulsion, "silver bromide, made in March"),
        (Field::Batch, "7"),
        (Field::Opened, "2024-09-20"),
        (Field::Ground, "reclaimed roof slate"),
        (Field::Coats, "2"),
        (Field::Wet, "2.1 ml"),
        (Field::Temperature, "20"),
        (Field::Time, "1m30s"),
        (Field::Price, "48 EUR/l"),
        (
            Field::Notes,
            "harbour pictures: \"the long wall\"\nsecond line",
        ),
    ];
    for (field, text) in said {
        made.particulars.set(field, text).unwrap();
    }
    for number in 1..=sessions {
        made = made.with(sample(number, 2.5 + 0.05 * f64::from(number)));
    }
    made
}

#[test]
fn what_is_kept_of_a_session_gives_its_answer_again() {
    let kept = sample(1, 2.5);
    assert_eq!(kept.recompute(), kept.answer);
    let found = kept.answer.stops.value.unwrap();
    assert!((found - 2.5).abs() < 0.05, "{found}");
    let mut other = kept.clone();
    other.strips[1].reading.density[5] += 0.05;
    assert_ne!(other.recompute(), kept.answer);
}

#[test]
fn a_session_measured_anew_takes_the_place_of_what_it_said_before() {
    let mut grown = profile("slates", 3);
    let mut again = sample(2, 2.9);
    again.origin.hash = "another text of the same session".into();
    grown = grown.with(again.clone());
    assert_eq!(grown.evidence.len(), 3);
    assert_eq!(grown.find(&again.mark()), Some(&again));
    assert_eq!(grown.check(), Ok(()));
    let days: Vec<_> = grown.evidence.iter().map(|one| one.origin.date).collect();
    assert!(days.is_sorted());
}

#[test]
fn days_since_the_bottle_was_opened_are_counted_from_the_sessions_own_bottle_first() {
    let mut made = profile("slates", 1);
    // 2024-10-05 is day 20,001 (Python's datetime.date); the bottle was opened on 2024-09-20.
    assert_eq!(made.days_open(&made.evidence[0]), Some(15));
    made.evidence[0].origin.opened = "2024-10-01".parse().ok();
    assert_eq!(made.days_open(&made.evidence[0]), Some(4));
}

#[test]
fn every_field_is_read_as_it_is_written() {
    let made = profile("slates", 0);
    let mut again = Particulars::default();
    for field in Field::ALL {
        again.set(field, &made.particulars.get(field)).unwrap();
        assert_eq!(Field::of_word(field.word()), Ok(field));
    }
    assert_eq!(again, made.particulars);
    let said = Field::of_word("emulsoin").unwrap_err();
    assert!(said.contains("did you mean `emulsion`?"), "{said}");
}

#[test]
fn a_field_says_what_would_be_right() {
    let mut said = Particulars::default();
    for (field, wrong, right) in [
        (Field::Coats, "two", "whole number"),
        (Field::Coats, "1.5", "whole number"),
        (Field::Wet, "2.1", "2.1 ml"),
        (Field::Wet, "0 ml", "2.1 ml"),
        (Field::Opened, "spring", "2026-11-25"),
        (Field::Temperature, "hot", "degrees Celsius"),
        (Field::Price, "48", "48 EUR/l"),
        (Field::Time, "a while", ""),
    ] {
        let error = said.set(field, wrong).unwrap_err();
        assert!(error.contains(right), "{field:?}: {error}");
    }
    assert_eq!(said, Particulars::default());
}

#[test]
fn what_two_people_changed_is_put_together() {
    let before = profile("slates", 2);
    let mut mine = before.with(sample(3, 2.6));
    mine.particulars.batch = "8".into();
    mine.particulars.drying = "fan".into();
    let mut theirs = before.with(sample(4, 2.7));
    theirs.particulars.batch = "9".into();
    theirs.particulars.paper = "warm tone".into();
    theirs.retired = true;
    let Merged { profile, conflicts } = merge(&before, &mine, &theirs);
    assert_eq!(profile.evidence.len(), 4);
    assert_eq!(profile.particulars.drying, "fan");
    assert_eq!(profile.particulars.paper, "warm tone");
    assert!(profile.retired);
    assert_eq!(profile.particulars.batch, "9");
    assert_eq!(
        conflicts,
        [Conflict {
            what: "Batch".into(),
            kept: "9".into(),
            left_out: "8".into()
        }]
    );
}

#[test]
fn a_session_that_one_takes_away_stays_when_another_measured_it_anew() {
    let before = profile("slates", 2);
    let mut fewer = before.clone();
    fewer.evidence.remove(0);
    let anew = before.with(sample(1, 2.9));
    for (mine, theirs) in [(&fewer, &anew), (&anew, &fewer)] {
        let Merged { profile, conflicts } = merge(&before, mine, theirs);
        assert_eq!(profile, anew);
        assert_eq!(conflicts.len(), 1, "{conflicts:?}");
    }
    assert_eq!(merge(&before, &fewer, &before).profile, fewer);
    assert_eq!(merge(&before, &before, &fewer).profile, fewer);
}

#[test]
fn undoing_leaves_what_others_did_meanwhile() {
    let before = profile("slates", 1);
    let put = Put {
        before: Some(before.clone()),
        after: Some(before.with(sample(2, 2.6))),
    };
    let shelf = put.after.clone().unwrap().with(sample(3, 2.7));
    let Put {
        before: Some(was),
        after: Some(wanted),
    } = put.undone()
    else {
        panic!("both are there");
    };
    let undone = merge(&was, &wanted, &shelf);
    assert!(undone.conflicts.is_empty());
    assert_eq!(undone.profile, before.with(sample(3, 2.7)));
}

/// A session whose coat was exposed at another aperture than its paper.
pub(crate) fn at_other_apertures(number: u32, coat_f_number: f64) -> Evidence {
    let mut one = sample(number, 2.5 + 0.01 * f64::from(number));
    one.strips[1].exposures.f_number = coat_f_number;
    let (answer, _) = solve(&one.strips[0], &one.strips[1], &one.settings);
    one.answer = answer;
    one
}

/// Four sessions at f/16 and f/8, each with the click stops' 0.1 stop in its bounds: were these
/// independent, pooling would halve them.
#[test]
fn click_stops_that_all_sessions_share_are_counted_once_and_not_pooled_away() {
    let stops = |profile: &Profile| {
        let pool = ProfilePool::of(profile, None);
        pool.quantity(Quantity::Stops).unwrap().clone()
    };
    let grown = |numbers: [f64; 4]| {
        let sessions = numbers.into_iter().zip(1..);
        sessions.fold(Profile::named("slates"), |profile, (f_number, number)| {
            profile.with(at_other_apertures(number, f_number))
        })
    };
    let shared = stops(&grown([8.0; 4]));
    assert!((shared.shared_aperture - 0.1).abs() < 1e-12);
    let pooled = shared.pooled.unwrap();
    let half = pooled.mean.half_width().unwrap();
    assert!(half > 1.96 * 0.1, "{half}");
    // 1.96 x 0.1 stop to either side is more than the sixth that would settle it.
    assert!(matches!(
        pooled.settled,
        crate::measure::pool::Settled::Never { .. }
    ));
    // At the paper's own aperture there is nothing to share.
    let same = stops(&grown([16.0; 4]));
    assert_eq!(same.shared_aperture, 0.0);
    assert!(same.pooled.unwrap().mean.half_width().unwrap() < 0.1);
    // At different ones each coat's stop has an error of its own, and the paper's is in all: half the
    // variance, and a quarter of the other half.
    let own = stops(&grown([8.0, 5.6, 11.3, 4.0]));
    let right = 0.1 * (0.5 + 0.5 / 4.0f64).sqrt();
    assert!(
        (own.shared_aperture - right).abs() < 0.003,
        "{}",
        own.shared_aperture
    );
}

#[test]
fn a_profile_that_counts_a_session_twice_or_has_no_name_is_none() {
    let mut twice = profile("slates", 1);
    twice.evidence.push(sample(1, 2.9));
    assert!(matches!(twice.check(), Err(ProfileError::Twice(_))));
    assert_eq!(Profile::named(" ").check(), Err(ProfileError::Name));
    assert_eq!(Profile::named("a\nb").check(), Err(ProfileError::Name));
}
