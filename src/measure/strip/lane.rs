//! Lanes: the two parallel long sides that a strip would have, and what lies between them.

use super::seeds::{Seed, Tone};
use super::view::View;
use crate::measure::geometry::Point;

/// A stretch of the view between two parallel sides.
#[derive(Debug, Clone, Copy)]
pub(super) struct Lane {
    /// On the middle line, in view coordinates; along is 0 here.
    pub origin: Point,
    /// Direction of the middle line, radians from x toward y.
    pub angle: f64,
    pub half_width: f64,
    /// Where the seed's stretch begins and ends along the lane.
    pub dark: (f64, f64),
    /// Whether the inside is taken to be darker or lighter than what lies beside.
    pub tone: Tone,
    /// How clear the sides are: median step of density at them over its scatter, capped.
    pub clearness: f64,
}

impl Lane {
    /// Both ways of laying a lane through a seed; `scale` is the seed's view pixel in pixels
    /// of the view that the lane shall be on.
    pub fn through(seed: &Seed, scale: f64) -> [Self; 2] {
        let origin = Point::new(seed.centre.x * scale, seed.centre.y * scale);
        let lane = |angle: f64, length: f64, width: f64| Self {
            origin,
            angle,
            half_width: width * scale,
            dark: (-length * scale, length * scale),
            tone: seed.tone,
            clearness: 0.0,
        };
        [
            lane(seed.angle, seed.half.0, seed.half.1),
            lane(
                seed.angle + std::f64::consts::FRAC_PI_2,
                seed.half.1,
                seed.half.0,
            ),
        ]
    }

    /// The place in the view of a place on the lane, both in view pixels; across grows to the
    /// right of someone walking along on the scan (y is down).
    pub fn place(&self, along: f64, across: f64) -> Point {
        let (sin, cos) = self.angle.sin_cos();
        Point::new(
            self.origin.x + along * cos - across * sin,
            self.origin.y + along * sin + across * cos,
        )
    }

    /// Along and across of a place in the view.
    pub fn coordinates(&self, place: Point) -> (f64, f64) {
        let (sin, cos) = self.angle.sin_cos();
        let (dx, dy) = (place.x - self.origin.x, place.y - self.origin.y);
        (dx * cos + dy * sin, dy * cos - dx * sin)
    }

    /// Walks the other way.
    pub fn turned(&self) -> Self {
        Self {
            angle: self.angle + std::f64::consts::PI,
            dark: (-self.dark.1, -self.dark.0),
            ..*self
        }
    }

    /// Where the middle line enters and leaves the view.
    pub fn on_view(&self, view: &View) -> (f64, f64) {
        let reach = (view.width + view.height) as f64;
        let out = |sign: f64| {
            let mut inside = 0.0;
            let mut outside = reach;
            while outside - inside > 0.5 {
                let middle = (inside + outside) / 2.0;
                if view.holds(self.place(sign * middle, 0.0)) {
                    inside = middle;
                } else {
                    outside = middle;
                }
            }
            sign * inside
        };
        (out(-1.0), out(1.0))
    }

    /// Moves the sides onto the strongest density step near each, and turns the lane along
    /// them. `None` when there is no such thing as a side.
    pub fn fitted(&self, view: &View) -> Option<Self> {
        let mut lane = *self;
        for reach in [0.22, 0.12] {
            lane = lane.fitted_once(view, reach)?;
        }
        Some(lane)
    }

