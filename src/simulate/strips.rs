//! Strips and wedges as drawn for a session, before they are laid on the glass.

use rand::Rng;
use rand_distr::StandardNormal;

use super::arrange::{Arranged, arrange};
use super::curve::TrueCurve;
use super::field::{Component, Field};
use super::material::{Unevenness, ground};
use super::recipe::{Recipe, Twist};
use super::scene::{Frame, Strip, Stuff, WedgeSheet};
use super::setting::{Relief, Setting};
use crate::measure::geometry::{Field as What, Point};
use crate::measure::strip::Role;

/// A strip with what the truth needs beside the picture.
#[derive(Debug, Clone)]
pub struct Draft {
    /// The picture.
    pub strip: Strip,
    /// Paper or coated.
    pub role: Role,
    /// Log exposures that the steps really got.
    pub log_exposures: Vec<f64>,
    /// Aperture error in stops of light.
    pub aperture_error_stops: f64,
    /// How uneven its coat is.
    pub unevenness: Unevenness,
    /// Where its steps lie.
    pub arranged: Arranged,
}

/// A frame that has a size but no place yet.
fn unplaced(length: f64, width: f64) -> Frame {
    Frame {
        start: Point::new(0.0, 0.0),
        along: (1.0, 0.0),
        length,
        width,
        per_mm: 1.0,
    }
}

/// The light that a strip got.
#[derive(Debug, Clone, PartialEq)]
pub struct Lit {
    /// Log exposure of each step.
    pub log_exposures: Vec<f64>,
    /// Aperture error that is in them, stops.
    pub aperture_error_stops: f64,
    /// Fall-off that all strips of the session share, in the direction of exposure.
    pub shared_fall_off: [f64; 3],
    /// Whether each step had a burst of its own: then the card may leave a gap between steps
    /// or let them overlap.
    pub by_bursts: bool,
}

/// Draws a strip.
pub fn strip(rng: &mut impl Rng, recipe: &Recipe, role: Role, curve: TrueCurve, lit: Lit) -> Draft {
    let level = recipe.level;
    let Lit {
        log_exposures,
        aperture_error_stops,
        shared_fall_off,
        by_bursts,
    } = lit;
    let arranged = arrange(rng, recipe, role, &log_exposures);
    let (length, width) = arranged.size;
    let edges = arranged.edges.clone();
    let card = rng.random_range(0.15..0.6);
    let penumbra = edges
        .iter()
        .map(|_| card * rng.random_range(0.8..1.25))
        .collect();
    let gap: f64 = if by_bursts && rng.random_bool(0.6) {
        level.pick(0.1, 0.3, 0.5)
    } else {
        0.0
    };
    let gaps = edges
        .iter()
        .map(|_| gap * rng.random_range(-1.0..1.0))
        .collect();
    let sign = if arranged.backwards { -1.0 } else { 1.0 };
    let own = level.pick(0.0006, 0.001, 0.0016);
    let mut wander = |mean: f64| mean + own * rng.sample::<f64, _>(StandardNormal);
    let fall_off = [
        sign * wander(shared_fall_off[0]),
        wander(shared_fall_off[1]),
        sign * wander(shared_fall_off[2]),
    ];
    let unevenness = match role {
        Role::Reference => Unevenness::paper(rng),
        Role::Coupon => Unevenness::coat(rng, recipe),
    };
    let mut exposure = unevenness.exposure.clone();
    if role == Role::Coupon && recipe.twist == Some(Twist::PictureDetail) {
        exposure.push(Component::round(0.15, 4.0));
        exposure.push(Component::round(0.20, 18.0));
    }
    let ground = match role {
        Role::Reference => None,
        Role::Coupon => Some(ground(rng, recipe, curve.dmin, &arranged)),
    };
    let mut draft = Draft {
        strip: Strip {
            frame: unplaced(length, width),
            stuff: match role {
                Role::Reference => Stuff::Paper,
                Role::Coupon => Stuff::Coat,
            },
            coat: arranged.size,
            origin: 0.0,
            mask: arranged.mask.clone(),
            edges,
            light: arranged.light.clone(),
            penumbra,
            gaps,
            fall_off,
            curve,
            thickness: Field::draw(rng, length, width, &exposure),
            mottle: Field::draw(rng, length, width, &unevenness.net),
            stain: [0.0; 3],
            curl: 0.0,
            shadow: None,
            soft: 0.0,
            ground,
        },
        role,
        log_exposures,
        aperture_error_stops,
        unevenness,
        arranged,
    };
    if let Some(setting) = &recipe.layout {
        settle(rng, setting, &mut draft);
    }
    draft
}

