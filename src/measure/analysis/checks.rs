//! What the scans and the readings give away about themselves.

use std::sync::Arc;

use super::chain::couples;
use super::kept::{ByAddress, Kept};
use super::results::step_results;
use super::scales::Scales;
use super::{Question, StepResult};
use crate::measure::check::{self, plausible, sample::Target};
use crate::measure::finding::{Finding, Place};
use crate::measure::geometry::{Area, StripShape};
use crate::measure::reading::{Cell, StripReading};
use crate::measure::scale::{self, DensityScale};
use crate::measure::strip::Found;

/// What is wrong with each scan by its pixels, and with the scans beside each other.
pub(super) fn scan_checks(question: &Question, found: &Found, kept: &mut Kept) -> Vec<Finding> {
    let channel = question.settings.channel;
    let mut findings = Vec::new();
    let mut wedges = Vec::new();
    for (scan, raster) in question.scans.iter().enumerate() {
        findings.extend(check::notes::notes(raster, &Place::scan(scan)));
        let strips: Vec<(usize, StripShape, Vec<Area>)> = found
            .strips
            .iter()
            .enumerate()
            .filter_map(|(strip, located)| {
                let shape = located.as_ref()?.shape.clone();
                Some((strip, shape, areas_of(question, strip).to_vec()))
            })
            .filter(|(_, shape, _)| shape.scan == scan)
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
            let strips = key.1.iter();
            let strips: Vec<_> = strips
                .map(|(strip, shape, areas)| (*strip, shape, areas.as_slice()))
                .collect();
            let wedge = key.2.as_ref().zip(key.3.as_ref());
            let wedge = wedge.map(|(shape, listed)| check::Wedge { shape, listed });
            let said = check::scan(raster, scan, &strips, wedge, channel);
            kept.checks.put(key, said.clone());
            said
        });
        findings.extend(said.findings);
        wedges.extend(said.wedge.map(|fields| (scan, fields)));
    }
    findings.extend(check::wedge::scans_differ(&wedges));
    findings
}

/// The areas that a person marked on a strip.
fn areas_of(question: &Question, strip: usize) -> &[Area] {
    let spec = question.strips.get(strip);
    spec.map_or(&[], |spec| &spec.areas)
}

/// Whether the strips and wedges that were found have the count that the session describes;
/// what the person outlined is taken at their word.
pub(super) fn counts(question: &Question, found: &Found) -> Vec<Finding> {
    let channel = question.settings.channel;
    let look = |strip: Option<usize>, shape: &StripShape| {
        let areas = strip.map_or(&[][..], |strip| areas_of(question, strip));
        let target = Target {
            strip,
            shape,
            areas,
        };
        let raster = &question.scans[shape.scan];
        check::count::goes_on(raster, shape.scan, &target, channel)
    };
    let mut findings = Vec::new();
    for (strip, located) in found.strips.iter().enumerate() {
        let spec = question.strips.get(strip);
        let described = spec.is_some_and(|spec| spec.exposures.is_some() && spec.shape.is_none());
        if let (true, Some(located)) = (described, located) {
            findings.extend(look(Some(strip), &located.shape));
        }
    }
    findings.extend(mistakable(question, found));
    if question
        .wedge
        .as_ref()
        .is_some_and(|wedge| wedge.shape.is_none())
    {
        let wedges = found.wedges.iter();
        findings.extend(wedges.filter_map(|wedge| look(None, &wedge.shape)));
    }
    findings
}

/// Strips that could be another one that was not found.
fn mistakable(question: &Question, found: &Found) -> Vec<Finding> {
    let count = |strip: usize| {
        let spec = question.strips.get(strip)?;
        let exposures = spec.exposures.as_ref()?;
        spec.shape.is_none().then(|| exposures.series.steps())
    };
    let strips = 0..found.strips.len();
    let missing: Vec<usize> = strips
        .clone()
        .filter(|&strip| found.strips[strip].is_none())
        .collect();
    strips
        .filter(|&strip| found.strips[strip].is_some() && count(strip).is_some())
        .filter_map(|strip| {
            let other = missing
                .iter()
                .find(|&&missing| count(missing) == count(strip))?;
            Some(check::count::mistakable(strip, *other))
        })
        .collect()
}

/// Densities of a strip that no print has.
fn implausible(
    question: &Question,
    (strip, shape): (usize, &StripShape),
    results: &[StepResult],
    scale: &dyn DensityScale,
) -> Option<Finding> {
    let raster = &question.scans[shape.scan];
    let channel = question.settings.channel;
    let target = Target {
        strip: Some(strip),
        shape,
        areas: areas_of(question, strip),
    };
    let steps: Vec<(usize, f64)> = results.iter().map(|s| (s.step, s.density)).collect();
    let (low, high) = scale.supported();
    let by_wedge = scale.by_wedge();
    let by_wedge = by_wedge.then(|| (scale.density(low), scale.density(high)));
    let shares = plausible::code_shares(raster, &target, channel);
    let read = plausible::Read {
        steps: &steps,
        by_wedge,
        codes: (&shares, raster.white_code_share(channel)),
        encoding: &raster.light.source,
    };
    plausible::implausible(strip, read)
}

/// What the readings themselves give away.
pub(super) fn reading_checks(
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
        let margin = results.iter().find(|step| step.step == 0);
        findings.extend(margin.and_then(|margin| {
            let margin = (margin.density, margin.standard_error);
            check::steps::dark_margin(strip, margin, &steps)
        }));
        let described = spec.is_some_and(|spec| {
            spec.exposures.is_some() && spec.shape.is_none() && spec.areas.is_empty()
        });
        findings.extend(margin.filter(|_| described).and_then(|margin| {
            let net = |step: &StepResult| (step.step, step.density - margin.density);
            let steps = results.iter().filter(|step| step.step > 0).map(net);
            let steps: Vec<(usize, f64)> = steps.collect();
            check::count::begins_blank(strip, shape, &steps)
        }));
        if reading.has_margin {
            let error = reading.covariance[(0, 0)].sqrt();
            findings.extend(check::steps::uneven_margin(strip, error));
        }
        let scale = scales.of(shape.scan);
        findings.extend(implausible(question, (strip, shape), &results, &**scale));
        findings.extend(scale::below_white(
            &**scale,
            reading.scanner.as_slice(),
            reading.density.as_slice(),
            strip,
        ));
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
            let target = Target {
                strip: Some(strip),
                shape,
                areas: areas_of(question, strip),
            };
            check::colour::ByChannel::read(raster, strip, &target, &log_exposures)
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
