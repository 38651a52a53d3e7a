//! The strips of a session: exposures as told, exposures as they were, and what is true.

use rand::{Rng, SeedableRng as _};
use rand_chacha::ChaCha8Rng;
use rand_distr::{Distribution as _, StandardNormal};

use super::curve::{SHOULDER_SHARE, TOE_NET, TrueCurve};
use super::exposing::{APERTURES, Kind, Reach, exact_f_number, plan};
use super::material::curves;
use super::recipe::{Recipe, Twist};
use super::strips::{Draft, Lit, strip};
use super::truth::{CurveTruth, PairTruth, StepTruth, StripTruth};
use crate::measure::analysis::StripSpec;
use crate::measure::exposure::{Exposures, Series};
use crate::measure::strip::Role;
use crate::measure::units::{DECADES_PER_STOP, Seconds};

/// A strip as told and as it is.
#[derive(Debug, Clone)]
pub struct Told {
    /// What it is.
    pub draft: Draft,
    /// How it was exposed, as written down.
    pub exposures: Exposures,
    /// f-number as engraved.
    pub engraved: f64,
    /// Whether the session describes it.
    pub described: bool,
    /// Whether it lies on a scan.
    pub laid: bool,
}

/// All strips of the session, the reference first; one too many last.
pub fn strips(rng: &mut impl Rng, recipe: &Recipe, lag: f64) -> Vec<Told> {
    let level = recipe.level;
    let several = rng.random_bool(level.pick(0.0, 0.1, 0.15));
    let given = recipe.materials.as_ref().map(|given| given.coats.len());
    let coupons = given.or(recipe.coupons);
    let layout = recipe.layout.as_ref();
    let coupons = coupons.or_else(|| {
        layout.filter(|layout| layout.grid)?;
        Some(rng.random_range(2..=4))
    });
    let coupons = coupons.unwrap_or(if several { 2 } else { 1 }).max(1);
    let kind = Kind::draw(rng);
    let reference_aperture = rng.random_range(3..=5);
    // Bursts that a hand can follow: a series that builds up takes longer in all.
    let slowed = if kind == Kind::BuildingUp { 1.8 } else { 1.0 };
    let seconds = rng.random_range(4f64..10.0) * slowed;
    let middle = seconds.log10() - 2.0 * exact_f_number(reference_aperture).log10();
    let curves = curves(rng, recipe, coupons, middle);
    let slower = (curves[1].speed_point() - curves[0].speed_point()) / DECADES_PER_STOP;
    // Whoever tests the same materials again and again has learnt to leave the aperture alone.
    let opened = recipe.twist == Some(Twist::DifferentApertures)
        || (recipe.twist.is_none()
            && recipe.materials.is_none()
            && rng.random_bool(level.pick(0.15, 0.25, 0.25)));
    let coupon_aperture = if opened {
        reference_aperture - (slower.round().max(1.0) as usize).min(reference_aperture)
    } else {
        reference_aperture
    };
    let context = Context {
        recipe,
        lag,
        shared_fall_off: [0; 3].map(|_| {
            let fall = level.pick(0.002, 0.004, 0.006);
            fall * rng.random_range(-1.0..1.0)
        }),
    };
    // The aperture is set once for all coupons.
    let opened_error = if opened {
        0.1 * rng.sample::<f64, _>(StandardNormal)
    } else {
        0.0
    };
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
        let (fewest, most) = layout.and_then(|layout| layout.steps).unwrap_or((7, 11));
        let steps = rng.random_range(fewest..=most);
        let mut exposures = plan(rng, kind, reach, steps, (fewest, most), aperture);
        if layout.is_some_and(|layout| layout.alike) {
            exposures = with_twins(rng, exposures);
        }
        let aperture_error = if coupon { opened_error } else { 0.0 };
        let role = if coupon {
            Role::Coupon
        } else {
            Role::Reference
        };
        told.push(context.expose(rng, role, curve, exposures, aperture, aperture_error));
    }
    match recipe.twist {
        Some(Twist::MissingStrip) => {
            if let Some(last) = told.last_mut() {
                last.laid = false;
            }
        }
        Some(Twist::ExtraStrip) => {
            let reach = reach(rng, recipe, &curves[0], false);
            let exposures = plan(rng, Kind::List, reach, 8, (7, 11), reference_aperture);
            let mut extra = context.expose(
                rng,
                Role::Reference,
                &curves[0],
                exposures,
                reference_aperture,
                0.0,
            );
            extra.described = false;
            told.push(extra);
        }
        _ => {}
    }
    told
}

/// The same with one to three steps that got nearly the light of the one before.
fn with_twins(rng: &mut impl Rng, exposures: Exposures) -> Exposures {
    // Whole time of each step; through a transmission wedge, what would have done the same.
    let f_number = exposures.f_number;
    let light = 2.0 * f_number.log10();
    let mut times: Vec<f64> = exposures
        .log_exposures(0.0)
        .into_iter()
        .map(|x| 10f64.powf(x + light))
        .collect();
    for _ in 0..rng.random_range(1..=3) {
        let step = rng.random_range(1..times.len());
        times[step] = times[step - 1] * rng.random_range(1.0..1.04);
    }
    times.sort_by(f64::total_cmp);
    let tenths = |time: f64| Seconds((time * 100.0).round() / 100.0);
    Exposures {
        series: Series::List {
            times: times.into_iter().map(tenths).collect(),
        },
        ..exposures
    }
}

