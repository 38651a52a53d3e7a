//! Margins, numbering and borders of a strip that was read along a lane.

use super::borders::{Border, placed};
use super::candidate::Candidate;
use super::lane::Profile;
use super::shape::Layout;
use super::steps::Steps;
use super::view::View;
use crate::measure::geometry::Field;

/// The step of the series that lies on each field, from the lightest to the darkest.
///
/// Steps of equal exposure keep their order in the series.
pub(super) fn numbering(count: usize, log_exposures: Option<&[f64]>) -> Vec<usize> {
    let mut order: Vec<usize> = (0..count).collect();
    if let Some(exposures) = log_exposures.filter(|list| list.len() == count) {
        order.sort_by(|&a, &b| exposures[a].total_cmp(&exposures[b]));
    }
    order
}

/// Fields and borders of a reading in lane coordinates.
pub(super) fn layout(
    view: &View,
    candidate: &Candidate,
    steps: &Steps,
    numbering: &[usize],
) -> Layout {
    let length = candidate.sums.len() as f64;
    let profile = Profile::of(
        view,
        &candidate.lane,
        candidate.profile_from,
        candidate.profile_from + length,
    );
    let mut borders = placed(&profile, &candidate.lane, steps);
    let mut fields: Vec<Field> = numbering.iter().map(|&step| Field::Step(step)).collect();
    let first = borders[0].at;
    let room = first.min(steps.width);
    if room > 0.5 * steps.width {
        borders.insert(0, Border::square(first - room));
        fields.insert(0, Field::Margin);
    }
    for border in &mut borders {
        border.at += candidate.profile_from;
    }
    Layout { borders, fields }
}
