use std::sync::Arc;

use proptest::prelude::*;

use super::*;
use crate::measure::exposure::Exposure;
use crate::measure::geometry::{Edge, Field, Point};
use crate::measure::raster::Channel;

fn slates() -> Session {
    let strip = |name: &str, role, exposure| Strip {
        exposure: Some(Exposure::read(exposure).unwrap()),
        ..Strip::new(name, role)
    };
    Session {
        scans: vec![Scan::new("slates.tif"), Scan::new("more.tif")],
        wedge: Some(Wedge::new(vec![0.05, 0.5, 1.0, 1.5])),
        strips: vec![
            strip("warm paper", Role::Reference, "building up 8 x 2s at f/16"),
            strip("slate", Role::Coupon, "halves from 4s, 9 steps at f/11"),
        ],
        ..Session::default()
    }
}

fn shape_on(scan: usize) -> StripShape {
    StripShape {
        scan,
        corners: [(0.0, 0.0), (0.0, 50.0), (200.0, 50.0), (200.0, 0.0)]
            .map(|(x, y)| Point::new(x, y)),
        edges: [0.0, 0.2, 1.0].map(Edge::square).to_vec(),
        fields: vec![Field::Margin, Field::Step(0)],
        unexposed: vec![],
    }
}

fn rename(name: &str) -> Edit {
    Edit::RenameStrip {
        strip: 1,
        name: name.to_owned(),
    }
}

#[test]
fn the_question_carries_all_that_the_session_says() {
    let mut session = slates();
    session.strips[1].excluded = vec![3];
    session.scans.clear();
    let question = session.question(vec![]);
    assert_eq!(question.strips.len(), 2);
    assert_eq!(question.strips[1].engraved_f_number, Some(11.0));
    let exposures = question.strips[1].exposures.as_ref().unwrap();
    assert!((exposures.f_number - 2f64.powf(3.5)).abs() < 1e-12);
    assert_eq!(question.strips[1].excluded, vec![3]);
    assert_eq!(question.wedge.unwrap().densities.len(), 4);
}

#[test]
fn a_calibration_is_taken_and_dropped_with_undo() {
    let mut history = History::opened(slates());
    let calibration = Arc::new(Calibration {
        scanner: "flatbed".into(),
        settings: String::new(),
        made: "2026-11-25".into(),
        uncertainty: 0.01,
        scans: vec![],
        channels: vec![],
    });
    let used = UsedCalibration {
        calibration: Arc::clone(&calibration),
        file: Some("flatbed.ron".into()),
        hash: None,
    };
    let take = Edit::SetCalibration(Some(used.clone()));
    history.perform(&take, None).unwrap();
    assert_eq!(history.session().calibration, Some(used));
    assert_eq!(history.session().scans.len(), 2);
    let session = Session {
        scans: vec![],
        ..Session::clone(history.session())
    };
    assert_eq!(session.question(vec![]).calibration, Some(calibration));
    history.undo();
    assert_eq!(history.session().calibration, None);
}

#[test]
fn an_empty_scan_is_taken_and_dropped_with_undo_and_is_none_of_the_scans() {
    let mut history = History::opened(slates());
    let empty = Scan::new("empty.tif");
    let take = Edit::SetEmpty(Some(empty.clone()));
    history.perform(&take, None).unwrap();
    assert_eq!(history.session().empty, Some(empty));
    assert_eq!(history.undo_label(), Some("use empty scan"));
    history.undo();
    assert_eq!(history.session().empty, None);
    let scan = history.session().scans[0].clone();
    let error = history.perform(&Edit::SetEmpty(Some(scan)), None);
    let error = error.unwrap_err().to_string();
    assert!(error.contains("it is one of the scans too"), "{error}");
    let wrong = Scan {
        encoding: Some(Encoding::Gamma(0.0)),
        ..Scan::new("empty.tif")
    };
    let error = history.perform(&Edit::SetEmpty(Some(wrong)), None);
    let error = error.unwrap_err().to_string();
    assert!(
        error.contains("the empty scan (empty.tif): gamma 0"),
        "{error}"
    );
}

#[test]
fn a_refused_edit_changes_nothing() {
    let mut history = History::opened(slates());
    let before = history.revision();
    let error = history.perform(&rename("warm paper"), None).unwrap_err();
    assert!(
        error.to_string().contains("strip 1 has the same name"),
        "{error}"
    );
    assert_eq!(
        history.perform(&Edit::RemoveStrip(7), None),
        Err(EditError::NoStrip(7))
    );
    let lag = Edit::SetLag {
        lag: 2.5,
        uncertainty: 0.1,
    };
    let error = history.perform(&lag, None).unwrap_err().to_string();
    assert!(
        error.contains("lag of 2.5 s is not shorter than the burst of 2 s"),
        "{error}"
    );
    assert_eq!(history.revision(), before);
    assert_eq!(history.undo_label(), None);
}

