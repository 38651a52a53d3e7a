//! Checks of the scan: what is wrong with it, how much that matters, what to do.
//!
//! Each check is one file with its thresholds, and where they come from, at its head; rates of
//! detection and of false alarms are in docs/scan-checks.md.

pub mod auto_levels;
pub mod blocks;
pub mod clipped;
pub mod colour;
pub mod count;
pub mod grid;
pub mod halos;
pub mod notes;
pub mod picture;
pub mod quantisation;
pub mod resolution;
pub mod sample;
pub mod steps;
#[cfg(test)]
mod synthetic;
pub mod wedge;

use rayon::prelude::*;

use super::finding::Finding;
use super::geometry::StripShape;
use super::raster::{Channel, Raster};
use sample::Target;

/// The wedge on a scan: where it lies, and its densities in the order of the list.
#[derive(Debug, Clone, Copy)]
pub struct Wedge<'a> {
    /// Where it lies on this scan.
    pub shape: &'a StripShape,
    /// Listed densities.
    pub listed: &'a [f64],
}

/// What one scan shows.
#[derive(Debug, Clone, PartialEq, Default)]
pub struct Checked {
    /// What is wrong with it.
    pub findings: Vec<Finding>,
    /// Its wedge's fields as it shows them, to be held against other scans'.
    pub wedge: Option<Vec<wedge::WedgeField>>,
}

/// Looks for everything that can be wrong with one scan by its pixels alone.
///
/// `strips` are those on this scan, each with its index in the session. Findings come in a
/// fixed order, whatever the number of threads.
pub fn scan(
    raster: &Raster,
    scan: usize,
    strips: &[(usize, &StripShape)],
    wedge: Option<Wedge<'_>>,
    channel: Channel,
) -> Checked {
    let targets: Vec<Target<'_>> = strips
        .iter()
        .map(|&(strip, shape)| Target {
            strip: Some(strip),
            shape,
        })
        .chain(wedge.map(|wedge| Target {
            strip: None,
            shape: wedge.shape,
        }))
        .collect();
    let fields = wedge.map(|wedge| wedge::read(raster, wedge.shape, channel));
    let of_whole: [&(dyn Fn() -> Vec<Finding> + Sync); 4] = [
        &|| one(auto_levels::auto_levels(raster, scan, &targets, channel)),
        &|| {
            let channel = sample::main_channel(raster, channel);
            one(halos::halos(raster, scan, &targets, channel))
        },
        &|| one(blocks::blocks(raster, scan, &targets, channel)),
        &|| {
            let read = wedge.zip(fields.as_deref());
            read.map_or_else(Vec::new, |(wedge, fields)| of_wedge(scan, wedge, fields))
        },
    ];
    let (mut whole, parts) = rayon::join(
        || {
            of_whole
                .par_iter()
                .flat_map(|check| check())
                .collect::<Vec<_>>()
        },
        || {
            targets
                .par_iter()
                .flat_map(|target| of_target(raster, scan, target, channel))
                .collect::<Vec<_>>()
        },
    );
    whole.extend(parts);
    Checked {
        findings: whole,
        wedge: fields,
    }
}

fn of_target(raster: &Raster, scan: usize, target: &Target<'_>, channel: Channel) -> Vec<Finding> {
    let mut found = clipped::clipped(raster, scan, target, channel);
    found.extend(resolution::resolution(raster, scan, target, channel));
    if target.strip.is_some() {
        found.extend(quantisation::quantisation(raster, scan, target, channel));
        found.extend(picture::picture(raster, scan, target, channel));
    }
    found
}

fn of_wedge(scan: usize, wedge: Wedge<'_>, fields: &[wedge::WedgeField]) -> Vec<Finding> {
    let target = Target {
        strip: None,
        shape: wedge.shape,
    };
    let mut found = one(wedge::order(scan, &target, wedge.listed, fields));
    found.extend(wedge::shadow(scan, &target, fields));
    found.extend(wedge::shadow_across(scan, &target, fields));
    found
}

fn one(finding: Option<Finding>) -> Vec<Finding> {
    finding.into_iter().collect()
}
