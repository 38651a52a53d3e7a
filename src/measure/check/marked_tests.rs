//! Of a field in which a person marked an area, nothing else counts.

use super::sample::Target;
use super::synthetic::Bench;
use super::{Wedge, scan};
use crate::measure::check::colour::ByChannel;
use crate::measure::finding::{Finding, Kind, Weight};
use crate::measure::geometry::{Area, Field, StripShape};
use crate::measure::raster::{Channel, Raster};

/// The middle of every field.
fn marked(shape: &StripShape) -> Vec<Area> {
    let area = |&field: &Field| Area {
        field,
        along: (0.3, 0.7),
        across: (0.3, 0.7),
    };
    shape.fields.iter().map(area).collect()
}

/// Whether a pixel (along, across) lies in the middle of its field, with a little room.
fn in_middle(u: f64, v: f64) -> bool {
    let share = (u / 90.0).fract();
    (0.27..0.73).contains(&share) && (0.27..0.73).contains(&(v / 120.0))
}

/// Each step on a piece of its own: between them lies a print with windows, a dark table and
/// white cut off at the end of the code range.
fn pieces() -> Bench {
    Bench {
        extra: Box::new(|u, v| {
            if in_middle(u, v) {
                return 0.0;
            }
            let window = (u / 13.0).fract() < 0.5 && (v / 17.0).fract() < 0.4;
            if window { 1.2 } else { -3.0 }
        }),
        penumbra: 1.0,
        ..Bench::plain()
    }
}

fn found(raster: &Raster, shape: &StripShape, areas: &[Area]) -> Vec<Finding> {
    let none: Option<Wedge<'_>> = None;
    let checked = scan(raster, 0, &[(0, shape, areas)], none, Channel::Luminance);
    checked.findings
}

#[test]
fn a_marked_area_lifts_every_check_of_what_lies_outside_it() {
    let (raster, shape) = pieces().make();
    let told: Vec<Kind> = found(&raster, &shape, &[]).iter().map(|f| f.kind).collect();
    assert!(told.contains(&Kind::PictureDetail), "{told:?}");
    assert!(told.contains(&Kind::ClippedWhites), "{told:?}");
    let areas = marked(&shape);
    assert_eq!(found(&raster, &shape, &areas), []);
}

#[test]
fn a_field_without_a_mark_is_looked_at_as_ever() {
    let (raster, shape) = pieces().make();
    let areas = &marked(&shape)[..5];
    let told = found(&raster, &shape, areas);
    let picture = told.iter().find(|f| f.kind == Kind::PictureDetail);
    assert_eq!(
        picture.expect("four fields are told of").weight,
        Weight::Blocking
    );
}

#[test]
fn what_lies_inside_a_marked_area_still_counts() {
    let (raster, shape) = Bench {
        extra: Box::new(|u, v| {
            let window = (u / 7.0).fract() < 0.5 && (v / 9.0).fract() < 0.5;
            if window { 0.5 } else { -0.3 }
        }),
        penumbra: 1.0,
        ..Bench::plain()
    }
    .make();
    let told = found(&raster, &shape, &marked(&shape));
    assert!(
        told.iter().any(|f| f.kind == Kind::PictureDetail),
        "{told:?}"
    );
}

#[test]
fn an_area_too_small_to_read_is_told() {
    let (raster, shape) = Bench::plain().make();
    let areas = [Area {
        field: Field::Step(3),
        along: (0.4, 0.6),
        across: (0.4, 0.6),
    }];
    let told = found(&raster, &shape, &areas);
    let small = told.iter().find(|f| f.kind == Kind::ResolutionTooLow);
    let small = small.expect("18 pixels are too few");
    assert_eq!(small.place.step, Some(4));
}

#[test]
fn colour_is_read_where_the_marks_are() {
    let (raster, shape) = Bench {
        tint: Some([1.0, 1.0, 1.0]),
        ..pieces()
    }
    .make();
    let areas = marked(&shape);
    let target = Target {
        areas: &areas,
        ..Target::whole(Some(0), &shape)
    };
    let exposures: Vec<f64> = (0..8).map(|step| 0.15 * f64::from(step)).collect();
    let read = ByChannel::read(&raster, 0, &target, &exposures).expect("a colour scan");
    // Bench::plain's densities above its margin of 0.08 D.
    for (net, density) in read.net[1]
        .iter()
        .zip([0.1, 0.16, 0.3, 0.55, 0.9, 1.2, 1.4, 1.5])
    {
        assert!((net - (density - 0.08)).abs() < 0.02, "{net} {density}");
    }
}
