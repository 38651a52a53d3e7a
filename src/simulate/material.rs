//! Papers, coats and what they lie on, as drawn for a session.

use rand::{Rng, SeedableRng as _};
use rand_chacha::ChaCha8Rng;

use super::arrange::Arranged;
use super::curve::{TrueCurve, Wanted};
use super::field::{Component, Field};
use super::recipe::{Materials, Recipe, Twist};
use super::scene::Ground;
use super::setting::Support;
use super::shape::{Family, Shape};
use crate::measure::units::DECADES_PER_STOP;

/// Curves of the reference paper and of each coupon's emulsion.
///
/// Speed points are on a scale where `middle` is the paper's; each emulsion is 2 to 16 times
/// slower.
pub fn curves(rng: &mut impl Rng, recipe: &Recipe, coupons: usize, middle: f64) -> Vec<TrueCurve> {
    if let Some(materials) = &recipe.materials {
        return given(materials, middle);
    }
    let mut family = || match recipe.twist {
        Some(Twist::Curves(family)) => family,
        _ => Family::ALL[rng.random_range(0..Family::ALL.len())],
    };
    let families: Vec<Family> = (0..=coupons).map(|_| family()).collect();
    let paper = Wanted {
        dmin: rng.random_range(0.03..0.09),
        dmax: rng.random_range(1.85..2.10),
        speed_point: middle,
        range: rng.random_range(70.0..150.0),
    };
    let decades = rng.random_range(2f64.log10()..16f64.log10());
    families
        .into_iter()
        .enumerate()
        .map(|(index, family)| {
            let shape = Shape::draw(family, rng);
            if index == 0 {
                return TrueCurve::new(shape, &paper);
            }
            let dmin = rng.random_range(0.06..0.25);
            let wanted = Wanted {
                dmin,
                dmax: rng.random_range(1.25f64..1.85).max(dmin + 1.05),
                // Coats of one emulsion differ by a fraction of a stop.
                speed_point: middle
                    + decades
                    + if index > 1 {
                        rng.random_range(-0.12..0.12)
                    } else {
                        0.0
                    },
                range: rng.random_range(70.0..150.0),
            };
            TrueCurve::new(shape, &wanted)
        })
        .collect()
}

/// Length over which a coat's unevenness in log exposure holds together, millimetres; evenly
/// drawn by its logarithm.
const WAVES_MM: (f64, f64) = (4.0, 12.0);

/// The curves of given materials; their shapes are drawn from the materials' own seed.
fn given(materials: &Materials, middle: f64) -> Vec<TrueCurve> {
    let mut rng = ChaCha8Rng::seed_from_u64(materials.seed);
    std::iter::once(&materials.paper)
        .chain(&materials.coats)
        .map(|material| {
            let family = Family::ALL[rng.random_range(0..Family::ALL.len())];
            let shape = Shape::draw(family, &mut rng);
            let wanted = Wanted {
                dmin: material.dmin,
                dmax: material.dmax,
                speed_point: middle + material.stops * DECADES_PER_STOP,
                range: material.range,
            };
            TrueCurve::new(shape, &wanted)
        })
        .collect()
}

/// Share of a ground's texture that usually shows through a coat.
const THROUGH: f32 = 0.3;

/// How uneven a coat is: parts of the field that acts like exposure, and of the mottle.
#[derive(Debug, Clone, PartialEq)]
pub struct Unevenness {
    /// Parts that act like log exposure, decades.
    pub exposure: Vec<Component>,
    /// Parts that act on net density, as a share.
    pub net: Vec<Component>,
}

impl Unevenness {
    /// Factory-coated paper: much more even than any hand-made coat.
    pub fn paper(rng: &mut impl Rng) -> Self {
        Self {
            exposure: vec![Component::round(0.002, rng.random_range(5.0..15.0))],
            net: vec![Component::round(0.001, 6.0)],
        }
    }