#[test]
fn undoing_back_to_the_saved_state_is_clean_again() {
    let mut history = History::opened(slates());
    assert!(history.is_saved());
    history.perform(&rename("old slate"), None).unwrap();
    assert!(!history.is_saved());
    assert_eq!(history.undo_label(), Some("rename strip"));
    assert!(history.undo());
    assert!(history.is_saved());
    assert_eq!(history.redo_label(), Some("rename strip"));
}

#[test]
fn a_revision_is_never_used_again_not_even_after_undo() {
    let mut history = History::opened(slates());
    history.perform(&rename("one"), None).unwrap();
    let first = history.revision();
    history.undo();
    history.perform(&rename("two"), None).unwrap();
    assert_ne!(history.revision(), first);
    // What was undone before a new edit can't be redone.
    assert!(!history.redo());
}

#[test]
fn a_drag_is_undone_in_one_piece_and_there_and_back_leaves_nothing() {
    let mut history = History::opened(slates());
    let drag = Some(Gesture(7));
    for name in ["a", "b", "c"] {
        history.perform(&rename(name), drag).unwrap();
    }
    history.perform(&rename("d"), Some(Gesture(8))).unwrap();
    history.undo();
    assert_eq!(history.session().strips[1].name, "c");
    history.undo();
    assert_eq!(history.session().strips[1].name, "slate");
    assert!(!history.undo());

    let start = history.revision();
    history.perform(&rename("a"), Some(Gesture(9))).unwrap();
    history.perform(&rename("slate"), Some(Gesture(9))).unwrap();
    assert_eq!(history.revision(), start);
    assert!(history.is_saved());
    assert_eq!(history.undo_label(), None);
}

#[test]
fn saving_marks_the_state_that_was_written_not_the_edits_made_meanwhile() {
    let mut history = History::fresh(slates());
    let written = history.revision();
    history.perform(&rename("old slate"), None).unwrap();
    history.mark_saved(written);
    assert!(!history.is_saved());
    history.undo();
    assert!(history.is_saved());
}

#[test]
fn an_edit_that_changes_nothing_keeps_what_could_be_redone() {
    let mut history = History::opened(slates());
    history.perform(&rename("old slate"), None).unwrap();
    history.undo();
    history.perform(&rename("slate"), None).unwrap();
    assert!(history.redo());
}

#[test]
fn taking_a_scan_away_takes_its_outlines_along_and_renumbers_the_others() {
    let mut session = slates();
    session.strips[0].shape = Some(shape_on(0));
    session.strips[1].shape = Some(shape_on(1));
    let after = Edit::RemoveScan(0).apply(&session).unwrap();
    assert_eq!(after.strips[0].shape, None);
    assert_eq!(after.strips[1].shape, Some(shape_on(0)));
}

#[test]
fn shorter_exposures_take_exclusions_of_steps_that_are_gone_along() {
    let mut session = slates();
    session.strips[1].excluded = vec![2, 8];
    let edit = Edit::SetExposure {
        strip: 1,
        exposure: Some(Exposure::read("2s 4s 8s 16s at f/8").unwrap()),
    };
    assert_eq!(edit.apply(&session).unwrap().strips[1].excluded, vec![2]);
}

fn area(field: Field, along: (f64, f64)) -> Area {
    Area {
        field,
        along,
        across: (0.25, 0.75),
    }
}

#[test]
fn a_field_has_one_area_and_it_can_be_left_to_the_program_again() {
    let place = |area| Edit::PlaceArea { strip: 1, area };
    let once = place(area(Field::Step(2), (0.1, 0.5)))
        .apply(&slates())
        .unwrap();
    let moved = place(area(Field::Step(2), (0.4, 0.8)))
        .apply(&once)
        .unwrap();
    let both = place(area(Field::Margin, (0.2, 0.9)))
        .apply(&moved)
        .unwrap();
    let fields: Vec<Field> = both.strips[1].areas.iter().map(|area| area.field).collect();
    assert_eq!(fields, [Field::Margin, Field::Step(2)]);
    assert_eq!(both.strips[1].areas[1].along, (0.4, 0.8));
    let free = Edit::FreeArea {
        strip: 1,
        field: Field::Step(2),
    };
    assert_eq!(free.apply(&both).unwrap().strips[1].areas.len(), 1);
    let shorter = Edit::SetExposure {
        strip: 1,
        exposure: Some(Exposure::read("halves from 4s, 2 steps at f/11").unwrap()),
    };
    assert_eq!(shorter.apply(&moved).unwrap().strips[1].areas, []);
}

