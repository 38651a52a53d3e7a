use std::path::Path;

use proptest::prelude::*;

use super::*;
use crate::document::{Encoding, Scan, Session, Strip, Wedge};
use crate::files::text::TextError;
use crate::measure::exposure::{Exposure, Series};
use crate::measure::geometry::{Area, Edge, Field, Point, StripShape};
use crate::measure::raster::Channel;
use crate::measure::scale::calibration::Calibration;
use crate::measure::strip::Role;
use crate::measure::units::Seconds;

/// Ten lines, as a person writes them.
pub(super) const BY_HAND: &str = r#"Session(
    version: 1,
    scans: ["slates.tif"],
    wedge: [0.05, 0.20, 0.35, 0.50, 0.65, 0.80, 0.95, 1.10, 1.25, 1.40],
    strips: [
        Strip(name: "warm paper", role: reference, series: building_up(bursts: "8 x 2s"), aperture: "f/16"),
        Strip(name: "slate, two coats", role: coupon, series: in_stops(first: "4s", stops: "1/2", steps: 9), aperture: "f/16"),
    ],
)
"#;

fn no_lists(file: &Path) -> Result<Vec<f64>, TextError> {
    Err(TextError::at(file, "", 0, "no lists here"))
}

pub(super) fn read(text: &str) -> Result<Session, String> {
    from_text(Path::new("session.ron"), text, &no_lists).map_err(|error| error.to_string())
}

/// The message after a change of the session above.
fn refused(from: &str, to: &str) -> String {
    assert!(BY_HAND.contains(from), "{from}");
    read(&BY_HAND.replacen(from, to, 1)).unwrap_err()
}

#[track_caller]
pub(super) fn assert_refused(from: &str, to: &str, message: &str) {
    assert_eq!(refused(from, to), format!("session.ron:{message}"));
}

#[test]
fn a_session_is_written_by_hand_in_ten_lines() {
    let session = read(BY_HAND).unwrap();
    assert_eq!(session.scans, vec![Scan::new("slates.tif")]);
    assert_eq!(session.strips[0].role, Role::Reference);
    let exposure = session.strips[1].exposure.as_ref().unwrap();
    assert_eq!(
        exposure.series,
        Series::InStops {
            first: Seconds(4.0),
            stops: 0.5,
            steps: 9
        }
    );
    assert_eq!(session.wedge.unwrap().densities.len(), 10);
}

fn everything() -> Session {
    let strip = |name: &str, role, exposure| Strip {
        exposure: Some(Exposure::read(exposure).unwrap()),
        ..Strip::new(name, role)
    };
    let shape = StripShape {
        scan: 1,
        corners: [(0.5, 0.0), (0.0, 50.0), (200.0, 50.25), (200.0, 0.0)]
            .map(|(x, y)| Point::new(x, y)),
        edges: vec![
            Edge::square(0.0),
            Edge {
                left: 0.2,
                right: 0.22,
            },
            Edge::square(0.6),
            Edge::square(1.0),
        ],
        fields: vec![Field::Margin, Field::Step(1), Field::Ignored],
        unexposed: vec![],
    };
    let mut session = Session {
        scans: vec![
            Scan {
                path: "scans/first \"try\".tif".into(),
                hash: Some("00ff".into()),
                encoding: Some(Encoding::Gamma(2.2)),
            },
            Scan::new("scans/zweiter Versuch é.png"),
        ],
        empty: Some(Scan {
            path: "scans/empty.tif".into(),
            hash: Some("11ff".into()),
            encoding: Some(Encoding::Linear),
        }),
        wedge: Some(Wedge {
            uncertainty: 0.02,
            shape: Some(StripShape {
                edges: [0.0, 0.3, 0.6, 1.0].map(Edge::square).to_vec(),
                fields: (0..3).map(Field::Step).collect(),
                ..shape.clone()
            }),
            ..Wedge::new(vec![0.05, 0.7, 1.5])
        }),
        strips: vec![
            strip(
                "paper",
                Role::Reference,
                "building up 4s 2s 2s at f/11, magnified 3.5x",
            ),
            strip(
                "one",
                Role::Coupon,
                "one at a time 2s 4s 1m at exactly f/11, filter 0.3",
            ),
            strip("two", Role::Coupon, "thirds from 3s, 9 steps at f/5.6"),
            strip(
                "three",
                Role::Coupon,
                "wedge 20s through 1.2 0.9 0.6 at f/7.3",
            ),
            strip("four", Role::Coupon, "list 9s 4s 2s at f/8"),
            Strip::new("five", Role::Coupon),
            strip(
                "paper, seen again",
                Role::Reference,
                "building up 4s 2s 2s at f/11, magnified 3.5x",
            ),
        ],
        notes: "Fog over the harbour.\nInvented.".into(),
        printing: Some(Box::new(super::print_tests::printing())),
        ..Session::default()
    };
    session.strips[2].shape = Some(shape);
    session.strips[2].unexposed = Some(vec![
        [(10.5, 4.0), (10.0, 44.25), (30.0, 44.0), (30.0, 4.0)].map(|(x, y)| Point::new(x, y)),
        [(60.0, 4.0), (60.0, 9.0), (90.0, 9.0), (90.0, 4.0)].map(|(x, y)| Point::new(x, y)),
    ]);
    session.strips[3].unexposed = Some(vec![]);
    session.strips[6].same_as = Some(0);
    session.strips[2].excluded = vec![0, 8];
    session.strips[2].areas = [Field::Margin, Field::Step(3)]
        .map(|field| Area {
            field,
            along: (0.25, 0.5),
            across: (0.1, 0.9),
        })
        .to_vec();
    session.settings.channel = Channel::Green;
    session.settings.lag = (0.125, 0.02);
    session.settings.aperture_error_stops = 1.0 / 6.0;
    session.settings.priors = false;
    session.settings.seed = 7;
    session
}

