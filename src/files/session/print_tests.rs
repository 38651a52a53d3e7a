//! The print that a session plans, in its file.

use super::tests::assert_refused;
use super::*;
use crate::document::sheet::Process;
use crate::document::{Encoding, Printing, Scan, Session};
use crate::measure::plan::{Aim, Choices, HeadMove, Piece, Recipe};

/// A print with nothing left as usual.
pub(super) fn printing() -> Printing {
    Printing {
        picture: "Harbour at \"low\" tide".into(),
        recipe: Some(
            Recipe::read(
                "8s grade 00 factor 1.6 + 6s grade 5 factor 2 at f/8, head 560mm, lens 80mm\n\
                 burn sky: 1/2 stop, in the highlights\ndodge left quay: 2s",
            )
            .unwrap(),
        ),
        piece: Piece {
            name: "slate 3".into(),
            height: 6.5,
            size: Some((240.0, 300.0)),
            rise: 1.5,
        },
        choices: Choices {
            aim: Aim::Net(0.35),
            head: HeadMove::RaisedByHeight,
            aperture: Some(crate::measure::exposure::entry::aperture("f/11").unwrap()),
            lens: (4.0, 45.0),
            blur: 0.15,
            times: (3.0, 45.0),
            pieces: 3,
            tolerance: 0.25,
        },
        process: Process::read("hardener 3min; developer 90s; wash").unwrap(),
        print: Some(Scan {
            path: "prints/harbour.tif".into(),
            hash: Some("ff00".into()),
            encoding: Some(Encoding::Srgb),
        }),
    }
}

#[test]
fn what_older_programs_do_not_know_makes_the_file_a_newer_one() {
    let session = Session {
        scans: vec![Scan::new("slates.tif")],
        ..Session::default()
    };
    assert!(to_text(&session).unwrap().contains("version: 1,"));
    let session = Session {
        printing: Some(Box::default()),
        ..session
    };
    let text = to_text(&session).unwrap();
    assert!(text.contains("version: 2,"), "{text}");
    let session = Session {
        empty: Some(Scan::new("empty.tif")),
        ..session
    };
    let text = to_text(&session).unwrap();
    assert!(text.contains("version: 3,"), "{text}");
    assert_refused(
        "scans: [",
        "printing: (recipe: \"soon at f/8\"), scans: [",
        "3:5: the print: line 1 of the recipe: `soon at f/8` is not a time: write it as `2s`, \
         `0.5 s`, `1m20s` or `1:20`",
    );
    assert_refused(
        "scans: [",
        "printing: (pieces: 0), scans: [",
        "3:5: the print: 0 pieces: a bracket is worked out for 1 to 12",
    );
}
