//! Axes and marks of a plot, as plain shapes: for the screen, a picture or a drawing alike.

use egui::{Align2, Color32, FontId, Painter, Pos2, Rect, Shape, Stroke, Vec2};

use crate::window::theme::{Theme, bold, small};

/// A plot's place and ranges.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Chart {
    /// Where the data lie.
    pub area: Rect,
    /// Least and greatest x.
    pub x: (f64, f64),
    /// Least and greatest y.
    pub y: (f64, f64),
}

/// Words around a plot.
#[derive(Debug, Clone, Copy)]
pub struct Titles<'a> {
    /// Above.
    pub title: &'a str,
    /// Along x.
    pub x: &'a str,
    /// Along y, above the axis.
    pub y: &'a str,
}

/// Most numbers along an axis.
const MOST_TICKS: f64 = 7.0;
/// Least points from one number to the next along x and y.
const TICK_ROOM: (f32, f32) = (48.0, 22.0);

impl Chart {
    /// A chart within a place, with room for words around it; ranges are widened a little and
    /// never empty.
    pub fn within(place: Rect, x: (f64, f64), y: (f64, f64)) -> Self {
        Self::with_rim(place, (Vec2::new(44.0, 40.0), Vec2::new(12.0, 36.0)), x, y)
    }

    /// A small chart without titles.
    pub fn small(place: Rect, x: (f64, f64), y: (f64, f64)) -> Self {
        Self::with_rim(place, (Vec2::new(28.0, 8.0), Vec2::new(8.0, 20.0)), x, y)
    }

    fn with_rim(place: Rect, rim: (Vec2, Vec2), x: (f64, f64), y: (f64, f64)) -> Self {
        let area = Rect::from_min_max(place.min + rim.0, place.max - rim.1);
        let widened = |(low, high): (f64, f64)| {
            let span = (high - low).max(1e-6);
            (low - 0.04 * span, high + 0.04 * span)
        };
        Self {
            area,
            x: widened(x),
            y: widened(y),
        }
    }

    /// Where a value lies.
    pub fn at(&self, x: f64, y: f64) -> Pos2 {
        let share = |value: f64, (low, high): (f64, f64)| ((value - low) / (high - low)) as f32;
        Pos2::new(
            self.area.left() + self.area.width() * share(x, self.x),
            self.area.bottom() - self.area.height() * share(y, self.y),
        )
    }

    /// Axes, lines of the grid, numbers and titles.
    pub fn frame(&self, painter: &Painter, titles: &Titles<'_>, theme: &Theme) {
        painter.rect_filled(self.area, 0.0, theme.panel);
        let faint = Stroke::new(1.0, theme.line.gamma_multiply(0.5));
        let room = |length: f32, each: f32| f64::from(length / each).clamp(2.0, MOST_TICKS);
        let most = (
            room(self.area.width(), TICK_ROOM.0),
            room(self.area.height(), TICK_ROOM.1),
        );
        for x in ticks(self.x, most.0) {
            let at = self.at(x, self.y.0);
            painter.line_segment([at, Pos2::new(at.x, self.area.top())], faint);
            painter.text(
                at + Vec2::new(0.0, 4.0),
                Align2::CENTER_TOP,
                number(x, self.x, most.0),
                small(),
                theme.weak,
            );
        }
        for y in ticks(self.y, most.1) {
            let at = self.at(self.x.0, y);
            painter.line_segment([at, Pos2::new(self.area.right(), at.y)], faint);
            painter.text(
                at - Vec2::new(6.0, 0.0),
                Align2::RIGHT_CENTER,
                number(y, self.y, most.1),
                small(),
                theme.weak,
            );
        }
        let line = Stroke::new(1.0, theme.line);
        painter.line_segment([self.area.left_bottom(), self.area.right_bottom()], line);
        painter.line_segment([self.area.left_bottom(), self.area.left_top()], line);
        let above = Pos2::new(self.area.left() - 38.0, self.area.top() - 36.0);
        painter.text(
            above,
            Align2::LEFT_TOP,
            titles.title,
            FontId::new(13.0, bold()),
            theme.text,
        );
        painter.text(
            above + Vec2::new(0.0, 17.0),
            Align2::LEFT_TOP,
            titles.y,
            small(),
            theme.weak,
        );
        let below = Pos2::new(self.area.right(), self.area.bottom() + 18.0);
        painter.text(below, Align2::RIGHT_TOP, titles.x, small(), theme.weak);
    }

