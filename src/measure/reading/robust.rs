//! Middle and spread of values that hold a share of strangers (bubbles, dust, hairs).

/// Median and normal-consistent median absolute deviation (1.4826 MAD).
///
/// Takes finite values in any unit, which are reordered; `None` when there are none. Of an
/// even count the two middle values are averaged. Breaks down at half strangers.
///
/// Source: Hampel 1974, J. Am. Stat. Assoc. 69:383.
pub fn median_and_spread(values: &mut [f64]) -> Option<(f64, f64)> {
    let middle = median(values)?;
    let mut away: Vec<f64> = values.iter().map(|value| (value - middle).abs()).collect();
    let spread = 1.4826 * median(&mut away)?;
    Some((middle, spread))
}

/// Median; the values are reordered. `None` when there are none.
pub fn median(values: &mut [f64]) -> Option<f64> {
    let count = values.len();
    if count == 0 {
        return None;
    }
    let (below, &mut upper, _) = values.select_nth_unstable_by(count / 2, f64::total_cmp);
    if count % 2 == 1 {
        return Some(upper);
    }
    let lower = below
        .iter()
        .copied()
        .max_by(f64::total_cmp)
        .unwrap_or(upper);
    Some((lower + upper) / 2.0)
}

/// The interval outside of which a value counts as a stranger.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Gate {
    /// Lowest value that counts.
    pub low: f64,
    /// Highest value that counts.
    pub high: f64,
}

/// Half-width of the gate in robust standard deviations: keeps 99.7 % of normal values.
const GATE_SPREADS: f64 = 3.0;
/// Half-width of the gate in distances to the next code value. Where a scan is coarser than
/// its noise most pixels share one code and the spread is nought; the neighbouring codes
/// must count all the same, or the mean sticks to one code.
const GATE_CODES: f64 = 1.6;

impl Gate {
    /// The gate for a sample of values, which is sorted on the way; `None` when it is empty.
    pub fn of(sample: &mut [f64]) -> Option<Self> {
        let (middle, spread) = median_and_spread(sample)?;
        sample.sort_unstable_by(f64::total_cmp);
        let below = sample.partition_point(|&value| value < middle);
        let above = sample.partition_point(|&value| value <= middle);
        let gap_down = below.checked_sub(1).map_or(0.0, |i| middle - sample[i]);
        let gap_up = sample.get(above).map_or(0.0, |next| next - middle);
        // The nearer neighbour of the two can be a stranger as well (a flat field with one
        // hair), so the smaller gap decides where both exist.
        let gap = match (gap_down > 0.0, gap_up > 0.0) {
            (true, true) => gap_down.min(gap_up) * 1.5,
            _ => gap_down.max(gap_up),
        };
        // On finely coded scans the gap is far below the spread and doesn't matter.
        let half = (GATE_SPREADS * spread).max(GATE_CODES * gap);
        Some(Self {
            low: middle - half,
            high: middle + half,
        })
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn lets_in(gate: Gate, value: f64) -> bool {
        (gate.low..=gate.high).contains(&value)
    }

    /// Copper in wholemeal flour, parts per million: Analytical Methods Committee 1989,
    /// Analyst 114:1693; data set `chem` in Venables & Ripley 2002, section 5.5.
    const COPPER: [f64; 24] = [
        2.9, 3.1, 3.4, 3.4, 3.7, 3.7, 2.8, 2.5, 2.4, 2.4, 2.7, 2.2, 5.28, 3.37, 3.03, 3.03, 28.95,
        3.77, 3.4, 2.2, 3.5, 3.6, 3.7, 3.7,
    ];
    /// Published: median 3.385, MAD 0.52632, Huber's location with its spread 3.2067.
    const COPPER_MEDIAN: f64 = 3.385;
    const COPPER_SPREAD: f64 = 0.526_323;
    const COPPER_HUBER: f64 = 3.2067;

    #[test]
    fn median_and_spread_are_those_published_for_copper_in_flour() {
        let (middle, spread) = median_and_spread(&mut COPPER.clone()).unwrap();
        assert!((middle - COPPER_MEDIAN).abs() < 1e-12);
        assert!((spread - COPPER_SPREAD).abs() < 1e-6);
    }

    #[test]
    fn the_mean_inside_the_gate_agrees_with_hubers_location_within_its_error() {
        let gate = Gate::of(&mut COPPER.clone()).unwrap();
        let inside: Vec<f64> = COPPER.into_iter().filter(|&v| lets_in(gate, v)).collect();
        let mean = inside.iter().sum::<f64>() / inside.len() as f64;
        assert_eq!(inside.len(), 22, "28.95 and 5.28 are strangers");
        let error = COPPER_SPREAD / 22f64.sqrt();
        assert!((mean - COPPER_HUBER).abs() < error, "{mean}");
    }

    #[test]
    fn coarse_codes_keep_their_neighbours_and_lose_the_dust() {
        // 60 % of the pixels on one code, 39 % on the next, 1 % dust.
        let mut values = vec![0.10; 60];
        values.extend(vec![0.11; 39]);
        values.push(0.90);
        let gate = Gate::of(&mut values).unwrap();
        assert!(lets_in(gate, 0.10) && lets_in(gate, 0.11) && !lets_in(gate, 0.90));
    }

    #[test]
    fn no_values_have_no_middle() {
        assert_eq!(median_and_spread(&mut []), None);
        assert_eq!(Gate::of(&mut []), None);
    }
}