#[test]
fn areas_that_cannot_be_are_refused() {
    for wrong in [
        area(Field::Step(40), (0.1, 0.5)),
        area(Field::Ignored, (0.1, 0.5)),
        area(Field::Margin, (0.5, 0.5)),
        area(Field::Margin, (-0.1, 0.5)),
        area(Field::Margin, (0.5, f64::NAN)),
    ] {
        let edit = Edit::PlaceArea {
            strip: 1,
            area: wrong,
        };
        assert!(edit.apply(&slates()).is_err(), "{wrong:?}");
    }
}

#[test]
fn outlines_that_cannot_be_are_refused() {
    let refuse = |change: fn(&mut StripShape)| {
        let mut shape = shape_on(0);
        change(&mut shape);
        let edit = Edit::SetShape {
            strip: 0,
            shape: Some(shape),
        };
        edit.apply(&slates()).unwrap_err().to_string()
    };
    assert!(refuse(|s| s.scan = 2).contains("lies on scan 3, but the session has 2 scans"));
    assert!(refuse(|s| s.corners[0].x = f64::NAN).contains("not a number"));
    assert!(refuse(|s| s.edges.swap(0, 1)).contains("edges must ascend"));
    assert!(refuse(|s| s.fields = vec![Field::Margin]).contains("2 fields, but 1"));
    assert!(refuse(|s| s.fields = vec![Field::Margin, Field::Step(8)]).contains("step 9"));
    assert!(refuse(|s| s.fields = vec![Field::Step(1); 2]).contains("two fields are step 2"));
}

#[test]
fn unexposed_coat_is_pointed_at_by_patches_that_can_be() {
    let square = [(10.0, 10.0), (10.0, 40.0), (40.0, 40.0), (40.0, 10.0)];
    let point = |corners: [(f64, f64); 4]| {
        let edit = Edit::SetUnexposed {
            strip: 0,
            patches: Some(vec![corners.map(|(x, y)| Point::new(x, y))]),
        };
        edit.apply(&slates())
    };
    let with = point(square).unwrap();
    assert_eq!(with.strips[0].unexposed.as_ref().map(Vec::len), Some(1));
    let mut crossed = square;
    crossed.swap(1, 2);
    let refused = |corners| point(corners).unwrap_err().to_string();
    assert!(refused(crossed).contains("corners in turn"));
    assert!(refused([(10.0, 10.0); 4]).contains("corners in turn"));
    let mut lost = square;
    lost[2].0 = f64::NAN;
    assert!(refused(lost).contains("no number"));
}

#[test]
fn a_wedge_goes_one_way() {
    let refuse = |densities: &[f64]| check::check_densities(densities).unwrap_err();
    assert!(refuse(&[0.1, 0.2]).contains("at least 3"));
    assert!(refuse(&[0.1, 0.5, 0.4]).contains("field 3 (0.4) after field 2 (0.5)"));
    assert!(refuse(&[0.1, f64::NAN, 0.4]).contains("density NaN of field 2"));
    assert_eq!(check::check_densities(&[1.5, 0.8, 0.1]), Ok(()));
}

/// The session above, its paper strip seen once more.
fn slates_with_repeat() -> Session {
    let add = Edit::AddStrip {
        at: 2,
        strip: Strip::new("paper, again", Role::Coupon),
    };
    let join = Edit::SetSameAs {
        strip: 2,
        first: Some(0),
    };
    join.apply(&add.apply(&slates()).unwrap()).unwrap()
}

#[test]
fn what_is_said_of_a_strip_holds_wherever_it_is_seen() {
    let session = slates_with_repeat();
    assert_eq!(session.strips[2].exposure, session.strips[0].exposure);
    // Said of either, it holds for both.
    let out = Edit::ExcludeStep { strip: 2, step: 1 };
    let session = out.apply(&session).unwrap();
    assert_eq!(session.strips[0].excluded, vec![1]);
    assert_eq!(session.strips[2].excluded, vec![1]);
    let session = Edit::SetRole {
        strip: 0,
        role: Role::Coupon,
    }
    .apply(&session)
    .unwrap();
    assert_eq!(session.strips[2].role, Role::Coupon);
    // Told apart, each goes its own way from where it was.
    let apart = Edit::SetSameAs {
        strip: 2,
        first: None,
    };
    let session = apart.apply(&session).unwrap();
    let back = Edit::IncludeStep { strip: 2, step: 1 };
    let session = back.apply(&session).unwrap();
    assert_eq!(session.strips[0].excluded, vec![1]);
    assert!(session.strips[2].excluded.is_empty());
}

