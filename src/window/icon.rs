//! Icons, drawn as strokes on a grid of 16 points. They stand beside words, or alone where room
//! is short; then the control says its name to whoever rests on it or can't see it.

use egui::{Atom, Color32, Painter, Pos2, Rect, Shape, Stroke, Vec2};

use super::command::{Bench, Command};
use super::request::Kind;

/// Side of an icon, points.
pub const SIDE: f32 = 16.0;
/// Width of its strokes, points.
const STROKE: f32 = 1.5;

/// What there are icons of.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Icon {
    /// A folder with a tongue of paper: sessions and files.
    Folder,
    /// A sheet that is laid on.
    SheetIn,
    /// A sheet with an arrow into a tray.
    Keep,
    /// An arrow bent back to the left.
    Back,
    /// An arrow bent on to the right.
    Forth,
    /// Four corners about a picture.
    Whole,
    /// One square of a raster, full.
    Pixel,
    /// A square that grows.
    Closer,
    /// A square that shrinks.
    Farther,
    /// A lens over a raster.
    Lens,
    /// A strip with a pencil's point.
    Draw,
    /// Two arrows past each other.
    Turn,
    /// A strip with a part added.
    StepMore,
    /// A strip with a part taken off.
    StepLess,
    /// A scan with strips on it.
    Strips,
    /// A clock's face.
    Time,
    /// A curve between axes.
    Curve,
    /// Two fields edge to edge.
    Fields,
    /// A lamp.
    Lamp,
    /// A question.
    Question,
    /// An eye over a folder: it is watched.
    Watch,
    /// A sheet of paper.
    Paper,
    /// A slab with a coat.
    Coated,
    /// A row of fields that get darker.
    Wedge,
    /// A column that folds to the left.
    Column,
    /// A sheet on a board: copied.
    Copy,
    /// A steering wheel's way: the tour.
    Way,
}

impl Command {
    /// Its icon, if it has one.
    pub fn icon(self) -> Option<Icon> {
        Some(match self {
            Self::Open => Icon::Folder,
            Self::AddScans => Icon::SheetIn,
            Self::WatchFolder | Self::StopWatching => Icon::Watch,
            Self::Save | Self::SaveAs => Icon::Keep,
            Self::CopyAnswer => Icon::Copy,
            Self::Undo => Icon::Back,
            Self::Redo => Icon::Forth,
            Self::Fit => Icon::Whole,
            Self::ActualPixels => Icon::Pixel,
            Self::ZoomIn => Icon::Closer,
            Self::ZoomOut => Icon::Farther,
            Self::Magnifier => Icon::Lens,
            Self::DrawStrip => Icon::Draw,
            Self::Flip => Icon::Turn,
            Self::AddStep => Icon::StepMore,
            Self::RemoveStep => Icon::StepLess,
            Self::Go(Bench::Scans) | Self::OpenDemo | Self::StripColumn => Icon::Strips,
            Self::Go(Bench::Exposures) => Icon::Time,
            Self::Go(Bench::Curves) => Icon::Curve,
            Self::Go(Bench::Eye) => Icon::Fields,
            Self::Go(Bench::Profiles) => Icon::Folder,
            Self::Go(Bench::Print) => Icon::Paper,
            Self::Go(Bench::Scanner) => Icon::Wedge,
            Self::AnswerColumn => Icon::Column,
            Self::Shortcuts => Icon::Question,
            Self::Tour => Icon::Way,
            Self::Call(Kind::Paper) => Icon::Paper,
            Self::Call(Kind::Coated) => Icon::Coated,
            Self::Call(Kind::Wedge) => Icon::Wedge,
            _ => return None,
        })
    }
}

/// An icon as a part of a button, in the colour of its words.
pub fn atom(icon: Icon) -> Atom<'static> {
    Atom::paint(Vec2::splat(SIDE), move |ui, args| {
        paint(ui.painter(), args.rect, icon, args.fallback_text_color);
    })
}

