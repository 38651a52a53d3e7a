//! A coarse grid of densities inside a field: robust, cheap, and blind to single specks.

use super::sample::{END_INSET, SIDE_INSET, Target};
use crate::measure::geometry::StripShape;
use crate::measure::raster::{Channel, Raster};
use crate::measure::units::density_of;

/// Pixels looked at in each direction of a cell.
const POINTS: usize = 6;

/// Scanner densities of cells in a field, `along` by `across` of them, row by row along.
#[derive(Debug, Clone, PartialEq)]
pub struct Grid {
    /// Cells from the start of the field to its end.
    pub along: usize,
    /// Cells from its left to its right side.
    pub across: usize,
    /// Scanner density (-log10 of the median light) of each cell.
    pub densities: Vec<f64>,
}

impl Grid {
    /// Reads a field, clear of its ends and sides; `None` when it lies off the scan.
    pub fn read(
        raster: &Raster,
        shape: &StripShape,
        field: usize,
        channel: Channel,
        (along, across): (usize, usize),
    ) -> Option<Self> {
        let (start, end) = (shape.edges[field], shape.edges[field + 1]);
        let mut lights = Vec::with_capacity(POINTS * POINTS);
        let mut pixel = Vec::with_capacity(1);
        let mut densities = Vec::with_capacity(along * across);
        let inside = |cell: usize, point: usize, cells: usize| {
            (cell * POINTS + point) as f64 / (cells * POINTS) as f64 + 0.5 / (cells * POINTS) as f64
        };
        for u in 0..along {
            for v in 0..across {
                lights.clear();
                for i in 0..POINTS {
                    for j in 0..POINTS {
                        let share = END_INSET + (1.0 - 2.0 * END_INSET) * inside(u, i, along);
                        let side = SIDE_INSET + (1.0 - 2.0 * SIDE_INSET) * inside(v, j, across);
                        let (from, to) = (start.at(side), end.at(side));
                        let at = shape.on_scan(from + (to - from) * share, side);
                        if !(at.x >= 0.0 && at.y >= 0.0) {
                            return None;
                        }
                        let (x, y) = (at.x as usize, at.y as usize);
                        if x >= raster.width || y >= raster.height {
                            return None;
                        }
                        raster.linear_row(y, x, x + 1, channel, &mut pixel);
                        lights.push(f64::from(pixel[0]));
                    }
                }
                lights.sort_unstable_by(f64::total_cmp);
                let middle = lights.len() / 2;
                let median = (lights[middle - 1] + lights[middle]) / 2.0;
                densities.push(density_of(median.max(1e-5)));
            }
        }
        Some(Self {
            along,
            across,
            densities,
        })
    }

    /// Reads what counts of a part: the area that a person marked in a field, or all of the field; a
    /// patch of unexposed coat.
    pub fn of(
        raster: &Raster,
        target: &Target<'_>,
        field: usize,
        channel: Channel,
        cells: (usize, usize),
    ) -> Option<Self> {
        let (shape, field) = target.part(field);
        Self::read(raster, &shape, field, channel, cells)
    }

    /// Median over all cells.
    pub fn median(&self) -> f64 {
        let mut sorted = self.densities.clone();
        sorted.sort_unstable_by(f64::total_cmp);
        sorted[sorted.len() / 2]
    }

    /// Half the distance of the 84 % from the 16 % quantile: a standard deviation that a few
    /// cells of dirt don't move.
    pub fn scatter(&self) -> f64 {
        let mut sorted = self.densities.clone();
        sorted.sort_unstable_by(f64::total_cmp);
        let at = |share: f64| sorted[((sorted.len() - 1) as f64 * share).round() as usize];
        (at(0.84) - at(0.16)) / 2.0
    }

    /// Median over the cells at each place along the field.
    pub fn along_medians(&self) -> Vec<f64> {
        self.densities
            .chunks(self.across)
            .map(|cells| {
                let mut sorted = cells.to_vec();
                sorted.sort_unstable_by(f64::total_cmp);
                sorted[sorted.len() / 2]
            })
            .collect()
    }

    /// Median over the cells at each place across the field.
    pub fn across_medians(&self) -> Vec<f64> {
        (0..self.across)
            .map(|place| {
                let cells = self.densities.iter().skip(place).step_by(self.across);
                let mut sorted: Vec<f64> = cells.copied().collect();
                sorted.sort_unstable_by(f64::total_cmp);
                sorted[sorted.len() / 2]
            })
            .collect()
    }
}
