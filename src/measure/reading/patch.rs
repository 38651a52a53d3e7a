//! An even patch about a place that a person points at.

use super::cells::pixels_per_mm;
use super::robust::median_and_spread;
use crate::measure::geometry::{Point, StripShape};
use crate::measure::raster::{Channel, Raster};
use crate::measure::units::density_of;

/// Sides that a patch may have, millimetres, largest first: the first that is even is taken.
const SIDES_MM: [f64; 6] = [8.0, 6.0, 4.5, 3.0, 2.0, 1.2];
/// Blocks each way that a patch is looked at in.
const BLOCKS: usize = 5;
/// Points each way in a block.
const POINTS: usize = 5;
/// Density by which a block may differ from the place itself, at least; coats are uneven by
/// about so much over some millimetres.
const EVEN: f64 = 0.02;
/// The same in spreads of single pixels about the place.
const IN_SPREADS: f64 = 1.0;

/// The largest patch about a place that is as light all over as the place itself: square, along
/// the strip's own axes, so that a border of the coat bounds it.
///
/// `None` where even the smallest, 1.2 mm, leaves the scan.
pub fn even_patch(
    raster: &Raster,
    shape: &StripShape,
    at: Point,
    channel: Channel,
) -> Option<[Point; 4]> {
    let per_mm = pixels_per_mm(raster, shape);
    let from = shape.on_scan(0.0, 0.5);
    let to = shape.on_scan(1.0, 0.5);
    let length = from.distance(to).max(f64::MIN_POSITIVE);
    let along = ((to.x - from.x) / length, (to.y - from.y) / length);
    let patch = |side_mm: f64| {
        let half = side_mm * per_mm / 2.0;
        let corner = |a: f64, b: f64| {
            Point::new(
                at.x + half * (a * along.0 - b * along.1),
                at.y + half * (a * along.1 + b * along.0),
            )
        };
        [
            corner(-1.0, -1.0),
            corner(-1.0, 1.0),
            corner(1.0, 1.0),
            corner(1.0, -1.0),
        ]
    };
    let smallest = patch(SIDES_MM[SIDES_MM.len() - 1]);
    let mut light = densities(raster, &smallest, (0.0, 1.0), (0.0, 1.0), channel)?;
    let (middle, spread) = median_and_spread(&mut light)?;
    let limit = EVEN.max(IN_SPREADS * spread);
    let even = |corners: &[Point; 4]| {
        let share = |block: usize| block as f64 / BLOCKS as f64;
        (0..BLOCKS * BLOCKS).all(|block| {
            let (i, j) = (block / BLOCKS, block % BLOCKS);
            let (i, j) = ((share(i), share(i + 1)), (share(j), share(j + 1)));
            // A mean: a sliver of something else in the block must show.
            densities(raster, corners, i, j, channel).is_some_and(|light| {
                let mean = light.iter().sum::<f64>() / light.len() as f64;
                (mean - middle).abs() <= limit
            })
        })
    };
    let larger = SIDES_MM.iter().map(|&side| patch(side)).find(even);
    Some(larger.unwrap_or(smallest))
}

/// Scanner densities of a few pixels over a part of a patch; `None` when one lies off the scan.
fn densities(
    raster: &Raster,
    &[a, b, c, d]: &[Point; 4],
    along: (f64, f64),
    across: (f64, f64),
    channel: Channel,
) -> Option<Vec<f64>> {
    let mut found = Vec::with_capacity(POINTS * POINTS);
    let mut pixel = Vec::with_capacity(1);
    let share = |(from, to): (f64, f64), point: usize| {
        from + (to - from) * (point as f64 + 0.5) / POINTS as f64
    };
    for i in 0..POINTS {
        for j in 0..POINTS {
            let (along, across) = (share(along, i), share(across, j));
            let at = a.toward(d, along).toward(b.toward(c, along), across);
            let inside = at.x >= 0.0 && at.y >= 0.0;
            let (x, y) = (at.x as usize, at.y as usize);
            if !inside || x >= raster.width || y >= raster.height {
                return None;
            }
            raster.linear_row(y, x, x + 1, channel, &mut pixel);
            found.push(density_of(f64::from(pixel[0]).max(1e-5)));
        }
    }
    Some(found)
}

#[cfg(test)]
mod tests {
    use std::sync::Arc;

    use super::*;
    use crate::measure::geometry::Edge;
    use crate::measure::raster::{Light, Origin, Samples, Weights};

    /// Coat from (100, 100) to (300, 300) at 10 pixels a millimetre, on lighter ground.
    fn scan() -> Raster {
        let (width, height) = (400, 400);
        let light: Arc<[f32]> = (0..=255u8).map(|code| f32::from(code) / 255.0).collect();
        let inside = |at: usize| (100..300).contains(&at);
        let pixels = (0..width * height).map(|pixel| {
            let (x, y) = (pixel % width, pixel / width);
            let grain = ((x * 7 + y * 13) % 5) as u8;
            if inside(x) && inside(y) {
                150 + grain
            } else {
                220 + grain
            }
        });
        Raster {
            width,
            height,
            channels: 1,
            samples: Samples::Eight(pixels.collect()),
            light: Light {
                tables: vec![light],
                weights: Weights::GREY,
                source: "test".into(),
            },
            pixels_per_mm: Some(10.0),
            origin: Origin::default(),
        }
    }

    fn strip() -> StripShape {
        StripShape {
            scan: 0,
            corners: [(20.0, 150.0), (20.0, 350.0), (380.0, 350.0), (380.0, 150.0)]
                .map(|(x, y)| Point::new(x, y)),
            edges: vec![Edge::square(0.0), Edge::square(1.0)],
            fields: vec![crate::measure::geometry::Field::Ignored],
            unexposed: vec![],
        }
    }

    fn side(patch: [Point; 4]) -> f64 {
        patch[0].distance(patch[3])
    }

    #[test]
    fn a_patch_grows_as_far_as_the_coat_is_even_and_never_over_its_border() {
        let raster = scan();
        let at = |x, y| even_patch(&raster, &strip(), Point::new(x, y), Channel::Luminance);
        // 10 mm to every border: the largest there is.
        assert!((side(at(200.0, 200.0).unwrap()) - 80.0).abs() < 1e-9);
        // 2 mm from the left border: 3 mm wide at most.
        let near = at(120.0, 200.0).unwrap();
        assert!((side(near) - 30.0).abs() < 1e-9);
        assert!(near.iter().all(|corner| corner.x >= 100.0));
        // Against the rim of the scan there is none.
        assert_eq!(at(2.0, 200.0), None);
    }
}