    /// A hand-made coat.
    pub fn coat(rng: &mut impl Rng, recipe: &Recipe) -> Self {
        let level = recipe.level;
        let exposure = level.pick(0.008, 0.018, 0.035);
        let net = level.pick(0.006, 0.012, 0.025);
        if recipe.twist == Some(Twist::SeveralScales) {
            let third = |sd: f64| sd / 3f64.sqrt();
            let scales = [
                rng.random_range(1.0..2.0),
                rng.random_range(4.0..7.0),
                rng.random_range(14.0..20.0),
            ];
            return Self {
                exposure: scales.map(|s| Component::round(third(exposure), s)).into(),
                net: scales.map(|s| Component::round(third(net), s)).into(),
            };
        }
        let (from, to) = recipe.waves_mm.unwrap_or(WAVES_MM);
        let scale = from * ((to / from).ln() * rng.random_range(0f64..1.0)).exp();
        let mut parts = vec![];
        // Brush streaks: a part of the variance runs in long lines.
        let streaks = if rng.random_bool(level.pick(0.2, 0.4, 0.6)) {
            rng.random_range(0.1..0.3)
        } else {
            0.0
        };
        if streaks > 0.0 {
            let (long, short) = (rng.random_range(30.0..60.0), rng.random_range(0.8..2.0));
            let (along, across) = if rng.random_bool(0.6) {
                (long, short)
            } else {
                (short, long)
            };
            parts.push(Component {
                sd: exposure * f64::sqrt(streaks),
                along,
                across,
            });
        }
        parts.push(Component::round(exposure * f64::sqrt(1.0 - streaks), scale));
        Self {
            exposure: parts,
            net: vec![Component::round(net, rng.random_range(5.0..6.0))],
        }
    }

    /// Standard deviation of all parts that act like exposure, decades.
    pub fn exposure_sd(&self) -> f64 {
        total(&self.exposure)
    }

    /// Standard deviation of all parts of the mottle.
    pub fn net_sd(&self) -> f64 {
        total(&self.net)
    }
}

fn total(parts: &[Component]) -> f64 {
    parts
        .iter()
        .map(|part| part.sd * part.sd)
        .sum::<f64>()
        .sqrt()
}

/// What a coupon's coat lies on.
pub fn ground(rng: &mut impl Rng, recipe: &Recipe, dmin: f64, arranged: &Arranged) -> Ground {
    let level = recipe.level;
    let support = recipe
        .layout
        .as_ref()
        .map_or(Support::Usual, |layout| layout.support);
    let slate = recipe
        .slate
        .unwrap_or_else(|| rng.random_bool(level.pick(0.2, 0.35, 0.5)));
    // Some coupons are cut from a coated sheet: no bare ground, no ragged border.
    let cut = support == Support::Usual && !slate && rng.random_bool(0.3);
    let cut = cut || !arranged.cuts.is_empty();
    let border = if cut { 0.0 } else { rng.random_range(2.0..8.0) };
    let (length, width) = arranged.size;
    let (l, w) = (length + 2.0 * border, width + 2.0 * border);
    let rough = if cut {
        0.0
    } else {
        level.pick(0.15, 0.35, 0.6)
    };
    let lines = |sd: f64, along: f64, across: f64| Component { sd, along, across };
    let (reflectance, texture, through) = match support {
        Support::BlackSlate => {
            let grain = rng.random_range(0.010..0.035);
            (
                10f64.powf(-rng.random_range(0.9..1.3)),
                vec![Component::round(grain, 0.6), lines(grain, 12.0, 1.5)],
                0.3,
            )
        }
        Support::Plaster => {
            let grain = rng.random_range(0.003..0.010);
            (
                rng.random_range(0.82..0.90),
                vec![Component::round(grain, 0.8), Component::round(grain, 5.0)],
                0.4,
            )
        }
        Support::Wood => {
            let grain = rng.random_range(0.02..0.05);
            (
                10f64.powf(-rng.random_range(0.20..0.45)),
                vec![lines(grain, 40.0, 0.8), lines(grain, 60.0, 3.0)],
                rng.random_range(0.3..0.6),
            )
        }
        Support::Usual if slate => {
            let grain = rng.random_range(0.010..0.030);
            (
                10f64.powf(-rng.random_range(0.45..0.85)),
                vec![Component::round(grain, 0.6), lines(grain, 12.0, 1.5)],
                THROUGH,
            )
        }
        Support::Usual => {
            let grain = rng.random_range(0.002..0.006);
            (
                10f64.powf(-dmin * rng.random_range(0.5..0.95)),
                vec![Component::round(grain, 0.5), Component::round(grain, 2.0)],
                THROUGH,
            )
        }
    };
    Ground {
        border,
        reflectance,
        texture: Field::draw(rng, l, w, &texture),
        through,
        ragged: Field::draw(
            rng,
            l,
            w,
            &[Component::round(rough, 1.2), Component::round(rough, 6.0)],
        ),
        bead: if cut {
            0.0
        } else {
            level.pick(0.02, 0.05, 0.09)
        },
        cut,
    }
}