#[test]
fn a_repeat_follows_its_strip_about_and_takes_its_place_when_it_goes() {
    let moved = Edit::MoveStrip { from: 0, to: 1 };
    let session = moved.apply(&slates_with_repeat()).unwrap();
    assert_eq!(session.strips[2].same_as, Some(1));
    let session = Edit::RemoveStrip(1).apply(&session).unwrap();
    let heir = &session.strips[1];
    assert_eq!((heir.name.as_str(), heir.same_as), ("paper, again", None));
    assert_eq!(heir.exposure, slates().strips[0].exposure);
}

#[test]
fn a_strip_is_not_a_repeat_of_itself_nor_of_a_repeat() {
    let refuse = |strip, first| {
        let edit = Edit::SetSameAs {
            strip,
            first: Some(first),
        };
        edit.apply(&slates_with_repeat()).unwrap_err().to_string()
    };
    assert!(refuse(1, 1).contains("can't be itself"));
    assert!(refuse(1, 2).contains("paper, again is itself another strip"));
    assert!(refuse(1, 7).contains("there is no strip 8"));
    // Nor may the strip that others repeat become a repeat.
    assert!(refuse(0, 1).contains("warm paper is itself another strip"));
}

fn any_edit() -> impl Strategy<Value = Edit> {
    let strip = 0..3usize;
    let step = 0..10usize;
    prop_oneof![
        "[a-c]".prop_map(|name| rename(&name)),
        (strip.clone(), step.clone()).prop_map(|(strip, step)| Edit::ExcludeStep { strip, step }),
        (strip.clone(), step).prop_map(|(strip, step)| Edit::IncludeStep { strip, step }),
        strip.clone().prop_map(Edit::RemoveStrip),
        (strip.clone(), strip.clone()).prop_map(|(from, to)| Edit::MoveStrip { from, to }),
        (strip.clone(), "[a-e]").prop_map(|(at, name)| Edit::AddStrip {
            at,
            strip: Strip::new(name, Role::Coupon)
        }),
        (strip.clone(), 0..4usize).prop_map(|(strip, first)| Edit::SetSameAs {
            strip,
            first: first.checked_sub(1),
        }),
        (0..2usize).prop_map(Edit::RemoveScan),
        Just(Edit::AddScan(Scan::new("third.tif"))),
        Just(Edit::SetWedge(None)),
        Just(Edit::SetChannel(Channel::Green)),
        (0..3u8).prop_map(|tenths| Edit::SetLag {
            lag: f64::from(tenths) / 10.0,
            uncertainty: 0.05
        }),
        (strip, 0..2usize).prop_map(|(strip, scan)| Edit::SetShape {
            strip,
            shape: Some(shape_on(scan))
        }),
        Just(Edit::DropPriors),
        "[a-b]".prop_map(Edit::SetNotes),
    ]
}

proptest! {
    #![proptest_config(ProptestConfig { failure_persistence: None, ..ProptestConfig::default() })]

    #[test]
    fn undoing_all_gives_the_first_session_and_redoing_all_the_last(
        edits in proptest::collection::vec((any_edit(), proptest::option::of(0..4u64)), 0..40)
    ) {
        let first = Arc::new(slates());
        let mut history = History::opened(slates());
        let mut revisions = std::collections::BTreeMap::new();
        for (edit, gesture) in edits {
            // Refused edits are part of the game: they change nothing.
            history.perform(&edit, gesture.map(Gesture)).ok();
            let session = Arc::clone(history.session());
            let known = revisions.entry(history.revision()).or_insert_with(|| Arc::clone(&session));
            prop_assert_eq!(&**known, &*session);
            prop_assert_eq!(history.session().check(), Ok(()));
        }
        let last = Arc::clone(history.session());
        let last_revision = history.revision();
        while history.undo() {}
        prop_assert_eq!(&**history.session(), &*first);
        prop_assert!(history.is_saved());
        while history.redo() {}
        prop_assert_eq!(&**history.session(), &*last);
        prop_assert_eq!(history.revision(), last_revision);
    }
}
