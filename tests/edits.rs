//! After an edit, what still holds is not worked out again: the answer must be the one that a
//! fresh analysis gives, to every digit.
#![expect(
    clippy::unwrap_used,
    reason = "tests stop where something is not as it must be"
)]

use std::path::Path;
use std::sync::Arc;

use twinstrip::document::{Edit, Session};
use twinstrip::files::scan::{ScanOptions, StatedEncoding, read_scan};
use twinstrip::files::session::read_session;
use twinstrip::measure::analysis::{Analysis, Kept, analyse, analyse_again};
use twinstrip::measure::exposure::Exposure;
use twinstrip::measure::geometry::{Area, Field, Point, StripShape};
use twinstrip::measure::raster::Raster;
use twinstrip::measure::strip::Role;
use twinstrip::measure::watch::Unwatched;

const SLATE: usize = 0;
const PAPER: usize = 1;

fn demo() -> (Session, Arc<Raster>) {
    let folder = Path::new(env!("CARGO_MANIFEST_DIR")).join("testdata/demo");
    let session = read_session(&folder.join("session.ron")).unwrap();
    let options = ScanOptions {
        stated: Some(StatedEncoding::Srgb),
        ..ScanOptions::default()
    };
    let scan = read_scan(&folder.join("scan-1.tif"), &options, &Unwatched).unwrap();
    (session, Arc::new(scan))
}

fn with_border_moved(analysis: &Analysis, strip: usize, border: usize, by: f64) -> Edit {
    let mut shape: StripShape = analysis.strips[strip]
        .located
        .as_ref()
        .unwrap()
        .shape
        .clone();
    shape.edges[border].left += by;
    shape.edges[border].right += by;
    Edit::SetShape {
        strip,
        shape: Some(shape),
    }
}

/// A part of the coat that was found to be unexposed: the middle of the margin, or of the largest
/// patch beside the fields.
fn patch_of_unexposed(analysis: &Analysis, strip: usize) -> [Point; 4] {
    let shape = &analysis.strips[strip].located.as_ref().unwrap().shape;
    let margin = shape
        .fields
        .iter()
        .position(|field| *field == Field::Margin);
    let area = Area {
        field: Field::Margin,
        along: (0.2, 0.8),
        across: (0.2, 0.8),
    };
    let size = |patch: &[Point; 4]| patch[0].distance(patch[2]);
    let patches = shape.unexposed.iter();
    match margin {
        Some(field) => shape.area_corners(field, &area),
        None => *patches.max_by(|a, b| size(a).total_cmp(&size(b))).unwrap(),
    }
}

#[test]
fn coat_that_is_pointed_at_is_read_as_the_margin_and_none_at_all_widens_the_bounds() {
    let (session, scan) = demo();
    let solve = |session: &Session| {
        analyse(&session.question(vec![Arc::clone(&scan)]), &Unwatched).unwrap()
    };
    let first = solve(&session);
    let with = |patches: Vec<[Point; 4]>| {
        let edit = Edit::SetUnexposed {
            strip: SLATE,
            patches: Some(patches),
        };
        solve(&edit.apply(&session).unwrap())
    };
    let pointed = with(vec![patch_of_unexposed(&first, SLATE)]);
    let (margin, patch) = (
        &first.strips[SLATE].steps[0],
        &pointed.strips[SLATE].steps[0],
    );
    assert_eq!((margin.step, patch.step), (0, 0));
    // The same coat, a part of it: within a few of its own errors.
    let error = margin.standard_error.hypot(patch.standard_error);
    assert!(
        (margin.density - patch.density).abs() < 3.0 * error,
        "{margin:?} {patch:?}"
    );
    let stops = |analysis: &Analysis| analysis.pairs[0].answer.stops;
    let (with_margin, with_patch) = (stops(&first), stops(&pointed));
    assert!((with_margin.value.unwrap() - with_patch.value.unwrap()).abs() < 0.05);

    let none = with(vec![]);
    assert!(none.strips[SLATE].steps.iter().all(|step| step.step > 0));
    let without = stops(&none);
    assert!(without.half_width().unwrap() > with_margin.half_width().unwrap());
}

