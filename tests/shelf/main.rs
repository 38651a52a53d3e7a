//! The shelf of profiles as programs use it: answers that can be worked out again, many profiles,
//! several who save at a time, and programs that are killed while they save.
#![expect(
    clippy::unwrap_used,
    clippy::disallowed_methods,
    reason = "a test may fail where it stands, wait, and look into files"
)]

mod damaged;
mod demo;
mod killed;
mod large;
mod many;
mod migrated;
mod spoken;
mod support;
#[path = "../support/words.rs"]
mod words;

use support::{demo_analysis, evidence};
use twinstrip::document::profile::{Evidence, NoEvidence, Origin, Profile, Put};
use twinstrip::files::shelf::Shelf;
use twinstrip::measure::estimate::{Estimate, Gap};

/// The numbers of the analysis, of what is kept, of what is read back and of what is worked out
/// again from the readings are the same to the last digit.
#[test]
fn an_answer_on_the_shelf_is_that_of_the_analysis_and_can_be_worked_out_again() {
    let (_, analysis) = demo_analysis();
    let folder = tempfile::tempdir().unwrap();
    let shelf = Shelf::new(folder.path());
    let kept = evidence(1);
    assert_eq!(kept.answer, analysis.pairs[0].answer);
    let put = Put {
        before: None,
        after: Some(Profile::named("Slate, two coats").with(kept.clone())),
    };
    let file = shelf.put(None, &put).unwrap().file;
    let read = shelf.read(&file).unwrap();
    assert_eq!(read.evidence, [kept]);
    assert_eq!(read.evidence[0].recompute(), analysis.pairs[0].answer);
}

#[test]
fn a_pair_without_an_answer_feeds_no_profile_and_says_why() {
    let (session, analysis) = demo_analysis();
    let error = Evidence::of(session, analysis, 3, Origin::default()).unwrap_err();
    assert_eq!(error.to_string(), "the session has no pair 4; it has 1");
    let mut withheld = (**analysis).clone();
    withheld.pairs[0].answer.withhold(Gap::PictureDetail);
    let error = Evidence::of(session, &withheld, 0, Origin::default()).unwrap_err();
    assert!(matches!(error, NoEvidence::NoAnswer { .. }), "{error}");
    assert!(error.to_string().contains("the steps carry picture detail"));
    assert_eq!(
        withheld.pairs[0].answer.stops,
        Estimate::absent(Gap::PictureDetail)
    );
}
