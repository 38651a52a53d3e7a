//! Outlines of strips and wedges in the session file; people count from 1.

use std::fmt;

use serde::de::{self, Deserializer, SeqAccess, Visitor};
use serde::{Deserialize, Serialize, Serializer};

use crate::measure::geometry::{Area, Edge, Field, Point, StripShape};

/// Where a strip lies.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[serde(rename = "Shape", deny_unknown_fields)]
pub(super) struct ShapeDto {
    #[serde(default = "first_scan")]
    scan: usize,
    /// Four; an array would be written in round brackets.
    corners: Vec<(f64, f64)>,
    edges: Vec<EdgeDto>,
    #[serde(default, skip_serializing_if = "Option::is_none")]
    fields: Option<Vec<FieldDto>>,
}

/// Where a field is read: shares of the field along, of the strip across.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[serde(rename = "Area", deny_unknown_fields)]
pub(super) struct AreaDto {
    field: FieldDto,
    along: (f64, f64),
    across: (f64, f64),
}

impl AreaDto {
    /// As the session holds it.
    ///
    /// # Errors
    /// When the field can't be.
    pub(super) fn area(&self) -> Result<Area, String> {
        Ok(Area {
            field: self.field.field()?,
            along: self.along,
            across: self.across,
        })
    }

    /// As the file holds it.
    pub(super) fn of(area: &Area) -> Self {
        Self {
            field: FieldDto::of(area.field),
            along: area.along,
            across: area.across,
        }
    }
}

/// Patches of unexposed coat, four corners each in pixels; on one line, since a frame has many.
#[derive(Debug, Clone, PartialEq, Deserialize)]
#[serde(transparent)]
pub(super) struct PatchesDto(Vec<[(f64, f64); 4]>);

impl PatchesDto {
    /// As the session holds them.
    pub(super) fn patches(&self) -> Vec<[Point; 4]> {
        let corners = |patch: &[(f64, f64); 4]| patch.map(|(x, y)| Point::new(x, y));
        self.0.iter().map(corners).collect()
    }

    /// As the file holds them.
    pub(super) fn of(patches: &[[Point; 4]]) -> Self {
        let corners = |patch: &[Point; 4]| patch.map(|corner| (corner.x, corner.y));
        Self(patches.iter().map(corners).collect())
    }
}

impl Serialize for PatchesDto {
    fn serialize<S: Serializer>(&self, serializer: S) -> Result<S::Ok, S::Error> {
        use serde::ser::Error as _;
        let patch = |corners: &[(f64, f64); 4]| {
            let corners = corners.map(|(x, y)| format!("({x}, {y})"));
            format!("({})", corners.join(", "))
        };
        let words: Vec<String> = self.0.iter().map(patch).collect();
        ron::value::RawValue::from_ron(&format!("[{}]", words.join(", ")))
            .map_err(S::Error::custom)?
            .serialize(serializer)
    }
}

impl FieldDto {
    fn field(self) -> Result<Field, &'static str> {
        Ok(match self {
            Self::Margin => Field::Margin,
            Self::Ignored => Field::Ignored,
            Self::Step(step) => Field::Step(step.checked_sub(1).ok_or("steps are counted from 1")?),
        })
    }

    fn of(field: Field) -> Self {
        match field {
            Field::Margin => Self::Margin,
            Field::Step(step) => Self::Step(step + 1),
            Field::Ignored => Self::Ignored,
        }
    }
}

fn first_scan() -> usize {
    1
}

#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
#[serde(rename = "field", rename_all = "snake_case")]
enum FieldDto {
    Margin,
    Step(usize),
    Ignored,
}

/// One number, or two where the edge is slanted: on the left side and on the right.
#[derive(Debug, Clone, Copy, PartialEq)]
struct EdgeDto(Edge);

impl<'de> Deserialize<'de> for EdgeDto {
    fn deserialize<D: Deserializer<'de>>(deserializer: D) -> Result<Self, D::Error> {
        struct Reader;
        impl<'de> Visitor<'de> for Reader {
            type Value = EdgeDto;
            fn expecting(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
                f.write_str("an edge such as 0.25, or (0.24, 0.26) where it is slanted")
            }
            fn visit_f64<E: de::Error>(self, along: f64) -> Result<EdgeDto, E> {
                Ok(EdgeDto(Edge::square(along)))
            }
            fn visit_u64<E: de::Error>(self, along: u64) -> Result<EdgeDto, E> {
                self.visit_f64(along as f64)
            }
            fn visit_i64<E: de::Error>(self, along: i64) -> Result<EdgeDto, E> {
                self.visit_f64(along as f64)
            }
            fn visit_seq<A: SeqAccess<'de>>(self, mut pair: A) -> Result<EdgeDto, A::Error> {
                let missing = |count| de::Error::invalid_length(count, &self);
                let left = pair.next_element()?.ok_or_else(|| missing(0))?;
                let right = pair.next_element()?.ok_or_else(|| missing(1))?;
                Ok(EdgeDto(Edge { left, right }))
            }
        }
        deserializer.deserialize_any(Reader)
    }
}

impl Serialize for EdgeDto {
    fn serialize<S: Serializer>(&self, serializer: S) -> Result<S::Ok, S::Error> {
        let Edge { left, right } = self.0;
        if left == right {
            serializer.serialize_f64(left)
        } else {
            (left, right).serialize(serializer)
        }
    }
}

impl ShapeDto {
    /// As the session holds it. Fields that aren't named are the steps in their order, after
    /// a margin if there is a field more than steps.
    ///
    /// # Errors
    /// What doesn't fit together.
    pub(super) fn shape(&self, steps: Option<usize>) -> Result<StripShape, String> {
        let scan = self.scan.checked_sub(1).ok_or("scans are counted from 1")?;
        let corners: [(f64, f64); 4] = self
            .corners
            .as_slice()
            .try_into()
            .map_err(|_| format!("{} corners; a strip has 4", self.corners.len()))?;
        let count = self.edges.len().saturating_sub(1);
        let fields = match (&self.fields, steps) {
            (Some(fields), _) => fields
                .iter()
                .map(|field| field.field())
                .collect::<Result<_, &str>>()?,
            (None, Some(steps)) if count == steps => (0..steps).map(Field::Step).collect(),
            (None, Some(steps)) if count == steps + 1 => std::iter::once(Field::Margin)
                .chain((0..steps).map(Field::Step))
                .collect(),
            (None, Some(steps)) => {
                return Err(format!(
                    "{} edges bound {count} fields, which is neither the {steps} steps nor \
                     those and a margin; name the fields",
                    self.edges.len()
                ));
            }
            (None, None) => return Err("name the fields, or give the exposures".into()),
        };
        Ok(StripShape {
            scan,
            corners: corners.map(|(x, y)| Point::new(x, y)),
            edges: self.edges.iter().map(|edge| edge.0).collect(),
            fields,
            unexposed: vec![],
        })
    }

    /// As the file holds it.
    pub(super) fn of(shape: &StripShape) -> Self {
        Self {
            scan: shape.scan + 1,
            corners: shape.corners.map(|corner| (corner.x, corner.y)).to_vec(),
            edges: shape.edges.iter().copied().map(EdgeDto).collect(),
            fields: Some(shape.fields.iter().copied().map(FieldDto::of).collect()),
        }
    }
}
