//! The chain: find, measure, solve.

use std::collections::BTreeMap;
use std::sync::Arc;

use nalgebra::DMatrix;
use rayon::prelude::*;

use super::gate::Gate;
use super::kept::{ByAddress, Kept, ReadingKey, ScaleMade};
use super::{Analysis, PairResult, Question, StepResult, StripResult};
use crate::measure::compare;
use crate::measure::curve::StripEvidence;
use crate::measure::finding::Finding;
use crate::measure::geometry::{Field, StripShape};
use crate::measure::raster::{Channel, Raster};
use crate::measure::reading::cells::{self, CellOptions};
use crate::measure::reading::{Cell, ReadingOptions, STRAY_MODES, StripReading, read_strip};
use crate::measure::scale::{self, DensityScale};
use crate::measure::strip::{self, Found, Located, Role, Wanted, WantedStrip, WantedWedge};
use crate::measure::watch::{Cancelled, Watch};
use crate::measure::{check, finding};

/// Stages that progress is reported in.
const STAGES: usize = 5;

/// Finds, measures and solves.
///
/// # Errors
/// [`Cancelled`] when the watch says so. Everything else that can go wrong is a finding.
pub fn analyse(question: &Question, watch: &dyn Watch) -> Result<Analysis, Cancelled> {
    analyse_again(question, &mut Kept::default(), watch)
}

/// The same after an edit: what `kept` still holds true is not worked out again.
///
/// # Errors
/// As [`analyse`].
pub fn analyse_again(
    question: &Question,
    kept: &mut Kept,
    watch: &dyn Watch,
) -> Result<Analysis, Cancelled> {
    watch.at(0, STAGES)?;
    let found = found(question, kept, watch)?;
    let shapes: Vec<Option<&StripShape>> = found
        .strips
        .iter()
        .map(|strip| strip.as_ref().map(|located| &located.shape))
        .collect();
    watch.at(1, STAGES)?;
    let mut findings = found.findings.clone();
    let scales = scales(question, &found, kept, watch, &mut findings)?;
    watch.at(2, STAGES)?;
    let strip_cells = strip_cells(question, &shapes, kept, watch)?;
    watch.at(3, STAGES)?;
    findings.extend(scan_checks(question, &found, kept));
    let readings = readings(question, &shapes, &strip_cells, &scales, kept);
    findings.extend(reading_checks(
        question,
        &shapes,
        &strip_cells,
        &readings,
        &scales,
    ));
    watch.at(4, STAGES)?;
    let gate = Gate::new(&found, &findings);
    let mut pairs = Vec::new();
    for (reference, coupon) in couples(question) {
        let (Some(on_reference), Some(on_coupon)) = (
            evidence(question, reference, &shapes, &readings, &scales),
            evidence(question, coupon, &shapes, &readings, &scales),
        ) else {
            continue;
        };
        let key = (on_reference, on_coupon, question.settings.clone());
        let (mut answer, said) = kept.pairs.get(&key).unwrap_or_else(|| {
            let solved = compare::solve(&key.0, &key.1, &question.settings);
            kept.pairs.put(key, solved.clone());
            solved
        });
        findings.extend(said);
        if let Some(gap) = gate.closed_for(&[reference, coupon]) {
            answer.withhold(gap);
        }
        pairs.push(PairResult {
            reference,
            coupon,
            answer,
        });
    }
    kept.sweep();
    finding::settle(&mut findings);
    let strips = strip_results(question, &found, &strip_cells, &readings);
    Ok(Analysis {
        strips,
        wedges: found.wedges,
        pairs,
        findings,
    })
}

fn found(question: &Question, kept: &mut Kept, watch: &dyn Watch) -> Result<Found, Cancelled> {
    let wanted = Wanted {
        strips: question
            .strips
            .iter()
            .map(|strip| WantedStrip {
                role: strip.role,
                log_exposures: strip
                    .exposures
                    .as_ref()
                    .map(|exposures| exposures.log_exposures(question.settings.lag.0)),
                given: strip.shape.clone(),
            })
            .collect(),
        wedge: question.wedge.as_ref().map(|wedge| WantedWedge {
            densities: wedge.densities.clone(),
            given: wedge.shape.clone(),
        }),
    };
    let key = (
        question.scans.iter().cloned().map(ByAddress).collect(),
        wanted,
    );
    if let Some(found) = kept.found.get(&key) {
        return Ok(found);
    }
    let found = strip::find(&question.scans, &key.1, watch)?;
    kept.found.put(key, found.clone());
    Ok(found)
}

