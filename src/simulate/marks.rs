//! Bubbles, pinholes, dust and hairs.

use rand::Rng;

use super::recipe::Level;
use super::scene::{Frame, Spot};
use crate::measure::geometry::Point;

/// Bubbles and pinholes in a coat.
pub fn on_coat(
    rng: &mut impl Rng,
    level: Level,
    frame: &Frame,
    ground: f64,
    spots: &mut Vec<Spot>,
) {
    let area = frame.length * frame.width / 1000.0;
    let bubbles = count(rng, area * level.pick(0.4, 1.5, 4.0));
    for _ in 0..bubbles {
        let at = somewhere(rng, frame);
        let bright = rng.random_bool(0.7);
        spots.push(Spot {
            at,
            radius: rng.random_range(0.15..0.8) * frame.per_mm,
            light: if bright { ground as f32 } else { 0.03 },
            cover: rng.random_range(0.3..0.95),
        });
    }
    let pinholes = count(rng, area * level.pick(1.0, 4.0, 10.0));
    for _ in 0..pinholes {
        spots.push(Spot {
            at: somewhere(rng, frame),
            radius: rng.random_range(0.04..0.15) * frame.per_mm,
            light: ground as f32,
            cover: rng.random_range(0.6..1.0),
        });
    }
}

/// Dust and hairs all over the glass.
pub fn on_glass(
    rng: &mut impl Rng,
    level: Level,
    (width, height): (usize, usize),
    per_mm: f64,
    spots: &mut Vec<Spot>,
) {
    let area = width as f64 * height as f64 / (per_mm * per_mm) / 1000.0;
    for _ in 0..count(rng, area * level.pick(0.3, 1.5, 4.0)) {
        spots.push(Spot {
            at: Point::new(
                rng.random_range(0.0..width as f64),
                rng.random_range(0.0..height as f64),
            ),
            radius: rng.random_range(0.03..0.15) * per_mm,
            light: if rng.random_bool(0.6) { 0.75 } else { 0.15 },
            cover: rng.random_range(0.4..1.0),
        });
    }
    for _ in 0..count(rng, area * level.pick(0.01, 0.06, 0.2)) {
        hair(rng, (width as f64, height as f64), per_mm, spots);
    }
}

fn hair(rng: &mut impl Rng, (width, height): (f64, f64), per_mm: f64, spots: &mut Vec<Spot>) {
    let mut at = Point::new(rng.random_range(0.0..width), rng.random_range(0.0..height));
    let mut direction = rng.random_range(0.0..std::f64::consts::TAU);
    let mut bend = rng.random_range(-0.15..0.15) / per_mm;
    let light = if rng.random_bool(0.5) { 0.6 } else { 0.12 };
    let radius = rng.random_range(0.02..0.05) * per_mm;
    let cover = rng.random_range(0.4..0.9);
    let step = radius.max(0.7);
    let steps = (rng.random_range(3.0..14.0) * per_mm / step) as usize;
    for _ in 0..steps {
        spots.push(Spot {
            at,
            radius,
            light,
            cover,
        });
        direction += bend * step;
        bend += rng.random_range(-0.02..0.02) / per_mm;
        at = Point::new(at.x + direction.cos() * step, at.y + direction.sin() * step);
    }
}

/// How many, when this many are expected (uniform from none to twice as many).
fn count(rng: &mut impl Rng, expected: f64) -> usize {
    (rng.random_range(0.0..=1.0) * 2.0 * expected).round() as usize
}

fn somewhere(rng: &mut impl Rng, frame: &Frame) -> Point {
    frame.on_scan(
        rng.random_range(0.0..frame.length),
        rng.random_range(0.0..frame.width),
    )
}

/// Pencil figures in steps, a punched hole near an end, tape over a corner.
pub fn by_hand(
    rng: &mut impl Rng,
    frame: &Frame,
    steps: &[Point],
    lid: f64,
    spots: &mut Vec<Spot>,
    tapes: &mut Vec<Frame>,
) {
    for step in steps {
        if rng.random_bool(0.7) {
            figure(rng, *step, frame, spots);
        }
    }
    if rng.random_bool(0.6) {
        let end = if rng.random_bool(0.5) {
            5.0
        } else {
            frame.length - 5.0
        };
        spots.push(Spot {
            at: frame.on_scan(end, frame.width * rng.random_range(0.3..0.7)),
            radius: rng.random_range(2.3..3.0) * frame.per_mm,
            light: lid as f32,
            cover: 1.0,
        });
    }
    if rng.random_bool(0.6) {
        let right = rng.random_bool(0.5);
        let corner = frame.on_scan(
            rng.random_range(-6.0..-3.0),
            if right { frame.width - 6.0 } else { -5.0 },
        );
        tapes.push(Frame {
            start: corner,
            length: rng.random_range(14.0..22.0),
            width: rng.random_range(10.0..13.0),
            ..*frame
        });
    }
}

/// A figure as large as a pencil writes it, off the middle of a step.
fn figure(rng: &mut impl Rng, middle: Point, frame: &Frame, spots: &mut Vec<Spot>) {
    let high = rng.random_range(3.0..5.0);
    let (du, dv) = (
        rng.random_range(-3.0..3.0),
        rng.random_range(-0.3..0.3) * frame.width,
    );
    let (bend, turns) = (rng.random_range(-1.0..1.0), rng.random_range(2.0..5.0));
    let light = rng.random_range(0.10..0.25);
    let (c, s) = frame.along;
    for k in 0..60 {
        let t = f64::from(k) / 60.0;
        let (u, v) = (
            du + high * 0.3 * (turns * t * 3.0 + bend).sin(),
            dv + high * (t - 0.5),
        );
        spots.push(Spot {
            at: Point::new(
                middle.x + (u * c - v * s) * frame.per_mm,
                middle.y + (u * s + v * c) * frame.per_mm,
            ),
            radius: 0.22 * frame.per_mm,
            light,
            cover: 0.5,
        });
    }
}
