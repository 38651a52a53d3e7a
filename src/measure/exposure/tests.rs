use super::aperture::Aperture;
use super::check::ExposureError;
use super::entry::{EntryError, Times, aperture, stops, time, times};
use super::sentence::{Exposure, bursts_of};
use super::{Seconds, Series, write};

fn seconds(list: &[f64]) -> Vec<Seconds> {
    list.iter().copied().map(Seconds).collect()
}

#[test]
fn a_time_may_be_written_in_every_usual_way() {
    for (text, expected) in [
        ("2s", 2.0),
        ("0.5 s", 0.5),
        (".5s", 0.5),
        ("80", 80.0),
        ("1m20s", 80.0),
        ("1 m 20 s", 80.0),
        ("1min20", 80.0),
        ("1:20", 80.0),
        ("1:20.5", 80.5),
        ("2 minutes", 120.0),
        ("1'20\"", 80.0),
        ("1′20″", 80.0),
        ("250 ms", 0.25),
        ("12 sec", 12.0),
    ] {
        assert_eq!(time(text), Ok(Seconds(expected)), "{text}");
    }
}

#[test]
fn what_is_no_time_is_refused_with_a_reason() {
    for text in [
        "", "s", "NaN", "two s", "1:75", "1m90s", "2s 3s", "f/16", "1..5",
    ] {
        assert!(time(text).is_err(), "{text}");
    }
    let comma = time("2,5 s").unwrap_err().to_string();
    assert!(comma.contains("`2,5` has a comma between digits: write a decimal point"));
}

#[test]
fn times_may_be_listed_counted_or_given_as_a_pattern() {
    for (text, expected) in [
        ("2s 4s 6s", vec![2.0, 4.0, 6.0]),
        ("2, 4, 6", vec![2.0, 4.0, 6.0]),
        ("2,4,6", vec![2.0, 4.0, 6.0]),
        ("2s,4s", vec![2.0, 4.0]),
        ("2 4 6 s", vec![2.0, 4.0, 6.0]),
        ("4 x 2s", vec![2.0; 4]),
        ("4x2s", vec![2.0; 4]),
        ("2s × 4", vec![2.0; 4]),
        ("2 x 2s then 2 x 4s", vec![2.0, 2.0, 4.0, 4.0]),
        ("from 2 s by 2 s, 4 steps", vec![2.0, 4.0, 6.0, 8.0]),
        ("from 2s to 8s by 2s", vec![2.0, 4.0, 6.0, 8.0]),
        ("1m 1m30s 2m", vec![60.0, 90.0, 120.0]),
        ("1:00 1:30 2:00", vec![60.0, 90.0, 120.0]),
    ] {
        assert_eq!(times(text), Ok(Times::Listed(seconds(&expected))), "{text}");
    }
}

#[test]
fn ambiguous_lists_are_refused_instead_of_guessed() {
    assert!(matches!(times("2,4"), Err(EntryError::DecimalComma(_))));
    assert!(matches!(times("1 2 3m"), Err(EntryError::MixedUnits(_))));
    assert!(matches!(
        times("thirds from 3 s"),
        Err(EntryError::NoCount(_))
    ));
    assert!(matches!(
        times("100000000 x 2s"),
        Err(EntryError::Exposure(ExposureError::TooManySteps(_)))
    ));
}

#[test]
fn thirds_from_ten_seconds_are_the_times_of_the_handbook() {
    // Plain arithmetic, see test_strip_times in testdata/references/README.md.
    let times = times("thirds from 10 s, 7 steps").unwrap().list();
    let expected = [10.0, 12.599_210_498_948_732, 15.874_010_519_681_994, 20.0];
    for (time, expected) in times.iter().zip(expected) {
        assert!((time.0 - expected).abs() < 1e-9);
    }
    assert_eq!(times.len(), 7);
    let other = super::entry::times("from 10 s in 1/3 stops, 7 steps").unwrap();
    assert_eq!(other.list(), times);
}

#[test]
fn building_up_to_totals_in_thirds_gives_the_bursts_of_the_handbook() {
    let exposure = Exposure::read("building up totals thirds from 10s, 7 steps at f/8").unwrap();
    let Series::BuildingUp { bursts } = exposure.series else {
        panic!("building up");
    };
    // Plain arithmetic, see test_strip_times in testdata/references/README.md.
    let increments = [10.0, 2.599_210_498_948_732_4, 3.274_800_020_733_262];
    for (burst, expected) in bursts.iter().zip(increments) {
        assert!((burst.0 - expected).abs() < 1e-9);
    }
}

#[test]
fn stops_may_be_fractions_decimals_or_words() {
    for (text, expected) in [
        ("1/3", 1.0 / 3.0),
        ("1/2", 0.5),
        ("½", 0.5),
        ("1", 1.0),
        ("1 1/3", 1.0 + 1.0 / 3.0),
        ("1½", 1.5),
        ("0.4", 0.4),
        ("third", 1.0 / 3.0),
        ("half a stop", 0.5),
        ("1/3 of a stop", 1.0 / 3.0),
        ("-1/2", -0.5),
    ] {
        assert_eq!(stops(text), Ok(expected), "{text}");
    }
    assert!(stops("1/0").is_err());
}

#[test]
fn an_aperture_may_be_written_in_every_usual_way() {
    for text in ["f/16", "f16", "F/16", "f 16", "f:16", "N 16", "N=16", "16"] {
        assert_eq!(
            aperture(text),
            Ok(Aperture::engraved(16.0).unwrap()),
            "{text}"
        );
    }
    assert!(matches!(
        aperture("f/0"),
        Err(EntryError::Exposure(ExposureError::BadFNumber(_)))
    ));
    assert!(aperture("f/5,6").is_err());
    assert!(aperture("f/").is_err());
    assert!(aperture("NaN").is_err());
}

