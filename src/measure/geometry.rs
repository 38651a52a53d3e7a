//! Where strips and steps lie on a scan.
//!
//! Two spaces: *scan* coordinates are pixels, x to the right and y down, with (0, 0) at the
//! outer corner of the first pixel, so that its centre is (0.5, 0.5). *Strip* coordinates
//! are (along, across), each 0 to 1: along from the strip's start to its end, across from
//! its left to its right side, seen by someone walking from start to end.

use serde::{Deserialize, Serialize};

/// A point on a scan in pixels.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
pub struct Point {
    /// To the right.
    pub x: f64,
    /// Down.
    pub y: f64,
}

impl Point {
    /// A point.
    pub fn new(x: f64, y: f64) -> Self {
        Self { x, y }
    }

    /// Straight on from here to `other`: 0 is here, 1 is there.
    pub fn toward(self, other: Self, share: f64) -> Self {
        Self::new(
            self.x + (other.x - self.x) * share,
            self.y + (other.y - self.y) * share,
        )
    }

    /// Distance in pixels.
    pub fn distance(self, other: Self) -> f64 {
        (other.x - self.x).hypot(other.y - self.y)
    }
}

/// The border between two fields: where it meets the strip's left and right long sides,
/// as shares of the length from the start (the two differ when the edge is slanted).
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
pub struct Edge {
    /// On the left side.
    pub left: f64,
    /// On the right side.
    pub right: f64,
}

impl Edge {
    /// An edge square to the strip.
    pub fn square(along: f64) -> Self {
        Self {
            left: along,
            right: along,
        }
    }

    /// Where the edge crosses the middle of the strip.
    pub fn middle(self) -> f64 {
        (self.left + self.right) / 2.0
    }

    /// Where the edge lies at a place across the strip.
    pub fn at(self, across: f64) -> f64 {
        self.left + (self.right - self.left) * across
    }
}

/// What a field of a strip is.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum Field {
    /// Got no exposure: read as Dmin.
    Margin,
    /// A step, numbered from 0 in the order in which the series lists its exposures; in JSON
    /// it is numbered from 1, as people count.
    #[serde(with = "from_one")]
    Step(usize),
    /// Left alone.
    Ignored,
}

/// Indices from 0 that are written as numbers from 1.
mod from_one {
    use serde::de::Error as _;
    use serde::{Deserialize as _, Deserializer, Serializer};

    pub(super) fn serialize<S: Serializer>(index: &usize, to: S) -> Result<S::Ok, S::Error> {
        to.serialize_u64(*index as u64 + 1)
    }

    pub(super) fn deserialize<'de, D: Deserializer<'de>>(from: D) -> Result<usize, D::Error> {
        usize::deserialize(from)?
            .checked_sub(1)
            .ok_or_else(|| D::Error::custom("steps are counted from 1"))
    }
}

/// The part of a field that is read, where a person says so; without, most of the field is,
/// clear of its borders. Shares from 0 to 1, of the field along and of the strip across.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Area {
    /// The field: the margin or a step.
    pub field: Field,
    /// From where to where between the field's borders.
    pub along: (f64, f64),
    /// From where to where between the strip's left and right side.
    pub across: (f64, f64),
}

impl Area {
    /// Least share that an area takes of its field either way.
    pub const LEAST: f64 = 0.02;
}

/// Outline and fields of one strip or wedge on one scan.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct StripShape {
    /// Index of the scan.
    pub scan: usize,
    /// Corners in pixels: start-left, start-right, end-right, end-left.
    pub corners: [Point; 4],
    /// Borders of the fields, ascending; one more than there are fields.
    pub edges: Vec<Edge>,
    /// What lies between consecutive edges.
    pub fields: Vec<Field>,
    /// Patches of coat that got no light and lie beside the fields: in a frame, along a side,
    /// between windows, on another piece of the same coat. Corners in pixels of the same scan, in
    /// turn. They are read as Dmin together with the fields that are [`Field::Margin`].
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    pub unexposed: Vec<[Point; 4]>,
}

impl StripShape {
    /// The place on the scan of a place on the strip (bilinear between the corners).
    pub fn on_scan(&self, along: f64, across: f64) -> Point {
        let [start_left, start_right, end_right, end_left] = self.corners;
        start_left
            .toward(end_left, along)
            .toward(start_right.toward(end_right, along), across)
    }

    /// Corners of a field on the scan, in the order of [`StripShape::corners`].
    pub fn field_corners(&self, field: usize) -> [Point; 4] {
        let (from, to) = (self.edges[field], self.edges[field + 1]);
        [
            self.on_scan(from.left, 0.0),
            self.on_scan(from.right, 1.0),
            self.on_scan(to.right, 1.0),
            self.on_scan(to.left, 0.0),
        ]
    }

