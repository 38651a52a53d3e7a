//! Finding strips, wedges and their fields on scans.

mod borders;
mod candidate;
mod extent;
mod grid;
mod lane;
mod layout;
mod posterior;
mod profile;
mod report;
mod seeds;
mod select;
mod shape;
mod steps;
mod view;

use std::sync::Arc;

use serde::Serialize;

use super::geometry::StripShape;
use super::raster::{Channel, Overview, Raster};
use super::watch::{Cancelled, Watch};
use view::View;

impl Located {
    /// Whether its place is sure enough to build an answer on.
    pub fn is_sure(&self) -> bool {
        report::is_sure(self)
    }
}

/// What a strip is for.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, serde::Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum Role {
    /// Ordinary printing paper.
    Reference,
    /// Hand-coated.
    Coupon,
}

/// What is known of a strip before looking.
#[derive(Debug, Clone, PartialEq)]
pub struct WantedStrip {
    /// Paper or coated.
    pub role: Role,
    /// Log exposures of the steps in the order of the series, when the session gives them.
    pub log_exposures: Option<Vec<f64>>,
    /// Geometry given in the session: taken as it is.
    pub given: Option<StripShape>,
}

/// What is known of the wedge before looking.
#[derive(Debug, Clone, PartialEq)]
pub struct WantedWedge {
    /// Densities of its fields, in the order of the list.
    pub densities: Vec<f64>,
    /// Geometry given in the session.
    pub given: Option<StripShape>,
}

/// Everything that should be found.
#[derive(Debug, Clone, PartialEq, Default)]
pub struct Wanted {
    /// Strips in reading order (scan by scan; rows from the top, then from the left). Empty:
    /// find whatever there is.
    pub strips: Vec<WantedStrip>,
    /// The wedge, if one was scanned along; it may lie on several of the scans.
    pub wedge: Option<WantedWedge>,
}

/// One way to read a found thing.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct Located {
    /// Outline, edges, fields.
    pub shape: StripShape,
    /// Chance that count, order and edges are right, 0 to 1 (1 when given in the session).
    pub confidence: f64,
    /// Other readings that the evidence allows, likeliest first, each with its share.
    pub others: Vec<(StripShape, f64)>,
}

/// All that was found.
#[derive(Debug, Clone, Default)]
pub struct Found {
    /// One entry a wanted strip; all strips seen when none were wanted.
    pub strips: Vec<Option<Located>>,
    /// One entry a scan on which the wedge was seen.
    pub wedges: Vec<Located>,
    /// Strip-like things that the session does not describe.
    pub spare: Vec<Located>,
    /// What a person should be told.
    pub findings: Vec<super::finding::Finding>,
}

/// View pixels per millimetre that things are looked for at.
const VIEW_PER_MM: f64 = 5.0;
/// Longest side of the view, in view pixels, when the scan's resolution is unknown.
const VIEW_SIDE: usize = 1400;

/// Full pixels per overview pixel that [`find_on`] works best with.
pub fn overview_step(scan: &Raster) -> usize {
    let step = match scan.pixels_per_mm {
        Some(per_mm) => (per_mm / VIEW_PER_MM).round() as usize,
        None => scan.width.max(scan.height).div_ceil(VIEW_SIDE),
    };
    step.max(1)
}

/// Finds strips, wedges and their fields on scans, without help.
///
/// # Errors
/// [`Cancelled`] when the watch says so. What cannot be found is a finding.
pub fn find(scans: &[Arc<Raster>], wanted: &Wanted, watch: &dyn Watch) -> Result<Found, Cancelled> {
    let mut overviews = Vec::with_capacity(scans.len());
    for scan in scans {
        watch.at(0, scans.len())?;
        let overview = scan.overview(overview_step(scan), Channel::Luminance);
        overviews.push((overview, scan.pixels_per_mm));
    }
    find_on(&overviews, wanted, watch)
}

/// Finds strips, wedges and their fields on overviews made with [`overview_step`], each with
/// its scan's pixels per millimetre if known.
///
/// # Errors
/// [`Cancelled`] when the watch says so. What cannot be found is a finding.
pub fn find_on(
    overviews: &[(Overview, Option<f64>)],
    wanted: &Wanted,
    watch: &dyn Watch,
) -> Result<Found, Cancelled> {
    let counts = select::counts(wanted);
    let mut views = Vec::with_capacity(overviews.len());
    let mut seen = Vec::with_capacity(overviews.len());
    for (index, (overview, per_mm)) in overviews.iter().enumerate() {
        watch.at(index, overviews.len())?;
        let view = View::new(index, overview, *per_mm);
        seen.push(candidate::candidates(&view, &counts));
        views.push(view);
    }
    watch.at(overviews.len(), overviews.len())?;
    Ok(select::select(&views, seen, wanted))
}
