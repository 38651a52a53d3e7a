//! Light from the near neighbourhood, which comes two ways.
//!
//! Some of it strays into the lens: it is added, and counts in dark fields only. And some of it
//! falls back on the place that is read, by way of the glass and the lamp's housing: that
//! multiplies, so that the same ink reads lighter by as much, in density, wherever white lies
//! around it (0.07 to 0.09 D between white and black ground on a real flatbed, from its lightest to
//! its darkest ink: testdata/flatbed). Share, gain and reach are estimated from the scan; what it
//! leaves open is carried as modes of error.

use nalgebra::{SMatrix, SVector};

use super::wedge::WedgeField;
use crate::measure::reading::{Around, Cell, REACHES_MM, STRAY_MODES};

/// Count of reaches.
const COUNT: usize = REACHES_MM.len();
/// The near part of stray light, as a share of the neighbourhood's light: what is usual, and
/// its standard deviation (common practice, no source: half of 0.1 to 1.2 %).
const USUAL: (f64, f64) = (0.003, 0.003);
/// Gain by light from the neighbourhood: how much more light a place gets where all around is
/// white instead of black. None is taken for granted; the standard deviation is meant for flatbeds
/// whose gain is nought as for the one that shows 0.2 (its inks 1, 3 and 5 in testdata/flatbed).
const USUAL_GAIN: (f64, f64) = (0.0, 0.1);
/// Standard deviation of the gain that no field shows within itself: light that comes from nearer
/// than a cell or from farther than a field is everywhere alike in it. That a scan's fields are
/// even tells as little against it as for it, so it stays in the bounds whatever they show.
const UNSEEN_GAIN: f64 = 0.18;
/// Standard deviation of what looks like gain on one strip but is its coat: thicker or thinner
/// towards its sides, by a hundredth or two over a change of 0.3 in the light around.
const COAT_GAIN: f64 = 0.06;
/// Most that a gain can be.
const MOST_GAIN: f64 = 0.5;
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
    pub modes: [f64; STRAY_MODES],
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

/// Share and gain.
type Two = SVector<f64, 2>;
type TwoByTwo = SMatrix<f64, 2, 2>;

/// What cells say of share and gain, were the reach this or that: normal equations.
#[derive(Debug, Clone, Copy, PartialEq, Default)]
struct Evidence {
    /// Of the neighbourhood's light about the field's mean, by reach.
    matrix: [TwoByTwo; COUNT],
    /// Of that times the cell's own light about the field's mean.
    pull: [Two; COUNT],
}

/// What the cells lie on.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
enum On {
    /// A wedge, whose fields are even.
    Wedge,
    /// A coat, which may change towards the sides as the light around does.
    Coat,
}

impl Evidence {
    /// What the cells of a strip or wedge show. A field is taken to be even but for texture, so
    /// within it cells with light neighbours read lighter: the darker the field, the more of it is
    /// the share's doing, and the lighter, the gain's.
    fn of(cells: &[Cell], tone: Tone, on: On) -> Self {
        let mut evidence = Self::default();
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
            // Light that is added, and light in proportion to the field's own.
            let by = Two::new(1.0, mean);
            for (reach, (bottom, top)) in sums.into_iter().enumerate() {
                evidence.matrix[reach] += by * by.transpose() * (bottom / variance);
                evidence.pull[reach] += by * (top / variance);
            }
        }
        match on {
            On::Wedge => evidence,
            On::Coat => evidence.with_coat(),
        }
    }

    /// The same with the coat's own look of gain, which is like no other strip's, integrated out.
    fn with_coat(mut self) -> Self {
        for (matrix, pull) in self.matrix.iter_mut().zip(&mut self.pull) {
            let by_gain: Two = matrix.column(1).into();
            let held = matrix[(1, 1)] + COAT_GAIN.powi(-2);
            *matrix -= by_gain * by_gain.transpose() / held;
            *pull -= by_gain * (pull[1] / held);
        }
        self
    }

    fn and(mut self, other: &Self) -> Self {
        for reach in 0..COUNT {
            self.matrix[reach] += other.matrix[reach];
            self.pull[reach] += other.pull[reach];
        }
        self
    }

    /// Share and gain by reach after the evidence: for each reach its chance, and the two with
    /// their covariance if that is the one.
    fn posterior(&self) -> [Reached; COUNT] {
        let middle = Two::new(USUAL.0, USUAL_GAIN.0);
        let held = Two::new(USUAL.1.powi(-2), USUAL_GAIN.1.powi(-2));
        let each: [(f64, Two, TwoByTwo); COUNT] = std::array::from_fn(|reach| {
            let precision = self.matrix[reach] + TwoByTwo::from_diagonal(&held);
            let pull = self.pull[reach] + held.component_mul(&middle);
            // Held by the prior, so it can be turned round whatever the cells say.
            let covariance = precision.try_inverse().unwrap_or_default();
            let found = covariance * pull;
            let log_evidence = (pull.dot(&found) - precision.determinant().ln()) / 2.0;
            let possible = Two::new(found[0].max(0.0), found[1].clamp(0.0, MOST_GAIN));
            (log_evidence, possible, covariance)
        });
        let best = each.iter().map(|e| e.0).fold(f64::NEG_INFINITY, f64::max);
        let total: f64 = each.iter().map(|e| (e.0 - best).exp()).sum();
        each.map(|(log, found, covariance)| Reached {
            chance: (log - best).exp() / total,
            found,
            covariance,
        })
    }
}

