//! What can be wrong with a wedge, and what a person is told then.

use super::wedge::{WedgeField, WedgeScale};
use super::{DensityScale, standard_error};
use crate::measure::finding::{Finding, Kind, Place, Weight};
use crate::measure::geometry::StripShape;
use crate::measure::reading::Cell;
use crate::measure::reading::robust::{median, median_and_spread};

/// Least difference in density across a field that counts as shade.
const SHADE: f64 = 0.015;
/// How sure shade must be, in standard errors.
const SHADE_CERTAINTY: f64 = 4.0;
/// Least disagreement of two scales that is reported, density.
const DISAGREEMENT: f64 = 0.02;
/// How much further than its own error a disagreement must go.
const DISAGREEMENT_CERTAINTY: f64 = 3.0;
/// How far beyond the wedge's fields a step may lie before it is said, density.
const BEYOND: f64 = 0.05;

/// The fields with what was read of them, in the order of the list.
pub(super) fn fields(cells: &[Cell], shape: &StripShape, listed: &[f64]) -> Vec<WedgeField> {
    listed
        .iter()
        .enumerate()
        .filter_map(|(number, &listed)| {
            let field = shape.field_of_step(number)?;
            let mut scanner: Vec<f64> = scanner_densities(cells, field).collect();
            let count = scanner.len() as f64;
            let (middle, spread) = median_and_spread(&mut scanner)?;
            // Cells of a field share slow unevenness, so half of them count as independent.
            let error = spread / (count / 2.0).max(1.0).sqrt();
            let mut surround: Vec<f64> = cells
                .iter()
                .filter(|cell| cell.field == field)
                .map(|cell| cell.surround)
                .collect();
            let surround = median(&mut surround)?;
            listed.is_finite().then_some(WedgeField {
                surround,
                number,
                scanner: middle,
                error,
                listed,
            })
        })
        .collect()
}

fn scanner_densities(cells: &[Cell], field: usize) -> impl Iterator<Item = f64> {
    cells
        .iter()
        .filter(move |cell| cell.field == field && cell.light.is_finite() && cell.light > 0.0)
        .map(|cell| -cell.light.log10())
}

/// Whether the wedge has as many fields as the list has densities.
pub(super) fn field_count(shape: &StripShape, listed: &[f64]) -> Result<(), Box<Finding>> {
    if shape.steps() == listed.len() {
        return Ok(());
    }
    Err(Box::new(Finding {
        kind: Kind::WedgeFieldCount,
        weight: Weight::Blocking,
        place: wedge_place(shape),
        seen: format!(
            "the wedge on the scan has {} fields, but {} densities are listed for it",
            shape.steps(),
            listed.len()
        ),
        matters: "no field can be given its density, so nothing can be measured with it".into(),
        remedy: "list one density a field, in order, or give the wedge's geometry".into(),
    }))
}

/// Too few fields could be read.
pub(super) fn too_few(shape: &StripShape, read: usize) -> Finding {
    Finding {
        kind: Kind::WedgeFieldCount,
        weight: Weight::Blocking,
        place: wedge_place(shape),
        seen: format!("only {read} fields of the wedge could be read; a scale needs 3"),
        matters: "no density scale can be made from it".into(),
        remedy: "scan at a higher resolution or clean the glass over the wedge".into(),
    }
}

/// Whether the scan gets darker as the list does.
pub(super) fn order(
    fields: &[WedgeField],
    shape: &StripShape,
    uncertainty: f64,
) -> Result<Vec<Finding>, Box<Finding>> {
    let mut sorted: Vec<&WedgeField> = fields.iter().collect();
    sorted.sort_by(|a, b| a.listed.total_cmp(&b.listed));
    let count = sorted.len() as f64;
    let mean = |of: fn(&WedgeField) -> f64| sorted.iter().map(|f| of(f)).sum::<f64>() / count;
    let (listed, scanner) = (mean(|f| f.listed), mean(|f| f.scanner));
    let sum = |of: &dyn Fn(f64, f64) -> f64| -> f64 {
        let away = |f: &&WedgeField| of(f.listed - listed, f.scanner - scanner);
        sorted.iter().map(away).sum()
    };
    let correlation = sum(&|a, b| a * b) / (sum(&|a, _| a * a) * sum(&|_, b| b * b)).sqrt();
    if correlation.is_nan() || correlation <= 0.8 {
        return Err(Box::new(not_monotone(shape, &[], true)));
    }
    let wrong: Vec<usize> = sorted
        .windows(2)
        .filter(|pair| {
            let (rise, error) = (
                pair[1].scanner - pair[0].scanner,
                pair[1].error.hypot(pair[0].error),
            );
            // Fields listed closer than their uncertainty may stand either way round.
            pair[1].listed - pair[0].listed > 3.0 * uncertainty && rise < -2.0 * error
        })
        .map(|pair| pair[1].number)
        .collect();
    Ok(if wrong.is_empty() {
        vec![]
    } else {
        vec![not_monotone(shape, &wrong, false)]
    })
}

