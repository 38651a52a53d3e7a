//! Strips painted by a formula that nothing was fitted to, with their Dmin known.

use std::sync::Arc;

use statrs::distribution::{ContinuousCDF, Normal};

use super::*;
use crate::measure::raster::{Light, Origin, Samples, Weights as Shares};

/// Pixels a millimetre.
const PER_MM: f64 = 8.0;
/// Size of the scan, millimetres.
const SIZE: (f64, f64) = (110.0, 60.0);
/// Steps: where they begin, their length and width, millimetres, and how many.
const START: (f64, f64) = (25.0, 18.0);
const STEP: (f64, f64) = (8.0, 24.0);
const COUNT: usize = 7;
/// Density without light.
const DMIN: f64 = 0.12;

/// Coat that reaches beyond the steps by so much, millimetres: at the light end, at the dark end,
/// on either side; steps with gaps between them; what the coat lies on.
struct Scene {
    beyond: [f64; 4],
    gap: f64,
    ground: f64,
    lid: f64,
    /// Half of the width of a mask's edge, millimetres.
    soft: f64,
}

impl Scene {
    fn on(ground: f64) -> Self {
        Self {
            beyond: [0.0; 4],
            gap: 0.0,
            ground,
            lid: 0.05,
            soft: 0.3,
        }
    }

    fn pitch(&self) -> f64 {
        STEP.0 + self.gap
    }

    fn length(&self) -> f64 {
        self.pitch() * COUNT as f64 - self.gap
    }

    fn exposures() -> Vec<f64> {
        (0..COUNT).map(|step| -0.8 + 0.2 * step as f64).collect()
    }

    fn steps(&self) -> Vec<Quad> {
        let corner = |x: f64, y: f64| Point::new(x * PER_MM, y * PER_MM);
        (0..COUNT)
            .map(|step| {
                let from = START.0 + self.pitch() * step as f64;
                [
                    corner(from, START.1),
                    corner(from, START.1 + STEP.1),
                    corner(from + STEP.0, START.1 + STEP.1),
                    corner(from + STEP.0, START.1),
                ]
            })
            .collect()
    }

    /// Density at a place, millimetres.
    fn density(&self, x: f64, y: f64) -> f64 {
        let normal = Normal::standard();
        let (u, v) = (x - START.0, y - START.1);
        let [light, dark, left, right] = self.beyond;
        let inside = |low: f64, high: f64, at: f64| at > low && at < high;
        let coat = inside(-light, self.length() + dark, u) && inside(-left, STEP.1 + right, v);
        let piece = inside(-12.0, self.length() + 12.0, u) && inside(-9.0, STEP.1 + 9.0, v);
        if !coat {
            return if piece { self.ground } else { self.lid };
        }
        let edge = |distance: f64| normal.cdf(distance / self.soft);
        let along: f64 = Self::exposures()
            .iter()
            .enumerate()
            .map(|(step, x)| {
                let from = self.pitch() * step as f64;
                let open = |margin: f64| margin > 0.0 || self.gap > 0.0;
                let first = step > 0 || open(light);
                let last = step + 1 < COUNT || open(dark);
                let from = if first { edge(u - from) } else { 1.0 };
                let to = self.pitch() * step as f64 + STEP.0;
                let to = if last { edge(to - u) } else { 1.0 };
                10f64.powf(*x) * from * to
            })
            .sum();
        let across = if left > 0.0 { edge(v) } else { 1.0 }
            * if right > 0.0 { edge(STEP.1 - v) } else { 1.0 };
        let light = (along * across).max(1e-6).log10();
        DMIN + 1.7 * normal.cdf(2.4 * light)
    }

    fn raster(&self) -> Raster {
        let (width, height) = ((SIZE.0 * PER_MM) as usize, (SIZE.1 * PER_MM) as usize);
        // A well-mixed counter is noise enough.
        let noise = |at: usize| {
            let mixed = (at as u64 ^ 0x9e37).wrapping_mul(0x9e37_79b9_7f4a_7c15);
            let mixed = (mixed ^ (mixed >> 29)).wrapping_mul(0xbf58_476d_1ce4_e5b9);
            (mixed >> 40) as f64 / (1u64 << 24) as f64 - 0.5
        };
        let light = (0..width * height).flat_map(|at| {
            let (x, y) = ((at % width) as f64 + 0.5, (at / width) as f64 + 0.5);
            let density = self.density(x / PER_MM, y / PER_MM) + 0.02 * noise(at);
            [10f64.powf(-density) as f32; 3]
        });
        let straight: Arc<[f32]> = [0.0, 1.0].into();
        Raster {
            width,
            height,
            channels: 3,
            samples: Samples::Float(light.collect()),
            light: Light {
                tables: vec![Arc::clone(&straight), Arc::clone(&straight), straight],
                weights: Shares::SRGB,
                source: "painted".into(),
            },
            pixels_per_mm: Some(PER_MM),
            origin: Origin::default(),
        }
    }

