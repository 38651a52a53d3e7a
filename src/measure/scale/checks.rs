//! What can be wrong with a wedge, and what a person is told then.

use super::wedge::{WedgeField, WedgeScale};
use super::{DensityScale, standard_error};
use crate::measure::finding::{Finding, Kind, Place, Weight};
use crate::measure::geometry::StripShape;
use crate::measure::reading::robust::{median, median_and_spread};
use crate::measure::reading::{Cell, REACHES_MM};

/// Correlation of list and scan below which the wedge is taken not to follow its list: half of
/// its fields in a wrong order still give more.
const LEAST_CORRELATION: f64 = 0.8;
/// Density below which a field is lighter than a perfect white, the list's errors allowed for,
/// and how many standard errors of the scale it must be.
const BELOW_WHITE: f64 = -0.04;
const WHITE_CERTAINTY: f64 = 2.0;
/// Of so many fields more than one may be left out of a scale before the list isn't the wedge's: one
/// wrong number is a slip, more are another list; of a long wedge two may also be the darkest, where
/// the scanner hardly tells fields apart (testdata/flatbed: 20 fields up to 2.6 D).
const A_SLIP: usize = 8;
/// Error of foretelling each field from the others, in stated uncertainties of the list and as
/// a density, from which the list isn't the wedge's.
const UNFORETOLD: (f64, f64) = (4.0, 0.03);
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
            let own = || cells.iter().filter(|cell| cell.field == field);
            let mut around = [0.0; REACHES_MM.len()];
            for (reach, middle) in around.iter_mut().enumerate() {
                let mut light: Vec<f64> = own().map(|cell| cell.around[reach]).collect();
                *middle = median(&mut light)?;
            }
            listed.is_finite().then_some(WedgeField {
                around,
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
            "The wedge on the scan has {} fields, but {} densities are listed for it.",
            shape.steps(),
            listed.len()
        ),
        matters: "No field can be given its density, so nothing can be measured with it.".into(),
        remedy: "List one density a field, in order, or give the wedge's geometry.".into(),
    }))
}

/// Too few fields could be read.
pub(super) fn too_few(shape: &StripShape, read: usize) -> Finding {
    Finding {
        kind: Kind::WedgeFieldCount,
        weight: Weight::Blocking,
        place: wedge_place(shape),
        seen: format!("Only {read} fields of the wedge could be read; a scale needs 3."),
        matters: "No density scale can be made from it.".into(),
        remedy: "Scan at a higher resolution or clean the glass over the wedge.".into(),
    }
}

/// Whether the scan gets darker as the list does, over all.
///
/// Single fields that go against the list are told by the check of the scan.
pub(super) fn follows_list(fields: &[WedgeField], shape: &StripShape) -> Result<(), Box<Finding>> {
    let count = fields.len() as f64;
    let mean = |of: fn(&WedgeField) -> f64| fields.iter().map(of).sum::<f64>() / count;
    let (listed, scanner) = (mean(|f| f.listed), mean(|f| f.scanner));
    let sum = |of: &dyn Fn(f64, f64) -> f64| -> f64 {
        let away = |f: &WedgeField| of(f.listed - listed, f.scanner - scanner);
        fields.iter().map(away).sum()
    };
    let correlation = sum(&|a, b| a * b) / (sum(&|a, _| a * a) * sum(&|_, b| b * b)).sqrt();
    if correlation > LEAST_CORRELATION {
        Ok(())
    } else {
        Err(Box::new(not_followed(shape)))
    }
}

/// The wedge's fields do not go one way.
pub(super) fn not_followed(shape: &StripShape) -> Finding {
    Finding {
        kind: Kind::WedgeNotMonotone,
        weight: Weight::Blocking,
        place: wedge_place(shape),
        seen: "The wedge's fields do not get darker as their listed densities rise.".into(),
        matters: "No density scale can be made from it.".into(),
        remedy: "Check the order of the listed densities, and that nothing covers the wedge."
            .into(),
    }
}

