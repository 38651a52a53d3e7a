//! Stray light from the near neighbourhood: a dark field beside a light one reads lighter
//! than the same field in dark company. Its share and its reach are estimated from the scan.

use nalgebra::SMatrix;

use super::wedge::WedgeField;
use crate::measure::reading::{Around, Cell, REACHES_MM};

/// Count of reaches.
const COUNT: usize = REACHES_MM.len();
/// The near part of stray light, as a share of the neighbourhood's light: what is usual, and
/// its standard deviation (common practice, no source: half of 0.1 to 1.2 %).
const USUAL: (f64, f64) = (0.003, 0.003);
/// Relative unevenness of a field that the cells' own errors don't know.
const TEXTURE: f64 = 0.004;
/// So many neighbouring cells say no more than one: where the field is even but for texture, and
/// for what more it scatters, since a coat's unevenness is smooth.
const ALIKE: (f64, f64) = (2.0, 6.0);
/// Cells of a field needed to tell its unevenness from stray light.
const FEWEST_CELLS: usize = 4;
/// Error of the correction as a share of it, because stray light does not fall off just as a
/// blur does.
const SHAPE_ERROR: f64 = 0.15;
/// Error of the reach as a share of it, since it may lie anywhere between two of those looked at,
/// a factor of 1.55 apart: that of an even chance over one step.
const STEP_ERROR: f64 = 0.13;
/// Densities up to which a wedge's fields give the tone curve: beyond, stray light bends it.
const TONE_LIMIT: f64 = 1.2;
/// Most of a place's light that is taken off as it stands; beyond, the correction goes straight.
const MOST: f64 = 0.5;

/// What is taken off for stray light; by default nothing.
#[derive(Debug, Clone, Copy, PartialEq, Default)]
pub struct StrayCorrection {
    /// To be added to the density.
    pub density: f64,
    /// Its errors, density: independent modes that everything read with the scale shares.
    pub modes: Around,
}

/// The scanner's tone curve well enough to add and subtract light: -log10 of reflectance, stray
/// light included, is `offset` + `slope` s.
#[derive(Debug, Clone, Copy, PartialEq)]
struct Tone {
    offset: f64,
    slope: f64,
}

impl Tone {
    fn of(fields: &[WedgeField]) -> Self {
        let light = fields.iter().filter(|f| f.listed < TONE_LIMIT).count();
        let used = || {
            fields
                .iter()
                .filter(move |f| light < 3 || f.listed < TONE_LIMIT)
        };
        let count = used().count() as f64;
        let mean = |of: fn(&WedgeField) -> f64| used().map(of).sum::<f64>() / count;
        let (s, listed) = (mean(|f| f.scanner), mean(|f| f.listed));
        let (mut top, mut bottom) = (0.0, 0.0);
        for field in used() {
            top += (field.scanner - s) * (field.listed - listed);
            bottom += (field.scanner - s).powi(2);
        }
        let slope = if bottom > 0.0 { top / bottom } else { 1.0 };
        let slope = slope.clamp(0.5, 2.0);
        Self {
            offset: listed - slope * s,
            slope,
        }
    }

    /// Reflectance, stray light included, of linear light as scanned.
    fn reflectance(self, light: f64) -> f64 {
        10f64.powf(-self.offset) * light.max(0.0).powf(self.slope)
    }
}

/// What cells say of the share, were the reach this or that: sums of weighted squares.
#[derive(Debug, Clone, Copy, PartialEq, Default)]
struct Evidence {
    /// Of the neighbourhood's light about the field's mean.
    bottom: Around,
    /// Of that times the cell's own light about the field's mean.
    top: Around,
}

