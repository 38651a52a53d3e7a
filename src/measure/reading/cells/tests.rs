//! Cells on rasters that are known.

use std::sync::Arc;

use rand::{Rng as _, SeedableRng as _};
use rand_chacha::ChaCha8Rng;
use rand_distr::{Distribution as _, StandardNormal};

use super::{Cell, CellOptions, measure, measure_within, pixels_per_mm, usual_area};
use crate::measure::geometry::{Area, Edge, Field, Point, StripShape};
use crate::measure::raster::{Channel, Light, Origin, Raster, Samples, Weights};
use crate::measure::watch::{Cancelled, Unwatched, Watch};

const WIDTH: usize = 900;
const HEIGHT: usize = 400;
/// Linear light of the three fields.
const FIELDS: [f64; 3] = [0.8, 0.3, 0.05];

/// A strip of three fields along the scan at 10 pixels per millimetre, tilted by `rise`
/// pixels over its length, on a mid-grey ground; 16 bits, linear.
fn raster(pixel: impl Fn(usize, usize, f64) -> f64, rise: f64) -> (Raster, StripShape) {
    let corner = |x: f64, y: f64| Point::new(x, y + rise * (x - 50.0) / 800.0);
    let shape = StripShape {
        scan: 0,
        corners: [
            corner(50.0, 60.0),
            corner(50.0, 300.0),
            corner(850.0, 300.0),
            corner(850.0, 60.0),
        ],
        edges: [0.0, 0.3, 0.62, 1.0].map(Edge::square).into(),
        fields: vec![Field::Margin, Field::Step(0), Field::Step(1)],
        unexposed: vec![],
    };
    let mut codes = Vec::with_capacity(WIDTH * HEIGHT);
    for y in 0..HEIGHT {
        for x in 0..WIDTH {
            let along = (x as f64 + 0.5 - 50.0) / 800.0;
            let light = match along {
                a if !(0.0..1.0).contains(&a) => 0.5,
                a if a < 0.3 => FIELDS[0],
                a if a < 0.62 => FIELDS[1],
                _ => FIELDS[2],
            };
            let code = pixel(x, y, light).clamp(0.0, 1.0) * 65535.0;
            codes.push(code.round() as u16);
        }
    }
    let table: Arc<[f32]> = (0..=65535u32).map(|c| c as f32 / 65535.0).collect();
    let raster = Raster {
        width: WIDTH,
        height: HEIGHT,
        channels: 1,
        samples: Samples::Sixteen(codes),
        light: Light {
            tables: vec![table],
            weights: Weights::GREY,
            source: "stated: linear".into(),
        },
        pixels_per_mm: Some(10.0),
        origin: Origin::default(),
    };
    (raster, shape)
}

fn read(raster: &Raster, shape: &StripShape) -> Vec<Cell> {
    measure(
        raster,
        shape,
        Channel::Luminance,
        &CellOptions::default(),
        &Unwatched,
    )
    .unwrap()
}

#[test]
fn cells_lie_well_inside_their_fields_and_read_their_light() {
    let (raster, shape) = raster(|_, _, light| light, 30.0);
    let cells = read(&raster, &shape);
    for (field, light) in FIELDS.into_iter().enumerate() {
        let here: Vec<&Cell> = cells.iter().filter(|cell| cell.field == field).collect();
        assert!(here.len() >= 20, "{}", here.len());
        for cell in here {
            assert!((cell.light / light - 1.0).abs() < 1e-3);
            // 24 mm wide: 12 % of it are 2.9 mm.
            assert!(
                cell.at_mm.1 > 2.8 && cell.at_mm.1 < 21.2,
                "{:?}",
                cell.at_mm
            );
            assert_eq!(cell.rejected, 0.0);
        }
    }
}

