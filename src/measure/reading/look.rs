//! A close look at single pixels: which of them a cell's mean would leave out.

use super::robust::Gate;
use crate::measure::geometry::Point;
use crate::measure::raster::{Channel, Raster};
use crate::measure::units::density_of;

/// Pixels to each side, beyond those looked at, that help to set the gate.
const AROUND: usize = 12;

/// A square of pixels.
#[derive(Debug, Clone, PartialEq)]
pub struct Look {
    /// First column.
    pub x: usize,
    /// First row.
    pub y: usize,
    /// Columns.
    pub width: usize,
    /// Rows.
    pub height: usize,
    /// Linear light, row by row.
    pub light: Vec<f32>,
    /// Whether each lies outside the gate, as bubbles, dust and hairs do.
    pub rejected: Vec<bool>,
    /// Scanner density (-log10) of the mean light of those that count.
    pub density: f64,
}

/// Looks at the pixels around a place, `across` of them each way where the scan has them.
///
/// The gate is that of a cell of about this size: three robust standard deviations around the
/// median of the neighbourhood. `None` off the scan.
pub fn look(raster: &Raster, x: usize, y: usize, across: usize, channel: Channel) -> Option<Look> {
    if x >= raster.width || y >= raster.height || across == 0 {
        return None;
    }
    let span = |at: usize, half: usize, size: usize| {
        let from = at
            .saturating_sub(half)
            .min(size.saturating_sub(2 * half + 1));
        (from, (from + 2 * half + 1).min(size))
    };
    let half = across / 2;
    let (left, right) = span(x, half, raster.width);
    let (top, bottom) = span(y, half, raster.height);
    let (wide_left, wide_right) = span(x, half + AROUND, raster.width);
    let (wide_top, wide_bottom) = span(y, half + AROUND, raster.height);
    let (mut row, mut sample, mut light) = (Vec::new(), Vec::new(), Vec::new());
    for at in wide_top..wide_bottom {
        raster.linear_row(at, wide_left, wide_right, channel, &mut row);
        sample.extend(row.iter().map(|&light| f64::from(light)));
        if (top..bottom).contains(&at) {
            light.extend_from_slice(&row[left - wide_left..right - wide_left]);
        }
    }
    let gate = Gate::of(&mut sample)?;
    let counts = |light: f32| (gate.low..=gate.high).contains(&f64::from(light));
    let rejected: Vec<bool> = light.iter().map(|&light| !counts(light)).collect();
    let inside = light.iter().filter(|&&light| counts(light));
    let count = inside.clone().count().max(1) as f64;
    let mean = inside.map(|&light| f64::from(light)).sum::<f64>() / count;
    Some(Look {
        x: left,
        y: top,
        width: right - left,
        height: bottom - top,
        light,
        rejected,
        density: density_of(mean),
    })
}

/// How the light of an area is spread, and which part of it counts.
#[derive(Debug, Clone, PartialEq)]
pub struct Spread {
    /// Linear light of pixels all over the area.
    pub light: Vec<f32>,
    /// Least and greatest light that count.
    pub gate: (f64, f64),
}

/// Pixels looked at along and across an area.
const SPREAD: usize = 120;

/// Looks at pixels spread evenly over an area (its corners in order), at most 14,400.
///
/// The gate is that of a cell as large as the area. `None` when the area lies off the scan.
pub fn spread(raster: &Raster, corners: &[Point; 4], channel: Channel) -> Option<Spread> {
    let [a, b, c, d] = *corners;
    let count = |length: f64| (length.ceil() as usize).clamp(1, SPREAD);
    let (across, along) = (count(a.distance(b)), count(a.distance(d)));
    let mut light = Vec::with_capacity(across * along);
    let mut pixel = Vec::new();
    for i in 0..along {
        let share = (i as f64 + 0.5) / along as f64;
        let (left, right) = (a.toward(d, share), b.toward(c, share));
        for j in 0..across {
            let at = left.toward(right, (j as f64 + 0.5) / across as f64);
            let inside = at.x >= 0.0 && at.y >= 0.0;
            let (x, y) = (at.x as usize, at.y as usize);
            if inside && x < raster.width && y < raster.height {
                raster.linear_row(y, x, x + 1, channel, &mut pixel);
                light.extend_from_slice(&pixel);
            }
        }
    }
    let mut sample: Vec<f64> = light.iter().map(|&light| f64::from(light)).collect();
    let gate = Gate::of(&mut sample)?;
    Some(Spread {
        light,
        gate: (gate.low, gate.high),
    })
}

#[cfg(test)]
mod tests {
    use std::sync::Arc;

    use super::*;
    use crate::measure::raster::{Light, Origin, Samples, Weights};

    fn grey(width: usize, height: usize, code: impl Fn(usize, usize) -> u8) -> Raster {
        let linear: Arc<[f32]> = (0..=255u8).map(|code| f32::from(code) / 255.0).collect();
        let pixels = (0..height).flat_map(|y| (0..width).map(move |x| (x, y)));
        Raster {
            width,
            height,
            channels: 1,
            samples: Samples::Eight(pixels.map(|(x, y)| code(x, y)).collect()),
            light: Light {
                tables: vec![linear],
                weights: Weights::GREY,
                source: "test".into(),
            },
            pixels_per_mm: None,
            origin: Origin::default(),
        }
    }

    #[test]
    fn a_speck_is_rejected_and_leaves_the_density_alone() {
        let raster = grey(80, 80, |x, y| {
            if (x, y) == (40, 40) {
                255
            } else {
                50 + ((x * 7 + y * 3) % 5) as u8
            }
        });
        let seen = look(&raster, 40, 40, 11, Channel::Luminance).unwrap();
        assert_eq!(seen.rejected.iter().filter(|&&out| out).count(), 1);
        assert!(seen.rejected[5 * 11 + 5]);
        assert!((seen.density - -(52f64 / 255.0).log10()).abs() < 0.01);
    }

    #[test]
    fn the_spread_of_an_area_knows_what_does_not_count() {
        let raster = grey(80, 80, |x, y| {
            if (30..34).contains(&x) && (30..34).contains(&y) {
                255
            } else {
                50 + ((x * 7 + y * 3) % 5) as u8
            }
        });
        let corners =
            [(20.0, 20.0), (60.0, 20.0), (60.0, 60.0), (20.0, 60.0)].map(|(x, y)| Point::new(x, y));
        let seen = spread(&raster, &corners, Channel::Luminance).unwrap();
        assert_eq!(seen.light.len(), 1600);
        let out = |light: &&f32| f64::from(**light) > seen.gate.1;
        assert_eq!(seen.light.iter().filter(out).count(), 16);
        let off = corners.map(|corner| Point::new(corner.x + 200.0, corner.y));
        assert_eq!(spread(&raster, &off, Channel::Luminance), None);
    }

    #[test]
    fn at_the_edge_the_look_keeps_its_size_and_off_the_scan_there_is_none() {
        let raster = grey(80, 60, |_, _| 90);
        let seen = look(&raster, 0, 59, 11, Channel::Luminance).unwrap();
        assert_eq!((seen.x, seen.y, seen.width, seen.height), (0, 49, 11, 11));
        assert_eq!(look(&raster, 80, 0, 11, Channel::Luminance), None);
    }
}
