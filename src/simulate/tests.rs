//! Whole practice sessions.

use super::curve::{TrueCurve, Wanted};
use super::field::Field;
use super::mask::Mask;
use super::paint::paint;
use super::scene::{Frame, Scene, Strip, Stuff};
use super::shape::Shape;
use super::{Encoding, Level, Practice, Recipe, Twist, make, question};
use crate::measure::exposure::Series;
use crate::measure::geometry::{Edge, Field as What, Point, StripShape};
use crate::measure::raster::{Channel, Samples};
use crate::measure::strip::Role;
use crate::measure::units::density_of;

/// A session whose scan is as small as the check allows.
fn small(level: Level, seed: u64) -> Recipe {
    Recipe {
        dpi: Some(60.0),
        ..Recipe::new(level, seed)
    }
}

fn light_at(practice: &Practice, scan: usize, place: Point) -> f64 {
    let raster = &practice.scans[scan];
    let mut row = vec![];
    let (x, y) = (place.x as usize, place.y as usize);
    raster.linear_row(y, x, x + 1, Channel::Luminance, &mut row);
    f64::from(row[0])
}

/// Mean light of a small square.
fn light_around(practice: &Practice, shape: &StripShape, place: Point) -> f64 {
    let mut sum = 0.0;
    for dy in -1..=1 {
        for dx in -1..=1 {
            let at = Point::new(place.x + f64::from(dx), place.y + f64::from(dy));
            sum += light_at(practice, shape.scan, at);
        }
    }
    sum / 9.0
}

#[test]
fn the_same_seed_gives_the_same_scan_to_the_last_bit_on_any_number_of_threads() {
    let recipe = small(Level::Hard, 7);
    let on = |threads: usize| {
        rayon::ThreadPoolBuilder::new()
            .num_threads(threads)
            .build()
            .unwrap()
            .install(|| make(&recipe))
    };
    let (one, three) = (on(1), on(3));
    assert_eq!(one.truth, three.truth);
    for (a, b) in one.scans.iter().zip(&three.scans) {
        assert_eq!(a.samples, b.samples);
    }
    assert_ne!(make(&small(Level::Hard, 8)).truth, one.truth);
}

#[test]
fn a_step_in_stops_doubles_the_light_that_the_strip_gets() {
    let mut seen = 0;
    for seed in 0..20 {
        let practice = make(&small(Level::Easy, seed));
        for (truth, spec) in practice.truth.strips.iter().zip(&practice.strips) {
            let Some(exposures) = &spec.exposures else {
                continue;
            };
            if let Series::InStops { first, stops, .. } = exposures.series {
                // Without the lag the steps would be even; with it the first lose most.
                let lost = practice.truth.lag;
                for (k, pair) in truth.steps.windows(2).enumerate() {
                    let time = |k: usize| first.0 * (stops * k as f64).exp2() - lost;
                    let decades = (time(k + 1) / time(k)).log10();
                    let got = pair[1].log_exposure - pair[0].log_exposure;
                    assert!((got - decades).abs() < 1e-9);
                }
                seen += 1;
            }
        }
    }
    assert!(seen > 5);
}

#[test]
fn a_strip_without_faults_shows_the_density_of_its_curve() {
    let curve = TrueCurve::new(
        Shape::Probit,
        &Wanted {
            dmin: 0.1,
            dmax: 1.9,
            speed_point: 0.5,
            range: 100.0,
        },
    );
    let frame = Frame {
        start: Point::new(20.0, 10.0),
        along: (1.0, 0.0),
        length: 40.0,
        width: 10.0,
        per_mm: 4.0,
    };
    let edges = vec![(0.0, 0.0), (10.0, 10.0), (20.0, 20.0), (40.0, 40.0)];
    let scene = Scene {
        width: 200,
        height: 60,
        lid: 0.9,
        shadow: 0.0,
        strips: vec![Strip {
            frame,
            stuff: Stuff::Paper,
            coat: (40.0, 10.0),
            origin: 0.0,
            mask: Mask::Open,
            edges,
            light: vec![0.0, 10f64.powf(0.5), 10f64.powf(0.8)],
            penumbra: vec![0.5; 4],
            gaps: vec![0.0; 4],
            fall_off: [0.0; 3],
            curve: curve.clone(),
            thickness: Field::flat(),
            mottle: Field::flat(),
            stain: [0.0; 3],
            curl: 0.0,
            shadow: None,
            soft: 0.0,
            ground: None,
        }],
        wedges: vec![],
        things: vec![],
        tapes: vec![],
        spots: vec![],
    };
    let painting = paint(&scene);
    for (field_centre, density) in [(5.0, 0.1), (15.0, 0.7), (30.0, curve.density(0.8))] {
        let place = frame.on_scan(field_centre, 5.0);
        let light = painting.light[place.y as usize * 200 + place.x as usize];
        let seen = density_of(f64::from(light));
        assert!((seen - density).abs() < 1e-3, "{seen} for {density}");
    }
    assert!((painting.light[0] - 0.9).abs() < 1e-6);
}

