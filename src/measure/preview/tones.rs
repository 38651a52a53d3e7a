//! Every tone of the print carried over, once per position of the slider.

use rayon::prelude::*;

use super::colour::CoatColour;
use super::curve::{Reached, TestedCurve};
use crate::measure::units::{DECADES_PER_STOP, reflectance_of};

/// Count of print densities that a table holds.
pub const LEVELS: usize = 65_536;
/// Density of the first level: lighter than any paper, so that noise above white has room.
const FIRST: f64 = -0.1;
/// Density between levels. In a paper's toe, where a step of density is a long way of exposure,
/// the coating multiplies an error of half of it by up to some thirty times.
const APART: f64 = 0.000_062_5;

/// Print density of a level.
pub fn density_of_level(level: usize) -> f64 {
    FIRST + APART * level as f64
}

/// The level nearest to a print density; densities off the scale go to its ends.
pub fn level_of_density(density: f64) -> u16 {
    let place = (density - FIRST) / APART;
    // A number that isn't one goes to the first level, as the cast has it.
    place.round().clamp(0.0, (LEVELS - 1) as f64) as u16
}

/// What becomes of a tone at the ends of the coating's scale.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Loss {
    /// It has tone on the coating.
    None,
    /// Blank on the coating; the flag says that it has tone on the paper print.
    Blank(bool),
    /// Blocked on the coating; the flag says that it isn't blocked on the paper print.
    Blocked(bool),
}

/// The way from the print's tones to the coating's, for one paper and one coating.
#[derive(Debug, Clone)]
pub struct Tones {
    paper: TestedCurve,
    coat: TestedCurve,
    colour: CoatColour,
    /// For each level the log exposure that made it on the paper.
    exposures: Vec<Reached>,
}

/// What becomes of each level at one exposure.
#[derive(Debug, Clone, PartialEq)]
pub struct Table {
    /// Density on the coating.
    pub density: Vec<f32>,
    /// Linear light of the coating by red, green and blue, relative to a perfect white.
    pub light: Vec<[f32; 3]>,
    /// The same as screen values (sRGB, 8 bits).
    pub screen: Vec<[u8; 3]>,
    /// What is lost.
    pub loss: Vec<Loss>,
    /// Whether a level lies beyond the tested steps of the paper, or its place on the
    /// coating's curve beyond those of the coating.
    pub beyond: Vec<bool>,
}

impl Tones {
    /// Prepares a paper and a coating, both in the same unit of log exposure.
    pub fn new(paper: TestedCurve, coat: TestedCurve, colour: CoatColour) -> Self {
        let exposures = (0..LEVELS)
            .map(|level| paper.log_exposure(density_of_level(level)))
            .collect();
        Self {
            paper,
            coat,
            colour,
            exposures,
        }
    }

    /// The paper's curve.
    pub fn paper(&self) -> &TestedCurve {
        &self.paper
    }

    /// The coating's curve.
    pub fn coat(&self) -> &TestedCurve {
        &self.coat
    }

    /// Density on the coating of a print's density, when the coating gets `stops` more
    /// exposure than the print got.
    pub fn density(&self, print_density: f64, stops: f64) -> f64 {
        let x = self.paper.log_exposure(print_density).value();
        self.coat.density(x + stops * DECADES_PER_STOP).value()
    }

    /// Log exposure on the paper of each level, held within the tested steps.
    pub(super) fn exposure_of_level(&self, level: usize) -> f64 {
        self.exposures[level].value()
    }

    /// The table for an exposure `stops` above the print's.
    pub fn table(&self, stops: f64) -> Table {
        let shift = stops * DECADES_PER_STOP;
        let (blank, blocked) = (self.coat.blank_below(), self.coat.blocked_above());
        let print_blank = self.paper.blank_below();
        let print_blocked = self.paper.blocked_above();
        let tested = |reached| matches!(reached, Reached::Tested(_));
        let mut table = Table {
            density: vec![0.0; LEVELS],
            light: vec![[0.0; 3]; LEVELS],
            screen: vec![[0; 3]; LEVELS],
            loss: vec![Loss::None; LEVELS],
            beyond: vec![false; LEVELS],
        };
        (
            &self.exposures,
            &mut table.density,
            &mut table.light,
            &mut table.screen,
            &mut table.loss,
            &mut table.beyond,
        )
            .into_par_iter()
            .with_min_len(1024)
            .enumerate()
            .for_each(
                |(level, (&exposure, density, light, screen, loss, beyond))| {
                    let reached = self.coat.density(exposure.value() + shift);
                    let coated = reached.value();
                    let reflectance = reflectance_of(coated);
                    *density = coated as f32;
                    *light = self
                        .colour
                        .at(coated)
                        .map(|ratio| (ratio * reflectance) as f32);
                    *screen = light.map(|light| (encoded_srgb(light) * 255.0).round() as u8);
                    *beyond = !(tested(exposure) && tested(reached));
                    let print = density_of_level(level);
                    if coated < blank {
                        *loss = Loss::Blank(print >= print_blank);
                    } else if coated > blocked {
                        *loss = Loss::Blocked(print <= print_blocked);
                    }
                },
            );
        table
    }
}

/// Linear light as a share of full sRGB code (IEC 61966-2-1), 0 to 1.
pub fn encoded_srgb(light: f32) -> f32 {
    let light = light.clamp(0.0, 1.0);
    if light <= 0.003_130_8 {
        12.92 * light
    } else {
        1.055 * light.powf(1.0 / 2.4) - 0.055
    }
}
