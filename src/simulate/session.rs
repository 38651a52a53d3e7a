//! A whole practice session: materials, exposures, strips, scans, truth.

use std::sync::Arc;

use rand::{Rng, SeedableRng};
use rand_chacha::ChaCha8Rng;
use rand_distr::StandardNormal;

use super::curve::{SHOULDER_SHARE, TOE_NET, TrueCurve};
use super::exposing::{APERTURES, Kind, Reach, exact_f_number, plan};
use super::faults::spoil;
use super::layout::{Sheet, lay};
use super::marks;
use super::material::curves;
use super::paint::paint;
use super::practice::Practice;
use super::recipe::{Recipe, Twist};
use super::scanner::{Scanner, Tint};
use super::scene::Scene;
use super::strips::{Draft, Wedge, strip};
use super::truth::{CurveTruth, PairTruth, StepTruth, StripTruth, Truth, WedgeTruth};
use crate::measure::analysis::{StripSpec, WedgeSpec};
use crate::measure::exposure::Exposures;
use crate::measure::raster::Raster;
use crate::measure::strip::Role;
use crate::measure::units::DECADES_PER_STOP;

/// A strip as told and as it is.
struct Told {
    draft: Draft,
    exposures: Exposures,
    engraved: f64,
    described: bool,
    laid: bool,
}