/// Cells of a strip or wedge, measured or kept.
fn cells_of(
    raster: &Arc<Raster>,
    shape: &StripShape,
    channel: Channel,
    kept: &mut Kept,
    watch: &dyn Watch,
) -> Result<Arc<Vec<Cell>>, Cancelled> {
    let key = (ByAddress(Arc::clone(raster)), shape.clone(), channel);
    if let Some(cells) = kept.cells.get(&key) {
        return Ok(cells);
    }
    let cells = cells::measure(raster, shape, channel, &CellOptions::default(), watch)?;
    let cells = Arc::new(cells);
    kept.cells.put(key, Arc::clone(&cells));
    Ok(cells)
}

/// The density scales of a session and which one each scan is read with.
struct Scales {
    /// The scales.
    all: Vec<Arc<dyn DensityScale>>,
    /// For each scan, its place in `all`.
    of_scan: Vec<usize>,
}

impl Scales {
    fn of(&self, scan: usize) -> &Arc<dyn DensityScale> {
        &self.all[self.of_scan[scan]]
    }

    /// The modes of a reading, in columns of its own scale: what is common to strips read
    /// with one scale stays common, and scales of different scans stay independent.
    fn spread(&self, scan: usize, modes: &DMatrix<f64>) -> DMatrix<f64> {
        let own = self.of_scan[scan];
        let counts: Vec<usize> = self
            .all
            .iter()
            .map(|scale| scale.modes(0.5).len() + STRAY_MODES)
            .collect();
        let mut wide = DMatrix::zeros(modes.nrows(), counts.iter().sum());
        let before: usize = counts[..own].iter().sum();
        wide.columns_mut(before, modes.ncols()).copy_from(modes);
        wide
    }
}

/// A wedge's scale for every scan that has one. A scan without is read with the scale of the
/// session's other wedge, if there is one, and else relative to its own white.
fn scales(
    question: &Question,
    found: &Found,
    kept: &mut Kept,
    watch: &dyn Watch,
    findings: &mut Vec<Finding>,
) -> Result<Scales, Cancelled> {
    let mut by_wedge: BTreeMap<usize, Arc<dyn DensityScale>> = BTreeMap::new();
    if let Some(spec) = &question.wedge {
        for located in &found.wedges {
            let scan = located.shape.scan;
            let channel = question.settings.channel;
            let cells = cells_of(&question.scans[scan], &located.shape, channel, kept, watch)?;
            let key = (
                ByAddress(cells),
                located.shape.clone(),
                spec.densities.clone(),
                spec.uncertainty,
            );
            if let Some(made) = kept.scales.get(&key) {
                findings.extend(made.findings.iter().cloned());
                by_wedge.insert(scan, made.scale);
                continue;
            }
            match scale::fit_wedge(&key.0.0, &located.shape, &spec.densities, spec.uncertainty) {
                Ok(fit) => {
                    let made = ScaleMade {
                        scale: Arc::new(fit.scale),
                        findings: fit.findings,
                    };
                    findings.extend(made.findings.iter().cloned());
                    by_wedge.insert(scan, Arc::clone(&made.scale));
                    kept.scales.put(key, made);
                }
                Err(why) => findings.push(*why),
            }
        }
    }
    if let Some((first, scale)) = by_wedge.first_key_value() {
        let others = by_wedge.iter().skip(1);
        findings.extend(others.filter_map(|(other, theirs)| {
            scale::scans_disagree((*first, &**scale), (*other, &**theirs))
        }));
    }
    let mut all: Vec<Arc<dyn DensityScale>> = Vec::new();
    let mut of_scan = Vec::new();
    let mut index_of_wedge = BTreeMap::new();
    for (scan, scale) in &by_wedge {
        index_of_wedge.insert(*scan, all.len());
        all.push(Arc::clone(scale));
    }
    for (scan, raster) in question.scans.iter().enumerate() {
        if let Some(&index) = index_of_wedge.get(&scan) {
            of_scan.push(index);
        } else if let Some(index) = index_of_wedge.values().next() {
            findings.push(check::wedge_of_another_scan(scan));
            of_scan.push(*index);
        } else {
            findings.push(scale::no_wedge(scan));
            of_scan.push(all.len());
            all.push(Arc::new(scale::assumed_white(
                raster.white(question.settings.channel),
            )));
        }
    }
    Ok(Scales { all, of_scan })
}

fn strip_cells(
    question: &Question,
    shapes: &[Option<&StripShape>],
    kept: &mut Kept,
    watch: &dyn Watch,
) -> Result<Vec<Option<Arc<Vec<Cell>>>>, Cancelled> {
    shapes
        .iter()
        .map(|shape| {
            shape
                .map(|shape| {
                    let raster = &question.scans[shape.scan];
                    cells_of(raster, shape, question.settings.channel, kept, watch)
                })
                .transpose()
        })
        .collect()
}

