//! Edges of the 8 x 8 blocks of JPEG compression inside even fields.

use super::sample::{Span, Target, codes, density_per_code, main_channel};
use crate::measure::finding::{Finding, Kind, Place, Weight};
use crate::measure::raster::{Channel, Raster};

/// Pixels from one block edge to the next (JPEG, ITU-T T.81).
const BLOCK: usize = 8;

/// How much larger steps between neighbours are at block edges from which blocks are visible.
/// Chance alone stays below 1.02 with the pixels sampled here.
const VISIBLE: f64 = 1.10;

/// Standard errors by which the excess must stand out.
const SURE: f64 = 6.0;

/// Level error of a block in the darkest step, density, from which the answer may suffer:
/// averaged over the hundred or so blocks of a step it is ten times smaller.
const MATTERS: f64 = 0.03;

/// Steps between neighbours sorted by where they lie in the block.
#[derive(Debug, Clone, Copy, Default)]
struct Steps {
    sum: [f64; BLOCK],
    squares: [f64; BLOCK],
    count: [f64; BLOCK],
}

impl Steps {
    fn add(&mut self, phase: usize, step: f64) {
        self.sum[phase] += step.abs();
        self.squares[phase] += step * step;
        self.count[phase] += 1.0;
    }

    fn merge(&mut self, other: &Self) {
        for phase in 0..BLOCK {
            self.sum[phase] += other.sum[phase];
            self.squares[phase] += other.squares[phase];
            self.count[phase] += other.count[phase];
        }
    }

    /// The phase whose steps are the largest, their excess over all others as a ratio, and by
    /// how many standard errors it stands out.
    fn edge(&self) -> Option<(usize, f64, f64)> {
        let mean = |phase: usize| self.sum[phase] / self.count[phase].max(1.0);
        let edge = (0..BLOCK).max_by(|&a, &b| mean(a).total_cmp(&mean(b)))?;
        let others: Vec<usize> = (0..BLOCK).filter(|&phase| phase != edge).collect();
        let rest = others.iter().map(|&phase| mean(phase)).sum::<f64>() / (BLOCK - 1) as f64;
        if rest <= 0.0 || self.count[edge] < 200.0 {
            return None;
        }
        let variance = self.squares[edge] / self.count[edge] - mean(edge).powi(2);
        let error = (variance.max(0.0) / self.count[edge]).sqrt();
        let excess = mean(edge) - rest;
        Some((edge, mean(edge) / rest, excess / error.max(1e-9)))
    }

    /// Standard deviation of what a block edge adds to the step between neighbours.
    fn level_error(&self, edge: usize) -> f64 {
        let square = |phase: usize| self.squares[phase] / self.count[phase].max(1.0);
        let rest = (0..BLOCK)
            .filter(|&phase| phase != edge)
            .map(square)
            .sum::<f64>()
            / (BLOCK - 1) as f64;
        // Both neighbours of an edge carry their block's error.
        ((square(edge) - rest).max(0.0) / 2.0).sqrt()
    }
}