    fn fitted_once(&self, view: &View, reach: f64) -> Option<Self> {
        let length = self.dark.1 - self.dark.0;
        let columns = (length / 2.0).clamp(8.0, 48.0) as usize;
        let along: Vec<f64> = (0..columns)
            .map(|index| self.dark.0 + length * (index as f64 + 0.5) / columns as f64)
            .collect();
        let right: Vec<(f64, f64, f64)> = along
            .iter()
            .filter_map(|&along| self.side(view, along, 1.0, reach))
            .collect();
        let left: Vec<(f64, f64, f64)> = along
            .iter()
            .filter_map(|&along| self.side(view, along, -1.0, reach))
            .collect();
        if right.len() < columns / 2 || left.len() < columns / 2 {
            return None;
        }
        let (slope_right, at_right, scatter_right) = robust_line(&right);
        let (slope_left, at_left, scatter_left) = robust_line(&left);
        let weight = |scatter: f64| 1.0 / (scatter * scatter + 0.05);
        let (weight_right, weight_left) = (weight(scatter_right), weight(scatter_left));
        let slope =
            (slope_right * weight_right + slope_left * weight_left) / (weight_right + weight_left);
        // A side along a few pixels says little about direction.
        let slope = slope.clamp(-0.12, 0.12);
        let middle = (at_right + at_left) / 2.0;
        let turn = slope.atan();
        let clear = |side: &[(f64, f64, f64)], scatter: f64| {
            let mut steps: Vec<f64> = side.iter().map(|&(_, _, step)| step).collect();
            median(&mut steps) / (1.0 + scatter)
        };
        Some(Self {
            origin: self.place(0.0, middle),
            angle: self.angle + turn,
            half_width: (at_right - at_left) / 2.0 * turn.cos(),
            dark: self.dark,
            tone: self.tone,
            clearness: clear(&right, scatter_right).min(clear(&left, scatter_left)),
        })
        .filter(|lane| lane.half_width > 2.0)
    }

    /// Where the density steps most at one side: along, across (sign counted in), step.
    fn side(&self, view: &View, along: f64, sign: f64, reach: f64) -> Option<(f64, f64, f64)> {
        let reach = (self.half_width * 2.0 * reach).max(3.0);
        let count = (2.0 * reach).ceil() as usize + 1;
        let window = (reach / 3.0).clamp(1.0, 4.0) as usize;
        let from = self.half_width - reach;
        let mut samples = Vec::with_capacity(count);
        for index in 0..count {
            let place = self.place(along, sign * (from + index as f64));
            if !view.holds(place) {
                break;
            }
            samples.push(f64::from(view.between(place)));
        }
        if samples.len() < 2 * window + 1 {
            return None;
        }
        // Only a fall of density outward is a side of a dark lane, a rise of a light one.
        let sense = match self.tone {
            Tone::Dark => 1.0,
            Tone::Light => -1.0,
        };
        let (mut best, mut best_at) = (0.0, None);
        let mut steps = vec![0.0; samples.len()];
        for at in window..=samples.len() - window {
            let inner: f64 = samples[at - window..at].iter().sum();
            let outer: f64 = samples[at..at + window].iter().sum();
            let step = sense * (inner - outer) / window as f64;
            if at < steps.len() {
                steps[at] = step;
            }
            if step > best {
                (best, best_at) = (step, Some(at));
            }
        }
        let at = best_at?;
        // Between pixels: the parabola through the three steps about the strongest.
        let shift = if at > window && at + 1 < steps.len() {
            let (before, after) = (steps[at - 1], steps[at + 1]);
            let bend = before - 2.0 * best + after;
            if bend < 0.0 {
                (0.5 * (before - after) / bend).clamp(-0.5, 0.5)
            } else {
                0.0
            }
        } else {
            0.0
        };
        let across = from + at as f64 - 0.5 + shift;
        Some((along, sign * across, best))
    }
}

/// Line through (along, across) by the median of pairwise slopes; gives slope, across at
/// along 0, and the scatter (median absolute deviation).
///
/// Method: Theil-Sen.
fn robust_line(points: &[(f64, f64, f64)]) -> (f64, f64, f64) {
    let mut slopes = Vec::with_capacity(points.len() * points.len() / 2);
    for (index, a) in points.iter().enumerate() {
        // Far pairs only: near ones say nothing of direction.
        for b in &points[(index + points.len() / 4 + 1).min(points.len())..] {
            slopes.push((b.1 - a.1) / (b.0 - a.0));
        }
    }
    let slope = if slopes.is_empty() {
        0.0
    } else {
        median(&mut slopes)
    };
    let mut offsets: Vec<f64> = points.iter().map(|p| p.1 - slope * p.0).collect();
    let offset = median(&mut offsets);
    let mut deviations: Vec<f64> = offsets.iter().map(|o| (o - offset).abs()).collect();
    (slope, offset, median(&mut deviations))
}

/// Median; 0 of nothing.
pub(super) fn median(values: &mut [f64]) -> f64 {
    if values.is_empty() {
        return 0.0;
    }
    let middle = values.len() / 2;
    *values.select_nth_unstable_by(middle, f64::total_cmp).1
}
