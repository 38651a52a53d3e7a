//! Finding strips, wedges and their fields on scans.

use serde::Serialize;

use super::geometry::StripShape;

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
