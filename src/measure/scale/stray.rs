//! Stray light from the near neighbourhood: a dark field beside a light one reads lighter
//! than the same field in dark company.

use super::wedge::WedgeField;
use crate::measure::reading::Cell;

/// The near part of stray light, as a share of the neighbourhood's light: what is usual, and
/// its standard deviation (common practice, no source: half of 0.1 to 1.2 %).
pub(super) const USUAL: (f64, f64) = (0.0025, 0.0020);
/// Relative unevenness of a wedge's field that the cells' own errors don't know.
const FIELD_TEXTURE: f64 = 0.004;
/// Share of the correction that is uncertain because the reach of stray light is assumed.
const REACH_ERROR: f64 = 0.4;

/// How much of its neighbourhood's light strays into a place, and what the wedge had.
#[derive(Debug, Clone, PartialEq)]
pub struct NearStray {
    share: f64,
    error: f64,
    /// Scanner density and neighbourhood's light of the wedge's fields, ascending.
    wedge: Vec<(f64, f64)>,
}

/// Density that a cell reads too light, per share of the near stray light, where its
/// neighbourhood is lighter by `excess` than the scale takes for granted.
pub(super) fn density_by_share(s: f64, excess: f64, slope: f64) -> f64 {
    slope * excess * 10f64.powf(s) / std::f64::consts::LN_10
}

impl NearStray {
    /// The share from the cells of a wedge: within a field, cells with light neighbours read
    /// lighter. Weighted least squares over all fields, each with a level of its own, with
    /// the usual share as prior.
    pub fn of(cells: &[Cell], fields: &[WedgeField]) -> Self {
        let mut wedge: Vec<(f64, f64)> = fields.iter().map(|f| (f.scanner, f.surround)).collect();
        wedge.sort_by(|a, b| a.0.total_cmp(&b.0));
        let (mut top, mut bottom) = (USUAL.0 / USUAL.1.powi(2), USUAL.1.powi(-2));
        for group in cells.chunk_by(|a, b| a.field == b.field) {
            let weight = |cell: &Cell| {
                1.0 / (cell.light_error.powi(2) + (FIELD_TEXTURE * cell.light).powi(2))
            };
            let total: f64 = group.iter().map(weight).sum();
            let mean = |of: fn(&Cell) -> f64| {
                group
                    .iter()
                    .map(|cell| weight(cell) * of(cell))
                    .sum::<f64>()
                    / total
            };
            let (surround, light) = (mean(|cell| cell.surround), mean(|cell| cell.light));
            for cell in group {
                let away = cell.surround - surround;
                top += weight(cell) * away * (cell.light - light);
                bottom += weight(cell) * away * away;
            }
        }
        let (share, error) = if bottom.is_finite() && top.is_finite() {
            ((top / bottom).max(0.0), bottom.sqrt().recip())
        } else {
            USUAL
        };
        Self {
            share,
            error: error.hypot(REACH_ERROR * share),
            wedge,
        }
    }

    /// What an earlier scan of a wedge taught: the share, its standard error, and the fields.
    pub fn known(share: f64, error: f64, fields: &[WedgeField]) -> Self {
        let mut wedge: Vec<(f64, f64)> = fields.iter().map(|f| (f.scanner, f.surround)).collect();
        wedge.sort_by(|a, b| a.0.total_cmp(&b.0));
        Self {
            share,
            error,
            wedge,
        }
    }

    /// The share of the neighbourhood's light, and its standard error.
    pub fn share(&self) -> (f64, f64) {
        (self.share, self.error)
    }

    /// Correction and its standard error (signed alike) in density.
    pub fn correction(&self, s: f64, surround: f64, slope: f64) -> (f64, f64) {
        let by_share = density_by_share(s, surround - self.surround_of_wedge(s), slope);
        (self.share * by_share, self.error * by_share)
    }

    /// The neighbourhood's light that the wedge had at a scanner density.
    fn surround_of_wedge(&self, s: f64) -> f64 {
        let above = self.wedge.partition_point(|&(at, _)| at < s);
        match (
            above.checked_sub(1).map(|i| self.wedge[i]),
            self.wedge.get(above),
        ) {
            (Some(low), Some(high)) => {
                let share = (s - low.0) / (high.0 - low.0).max(1e-9);
                low.1 + (high.1 - low.1) * share
            }
            (Some(end), None) => end.1,
            (None, Some(end)) => end.1,
            (None, None) => 0.0,
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::measure::geometry::Point;

    /// Cells of a wedge whose fields lie among neighbours of uneven light, 0.4 % of which
    /// strays into them.
    fn cells(share: f64) -> Vec<Cell> {
        let mut cells = Vec::new();
        for (field, density) in [0.1, 0.8, 1.4, 2.0].into_iter().enumerate() {
            for k in 0..8 {
                let surround = 0.2 + 0.05 * f64::from(k);
                let light = 10f64.powf(-density) + share * surround;
                cells.push(Cell {
                    field,
                    at_mm: (0.0, 0.0),
                    at: Point::new(0.0, 0.0),
                    light,
                    light_error: 2e-5,
                    pixels: 1000,
                    rejected: 0.0,
                    clipped: 0.0,
                    surround,
                });
            }
        }
        cells
    }

    #[test]
    fn stray_light_is_found_within_the_fields_of_the_wedge_and_taken_off_the_strips() {
        let share = 0.004;
        let field = WedgeField {
            number: 0,
            scanner: 2.0,
            error: 0.0,
            listed: 2.0,
            surround: 0.3,
        };
        let near = NearStray::of(&cells(share), &[field]);
        assert!((near.share - share).abs() < 0.0006, "{}", near.share);
        // A step of 1.5 D in lighter company than the wedge's field reads too light.
        let seen = |surround: f64| -(10f64.powf(-1.5) + share * surround).log10();
        let (correction, error) = near.correction(seen(0.6), 0.6, 1.0);
        let wanted = seen(0.3) - seen(0.6);
        assert!((correction - wanted).abs() < 0.15 * wanted + 0.1 * error);
        assert!(error > 0.2 * correction && error < correction);
        assert_eq!(near.correction(2.0, 0.3, 1.0), (0.0, 0.0));
    }
}
