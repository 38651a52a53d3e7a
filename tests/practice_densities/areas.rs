//! Densities of areas against what the practice model painted there, from raw scans with no
//! geometry given: what is the program's reading worth beside a densitometer's?

use rayon::prelude::*;
use twinstrip::measure::analysis::{Analysis, Question, analyse};
use twinstrip::measure::geometry::{Field, StripShape};
use twinstrip::measure::raster::Channel;
use twinstrip::measure::reading::areas::{StrayLight, area_density};
use twinstrip::measure::reading::cells::{self, CellOptions};
use twinstrip::measure::reading::Cell;
use twinstrip::measure::scale::{DensityScale, assumed_white, fit_wedge};
use twinstrip::measure::strip::Role;
use twinstrip::measure::watch::Unwatched;
use twinstrip::simulate::{Level, Practice, Recipe, Twist, make, question};

/// Borders of the density levels.
pub const BANDS: [f64; 6] = [0.0, 0.4, 0.8, 1.2, 1.6, 2.0];

/// One area of one strip.
#[derive(Debug, Clone, Copy)]
pub struct Seen {
    pub level: Level,
    pub seed: u64,
    pub role: Role,
    pub margin: bool,
    pub truth: f64,
    /// Error as the program reads it, and its stated standard error.
    pub error: f64,
    pub stated: f64,
    /// Error with the stray light left in.
    pub hazy: f64,
}

fn cells_of(asked: &Question, shape: &StripShape) -> Vec<Cell> {
    let raster = &asked.scans[shape.scan];
    let options = CellOptions::default();
    cells::measure(raster, shape, Channel::Luminance, &options, &Unwatched).unwrap()
}

/// The scale of a scan before anything is taken off.
fn plain_scale(asked: &Question, found: &Analysis, scan: usize) -> Option<Box<dyn DensityScale>> {
    let wedge = found.wedges.iter().find(|wedge| wedge.shape.scan == scan);
    Some(match (wedge, &asked.wedge) {
        (Some(wedge), Some(told)) => {
            let cells = cells_of(asked, &wedge.shape);
            let fit = fit_wedge(&cells, &wedge.shape, &told.densities, told.uncertainty);
            Box::new(fit.ok()?.scale)
        }
        (None, None) => Box::new(assumed_white(asked.scans[scan].white(Channel::Luminance))),
        _ => return None,
    })
}

fn of_session(practice: &Practice, asked: &Question) -> Vec<Seen> {
    let recipe = &practice.truth.recipe;
    let found = analyse(asked, &Unwatched).unwrap();
    let mut seen = Vec::new();
    for (strip, truth) in found.strips.iter().zip(&practice.truth.strips) {
        let Some(located) = strip.located.as_ref().filter(|located| located.is_sure()) else {
            continue;
        };
        let Some(scale) = plain_scale(asked, &found, located.shape.scan) else {
            continue;
        };
        let cells = cells_of(asked, &located.shape);
        for step in &strip.steps {
            let (field, truth) = match step.step.checked_sub(1) {
                None => (Field::Margin, truth.margin_area_density),
                Some(number) => (Field::Step(number), truth.steps[number].area_density),
            };
            let Some(truth) = truth else { continue };
            let own = || cells.iter().filter(|c| located.shape.fields[c.field] == field);
            let hazy = area_density(own(), &*scale, StrayLight::LeftIn).unwrap();
            let own = area_density(own(), &*scale, StrayLight::TakenOff).unwrap();
            seen.push(Seen {
                level: recipe.level,
                seed: recipe.seed,
                role: strip.role.unwrap(),
                margin: field == Field::Margin,
                truth,
                error: own.density - truth,
                stated: own.standard_error,
                hazy: hazy.density - truth,
            });
        }
    }
    seen
}

/// Areas of so many sessions of a level, read with the wedge and without.
pub fn sessions(level: Level, first: u64, count: u64) -> [Vec<Seen>; 2] {
    let read: Vec<[Vec<Seen>; 2]> = (first..first + count)
        .into_par_iter()
        .map(|seed| {
            let practice = make(&Recipe::new(level, seed));
            let with = question(&practice);
            let bare = make(&Recipe::new(level, seed).with(Twist::NoWedge));
            let without = question(&bare);
            [of_session(&practice, &with), of_session(&bare, &without)]
        })
        .collect();
    let (mut with, mut without) = (Vec::new(), Vec::new());
    for [a, b] in read {
        with.extend(a);
        without.extend(b);
    }
    [with, without]
}
