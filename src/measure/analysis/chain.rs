//! The chain: find, measure, solve.

use std::sync::Arc;

use rayon::prelude::*;

use super::alternatives::{self, Measured};
use super::checks::{counts, reading_checks, scan_checks};
use super::coat;
use super::doubt;
use super::gate::Gate;
use super::kept::{ByAddress, Kept, ReadingKey};
use super::repeated::{Read, Repeats};
use super::results::{hide_nonsense, strip_results};
use super::scales::{Scales, scales};
use super::{Analysis, JointReading, PairResult, Question};
use crate::measure::compare::{Compared, OtherReading, ReadAs, StripEvidence};
use crate::measure::finding::{Finding, Kind};
use crate::measure::geometry::{Area, StripShape};
use crate::measure::reading::cells::{self, CellOptions};
use crate::measure::reading::{Cell, ReadingOptions, StripReading, read_strip};
use crate::measure::scale::glass::{Glass, NotEmpty};
use crate::measure::scale::lighting::Lighting;
use crate::measure::strip::{self, Found, Role, Wanted, WantedStrip, WantedWedge};
use crate::measure::watch::{Cancelled, Watch};
use crate::measure::{compare, finding};

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
    let mut found = found(question, kept, watch)?;
    pointed_at(question, &mut found);
    watch.at(1, STAGES)?;
    let mut findings = found.findings.clone();
    let as_found = strip_cells(question, &shapes(&found), kept, watch)?;
    watch.at(2, STAGES)?;
    let told = (watch, &mut findings);
    let mut scales = scales(question, &found, &as_found, kept, told)?;
    // While the finder's own margins stand: a step taken for one hides once they are replaced.
    findings.extend(counts(question, &found));
    coat::look_for(question, &mut found, &scales, kept, &mut findings);
    let shapes = shapes(&found);
    let strip_cells = strip_cells(question, &shapes, kept, watch)?;
    watch.at(3, STAGES)?;
    findings.extend(scan_checks(question, &found, kept));
    let mut as_read = readings(question, &shapes, &strip_cells, &scales, kept);
    let sure: Vec<bool> = found.strips.iter().map(is_sure).collect();
    let first_read = read(question, &shapes, &strip_cells, (&as_read, &sure));
    if first_read.level(&mut scales, kept, &mut findings) {
        as_read = readings(question, &shapes, &strip_cells, &scales, kept);
    }
    let read = read(question, &shapes, &strip_cells, (&as_read, &sure));
    let known = scales.calibration_repeats(question, kept);
    let repeats = read.repeats(&scales, &known, &mut findings);
    let readings = read.widened(&scales, &repeats);
    findings.extend(reading_checks(
        question,
        &shapes,
        &strip_cells,
        &readings,
        &scales,
    ));
    watch.at(4, STAGES)?;
    let ways = alternatives::ways(&found);
    let measured = alternatives::measure(question, &ways, &scales, kept, watch)?;
    let evidence = |strip: usize| {
        let others = alternatives::others(strip, &read, (&ways, &measured), &scales, &repeats);
        evidence(strip, &read, &scales, &repeats, others)
    };
    let gate = Gate::new(&found, &findings);
    let mut pairs = Vec::new();
    for (reference, coupon) in couples(question) {
        let (Some(on_reference), Some(on_coupon)) = (evidence(reference), evidence(coupon)) else {
            continue;
        };
        let evidence = Arc::new([on_reference, on_coupon]);
        let key = (Arc::clone(&evidence), question.settings.clone());
        let Compared {
            mut answer,
            findings: said,
            readings,
        } = kept.pairs.get(&key).unwrap_or_else(|| {
            let solved = compare::solve_readings(&evidence[0], &evidence[1], &question.settings);
            kept.pairs.put(key, solved.clone());
            solved
        });
        findings.extend(said.into_iter().map(|finding| match finding.kind {
            // It is about both strips, whichever it stands at.
            Kind::LightNotSaid => Finding {
                seen: format!(
                    "{} and {}: {}",
                    question.strips[reference].name, question.strips[coupon].name, finding.seen
                ),
                ..finding
            },
            _ => finding,
        }));
        let readings = joint(readings, [&measured[reference], &measured[coupon]]);
        if let Some(gap) = gate.closed_for(&[reference, coupon]) {
            answer.withhold(gap);
        }
        hide_nonsense(&mut answer);
        pairs.push(PairResult {
            reference,
            coupon,
            answer,
            readings,
            evidence,
        });
    }
    findings.extend(doubt::findings(question, &ways, &pairs));
    kept.sweep();
    finding::settle(&mut findings);
    let strips = strip_results(question, &found, &ways, &strip_cells, &readings);
    Ok(Analysis {
        strips,
        wedges: found.wedges,
        spare: found
            .spare
            .into_iter()
            .filter(strip::Located::is_sure)
            .collect(),
        pairs,
        repeats: repeats.told,
        findings,
    })
}

