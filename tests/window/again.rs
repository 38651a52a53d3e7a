//! What a person says of the scans at Exposures beyond times: a strip scanned once more, the empty
//! glass, and what densities are read from.

use twinstrip::document::Session;
use twinstrip::measure::finding::{Finding, Kind};
use twinstrip::measure::raster::Channel;

use crate::support::{Window, demo};

fn session(window: &Window) -> Session {
    window.harness.state().session().clone()
}

/// The demo with its scan there twice; the second scan's strips are not described further.
fn with_two_scans() -> Window {
    let mut window = Window::of_size(1280.0, 800.0);
    let folder = window.folder.path().join("harbour");
    std::fs::create_dir_all(&folder).unwrap();
    for name in ["scan-1.tif", "scan-2.tif"] {
        std::fs::copy(demo().join("scan-1.tif"), folder.join(name)).unwrap();
    }
    let text = std::fs::read_to_string(demo().join("session.ron")).unwrap();
    let scan = "        Scan(\n            path: \"scan-1.tif\",\n            encoding: srgb,\n        ),\n";
    assert!(text.contains(scan));
    let text = text.replace(scan, &format!("{scan}{}", scan.replace("scan-1", "scan-2")));
    let strips = "        Strip(name: \"slate, again\", role: coupon),\n        Strip(name: \"paper, again\", role: reference),\n    ],\n    settings:";
    let text = text.replace("    ],\n    settings:", strips);
    std::fs::write(folder.join("session.ron"), text).unwrap();
    window.drop_files(&[folder.join("session.ron")]);
    window.until_measured();
    window
}

#[test]
fn a_strip_is_said_to_be_another_one_scanned_once_more_and_taken_back() {
    let mut window = with_two_scans();
    let first = session(&window);
    assert!(
        window
            .harness
            .state()
            .analysis()
            .unwrap()
            .repeats
            .is_empty()
    );
    window.click("Exposures");
    for (again, strip) in [("paper, again", "fibre paper"), ("slate, again", "slate 1")] {
        window.click(&format!("Same strip as, {again}"));
        window.click(strip);
        assert!(window.shows(&format!("The same strip as {strip}, scanned once more")));
    }
    let joined = session(&window);
    assert_eq!(joined.strips[2].same_as, Some(0));
    assert_eq!(joined.strips[3].same_as, Some(1));
    assert_eq!(joined.strips[3].exposure, joined.strips[1].exposure);
    window.until_measured();
    let analysis = window.harness.state().analysis().unwrap().clone();
    assert_eq!(analysis.pairs.len(), 1);
    // One file scanned twice: the two repeat each other to the digit.
    assert!(!analysis.repeats.is_empty());
    assert!(analysis.repeats.iter().all(|repeat| repeat.error < 1e-6));

    assert!(window.shows("Repeat error from scan to scan: 0.0000 D at"));

    window.click("slate, again is a strip of its own");
    assert_eq!(session(&window).strips[2].same_as, None);
    for edit in ["tell strips apart", "join strips", "join strips"] {
        window.click(&format!("Undo {edit}"));
    }
    assert_eq!(session(&window), first);
}

#[test]
fn the_empty_glass_and_the_weighting_are_chosen_and_undone() {
    let mut window = Window::of_size(1280.0, 1400.0);
    window.with_demo();
    let first = session(&window);
    window.click("Exposures");
    window.click("visual");
    assert_eq!(session(&window).settings.channel, Channel::Visual);
    window.until_measured();

    // A scan with strips on it is no empty glass: said, and measured without it.
    let file = window.folder.path().join("empty.tif");
    std::fs::copy(demo().join("scan-1.tif"), &file).unwrap();
    window.answers.0.lock().unwrap().push(file);
    window.click("Choose the scan of the empty glass");
    window.until("the empty scan", |app| app.session().empty.is_some());
    window.until_measured();
    let analysis = window.harness.state().analysis().unwrap().clone();
    let told = |finding: &Finding| finding.kind == Kind::EmptyScan;
    assert!(analysis.findings.iter().any(told));
    window.click("Do without the empty scan");
    assert_eq!(session(&window).empty, None);
    while session(&window) != first {
        let undo =
            egui_kittest::kittest::Queryable::query_all_by_label_contains(&window.harness, "Undo ")
                .next()
                .map(|node| node.click());
        assert!(undo.is_some(), "undo ends at the session as it was opened");
        window.harness.run_steps(2);
    }
}

#[test]
fn an_empty_scan_that_is_gone_says_so_on_its_card_and_can_be_done_without() {
    let mut window = Window::of_size(1280.0, 1400.0);
    let folder = window.folder.path().join("harbour");
    std::fs::create_dir_all(&folder).unwrap();
    std::fs::copy(demo().join("scan-1.tif"), folder.join("scan-1.tif")).unwrap();
    let text = std::fs::read_to_string(demo().join("session.ron")).unwrap();
    let named = "    version: 3,\n    empty: Scan(path: \"gone.tif\"),\n";
    let text = text.replace("    version: 1,\n", named);
    std::fs::write(folder.join("session.ron"), text).unwrap();
    window.drop_files(&[folder.join("session.ron")]);
    window.until_shown("Exposures");
    window.click("Exposures");
    window.until_shown("Nothing is measured until it is chosen anew or done without");
    assert!(window.harness.state().analysis().is_none());
    window.click("Do without the empty scan");
    window.until_measured();
}