#[test]
fn dust_hairs_and_bubbles_do_not_move_a_cell() {
    let random = std::cell::RefCell::new(ChaCha8Rng::seed_from_u64(3));
    let specks: Vec<(f64, f64, f64, f64)> = (0..400)
        .map(|i| {
            let mut random = random.borrow_mut();
            let at = (
                random.random_range(0.0..900.0),
                random.random_range(0.0..400.0),
            );
            (
                at.0,
                at.1,
                random.random_range(1.0..7.0),
                if i % 2 == 0 { 0.03 } else { 0.9 },
            )
        })
        .collect();
    let (raster, shape) = raster(
        |x, y, light| {
            let noise: f64 = StandardNormal.sample(&mut *random.borrow_mut());
            let here = (x as f64, y as f64);
            let speck = specks
                .iter()
                .find(|s| (s.0 - here.0).hypot(s.1 - here.1) < s.2);
            // A hair right across the strip.
            let hair = (y as f64 - 0.3 * x as f64).abs() < 1.5;
            speck.map_or(
                if hair {
                    0.02
                } else {
                    light * (1.0 + 0.02 * noise)
                },
                |s| s.3,
            )
        },
        0.0,
    );
    let cells = read(&raster, &shape);
    let rejected = cells.iter().map(|cell| cell.rejected).sum::<f64>() / cells.len() as f64;
    assert!(rejected > 0.03, "{rejected}");
    for cell in &cells {
        let density = (cell.light / FIELDS[cell.field]).log10();
        assert!(density.abs() < 0.004, "{density} {cell:?}");
    }
}

#[test]
fn the_stated_error_of_a_cell_holds_when_the_scanner_blurs_its_noise() {
    // White noise averaged over 5 x 5 pixels: independent-pixel errors would be 5 times low.
    let mut random = ChaCha8Rng::seed_from_u64(4);
    let white: Vec<f64> = (0..(WIDTH + 4) * (HEIGHT + 4))
        .map(|_| StandardNormal.sample(&mut random))
        .collect();
    let blurred = |x: usize, y: usize| {
        let sum: f64 = (0..25)
            .map(|k| white[(y + k / 5) * (WIDTH + 4) + x + k % 5])
            .sum();
        sum / 5.0
    };
    let (raster, shape) = raster(|x, y, light| light * (1.0 + 0.02 * blurred(x, y)), 12.0);
    let cells = read(&raster, &shape);
    let squares: f64 = cells
        .iter()
        .map(|cell| ((cell.light - FIELDS[cell.field]) / cell.light_error).powi(2))
        .sum();
    let variance = squares / cells.len() as f64;
    assert!(
        (0.6..1.5).contains(&variance),
        "{variance} of {}",
        cells.len()
    );
}

#[test]
fn clipped_pixels_are_counted_and_an_absurd_resolution_is_not_believed() {
    let (mut raster, shape) = raster(
        |x, y, light| if (x + y) % 4 == 0 { 1.0 } else { light },
        0.0,
    );
    let cells = read(&raster, &shape);
    let clipped = cells.iter().map(|cell| cell.clipped).sum::<f64>() / cells.len() as f64;
    assert!((clipped - 0.25).abs() < 0.05, "{clipped}");
    // One pixel a millimetre would make the strip 240 mm wide; 30 mm are taken.
    raster.pixels_per_mm = Some(1.0);
    assert!((pixels_per_mm(&raster, &shape) - 8.0).abs() < 1e-9);
}

#[test]
fn a_strip_off_the_scan_has_no_cells() {
    let (raster, mut shape) = raster(|_, _, light| light, 0.0);
    for corner in &mut shape.corners {
        corner.x += 5000.0;
    }
    assert!(read(&raster, &shape).is_empty());
}

#[test]
fn reading_cells_stops_when_told() {
    struct Impatient;
    impl Watch for Impatient {
        fn at(&self, _: usize, _: usize) -> Result<(), Cancelled> {
            Err(Cancelled)
        }
    }
    let (raster, shape) = raster(|_, _, light| light, 0.0);
    let stopped = measure(
        &raster,
        &shape,
        Channel::Luminance,
        &CellOptions::default(),
        &Impatient,
    );
    assert_eq!(stopped, Err(Cancelled));
}

#[test]
fn the_neighbourhood_of_a_cell_is_lighter_beside_light_fields() {
    let (raster, shape) = raster(|_, _, light| light, 0.0);
    let cells = read(&raster, &shape);
    let of_field = |field: usize| {
        let here: Vec<&Cell> = cells.iter().filter(|cell| cell.field == field).collect();
        (here[0].around[1], here[here.len() - 1].around[1])
    };
    // The grey field of light 0.3 lies between 0.8 and 0.05.
    let (near_light, near_dark) = of_field(1);
    assert!(near_light > near_dark + 0.1, "{near_light} {near_dark}");
    let (_, darkest) = of_field(2);
    assert!(darkest < 0.3 && darkest > 0.05);
}

