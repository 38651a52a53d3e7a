//! The demo shelf: its files say what is true, and what is said of them holds it.

use twinstrip::document::profile::{Profile, ProfilePool, Quantity};
use twinstrip::files::shelf::Shelf;
use twinstrip::files::text::read_text;
use twinstrip::measure::pool::{self, Against};
use twinstrip::simulate::shelf::SeriesTruth;

use crate::support::testdata;

fn demo() -> (Vec<Profile>, SeriesTruth) {
    let folder = testdata("demo-shelf");
    let shelf = Shelf::new(&folder);
    let truth = serde_json::from_str(&read_text(&folder.join("truth.json")).unwrap()).unwrap();
    let listing = shelf.list().unwrap();
    assert!(listing.damaged.is_empty());
    let profiles = ["slate, one coat", "slate, two coats", "slate, three coats"].map(|name| {
        let (file, _) = listing.find(&format!("{name} (invented data)")).unwrap();
        shelf.read(file).unwrap()
    });
    (profiles.into(), truth)
}

/// 12 intervals of 95 % for speed and 12 for contrast: all of them hold with a chance of 30 %, so
/// one or two may miss, more may not.
#[test]
fn each_session_holds_its_truth() {
    let (profiles, truth) = demo();
    let mut missed = Vec::new();
    for (coat, profile) in profiles.iter().enumerate() {
        assert_eq!(profile.evidence.len(), 4);
        for (session, evidence) in profile.evidence.iter().enumerate() {
            let right = &truth.sessions[session][coat];
            let range = right.range - truth.materials.paper.range;
            for (what, value) in [(Quantity::Stops, right.stops), (Quantity::Contrast, range)] {
                let found = what.of(evidence);
                assert!(found.bounds().is_some());
                if !found.holds(value) {
                    missed.push((profile.name.clone(), session + 1, what, value, *found));
                }
            }
        }
    }
    assert!(missed.len() <= 2, "{missed:#?}");
}

#[test]
fn sessions_together_hold_the_truth_and_fog_is_seen_to_rise_with_remelts() {
    let (profiles, truth) = demo();
    for (coat, profile) in profiles.iter().enumerate() {
        let pool = ProfilePool::of(profile, None);
        let right = &truth.materials.coats[coat];
        let stops = pool.quantity(Quantity::Stops).unwrap();
        let mean = stops.pooled.as_ref().unwrap().mean;
        assert!(
            mean.holds(right.stops),
            "{}: {mean:?} {}",
            profile.name,
            right.stops
        );
        let fog = pool.drift.iter().find(|trend| {
            trend.quantity == pool::Quantity::Dmin && trend.against == Against::Remelts
        });
        let slope = fog.unwrap().slope;
        assert!(slope.holds(truth.series.fog), "{}: {slope:?}", profile.name);
        assert!(slope.value.unwrap() > 0.5 * truth.series.fog);
    }
}