#[test]
fn edges_stand_in_the_truth_where_they_stand_on_the_scan() {
    for seed in 0..6 {
        let practice = make(&Recipe {
            dpi: Some(200.0),
            ..Recipe::new(Level::Ordinary, seed)
        });
        let per_mm = 200.0 / 25.4;
        for strip in &practice.truth.strips {
            let shape = strip.shape.as_ref().unwrap();
            let density = |field: What| match field {
                What::Step(step) => strip.steps[step].density,
                What::Margin | What::Ignored => strip.curve.dmin,
            };
            for k in 1..shape.fields.len() {
                let contrast = (density(shape.fields[k]) - density(shape.fields[k - 1])).abs();
                if contrast < 0.2 {
                    continue;
                }
                let Edge { left, right } = shape.edges[k];
                let middle = (left + right) / 2.0;
                let reach = 2.5 * per_mm / shape.length();
                let side = |share: f64| {
                    density_of(light_around(&practice, shape, shape.on_scan(share, 0.5)))
                };
                let (before, after) = (side(middle - reach), side(middle + reach));
                let half = (before + after) / 2.0;
                // Where the density crosses half way, from the side of the lower share.
                let crossing = (-40..=40)
                    .map(|step| middle + f64::from(step) / 40.0 * reach)
                    .find(|&share| (side(share) - half) * (after - before) >= 0.0)
                    .unwrap();
                let miss = (crossing - middle) * shape.length() / per_mm;
                assert!(miss.abs() < 0.9, "seed {seed}, edge {k}: {miss} mm");
            }
        }
    }
}

#[test]
fn wedge_fields_come_darker_in_the_order_of_the_list() {
    for seed in 0..6 {
        let practice = make(&small(Level::Ordinary, seed));
        for wedge in &practice.truth.wedges {
            let lights: Vec<f64> = (0..wedge.densities.len())
                .map(|k| {
                    let field = wedge.shape.field_of_step(k).unwrap();
                    light_around(&practice, &wedge.shape, wedge.shape.field_centre(field))
                })
                .collect();
            let inversions = lights.windows(2).filter(|pair| pair[1] > pair[0]).count();
            assert!(inversions <= 1, "{lights:?}");
        }
    }
}

#[test]
fn every_sheet_lies_wholly_on_its_scan() {
    for level in Level::ALL {
        for seed in 0..10 {
            let practice = make(&small(level, seed));
            let shapes = practice
                .truth
                .strips
                .iter()
                .filter_map(|strip| strip.shape.as_ref())
                .chain(practice.truth.wedges.iter().map(|wedge| &wedge.shape));
            for shape in shapes {
                let raster = &practice.scans[shape.scan];
                for corner in shape.corners {
                    assert!(corner.x > 0.0 && corner.x < raster.width as f64);
                    assert!(corner.y > 0.0 && corner.y < raster.height as f64);
                }
                assert_eq!(shape.edges.len(), shape.fields.len() + 1);
                assert!(
                    shape
                        .edges
                        .windows(2)
                        .all(|e| e[1].middle() > e[0].middle())
                );
            }
        }
    }
}