impl Evidence {
    /// Counts the cells of a strip or wedge. A field is taken to be even but for texture, so
    /// within it cells with light neighbours read lighter; the darker, the more it shows.
    fn add(&mut self, cells: &[Cell], tone: Tone) {
        for group in cells.chunk_by(|a, b| a.field == b.field) {
            if group.len() < FEWEST_CELLS {
                continue;
            }
            let count = group.len() as f64;
            let own: Vec<f64> = group.iter().map(|c| tone.reflectance(c.light)).collect();
            let mean = own.iter().sum::<f64>() / count;
            let around = |reach: usize| -> Vec<f64> {
                let light = group
                    .iter()
                    .map(|cell| tone.reflectance(cell.around[reach]));
                let light: Vec<f64> = light.collect();
                let mean = light.iter().sum::<f64>() / count;
                light.into_iter().map(|light| light - mean).collect()
            };
            let sums: [(f64, f64); COUNT] = std::array::from_fn(|reach| {
                let away = around(reach);
                let bottom = away.iter().map(|x| x * x).sum::<f64>();
                let top = away.iter().zip(&own).map(|(x, y)| x * (y - mean)).sum();
                (bottom, top)
            });
            let squares: f64 = own.iter().map(|y| (y - mean).powi(2)).sum();
            let explained = sums
                .iter()
                .filter(|(bottom, _)| *bottom > 0.0)
                .map(|(bottom, top)| top * top / bottom)
                .fold(0.0, f64::max);
            let left = (squares - explained).max(0.0) / (count - 2.0);
            let noise = group
                .iter()
                .zip(&own)
                .map(|(cell, own)| (tone.slope * cell.light_error / cell.light * own).powi(2));
            let known = noise.sum::<f64>() / count + (TEXTURE * mean).powi(2);
            let variance = ALIKE.0 * known + ALIKE.1 * (left - known).max(0.0);
            if !(variance > 0.0 && variance.is_finite()) {
                continue;
            }
            for (reach, (bottom, top)) in sums.into_iter().enumerate() {
                self.bottom[reach] += bottom / variance;
                self.top[reach] += top / variance;
            }
        }
    }

    /// Share by reach after the evidence: for each reach its chance, and the share and its
    /// variance if that is the one.
    fn posterior(&self) -> [(f64, f64, f64); COUNT] {
        let (middle, width) = USUAL;
        let each: [(f64, f64, f64); COUNT] = std::array::from_fn(|reach| {
            let precision = width.powi(-2) + self.bottom[reach];
            let share = (middle / width.powi(2) + self.top[reach]) / precision;
            let log_evidence = (precision * share * share - precision.ln()) / 2.0;
            (log_evidence, share.max(0.0), precision.recip())
        });
        let best = each.iter().map(|e| e.0).fold(f64::NEG_INFINITY, f64::max);
        let total: f64 = each.iter().map(|e| (e.0 - best).exp()).sum();
        each.map(|(log, share, variance)| ((log - best).exp() / total, share, variance))
    }
}

/// How much of its neighbourhood's light strays into a place, and what the wedge had.
#[derive(Debug, Clone, PartialEq)]
pub struct NearStray {
    tone: Tone,
    evidence: Evidence,
    /// Chance, share and variance of the share, by reach.
    by_reach: [(f64, f64, f64); COUNT],
    /// Mean share by reach.
    shares: Around,
    /// Independent errors of the shares: mode by mode, by reach.
    modes: [Around; COUNT],
    /// Scanner density of the wedge's fields, ascending, and the reflectance around them.
    wedge: Vec<(f64, Around)>,
}

impl NearStray {
    /// The share and reach from the cells of a wedge, with the usual share as prior.
    pub(super) fn of(cells: &[Cell], fields: &[WedgeField]) -> Self {
        let tone = Tone::of(fields);
        let mut evidence = Evidence::default();
        evidence.add(cells, tone);
        Self::new(tone, evidence, around_fields(fields, tone))
    }

    /// What is usual, where white reads as this scanner density and the usual neighbourhood
    /// reflects so much.
    pub(super) fn usual(white: f64, surround: f64) -> Self {
        let tone = Tone {
            offset: -white,
            slope: 1.0,
        };
        Self::new(tone, Evidence::default(), vec![(0.0, [surround; COUNT])])
    }

