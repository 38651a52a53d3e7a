//! Where the steps of a strip lie on its coat, and where the coat got no light.

use rand::Rng;

use super::cutting::cut_apart;
use super::mask::{Blades, Mask};
use super::recipe::{Level, Recipe};
use super::setting::{Arrangement, Setting};
use super::windowed::{two_rows, windows};
use crate::measure::geometry::Field as What;
use crate::measure::strip::Role;

/// A place on the coat: millimetres along and across.
pub type Place = (f64, f64);

/// Where a step lies.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum Lies {
    /// Between four corners: start-left, start-right, end-right, end-left.
    Quad([Place; 4]),
    /// In a disc.
    Disc(Place, f64),
}

/// A piece that was cut from the coat, and where it lies in the row of pieces.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Cut {
    /// From where to where along the coat.
    pub along: (f64, f64),
    /// Where its start-left corner lies in the row, millimetres.
    pub at: Place,
    /// By how much it is turned, radians.
    pub tilt: f64,
}

/// Outline and fields as a session file can tell them.
#[derive(Debug, Clone, PartialEq)]
pub struct Telling {
    /// From where to where across, millimetres.
    pub across: (f64, f64),
    /// Borders of the fields at these two sides, millimetres.
    pub edges: Vec<(f64, f64)>,
    /// What lies between them.
    pub fields: Vec<What>,
}

/// A strip's layout on its own coat.
#[derive(Debug, Clone, PartialEq)]
pub struct Arranged {
    /// Size of the coat, millimetres.
    pub size: (f64, f64),
    /// Borders of the fields at both long sides of the coat.
    pub edges: Vec<(f64, f64)>,
    /// What the fields are.
    pub fields: Vec<What>,
    /// Relative exposure of each field (0: none).
    pub light: Vec<f64>,
    /// What keeps the light off.
    pub mask: Mask,
    /// Exposed from the end.
    pub backwards: bool,
    /// Where each step of the series lies.
    pub steps: Vec<Lies>,
    /// Pieces of unexposed coat.
    pub unexposed: Vec<[Place; 4]>,
    /// As a session file tells it, where one can.
    pub told: Option<Telling>,
    /// Pieces, if it was cut apart.
    pub cuts: Vec<Cut>,
    /// Size of what is laid on the glass: the coat, or the row of its pieces.
    pub sheet: (f64, f64),
}

/// Lays out a strip with these log exposures.
pub fn arrange(rng: &mut impl Rng, recipe: &Recipe, role: Role, log_exposures: &[f64]) -> Arranged {
    let level = recipe.level;
    let Some(setting) = &recipe.layout else {
        return usual(rng, level, log_exposures);
    };
    let mut arrangement = setting.arrangement;
    if arrangement == Arrangement::Any {
        arrangement = match rng.random_range(0..4) {
            0 => Arrangement::Margin,
            1 => Arrangement::BothEnds,
            2 => Arrangement::Frame { sides: (2.0, 8.0) },
            _ => Arrangement::Side {
                margin: (3.0, 8.0),
                and_end: rng.random_bool(0.5),
            },
        };
    }
    // The paper is often tested the old way.
    if role == Role::Reference && rng.random_bool(0.4) {
        arrangement = Arrangement::Margin;
    }
    match arrangement {
        Arrangement::Windows { round, gap } => windows(rng, log_exposures, round, gap),
        Arrangement::TwoRows { back_and_forth } => two_rows(rng, log_exposures, back_and_forth),
        other => in_a_row(rng, level, setting, log_exposures, other),
    }
}

/// Light of a step.
pub(super) fn light(log_exposures: &[f64], field: What) -> f64 {
    match field {
        What::Step(step) => 10f64.powf(log_exposures[step]),
        What::Margin | What::Ignored => 0.0,
    }
}