/// Makes a practice session: the same recipe gives the same scans to the last bit.
pub fn make(recipe: &Recipe) -> Practice {
    let mut rng = ChaCha8Rng::seed_from_u64(recipe.seed);
    rng.set_stream(recipe.level.pick(1, 2, 3));
    let level = recipe.level;
    let mut scanner = Scanner::draw(&mut rng, level);
    settle_scanner(&mut scanner, recipe);
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
    let groups = group(&mut rng, recipe, &told);

    let mut scans = vec![];
    let mut placed: Vec<(usize, StripTruth, StripSpec)> = vec![];
    let mut undescribed = vec![];
    let mut wedges = vec![];
    for (scan, members) in groups.iter().enumerate() {
        let per_mm = dpi / 25.4;
        let mut sheets: Vec<Sheet> = members
            .iter()
            .map(|&index| {
                let strip = &told[index].draft.strip;
                Sheet {
                    size: (strip.frame.length, strip.frame.width),
                    border: strip.ground.as_ref().map_or(0.0, |ground| ground.border),
                }
            })
            .collect();
        if has_wedge {
            sheets.push(Sheet {
                size: wedge.size,
                border: wedge.border,
            });
        }
        let laid = lay(&mut rng, level, &sheets, per_mm, recipe.bed);
        let mut scene = Scene {
            width: laid.width,
            height: laid.height,
            lid: lid(&mut rng, recipe),
            shadow: if rng.random_bool(level.pick(0.3, 0.5, 0.7)) {
                rng.random_range(0.02..level.pick(0.06, 0.10, 0.15))
            } else {
                0.0
            },
            strips: vec![],
            wedges: vec![],
            spots: vec![],
        };
        for &at in &laid.order {
            let frame = laid.frames[at];
            let Some(&index) = members.get(at) else {
                scene.wedges.push(wedge.sheet(frame));
                let edges = &scene.wedges[scene.wedges.len() - 1].edges;
                wedges.push(WedgeTruth {
                    shape: frame.shape(scan, edges, &wedge.fields()),
                    densities: wedge.densities.clone(),
                });
                continue;
            };
            let told = &told[index];
            let mut strip = told.draft.strip.clone();
            strip.frame = frame;
            if let Some(ground) = &strip.ground {
                marks::on_coat(
                    &mut rng,
                    level,
                    &frame,
                    ground.reflectance,
                    &mut scene.spots,
                );
            }
            let mut truth = strip_truth(told, index);
            truth.shape = Some(frame.shape(scan, &strip.edges, &strip.fields));
            scene.strips.push(strip);
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
        scans.push(Arc::new(scan_scene(
            &scene, &scanner, recipe, scan, per_mm, noise_seed,
        )));
    }
    for (index, told) in told.iter().enumerate() {
        if !told.laid {
            let truth = strip_truth(told, index);
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
            strips,
            undescribed,
            wedges,
            pairs,
        },
    }
}

fn settle_scanner(scanner: &mut Scanner, recipe: &Recipe) {
    if let Some(encoding) = recipe.encoding {
        scanner.encoding = encoding;
    }
    if let Some(colour) = recipe.colour {
        scanner.colour = colour;
    }
    scanner.bits = recipe.bits.unwrap_or(match recipe.twist {
        Some(Twist::EightBits) => 8,
        _ => 16,
    });
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
    let paper = rng.random_range(0.84..0.92);
    paper * (1.0 - rng.random_range(0.0..recipe.level.pick(0.05, 0.10, 0.15)))
}

/// All strips of the session, the reference first; the extra one last.
fn strips(rng: &mut impl Rng, recipe: &Recipe, lag: f64) -> Vec<Told> {
    let level = recipe.level;
    let coupons = recipe.coupons.unwrap_or(1).max(1);
    let reference_aperture = rng.random_range(3..=5);
    let middle =
        rng.random_range(4f64..10.0).log10() - 2.0 * exact_f_number(reference_aperture).log10();
    let curves = curves(rng, recipe, coupons, middle);
    let slower = (curves[1].speed_point() - curves[0].speed_point()) / DECADES_PER_STOP;
    let opened = recipe.twist == Some(Twist::DifferentApertures)
        || (recipe.twist.is_none() && rng.random_bool(level.pick(0.15, 0.25, 0.25)));
    let coupon_aperture = if opened {
        reference_aperture - (slower.round().max(1.0) as usize).min(reference_aperture)
    } else {
        reference_aperture
    };
    let kind = Kind::draw(rng);
    let fall = level.pick(0.002, 0.004, 0.006);
    let shared = [0; 3].map(|_| fall * rng.random_range(-1.0..1.0));
    let mut told = vec![];
    for (index, curve) in curves.iter().enumerate() {
        let coupon = index > 0;
        let aperture = if coupon {
            coupon_aperture
        } else {
            reference_aperture
        };
        let kind = if coupon && rng.random_bool(0.2) {
            Kind::draw(rng)
        } else {
            kind
        };
        let reach = reach(rng, recipe, curve, coupon);
        let steps = rng.random_range(7..=11);
        let exposures = plan(rng, kind, reach, steps, aperture);
        let aperture_error = if coupon && opened {
            0.1 * rng.sample::<f64, _>(StandardNormal)
        } else {
            0.0
        };
        let role = if coupon {
            Role::Coupon
        } else {
            Role::Reference
        };
        told.push(expose(
            rng,
            recipe,
            role,
            curve,
            exposures,
            aperture,
            lag,
            aperture_error,
            shared,
        ));
    }
    match recipe.twist {
        Some(Twist::MissingStrip) => {
            if let Some(last) = told.last_mut() {
                last.laid = false;
            }
        }
        Some(Twist::ExtraStrip) => {
            let reach = reach(rng, recipe, &curves[0], false);
            let exposures = plan(rng, Kind::List, reach, 8, reference_aperture);
            let mut extra = expose(
                rng,
                recipe,
                Role::Reference,
                &curves[0],
                exposures,
                reference_aperture,
                lag,
                0.0,
                shared,
            );
            extra.described = false;
            told.push(extra);
        }
        _ => {}
    }
    told
}

#[expect(
    clippy::too_many_arguments,
    reason = "one call per strip, each value plain"
)]
fn expose(
    rng: &mut impl Rng,
    recipe: &Recipe,
    role: Role,
    curve: &TrueCurve,
    exposures: Exposures,
    aperture: usize,
    lag: f64,
    aperture_error: f64,
    shared_fall_off: [f64; 3],
) -> Told {
    let log_exposures = exposures
        .log_exposures(lag)
        .into_iter()
        .map(|x| x + aperture_error * DECADES_PER_STOP)
        .collect();
    Told {
        draft: strip(
            rng,
            recipe,
            role,
            curve.clone(),
            log_exposures,
            aperture_error,
            shared_fall_off,
        ),
        exposures,
        engraved: APERTURES[aperture].0,
        described: true,
        laid: true,
    }
}