    /// What an earlier scan of a wedge taught: the share, its standard error, and the fields.
    pub(super) fn known(share: f64, error: f64, fields: &[WedgeField]) -> Self {
        let tone = Tone::of(fields);
        let by_reach = [(1.0 / COUNT as f64, share, error * error); COUNT];
        Self::with(
            tone,
            Evidence::default(),
            by_reach,
            around_fields(fields, tone),
        )
    }

    /// The same with what the steps of strips beside show: dark ones next to a white lid.
    #[must_use]
    pub fn beside(&self, strips: &[&[Cell]]) -> Self {
        let mut evidence = self.evidence;
        for cells in strips {
            evidence.add(cells, self.tone);
        }
        Self::new(self.tone, evidence, self.wedge.clone())
    }

    fn new(tone: Tone, evidence: Evidence, wedge: Vec<(f64, Around)>) -> Self {
        Self::with(tone, evidence, evidence.posterior(), wedge)
    }

    fn with(
        tone: Tone,
        evidence: Evidence,
        by_reach: [(f64, f64, f64); COUNT],
        wedge: Vec<(f64, Around)>,
    ) -> Self {
        let shares = by_reach.map(|(chance, share, _)| chance * share);
        // One reach is the true one: moments of that mixture.
        let covariance = SMatrix::<f64, COUNT, COUNT>::from_fn(|i, j| {
            let (chance, share, variance) = by_reach[i];
            let own = if i == j {
                chance * (variance + share * share) + (SHAPE_ERROR * shares[i]).powi(2)
            } else {
                0.0
            };
            own - shares[i] * shares[j]
        });
        let parts = covariance.symmetric_eigen();
        let modes = std::array::from_fn(|mode| {
            let size = parts.eigenvalues[mode].max(0.0).sqrt();
            std::array::from_fn(|reach| size * parts.eigenvectors[(reach, mode)])
        });
        Self {
            tone,
            evidence,
            by_reach,
            shares,
            modes,
            wedge,
        }
    }

    /// The share of the neighbourhood's light, and its standard error.
    pub fn share(&self) -> (f64, f64) {
        let total = |of: &Around| of.iter().sum::<f64>();
        let variance: f64 = self.modes.iter().map(|mode| total(mode).powi(2)).sum();
        (total(&self.shares), variance.sqrt())
    }

    /// How far it comes from (the standard deviation of a blur), and the standard error of that,
    /// millimetres.
    pub fn reach_mm(&self) -> (f64, f64) {
        let mean = |of: &dyn Fn(f64) -> f64| -> f64 {
            let each = self.by_reach.iter().zip(REACHES_MM);
            each.map(|((chance, ..), reach)| chance * of(reach)).sum()
        };
        let middle = mean(&|reach| reach);
        let between = mean(&|reach| (reach - middle).powi(2)).sqrt();
        (middle, between.hypot(STEP_ERROR * middle))
    }

    /// What is to be taken off a place of scanner density `s` whose neighbourhood has this light
    /// and which the scale gives this density.
    pub(super) fn correction(&self, s: f64, around: &Around, density: f64) -> StrayCorrection {
        let wedge = self.around_wedge(s);
        let excess: Around =
            std::array::from_fn(|reach| self.tone.reflectance(around[reach]) - wedge[reach]);
        let reflectance = 10f64.powf(-density);
        let of = |shares: &Around| -> f64 {
            let stray = shares
                .iter()
                .zip(&excess)
                .map(|(share, light)| share * light);
            stray.sum::<f64>() / reflectance
        };
        let off = of(&self.shares);
        let held = off.min(MOST);
        let slope = 1.0 / ((1.0 - held) * std::f64::consts::LN_10);
        StrayCorrection {
            density: -(1.0 - held).log10() + (off - held) * slope,
            modes: std::array::from_fn(|mode| of(&self.modes[mode]) * slope),
        }
    }