    /// What a part of the strip is, by the index that its cells carry: fields first, then the
    /// patches of unexposed coat, which count as margin. `None` beyond the last.
    pub fn part(&self, part: usize) -> Option<Field> {
        match part.checked_sub(self.fields.len()) {
            None => Some(self.fields[part]),
            Some(patch) => (patch < self.unexposed.len()).then_some(Field::Margin),
        }
    }

    /// How many parts there are: fields and patches of unexposed coat.
    pub fn parts(&self) -> usize {
        self.fields.len() + self.unexposed.len()
    }

    /// Corners of a part on the scan.
    pub fn part_corners(&self, part: usize) -> [Point; 4] {
        match part.checked_sub(self.fields.len()) {
            None => self.field_corners(part),
            Some(patch) => self.unexposed[patch],
        }
    }

    /// Whether something of it is read as coat that got no light.
    pub fn has_margin(&self) -> bool {
        !self.unexposed.is_empty() || self.fields.contains(&Field::Margin)
    }

    /// The strip with its unexposed coat there and nowhere else: fields that were taken for it
    /// are left alone.
    #[must_use]
    pub fn with_unexposed(mut self, patches: &[[Point; 4]]) -> Self {
        for field in &mut self.fields {
            if *field == Field::Margin {
                *field = Field::Ignored;
            }
        }
        self.unexposed = patches.to_vec();
        self
    }

    /// Where a place on the scan lies in the strip's own frame, inside it or not: along from its
    /// start and across from its left side, in pixels. Exact for a parallelogram, which a strip
    /// on a flatbed is but for a fraction of a millimetre.
    pub fn frame_of(&self, place: Point) -> (f64, f64) {
        let [start_left, start_right, end_right, end_left] = self.corners;
        let middle = |a: Point, b: Point| a.toward(b, 0.5);
        let (start, end) = (middle(start_left, start_right), middle(end_left, end_right));
        let (left, right) = (middle(start_left, end_left), middle(start_right, end_right));
        let (along, across) = (
            (end.x - start.x, end.y - start.y),
            (right.x - left.x, right.y - left.y),
        );
        let centre = middle(left, right);
        let from = (place.x - centre.x, place.y - centre.y);
        let area = along.0 * across.1 - along.1 * across.0;
        if area.abs() < f64::MIN_POSITIVE {
            return (0.0, 0.0);
        }
        let share = (
            (from.0 * across.1 - from.1 * across.0) / area,
            (along.0 * from.1 - along.1 * from.0) / area,
        );
        (
            (0.5 + share.0) * self.length(),
            (0.5 + share.1) * self.width(),
        )
    }

    /// Corners of an area of a field on the scan, in the order of [`StripShape::corners`]. Its
    /// ends keep their distance from the field's borders, slanted or not.
    pub fn area_corners(&self, field: usize, area: &Area) -> [Point; 4] {
        let (from, to) = (self.edges[field], self.edges[field + 1]);
        let length = to.middle() - from.middle();
        let start = |across| from.at(across) + area.along.0 * length;
        let end = |across| to.at(across) - (1.0 - area.along.1) * length;
        let (left, right) = area.across;
        [
            self.on_scan(start(left), left),
            self.on_scan(start(right), right),
            self.on_scan(end(right), right),
            self.on_scan(end(left), left),
        ]
    }

    /// Centre of a field on the scan.
    pub fn field_centre(&self, field: usize) -> Point {
        self.on_scan(
            (self.edges[field].middle() + self.edges[field + 1].middle()) / 2.0,
            0.5,
        )
    }

    /// Mean length of the strip's long sides, in pixels.
    pub fn length(&self) -> f64 {
        let [start_left, start_right, end_right, end_left] = self.corners;
        (start_left.distance(end_left) + start_right.distance(end_right)) / 2.0
    }

    /// Mean width of the strip, in pixels.
    pub fn width(&self) -> f64 {
        let [start_left, start_right, end_right, end_left] = self.corners;
        (start_left.distance(start_right) + end_left.distance(end_right)) / 2.0
    }

    /// The field that holds a step, if the strip has it.
    pub fn field_of_step(&self, step: usize) -> Option<usize> {
        self.fields
            .iter()
            .position(|&field| field == Field::Step(step))
    }

    /// How many steps the fields name.
    pub fn steps(&self) -> usize {
        self.fields
            .iter()
            .filter(|field| matches!(field, Field::Step(_)))
            .count()
    }
}
