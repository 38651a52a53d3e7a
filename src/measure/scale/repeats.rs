//! Repeat error by density: how differently a scanner reads one field from scan to scan once the
//! scans' levels are brought together.

use super::wedge::WedgeField;

/// Width of the bands of density in which the error is told.
const BAND: f64 = 0.4;

/// The repeat error in a band of density.
#[derive(Debug, Clone, Copy, PartialEq)]
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
    let mut bands: std::collections::BTreeMap<usize, (f64, f64)> =
        std::collections::BTreeMap::new();
    for (field, scatter) in seen {
        let band = (field.listed.max(0.0) / BAND) as usize;
        let (squares, freedom) = bands.entry(band).or_default();
        *squares += scatter.squares * slope(field.scanner).powi(2);
        *freedom += (scatter.count as f64 - 1.0) * lost;
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

/// The error as modes of a scale at a density: what one band reads wrong on a scan, everything in
/// it reads wrong, and neighbouring bands share what lies between their middles.
pub(super) fn modes(repeats: &[Repeat], density: f64) -> impl Iterator<Item = f64> {
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
