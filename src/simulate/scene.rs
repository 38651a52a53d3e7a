//! Things on the glass and where they lie: frames, strips, wedges.

use super::clutter::Thing;
use super::curve::TrueCurve;
use super::field::Field;
use super::mask::Mask;
use crate::measure::geometry::{Edge, Field as What, Point, StripShape};

/// Where a thing lies: a rectangle in millimetres, placed on the scan.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Frame {
    /// Start-left corner, pixels.
    pub start: Point,
    /// Unit vector from start to end.
    pub along: (f64, f64),
    /// Length, millimetres.
    pub length: f64,
    /// Width, millimetres.
    pub width: f64,
    /// Pixels per millimetre.
    pub per_mm: f64,
}

impl Frame {
    /// Scan place of millimetres along and across.
    pub fn on_scan(&self, along: f64, across: f64) -> Point {
        let (c, s) = self.along;
        Point::new(
            self.start.x + (along * c - across * s) * self.per_mm,
            self.start.y + (along * s + across * c) * self.per_mm,
        )
    }

    /// Millimetres along and across of a scan place.
    pub fn on_sheet(&self, x: f64, y: f64) -> (f64, f64) {
        let (dx, dy) = (
            (x - self.start.x) / self.per_mm,
            (y - self.start.y) / self.per_mm,
        );
        let (c, s) = self.along;
        (dx * c + dy * s, dy * c - dx * s)
    }

    /// Corners of the frame grown by `border` millimetres.
    pub fn corners(&self, border: f64) -> [Point; 4] {
        let (l, w) = (self.length + border, self.width + border);
        [
            self.on_scan(-border, -border),
            self.on_scan(-border, w),
            self.on_scan(l, w),
            self.on_scan(l, -border),
        ]
    }

    /// Columns of a row that the grown frame may touch.
    pub fn columns(&self, border: f64, y: usize, width: usize) -> std::ops::Range<usize> {
        let corners = self.corners(border);
        let (top, bottom) = (y as f64, y as f64 + 1.0);
        let (mut low, mut high) = (f64::INFINITY, f64::NEG_INFINITY);
        for k in 0..4 {
            let (a, b) = (corners[k], corners[(k + 1) % 4]);
            let (a, b) = if a.y <= b.y { (a, b) } else { (b, a) };
            if b.y < top || a.y > bottom {
                continue;
            }
            for level in [top, bottom] {
                let share = if b.y > a.y {
                    ((level - a.y) / (b.y - a.y)).clamp(0.0, 1.0)
                } else {
                    0.0
                };
                let x = a.toward(b, share).x;
                low = low.min(x);
                high = high.max(x);
                if b.y - a.y < 1.0 {
                    low = low.min(a.x).min(b.x);
                    high = high.max(a.x).max(b.x);
                }
            }
        }
        if low > high {
            return 0..0;
        }
        let from = (low - 1.0).max(0.0) as usize;
        let to = ((high + 2.0).max(0.0) as usize).min(width);
        from.min(to)..to
    }

    /// Outline and fields as the truth gives them.
    pub fn shape(&self, scan: usize, edges: &[(f64, f64)], fields: &[What]) -> StripShape {
        StripShape {
            scan,
            corners: self.corners(0.0),
            edges: edges
                .iter()
                .map(|&(left, right)| Edge {
                    left: left / self.length,
                    right: right / self.length,
                })
                .collect(),
            fields: fields.to_vec(),
            unexposed: vec![],
        }
    }
}

/// What a sheet is made of; chooses its tint in colour scans.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Stuff {
    /// The lid of the scanner.
    Lid,
    /// Printing paper.
    Paper,
    /// The coat.
    Coat,
    /// What the coat lies on.
    Ground,
    /// The wedge.
    Wedge,
}