/// A field before the first step, now and then one after the last.
fn usual(rng: &mut impl Rng, level: Level, log_exposures: &[f64]) -> Arranged {
    let size = (rng.random_range(150.0..200.0), rng.random_range(25.0..40.0));
    // Fields in the order of exposure: margin, steps, sometimes more margin.
    let dark_margin = rng.random_bool(0.15);
    let mut fields = vec![What::Margin];
    fields.extend((0..log_exposures.len()).map(What::Step));
    if dark_margin {
        fields.push(What::Margin);
    }
    let unequal = level.pick(0.05, 0.12, 0.20);
    let widths = |rng: &mut dyn FnMut(f64, f64) -> f64, field: &What| match field {
        What::Step(_) => 1.0 + rng(-unequal, unequal),
        What::Margin | What::Ignored => rng(0.6, 1.4),
    };
    row(
        rng,
        level,
        log_exposures,
        size,
        fields,
        (0.0, size.0),
        &widths,
    )
}

/// How wide a field is against the others, with a way to draw from a range.
type Widths<'a> = dyn Fn(&mut dyn FnMut(f64, f64) -> f64, &What) -> f64 + 'a;

/// Fields end to end over a stretch of the coat, in either direction.
fn row(
    rng: &mut impl Rng,
    level: Level,
    log_exposures: &[f64],
    size: (f64, f64),
    mut fields: Vec<What>,
    (from, to): (f64, f64),
    width_of: &Widths,
) -> Arranged {
    let mut widths: Vec<f64> = fields
        .iter()
        .map(|field| width_of(&mut |from, to| rng.random_range(from..to), field))
        .collect();
    let backwards = rng.random_bool(0.5);
    if backwards {
        fields.reverse();
        widths.reverse();
    }
    let sum: f64 = widths.iter().sum();
    let slant = level.pick(0.3, 0.8, 1.6);
    let mut edges = vec![(from, from)];
    let mut place = from;
    for (index, share) in widths.iter().enumerate() {
        place += share / sum * (to - from);
        let lean = if index + 1 < widths.len() {
            rng.random_range(-slant..slant) / 2.0
        } else {
            place = to;
            0.0
        };
        edges.push((place - lean, place + lean));
    }
    let across = (0.0, size.1);
    let mut arranged = Arranged {
        size,
        light: fields.iter().map(|&f| light(log_exposures, f)).collect(),
        told: None,
        edges,
        fields,
        mask: Mask::Open,
        backwards,
        steps: vec![],
        unexposed: vec![],
        cuts: vec![],
        sheet: size,
    };
    arranged.see(log_exposures.len(), across);
    arranged
}

impl Arranged {
    /// Where a border meets a line along the coat.
    fn border(&self, border: usize, across: f64) -> f64 {
        let (left, right) = self.edges[border];
        left + (right - left) * across / self.size.1
    }

    /// Corners of a field between two lines along the coat.
    fn corners(&self, field: usize, (left, right): (f64, f64)) -> [Place; 4] {
        [
            (self.border(field, left), left),
            (self.border(field, right), right),
            (self.border(field + 1, right), right),
            (self.border(field + 1, left), left),
        ]
    }

    /// Notes where steps and margins lie when the fields reach between two lines.
    pub(super) fn see(&mut self, steps: usize, across: (f64, f64)) {
        let of = |field: What| self.fields.iter().position(|&f| f == field);
        self.steps = (0..steps)
            .filter_map(|step| Some(Lies::Quad(self.corners(of(What::Step(step))?, across))))
            .collect();
        self.unexposed = (0..self.fields.len())
            .filter(|&field| self.fields[field] == What::Margin)
            .map(|field| self.corners(field, across))
            .collect();
        self.told = Some(Telling {
            across,
            edges: (0..self.edges.len())
                .map(|k| (self.border(k, across.0), self.border(k, across.1)))
                .collect(),
            fields: self.fields.clone(),
        });
    }

    /// Puts blades around the fields, and notes the coat that they leave unexposed.
    fn mask(&mut self, steps: usize, across: (f64, f64), soft: f64) {
        let (length, width) = self.size;
        let along = (self.edges[0].0, self.edges[self.edges.len() - 1].0);
        let or = |there: bool, at: f64, otherwise: f64| if there { at } else { otherwise };
        self.mask = Mask::Blades(Blades {
            along: (
                or(along.0 > 0.0, along.0, f64::NEG_INFINITY),
                or(along.1 < length, along.1, f64::INFINITY),
            ),
            across: (
                or(across.0 > 0.0, across.0, f64::NEG_INFINITY),
                or(across.1 < width, across.1, f64::INFINITY),
            ),
            soft,
        });
        self.see(steps, across);
        let bands = [
            ((0.0, length), (0.0, across.0)),
            ((0.0, length), (across.1, width)),
            ((0.0, along.0), across),
            ((along.1, length), across),
        ];
        let there = bands.into_iter().filter(|(u, v)| u.1 > u.0 && v.1 > v.0);
        self.unexposed
            .extend(there.map(|(u, v)| [(u.0, v.0), (u.0, v.1), (u.1, v.1), (u.1, v.0)]));
        // A session file knows margins as fields: those at the ends.
        if let Some(told) = &mut self.told {
            if along.0 > 0.0 {
                told.edges.insert(0, (0.0, 0.0));
                told.fields.insert(0, What::Margin);
            }
            if along.1 < length {
                told.edges.push((length, length));
                told.fields.push(What::Margin);
            }
        }
    }
}

