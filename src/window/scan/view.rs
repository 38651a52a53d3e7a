//! Which part of a scan is in sight: pan and zoom.

use egui::{Pos2, Rect, Vec2};

use crate::measure::geometry::Point;

/// Closest: screen points a pixel of the scan takes.
const CLOSEST: f32 = 48.0;
/// Share of the place that a fitted scan leaves free on each side.
const FIT_MARGIN: f32 = 0.03;

/// Where the eye is.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct View {
    /// The scan's point in the middle.
    centre: Point,
    /// Screen points a pixel of the scan takes.
    pub scale: f32,
    /// Whether the whole scan is kept in sight when the place changes its size.
    fitted: bool,
}

impl Default for View {
    fn default() -> Self {
        Self {
            centre: Point::new(0.0, 0.0),
            scale: 1.0,
            fitted: true,
        }
    }
}

impl View {
    /// Keeps the whole scan in sight from now on.
    pub fn fit(&mut self) {
        self.fitted = true;
    }

    /// Follows the size of the place; call once a frame.
    pub fn follow(&mut self, place: Rect, width: usize, height: usize) {
        if self.fitted {
            let free = place.size() * (1.0 - 2.0 * FIT_MARGIN);
            self.scale = (free.x / width as f32)
                .min(free.y / height as f32)
                .max(1e-4);
            self.centre = Point::new(width as f64 / 2.0, height as f64 / 2.0);
        }
    }

    /// The point of the screen where a point of the scan is.
    pub fn on_screen(&self, place: Rect, at: Point) -> Pos2 {
        place.center()
            + Vec2::new(
                ((at.x - self.centre.x) * f64::from(self.scale)) as f32,
                ((at.y - self.centre.y) * f64::from(self.scale)) as f32,
            )
    }

    /// The point of the scan under a point of the screen.
    pub fn on_scan(&self, place: Rect, at: Pos2) -> Point {
        let from_middle = (at - place.center()) / self.scale;
        Point::new(
            self.centre.x + f64::from(from_middle.x),
            self.centre.y + f64::from(from_middle.y),
        )
    }

    /// Moves by a distance on the screen.
    pub fn pan(&mut self, by: Vec2) {
        self.fitted = false;
        self.centre.x -= f64::from(by.x / self.scale);
        self.centre.y -= f64::from(by.y / self.scale);
    }

    /// Closer or farther; what is under `about` stays there.
    pub fn zoom(&mut self, place: Rect, about: Pos2, by: f32) {
        self.set_scale(place, about, self.scale * by);
    }

    /// To a scale; what is under `about` stays there.
    pub fn set_scale(&mut self, place: Rect, about: Pos2, scale: f32) {
        self.fitted = false;
        let kept = self.on_scan(place, about);
        self.scale = scale.clamp(1e-3, CLOSEST);
        let now = self.on_scan(place, about);
        self.centre.x += kept.x - now.x;
        self.centre.y += kept.y - now.y;
    }

    /// A view that fills its place with an area of the scan.
    pub fn around(place: Rect, area: &[Point]) -> Self {
        let mut view = Self::default();
        view.show(place, area);
        // `show` leaves as much around the area as it takes.
        view.scale *= 2.0 * (1.0 - 2.0 * FIT_MARGIN);
        view
    }

    /// Brings an area of the scan into sight, with some of what is around it.
    pub fn show(&mut self, place: Rect, area: &[Point]) {
        let (mut low, mut high) = (
            Point::new(f64::MAX, f64::MAX),
            Point::new(f64::MIN, f64::MIN),
        );
        for point in area {
            low = Point::new(low.x.min(point.x), low.y.min(point.y));
            high = Point::new(high.x.max(point.x), high.y.max(point.y));
        }
        if low.x > high.x {
            return;
        }
        let size =
            Vec2::new((high.x - low.x) as f32, (high.y - low.y) as f32).max(Vec2::splat(8.0));
        self.fitted = false;
        self.scale = (place.width() / size.x).min(place.height() / size.y) * 0.5;
        self.scale = self.scale.clamp(1e-3, 8.0);
        self.centre = low.toward(high, 0.5);
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn what_is_under_the_pointer_stays_there_while_zooming() {
        let place = Rect::from_min_size(Pos2::new(300.0, 50.0), Vec2::new(700.0, 600.0));
        let mut view = View::default();
        view.follow(place, 4000, 3000);
        let pointer = Pos2::new(420.0, 333.0);
        let before = view.on_scan(place, pointer);
        view.zoom(place, pointer, 3.7);
        assert!(view.on_scan(place, pointer).distance(before) < 0.01);
        assert!(view.on_screen(place, before).distance(pointer) < 0.05);
    }

    #[test]
    fn a_fitted_scan_lies_within_its_place() {
        let place = Rect::from_min_size(Pos2::ZERO, Vec2::new(700.0, 600.0));
        let mut view = View::default();
        view.follow(place, 4000, 3000);
        for corner in [Point::new(0.0, 0.0), Point::new(4000.0, 3000.0)] {
            assert!(place.contains(view.on_screen(place, corner)));
        }
    }
}