/// The ground of a coupon around and under its coat.
#[derive(Debug, Clone)]
pub struct Ground {
    /// Width around the coat, millimetres; 0 for paper strips.
    pub border: f64,
    /// Reflectance where there is no coat.
    pub reflectance: f64,
    /// Texture, in density.
    pub texture: Field,
    /// How far the coat's border wanders, millimetres.
    pub ragged: Field,
    /// Cut from a coated sheet: the coat reaches the border all round.
    pub cut: bool,
    /// Share of the texture that shows through the coat.
    pub through: f32,
    /// Added log exposure along the very border (thicker bead of emulsion), decades.
    pub bead: f64,
}

/// A step-exposed strip.
#[derive(Debug, Clone)]
pub struct Strip {
    /// Where it lies.
    pub frame: Frame,
    /// Paper or coat.
    pub stuff: Stuff,
    /// Borders of the fields on the left and right side, millimetres from the coat's start.
    pub edges: Vec<(f64, f64)>,
    /// Size of the whole coat, millimetres.
    pub coat: (f64, f64),
    /// Where along the coat this piece of it begins, millimetres.
    pub origin: f64,
    /// What kept the light off.
    pub mask: Mask,
    /// Relative exposure of each field (0: margin).
    pub light: Vec<f64>,
    /// Half width of the card's penumbra at each edge, millimetres.
    pub penumbra: Vec<f64>,
    /// Unexposed gap between two steps at each edge, millimetres; negative: they overlap.
    pub gaps: Vec<f64>,
    /// Fall-off of the light in decades: along (linear), along (square), across (linear).
    pub fall_off: [f64; 3],
    /// Its curve.
    pub curve: TrueCurve,
    /// Field that acts like log exposure, decades.
    pub thickness: Field,
    /// Field that acts on net density, as a share.
    pub mottle: Field,
    /// Density of a stain: at the middle, and how much more at the end and at the right side.
    pub stain: [f64; 3],
    /// Share of the light that is missing at its ends, where it curls away from the glass.
    pub curl: f64,
    /// A shadow of its own around it: depth as a share of light, reach in millimetres.
    pub shadow: Option<(f64, f64)>,
    /// Blur where it does not lie on the glass: standard deviation, millimetres.
    pub soft: f64,
    /// What it lies on (coupons).
    pub ground: Option<Ground>,
}

impl Strip {
    /// Width of bare ground around the coat, millimetres.
    pub fn border(&self) -> f64 {
        self.ground.as_ref().map_or(0.0, |ground| ground.border)
    }
}

/// A wedge.
#[derive(Debug, Clone)]
pub struct WedgeSheet {
    /// Place of its fields.
    pub frame: Frame,
    /// White border around the fields, millimetres.
    pub border: f64,
    /// Borders of the fields.
    pub edges: Vec<(f64, f64)>,
    /// True densities in the order in which the fields lie.
    pub densities: Vec<f64>,
    /// Density of the border.
    pub base: f64,
    /// A shadow over part of it: place along (millimetres), breadth, depth as a share.
    pub shadow: Option<(f64, f64, f64)>,
}

/// A spot painted over everything: bubble, pinhole, dust, piece of a hair.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Spot {
    /// Centre, pixels.
    pub at: Point,
    /// Radius, pixels.
    pub radius: f64,
    /// Light of the spot.
    pub light: f32,
    /// How much it covers, 0 to 1.
    pub cover: f32,
}

/// Everything that lies on the glass in one scan.
#[derive(Debug, Clone)]
pub struct Scene {
    /// Width in pixels.
    pub width: usize,
    /// Height in pixels.
    pub height: usize,
    /// Reflectance of the lid.
    pub lid: f64,
    /// Depth of the shadows around the sheets, as a share of light.
    pub shadow: f64,
    /// Strips.
    pub strips: Vec<Strip>,
    /// Wedges.
    pub wedges: Vec<WedgeSheet>,
    /// Things beside them.
    pub things: Vec<Thing>,
    /// Tape over sheets.
    pub tapes: Vec<Frame>,
    /// Spots.
    pub spots: Vec<Spot>,
}
