//! Saying what a thing on a scan is: paper, coated, or the wedge.

use super::areas::carried;
use crate::document::{Edit, Strip};
use crate::measure::geometry::{Edge, Field, StripShape};
use crate::measure::strip::Role;
use crate::window::request::{Kind, Scene, Thing};

/// What saying it comes to.
#[derive(Debug, Clone, PartialEq)]
pub enum Called {
    /// These edits, undone together.
    Edits(Vec<Edit>),
    /// The wedge's densities have to be written first; the shape that it will have, and what
    /// has to be edited along.
    NeedsDensities(StripShape, Vec<Edit>),
}

/// What a strip is called that nobody named.
pub fn usual_name(scene: &Scene<'_>, role: Role) -> String {
    let stem = match role {
        Role::Reference => "paper",
        Role::Coupon => "coated piece",
    };
    let taken = |name: &String| scene.session.strips.iter().any(|strip| strip.name == *name);
    std::iter::once(stem.to_owned())
        .chain((2..).map(|number| format!("{stem} {number}")))
        .find(|name| !taken(name))
        .unwrap_or_else(|| stem.to_owned())
}

/// The strips that were found, as strips of the session: the first is taken for paper, but
/// what is said of one of them counts, and the wedge is none.
pub fn described(scene: &Scene<'_>, said: Option<(usize, Kind)>) -> Vec<Edit> {
    let count = scene.analysis.map_or(0, |analysis| analysis.strips.len());
    let mut papers = 0;
    let mut coated = 0;
    let paper_is_said = matches!(said, Some((_, Kind::Paper)));
    let wedge = said.filter(|(_, kind)| *kind == Kind::Wedge);
    (0..count)
        .filter(|&strip| wedge.is_none_or(|(wedge, _)| wedge != strip))
        .enumerate()
        .map(|(at, strip)| {
            let role = match said {
                Some((which, Kind::Paper)) if which == strip => Role::Reference,
                Some((which, Kind::Coated)) if which == strip => Role::Coupon,
                _ if papers == 0 && !paper_is_said => Role::Reference,
                _ => Role::Coupon,
            };
            let (stem, number) = match role {
                Role::Reference => {
                    papers += 1;
                    ("paper", papers)
                }
                Role::Coupon => {
                    coated += 1;
                    ("coated piece", coated)
                }
            };
            let name = match number {
                1 => stem.to_owned(),
                number => format!("{stem} {number}"),
            };
            Edit::AddStrip {
                at,
                strip: Strip::new(name, role),
            }
        })
        .collect()
}

/// What has to be edited for a thing to be what a person says; `None` where it is already.
pub fn called(scene: &Scene<'_>, thing: Thing, kind: Kind) -> Option<Called> {
    let role = match kind {
        Kind::Paper => Some(Role::Reference),
        Kind::Coated => Some(Role::Coupon),
        Kind::Wedge => None,
    };
    let bare = scene.session.strips.is_empty();
    match (thing, role) {
        (Thing::Strip(strip), Some(role)) => {
            if bare {
                return Some(Called::Edits(described(scene, Some((strip, kind)))));
            }
            let now = scene.session.strips.get(strip)?.role;
            (now != role).then(|| Called::Edits(vec![Edit::SetRole { strip, role }]))
        }
        (Thing::Strip(strip), None) => {
            let along = if bare {
                described(scene, Some((strip, kind)))
            } else {
                vec![Edit::RemoveStrip(strip)]
            };
            Some(wedge_at(scene, scene.shape(strip)?, along))
        }
        (Thing::Spare(_), None) => Some(wedge_at(scene, scene.outline(thing)?, vec![])),
        (Thing::Wedge(_), None) => None,
        (Thing::Wedge(_) | Thing::Spare(_), Some(role)) => {
            let shape = scene.outline(thing)?.clone();
            let mut edits = if bare { described(scene, None) } else { vec![] };
            let at = scene.session.strips.len() + edits.len();
            let strip = Strip {
                shape: Some(shape.clone()),
                ..Strip::new(usual_name(scene, role), role)
            };
            edits.push(Edit::AddStrip { at, strip });
            let said = scene
                .session
                .wedge
                .as_ref()
                .and_then(|wedge| wedge.shape.as_ref());
            if matches!(thing, Thing::Wedge(_)) && said.is_some() {
                edits.push(Edit::SetWedgeShape(None));
            }
            Some(Called::Edits(edits))
        }
    }
}

fn wedge_at(scene: &Scene<'_>, shape: &StripShape, mut along: Vec<Edit>) -> Called {
    match &scene.session.wedge {
        Some(wedge) => {
            let shape = as_wedge(shape, wedge.densities.len());
            along.push(Edit::SetWedgeShape(Some(shape)));
            Called::Edits(along)
        }
        None => Called::NeedsDensities(shape.clone(), along),
    }
}

/// An outline with as many fields as the wedge has densities: those that were found where their
/// count is right, else of one length, in the direction in which the steps were numbered.
pub fn as_wedge(shape: &StripShape, fields: usize) -> StripShape {
    let mut steps = shape.fields.iter().filter_map(|field| match field {
        Field::Step(step) => Some(*step),
        _ => None,
    });
    let back = match (steps.next(), steps.next_back()) {
        (Some(first), Some(last)) => first > last,
        _ => false,
    };
    let number = |place: usize| Field::Step(if back { fields - 1 - place } else { place });
    let edges = if shape.fields.len() == fields {
        shape.edges.clone()
    } else {
        let (start, end) = (
            shape.edges.first().map_or(0.0, |edge| edge.middle()),
            shape.edges.last().map_or(1.0, |edge| edge.middle()),
        );
        (0..=fields)
            .map(|edge| Edge::square(start + (end - start) * edge as f64 / fields.max(1) as f64))
            .collect()
    };
    StripShape {
        edges,
        fields: (0..fields).map(number).collect(),
        ..shape.clone()
    }
}

/// A new outline for a thing; areas placed by hand stay where they lie.
pub fn outlined(scene: &Scene<'_>, thing: Thing, shape: StripShape) -> Vec<Edit> {
    match thing {
        Thing::Strip(strip) => {
            let areas = scene.session.strips.get(strip).map(|strip| &strip.areas);
            let carried = areas
                .zip(scene.shape(strip))
                .filter(|(_, before)| before.fields != shape.fields)
                .map(|(areas, before)| (areas, carried(areas, before, &shape)))
                .filter(|(areas, after)| *areas != after);
            // Taken off first: an area of a step that is no more would be refused.
            let mut edits: Vec<Edit> = carried
                .map(|(_, areas)| Edit::SetAreas { strip, areas })
                .into_iter()
                .collect();
            edits.push(Edit::SetShape {
                strip,
                shape: Some(shape),
            });
            edits
        }
        Thing::Wedge(_) => vec![Edit::SetWedgeShape(Some(shape))],
        Thing::Spare(_) => vec![],
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::measure::geometry::Point;
    use crate::window::scan::handles;

    #[test]
    fn an_outline_becomes_a_wedge_with_as_many_fields_as_densities() {
        let shape =
            handles::drawn(0, Point::new(100.0, 0.0), Point::new(0.0, 900.0), Some(8)).unwrap();
        let same = as_wedge(&shape, 9);
        assert_eq!(same.edges, shape.edges);
        assert_eq!(same.fields[0], Field::Step(0));
        let other = as_wedge(&handles::flipped(&shape), 4);
        assert_eq!(other.edges.len(), 5);
        assert_eq!(other.fields[0], Field::Step(3));
        assert!((other.edges[1].middle() - 0.25).abs() < 1e-9);
    }
}
