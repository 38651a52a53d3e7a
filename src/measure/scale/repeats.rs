//! Repeat error by density: how differently a scanner reads one field from scan to scan once the
//! scans' levels are brought together.

use std::collections::BTreeMap;

use serde::Serialize;
use statrs::distribution::{ContinuousCDF as _, StudentsT};

use super::wedge::WedgeField;

/// Width of the bands of density in which the error is told.
const BAND: f64 = 0.4;
/// Degrees of freedom with which all bands together speak for one band: a band with few of its own
/// is taken to be like the others.
const LENT: f64 = 4.0;

/// The repeat error in a band of density.
#[derive(Debug, Clone, Copy, PartialEq, Serialize)]
pub struct Repeat {
    /// Middle of the band, density.
    pub density: f64,
    /// Standard deviation of one scan's reading about the mean of many, density.
    pub error: f64,
    /// Degrees of freedom that it stands on; below 5 it is a rough figure.
    pub freedom: f64,
}

/// What the scans of a calibration show of one field.
#[derive(Debug, Clone, Copy)]
pub(super) struct Scatter {
    /// Sum of squared differences from their mean, scanner density.
    pub squares: f64,
    /// How many scans showed it.
    pub count: usize,
}

/// What repeated readings show of one field.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Shown {
    /// Mean density.
    pub density: f64,
    /// Sum of squared differences from the mean once levels are off, density.
    pub squares: f64,
    /// Degrees of freedom left.
    pub freedom: f64,
}

/// Number of the band that a density is in.
pub fn band(density: f64) -> usize {
    (density.max(0.0) / BAND) as usize
}

/// Pools the fields' scatter band by band; `slope` is the density a unit of scanner density.
///
/// Levels were taken off, one a scan: each field has lost a share of its freedom to them.
pub(super) fn by_density(
    fields: &[(WedgeField, Scatter)],
    slope: impl Fn(f64) -> f64,
) -> Vec<Repeat> {
    let seen: Vec<&(WedgeField, Scatter)> = fields
        .iter()
        .filter(|(_, scatter)| scatter.count > 1)
        .collect();
    let lost = 1.0 - 1.0 / (seen.len().max(1) as f64);
    pooled(seen.into_iter().map(|(field, scatter)| Shown {
        density: field.listed,
        squares: scatter.squares * slope(field.scanner).powi(2),
        freedom: (scatter.count as f64 - 1.0) * lost,
    }))
}

/// Pools what the fields show, band by band.
pub fn pooled(shown: impl Iterator<Item = Shown>) -> Vec<Repeat> {
    let mut bands: BTreeMap<usize, (f64, f64)> = BTreeMap::new();
    for field in shown {
        let (squares, freedom) = bands.entry(band(field.density)).or_default();
        *squares += field.squares;
        *freedom += field.freedom;
    }
    bands
        .into_iter()
        .filter(|(_, (_, freedom))| *freedom > 0.0)
        .map(|(band, (squares, freedom))| Repeat {
            density: (band as f64 + 0.5) * BAND,
            error: (squares / freedom).sqrt(),
            freedom,
        })
        .collect()
}

/// Two pooled lists as one.
pub fn merged(one: &[Repeat], other: &[Repeat]) -> Vec<Repeat> {
    pooled(one.iter().chain(other).map(|repeat| Shown {
        density: repeat.density,
        squares: repeat.error.powi(2) * repeat.freedom,
        freedom: repeat.freedom,
    }))
}

/// The errors as they are used in bounds: with few degrees of freedom a band leans on the others,
/// and what is left unsure of it is allowed for by the width of Student's t against the normal
/// distribution, at 95 %.
pub fn cautious(repeats: &[Repeat]) -> Vec<Repeat> {
    let squares: f64 = repeats.iter().map(|r| r.error.powi(2) * r.freedom).sum();
    let freedom: f64 = repeats.iter().map(|r| r.freedom).sum();
    if freedom <= 0.0 {
        return Vec::new();
    }
    let lent = LENT.min(freedom);
    let widen = |repeat: &Repeat| {
        let own = repeat.freedom;
        let variance = (repeat.error.powi(2) * own + squares / freedom * lent) / (own + lent);
        Repeat {
            error: variance.sqrt() * wider((own + lent).min(freedom)),
            ..*repeat
        }
    };
    repeats.iter().map(widen).collect()
}

/// How much wider than normal bounds those of Student's t are, at 95 %.
pub(super) fn wider(freedom: f64) -> f64 {
    let student = StudentsT::new(0.0, 1.0, freedom.max(1.0));
    student.map_or(1.0, |student| student.inverse_cdf(0.975) / 1.96)
}

/// The error as modes of a scale at a density: what one band reads wrong on a scan, everything in
/// it reads wrong, and neighbouring bands share what lies between their middles.
pub fn modes(repeats: &[Repeat], density: f64) -> impl Iterator<Item = f64> {
    let last = repeats.len().saturating_sub(1);
    repeats.iter().enumerate().map(move |(place, repeat)| {
        let beyond =
            (place == 0 && density < repeat.density) || (place == last && density > repeat.density);
        let share = if beyond {
            1.0
        } else {
            let neighbour = if density < repeat.density {
                repeats[place.saturating_sub(1)].density
            } else {
                repeats[(place + 1).min(last)].density
            };
            let width = (neighbour - repeat.density).abs().max(1e-9);
            (1.0 - (density - repeat.density).abs() / width).max(0.0)
        };
        repeat.error * share.sqrt()
    })
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn pooling_lists_adds_up_squares_and_freedom() {
        let repeat = |density, error, freedom| Repeat {
            density,
            error,
            freedom,
        };
        let both = merged(
            &[repeat(0.2, 0.003, 4.0)],
            &[repeat(0.2, 0.006, 2.0), repeat(1.0, 0.01, 3.0)],
        );
        let first = ((4.0 * 0.003f64.powi(2) + 2.0 * 0.006f64.powi(2)) / 6.0).sqrt();
        assert!((both[0].error - first).abs() < 1e-12 && both[0].freedom == 6.0);
        assert_eq!(both[1], repeat(1.0, 0.01, 3.0));
    }

    #[test]
    fn few_repeats_are_trusted_less_than_many() {
        let with = |freedom| {
            let one = Repeat {
                density: 0.2,
                error: 0.004,
                freedom,
            };
            cautious(&[one])[0].error / 0.004
        };
        // Student's t at 97.5 % (tables): 4.303 for 2, 2.228 for 10 degrees of freedom.
        assert!((with(2.0) - 4.303 / 1.96).abs() < 1e-3);
        assert!((with(10.0) - 2.228 / 1.96).abs() < 1e-3);
        assert!(cautious(&[]).is_empty());
    }

    #[test]
    fn modes_add_up_to_the_error_at_every_density() {
        let repeats = [0.2, 0.6, 1.0].map(|density| Repeat {
            density,
            error: 0.004,
            freedom: 6.0,
        });
        for density in [0.0, 0.2, 0.3, 0.5, 0.77, 1.0, 1.9] {
            let variance: f64 = modes(&repeats, density).map(|mode| mode * mode).sum();
            assert!(
                (variance.sqrt() - 0.004).abs() < 1e-12,
                "{density}: {variance}"
            );
        }
        assert_eq!(modes(&[], 0.5).count(), 0);
    }
}
