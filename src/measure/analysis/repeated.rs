//! Strips seen more than once: what they show of the scans and the scanner, and their readings
//! as one.

use std::collections::BTreeMap;
use std::f64::consts::LN_10;
use std::sync::Arc;

use nalgebra::{DMatrix, DVector};

use super::Question;
use super::kept::Kept;
use super::scales::Scales;
use crate::measure::finding::{Finding, Kind};
use crate::measure::geometry::{Field, StripShape};
use crate::measure::reading::{Cell, StripReading};
use crate::measure::scale::common::{Apart, Common, LevelShown, combined, miscounted, two_strips};
use crate::measure::scale::repeats::{Repeat, Shown, band, cautious, merged, modes, pooled};

/// Everything that was read.
pub(super) struct Read<'a> {
    /// What was asked.
    pub question: &'a Question,
    /// Where each strip lies.
    pub shapes: &'a [Option<&'a StripShape>],
    /// Its cells.
    pub cells: &'a [Option<Arc<Vec<Cell>>>],
    /// Its reading.
    pub readings: &'a [Option<Arc<StripReading>>],
    /// Whether its place is sure enough to build on.
    pub sure: &'a [bool],
}

/// What an entry of a reading is of.
fn fields(reading: &StripReading) -> Vec<Field> {
    let margin = reading.has_margin.then_some(Field::Margin);
    let steps = reading.steps.iter().copied().map(Field::Step);
    margin.into_iter().chain(steps).collect()
}

