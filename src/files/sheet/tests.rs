//! What is on the page; tests/sheet opens it with another program.

use super::*;
use crate::document::sheet::cautions::CAUTIONS;
use crate::document::sheet::{ChangeRow, ExposureRow, Process};

fn sheet() -> Sheet {
    let mut sheet = Sheet {
        picture: "Harbour at low tide".into(),
        facts: vec![("Piece".into(), "slate 3".into())],
        exposures: vec![ExposureRow {
            time: "24 s".into(),
            aperture: "f/8".into(),
            against: "as planned".into(),
        }],
        changes: vec![ChangeRow {
            way: "burn".into(),
            part: "sky".into(),
            stops: "1/2 stop".into(),
            time: "10 s".into(),
            note: String::new(),
        }],
        ..Sheet::default()
    };
    sheet.set_process(&Process::default());
    sheet
}

#[test]
fn the_plain_text_has_every_part() {
    let text = plain_text(&sheet());
    for words in [
        "Harbour at low tide",
        "slate 3",
        "[ ] 1.  24 s         f/8     as planned",
        "[ ] burn sky: 10 s, 1/2 stop",
        "second fixing bath",
    ] {
        assert!(text.contains(words), "{words}:\n{text}");
    }
    let flat = text.split_whitespace().collect::<Vec<_>>().join(" ");
    for (about, said) in CAUTIONS {
        let said = said.split_whitespace().collect::<Vec<_>>().join(" ");
        assert!(flat.contains(&format!("{about}: {said}")), "{about}");
    }
    assert!(text.lines().all(|line| line.chars().count() <= 78));
}

#[test]
fn a_thumbnail_is_the_mean_of_what_it_stands_for() {
    let screen: Vec<[u8; 3]> = (0..960 * 10)
        .map(|i| if i % 2 == 0 { [0; 3] } else { [200; 3] })
        .collect();
    let small = Thumbnail::of(&screen, 960, 10).expect("a picture");
    assert!(small.width <= Thumbnail::LONGEST && small.height == 5);
    assert_eq!(small.grey.len(), small.width * small.height);
    // Two columns a pixel, one of each tone.
    assert!(small.grey.iter().all(|&grey| grey == 100));
    assert_eq!(Thumbnail::of(&[], 0, 0), None);
    assert_eq!(Thumbnail::of(&screen, 999, 10), None);
}
