//! Things beside the strips that are no strips: a ruler, a coin, a note, somebody's print.

use rand::Rng;

use super::field::{Component, Field};
use super::scene::{Frame, Stuff};

/// A thing with its place.
#[derive(Debug, Clone)]
pub struct Thing {
    /// What it is.
    pub kind: Kind,
    /// Where it lies.
    pub frame: Frame,
}

/// Kinds of things.
#[derive(Debug, Clone)]
pub enum Kind {
    /// A ruler of wood or steel: lines every millimetre.
    Ruler {
        /// Reflectance of its body.
        body: f32,
    },
    /// A coin.
    Coin,
    /// A slip of paper with writing.
    Note,
    /// A photograph with a white border.
    Print {
        /// Its densities.
        densities: Field,
    },
}

impl Kind {
    /// Two to four things with their sizes in millimetres.
    pub fn draw(rng: &mut impl Rng) -> Vec<(Self, (f64, f64))> {
        let count = rng.random_range(2..=4);
        (0..count)
            .map(|_| match rng.random_range(0..4) {
                0 => {
                    let size = (rng.random_range(110.0..180.0), rng.random_range(14.0..28.0));
                    let body = if rng.random_bool(0.5) { 0.55 } else { 0.35 };
                    (Self::Ruler { body }, size)
                }
                1 => {
                    let across = rng.random_range(18.0..26.0);
                    (Self::Coin, (across, across))
                }
                2 => {
                    let size = (rng.random_range(40.0..80.0), rng.random_range(20.0..40.0));
                    (Self::Note, size)
                }
                _ => {
                    let size = (rng.random_range(60.0..110.0), rng.random_range(40.0..70.0));
                    let parts = [Component::round(0.3, 3.0), Component::round(0.45, 14.0)];
                    let densities = Field::draw(rng, size.0, size.1, &parts);
                    (Self::Print { densities }, size)
                }
            })
            .collect()
    }

    fn stuff(&self) -> Stuff {
        match self {
            Self::Coin | Self::Ruler { .. } => Stuff::Ground,
            Self::Note | Self::Print { .. } => Stuff::Paper,
        }
    }

    /// Reflectance at millimetres along and across a thing of this size; `None` beside it.
    fn light(&self, (length, width): (f64, f64), u: f64, v: f64) -> Option<f32> {
        let inside = u.min(length - u).min(v).min(width - v);
        if inside < 0.0 {
            return None;
        }
        Some(match self {
            Self::Ruler { body } => {
                let millimetre = u.round();
                let long = match millimetre as i64 {
                    whole if whole % 10 == 0 => 7.0,
                    whole if whole % 5 == 0 => 5.0,
                    _ => 3.0,
                };
                let line = (u - millimetre).abs() < 0.12 && v < long;
                let figure = (u % 10.0 - 5.0).abs() < 1.2 && (8.0..11.0).contains(&v);
                let stroke = figure && ((u * 2.3).sin() + (v * 2.9).sin()) > 0.3;
                if line || stroke { 0.06 } else { *body }
            }
            Self::Coin => {
                let (x, y) = (u - length / 2.0, v - width / 2.0);
                let away = x.hypot(y) / (length / 2.0);
                if away > 1.0 {
                    return None;
                }
                let relief = (x * 1.3 + (y * 0.9).sin()).sin() * (y * 1.1).cos();
                if away > 0.9 {
                    0.5
                } else {
                    (0.28 + 0.14 * relief) as f32
                }
            }
            Self::Note => {
                let line = (v / 7.0).round().max(1.0) * 7.0;
                let pen = line + 1.2 * (u * 2.1).sin() * (u * 0.37).cos();
                let written = inside > 3.0 && (v - pen).abs() < 0.25 && (u * 0.21).sin() > -0.7;
                if written { 0.14 } else { 0.78 }
            }
            Self::Print { densities } => {
                if inside < 4.0 {
                    return Some(0.84);
                }
                let density = 0.75 + f64::from(densities.at(u as f32, v as f32));
                10f64.powf(-density.clamp(0.07, 1.95)) as f32
            }
        })
    }
}

/// Paints a row of a thing.
pub fn paint_row(thing: &Thing, y: usize, light: &mut [f32], stuff: &mut [Stuff]) {
    let frame = &thing.frame;
    for x in frame.columns(0.0, y, light.len()) {
        let (u, v) = frame.on_sheet(x as f64 + 0.5, y as f64 + 0.5);
        if let Some(seen) = thing.kind.light((frame.length, frame.width), u, v) {
            light[x] = seen;
            stuff[x] = thing.kind.stuff();
        }
    }
}