#[test]
fn cells_lie_where_a_person_places_them_and_read_what_is_there() {
    // A detail of a picture in the middle field: darker, from 40 % to 60 % of its length.
    let detail = |x: usize| {
        let along = ((x as f64 + 0.5 - 50.0) / 800.0 - 0.3) / 0.32;
        (0.4..0.6).contains(&along)
    };
    let (raster, shape) = raster(|x, _, light| if detail(x) { 0.1 } else { light }, 0.0);
    let placed = Area {
        field: Field::Step(0),
        along: (0.45, 0.55),
        across: (0.3, 0.7),
    };
    let cells = measure_within(
        &raster,
        &shape,
        &[placed],
        Channel::Luminance,
        &CellOptions::default(),
        &Unwatched,
    )
    .unwrap();
    let middle: Vec<&Cell> = cells.iter().filter(|cell| cell.field == 1).collect();
    assert!(!middle.is_empty());
    let corners = shape.area_corners(1, &placed);
    for cell in middle {
        assert!((cell.light - 0.1).abs() < 1e-4, "{cell:?}");
        assert!((corners[0].x..=corners[2].x).contains(&cell.at.x));
        assert!((corners[0].y..=corners[2].y).contains(&cell.at.y));
    }
    // The other fields are read as ever.
    let others = |cells: &[Cell]| cells.iter().filter(|cell| cell.field != 1).count();
    assert_eq!(others(&cells), others(&read(&raster, &shape)));
}

#[test]
fn the_usual_area_is_what_is_read_when_nobody_says() {
    let (raster, shape) = raster(|_, _, light| light, 9.0);
    let areas: Vec<Area> = (0..3)
        .filter_map(|field| usual_area(&shape, field, 10.0))
        .collect();
    let said = measure_within(
        &raster,
        &shape,
        &areas,
        Channel::Luminance,
        &CellOptions::default(),
        &Unwatched,
    )
    .unwrap();
    let silent = read(&raster, &shape);
    assert_eq!(said.len(), silent.len());
    for (a, b) in said.iter().zip(&silent) {
        assert!(a.at.distance(b.at) < 1e-6);
    }
}

#[test]
fn unexposed_coat_beside_the_strip_is_read_where_it_lies_in_the_strips_own_frame() {
    // A frame of coat above the strip, and a piece of it beyond the strip's end.
    let beside = |x: usize, y: usize| (y < 50 && x > 400) || (x > 860 && y > 200);
    let (raster, shape) = raster(|x, y, light| if beside(x, y) { 0.7 } else { light }, 0.0);
    let patch = |left: f64, top: f64, right: f64, bottom: f64| {
        [(left, top), (left, bottom), (right, bottom), (right, top)].map(|(x, y)| Point::new(x, y))
    };
    let with = StripShape {
        unexposed: vec![
            patch(450.0, 10.0, 800.0, 40.0),
            patch(870.0, 220.0, 890.0, 260.0),
        ],
        ..shape.clone()
    };
    let cells = read(&raster, &with);
    let of = |field: usize| cells.iter().filter(move |cell| cell.field == field);
    // 35 x 3 mm hold a row of ten cells of 3.5 mm; 2 x 4 mm hold one.
    assert_eq!((of(3).count(), of(4).count()), (10, 1));
    for cell in of(3).chain(of(4)) {
        assert!((cell.light / 0.7 - 1.0).abs() < 1e-3);
        assert_eq!(with.part(cell.field), Some(Field::Margin));
        // Start-left is the corner at (50, 60), and there are 10 pixels a millimetre.
        let (along, across) = ((cell.at.x - 50.0) / 10.0, (cell.at.y - 60.0) / 10.0);
        assert!((cell.at_mm.0 - along).abs() < 1e-9 && (cell.at_mm.1 - across).abs() < 1e-9);
        assert!(cell.around.iter().all(|light| light.is_finite()));
    }
    assert!(of(3).all(|cell| cell.at_mm.1 < 0.0));
    assert!(of(4).all(|cell| cell.at_mm.0 > 80.0));
    // The fields are read as they are without.
    let without = read(&raster, &shape);
    let fields: Vec<&Cell> = cells.iter().filter(|cell| cell.field < 3).collect();
    assert_eq!(fields.len(), without.len());
}
