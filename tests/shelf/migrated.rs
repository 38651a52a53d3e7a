//! Profiles of every version that there was.

use twinstrip::document::profile::{Field, Wet};
use twinstrip::files::shelf::{from_text, read_profile, to_text};

use crate::support::testdata;

/// `testdata/profiles/version-0.ron` was written in the layout of version 0; what it must say
/// was read off it by eye.
#[test]
fn a_profile_of_version_0_is_read_and_written_anew_as_version_1() {
    let path = testdata("profiles/version-0.ron");
    let old = read_profile(&path).unwrap();
    assert_eq!(old.name, "Slates, first trials (invented data)");
    assert!(old.retired);
    assert_eq!(old.particulars.wet, Some(Wet::Millilitres(1.8)));
    assert_eq!(old.particulars.coats, Some(2));
    assert_eq!(
        old.particulars.get(Field::Developer),
        "print developer 1+9, two minutes"
    );
    assert_eq!(old.evidence.len(), 1);
    // Another version of the program may fit a little otherwise, but not beyond the error.
    let (kept, anew) = (
        old.evidence[0].answer.stops,
        old.evidence[0].recompute().stops,
    );
    let apart = (kept.value.unwrap() - anew.value.unwrap()).abs();
    assert!(apart < 0.5 * kept.standard_error.unwrap(), "{apart}");
    let text = to_text(&old).unwrap();
    assert!(text.contains("    version: 1,\n"));
    assert_eq!(from_text(&path, &text).unwrap(), old);
}