/// Share and gain if the light comes from one reach, and the chance of that.
#[derive(Debug, Clone, Copy, PartialEq)]
struct Reached {
    chance: f64,
    found: Two,
    covariance: TwoByTwo,
}

/// How much of its neighbourhood's light strays into a place, and what the wedge had.
#[derive(Debug, Clone, PartialEq)]
pub struct NearStray {
    tone: Tone,
    evidence: Evidence,
    by_reach: [Reached; COUNT],
    /// Mean share by reach, and mean gain.
    shares: Around,
    gains: Around,
    /// Independent errors of shares and gains: mode by mode, by reach.
    modes: [(Around, Around); STRAY_MODES],
    /// Scanner density of the wedge's fields, ascending, and the reflectance around them.
    wedge: Vec<(f64, Around)>,
}

impl NearStray {
    /// Share, gain and reach from the cells of a wedge, with the usual ones as prior.
    pub(super) fn of(cells: &[Cell], fields: &[WedgeField]) -> Self {
        let tone = Tone::of(fields);
        let evidence = Evidence::of(cells, tone, On::Wedge);
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

    /// What an earlier scan of a wedge taught: the share, its standard error, and the fields. The
    /// gain it does not tell.
    pub(super) fn known(share: f64, error: f64, fields: &[WedgeField]) -> Self {
        let tone = Tone::of(fields);
        let reached = Reached {
            chance: 1.0 / COUNT as f64,
            found: Two::new(share, USUAL_GAIN.0),
            covariance: TwoByTwo::from_diagonal(&Two::new(error * error, USUAL_GAIN.1.powi(2))),
        };
        Self::with(
            tone,
            Evidence::default(),
            [reached; COUNT],
            around_fields(fields, tone),
        )
    }

    /// The same with what the steps of strips beside show: dark ones next to a white lid.
    #[must_use]
    pub fn beside(&self, strips: &[&[Cell]]) -> Self {
        let strips = strips
            .iter()
            .map(|cells| Evidence::of(cells, self.tone, On::Coat));
        let evidence = strips.fold(self.evidence, |all, one| all.and(&one));
        Self::new(self.tone, evidence, self.wedge.clone())
    }

    fn new(tone: Tone, evidence: Evidence, wedge: Vec<(f64, Around)>) -> Self {
        Self::with(tone, evidence, evidence.posterior(), wedge)
    }

    fn with(
        tone: Tone,
        evidence: Evidence,
        by_reach: [Reached; COUNT],
        wedge: Vec<(f64, Around)>,
    ) -> Self {
        let shares = by_reach.map(|reached| reached.chance * reached.found[0]);
        let gains = by_reach.map(|reached| reached.chance * reached.found[1]);
        let means: [f64; 2 * COUNT] = std::array::from_fn(|at| {
            if at < COUNT {
                shares[at]
            } else {
                gains[at - COUNT]
            }
        });
        // One reach is the true one: moments of that mixture.
        let covariance = SMatrix::<f64, { 2 * COUNT }, { 2 * COUNT }>::from_fn(|i, j| {
            let Reached {
                chance,
                found,
                covariance,
            } = by_reach[i % COUNT];
            let (a, b) = (i / COUNT, j / COUNT);
            let same_reach = if i % COUNT == j % COUNT {
                chance * (covariance[(a, b)] + found[a] * found[b])
            } else {
                0.0
            };
            let shape = if i == j {
                (SHAPE_ERROR * means[i]).powi(2)
            } else {
                0.0
            };
            same_reach + shape - means[i] * means[j]
        });
        let parts = covariance.symmetric_eigen();
        let modes = std::array::from_fn(|mode| {
            if mode == 2 * COUNT {
                // The ground that a field lies on is its nearest neighbourhood.
                let nearest = |reach| if reach == 0 { UNSEEN_GAIN } else { 0.0 };
                return ([0.0; COUNT], std::array::from_fn(nearest));
            }
            let size = parts.eigenvalues[mode].max(0.0).sqrt();
            let of = |from: usize| {
                std::array::from_fn(|reach| size * parts.eigenvectors[(from + reach, mode)])
            };
            (of(0), of(COUNT))
        });
        Self {
            tone,
            evidence,
            by_reach,
            shares,
            gains,
            modes,
            wedge,
        }
    }

    /// The share of the neighbourhood's light, and its standard error.
    pub fn share(&self) -> (f64, f64) {
        let total = |of: &Around| of.iter().sum::<f64>();
        let modes = self.modes.iter();
        let variance: f64 = modes.map(|(shares, _)| total(shares).powi(2)).sum();
        (total(&self.shares), variance.sqrt())
    }

    /// How much more light a place gets in a white neighbourhood than in a black one, as a share,
    /// and its standard error: as far as fields show it within themselves.
    pub fn seen_gain(&self) -> (f64, f64) {
        let total = |of: &Around| of.iter().sum::<f64>();
        let modes = self.modes[..2 * COUNT].iter();
        let variance: f64 = modes.map(|(_, gains)| total(gains).powi(2)).sum();
        (total(&self.gains), variance.sqrt())
    }

    /// How far it comes from (the standard deviation of a blur), and the standard error of that,
    /// millimetres.
    pub fn reach_mm(&self) -> (f64, f64) {
        let mean = |of: &dyn Fn(f64) -> f64| -> f64 {
            let each = self.by_reach.iter().zip(REACHES_MM);
            each.map(|(reached, reach)| reached.chance * of(reach))
                .sum()
        };
        let middle = mean(&|reach| reach);
        let between = mean(&|reach| (reach - middle).powi(2)).sqrt();
        (middle, between.hypot(STEP_ERROR * middle))
    }

    /// What is to be taken off a place of scanner density `s` whose neighbourhood has this light
    /// and which the scale gives this density.
    pub(super) fn correction(&self, s: f64, around: &Around, density: f64) -> StrayCorrection {
        let wedge = self.around_wedge(s);
        let here: Around = around.map(|light| self.tone.reflectance(light));
        let dot = |a: &Around, b: &Around| a.iter().zip(b).map(|(a, b)| a * b).sum::<f64>();
        let excess: Around = std::array::from_fn(|reach| here[reach] - wedge[reach]);
        let reflectance = 10f64.powf(-density);
        let of = |shares: &Around| dot(shares, &excess) / reflectance;
        let off = of(&self.shares);
        let held = off.min(MOST);
        let slope = 1.0 / ((1.0 - held) * std::f64::consts::LN_10);
        // How much more light falls on the place, and on the wedge's field like it.
        let lit = (
            1.0 + dot(&self.gains, &here),
            1.0 + dot(&self.gains, &wedge),
        );
        let by_gain: Around = std::array::from_fn(|reach| {
            (here[reach] / lit.0 - wedge[reach] / lit.1) / std::f64::consts::LN_10
        });
        let added = -(1.0 - held).log10() + (off - held) * slope;
        StrayCorrection {
            density: added + (lit.0 / lit.1).log10(),
            modes: std::array::from_fn(|mode| {
                let (shares, gains) = &self.modes[mode];
                of(shares) * slope + dot(gains, &by_gain)
            }),
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
impl NearStray {
    /// The same with a gain that is known.
    pub(super) fn with_gain(&self, gain: f64) -> Self {
        let by_reach = self.by_reach.map(|reached| Reached {
            found: Two::new(reached.found[0], gain),
            covariance: TwoByTwo::from_diagonal(&Two::new(reached.covariance[(0, 0)], 0.0)),
            ..reached
        });
        Self::with(self.tone, self.evidence, by_reach, self.wedge.clone())
    }
}
