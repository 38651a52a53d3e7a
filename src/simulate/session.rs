//! A whole practice session: materials, exposures, strips, scans, truth.

use std::sync::Arc;

use rand::{Rng, SeedableRng};
use rand_chacha::ChaCha8Rng;
use rand_distr::StandardNormal;

use super::clutter::{self, Thing};
use super::faults::spoil;
use super::layout::{Sheet, lay};
use super::marks;
use super::paint::{Painting, paint_sheets, paint_spots};
use super::placing::{pieces, place};
use super::practice::Practice;
use super::recipe::{Encoding, Recipe, Twist};
use super::scanner::{Scanner, Shade, Tint};
use super::scene::Scene;
use super::setting::{Kept, Surround};
use super::strips::Wedge;
use super::told::{Told, pairs, spec, strip_truth, strips};
use super::truth::{StripTruth, Truth, WedgeTruth};
use crate::measure::analysis::{StripSpec, WedgeSpec};
use crate::measure::geometry::Field;
use crate::measure::raster::Raster;

/// Where a stripe of the lamp lies, share of the width: over strips of most practice scans.
const STRIPE_AT: f64 = 0.4;
/// Reflectance of the lid of an empty scan.
const EMPTY_LID: f64 = 0.86;

/// The empty glass by the scanner of a practice session, as large as one of its scans, with dust as
/// usual; `seed` is that of its noise.
pub fn empty_glass(recipe: &Recipe, scan: &Raster, seed: u64) -> Raster {
    let mut rng = ChaCha8Rng::seed_from_u64(recipe.seed);
    rng.set_stream(recipe.level.pick(1, 2, 3));
    let mut scanner = Scanner::draw(&mut rng, recipe.level);
    let eight = rng.random_bool(recipe.level.pick(0.0, 0.1, 0.15));
    settle_scanner(&mut scanner, recipe, eight);
    let per_mm = scan.pixels_per_mm.unwrap_or(1.0);
    let mut scene = Scene {
        width: scan.width,
        height: scan.height,
        lid: EMPTY_LID,
        shadow: 0.0,
        strips: vec![],
        wedges: vec![],
        things: vec![],
        tapes: vec![],
        spots: vec![],
    };
    let mut rng = ChaCha8Rng::seed_from_u64(seed);
    let size = (scene.width, scene.height);
    marks::on_glass(&mut rng, recipe.level, size, per_mm, &mut scene.spots);
    let mut painting = paint_sheets(&scene);
    paint_spots(&scene, &mut painting);
    scanner.scan(painting, per_mm, rng.random())
}