#[test]
fn ordinary_steps_bracket_the_speed_point_and_underexposed_ones_never_reach_it() {
    for level in Level::ALL {
        for seed in 0..10 {
            let ordinary = make(&small(level, seed)).truth;
            assert!(ordinary.pairs.iter().all(|pair| pair.measurable));
            for strip in &ordinary.strips {
                assert!(strip.steps[0].log_exposure < strip.curve.speed_point);
                assert!((7..=11).contains(&strip.steps.len()));
            }
            let twisted = make(&small(level, seed).with(Twist::NeverReached)).truth;
            assert!(twisted.pairs.iter().all(|pair| !pair.measurable));
            let coupon = &twisted.strips[twisted.pairs[0].coupon];
            assert_eq!(coupon.role, Role::Coupon);
            assert!(
                coupon
                    .steps
                    .iter()
                    .all(|step| step.density < coupon.curve.dmin + 0.55)
            );
        }
    }
}

#[test]
fn the_session_is_told_without_geometry_and_in_reading_order() {
    let practice = make(&small(Level::Easy, 3));
    let question = question(&practice);
    assert_eq!(question.strips.len(), practice.truth.strips.len());
    for (told, truth) in question.strips.iter().zip(&practice.truth.strips) {
        assert_eq!((&told.name, told.role), (&truth.name, truth.role));
        assert!(told.shape.is_none());
        let steps = told.exposures.as_ref().unwrap().series.steps();
        assert_eq!(steps, truth.steps.len());
    }
}

#[test]
fn faults_leave_the_marks_they_are_known_by() {
    let recipe = Recipe {
        bits: Some(16),
        ..small(Level::Easy, 4)
    };
    let with = |twist: Twist| make(&recipe.clone().with(twist));
    let share = |practice: &Practice, code: u16| {
        let Samples::Sixteen(codes) = &practice.scans[0].samples else {
            panic!("16 bits expected");
        };
        codes.iter().filter(|&&c| c == code).count() as f64 / codes.len() as f64
    };
    assert!(share(&with(Twist::ClippedBlacks), 0) > 0.02);
    assert!(share(&with(Twist::ClippedWhites), 65535) > 0.05);
    let jpeg = with(Twist::Jpeg(40));
    assert!(jpeg.scans[0].origin.lossy && jpeg.scans[0].origin.bits == 8);
    let Samples::Eight(codes) = &with(Twist::AutoLevels).scans[0].samples.clone() else {
        panic!("8 bits expected");
    };
    let mut counts = [0usize; 256];
    codes
        .iter()
        .for_each(|&code| counts[usize::from(code)] += 1);
    assert!(counts[20..236].iter().filter(|&&count| count == 0).count() > 3);
    let missing = with(Twist::MissingStrip);
    assert!(
        missing
            .truth
            .strips
            .iter()
            .any(|strip| strip.shape.is_none())
    );
    assert_eq!(with(Twist::ExtraStrip).truth.undescribed.len(), 1);
    assert_eq!(with(Twist::SeveralScans).truth.wedges.len(), 2);
    let apart = with(Twist::DifferentApertures);
    let numbers: Vec<f64> = apart
        .strips
        .iter()
        .filter_map(|strip| strip.engraved_f_number)
        .collect();
    assert!(numbers[0] != numbers[1]);
}

#[test]
fn srgb_half_code_is_a_fifth_of_the_light() {
    // IEC 61966-2-1: code 0.5 is linear 0.21404; code 0.04045 is where the line ends.
    assert!((Encoding::Srgb.decode(0.5) - 0.214_041).abs() < 1e-6);
    assert!((Encoding::Srgb.decode(0.040_45) - 0.003_130_8).abs() < 1e-6);
    for encoding in [Encoding::Srgb, Encoding::Gamma(1.8), Encoding::Linear] {
        for k in 0..=20 {
            let light = f64::from(k) / 20.0;
            assert!((encoding.decode(encoding.encode(light)) - light).abs() < 1e-7);
        }
    }
}

#[test]
fn a_truth_survives_the_way_through_a_file() {
    let truth = make(&small(Level::Hard, 2).with(Twist::Jpeg(80))).truth;
    let text = ron::to_string(&truth).unwrap();
    let back: super::Truth = ron::from_str(&text).unwrap();
    assert_eq!(back, truth);
}
