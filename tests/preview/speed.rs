//! How long a position of the slider takes.

use std::sync::Arc;
use std::time::{Duration, Instant};

use twinstrip::measure::preview::{PrintPicture, shares};
use twinstrip::measure::raster::{Channel, Light, Origin, Raster, Samples, Weights};
use twinstrip::measure::watch::Unwatched;

/// Most that a step of the slider may take in the released program.
const STEP: Duration = Duration::from_millis(50);
/// Longer side of the screen-size copy, pixels.
const LONGEST: usize = 2_000;

/// A print of 24 Mpx: every tone in turn, in 16 bits.
fn print() -> Raster {
    let (width, height) = (6_000, 4_000);
    let code = |i: usize| (i * 2_654_435_761 % 65_536) as u16;
    Raster {
        width,
        height,
        channels: 3,
        samples: Samples::Sixteen((0..width * height * 3).map(code).collect()),
        light: Light {
            tables: vec![
                (0..65_536)
                    .map(|code| code as f32 / 65_535.0)
                    .collect::<Arc<[f32]>>();
                3
            ],
            weights: Weights::SRGB,
            source: "made here".into(),
        },
        pixels_per_mm: None,
        origin: Origin::default(),
    }
}

#[test]
fn a_step_of_the_slider_on_a_large_scan_is_quick() {
    // Unoptimised and beside other tests only that it works is held.
    let (_, small, scale, tones) = super::set_up();
    let (print, longest) = if cfg!(debug_assertions) {
        (small, 96)
    } else {
        (print(), LONGEST)
    };
    let started = Instant::now();
    let picture = PrintPicture::new(&print, &scale, Channel::Luminance, longest, &Unwatched);
    let picture = picture.unwrap();
    let copied = started.elapsed();
    let mut steps: Vec<Duration> = (0..9)
        .map(|step| {
            let started = Instant::now();
            let table = tones.table(f64::from(step) / 3.0);
            let shown = picture.shown(&table, true);
            let shares = shares(&tones, &table, &picture.histogram);
            assert_eq!(shown.len(), picture.levels.len());
            assert!(shares.blank + shares.blocked <= 1.0 + 1e-9);
            started.elapsed()
        })
        .collect();
    steps.sort();
    eprintln!(
        "screen-size copy of {} x {}: {copied:?}; a step: {:?} (quickest of 9), {:?} (middle)",
        print.width, print.height, steps[0], steps[4]
    );
    if !cfg!(debug_assertions) {
        // The quickest: what else runs on the machine meanwhile is none of its business.
        assert!(steps[0] < STEP, "{:?}", steps[0]);
    }
}