/// Makes a practice session: the same recipe gives the same scans to the last bit.
pub fn make(recipe: &Recipe) -> Practice {
    let mut rng = ChaCha8Rng::seed_from_u64(recipe.seed);
    rng.set_stream(recipe.level.pick(1, 2, 3));
    let level = recipe.level;
    let mut scanner = Scanner::draw(&mut rng, level);
    let eight = rng.random_bool(level.pick(0.0, 0.1, 0.15));
    settle_scanner(&mut scanner, recipe, eight);
    let lag_told = (
        [0.0, 0.05, 0.10][rng.random_range(0..3)],
        level.pick(0.02, 0.03, 0.03),
    );
    let lag = (lag_told.0 + lag_told.1 * rng.sample::<f64, _>(StandardNormal)).min(0.18);
    let told = strips(&mut rng, recipe, lag);
    let wedge = Wedge::draw(&mut rng, recipe);
    let has_wedge = recipe.twist != Some(Twist::NoWedge);
    let dpi = recipe.dpi.unwrap_or(match recipe.twist {
        Some(Twist::LowResolution) => 20.0,
        _ => [200.0, 300.0, 300.0, 400.0][rng.random_range(0..4)],
    });
    let layout = recipe.layout.as_ref();
    let dpi = match layout.map(|layout| layout.kept) {
        Some(Kept::SmallJpeg) => 100.0,
        Some(Kept::Fine) => 600.0,
        _ => dpi,
    };
    let groups = group(&mut rng, recipe, &told);
    let wedge_on = layout
        .filter(|layout| layout.one_wedge)
        .map(|_| rng.random_range(0..groups.len()));

    let mut scans = vec![];
    let mut placed: Vec<(usize, StripTruth, StripSpec)> = vec![];
    let mut undescribed = vec![];
    let mut wedges = vec![];
    let mut first_lid = None;
    for (scan, members) in groups.iter().enumerate() {
        let per_mm = dpi / 25.4;
        let mut sheets: Vec<Sheet> = members
            .iter()
            .map(|&index| {
                let draft = &told[index].draft;
                Sheet {
                    size: draft.arranged.sheet,
                    border: draft
                        .strip
                        .ground
                        .as_ref()
                        .map_or(0.0, |ground| ground.border),
                }
            })
            .collect();
        let wedge_here = has_wedge && wedge_on.is_none_or(|only| only == scan);
        if wedge_here {
            sheets.push(Sheet {
                size: wedge.size,
                border: wedge.border,
            });
        }
        let mut beside = vec![];
        if layout.is_some_and(|layout| layout.clutter) {
            beside = clutter::Kind::draw(&mut rng);
            sheets.extend(beside.iter().map(|&(_, size)| Sheet { size, border: 0.0 }));
        }
        let laid = lay(&mut rng, level, &sheets, per_mm, recipe.bed, layout);
        // One scanner has one lid.
        let drawn = lid(&mut rng, recipe);
        let mut scene = Scene {
            width: laid.width,
            height: laid.height,
            lid: *first_lid.get_or_insert(drawn),
            shadow: if rng.random_bool(level.pick(0.3, 0.5, 0.7)) {
                rng.random_range(0.02..level.pick(0.06, 0.10, 0.15))
            } else {
                0.0
            },
            strips: vec![],
            wedges: vec![],
            things: vec![],
            tapes: vec![],
            spots: vec![],
        };
        for &at in &laid.order {
            let frame = laid.frames[at];
            let Some(&index) = members.get(at) else {
                let sheets_told = members.len() + usize::from(wedge_here);
                if let Some((kind, _)) = at.checked_sub(sheets_told).and_then(|k| beside.get(k)) {
                    let kind = kind.clone();
                    scene.things.push(Thing { kind, frame });
                    continue;
                }
                scene.wedges.push(wedge.sheet(frame));
                let edges = &scene.wedges[scene.wedges.len() - 1].edges;
                wedges.push(WedgeTruth {
                    shape: frame.shape(scan, edges, &wedge.fields()),
                    densities: wedge.densities.clone(),
                });
                continue;
            };
            let told = &told[index];
            let pieces = pieces(&told.draft, &frame);
            for piece in &pieces {
                if let Some(ground) = &piece.ground {
                    let bare = ground.reflectance;
                    marks::on_coat(&mut rng, level, &piece.frame, bare, &mut scene.spots);
                }
            }
            let mut truth = strip_truth(recipe, told, index);
            place(&mut truth, &told.draft, scan, &frame);
            if layout.is_some_and(|layout| layout.marked) {
                let patches = truth.steps.iter().filter_map(|step| step.patch);
                let steps: Vec<_> = patches.map(|patch| patch.centre()).collect();
                let (lid, spots) = (scene.lid, &mut scene.spots);
                marks::by_hand(&mut rng, &frame, &steps, lid, spots, &mut scene.tapes);
            }
            scene.strips.extend(pieces);
            if told.described {
                let spec = spec(told, &truth.name);
                placed.push((index, truth, spec));
            } else {
                undescribed.push(truth);
            }
        }
        marks::on_glass(
            &mut rng,
            level,
            (scene.width, scene.height),
            per_mm,
            &mut scene.spots,
        );
        let noise_seed = rng.random();
        let mut painting = paint_sheets(&scene);
        let laid = placed.iter_mut().map(|(_, truth, _)| truth);
        for truth in laid.chain(&mut undescribed) {
            see_areas(truth, scan, &painting, per_mm);
        }
        paint_spots(&scene, &mut painting);
        scans.push(Arc::new(scan_painting(
            painting, &scanner, recipe, scan, per_mm, noise_seed,
        )));
    }
    for (index, told) in told.iter().enumerate() {
        if !told.laid {
            let truth = strip_truth(recipe, told, index);
            let spec = spec(told, &truth.name);
            placed.push((index, truth, spec));
        }
    }
    let pairs = pairs(&placed, &told);
    let (strips, specs) = placed
        .into_iter()
        .map(|(_, truth, spec)| (truth, spec))
        .unzip();
    Practice {
        scans,
        strips: specs,
        wedge: has_wedge.then(|| WedgeSpec {
            densities: wedge.listed.clone(),
            uncertainty: wedge.uncertainty,
            shape: None,
        }),
        lag: lag_told,
        truth: Truth {
            recipe: recipe.clone(),
            dpi,
            encoding: scanner.encoding,
            lag,
            haze: scanner.haze,
            near_haze: (scanner.haze * scanner.haze_near, scanner.haze_reach),
            strips,
            undescribed,
            wedges,
            pairs,
        },
    }
}