#[test]
fn a_whole_exposure_is_read_from_one_sentence() {
    let exposure =
        Exposure::read("building up 8 x 2s at f/11, magnified 3.5x, filter 0.3").unwrap();
    assert_eq!(
        exposure.series,
        Series::BuildingUp {
            bursts: seconds(&[2.0; 8])
        }
    );
    assert_eq!(exposure.aperture.engraved, Some(11.0));
    assert_eq!(exposure.magnification, Some(3.5));
    assert_eq!(exposure.filter_density, Some(0.3));
    let one = Exposure::read("one at a time 2s 4s 8s at f/8").unwrap();
    assert_eq!(
        one.series,
        Series::OneAtATime {
            times: seconds(&[2.0, 4.0, 8.0])
        }
    );
    let stops = Exposure::read("halves from 3s, 9 steps at f/8").unwrap();
    assert_eq!(
        stops.series,
        Series::InStops {
            first: Seconds(3.0),
            stops: 0.5,
            steps: 9
        }
    );
    let wedge = Exposure::read("wedge 20s through 1.2, 0.9, 0.6, 0.3 at f/8").unwrap();
    assert_eq!(
        wedge.series,
        Series::PrintedWedge {
            time: Seconds(20.0),
            densities: vec![1.2, 0.9, 0.6, 0.3]
        }
    );
    let list = Exposure::read("2s 4s 8s at f/8").unwrap();
    assert_eq!(
        list.series,
        Series::List {
            times: seconds(&[2.0, 4.0, 8.0])
        }
    );
}

#[test]
fn an_unknown_series_gets_the_nearest_kind() {
    let error = Exposure::read("bilding up 8 x 2s at f/8").unwrap_err();
    assert!(
        error.to_string().contains("did you mean `building up`?"),
        "{error}"
    );
    assert!(Exposure::read("building up 8 x 2s").is_err());
    assert!(Exposure::read("").is_err());
}

#[test]
fn exposures_go_one_way() {
    let check = |list: &[f64]| {
        Series::List {
            times: seconds(list),
        }
        .check()
    };
    assert_eq!(check(&[2.0, 4.0, 8.0]), Ok(()));
    // A series listed from the longest to the shortest is one way too.
    assert_eq!(check(&[8.0, 4.0, 2.0]), Ok(()));
    let turn = check(&[2.0, 4.0, 3.0]).unwrap_err().to_string();
    assert!(turn.contains("step 3 (3 s after 4 s)"), "{turn}");
    let same = check(&[2.0, 2.0]).unwrap_err().to_string();
    assert!(same.contains("the series is building_up"), "{same}");
}

#[test]
fn times_and_densities_that_cannot_be_are_refused() {
    let list = |list: &[f64]| Series::List {
        times: seconds(list),
    };
    assert_eq!(list(&[]).check(), Err(ExposureError::NoSteps));
    assert_eq!(
        list(&[0.0, 2.0]).check(),
        Err(ExposureError::ZeroTime { step: 1 })
    );
    for bad in [-2.0, f64::NAN, f64::INFINITY, 1e9] {
        assert!(matches!(
            list(&[1.0, bad]).check(),
            Err(ExposureError::BadTime { step: 2, .. })
        ));
    }
    let wedge = Series::PrintedWedge {
        time: Seconds(20.0),
        densities: vec![0.3, f64::NAN],
    };
    assert!(wedge.check().is_err());
    let flat = Series::InStops {
        first: Seconds(2.0),
        stops: 0.0,
        steps: 4,
    };
    assert_eq!(flat.check(), Err(ExposureError::BadStops(0.0)));
}

#[test]
fn the_lamps_lag_must_be_shorter_than_every_burst() {
    let series = Series::BuildingUp {
        bursts: seconds(&[2.0, 0.4]),
    };
    assert_eq!(series.check_lag(0.1), Ok(()));
    let error = series.check_lag(0.5).unwrap_err();
    assert_eq!(
        error,
        ExposureError::LagTooLong {
            lag: 0.5,
            burst: 0.4,
            step: 2
        }
    );
}

#[test]
fn totals_and_bursts_are_two_views_of_one_series() {
    let bursts = bursts_of(&seconds(&[2.0, 4.0, 8.0]));
    assert_eq!(bursts, Ok(seconds(&[2.0, 2.0, 4.0])));
    let error = bursts_of(&seconds(&[2.0, 4.0, 3.0])).unwrap_err();
    assert!(
        error.to_string().contains("step 3 (3 s) is not longer"),
        "{error}"
    );
}

#[test]
fn what_is_written_reads_back_as_the_same_numbers() {
    for list in [
        seconds(&[2.0; 8]),
        seconds(&[0.1, 0.2, 0.30000000000000004]),
        seconds(&[80.0, 80.0, 90.0]),
    ] {
        assert_eq!(
            times(&write::times(&list)),
            Ok(Times::Listed(list.clone())),
            "{}",
            write::times(&list)
        );
    }
    for value in [
        1.0 / 3.0,
        0.5,
        1.0 + 1.0 / 3.0,
        0.4,
        -0.5,
        1.0,
        2.0 / 3.0,
        0.1234,
    ] {
        assert_eq!(
            stops(&write::stops(value)),
            Ok(value),
            "{}",
            write::stops(value)
        );
    }
    assert_eq!(write::stops(1.0 + 1.0 / 3.0), "1 1/3");
}
