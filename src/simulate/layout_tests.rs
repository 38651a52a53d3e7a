//! Every family of layouts: what the truth says stands where it says so.

use super::truth::{Patch, StripTruth};
use super::{Layout, Level, Practice, Recipe, make};
use crate::measure::geometry::{Field, Point};
use crate::measure::raster::Channel;
use crate::measure::strip::Role;
use crate::measure::units::density_of;

fn made(layout: Layout, seed: u64) -> Practice {
    make(&Recipe {
        dpi: Some(100.0),
        ..Recipe::new(Level::Easy, seed).laid_out(layout.setting())
    })
}

/// Density of the middle light around a place, dust and pencil passed over.
fn density_around(practice: &Practice, scan: usize, place: Point) -> f64 {
    let raster = &practice.scans[scan];
    let (x, y) = (place.x as usize, place.y as usize);
    let mut light = vec![];
    for y in y.saturating_sub(3)..(y + 4).min(raster.height) {
        let mut row = vec![];
        let to = (x + 4).min(raster.width);
        raster.linear_row(y, x.saturating_sub(3), to, Channel::Luminance, &mut row);
        light.extend(row);
    }
    light.sort_by(f32::total_cmp);
    density_of(f64::from(light[light.len() / 2]))
}

/// Strips with their coats as the scan shows them: the scanner's own tone curve is within a few
/// per cent of straight, so a density is right within this share.
const SCANNER: f64 = 0.15;

fn check(practice: &Practice, strip: &StripTruth, layout: Layout) {
    let scan = strip.scan.expect("it lies on a scan");
    let near = |place: Point, density: f64, what: &str| {
        let seen = density_around(practice, scan, place);
        let room = 0.08 + SCANNER * density;
        assert!(
            (seen - density).abs() < room,
            "{layout:?} {} {what}: {seen:.3} for {density:.3} at {place:?}",
            strip.name
        );
    };
    for (number, step) in strip.steps.iter().enumerate() {
        let patch = step.patch.expect("every step has a place");
        near(
            patch.centre(),
            step.density,
            &format!("step {}", number + 1),
        );
        if let Some(shape) = &strip.shape {
            let field = shape.field_of_step(number).expect("it is told");
            let told = shape.field_centre(field);
            let off = told.distance(patch.centre());
            // A frame's mask along one side moves the middle across, not along.
            assert!(off < 3.0 * 4.0, "{layout:?}: told {off} pixels away");
        }
    }
    for piece in &strip.unexposed {
        let middle = Patch::Quad(*piece).centre();
        near(middle, strip.curve.dmin, "unexposed");
    }
}

#[test]
fn steps_and_unexposed_coat_lie_where_the_truth_says_in_every_family() {
    for layout in Layout::ALL {
        for seed in 1..3 {
            let practice = made(layout, seed);
            for strip in &practice.truth.strips {
                check(&practice, strip, layout);
            }
        }
    }
}

#[test]
fn the_named_layouts_have_the_unexposed_coat_that_their_names_promise() {
    let coats = |layout: Layout| -> Vec<StripTruth> {
        (1..5)
            .flat_map(|seed| made(layout, seed).truth.strips)
            .filter(|strip| strip.role == Role::Coupon)
            .collect()
    };
    assert!(
        coats(Layout::NoMargin)
            .iter()
            .all(|strip| strip.unexposed.is_empty())
    );
    assert!(
        coats(Layout::BothEnds)
            .iter()
            .all(|strip| strip.unexposed.len() == 2)
    );
    assert!(
        coats(Layout::Frame)
            .iter()
            .all(|strip| strip.unexposed.len() == 4)
    );
    assert!(
        coats(Layout::SideMargin)
            .iter()
            .all(|strip| strip.unexposed.len() == 1)
    );
    for strip in coats(Layout::Windows) {
        assert!(strip.unexposed.len() > strip.steps.len());
    }
    for strip in coats(Layout::CutApart) {
        assert!(strip.outline.len() >= strip.steps.len());
        let shape = strip.shape.expect("a row of pieces can be told");
        let gaps = shape
            .fields
            .iter()
            .filter(|&&field| field == Field::Ignored);
        assert_eq!(gaps.count() + 1, strip.outline.len());
    }
    assert!(
        coats(Layout::TwoRows)
            .iter()
            .all(|strip| strip.shape.is_none())
    );
    for strip in coats(Layout::ManySteps) {
        assert!((12..=21).contains(&strip.steps.len()));
    }
    assert!(
        coats(Layout::FewSteps)
            .iter()
            .all(|strip| strip.steps.len() <= 6)
    );
}

#[test]
fn a_scan_is_kept_as_its_layout_says() {
    let fine = Recipe::new(Level::Easy, 1).laid_out(Layout::SmallJpeg.setting());
    let small = make(&fine);
    assert!(small.scans[0].origin.lossy);
    assert!((small.truth.dpi - 100.0).abs() < 1e-9);
    assert_eq!(made(Layout::NoResolution, 1).scans[0].pixels_per_mm, None);
    let one = made(Layout::OneWedge, 1);
    assert_eq!((one.scans.len(), one.truth.wedges.len()), (2, 1));
    assert!(made(Layout::Grid, 1).truth.pairs.len() >= 2);
}
