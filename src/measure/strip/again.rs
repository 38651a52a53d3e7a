//! Which of the things found on a scan is a strip that lies on another scan too.
//!
//! Reading order tells strips apart only as long as they are laid alike. A scan on which they lie
//! otherwise shows which is which itself: a strip's steps look the same each time but for the
//! scan's level.

use super::identity::permutations;
use super::steps::Steps;
use super::{Wanted, candidate::Candidate};

/// Root mean square difference of the fields, density, up to which two things may be one strip:
/// scanners repeat themselves far better (as `scale::common` has it).
const ALIKE: f64 = 0.03;
/// And another order must be likelier by so much than reading order.
const BETTER: f64 = 0.5;
/// Most strips of one scan whose orders are all tried.
const MOST: usize = 6;

/// A thing with the fields that it has as one of the strips wanted.
pub(super) struct Fields {
    /// Which scan it lies on.
    pub scan: usize,
    /// Densities from the lightest field to the darkest, levels of the view.
    pub levels: Vec<f64>,
}

impl Fields {
    /// The fields of a reading.
    pub fn of(scan: usize, candidate: &Candidate, steps: &Steps) -> Self {
        let level = |pair: &[f64]| {
            let inset = (pair[1] - pair[0]) * 0.2;
            candidate.sums.level(pair[0] + inset, pair[1] - inset)
        };
        Self {
            scan,
            levels: steps.borders.windows(2).map(level).collect(),
        }
    }

    /// Root mean square difference once the levels are brought together; the largest there is for
    /// other counts of fields.
    fn unlike(&self, other: &Self) -> f64 {
        let count = self.levels.len();
        if count == 0 || count != other.levels.len() {
            return f64::INFINITY;
        }
        let by: Vec<f64> = self
            .levels
            .iter()
            .zip(&other.levels)
            .map(|(a, b)| a - b)
            .collect();
        let mean = by.iter().sum::<f64>() / count as f64;
        (by.iter().map(|d| (d - mean).powi(2)).sum::<f64>() / count as f64).sqrt()
    }
}

/// Exchanges strips within a scan where one that was seen before shows that they lie otherwise
/// than listed. `taken` is the thing that each strip wanted was given; `fields` tells how a thing
/// looks as one of them.
pub(super) fn told_apart(
    wanted: &Wanted,
    taken: &mut [Option<usize>],
    fields: &dyn Fn(usize, usize) -> Option<Fields>,
) {
    let scan_of = |strip: usize, thing: usize| fields(strip, thing).map(|fields| fields.scan);
    let mut scans: Vec<(usize, Vec<usize>)> = Vec::new();
    for (strip, thing) in taken.iter().enumerate() {
        let Some(scan) = thing.and_then(|thing| scan_of(strip, thing)) else {
            continue;
        };
        match scans.iter_mut().find(|(known, _)| *known == scan) {
            Some((_, strips)) => strips.push(strip),
            None => scans.push((scan, vec![strip])),
        }
    }
    for (scan, strips) in scans {
        let again = |&strip: &usize| wanted.strips[strip].same_as.is_some();
        if !(2..=MOST).contains(&strips.len()) || !strips.iter().any(again) {
            continue;
        }
        let things: Vec<usize> = strips.iter().filter_map(|&strip| taken[strip]).collect();
        // How unlike the strips that they are the ones seen before would be.
        let unlike = |order: &[usize]| -> f64 {
            let pairs = strips.iter().zip(order);
            let squares = pairs.map(|(&strip, &place)| {
                let Some(here) = fields(strip, things[place]) else {
                    return f64::INFINITY;
                };
                let first = wanted.strips[strip].same_as;
                let there = first.and_then(|first| fields(first, taken[first]?));
                match there.filter(|there| there.scan != scan) {
                    Some(there) => there.unlike(&here).powi(2),
                    None => 0.0,
                }
            });
            let count = strips.iter().filter(|strip| again(strip)).count();
            (squares.sum::<f64>() / count as f64).sqrt()
        };
        let listed: Vec<usize> = (0..strips.len()).collect();
        let as_listed = unlike(&listed);
        if as_listed < ALIKE {
            continue;
        }
        let best = permutations(strips.len())
            .into_iter()
            .map(|order| (unlike(&order), order))
            .min_by(|a, b| a.0.total_cmp(&b.0));
        let Some((least, order)) = best else { continue };
        if least < BETTER * as_listed && least < ALIKE {
            for (&strip, &place) in strips.iter().zip(&order) {
                taken[strip] = Some(things[place]);
            }
        }
    }
}

#[cfg(test)]
mod tests {
    use super::super::{Role, WantedStrip};
    use super::*;

    /// Paper and coat on the first scan; things 2 and 3 on the second.
    fn wanted(same_as: [Option<usize>; 4]) -> Wanted {
        let strip = |same_as| WantedStrip {
            role: Role::Reference,
            log_exposures: None,
            given: None,
            same_as,
        };
        Wanted {
            strips: same_as.map(strip).to_vec(),
            wedge: None,
        }
    }

    fn looks(thing: usize, levels: [[f64; 3]; 4]) -> Fields {
        Fields {
            scan: thing / 2,
            levels: levels[thing].to_vec(),
        }
    }

    const PAPER: [f64; 3] = [0.1, 0.8, 1.6];
    const COAT: [f64; 3] = [0.2, 0.5, 1.0];

    fn darker(fields: [f64; 3]) -> [f64; 3] {
        fields.map(|density| density + 0.05)
    }

    #[test]
    fn a_strip_seen_once_more_is_known_by_its_steps_wherever_it_lies() {
        for same_as in [[None, None, Some(0), Some(1)], [None, None, Some(0), None]] {
            let mut taken = [Some(0), Some(1), Some(2), Some(3)];
            let levels = [PAPER, COAT, darker(COAT), darker(PAPER)];
            told_apart(&wanted(same_as), &mut taken, &|_, thing| {
                Some(looks(thing, levels))
            });
            assert_eq!(taken, [Some(0), Some(1), Some(3), Some(2)]);
        }
    }

    #[test]
    fn reading_order_stands_where_nothing_speaks_against_it() {
        let as_listed = [Some(0), Some(1), Some(2), Some(3)];
        let told = |same_as, levels: [[f64; 3]; 4]| {
            let mut taken = as_listed;
            told_apart(&wanted(same_as), &mut taken, &|_, thing| {
                Some(looks(thing, levels))
            });
            taken
        };
        let both = [None, None, Some(0), Some(1)];
        assert_eq!(
            told(both, [PAPER, COAT, darker(PAPER), darker(COAT)]),
            as_listed
        );
        // Neither looks like what it should be: left for a person to see.
        let other = [0.1, 0.9, 1.1];
        assert_eq!(told(both, [PAPER, COAT, other, other]), as_listed);
        assert_eq!(told([None; 4], [PAPER, COAT, COAT, PAPER]), as_listed);
    }
}