/// Where each strip lies.
fn shapes(found: &Found) -> Vec<Option<&StripShape>> {
    let strips = found.strips.iter();
    strips
        .map(|strip| strip.as_ref().map(|located| &located.shape))
        .collect()
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
                same_as: strip.same_as,
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
        // What it was chosen from serves the next edit.
        kept.seen.keep();
        return Ok(found);
    }
    let asked = strip::Asked::of(&key.1);
    let mut seen = Vec::with_capacity(question.scans.len());
    for (scan, raster) in question.scans.iter().enumerate() {
        watch.at(0, STAGES)?;
        let key = (scan, ByAddress(Arc::clone(raster)), asked.clone());
        seen.push(kept.seen.get(&key).unwrap_or_else(|| {
            let seen = Arc::new(strip::look(scan, raster, &key.2));
            kept.seen.put(key, Arc::clone(&seen));
            seen
        }));
    }
    watch.at(0, STAGES)?;
    let seen: Vec<&strip::Seen> = seen.iter().map(|seen| &**seen).collect();
    let found = strip::choose(&seen, &key.1);
    kept.found.put(key, found.clone());
    Ok(found)
}

/// Puts the unexposed coat that a person pointed at into every reading of the strip: beside the
/// margins of a shape that the person gave too, in place of what was found else.
fn pointed_at(question: &Question, found: &mut Found) {
    for (strip, spec) in question.strips.iter().enumerate() {
        let Some(patches) = &spec.unexposed else {
            continue;
        };
        let place = |shape: &StripShape| match &spec.shape {
            Some(_) => StripShape {
                unexposed: patches.clone(),
                ..shape.clone()
            },
            None => shape.clone().with_unexposed(patches),
        };
        let others = found.otherwise.iter_mut().map(|other| &mut other.strips);
        for strips in others.chain([&mut found.strips]) {
            if let Some(located) = strips.get_mut(strip).and_then(Option::as_mut) {
                located.shape = place(&located.shape);
                for reading in &mut located.readings {
                    reading.shape = place(&reading.shape);
                }
            }
        }
    }
}

/// What is known of the empty glass, seen or kept.
pub(super) fn glass_of(
    question: &Question,
    kept: &mut Kept,
) -> Option<Arc<Result<Glass, NotEmpty>>> {
    let empty = question.empty.as_ref()?;
    let channel = question.settings.channel;
    let key = (ByAddress(Arc::clone(empty)), channel);
    Some(kept.glasses.get(&key).unwrap_or_else(|| {
        let glass = Arc::new(Glass::seen(empty, channel));
        kept.glasses.put(key, Arc::clone(&glass));
        glass
    }))
}

/// How a scan is lit, seen or kept.
pub(super) fn lighting_of(question: &Question, scan: usize, kept: &mut Kept) -> Arc<Lighting> {
    let channel = question.settings.channel;
    let glass = glass_of(question, kept);
    let raster = &question.scans[scan];
    let empty = question.empty.clone().map(ByAddress);
    let key = (ByAddress(Arc::clone(raster)), empty, channel);
    kept.lightings.get(&key).unwrap_or_else(|| {
        let lighting = Arc::new(Lighting::of(raster, channel, glass));
        kept.lightings.put(key, Arc::clone(&lighting));
        lighting
    })
}

/// Cells of a strip or wedge, measured or kept; uneven lighting is off them.
pub(super) fn cells_of(
    question: &Question,
    (shape, areas): (&StripShape, &[Area]),
    kept: &mut Kept,
    watch: &dyn Watch,
) -> Result<Arc<Vec<Cell>>, Cancelled> {
    let (raster, channel) = (&question.scans[shape.scan], question.settings.channel);
    let key = (
        ByAddress(Arc::clone(raster)),
        question.empty.clone().map(ByAddress),
        shape.clone(),
        areas.to_vec(),
        channel,
    );
    if let Some(cells) = kept.cells.get(&key) {
        return Ok(cells);
    }
    let mut cells = cells::measure_within(
        raster,
        shape,
        areas,
        channel,
        &CellOptions::default(),
        watch,
    )?;
    lighting_of(question, shape.scan, kept).even_out(&mut cells);
    let cells = Arc::new(cells);
    kept.cells.put(key, Arc::clone(&cells));
    Ok(cells)
}

