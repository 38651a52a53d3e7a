//! Strips that are another one of the list, seen once more.

use super::tests::{BY_HAND, read};
use super::to_text;

/// The session written by hand, with a third strip.
fn with_third(strip: &str) -> String {
    BY_HAND.replacen("    ],\n)", &format!("        {strip}\n    ],\n)"), 1)
}

#[test]
fn a_strip_seen_once_more_is_described_once() {
    let text = with_third("Strip(name: \"warm paper, again\", same_as: \"warm paper\"),")
        .replace("version: 1", "version: 3");
    let session = read(&text).unwrap();
    let (first, again) = (&session.strips[0], &session.strips[2]);
    assert_eq!(again.same_as, Some(0));
    assert_eq!((again.role, &again.exposure), (first.role, &first.exposure));
    let written = to_text(&session).unwrap();
    assert!(written.contains("version: 3"), "{written}");
    assert_eq!(written.matches("role: reference").count(), 1, "{written}");
    assert_eq!(read(&written).unwrap(), session);
}

#[test]
fn a_repeat_that_cannot_be_is_refused_with_its_place() {
    let refuse = |strip: &str| read(&with_third(strip)).unwrap_err().to_string();
    for (strip, says) in [
        (
            "Strip(name: \"again\", same_as: \"cold paper\"),",
            "8:21: strip again: it is the same strip as cold paper, but no strip has that name",
        ),
        (
            "Strip(name: \"again\", same_as: \"again\"),",
            "8:21: strip again: it can't be itself seen once more",
        ),
        (
            "Strip(name: \"again\", same_as: \"warm paper\", role: coupon),",
            "8:21: strip again: it is the same strip as warm paper, so `role` is said there",
        ),
        (
            "Strip(name: \"again\", same_as: \"warm paper\", excluded: [2]),",
            "so `excluded` is said there and not here again",
        ),
        (
            "Strip(name: \"again\", same_as: \"warm paper\"), Strip(name: \"more\", same_as: \"again\"),",
            "strip more: again is itself the same strip as warm paper; write same_as: \"warm paper\" here",
        ),
        (
            "Strip(name: \"again\"),",
            "8:21: strip again: `role` is missing: reference (paper) or coupon (coated)",
        ),
    ] {
        let said = refuse(strip);
        assert!(said.contains(says), "{said}");
    }
}