/// Whether so many fields left out, of so many in all, and such an error of foretelling each from
/// the others, say that the list is another wedge's.
pub(super) fn another_list(
    (left_out, of): (usize, usize),
    unforetold: f64,
    uncertainty: f64,
) -> bool {
    left_out > (of / A_SLIP).max(1) || unforetold > (UNFORETOLD.0 * uncertainty).max(UNFORETOLD.1)
}

/// Whether the wedge fits its list at all.
pub(super) fn mismatch(
    scale: &WedgeScale,
    fields: &[WedgeField],
    shape: &StripShape,
    uncertainty: f64,
) -> Option<Finding> {
    let (left_out, unforetold) = (scale.left_out().len(), scale.leave_one_out());
    // Only the two darkest fields are excused: two others far off are a list that is shifted.
    let out = |field: &&WedgeField| scale.left_out().contains(&field.number);
    let darker = |one: &WedgeField| fields.iter().filter(|f| f.listed > one.listed).count();
    let slips = fields.iter().filter(out).filter(|one| darker(one) >= 2);
    let shifted = slips.count() > 1;
    let another = another_list((left_out, shape.steps()), unforetold, uncertainty);
    (shifted || another).then(|| Finding {
        kind: Kind::WedgeMismatch,
        weight: Weight::Blocking,
        place: wedge_place(shape),
        seen: format!(
            "The wedge does not fit its list: {left_out} of its fields are far off, and the \
             others foretell each other to {unforetold:.3} D where {uncertainty:.3} was stated."
        ),
        matters: "The fields were probably given wrong densities, so that no density can be \
                  trusted."
            .into(),
        remedy: "Compare the list with the wedge: is it this wedge's, does it begin with the \
                 wedge's first field, is there one density a field?"
            .into(),
    })
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
            "{} of the wedge reads {:.2} D {} than listed, far beyond the stated {uncertainty:.3}.",
            named(&numbers),
            worst.abs(),
            if worst > 0.0 { "darker" } else { "lighter" }
        ),
        matters: "Left out of the density scale, which rests on the other fields.".into(),
        remedy: "Look for a shadow, a speck or a wrong number in the list.".into(),
    })
}

/// What a person is told when fields of strip `strip`, of these densities, read lighter than a
/// perfect white: no paper or coat is, so the wedge's list must be off.
pub fn below_white(
    scale: &dyn DensityScale,
    scanner: &[f64],
    densities: &[f64],
    strip: usize,
) -> Option<Finding> {
    let lightest = (0..densities.len().min(scanner.len()))
        .min_by(|&a, &b| densities[a].total_cmp(&densities[b]))?;
    let error = standard_error(scale, scanner[lightest]);
    let density = densities[lightest];
    (scale.by_wedge() && density < BELOW_WHITE && density < -WHITE_CERTAINTY * error).then(|| {
        Finding {
            kind: Kind::WedgeMismatch,
            weight: Weight::Blocking,
            place: Place::strip(strip),
            seen: format!(
                "The strip's lightest field reads {density:.2} D by the wedge: lighter than a \
                 perfect white, which nothing is."
            ),
            matters: "The wedge's fields were given wrong densities, so that no density can be \
                      trusted."
                .into(),
            remedy: "Compare the list with the wedge: is it this wedge's, does it begin with \
                     the wedge's first field, is there one density a field?"
                .into(),
        }
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
             farthest at about {:.2}.",
            outside.len(),
            scale.density(farthest)
        ),
        matters: format!(
            "The scale is continued straight there, with a standard error of {:.2} D at the \
             farthest.",
            standard_error(scale, farthest)
        ),
        remedy: "Use a wedge that reaches as dark (and as light) as the strips.".into(),
    })
}

fn wedge_place(shape: &StripShape) -> Place {
    Place {
        area: shape.corners.to_vec(),
        ..Place::scan(shape.scan)
    }
}

/// "Field 3" or "Each of fields 3, 4" from places counted from nought.
fn named(numbers: &[usize]) -> String {
    let mut numbers: Vec<usize> = numbers.iter().map(|n| n + 1).collect();
    numbers.sort_unstable();
    let list: Vec<String> = numbers.iter().map(usize::to_string).collect();
    match list.as_slice() {
        [one] => format!("Field {one}"),
        _ => format!("Each of fields {}", list.join(", ")),
    }
}
