//! Every way in which the strips can be read, measured: what the answer is a mixture of.

use std::sync::Arc;

use super::Question;
use super::chain::{cells_of, read_all};
use super::kept::Kept;
use super::repeated::{Read, Repeats};
use super::scales::Scales;
use crate::measure::compare::OtherReading;
use crate::measure::geometry::StripShape;
use crate::measure::reading::{Cell, StripReading};
use crate::measure::strip::{Alternative, Found, Located};
use crate::measure::watch::{Cancelled, Watch};

/// Chance below which a reading of one strip is not measured.
const LEAST_CHANCE: f64 = 0.01;
/// Most readings of one strip that are measured.
const MOST: usize = 8;

/// One way in which a strip can be read, whatever of the things found it is.
#[derive(Debug, Clone, PartialEq)]
pub(super) struct Way {
    /// Which assignment of the things found to the strips it belongs to: 0 is the one used.
    pub way: usize,
    /// Outline, fields and unexposed coat.
    pub shape: StripShape,
    /// Its chance among all readings of the strip that are measured.
    pub chance: f64,
}

/// The readings of each strip, the one used first, then by falling chance; none where the strip
/// was not found.
pub(super) fn ways(found: &Found) -> Vec<Vec<Way>> {
    let otherwise: f64 = found.otherwise.iter().map(|other| other.chance).sum();
    let listed = found.otherwise.iter().map(|other| {
        let strips: &[Option<Located>] = &other.strips;
        (other.chance, strips)
    });
    let all: Vec<(f64, &[Option<Located>])> = std::iter::once((1.0 - otherwise, &found.strips[..]))
        .chain(listed)
        .collect();
    (0..found.strips.len())
        .map(|strip| of_strip(strip, &all))
        .collect()
}

fn of_strip(strip: usize, all: &[(f64, &[Option<Located>])]) -> Vec<Way> {
    let mut ways: Vec<Way> = Vec::new();
    for (way, (chance, strips)) in all.iter().enumerate() {
        let Some(located) = strips.get(strip).and_then(Option::as_ref) else {
            continue;
        };
        let whole: f64 = located.readings.iter().map(|reading| reading.chance).sum();
        let share = |reading: &Alternative| chance * reading.chance / whole.max(f64::MIN_POSITIVE);
        ways.extend(located.readings.iter().map(|reading| Way {
            way,
            shape: reading.shape.clone(),
            chance: share(reading),
        }));
    }
    if ways.is_empty() || all[0].1[strip].is_none() {
        return Vec::new();
    }
    // The one used stays first; it is the likeliest of the assignment that is used.
    ways[1..].sort_by(|a, b| b.chance.total_cmp(&a.chance));
    let used = ways.remove(0);
    ways.retain(|way| way.chance > LEAST_CHANCE);
    ways.insert(0, used);
    ways.truncate(MOST);
    let whole: f64 = ways.iter().map(|way| way.chance).sum();
    if whole > 0.0 {
        ways.iter_mut().for_each(|way| way.chance /= whole);
    }
    ways
}

/// The readings of a strip beside the one used, as far as they could be measured: the number of
/// the reading among its ways, its cells and what was read.
pub(super) type Measured = Vec<(usize, Arc<Vec<Cell>>, Arc<StripReading>)>;

/// Measures the readings of the strips that make pairs, beside those used.
pub(super) fn measure(
    question: &Question,
    ways: &[Vec<Way>],
    scales: &Scales,
    kept: &mut Kept,
    watch: &dyn Watch,
) -> Result<Vec<Measured>, Cancelled> {
    let mut asked = Vec::new();
    for (strip, ways) in ways.iter().enumerate() {
        let spec = question.strips.get(strip);
        let Some(spec) = spec.filter(|spec| spec.same_as.is_none() && spec.exposures.is_some())
        else {
            continue;
        };
        for (number, way) in ways.iter().enumerate().skip(1) {
            let cells = cells_of(question, (&way.shape, &spec.areas), kept, watch)?;
            asked.push((strip, number, &way.shape, cells));
        }
    }
    let parts: Vec<_> = asked
        .iter()
        .map(|(strip, _, shape, cells)| Some((*strip, *shape, Arc::clone(cells))))
        .collect();
    let read = read_all(question, &parts, scales, kept);
    let mut measured: Vec<Measured> = vec![Vec::new(); ways.len()];
    for ((strip, number, _, cells), reading) in asked.into_iter().zip(read) {
        if let Some(reading) = reading {
            measured[strip].push((number, cells, reading));
        }
    }
    Ok(measured)
}

/// What a strip would read in its other ways, as evidence beside the one used.
pub(super) fn others(
    strip: usize,
    read: &Read<'_>,
    (ways, measured): (&[Vec<Way>], &[Measured]),
    scales: &Scales,
    repeats: &Repeats,
) -> Vec<OtherReading> {
    let other = |(number, cells, reading): &(usize, Arc<Vec<Cell>>, Arc<StripReading>)| {
        let way = &ways[strip][*number];
        let mut shapes = read.shapes.to_vec();
        shapes[strip] = Some(&way.shape);
        let mut all_cells = read.cells.to_vec();
        all_cells[strip] = Some(Arc::clone(cells));
        let mut readings = read.readings.to_vec();
        readings[strip] = Some(Arc::clone(reading));
        let otherwise = Read {
            question: read.question,
            shapes: &shapes,
            cells: &all_cells,
            readings: &readings,
            sure: read.sure,
        };
        Some(OtherReading {
            chance: way.chance,
            way: way.way,
            reading: otherwise.as_one(strip, scales, repeats)?,
        })
    };
    measured[strip].iter().filter_map(other).collect()
}
