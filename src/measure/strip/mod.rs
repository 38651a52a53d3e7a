//! Finding strips, wedges and their fields on scans.

mod again;
mod assigning;
mod borders;
mod candidate;
mod exposing;
mod extent;
mod grid;
mod identity;
mod lane;
mod layout;
mod likeness;
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
    /// Read in one way only, which is right with this chance.
    pub fn only(shape: StripShape, confidence: f64) -> Self {
        Self {
            readings: vec![Alternative {
                shape: shape.clone(),
                chance: confidence,
            }],
            shape,
            confidence,
        }
    }

    /// Read in these ways; the likeliest is used. `None` when there is none.
    pub fn one_of(mut readings: Vec<Alternative>) -> Option<Self> {
        readings.sort_by(|a, b| b.chance.total_cmp(&a.chance));
        let first = readings.first()?;
        Some(Self {
            shape: first.shape.clone(),
            confidence: first.chance,
            readings,
        })
    }

    /// The readings but the likeliest.
    pub fn others(&self) -> &[Alternative] {
        self.readings.get(1..).unwrap_or_default()
    }

    /// Chance that one of its readings is right.
    pub fn named(&self) -> f64 {
        self.readings.iter().map(|reading| reading.chance).sum()
    }

    /// Whether its readings are sure enough to build an answer on: one of them is right, whichever
    /// it is.
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
    /// Place in the list of the strip that this is, seen once more on another scan: its steps
    /// then tell it from its neighbours, whatever their order.
    pub same_as: Option<usize>,
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
    /// Every reading that the evidence allows, likeliest first; the first is `shape`. Their
    /// chances add up to 1 at most: what is missing is what nobody could name.
    pub readings: Vec<Alternative>,
}

/// One of the ways in which a thing can be read: all of it, so that it can be measured as it
/// stands.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct Alternative {
    /// Outline, edges, fields, unexposed coat.
    pub shape: StripShape,
    /// Chance that this is how it is, 0 to 1.
    pub chance: f64,
}

/// Another way in which the things found are the strips that are described.
#[derive(Debug, Clone, PartialEq)]
pub struct Assignment {
    /// Chance of it, 0 to 1.
    pub chance: f64,
    /// One entry a wanted strip.
    pub strips: Vec<Option<Located>>,
}

/// All that was found.
#[derive(Debug, Clone, Default)]
pub struct Found {
    /// One entry a wanted strip; all strips seen when none were wanted.
    pub strips: Vec<Option<Located>>,
    /// Other ways in which the things found are the strips wanted, likeliest first. The chance of
    /// `strips` is 1 less theirs; each has as many entries as `strips`.
    pub otherwise: Vec<Assignment>,
    /// Whether strips of a scan lie in another order than they are described in, as far as
    /// can be told.
    pub reordered: bool,
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

/// What one scan shows of strips and wedges, whatever of them a person has outlined: the
/// costly part of finding, which holds as long as the scan and what is asked of it do.
#[derive(Debug, Clone)]
pub struct Seen {
    view: View,
    candidates: Vec<candidate::Candidate>,
}

/// Counts of fields to look for.
#[derive(Debug, Clone, PartialEq, Default)]
pub struct Asked(candidate::Counts);

impl Asked {
    /// What is to be looked for, for these to be found. What a person has outlined is looked
    /// for too: outlining one strip must not change how the others are seen.
    pub fn of(wanted: &Wanted) -> Self {
        Self(select::counts(wanted))
    }
}

/// Looks for strips and wedges on scan number `scan`.
pub fn look(scan: usize, raster: &Raster, asked: &Asked) -> Seen {
    let overview = raster.overview(overview_step(raster), Channel::Luminance);
    look_on(scan, &overview, raster.pixels_per_mm, asked)
}

fn look_on(scan: usize, overview: &Overview, per_mm: Option<f64>, asked: &Asked) -> Seen {
    let view = View::new(scan, overview, per_mm);
    let candidates = candidate::candidates(&view, &asked.0);
    Seen { view, candidates }
}

/// Which of the things seen, one entry a scan, are those that are wanted. What cannot be found
/// is a finding.
pub fn choose(seen: &[&Seen], wanted: &Wanted) -> Found {
    select::select(seen, wanted)
}

/// Finds strips, wedges and their fields on scans, without help.
///
/// # Errors
/// [`Cancelled`] when the watch says so. What cannot be found is a finding.
pub fn find(scans: &[Arc<Raster>], wanted: &Wanted, watch: &dyn Watch) -> Result<Found, Cancelled> {
    let asked = Asked::of(wanted);
    let look = |scan: usize| look(scan, &scans[scan], &asked);
    find_by(scans.len(), wanted, &look, watch)
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
    let asked = Asked::of(wanted);
    let look = |scan: usize| {
        let (overview, per_mm) = &overviews[scan];
        look_on(scan, overview, *per_mm, &asked)
    };
    find_by(overviews.len(), wanted, &look, watch)
}

fn find_by(
    scans: usize,
    wanted: &Wanted,
    look: &dyn Fn(usize) -> Seen,
    watch: &dyn Watch,
) -> Result<Found, Cancelled> {
    let mut seen = Vec::with_capacity(scans);
    for scan in 0..scans {
        watch.at(scan, scans)?;
        seen.push(look(scan));
    }
    watch.at(scans, scans)?;
    Ok(choose(&seen.iter().collect::<Vec<_>>(), wanted))
}
