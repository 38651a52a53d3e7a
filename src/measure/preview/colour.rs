//! The colour of coat and ground, as the coated strip shows it.

use crate::measure::analysis::StripResult;
use crate::measure::geometry::Point;
use crate::measure::raster::{Channel, Raster};

/// Samples a field is looked at, each way.
const ACROSS: usize = 32;
/// Share of a field's width and length that is left out at each side.
const EDGE: f64 = 0.25;

/// Red, green and blue light as multiples of the luminance, by density.
#[derive(Debug, Clone, PartialEq)]
pub struct CoatColour {
    /// (density, multiples), densities rising; empty: neutral.
    knots: Vec<(f64, [f64; 3])>,
}

impl CoatColour {
    /// Without colour.
    pub fn neutral() -> Self {
        Self { knots: vec![] }
    }

    /// From known tones: density and the light of red, green and blue as multiples of the
    /// luminance.
    pub fn new(mut knots: Vec<(f64, [f64; 3])>) -> Self {
        knots.retain(|(density, ratios)| {
            density.is_finite() && ratios.iter().all(|ratio| ratio.is_finite() && *ratio > 0.0)
        });
        knots.sort_by(|a, b| a.0.total_cmp(&b.0));
        Self { knots }
    }

    /// As the margin and the steps of a strip show it on its scan: medians of each channel,
    /// well inside each field. A grey scan shows none.
    ///
    /// The scan's primaries are taken for the screen's; where a profile says otherwise, the
    /// hue is right and the strength of colour is a little off.
    pub fn measured(raster: &Raster, strip: &StripResult) -> Self {
        if raster.channels < 3 {
            return Self::neutral();
        }
        let knots = strip.steps.iter().filter_map(|step| {
            let [luminance, red, green, blue] = [
                Channel::Luminance,
                Channel::Red,
                Channel::Green,
                Channel::Blue,
            ]
            .map(|channel| median(raster, &step.corners, channel));
            let luminance = luminance.filter(|light| *light > 0.0)?;
            let ratio = |light: Option<f64>| light.map(|light| light / luminance);
            Some((step.density, [ratio(red)?, ratio(green)?, ratio(blue)?]))
        });
        Self::new(knots.collect())
    }

    /// The multiples at a density: straight lines between the known tones, and the nearest
    /// known tone's beyond them.
    pub fn at(&self, density: f64) -> [f64; 3] {
        let above = self.knots.partition_point(|knot| knot.0 <= density);
        match (above.checked_sub(1), self.knots.get(above)) {
            (None, None) => [1.0; 3],
            (None, Some(knot)) => knot.1,
            (Some(below), None) => self.knots[below].1,
            (Some(below), Some(above)) => {
                let below = &self.knots[below];
                let share = (density - below.0) / (above.0 - below.0);
                std::array::from_fn(|i| below.1[i] + share * (above.1[i] - below.1[i]))
            }
        }
    }
}

/// Median light of a field's inside.
fn median(raster: &Raster, corners: &[Point; 4], channel: Channel) -> Option<f64> {
    let mut lights = Vec::with_capacity(ACROSS * ACROSS);
    let mut row = Vec::new();
    let share = |index: usize| EDGE + (1.0 - 2.0 * EDGE) * index as f64 / (ACROSS - 1) as f64;
    for i in 0..ACROSS {
        for j in 0..ACROSS {
            let top = corners[0].toward(corners[1], share(i));
            let bottom = corners[3].toward(corners[2], share(i));
            let point = top.toward(bottom, share(j));
            let inside = |value: f64, size: usize| {
                (value >= 0.0 && value < size as f64).then_some(value as usize)
            };
            let (x, y) = (
                inside(point.x, raster.width)?,
                inside(point.y, raster.height)?,
            );
            raster.linear_row(y, x, x + 1, channel, &mut row);
            lights.extend_from_slice(&row);
        }
    }
    let middle = lights.len() / 2;
    let (_, light, _) = lights.select_nth_unstable_by(middle, f32::total_cmp);
    Some(f64::from(*light))
}