#[test]
fn the_answer_after_an_edit_is_that_of_a_fresh_analysis_to_every_digit() {
    let (mut session, scan) = demo();
    let mut kept = Kept::default();
    let mut solve = |session: &Session| {
        let question = session.question(vec![Arc::clone(&scan)]);
        let again = analyse_again(&question, &mut kept, &Unwatched).unwrap();
        let fresh = analyse(&question, &Unwatched).unwrap();
        assert_eq!(again, fresh);
        again
    };
    let first = solve(&session);
    let exposure = |text: &str| Some(Exposure::read(text).unwrap());
    let wedge = first.wedges[0].shape.clone();
    let edits = [
        Edit::ExcludeStep {
            strip: SLATE,
            step: 1,
        },
        with_border_moved(&first, SLATE, 3, 0.002),
        with_border_moved(&first, SLATE, 3, 0.004),
        with_border_moved(&first, PAPER, 5, -0.003),
        Edit::SetExposure {
            strip: PAPER,
            exposure: exposure("halves from 2s, 10 steps at f/16"),
        },
        Edit::SetShape {
            strip: SLATE,
            shape: None,
        },
        Edit::SetExposure {
            strip: SLATE,
            exposure: exposure("halves from 8s, 6 steps at f/16"),
        },
        Edit::SetExposure {
            strip: SLATE,
            exposure: None,
        },
        Edit::SetExposure {
            strip: SLATE,
            exposure: exposure("halves from 8s, 7 steps at f/16"),
        },
        Edit::SetUnexposed {
            strip: PAPER,
            patches: Some(vec![patch_of_unexposed(&first, PAPER)]),
        },
        Edit::SetUnexposed {
            strip: SLATE,
            patches: Some(vec![]),
        },
        Edit::SetUnexposed {
            strip: SLATE,
            patches: None,
        },
        Edit::ChooseReading {
            strip: PAPER,
            shape: first.strips[PAPER].located.as_ref().unwrap().shape.clone(),
        },
        Edit::SetWedgeShape(Some(wedge)),
        Edit::SetLag {
            lag: 0.02,
            uncertainty: 0.01,
        },
        Edit::SetRole {
            strip: SLATE,
            role: Role::Reference,
        },
        Edit::SetRole {
            strip: SLATE,
            role: Role::Coupon,
        },
        Edit::IncludeStep {
            strip: SLATE,
            step: 1,
        },
        Edit::SetWedge(None),
    ];
    let mut before = Vec::new();
    for edit in edits {
        before.push(session.clone());
        session = edit
            .apply(&session)
            .unwrap_or_else(|why| panic!("{edit:?}: {why}"));
        solve(&session);
    }
    // Some of the way back, as undo goes.
    for session in before.iter().rev().step_by(2).take(3) {
        solve(session);
    }
}

#[test]
fn outlining_one_strip_leaves_the_place_of_the_others_alone() {
    let (session, scan) = demo();
    let solve = |session: &Session| {
        analyse(&session.question(vec![Arc::clone(&scan)]), &Unwatched).unwrap()
    };
    let first = solve(&session);
    let edit = with_border_moved(&first, SLATE, 3, 0.002);
    let second = solve(&edit.apply(&session).unwrap());
    assert_eq!(first.strips[PAPER].located, second.strips[PAPER].located);
    // Every strip tells of the stray light that is taken off all of them.
    for (a, b) in first.strips[PAPER]
        .steps
        .iter()
        .zip(&second.strips[PAPER].steps)
    {
        assert_eq!(a.corners, b.corners);
        assert!((a.density - b.density).abs() < 0.02 * a.standard_error);
    }
    assert_eq!(first.wedges, second.wedges);
    assert_ne!(first.strips[SLATE], second.strips[SLATE]);
}