impl Read<'_> {
    /// Strips that were read more than once, each with all of its numbers, its own first.
    fn repeated(&self) -> Vec<Vec<usize>> {
        let strips = &self.question.strips;
        let read = |strip: &usize| self.sure[*strip] && self.reading(*strip).is_some();
        (0..strips.len())
            .filter(|&first| strips[first].same_as.is_none() && read(&first))
            .map(|first| {
                let again = (0..strips.len()).filter(|&s| strips[s].same_as == Some(first));
                std::iter::once(first).chain(again.filter(read)).collect()
            })
            .filter(|all: &Vec<usize>| all.len() > 1)
            .collect()
    }

    fn reading(&self, strip: usize) -> Option<(&StripReading, &StripShape)> {
        let reading = self.readings.get(strip)?.as_ref()?;
        Some((reading, self.shapes[strip]?))
    }

    /// Variance of each entry's density from the pixels' noise: it is in the reading's own error.
    fn noise(&self, strip: usize, scales: &Scales) -> Vec<f64> {
        let (Some((reading, shape)), Some(cells)) = (self.reading(strip), &self.cells[strip])
        else {
            return Vec::new();
        };
        let scale = scales.of(shape.scan);
        let variance = |(entry, field): (usize, Field)| {
            let own = cells
                .iter()
                .filter(|cell| shape.part(cell.field) == Some(field) && cell.light > 0.0);
            let relative: Vec<f64> = own
                .map(|cell| (cell.light_error / (cell.light * LN_10)).powi(2))
                .collect();
            let count = relative.len().max(1) as f64;
            let slope = scale.slope(reading.scanner[entry]);
            relative.iter().sum::<f64>() / count.powi(2) * slope.powi(2)
        };
        fields(reading)
            .into_iter()
            .enumerate()
            .map(variance)
            .collect()
    }

    /// The fields that two strips share, the second less the first: in density, or in the
    /// scanner density of the second.
    fn apart(&self, (a, b): (usize, usize), scales: &Scales, in_scanner: bool) -> Vec<Apart> {
        let (Some((first, _)), Some((second, shape))) = (self.reading(a), self.reading(b)) else {
            return Vec::new();
        };
        let (noise_a, noise_b) = (self.noise(a, scales), self.noise(b, scales));
        let scale = scales.of(shape.scan);
        let of_first = fields(first);
        let shared = fields(second).into_iter().enumerate();
        shared
            .filter_map(|(there, field)| {
                let here = of_first.iter().position(|&other| other == field)?;
                let slope = if in_scanner {
                    scale.slope(second.scanner[there]).max(1e-6)
                } else {
                    1.0
                };
                Some(Apart {
                    density: (first.density[here] + second.density[there]) / 2.0,
                    by: (second.density[there] - first.density[here]) / slope,
                    noise: (noise_a[here] + noise_b[there]).sqrt() / slope,
                })
            })
            .collect()
    }

    /// What two strips have in common, and whether they can be one at all.
    fn common(&self, pair: (usize, usize), scales: &Scales) -> Option<Common> {
        let common = Common::shown(&self.apart(pair, scales, false))?;
        let steps = |strip: usize| -> Option<Vec<f64>> {
            let (reading, _) = self.reading(strip)?;
            let margin = usize::from(reading.has_margin);
            let mut steps: Vec<f64> = reading.density.iter().skip(margin).copied().collect();
            steps.sort_unstable_by(f64::total_cmp);
            Some(steps)
        };
        Some(Common {
            miscounted: miscounted(&steps(pair.0)?, &steps(pair.1)?),
            ..common
        })
    }

    /// Brings scans that are read by another scan's wedge to the level that strips on both show.
    /// Says whether there was one.
    pub(super) fn level(
        &self,
        scales: &mut Scales,
        kept: &mut Kept,
        findings: &mut Vec<Finding>,
    ) -> bool {
        let mut any = false;
        for (scan, scale, other) in scales.levelled() {
            let on = |strip: &usize, scan: usize| {
                self.shapes[*strip].is_some_and(|shape| shape.scan == scan)
            };
            let mut shared = Vec::new();
            let mut names = Vec::new();
            for strips in self.repeated() {
                let pair = strips.iter().find(|s| on(s, other));
                let pair = pair.zip(strips.iter().find(|s| on(s, scan)));
                let Some((&a, &b)) = pair else { continue };
                let common = self.common((a, b), scales);
                if common.is_some_and(|common| common.is_one_strip()) {
                    shared.extend(self.apart((a, b), scales, true));
                    names.push(self.question.strips[strips[0]].name.as_str());
                }
            }
            let Some(common) = Common::shown(&shared) else {
                continue;
            };
            let bent = common.bent().map_or(0.0, |over| over.abs() / 2.0);
            let strip = (scale.shift() + common.level, common.error.hypot(bent));
            let (used, apart) = combined(scale.by_lid(), strip);
            findings.retain(|said| said.kind != Kind::NoWedge || said.place.scan != Some(scan));
            let shown = LevelShown {
                scans: (scan, other),
                strips: &names,
                lid: scale.by_lid(),
                strip,
                used,
                apart,
            };
            findings.extend(shown.findings(&common));
            scales.relevel(self.question, kept, scan, used);
            any = true;
        }
        any
    }

    /// What repeated readings show of the scanner's repeat error, `calibration`'s pooled in.
    pub(super) fn repeats(
        &self,
        scales: &Scales,
        calibration: &[Repeat],
        findings: &mut Vec<Finding>,
    ) -> Repeats {
        let mut shown = Vec::new();
        let mut groups = Vec::new();
        for strips in self.repeated() {
            let first = strips[0];
            let mut alike = vec![first];
            for &again in &strips[1..] {
                match self.common((first, again), scales) {
                    Some(common) if common.is_one_strip() => alike.push(again),
                    Some(common) => {
                        let name = |strip: usize| self.question.strips[strip].name.as_str();
                        let names = (name(again), name(first));
                        findings.push(two_strips(again, names, &common));
                    }
                    None => {}
                }
            }
            if alike.len() > 1 {
                shown.extend(self.scatter(&alike));
                groups.push(alike);
            }
        }
        let own = pooled(shown.into_iter());
        let told = if own.is_empty() {
            own
        } else {
            merged(&own, calibration)
        };
        Repeats {
            used: cautious(&told),
            told,
            calibration: calibration.to_vec(),
            groups,
        }
    }

    /// How the readings of one strip scatter, field by field, once their levels are off.
    fn scatter(&self, strips: &[usize]) -> Vec<Shown> {
        let readings: Vec<&StripReading> = strips
            .iter()
            .filter_map(|&strip| Some(self.reading(strip)?.0))
            .collect();
        let all: Vec<Vec<Field>> = readings.iter().map(|reading| fields(reading)).collect();
        let of_field = |field: &Field| -> Option<Vec<f64>> {
            let one = |(reading, fields): (&&StripReading, &Vec<Field>)| {
                let entry = fields.iter().position(|other| other == field)?;
                Some(reading.density[entry])
            };
            readings.iter().zip(&all).map(one).collect()
        };
        let rows: Vec<Vec<f64>> = all[0].iter().filter_map(of_field).collect();
        let (fields, scans) = (rows.len() as f64, readings.len() as f64);
        if fields < 2.0 {
            return Vec::new();
        }
        let mean = |row: &[f64]| row.iter().sum::<f64>() / scans;
        let level = |scan: usize| rows.iter().map(|r| r[scan] - mean(r)).sum::<f64>() / fields;
        let levels: Vec<f64> = (0..readings.len()).map(level).collect();
        // A scan reads a whole band alike wrong: fields of one band tell it better, not more often.
        let mut bands: BTreeMap<usize, Vec<(f64, f64)>> = BTreeMap::new();
        for row in &rows {
            let of_scan = row.iter().zip(&levels);
            let squares = of_scan.map(|(density, level)| (density - mean(row) - level).powi(2));
            let shown = (mean(row), squares.sum());
            bands.entry(band(mean(row))).or_default().push(shown);
        }
        let freedom = (scans - 1.0) * (1.0 - 1.0 / bands.len() as f64);
        let shares = 1.0 - 1.0 / fields;
        bands
            .into_values()
            .map(|of_band| {
                let count = of_band.len() as f64;
                let mean = |of: fn(&(f64, f64)) -> f64| of_band.iter().map(of).sum::<f64>() / count;
                Shown {
                    density: mean(|field| field.0),
                    squares: mean(|field| field.1) / (scans - 1.0) / shares * freedom,
                    freedom,
                }
            })
            .collect()
    }

    /// The error that repeats show of a strip's reading beyond what is counted already, as modes
    /// (entries x bands).
    fn beyond(&self, strip: usize, scales: &Scales, repeats: &Repeats) -> Option<DMatrix<f64>> {
        let (reading, shape) = self.reading(strip)?;
        let noise = self.noise(strip, scales);
        // What a calibration says of it is among the modes of its scale.
        let counted = if scales.is_calibrated(shape.scan) {
            &repeats.calibration[..]
        } else {
            &[]
        };
        let mut beyond = DMatrix::zeros(reading.density.len(), repeats.used.len());
        for (entry, &density) in reading.density.iter().enumerate() {
            let variance = |of: &[Repeat]| -> f64 { modes(of, density).map(|m| m * m).sum() };
            let whole = variance(&repeats.used);
            let share = (whole - noise[entry] - variance(counted)).max(0.0) / whole.max(1e-12);
            for (band, mode) in modes(&repeats.used, density).enumerate() {
                beyond[(entry, band)] = mode * share.sqrt();
            }
        }
        Some(beyond)
    }

    /// The readings with the repeat error among the modes of their own scales.
    pub(super) fn widened(
        &self,
        scales: &Scales,
        repeats: &Repeats,
    ) -> Vec<Option<Arc<StripReading>>> {
        if repeats.used.is_empty() {
            return self.readings.to_vec();
        }
        let widen = |(strip, reading): (usize, &Option<Arc<StripReading>>)| {
            let reading = reading.as_ref()?;
            let Some(beyond) = self.beyond(strip, scales, repeats) else {
                return Some(Arc::clone(reading));
            };
            Some(Arc::new(StripReading {
                repeat_modes: beyond.ncols(),
                scale_modes: beside(&reading.scale_modes, &beyond),
                ..(**reading).clone()
            }))
        };
        self.readings.iter().enumerate().map(widen).collect()
    }

    /// A reading with its modes in columns of all scales, then of each scan's repeat error.
    fn spread(&self, strip: usize, scales: &Scales, repeats: &Repeats) -> Option<StripReading> {
        let (reading, shape) = self.reading(strip)?;
        let own = self.beyond(strip, scales, repeats)?;
        let bands = own.ncols();
        let mut of_scans = DMatrix::zeros(own.nrows(), bands * self.question.scans.len());
        // What a scan reads otherwise, it reads so on every strip that lies on it.
        of_scans
            .columns_mut(shape.scan * bands, bands)
            .copy_from(&own);
        let of_scales = scales.spread(shape.scan, &reading.scale_modes);
        Some(StripReading {
            repeat_modes: of_scans.ncols(),
            scale_modes: beside(&of_scales, &of_scans),
            ..reading.clone()
        })
    }

    /// The reading of a strip, its modes in columns of all scales and scans: the weighted mean of
    /// all of its readings that show the same steps.
    ///
    /// The coat is the same each time, so its unevenness counts whole; repeat errors are
    /// independent from scan to scan. Weights are by inverse variance, one for a whole reading.
    pub(super) fn as_one(
        &self,
        strip: usize,
        scales: &Scales,
        repeats: &Repeats,
    ) -> Option<StripReading> {
        let first = self.spread(strip, scales, repeats)?;
        let Some(group) = repeats.groups.iter().find(|group| group[0] == strip) else {
            return Some(first);
        };
        let others = group[1..].iter().filter_map(|&member| {
            let reading = self.spread(member, scales, repeats)?;
            (fields(&reading) == fields(&first)).then_some(reading)
        });
        let members: Vec<StripReading> = std::iter::once(first.clone()).chain(others).collect();
        let variance = |reading: &StripReading| {
            let all = reading.covariance.trace() + reading.scale_modes.norm_squared();
            all / reading.density.len().max(1) as f64
        };
        let weights: Vec<f64> = members
            .iter()
            .map(|m| 1.0 / variance(m).max(1e-12))
            .collect();
        let total: f64 = weights.iter().sum();
        let zeros = |like: &DMatrix<f64>| DMatrix::zeros(like.nrows(), like.ncols());
        let mut mean = StripReading {
            density: DVector::zeros(first.density.len()),
            covariance: zeros(&first.covariance),
            scale_modes: zeros(&first.scale_modes),
            ..first
        };
        for (member, weight) in members.iter().zip(weights) {
            let share = weight / total;
            mean.density += &member.density * share;
            mean.covariance += &member.covariance * share;
            mean.scale_modes += &member.scale_modes * share;
        }
        Some(mean)
    }
}

/// Two matrices of as many rows as one.
fn beside(one: &DMatrix<f64>, other: &DMatrix<f64>) -> DMatrix<f64> {
    let mut both = DMatrix::zeros(one.nrows(), one.ncols() + other.ncols());
    both.columns_mut(0, one.ncols()).copy_from(one);
    both.columns_mut(one.ncols(), other.ncols())
        .copy_from(other);
    both
}

/// What repeated readings show.
pub(super) struct Repeats {
    /// The repeat error by density.
    pub told: Vec<Repeat>,
    /// The same as it is used in bounds.
    used: Vec<Repeat>,
    /// The calibration's part in it.
    calibration: Vec<Repeat>,
    /// Strips that were seen more than once and look like one.
    groups: Vec<Vec<usize>>,
}