    /// A line through points, cut off at the plot's edges.
    pub fn line(&self, painter: &Painter, points: &[(f64, f64)], stroke: Stroke, dashed: bool) {
        let painter = painter.with_clip_rect(self.area.intersect(painter.clip_rect()));
        let points: Vec<Pos2> = points.iter().map(|&(x, y)| self.at(x, y)).collect();
        if dashed {
            painter.extend(Shape::dashed_line(&points, stroke, 8.0, 4.0));
        } else {
            painter.line(points, stroke);
        }
    }

    /// A band between lower and upper values.
    pub fn band(&self, painter: &Painter, points: &[(f64, f64, f64)], colour: Color32) {
        let painter = painter.with_clip_rect(self.area.intersect(painter.clip_rect()));
        for pair in points.windows(2) {
            let [(x0, low0, high0), (x1, low1, high1)] = [pair[0], pair[1]];
            let corners = vec![
                self.at(x0, low0),
                self.at(x0, high0),
                self.at(x1, high1),
                self.at(x1, low1),
            ];
            painter.add(Shape::convex_polygon(corners, colour, Stroke::NONE));
        }
    }

    /// A measured value with its error: a disc or a square, hollow when it doesn't count.
    pub fn point(&self, painter: &Painter, (x, y, error): (f64, f64, f64), mark: Mark) {
        let at = self.at(x, y);
        if !self.area.expand(6.0).contains(at) {
            return;
        }
        let stroke = Stroke::new(1.5, mark.colour);
        let reach = 1.96 * error;
        let (low, high) = (self.at(x, y - reach), self.at(x, y + reach));
        painter.line_segment([low, high], stroke);
        for end in [low, high] {
            painter.line_segment(
                [end - Vec2::new(3.0, 0.0), end + Vec2::new(3.0, 0.0)],
                stroke,
            );
        }
        let size = if mark.lit { 7.0 } else { 4.5 };
        let fill = if mark.hollow {
            mark.ground
        } else {
            mark.colour
        };
        if mark.square {
            let rect = Rect::from_center_size(at, Vec2::splat(1.8 * size));
            painter.rect(rect, 0.0, fill, stroke, egui::StrokeKind::Middle);
        } else {
            painter.circle(at, size, fill, stroke);
        }
    }
}

/// How a measured value is drawn.
#[derive(Debug, Clone, Copy)]
pub struct Mark {
    /// Its colour.
    pub colour: Color32,
    /// What shows through when it is hollow.
    pub ground: Color32,
    /// Square for the coated strip, round for paper.
    pub square: bool,
    /// It doesn't count.
    pub hollow: bool,
    /// The pointer is on it, here or on the scan.
    pub lit: bool,
}

/// Round numbers along a range, about `most`: steps of 1, 2 or 5 times a power of ten.
pub fn ticks((low, high): (f64, f64), most: f64) -> Vec<f64> {
    let step = step_of(low, high, most);
    let (first, last) = ((low / step).ceil() as i64, (high / step).floor() as i64);
    (first..=last).map(|tick| tick as f64 * step).collect()
}

fn step_of(low: f64, high: f64, most: f64) -> f64 {
    let raw = (high - low).max(1e-9) / most;
    let power = 10f64.powf(raw.log10().floor());
    [1.0, 2.0, 5.0, 10.0]
        .into_iter()
        .map(|factor| factor * power)
        .find(|step| *step >= raw)
        .unwrap_or(10.0 * power)
}

fn number(value: f64, (low, high): (f64, f64), most: f64) -> String {
    let decimals = (-step_of(low, high, most).log10().floor()).clamp(0.0, 4.0) as usize;
    crate::document::report::words::plain(value, decimals)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn numbers_along_an_axis_are_round_and_few() {
        assert_eq!(
            ticks((0.0, 1.0), MOST_TICKS),
            [0.0, 0.2, 0.4, 0.6000000000000001, 0.8, 1.0]
        );
        assert_eq!(
            ticks((-3.0, 27.0), MOST_TICKS),
            [0.0, 5.0, 10.0, 15.0, 20.0, 25.0]
        );
        assert!(ticks((0.0, 1e-9), MOST_TICKS).len() <= 8);
    }

    #[test]
    fn values_lie_where_the_axes_say() {
        let place = Rect::from_min_size(Pos2::ZERO, Vec2::new(400.0, 300.0));
        let chart = Chart::within(place, (0.0, 2.0), (0.0, 2.0));
        let middle = chart.at(1.0, 1.0);
        assert!(middle.distance(chart.area.center()) < 1e-3);
        assert!(chart.at(0.0, 0.0).y > chart.at(0.0, 2.0).y);
    }
}
