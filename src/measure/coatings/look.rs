//! How even a strip of a session is, from its scan and what the analysis found of it.

use serde::Serialize;

use super::evenness::{Evenness, evenness};
use super::spots::{Spots, spots};
use crate::measure::analysis::{StepResult, StripResult};
use crate::measure::geometry::Field;
use crate::measure::raster::{Channel, Raster};
use crate::measure::watch::{Cancelled, Watch};

/// Net density from which a step shows how even its coat is: lighter ones show the ground.
const TELLS_MOTTLE: f64 = 0.2;
/// Net density from which light spots stand out of a step.
const TELLS_SPOTS: f64 = 0.3;

/// How even a coating is and what sticks in it.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct Look {
    /// Mottle and streaks.
    pub evenness: Evenness,
    /// Bubbles, pinholes, specks and hairs; `None` when no step is dark enough to show them.
    pub spots: Option<Spots>,
}

/// Looks at a strip; `None` when it was not found or its scan isn't there.
///
/// # Errors
/// [`Cancelled`] when the watch says so.
pub fn look<R: AsRef<Raster>>(
    scans: &[R],
    strip: &StripResult,
    channel: Channel,
    watch: &dyn Watch,
) -> Result<Option<Look>, Cancelled> {
    let Some(located) = &strip.located else {
        return Ok(None);
    };
    let shape = &located.shape;
    let Some(raster) = scans.get(shape.scan).map(AsRef::as_ref) else {
        return Ok(None);
    };
    let ground = strip
        .steps
        .iter()
        .map(|step| step.density)
        .fold(f64::INFINITY, f64::min);
    let darker = |net: f64| -> Vec<usize> {
        strip
            .steps
            .iter()
            .filter(|step| step.step > 0 && step.density - ground >= net)
            .filter_map(|step| {
                let wanted = Field::Step(step.step - 1);
                shape.fields.iter().position(|&field| field == wanted)
            })
            .collect()
    };
    let map = Map::new(&strip.steps);
    let density = |scanner: f64| map.density(scanner);
    let evenness = evenness(
        raster,
        shape,
        &darker(TELLS_MOTTLE),
        channel,
        &density,
        watch,
    )?;
    Ok(Some(Look {
        evenness,
        spots: spots(raster, shape, &darker(TELLS_SPOTS), channel),
    }))
}

/// From scanner density to density, straight between the steps as read and beyond.
struct Map {
    points: Vec<(f64, f64)>,
}

impl Map {
    fn new(steps: &[StepResult]) -> Self {
        let mut points: Vec<(f64, f64)> = steps
            .iter()
            .map(|step| (step.scanner_density, step.density))
            .filter(|point| point.0.is_finite() && point.1.is_finite())
            .collect();
        points.sort_by(|a, b| a.0.total_cmp(&b.0));
        // Steps that hardly differ would make a slope of their noise.
        points.dedup_by(|later, earlier| later.0 - earlier.0 < 0.05);
        Self { points }
    }

    fn density(&self, scanner: f64) -> f64 {
        let count = self.points.len();
        if count < 2 {
            return scanner;
        }
        let after = self.points.partition_point(|point| point.0 < scanner);
        let right = after.clamp(1, count - 1);
        let ((x0, y0), (x1, y1)) = (self.points[right - 1], self.points[right]);
        y0 + (scanner - x0) * (y1 - y0) / (x1 - x0)
    }
}