#[test]
fn what_is_written_reads_back_as_the_same_session() {
    let session = everything();
    assert_eq!(session.check(), Ok(()));
    let text = to_text(&session).unwrap();
    assert_eq!(read(&text), Ok(session), "{text}");
    let again = to_text(&read(&text).unwrap()).unwrap();
    assert_eq!(again, text);
}

#[test]
fn the_written_file_looks_like_one_written_by_hand() {
    insta::assert_snapshot!(to_text(&read(BY_HAND).unwrap()).unwrap(), @r#"
    Session(
        version: 1,
        scans: [
            "slates.tif",
        ],
        wedge: [0.05, 0.2, 0.35, 0.5, 0.65, 0.8, 0.95, 1.1, 1.25, 1.4],
        strips: [
            Strip(
                name: "warm paper",
                role: reference,
                series: building_up(bursts: "8 x 2s"),
                aperture: "f/16",
            ),
            Strip(
                name: "slate, two coats",
                role: coupon,
                series: in_stops(first: "4s", stops: "1/2", steps: 9),
                aperture: "f/16",
            ),
        ],
    )
    "#);
}

/// The files that the documentation's examples name.
struct Documented;

impl Beside for Documented {
    fn densities(&self, _: &Path) -> Result<Vec<f64>, TextError> {
        Ok(vec![0.05, 0.20, 0.35])
    }

    fn calibration(&self, file: &Path) -> Result<(Calibration, String), TextError> {
        let text = include_str!("../../../testdata/fuzz/calibration/small.ron");
        let calibration = crate::files::calibration::from_text(file, text)?;
        Ok((calibration, "5f0c...".into()))
    }
}

#[test]
fn the_examples_of_the_documentation_can_be_read() {
    let page = include_str!("../../../docs/session-file.md");
    let examples: Vec<&str> = page
        .split("```ron\n")
        .skip(1)
        .map(|rest| rest.split("```").next().unwrap())
        .collect();
    assert_eq!(read(examples[0]), read(BY_HAND));
    let mut scans = 0;
    for example in &examples[1..] {
        let text = match example.split(':').next().unwrap() {
            "scans" => {
                scans += 1;
                BY_HAND.replacen("scans: [\"slates.tif\"],", example, 1)
            }
            "shape" | "areas" | "unexposed" => {
                let three = BY_HAND.replacen("8 x 2s", "3 x 2s", 1);
                let with = format!("\"f/16\", {example}");
                three.replacen("\"f/16\"", &with, 1)
            }
            "strips" => {
                let start = BY_HAND.find("strips:").unwrap();
                let text = [&BY_HAND[..start], example, ")"].concat();
                assert_eq!(read(&text).unwrap().strips[1].same_as, Some(0));
                text
            }
            "matches" => {
                let end = BY_HAND.rfind(')').unwrap();
                let text = [&BY_HAND[..end], example, ")"].concat();
                let session = read(&text).unwrap();
                let made = session.matches[0];
                assert_eq!((made.reference_at, made.coupon_at), (3.0, 4.5));
                assert_eq!(read(&to_text(&session).unwrap()).as_ref(), Ok(&session));
                text
            }
            _ => {
                let start = BY_HAND.find("wedge:").unwrap();
                let end = BY_HAND.find("    strips").unwrap();
                [&BY_HAND[..start], example, &BY_HAND[end..]].concat()
            }
        };
        let lists = Documented;
        let session = from_text(Path::new("session.ron"), &text, &lists);
        assert!(session.is_ok(), "{example}: {session:?}");
    }
    assert_eq!((examples.len(), scans), (14, 1));
}

#[test]
fn a_wedge_may_stand_in_a_file_of_its_own() {
    let folder = tempfile::tempdir().unwrap();
    let list = folder.path().join("wedge.txt");
    crate::files::atomic::write(&list, b"0.05\n0.5\n1.1\n").unwrap();
    let path = folder.path().join("session.ron");
    let start = BY_HAND.find("[0.05").unwrap();
    let end = BY_HAND.find("1.40]").unwrap() + 5;
    let text = [&BY_HAND[..start], "\"wedge.txt\"", &BY_HAND[end..]].concat();
    crate::files::atomic::write(&path, text.as_bytes()).unwrap();
    let session = read_session(&path).unwrap();
    let wedge = session.wedge.as_ref().unwrap();
    assert_eq!(wedge.densities, vec![0.05, 0.5, 1.1]);
    assert_eq!(wedge.file.as_deref(), Some(Path::new("wedge.txt")));
    // Written again, it still names the file.
    write_session(&path, &session).unwrap();
    assert_eq!(read_session(&path).as_ref(), Ok(&session));

    crate::files::atomic::write(&list, b"0.05\n0,5\n").unwrap();
    let error = read_session(&path).unwrap_err().to_string();
    assert!(
        error.contains("wedge.txt:2:2: a comma between digits"),
        "{error}"
    );
}

#[test]
fn an_unknown_word_is_named_with_its_place_and_the_nearest_known_one() {
    assert_refused(
        "building_up",
        "bulding_up",
        "6:60: `bulding_up` is not known here; did you mean `building_up`?",
    );
    assert_refused(
        "aperture",
        "apperture",
        "6:91: `apperture` is not known here; did you mean `aperture`?",
    );
    assert_refused(
        "reference",
        "referense",
        "6:41: `referense` is not known here; did you mean `reference`?",
    );
    assert_refused(
        "wedge:",
        "Wedge:",
        "4:5: `Wedge` is not known here; did you mean `wedge`?",
    );
    assert_refused(
        "bursts",
        "flashes",
        "6:72: `flashes` is not known here; known are bursts, totals",
    );
    assert_refused(
        "Session(",
        "Sesion(",
        "1:1: `Sesion` stands where `Session` belongs",
    );
}

#[test]
fn what_is_wrong_is_said_with_line_and_column() {
    assert_refused(
        "version: 1",
        "version: 5, colour: \"new\"",
        "2:5: version 5 is newer than this program understands (4); use a newer one",
    );
    assert_refused(
        "version: 1",
        "version: 0",
        "2:5: version 0: the first version is 1",
    );
    assert_refused("version: 1,", "", "9:1: `version` is missing");
    assert_refused(
        "version: 1,",
        "version: 1, version: 1,",
        "2:17: `version` is given twice; keep one",
    );
    assert_refused(
        "[\"slates.tif\"]",
        "[]",
        "3:5: the session names no scans; write scans: [\"slates.tif\"]",
    );
    assert_refused(
        "\"f/16\"),\n",
        "\"f/16\"\n",
        "7:9: a comma is missing before this",
    );
    assert_refused("1.40],", "1.40", "5:5: a comma is missing before this");
    assert_refused(
        "1.40]",
        "1.20]",
        "4:5: the wedge: its densities must go one way: field 10 (1.2) after field 9 (1.25) breaks the order",
    );
    assert_refused(
        "8 x 2s",
        "2s 0s 2s",
        "6:91: step 2 has a time of zero: every step needs some light; the unexposed margin is not listed",
    );
    assert_refused(
        "\"8 x 2s\"",
        "[2, -2, 2]",
        "6:91: step 2 has a time of -2 s: times must be above 0 and at most 100000 s",
    );
    assert_refused(
        "\"8 x 2s\"",
        "[2, NaN, 2]",
        "6:92: step 2 has a time of NaN s: times must be above 0 and at most 100000 s",
    );
    assert_refused(
        "bursts: \"8 x 2s\"",
        "totals: \"2s 4s 3s\"",
        "6:91: totals must grow: step 3 (3 s) is not longer than the one before (4 s)",
    );
    assert_refused(
        "building_up(bursts: \"8 x 2s\")",
        "list(times: \"8 x 2s\")",
        "6:81: exposures must go one way: step 2 (2 s after 2 s) breaks the order; if these are the bursts of a strip that was uncovered step by step, the series is building_up",
    );
    assert_refused(
        "8 x 2s",
        "2,5s",
        "6:86: `2,5` has a comma between digits: write a decimal point, or put a space after a comma that separates two values",
    );
    assert_refused(
        "f/16",
        "f/0",
        "6:106: f/0 is not an f-number: it must be between 0.5 and 1024",
    );
    assert_refused(
        ", aperture: \"f/16\"",
        "",
        "6:21: strip warm paper: a series needs an aperture, such as \"f/16\"",
    );
    assert_refused(
        "slate, two coats",
        "warm paper",
        "7:21: strip 2 (warm paper): strip 1 has the same name",
    );
    assert_refused(
        "    ],\n)",
        "    ],\n    settings: Settings(lamp_lag: \"2s\"),\n)",
        "6:21: strip 1 (warm paper): the lamp's lag of 2 s is not shorter than the burst of 2 s of step 1",
    );
    assert_refused(
        "    ],\n)",
        "    ],\n    settings: Settings(lamp_lag: \"-1s\"),\n)",
        "9:5: settings: a lamp lag of -1 s: it must be between 0 and 10 s",
    );
    assert_refused(
        "    ],\n)\n",
        "    ],\n",
        "9:1: the file ends in the middle; a bracket is not closed",
    );
    assert_refused(
        "\n)\n",
        "\n)\n)",
        "10:1: something stands after the end of the file",
    );
    assert_refused(
        "slate, two coats\"",
        "slate, two coats",
        "7:79: a comma is missing before this",
    );
}

#[test]
fn no_change_of_a_session_file_makes_the_reader_panic() {
    let long = to_text(&everything()).unwrap();
    let mut runner = proptest::test_runner::TestRunner::new(ProptestConfig {
        cases: 10_000,
        failure_persistence: None,
        ..ProptestConfig::default()
    });
    let seeds = [BY_HAND.to_owned(), long];
    let change = (
        0..2usize,
        proptest::collection::vec((0.0..1.0f64, 0..5u8, any::<u8>()), 1..6),
    );
    runner
        .run(&change, |(seed, changes)| {
            let mut bytes = seeds[seed].clone().into_bytes();
            for (place, kind, byte) in changes {
                mutate(&mut bytes, place, kind, byte);
            }
            let text = String::from_utf8_lossy(&bytes);
            if let Ok(session) = read(&text) {
                // What is accepted can be saved and read again.
                prop_assert_eq!(read(&to_text(&session).unwrap()), Ok(session));
            }
            Ok(())
        })
        .unwrap();
}

fn mutate(bytes: &mut Vec<u8>, place: f64, kind: u8, byte: u8) {
    const TOKENS: [&str; 12] = [
        "(",
        ")",
        "[",
        "]",
        ",",
        "NaN",
        "inf",
        "-1",
        "1e308",
        "\"",
        "building_up",
        "999999999999",
    ];
    if bytes.is_empty() {
        return;
    }
    let at = (place * bytes.len() as f64) as usize;
    match kind {
        0 => bytes[at] = byte,
        1 => {
            bytes.remove(at);
        }
        2 => bytes.insert(at, byte),
        3 => {
            let token = TOKENS[usize::from(byte) % TOKENS.len()];
            bytes.splice(at..at, token.bytes());
        }
        _ => {
            let end = (at + usize::from(byte)).min(bytes.len());
            let piece: Vec<u8> = bytes[at..end].to_vec();
            bytes.splice(at..at, piece);
        }
    }
}
