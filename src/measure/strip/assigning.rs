//! Which thing is given to which strip that is described.

use super::again::{Fields, told_apart};
use super::exposing::agreement;
use super::identity::{Looks, orders};
use super::layout::{Made, numbering};
use super::select::{Thing, given, located, thing};
use super::steps::Steps;
use super::view::View;
use super::{Assignment, Found, Located, Role, Wanted};

/// What a log likelihood of the exposures and of the count of steps is worth in telling strips
/// apart: neighbouring samples share their errors.
const EXPOSURES: f64 = 0.5;
const COUNT: f64 = 0.5;

/// Gives the strips in reading order to those that are wanted, leaving out the least likely
/// of either where the numbers differ.
pub(super) fn assign(views: &[&View], strips: Vec<Thing<'_>>, wanted: &Wanted, found: &mut Found) {
    if wanted.strips.is_empty() {
        found.strips = strips.iter().map(|thing| Some(located(thing))).collect();
        return;
    }
    let open: Vec<usize> = (0..wanted.strips.len())
        .filter(|&index| wanted.strips[index].given.is_none())
        .collect();
    found.strips = wanted
        .strips
        .iter()
        .map(|strip| given(&strip.given))
        .collect();
    let reading = |wanted_index: usize, thing: &Thing<'_>| -> Option<(usize, Steps)> {
        match &wanted.strips[wanted_index].log_exposures {
            Some(exposures) => thing
                .candidate
                .readings
                .iter()
                .find(|(count, _)| *count == exposures.len())
                .cloned(),
            None => thing.candidate.likeliest().cloned(),
        }
    };
    // Best order-keeping assignment.
    let (rows, columns) = (open.len(), strips.len());
    let mut total = vec![vec![0f64; columns + 1]; rows + 1];
    let worth = |row: usize, column: usize| {
        reading(open[row], &strips[column])
            .map_or(f64::NEG_INFINITY, |(_, steps)| 10.0 + steps.score)
    };
    for row in (0..rows).rev() {
        for column in (0..columns).rev() {
            total[row][column] = (worth(row, column) + total[row + 1][column + 1])
                .max(total[row + 1][column])
                .max(total[row][column + 1]);
        }
    }
    let (mut row, mut column) = (0, 0);
    let mut taken: Vec<Option<usize>> = vec![None; wanted.strips.len()];
    let mut spare = vec![];
    while row < rows && column < columns {
        let here = total[row][column];
        if here == total[row + 1][column + 1] + worth(row, column) {
            taken[open[row]] = Some(column);
            row += 1;
            column += 1;
        } else if here == total[row][column + 1] {
            spare.push(column);
            column += 1;
        } else {
            row += 1;
        }
    }
    spare.extend(column..columns);
    told_apart(wanted, &mut taken, &|strip, thing| {
        let (_, steps) = reading(strip, &strips[thing])?;
        let thing = &strips[thing];
        Some(Fields::of(thing.shape.scan, thing.candidate, &steps))
    });
    let locate = |strip: usize, column: usize| -> Option<Located> {
        let (count, steps) = reading(strip, &strips[column])?;
        let candidate = strips[column].candidate;
        let view = views[strips[column].shape.scan];
        let exposures = wanted.strips[strip].log_exposures.as_deref();
        let order = numbering(count, exposures);
        let thing = thing(view, candidate, &steps, Made::ByHand, &order, exposures);
        Some(located(&thing))
    };
    let orders = orders_of(wanted, &strips, &taken, &reading);
    let listed = taken.clone();
    for order in &orders {
        order.apply(&mut taken, 0);
    }
    let all = |taken: &[Option<usize>]| -> Vec<Option<Located>> {
        let each = taken.iter().enumerate().zip(&found.strips);
        each.map(|((strip, column), given)| match column {
            Some(column) => locate(strip, *column),
            None => given.clone(),
        })
        .collect()
    };
    // Scan by scan: doubt about two scans at once is the rarer case of both.
    let otherwise: Vec<Assignment> = orders
        .iter()
        .flat_map(|order| (1..order.ways.len()).map(move |way| (order, way)))
        .map(|(order, way)| {
            let mut taken = taken.clone();
            order.apply(&mut taken, way);
            Assignment {
                chance: order.ways[way].1,
                strips: all(&taken),
            }
        })
        .collect();
    found.spare = spare.iter().map(|&index| located(&strips[index])).collect();
    found.strips = all(&taken);
    found.otherwise = otherwise;
    found.reordered = taken != listed;
}

/// In which orders the strips of one scan may lie.
struct Orders {
    strips: Vec<usize>,
    columns: Vec<usize>,
    ways: Vec<(Vec<usize>, f64)>,
}

impl Orders {
    fn apply(&self, taken: &mut [Option<usize>], way: usize) {
        for (&strip, &place) in self.strips.iter().zip(&self.ways[way].0) {
            taken[strip] = Some(self.columns[place]);
        }
    }
}

/// The orders of each scan that holds several strips; one that is seen once more is known by its
/// steps already.
fn orders_of(
    wanted: &Wanted,
    things: &[Thing<'_>],
    taken: &[Option<usize>],
    reading: &dyn Fn(usize, &Thing<'_>) -> Option<(usize, Steps)>,
) -> Vec<Orders> {
    let scan = |strip: usize| taken[strip].map(|column| things[column].shape.scan);
    let mut scans: Vec<usize> = (0..taken.len()).filter_map(scan).collect();
    scans.dedup();
    let on = |wanted_scan: usize| {
        let strips: Vec<usize> = (0..taken.len())
            .filter(|&strip| scan(strip) == Some(wanted_scan))
            .filter(|&strip| wanted.strips[strip].same_as.is_none())
            .collect();
        let columns: Vec<usize> = strips.iter().filter_map(|&strip| taken[strip]).collect();
        let roles: Vec<Role> = strips.iter().map(|&s| wanted.strips[s].role).collect();
        let looks: Option<Vec<Looks>> = columns
            .iter()
            .map(|&column| {
                let (_, steps) = things[column].candidate.likeliest()?;
                Some(Looks::of(things[column].candidate, steps))
            })
            .collect();
        let fits = |strip: usize, place: usize| {
            let thing = &things[columns[place]];
            let (count, steps) = reading(strips[strip], thing)?;
            let best = thing.candidate.likeliest()?.1.score;
            let exposures = wanted.strips[strips[strip]].log_exposures.as_deref();
            let by_exposures = exposures.map_or(0.0, |exposures| {
                let order = numbering(count, Some(exposures));
                let ascending: Vec<f64> = order.iter().map(|&step| exposures[step]).collect();
                let fields = Fields::of(thing.shape.scan, thing.candidate, &steps);
                agreement(&fields.levels, &ascending)
            });
            Some(EXPOSURES * by_exposures + COUNT * (steps.score - best))
        };
        Orders {
            ways: orders(&roles, &looks.unwrap_or_default(), &fits),
            strips,
            columns,
        }
    };
    scans
        .into_iter()
        .map(on)
        .filter(|order| order.strips.len() > 1)
        .collect()
}