fn readings(
    question: &Question,
    shapes: &[Option<&StripShape>],
    strip_cells: &[Option<Arc<Vec<Cell>>>],
    scales: &Scales,
    kept: &mut Kept,
) -> Vec<Option<Arc<StripReading>>> {
    let keys: Vec<Option<ReadingKey>> = shapes
        .iter()
        .zip(strip_cells)
        .enumerate()
        .map(|(strip, (shape, cells))| {
            let (shape, cells) = ((*shape)?, cells.as_ref()?);
            let exposures = question
                .strips
                .get(strip)
                .and_then(|spec| spec.exposures.as_ref());
            Some(ReadingKey {
                cells: Arc::clone(cells),
                shape: shape.clone(),
                scale: Arc::clone(scales.of(shape.scan)),
                log_exposures: exposures
                    .map(|exposures| exposures.log_exposures(question.settings.lag.0)),
            })
        })
        .collect();
    let known: Vec<Option<Arc<StripReading>>> = keys
        .iter()
        .map(|key| key.as_ref().and_then(|key| kept.readings.get(key)))
        .collect();
    // The costly part: one generalised-least-squares pass a strip, side by side.
    let read: Vec<Option<Arc<StripReading>>> = keys
        .par_iter()
        .zip(&known)
        .map(|(key, known)| {
            let key = key.as_ref()?;
            Some(known.clone().unwrap_or_else(|| {
                Arc::new(read_strip(
                    &key.cells,
                    &key.shape,
                    &*key.scale,
                    key.log_exposures.as_deref(),
                    &ReadingOptions::default(),
                ))
            }))
        })
        .collect();
    for ((key, known), read) in keys.into_iter().zip(&known).zip(&read) {
        if let (Some(key), None, Some(read)) = (key, known, read) {
            kept.readings.put(key, Arc::clone(read));
        }
    }
    read
}

fn scan_checks(question: &Question, found: &Found, kept: &mut Kept) -> Vec<Finding> {
    let channel = question.settings.channel;
    let mut findings = Vec::new();
    for (scan, raster) in question.scans.iter().enumerate() {
        let strips: Vec<(usize, StripShape)> = found
            .strips
            .iter()
            .enumerate()
            .filter_map(|(strip, located)| Some((strip, located.as_ref()?.shape.clone())))
            .filter(|(_, shape)| shape.scan == scan)
            .collect();
        let wedge = found
            .wedges
            .iter()
            .map(|wedge| &wedge.shape)
            .find(|shape| shape.scan == scan);
        let listed = question.wedge.as_ref().map(|wedge| wedge.densities.clone());
        let key = (
            ByAddress(Arc::clone(raster)),
            strips,
            wedge.cloned(),
            listed,
            channel,
        );
        let said = kept.checks.get(&key).unwrap_or_else(|| {
            let strips: Vec<_> = key.1.iter().map(|(strip, shape)| (*strip, shape)).collect();
            let wedge = key.2.as_ref().zip(key.3.as_ref());
            let wedge = wedge.map(|(shape, listed)| check::Wedge { shape, listed });
            let said = check::scan(raster, scan, &strips, wedge, channel);
            kept.checks.put(key, said.clone());
            said
        });
        findings.extend(said);
    }
    findings
}

/// What the readings themselves give away.
fn reading_checks(
    question: &Question,
    shapes: &[Option<&StripShape>],
    strip_cells: &[Option<Arc<Vec<Cell>>>],
    readings: &[Option<Arc<StripReading>>],
    scales: &Scales,
) -> Vec<Finding> {
    let mut findings = Vec::new();
    for (strip, shape) in shapes.iter().enumerate() {
        let (Some(shape), Some(cells), Some(reading)) =
            (shape, &strip_cells[strip], &readings[strip])
        else {
            continue;
        };
        let spec = question.strips.get(strip);
        let exposures = spec.and_then(|spec| spec.exposures.as_ref());
        let log_exposures =
            exposures.map(|exposures| exposures.log_exposures(question.settings.lag.0));
        let results = step_results(shape, cells, reading, log_exposures.as_deref());
        let rejected: Vec<(usize, f64)> = results
            .iter()
            .map(|step| (step.step, step.rejected))
            .collect();
        findings.extend(check::steps::dirty(strip, &rejected));
        let excluded = spec.map_or(&[][..], |spec| &spec.excluded);
        let steps: Vec<check::steps::ReadStep> = results
            .iter()
            .filter(|step| step.step > 0 && !excluded.contains(&(step.step - 1)))
            .filter_map(|step| {
                Some(check::steps::ReadStep {
                    step: step.step,
                    log_exposure: step.log_exposure?,
                    density: step.density,
                    standard_error: step.standard_error,
                })
            })
            .collect();
        findings.extend(check::steps::order(strip, &steps));
        let scale = scales.of(shape.scan);
        findings.extend(scale::beyond_wedge(
            &**scale,
            reading.scanner.as_slice(),
            strip,
        ));
    }
    for (reference, coupon) in couples(question) {
        let by_channel = |strip: usize| {
            let shape = shapes[strip]?;
            let log_exposures = question.strips[strip]
                .exposures
                .as_ref()?
                .log_exposures(question.settings.lag.0);
            let raster = &question.scans[shape.scan];
            check::colour::ByChannel::read(raster, strip, shape, &log_exposures)
        };
        if let (Some(reference), Some(coupon)) = (by_channel(reference), by_channel(coupon)) {
            findings.extend(check::colour::cast(
                &reference,
                &coupon,
                question.settings.channel,
            ));
        }
    }
    findings
}