/// Puts what the recipe asks for in the place of what was drawn.
fn settle_scanner(scanner: &mut Scanner, recipe: &Recipe, eight: bool) {
    if let Some(encoding) = recipe.encoding {
        scanner.encoding = encoding;
    }
    if let Some(colour) = recipe.colour {
        scanner.colour = colour;
    }
    scanner.bits = recipe.bits.unwrap_or(match recipe.twist {
        Some(Twist::EightBits) => 8,
        None if eight && scanner.encoding != Encoding::Linear => 8,
        _ => 16,
    });
    if let Some(Twist::UnevenLamp(percent)) = recipe.twist {
        let half = f64::from(percent) / 200.0;
        let sign = |lamp: f64| if lamp < 0.0 { -half } else { half };
        scanner.lamp = (sign(scanner.lamp.0), sign(scanner.lamp.1));
    }
    scanner.shade = match recipe.twist {
        Some(Twist::LampStripe(percent)) => Some(Shade {
            at: STRIPE_AT,
            reach: 10.0,
            depth: f64::from(percent) / 100.0,
        }),
        Some(Twist::DarkEdge(percent)) => Some(Shade {
            at: 0.0,
            reach: 20.0,
            depth: f64::from(percent) / 100.0,
        }),
        _ => None,
    };
    if recipe.layout.as_ref().is_some_and(|layout| layout.stained) {
        // A stain is warm: less blue in the coat's whites.
        scanner.tints[2].white = (0.02, -0.12);
    }
    if recipe.twist == Some(Twist::ColourCast) {
        scanner.colour = true;
        // The coat's whites and blacks are brown.
        scanner.tints[2] = Tint {
            white: (0.10, -0.25),
            black: (0.45, -0.30),
        };
    }
}

fn lid(rng: &mut impl Rng, recipe: &Recipe) -> f64 {
    match recipe.layout.as_ref().map(|layout| layout.surround) {
        Some(Surround::Open) => return rng.random_range(0.005..0.03),
        Some(Surround::Grey) => return rng.random_range(0.12..0.5),
        Some(Surround::White) => return rng.random_range(0.84..0.91),
        Some(Surround::Usual) | None => {}
    }
    let paper = rng.random_range(0.84..0.92);
    paper * (1.0 - rng.random_range(0.0..recipe.level.pick(0.05, 0.10, 0.15)))
}

/// Which strips lie on which scan.
fn group(rng: &mut impl Rng, recipe: &Recipe, told: &[Told]) -> Vec<Vec<usize>> {
    let laid: Vec<usize> = (0..told.len()).filter(|&index| told[index].laid).collect();
    let several = match recipe.twist {
        Some(Twist::SeveralScans | Twist::ScansDisagree) => true,
        None if recipe.layout.is_some() => recipe
            .layout
            .as_ref()
            .is_some_and(|layout| layout.one_wedge),
        None => recipe.bed.is_none() && rng.random_bool(recipe.level.pick(0.05, 0.15, 0.25)),
        Some(_) => false,
    };
    if several && laid.len() > 1 {
        vec![vec![laid[0]], laid[1..].to_vec()]
    } else {
        vec![laid]
    }
}

/// What a densitometer would read on the strips of a scan.
fn see_areas(truth: &mut StripTruth, scan: usize, painting: &Painting, per_mm: f64) {
    let Some(shape) = truth.shape.as_ref().filter(|shape| shape.scan == scan) else {
        return;
    };
    truth.margin_area_density = painting.area_density(shape, Field::Margin, per_mm);
    for (number, step) in truth.steps.iter_mut().enumerate() {
        step.area_density = painting.area_density(shape, Field::Step(number), per_mm);
    }
}

fn scan_painting(
    painting: Painting,
    scanner: &Scanner,
    recipe: &Recipe,
    scan: usize,
    per_mm: f64,
    seed: u64,
) -> Raster {
    let mut scanner = scanner.clone();
    if recipe.twist == Some(Twist::ScansDisagree) && scan > 0 {
        scanner.gain *= 0.88;
        scanner.exponent *= 1.07;
    }
    let mut raster = scanner.scan(painting, per_mm, seed);
    match recipe.layout.as_ref().map(|layout| layout.kept) {
        Some(Kept::SmallJpeg) => {
            let quality = 80 + (seed % 14) as u8;
            raster = spoil(raster, Twist::Jpeg(quality), scanner.encoding, per_mm);
        }
        Some(Kept::Unsized) => raster.pixels_per_mm = None,
        _ => {}
    }
    match recipe.twist {
        Some(twist) => spoil(raster, twist, scanner.encoding, per_mm),
        None => raster,
    }
}