fn strip_cells(
    question: &Question,
    shapes: &[Option<&StripShape>],
    kept: &mut Kept,
    watch: &dyn Watch,
) -> Result<Vec<Option<Arc<Vec<Cell>>>>, Cancelled> {
    shapes
        .iter()
        .enumerate()
        .map(|(strip, shape)| {
            let areas = question.strips.get(strip);
            let areas = areas.map_or(&[][..], |spec| &spec.areas);
            shape
                .map(|shape| cells_of(question, (shape, areas), kept, watch))
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
    let parts: Vec<Option<Part<'_>>> = shapes
        .iter()
        .zip(strip_cells)
        .enumerate()
        .map(|(strip, (shape, cells))| Some((strip, (*shape)?, Arc::clone(cells.as_ref()?))))
        .collect();
    read_all(question, &parts, scales, kept)
}

/// A strip's number, where it lies and its cells.
pub(super) type Part<'a> = (usize, &'a StripShape, Arc<Vec<Cell>>);

/// Reads strips, or the same strip in several ways, side by side.
pub(super) fn read_all(
    question: &Question,
    parts: &[Option<Part<'_>>],
    scales: &Scales,
    kept: &mut Kept,
) -> Vec<Option<Arc<StripReading>>> {
    let keys: Vec<Option<ReadingKey>> = parts
        .iter()
        .map(|part| {
            let (strip, shape, cells) = part.as_ref()?;
            let exposures = question
                .strips
                .get(*strip)
                .and_then(|spec| spec.exposures.as_ref());
            Some(ReadingKey {
                cells: Arc::clone(cells),
                shape: (*shape).clone(),
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
    let mut error = |part: &Part<'_>| lighting_of(question, part.1.scan, kept).error();
    let lighting: Vec<f64> = parts
        .iter()
        .map(|part| part.as_ref().map_or(0.0, &mut error))
        .collect();
    // The costly part: one generalised-least-squares pass a strip, side by side.
    let read: Vec<Option<Arc<StripReading>>> = keys
        .par_iter()
        .zip(&known)
        .zip(&lighting)
        .map(|((key, known), &lighting)| {
            let key = key.as_ref()?;
            Some(known.clone().unwrap_or_else(|| {
                Arc::new(read_strip(
                    &key.cells,
                    &key.shape,
                    &*key.scale,
                    key.log_exposures.as_deref(),
                    &ReadingOptions {
                        lighting,
                        ..ReadingOptions::default()
                    },
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

/// Each coupon with the reference listed last before it, or else the first one. A strip seen once
/// more makes no pair.
pub(super) fn couples(question: &Question) -> Vec<(usize, usize)> {
    let first_with = |role: Role| {
        let strips = question.strips.iter().enumerate();
        let first = strips.filter(move |(_, spec)| spec.role == role && spec.same_as.is_none());
        first.map(|(strip, _)| strip)
    };
    let references: Vec<usize> = first_with(Role::Reference).collect();
    first_with(Role::Coupon)
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
    strip: usize,
    read: &Read<'_>,
    scales: &Scales,
    repeats: &Repeats,
    others: Vec<OtherReading>,
) -> Option<StripEvidence> {
    let spec = &read.question.strips[strip];
    Some(StripEvidence {
        strip,
        role: spec.role,
        exposures: spec.exposures.clone()?,
        reading: read.as_one(strip, scales, repeats)?,
        excluded: spec.excluded.clone(),
        others,
    })
}

/// What the joint readings would give, by the places of the readings among those of their strips.
fn joint(readings: Vec<ReadAs>, measured: [&Measured; 2]) -> Vec<JointReading> {
    let place = |strip: usize, of: usize| match of.checked_sub(1) {
        None => 0,
        Some(other) => measured[strip][other].0,
    };
    let told = |read: ReadAs| JointReading {
        chance: read.chance,
        reference: place(0, read.of[0]),
        coupon: place(1, read.of[1]),
        stops: read.stops,
        ratio: read.ratio,
        contrast_difference: read.contrast_difference,
    };
    readings.into_iter().map(told).collect()
}

fn read<'a>(
    question: &'a Question,
    shapes: &'a [Option<&'a StripShape>],
    cells: &'a [Option<Arc<Vec<Cell>>>],
    (readings, sure): (&'a [Option<Arc<StripReading>>], &'a [bool]),
) -> Read<'a> {
    Read {
        question,
        shapes,
        cells,
        readings,
        sure,
    }
}

fn is_sure(located: &Option<strip::Located>) -> bool {
    located.as_ref().is_some_and(strip::Located::is_sure)
}