/// What all strips of a session share.
struct Context<'a> {
    recipe: &'a Recipe,
    lag: f64,
    shared_fall_off: [f64; 3],
}

impl Context<'_> {
    /// Decades that the steps got more than was written down: the hand at the switch, burst by
    /// burst, and the list of a step tablet. Drawn from a stream of its own, so that the rest of a
    /// session is the same with a clock.
    fn off(&self, exposures: &Exposures, role: Role) -> Vec<f64> {
        let doses = exposures.series.doses();
        let total: f64 = doses.iter().map(|dose| dose.total.0).sum();
        // Two coupons of one session are two strips, timed one after the other.
        let mut rng = ChaCha8Rng::seed_from_u64(self.recipe.seed ^ total.to_bits());
        rng.set_stream(match role {
            Role::Reference => 0x71a1,
            Role::Coupon => 0x71a2,
        });
        let mut normal = || -> f64 { StandardNormal.sample(&mut rng) };
        if let Series::PrintedWedge { densities, .. } = &exposures.series {
            let each = densities
                .iter()
                .map(|_| self.recipe.tablet_error * normal());
            return each.collect();
        }
        let built_up = matches!(exposures.series, Series::BuildingUp { .. });
        let mut late = 0.0;
        let each = doses.iter().map(|dose| {
            let own = self.recipe.timing_error * normal();
            late = if built_up { late + own } else { own };
            let light = dose.total.0 - self.lag * f64::from(dose.bursts);
            ((light + late).max(0.1 * light) / light).log10()
        });
        each.collect()
    }

    fn expose(
        &self,
        rng: &mut impl Rng,
        role: Role,
        curve: &TrueCurve,
        exposures: Exposures,
        aperture: usize,
        aperture_error_stops: f64,
    ) -> Told {
        let off = self.off(&exposures, role);
        let log_exposures = exposures
            .log_exposures(self.lag)
            .into_iter()
            .zip(off)
            .map(|(x, off)| x + off + aperture_error_stops * DECADES_PER_STOP)
            .collect();
        let by_bursts = matches!(
            exposures.series,
            Series::OneAtATime { .. } | Series::InStops { .. } | Series::List { .. }
        );
        let light = Lit {
            log_exposures,
            aperture_error_stops,
            shared_fall_off: self.shared_fall_off,
            by_bursts,
        };
        Told {
            draft: strip(rng, self.recipe, role, curve.clone(), light),
            exposures,
            engraved: APERTURES[aperture].0,
            described: true,
            laid: true,
        }
    }
}

fn reach(rng: &mut impl Rng, recipe: &Recipe, curve: &TrueCurve, coupon: bool) -> Reach {
    let toe = curve.log_exposure_at_net(TOE_NET);
    let shoulder = curve.log_exposure_at_net(SHOULDER_SHARE * curve.net);
    match recipe.twist {
        Some(Twist::NeverReached) if coupon => {
            let high = curve.log_exposure_at_net(rng.random_range(0.12..0.35));
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

/// What is true of a strip; `index` counts from the reference.
pub fn strip_truth(recipe: &Recipe, told: &Told, index: usize) -> StripTruth {
    let given = recipe.materials.as_ref().and_then(|given| match index {
        0 => Some(&given.paper),
        coupon => given.coats.get(coupon - 1),
    });
    let draft = &told.draft;
    let curve = &draft.strip.curve;
    let points = curve.points();
    StripTruth {
        name: match draft.role {
            _ if given.is_some() && told.described => given
                .map(|material| material.name.clone())
                .unwrap_or_default(),
            Role::Reference if told.described => "fibre paper".to_owned(),
            Role::Reference => "stray strip".to_owned(),
            Role::Coupon => format!("slate {index}"),
        },
        role: draft.role,
        shape: None,
        scan: None,
        outline: vec![],
        unexposed: vec![],
        steps: draft
            .log_exposures
            .iter()
            .map(|&log_exposure| StepTruth {
                log_exposure,
                density: curve.density(log_exposure),
                area_density: None,
                patch: None,
            })
            .collect(),
        margin_area_density: None,
        curve: CurveTruth {
            shape: curve.shape,
            dmin: curve.dmin,
            dmax: curve.dmax(),
            speed_point: points.speed,
            range: points.range(),
            mean_gradient: points.mean_gradient(),
        },
        aperture_error_stops: draft.aperture_error_stops,
        exposure_unevenness: draft.unevenness.exposure_sd(),
        net_unevenness: draft.unevenness.net_sd(),
    }
}

/// A strip as the session describes it.
pub fn spec(told: &Told, name: &str) -> StripSpec {
    StripSpec {
        name: name.to_owned(),
        role: told.draft.role,
        exposures: Some(told.exposures.clone()),
        engraved_f_number: Some(told.engraved),
        shape: None,
        unexposed: None,
        excluded: vec![],
        areas: vec![],
        same_as: None,
    }
}

/// What is true of each coupon against the reference.
pub fn pairs(placed: &[(usize, StripTruth, StripSpec)], told: &[Told]) -> Vec<PairTruth> {
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