    fn search(&self) -> Search {
        self.search_beside(&[])
    }

    fn search_beside(&self, others: &[Quad]) -> Search {
        let raster = self.raster();
        let around = Surroundings {
            raster: &raster,
            channel: Channel::Luminance,
            scale: &Straight,
            per_mm: PER_MM,
            others,
        };
        search(&around, &self.steps(), &Self::exposures()).expect("there are steps")
    }

    /// Asserts that Dmin was found, and that its patches lie on coat that got no light.
    fn is_found(&self) {
        let search = self.search();
        let together = search.together;
        assert!(together.sure, "{together:?} {:?}", search.alternatives);
        assert!((together.dmin - DMIN).abs() < 0.006, "{together:?}");
        let first = &search.alternatives[0];
        assert!(!first.patches.is_empty());
        for patch in &first.patches {
            for i in 0..=6 {
                for j in 0..=6 {
                    let share = |k: i32| f64::from(k) / 6.0;
                    let place = patch[0]
                        .toward(patch[3], share(i))
                        .toward(patch[1].toward(patch[2], share(i)), share(j));
                    let density = self.density(place.x / PER_MM, place.y / PER_MM);
                    assert!((density - DMIN).abs() < 0.01, "{density} at {place:?}");
                }
            }
        }
    }
}

/// Scanner density is density.
struct Straight;

impl DensityScale for Straight {
    fn density(&self, s: f64) -> f64 {
        s
    }

    fn slope(&self, _: f64) -> f64 {
        1.0
    }

    fn modes(&self, _: f64) -> Vec<f64> {
        vec![]
    }

    fn supported(&self) -> (f64, f64) {
        (0.0, 4.0)
    }

    fn by_wedge(&self) -> bool {
        true
    }
}

#[test]
fn a_frame_of_coat_is_found_on_lighter_and_on_darker_ground() {
    for ground in [0.06, 0.25, 1.2] {
        Scene {
            beyond: [5.0; 4],
            ..Scene::on(ground)
        }
        .is_found();
    }
}

#[test]
fn a_rim_two_millimetres_wide_is_enough() {
    Scene {
        beyond: [2.0; 4],
        soft: 0.2,
        ..Scene::on(0.05)
    }
    .is_found();
}

#[test]
fn a_margin_at_either_end_is_found_whatever_the_lid() {
    for beyond in [[9.0, 0.0, 0.0, 0.0], [9.0, 9.0, 0.0, 0.0]] {
        for (ground, lid) in [(0.9, 0.05), (0.05, 1.6)] {
            Scene {
                beyond,
                lid,
                ..Scene::on(ground)
            }
            .is_found();
        }
    }
}

#[test]
fn coat_along_one_side_and_between_windows_is_found() {
    Scene {
        beyond: [0.0, 0.0, 5.0, 0.0],
        ..Scene::on(0.8)
    }
    .is_found();
    Scene {
        gap: 3.0,
        beyond: [3.0, 3.0, 0.0, 0.0],
        ..Scene::on(0.05)
    }
    .is_found();
}

#[test]
fn ground_is_not_taken_for_coat_where_no_coat_is_left_unexposed() {
    for ground in [0.04, 0.5, 1.3] {
        let search = Scene::on(ground).search();
        let together = search.together;
        let off = (together.dmin - DMIN).abs();
        assert!(
            off < 0.02 || (!together.sure && off < 2.5 * together.error),
            "{ground}: {together:?}"
        );
    }
}

#[test]
fn chances_of_all_readings_add_up_to_one() {
    let search = Scene {
        beyond: [5.0; 4],
        ..Scene::on(0.06)
    }
    .search();
    let all: f64 = search.alternatives.iter().map(|a| a.chance).sum();
    assert!((all + search.none - 1.0).abs() < 0.02, "{all}");
}

#[test]
fn sight_stops_at_other_strips() {
    let scene = Scene {
        beyond: [0.0, 0.0, 5.0, 0.0],
        ..Scene::on(0.8)
    };
    // Another strip lies over the only coat that got no light.
    let corner = |x: f64, y: f64| Point::new(x * PER_MM, y * PER_MM);
    let other = [
        corner(10.0, 0.0),
        corner(10.0, START.1 - 0.2),
        corner(95.0, START.1 - 0.2),
        corner(95.0, 0.0),
    ];
    let search = scene.search_beside(&[other]);
    let near = |a: &&Alternative| (a.density - DMIN).abs() < 0.01;
    assert_eq!(search.alternatives.iter().find(near), None);
}