/// Draws an icon in the middle of a place.
pub fn paint(painter: &Painter, place: Rect, icon: Icon, colour: Color32) {
    let corner = place.center() - Vec2::splat(SIDE / 2.0);
    let pen = Pen {
        painter,
        corner,
        stroke: Stroke::new(STROKE, colour),
    };
    match icon {
        Icon::Folder => pen.closed(&[(1, 13), (1, 3), (6, 3), (8, 5), (15, 5), (15, 13)]),
        Icon::SheetIn => {
            pen.line(&[(9, 1), (3, 1), (3, 15), (13, 15), (13, 9)]);
            pen.line(&[(12, 1), (12, 7)]);
            pen.line(&[(9, 4), (15, 4)]);
        }
        Icon::Keep => {
            pen.line(&[(1, 10), (1, 15), (15, 15), (15, 10)]);
            pen.line(&[(8, 1), (8, 10)]);
            pen.line(&[(4, 7), (8, 11), (12, 7)]);
        }
        Icon::Back => {
            pen.line(&[(6, 2), (2, 6), (6, 10)]);
            pen.line(&[(2, 6), (11, 6), (14, 9), (14, 11), (11, 14), (6, 14)]);
        }
        Icon::Forth => {
            pen.line(&[(10, 2), (14, 6), (10, 10)]);
            pen.line(&[(14, 6), (5, 6), (2, 9), (2, 11), (5, 14), (10, 14)]);
        }
        Icon::Whole => {
            pen.line(&[(1, 5), (1, 1), (5, 1)]);
            pen.line(&[(11, 1), (15, 1), (15, 5)]);
            pen.line(&[(15, 11), (15, 15), (11, 15)]);
            pen.line(&[(5, 15), (1, 15), (1, 11)]);
            pen.closed(&[(5, 5), (11, 5), (11, 11), (5, 11)]);
        }
        Icon::Pixel => {
            pen.closed(&[(1, 1), (15, 1), (15, 15), (1, 15)]);
            pen.filled((6, 6), (10, 10));
        }
        Icon::Closer => {
            pen.closed(&[(2, 2), (14, 2), (14, 14), (2, 14)]);
            pen.line(&[(8, 5), (8, 11)]);
            pen.line(&[(5, 8), (11, 8)]);
        }
        Icon::Farther => {
            pen.closed(&[(2, 2), (14, 2), (14, 14), (2, 14)]);
            pen.line(&[(5, 8), (11, 8)]);
        }
        Icon::Lens => {
            pen.ring((6, 6), 5.0);
            pen.line(&[(10, 10), (15, 15)]);
            pen.filled((5, 5), (7, 7));
        }
        Icon::Draw => {
            pen.line(&[(8, 1), (1, 1), (1, 15), (8, 15)]);
            pen.closed(&[(7, 11), (8, 8), (13, 3), (15, 5), (10, 10)]);
        }
        Icon::Turn => {
            pen.line(&[(5, 15), (5, 2), (2, 5)]);
            pen.line(&[(11, 1), (11, 14), (14, 11)]);
        }
        Icon::StepMore => {
            pen.closed(&[(1, 1), (7, 1), (7, 15), (1, 15)]);
            pen.line(&[(1, 8), (7, 8)]);
            pen.line(&[(12, 5), (12, 11)]);
            pen.line(&[(9, 8), (15, 8)]);
        }
        Icon::StepLess => {
            pen.closed(&[(1, 1), (7, 1), (7, 15), (1, 15)]);
            pen.line(&[(1, 8), (7, 8)]);
            pen.line(&[(9, 8), (15, 8)]);
        }
        Icon::Strips => {
            pen.closed(&[(1, 1), (15, 1), (15, 15), (1, 15)]);
            pen.filled((4, 4), (7, 12));
            pen.closed(&[(9, 4), (12, 4), (12, 12), (9, 12)]);
        }
        Icon::Time => {
            pen.ring((8, 8), 7.0);
            pen.line(&[(8, 4), (8, 8), (11, 10)]);
        }
        Icon::Curve => {
            pen.line(&[(1, 1), (1, 15), (15, 15)]);
            pen.line(&[(3, 13), (6, 12), (9, 5), (11, 3), (15, 2)]);
        }
        Icon::Fields => {
            pen.closed(&[(1, 3), (15, 3), (15, 13), (1, 13)]);
            pen.filled((8, 3), (15, 13));
        }
        Icon::Lamp => {
            pen.closed(&[(5, 2), (11, 2), (14, 10), (2, 10)]);
            pen.line(&[(8, 10), (8, 14)]);
            pen.line(&[(4, 14), (12, 14)]);
        }
        Icon::Question => {
            pen.line(&[(4, 5), (5, 2), (11, 2), (12, 5), (8, 8), (8, 11)]);
            pen.filled((7, 13), (9, 15));
        }
        Icon::Watch => {
            pen.closed(&[(1, 15), (1, 6), (5, 6), (7, 8), (15, 8), (15, 15)]);
            pen.line(&[(4, 3), (6, 1), (10, 1), (12, 3), (10, 5), (6, 5), (4, 3)]);
        }
        Icon::Paper => pen.closed(&[(3, 1), (13, 1), (13, 15), (3, 15)]),
        Icon::Coated => {
            pen.closed(&[(3, 1), (13, 1), (13, 15), (3, 15)]);
            pen.filled((3, 1), (13, 8));
        }
        Icon::Wedge => {
            pen.closed(&[(1, 5), (15, 5), (15, 11), (1, 11)]);
            pen.line(&[(6, 5), (6, 11)]);
            pen.filled((10, 5), (15, 11));
        }
        Icon::Column => {
            pen.closed(&[(1, 2), (15, 2), (15, 14), (1, 14)]);
            pen.line(&[(6, 2), (6, 14)]);
            pen.line(&[(12, 6), (10, 8), (12, 10)]);
        }
        Icon::Copy => {
            pen.closed(&[(5, 5), (14, 5), (14, 15), (5, 15)]);
            pen.line(&[(2, 11), (2, 1), (11, 1)]);
        }
        Icon::Way => {
            pen.line(&[(2, 14), (2, 9), (8, 9), (8, 4), (14, 4)]);
            pen.line(&[(11, 1), (14, 4), (11, 7)]);
        }
    }
}

struct Pen<'a> {
    painter: &'a Painter,
    corner: Pos2,
    stroke: Stroke,
}

impl Pen<'_> {
    fn at(&self, (x, y): (u8, u8)) -> Pos2 {
        self.corner + Vec2::new(f32::from(x), f32::from(y))
    }

    fn line(&self, points: &[(u8, u8)]) {
        let points = points.iter().map(|&point| self.at(point)).collect();
        self.painter.add(Shape::line(points, self.stroke));
    }

    fn closed(&self, points: &[(u8, u8)]) {
        let points = points.iter().map(|&point| self.at(point)).collect();
        self.painter.add(Shape::closed_line(points, self.stroke));
    }

    fn filled(&self, from: (u8, u8), to: (u8, u8)) {
        let rect = Rect::from_min_max(self.at(from), self.at(to));
        self.painter.rect_filled(rect, 0.0, self.stroke.color);
    }

    fn ring(&self, middle: (u8, u8), radius: f32) {
        let middle = self.at(middle);
        self.painter.circle_stroke(middle, radius, self.stroke);
    }
}