/// The wedge's fields do not go one way.
pub(super) fn not_monotone(shape: &StripShape, wrong: &[usize], blocking: bool) -> Finding {
    Finding {
        kind: Kind::WedgeNotMonotone,
        weight: if blocking {
            Weight::Blocking
        } else {
            Weight::Caution
        },
        place: wedge_place(shape),
        seen: if wrong.is_empty() {
            "the wedge's fields do not get darker as their listed densities rise".into()
        } else {
            format!(
                "{} of the wedge scans lighter than the one before it, though listed darker",
                named(wrong)
            )
        },
        matters: if blocking {
            "no density scale can be made from it".into()
        } else {
            "the scale is smoothed through it and is less certain there".to_string()
        },
        remedy: "check the order of the listed densities, and that nothing covers the wedge".into(),
    }
}

/// Whether one side of the fields is darker than the other, throughout.
pub(super) fn shaded_across(cells: &[Cell], shape: &StripShape) -> Option<Finding> {
    let mut tilts: Vec<f64> = (0..shape.fields.len())
        .filter_map(|field| tilt_across(cells, field))
        .collect();
    let count = tilts.len() as f64;
    let (tilt, spread) = median_and_spread(&mut tilts)?;
    let certain = tilt.abs() > SHADE_CERTAINTY * (spread / count.sqrt()).max(0.001);
    (count >= 3.0 && tilt.abs() > SHADE && certain).then(|| Finding {
        kind: Kind::WedgeShadowed,
        weight: Weight::Caution,
        place: wedge_place(shape),
        seen: format!(
            "the wedge is darker along its {} side by {:.3} D in every field",
            if tilt > 0.0 { "right" } else { "left" },
            tilt.abs()
        ),
        matters: format!(
            "densities read with it may be off by about {:.3} D",
            tilt.abs() / 2.0
        ),
        remedy: "press the wedge flat against the glass, away from the scanner's edge, and scan \
                 again"
            .into(),
    })
}

/// Rise of scanner density from the left to the right side of a field.
fn tilt_across(cells: &[Cell], field: usize) -> Option<f64> {
    let here: Vec<(f64, f64)> = cells
        .iter()
        .filter(|cell| cell.field == field && cell.light > 0.0)
        .map(|cell| (cell.at_mm.1, -cell.light.log10()))
        .collect();
    let mut places: Vec<f64> = here.iter().map(|&(at, _)| at).collect();
    places.sort_by(f64::total_cmp);
    let (left, right) = (*places.first()?, *places.last()?);
    let middle = median(&mut places)?;
    let side = |of: &dyn Fn(f64) -> bool| {
        let mut values: Vec<f64> = here.iter().filter(|c| of(c.0)).map(|c| c.1).collect();
        median(&mut values)
    };
    let (low, high) = (
        side(&|at| at < middle - 1e-9)?,
        side(&|at| at > middle + 1e-9)?,
    );
    // The halves' middles are half the extent apart, or a little more.
    (right > left).then_some((high - low) * 1.5)
}

/// Fields that fit neither their neighbours nor the list.
pub(super) fn strange_fields(
    scale: &WedgeScale,
    fields: &[WedgeField],
    shape: &StripShape,
    uncertainty: f64,
) -> Option<Finding> {
    let out: Vec<&WedgeField> = fields
        .iter()
        .filter(|field| scale.left_out().contains(&field.number))
        .collect();
    let worst = out
        .iter()
        .map(|field| scale.density(field.scanner) - field.listed)
        .max_by(|a, b| a.abs().total_cmp(&b.abs()))?;
    let numbers: Vec<usize> = out.iter().map(|field| field.number).collect();
    Some(Finding {
        kind: Kind::WedgeShadowed,
        weight: Weight::Caution,
        place: wedge_place(shape),
        seen: format!(
            "{} of the wedge reads {:.2} D {} than listed, far beyond the stated {uncertainty:.3}",
            named(&numbers),
            worst.abs(),
            if worst > 0.0 { "darker" } else { "lighter" }
        ),
        matters: "left out of the density scale, which rests on the other fields".into(),
        remedy: "look for a shadow, a speck or a wrong number in the list".into(),
    })
}