/// Each coupon with the reference listed last before it, or else the first one.
fn couples(question: &Question) -> Vec<(usize, usize)> {
    let references: Vec<usize> = (0..question.strips.len())
        .filter(|&strip| question.strips[strip].role == Role::Reference)
        .collect();
    (0..question.strips.len())
        .filter(|&strip| question.strips[strip].role == Role::Coupon)
        .filter_map(|coupon| {
            let before = references
                .iter()
                .rev()
                .find(|&&reference| reference < coupon);
            Some((*before.or(references.first())?, coupon))
        })
        .collect()
}

fn evidence(
    question: &Question,
    strip: usize,
    shapes: &[Option<&StripShape>],
    readings: &[Option<Arc<StripReading>>],
    scales: &Scales,
) -> Option<StripEvidence> {
    let spec = &question.strips[strip];
    let reading = readings[strip].as_ref()?;
    let scan = shapes[strip]?.scan;
    Some(StripEvidence {
        strip,
        exposures: spec.exposures.clone()?,
        reading: StripReading {
            scale_modes: scales.spread(scan, &reading.scale_modes),
            ..(**reading).clone()
        },
        excluded: spec.excluded.clone(),
    })
}

fn strip_results(
    question: &Question,
    found: &Found,
    strip_cells: &[Option<Arc<Vec<Cell>>>],
    readings: &[Option<Arc<StripReading>>],
) -> Vec<StripResult> {
    let result = |(strip, located): (usize, &Option<Located>)| {
        let spec = question.strips.get(strip);
        let exposures = spec.and_then(|spec| spec.exposures.as_ref());
        let log_exposures =
            exposures.map(|exposures| exposures.log_exposures(question.settings.lag.0));
        let steps = match (located, &strip_cells[strip], &readings[strip]) {
            (Some(located), Some(cells), Some(reading)) => {
                step_results(&located.shape, cells, reading, log_exposures.as_deref())
            }
            _ => Vec::new(),
        };
        StripResult {
            name: spec.map_or_else(|| format!("strip {}", strip + 1), |spec| spec.name.clone()),
            role: spec.map(|spec| spec.role),
            located: located.clone(),
            steps,
            unevenness: readings[strip].as_ref().map(|reading| reading.unevenness),
        }
    };
    found.strips.iter().enumerate().map(result).collect()
}

fn step_results(
    shape: &StripShape,
    cells: &[Cell],
    reading: &StripReading,
    log_exposures: Option<&[f64]>,
) -> Vec<StepResult> {
    let margin = usize::from(reading.has_margin);
    (0..reading.density.len())
        .filter_map(|entry| {
            let step = entry.checked_sub(margin).map(|index| reading.steps[index]);
            let wanted = step.map_or(Field::Margin, Field::Step);
            let field = shape.fields.iter().position(|&field| field == wanted)?;
            let own: Vec<&Cell> = cells
                .iter()
                .filter(|cell| shape.fields[cell.field] == wanted)
                .collect();
            let mean = |value: fn(&Cell) -> f64| {
                own.iter().map(|cell| value(cell)).sum::<f64>() / own.len().max(1) as f64
            };
            let scale_variance: f64 = reading
                .scale_modes
                .row(entry)
                .iter()
                .map(|mode| mode * mode)
                .sum();
            Some(StepResult {
                step: step.map_or(0, |step| step + 1),
                corners: shape.field_corners(field),
                density: reading.density[entry],
                standard_error: (reading.covariance[(entry, entry)] + scale_variance).sqrt(),
                scanner_density: reading.scanner[entry],
                log_exposure: step.and_then(|step| log_exposures?.get(step).copied()),
                rejected: mean(|cell| cell.rejected),
                clipped: mean(|cell| cell.clipped),
            })
        })
        .collect()
}
