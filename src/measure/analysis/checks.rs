//! What the scans and the readings give away about themselves.

use std::sync::Arc;

use super::Question;
use super::chain::couples;
use super::kept::{ByAddress, Kept};
use super::results::step_results;
use super::scales::Scales;
use crate::measure::check;
use crate::measure::finding::Finding;
use crate::measure::geometry::StripShape;
use crate::measure::reading::{Cell, StripReading};
use crate::measure::scale;
use crate::measure::strip::Found;

/// What is wrong with each scan by its pixels, and with the scans beside each other.
pub(super) fn scan_checks(question: &Question, found: &Found, kept: &mut Kept) -> Vec<Finding> {
    let channel = question.settings.channel;
    let mut findings = Vec::new();
    let mut wedges = Vec::new();
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
        findings.extend(said.findings);
        wedges.extend(said.wedge.map(|fields| (scan, fields)));
    }
    findings.extend(check::wedge::scans_differ(&wedges));
    findings
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