/// What a person is told when steps read with a wedge's scale lie beyond its fields.
///
/// `scanner` holds the scanner densities of the entries of strip `strip`, margin included.
pub fn beyond_wedge(scale: &dyn DensityScale, scanner: &[f64], strip: usize) -> Option<Finding> {
    if !scale.by_wedge() {
        return None;
    }
    let (low, high) = scale.supported();
    let (lowest, highest) = (scale.density(low), scale.density(high));
    let outside: Vec<f64> = scanner
        .iter()
        .copied()
        .filter(|&s| {
            let density = scale.density(s);
            density > highest + BEYOND || density < lowest - BEYOND
        })
        .collect();
    let farthest = outside.iter().copied().max_by(|&a, &b| {
        let far = |s: f64| (low - s).max(s - high);
        far(a).total_cmp(&far(b))
    })?;
    Some(Finding {
        kind: Kind::BeyondWedge,
        weight: Weight::Caution,
        place: Place::strip(strip),
        seen: format!(
            "{} of the strip's fields lie outside the wedge's {lowest:.2} to {highest:.2} D, the \
             farthest at about {:.2}",
            outside.len(),
            scale.density(farthest)
        ),
        matters: format!(
            "the scale is continued straight there, with a standard error of {:.2} D at the \
             farthest",
            standard_error(scale, farthest)
        ),
        remedy: "use a wedge that reaches as dark (and as light) as the strips".into(),
    })
}

/// What a person is told when two scans of one wedge disagree beyond the scales' own errors.
///
/// `first` and `second` are indices of scans with the scale of each. Each scan is read with
/// its own scale, so this is a note: the scanner did not hold still.
pub fn scans_disagree(
    first: (usize, &dyn DensityScale),
    second: (usize, &dyn DensityScale),
) -> Option<Finding> {
    let ((a_low, a_high), (b_low, b_high)) = (first.1.supported(), second.1.supported());
    let (low, high) = (a_low.max(b_low), a_high.min(b_high));
    let at: Vec<f64> = (0..=20)
        .map(|i| low + (high - low) * f64::from(i) / 20.0)
        .filter(|_| high > low)
        .collect();
    let worst = at
        .into_iter()
        .map(|s| {
            let apart = second.1.density(s) - first.1.density(s);
            let error = standard_error(first.1, s).hypot(standard_error(second.1, s));
            (apart, apart.abs() / error.max(1e-6), first.1.density(s))
        })
        .filter(|&(apart, certainty, _)| {
            apart.abs() > DISAGREEMENT && certainty > DISAGREEMENT_CERTAINTY
        })
        .max_by(|a, b| a.1.total_cmp(&b.1))?;
    Some(Finding {
        kind: Kind::ScansDisagree,
        weight: Weight::Note,
        place: Place::scan(second.0),
        seen: format!(
            "scan {} reads {:.2} D {} than scan {} for the same light at about {:.2} D",
            second.0 + 1,
            worst.0.abs(),
            if worst.0 > 0.0 { "darker" } else { "lighter" },
            first.0 + 1,
            worst.2
        ),
        matters: "each scan is read with its own wedge, so the answer stands; without wedges it \
                  would not"
            .into(),
        remedy: "switch off automatic exposure and tone correction in the scanning software".into(),
    })
}

fn wedge_place(shape: &StripShape) -> Place {
    Place {
        area: shape.corners.to_vec(),
        ..Place::scan(shape.scan)
    }
}

/// "field 3" or "fields 3, 4" from places counted from nought.
fn named(numbers: &[usize]) -> String {
    let mut numbers: Vec<usize> = numbers.iter().map(|n| n + 1).collect();
    numbers.sort_unstable();
    let list: Vec<String> = numbers.iter().map(usize::to_string).collect();
    match list.as_slice() {
        [one] => format!("field {one}"),
        _ => format!("each of fields {}", list.join(", ")),
    }
}