    /// The reflectance around the wedge's fields at a scanner density.
    fn around_wedge(&self, s: f64) -> Around {
        let above = self.wedge.partition_point(|&(at, _)| at < s);
        match (
            above.checked_sub(1).map(|i| self.wedge[i]),
            self.wedge.get(above),
        ) {
            (Some(low), Some(high)) => {
                let share = (s - low.0) / (high.0 - low.0).max(1e-9);
                std::array::from_fn(|reach| low.1[reach] + (high.1[reach] - low.1[reach]) * share)
            }
            (Some(end), None) => end.1,
            (None, Some(end)) => end.1,
            (None, None) => [0.0; COUNT],
        }
    }
}

fn around_fields(fields: &[WedgeField], tone: Tone) -> Vec<(f64, Around)> {
    let mut around: Vec<(f64, Around)> = fields
        .iter()
        .map(|f| (f.scanner, f.around.map(|light| tone.reflectance(light))))
        .collect();
    around.sort_by(|a, b| a.0.total_cmp(&b.0));
    around
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::measure::geometry::Point;

    /// Cells of fields whose neighbours are unevenly light; the light of the third reach strays
    /// in, what the other reaches see goes another way.
    fn cells(share: f64) -> Vec<Cell> {
        let mut cells = Vec::new();
        for (field, density) in [0.1, 0.8, 1.4, 2.0].into_iter().enumerate() {
            for k in 0..12 {
                let around: Around = std::array::from_fn(|reach| {
                    0.4 + 0.2 * (f64::from(k) * (0.5 + 0.25 * reach as f64)).sin()
                });
                let light = 10f64.powf(-density) + share * around[2];
                cells.push(Cell {
                    field,
                    at_mm: (0.0, 0.0),
                    at: Point::new(0.0, 0.0),
                    light,
                    light_error: 2e-5,
                    pixels: 1000,
                    rejected: 0.0,
                    clipped: 0.0,
                    around,
                });
            }
        }
        cells
    }

    fn field(density: f64) -> WedgeField {
        WedgeField {
            number: 0,
            scanner: density,
            error: 0.0,
            listed: density,
            around: [0.3; COUNT],
        }
    }

    #[test]
    fn share_and_reach_are_found_within_the_fields_and_taken_off_the_strips() {
        let share = 0.004;
        let near = NearStray::of(&cells(share), &[field(0.1), field(1.0), field(2.0)]);
        assert!((near.share().0 - share).abs() < 0.0004, "{near:?}");
        assert!((near.reach_mm().0 - REACHES_MM[2]).abs() < 0.5, "{near:?}");
        // A step of 1.5 D in lighter company than the wedge's field reads too light.
        let seen = |around: f64| -(10f64.powf(-1.5) + share * around).log10();
        let correction = near.correction(seen(0.6), &[0.6; COUNT], seen(0.6));
        let wanted = seen(0.3) - seen(0.6);
        let error = correction.modes.map(|mode| mode * mode).iter().sum::<f64>();
        assert!((correction.density - wanted).abs() < 0.15 * wanted);
        assert!((0.1..0.3).contains(&(error.sqrt() / correction.density)));
        let none = near.correction(2.0, &[0.3; COUNT], 2.0);
        assert!(none.density.abs() < 1e-12);
    }

    #[test]
    fn strips_beside_tell_what_no_wedge_did() {
        let before = NearStray::usual(0.0, 0.6);
        let after = before.beside(&[&cells(0.006)]);
        assert!((before.share().0 - USUAL.0).abs() < 1e-12);
        assert!((after.share().0 - 0.006).abs() < 0.0006, "{after:?}");
        assert!(after.share().1 < before.share().1);
        assert!(after.reach_mm().1 < before.reach_mm().1);
    }

    #[test]
    fn a_place_that_stray_light_drowns_gets_a_finite_density() {
        let near = NearStray::known(0.01, 0.002, &[field(0.1), field(1.0), field(3.0)]);
        for density in [2.0, 2.5, 3.0, 4.0] {
            let correction = near.correction(density, &[0.9; COUNT], density);
            assert!(correction.density.is_finite() && correction.density > 0.0);
        }
    }
}