/// What a layout does to a strip beside where its steps lie.
fn settle(rng: &mut impl Rng, setting: &Setting, draft: &mut Draft) {
    let coated = draft.role == Role::Coupon;
    let strip = &mut draft.strip;
    if setting.stained && coated {
        let sign = if rng.random_bool(0.5) { 1.0 } else { -1.0 };
        let along = sign * rng.random_range(0.015..0.05);
        let across = rng.random_range(-0.01..0.01);
        // Nowhere less than none.
        strip.stain = [(f64::abs(along) + f64::abs(across)) / 2.0, along, across];
    }
    match setting.relief {
        Relief::Flat => {}
        Relief::Curled => {
            strip.curl = rng.random_range(0.005..0.02);
            strip.soft = rng.random_range(0.1..0.3);
        }
        Relief::Thick if coated => {
            strip.shadow = Some((rng.random_range(0.25..0.6), rng.random_range(2.0..4.0)));
            strip.soft = rng.random_range(0.1..0.35);
        }
        Relief::Thick => {}
    }
}

/// A wedge: as listed, and as it is.
#[derive(Debug, Clone)]
pub struct Wedge {
    /// Densities as listed.
    pub listed: Vec<f64>,
    /// Standard uncertainty of the list.
    pub uncertainty: f64,
    /// True densities in the order of the list.
    pub densities: Vec<f64>,
    /// Length and width of its fields together, millimetres.
    pub size: (f64, f64),
    /// White border, millimetres.
    pub border: f64,
    /// Whether the fields lie against the order of the list.
    pub backwards: bool,
    /// Shadow over part of it.
    pub shadow: Option<(f64, f64, f64)>,
}

impl Wedge {
    /// Draws a wedge.
    pub fn draw(rng: &mut impl Rng, recipe: &Recipe) -> Self {
        let (fields, step) =
            [(11, 0.20), (13, 0.17), (16, 0.14), (21, 0.105)][rng.random_range(0..4)];
        let first = rng.random_range(0.04..0.09);
        let uncertainty = recipe.level.pick(0.005, 0.008, 0.010);
        let listed: Vec<f64> = (0..fields)
            .map(|k| {
                let even = first + step * f64::from(k);
                let density = even + rng.random_range(-0.15..0.15) * step * f64::from(k.min(1));
                (density * 100.0_f64).round() / 100.0
            })
            .collect();
        let mut densities: Vec<f64> = listed
            .iter()
            .map(|density| density + uncertainty * rng.sample::<f64, _>(StandardNormal))
            .collect();
        if recipe.twist == Some(Twist::WedgeNotMonotone) {
            densities.swap(fields as usize / 2, fields as usize / 2 + 1);
        }
        let length = rng.random_range(100.0..150.0);
        let shadow = (recipe.twist == Some(Twist::ShadowedWedge))
            .then(|| (length * rng.random_range(0.2..0.8), length * 0.1, 0.15));
        Self {
            listed,
            uncertainty,
            densities,
            size: (length, rng.random_range(15.0..20.0)),
            border: if rng.random_bool(0.5) {
                rng.random_range(1.5..4.0)
            } else {
                0.0
            },
            backwards: rng.random_bool(0.5),
            shadow,
        }
    }

    /// The sheet in a frame of the wedge's size.
    pub fn sheet(&self, frame: Frame) -> WedgeSheet {
        let count = self.densities.len();
        let mut densities = self.densities.clone();
        if self.backwards {
            densities.reverse();
        }
        WedgeSheet {
            frame,
            border: self.border,
            edges: (0..=count)
                .map(|k| {
                    let place = self.size.0 * k as f64 / count as f64;
                    (place, place)
                })
                .collect(),
            densities,
            base: 0.04,
            shadow: self.shadow,
        }
    }

    /// Its fields as they lie.
    pub fn fields(&self) -> Vec<What> {
        let mut fields: Vec<What> = (0..self.densities.len()).map(What::Step).collect();
        if self.backwards {
            fields.reverse();
        }
        fields
    }
}