fn reach(rng: &mut impl Rng, recipe: &Recipe, curve: &TrueCurve, coupon: bool) -> Reach {
    let toe = curve.log_exposure_at_net(TOE_NET);
    let shoulder = curve.log_exposure_at_net(SHOULDER_SHARE * curve.net);
    match recipe.twist {
        Some(Twist::NeverReached) if coupon => {
            let high = curve.log_exposure_at_net(rng.random_range(0.20..0.45));
            Reach {
                low: high - rng.random_range(0.8..1.2),
                high,
            }
        }
        Some(Twist::MeltingSteps) => Reach {
            low: toe - rng.random_range(0.35..0.6),
            high: shoulder + rng.random_range(0.5..0.8),
        },
        _ => Reach::guess(rng, recipe.level, toe, shoulder),
    }
}

/// Which strips lie on which scan.
fn group(rng: &mut impl Rng, recipe: &Recipe, told: &[Told]) -> Vec<Vec<usize>> {
    let laid: Vec<usize> = (0..told.len()).filter(|&index| told[index].laid).collect();
    let several = match recipe.twist {
        Some(Twist::SeveralScans | Twist::ScansDisagree) => true,
        None => recipe.bed.is_none() && rng.random_bool(recipe.level.pick(0.05, 0.15, 0.25)),
        Some(_) => false,
    };
    if several && laid.len() > 1 {
        vec![vec![laid[0]], laid[1..].to_vec()]
    } else {
        vec![laid]
    }
}

fn scan_scene(
    scene: &Scene,
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
    let raster = scanner.scan(paint(scene), per_mm, seed);
    match recipe.twist {
        Some(twist) => spoil(raster, twist, scanner.encoding, per_mm),
        None => raster,
    }
}

fn strip_truth(told: &Told, index: usize) -> StripTruth {
    let draft = &told.draft;
    let curve = &draft.strip.curve;
    StripTruth {
        name: match draft.role {
            Role::Reference if told.described => "fibre paper".to_owned(),
            Role::Reference => "stray strip".to_owned(),
            Role::Coupon => format!("slate {index}"),
        },
        role: draft.role,
        shape: None,
        steps: draft
            .log_exposures
            .iter()
            .map(|&log_exposure| StepTruth {
                log_exposure,
                density: curve.density(log_exposure),
            })
            .collect(),
        curve: CurveTruth {
            shape: curve.shape,
            dmin: curve.dmin,
            dmax: curve.dmax(),
            speed_point: curve.speed_point(),
            range: curve.range(),
            mean_gradient: curve.mean_gradient(),
        },
        aperture_error_stops: draft.aperture_error_stops,
        exposure_unevenness: draft.unevenness.exposure_sd(),
        net_unevenness: draft.unevenness.net_sd(),
    }
}

fn spec(told: &Told, name: &str) -> StripSpec {
    StripSpec {
        name: name.to_owned(),
        role: told.draft.role,
        exposures: Some(told.exposures.clone()),
        engraved_f_number: Some(told.engraved),
        shape: None,
        excluded: vec![],
    }
}

fn pairs(placed: &[(usize, StripTruth, StripSpec)], told: &[Told]) -> Vec<PairTruth> {
    let Some(reference) = placed.iter().position(|(index, ..)| *index == 0) else {
        return vec![];
    };
    let paper = &placed[reference].1;
    placed
        .iter()
        .enumerate()
        .filter(|(_, (_, truth, _))| truth.role == Role::Coupon)
        .map(|(coupon, (index, truth, _))| {
            let stops = (truth.curve.speed_point - paper.curve.speed_point) / DECADES_PER_STOP;
            let reached = |strip: &StripTruth| {
                strip
                    .steps
                    .iter()
                    .any(|step| step.log_exposure >= strip.curve.speed_point)
            };
            PairTruth {
                reference,
                coupon,
                stops,
                stops_as_exposed: stops - truth.aperture_error_stops + paper.aperture_error_stops,
                contrast_difference: truth.curve.range - paper.curve.range,
                measurable: told[*index].laid && reached(truth) && reached(paper),
            }
        })
        .collect()
}