/// Steps end to end, with margins as the arrangement has them.
fn in_a_row(
    rng: &mut impl Rng,
    level: Level,
    setting: &Setting,
    log_exposures: &[f64],
    arrangement: Arrangement,
) -> Arranged {
    let steps = log_exposures.len();
    let [lengths, widths] = setting.size.unwrap_or([(150.0, 200.0), (25.0, 42.0)]);
    let size = (
        rng.random_range(lengths.0..lengths.1),
        rng.random_range(widths.0..widths.1),
    );
    // Blades close to a small strip.
    let scale = (size.1 / 25.0).min(1.0);
    let mut fields: Vec<What> = (0..steps).map(What::Step).collect();
    let mut along = (0.0, size.0);
    let mut across = (0.0, size.1);
    let mut cut = false;
    match arrangement {
        Arrangement::Margin => fields.insert(0, What::Margin),
        Arrangement::BothEnds => {
            fields.insert(0, What::Margin);
            fields.push(What::Margin);
        }
        Arrangement::Frame { sides: (from, to) } => {
            let mut side = || scale.max(0.5) * rng.random_range(from..to);
            along = (side(), size.0 - side());
            across = (side(), size.1 - side());
        }
        Arrangement::Side { margin, and_end } => {
            let masked = scale * rng.random_range(margin.0..margin.1);
            across = if rng.random_bool(0.5) {
                (masked, size.1)
            } else {
                (0.0, size.1 - masked)
            };
            if and_end {
                along.0 = rng.random_range(margin.0..margin.1);
            }
        }
        Arrangement::CutApart => {
            cut = true;
            match rng.random_range(0..3) {
                0 => fields.insert(0, What::Margin),
                1 => across.0 = scale * rng.random_range(3.0..6.0),
                _ => {}
            }
        }
        _ => {}
    }
    let unequal = level.pick(0.05, 0.12, 0.20);
    let widths = |rng: &mut dyn FnMut(f64, f64) -> f64, field: &What| match field {
        What::Step(_) if setting.uneven => 3f64.powf(rng(0.0, 1.0)),
        What::Step(_) => 1.0 + rng(-unequal, unequal),
        What::Margin | What::Ignored => rng(0.6, 1.4),
    };
    let mut arranged = row(rng, level, log_exposures, size, fields, along, &widths);
    if setting.uneven {
        slant(rng, &mut arranged);
        arranged.see(steps, across);
    }
    if along != (0.0, size.0) || across != (0.0, size.1) {
        // Blades lie on the paper or a little above it.
        let soft = rng.random_range(0.15..level.pick(0.4, 0.7, 1.0));
        arranged.mask(steps, across, soft);
    }
    if cut {
        cut_apart(rng, level, &mut arranged, steps, across);
    }
    arranged
}

/// Slants the borders between fields by up to 8 degrees, as far as the fields allow.
fn slant(rng: &mut impl Rng, arranged: &mut Arranged) {
    let places: Vec<f64> = arranged
        .edges
        .iter()
        .map(|edge| (edge.0 + edge.1) / 2.0)
        .collect();
    let most = arranged.size.1 / 2.0 * 8f64.to_radians().tan();
    for k in 1..places.len() - 1 {
        let room = (places[k] - places[k - 1]).min(places[k + 1] - places[k]);
        let lean = most.min(0.3 * room) * rng.random_range(-1.0..1.0);
        arranged.edges[k] = (places[k] - lean, places[k] + lean);
    }
}