/// Tells of compression with loss, and how much its blocks show inside the strips.
pub fn blocks(
    raster: &Raster,
    scan: usize,
    targets: &[Target<'_>],
    channel: Channel,
) -> Option<Finding> {
    let channel = main_channel(raster, channel);
    let mut all = Steps::default();
    // The darkest field: there a code spans the most density.
    let mut darkest: Option<(f64, Steps)> = None;
    for target in targets {
        for field in target.fields() {
            let spans = target.spans(raster, field);
            let Some((mean, steps)) = steps(raster, &spans, channel) else {
                continue;
            };
            all.merge(&steps);
            if darkest.as_ref().is_none_or(|(least, _)| mean < *least) {
                darkest = Some((mean, steps));
            }
        }
    }
    let visible = all
        .edge()
        .filter(|&(_, ratio, sure)| ratio > VISIBLE && sure > SURE);
    if visible.is_none() && !raster.origin.lossy {
        return None;
    }
    let level = visible
        .zip(darkest)
        .map(|((edge, ratio, _), (mean, steps))| {
            let density = steps.level_error(edge) * density_per_code(raster, channel, mean);
            (ratio, density)
        });
    Some(tell(scan, level, raster.origin.lossy))
}

fn tell(scan: usize, level: Option<(f64, f64)>, lossy: bool) -> Finding {
    let seen = match level {
        Some((ratio, _)) => format!(
            "Inside the steps the picture jumps {:.0} % more every 8 pixels than between: blocks \
             of JPEG compression.",
            100.0 * (ratio - 1.0)
        ),
        None => "The scan was compressed with loss (JPEG), without visible blocks.".to_owned(),
    };
    let matters = match level {
        Some((_, density)) => format!(
            "In the darkest step the level of a block is off by about {density:.3} D; a step's \
             mean averages over many blocks, but the unevenness of the coat is misjudged."
        ),
        None => "Means of steps hardly change; the noise is smoothed, so that the coat seems \
                 more even than it is."
            .to_owned(),
    };
    Finding {
        kind: Kind::CompressionBlocks,
        weight: if level.is_some_and(|(_, density)| density > MATTERS) {
            Weight::Caution
        } else {
            Weight::Note
        },
        place: Place::scan(scan),
        seen,
        matters,
        remedy: if lossy {
            "Save the scan as TIFF or PNG."
        } else {
            "Save the scan as TIFF or PNG straight from the scanner: this file was a JPEG once."
        }
        .to_owned(),
    }
}

/// Mean code and steps between neighbours along rows.
fn steps(raster: &Raster, spans: &[Span], channel: usize) -> Option<(f64, Steps)> {
    let mut steps = Steps::default();
    let mut row = vec![];
    let (mut sum, mut count) = (0.0, 0.0);
    for &span in spans {
        codes(raster, span, channel, &mut row);
        for (offset, pair) in row.windows(2).enumerate() {
            let phase = (span.from + offset + 1) % BLOCK;
            steps.add(phase, f64::from(pair[1]) - f64::from(pair[0]));
        }
        sum += row.iter().map(|&code| f64::from(code)).sum::<f64>();
        count += row.len() as f64;
    }
    (count > 0.0).then_some((sum / count, steps))
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::measure::check::synthetic::{Bench, Retouch, target};

    fn found(bench: &Bench, lossy: bool) -> Option<Finding> {
        let (mut raster, shape) = bench.make();
        raster.origin.lossy = lossy;
        blocks(&raster, 0, &[target(&shape)], Channel::Luminance)
    }

    /// Keeps each block's mean and a little of its detail, as strong compression does.
    fn flatten_blocks(keep: f64) -> Retouch {
        Box::new(move |plane, width| {
            let height = plane.len() / width;
            for top in (0..height).step_by(8) {
                for left in (0..width).step_by(8) {
                    let places: Vec<usize> = (top..(top + 8).min(height))
                        .flat_map(|y| (left..(left + 8).min(width)).map(move |x| y * width + x))
                        .collect();
                    let mean =
                        places.iter().map(|&at| plane[at]).sum::<f64>() / places.len() as f64;
                    for at in places {
                        plane[at] = mean + keep * (plane[at] - mean);
                    }
                }
            }
        })
    }

    #[test]
    fn a_scan_without_loss_shows_no_blocks() {
        for bench in Bench::clean() {
            assert_eq!(found(&bench, false), None, "{bench:?}");
            assert_eq!(found(&Bench { bits: 8, ..bench }, false), None);
        }
    }

    #[test]
    fn blocks_are_seen_even_when_the_file_hides_where_they_came_from() {
        for bench in [Bench::mottled(), Bench::noisy()] {
            let bench = Bench {
                retouch: flatten_blocks(0.1),
                bits: 8,
                ..bench
            };
            for lossy in [false, true] {
                let found = found(&bench, lossy).expect("blocks are there");
                assert!(found.seen.contains("every 8 pixels"), "{}", found.seen);
            }
        }
    }

    #[test]
    fn gentle_compression_is_only_noted() {
        let found = found(&Bench::noisy(), true).expect("the file says it is a JPEG");
        assert_eq!(found.weight, Weight::Note);
        assert!(found.seen.contains("without visible blocks"));
    }
}
