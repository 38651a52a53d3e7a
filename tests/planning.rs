//! Does the plan hit? Simulated sessions with known truth: scans, answer, plan; then the true
//! coat is exposed as planned and held against what it needed.
//!
//! The normal run is small. The published table (docs/accuracy.md) comes from
//! `TWINSTRIP_STUDY=full cargo test --release --test planning -- --nocapture`,
//! whose seeds were never used while building.

use rand::SeedableRng as _;
use rand_chacha::ChaCha8Rng;
use rand_distr::{Distribution as _, StandardNormal};
use rayon::prelude::*;
use twinstrip::measure::analysis::{Question, analyse};
use twinstrip::measure::curve::model::SPEED_NET;
use twinstrip::measure::exposure::Aperture;
use twinstrip::measure::plan::basis::{PIECE_SCATTER, SESSION_ERROR};
use twinstrip::measure::plan::{
    Aim, Basis, Choices, Piece, Plan, Recipe, Tested, Tone, Way, carry,
};
use twinstrip::measure::units::{DECADES_PER_STOP, Seconds};
use twinstrip::measure::watch::Unwatched;
use twinstrip::simulate::curve::{TrueCurve, Wanted};
use twinstrip::simulate::truth::StripTruth;
use twinstrip::simulate::{Level, Practice, Recipe as PracticeRecipe, make, question};

/// First seed of the published table; building stays below 10,000.
const PUBLISHED_SEEDS: u64 = 9_000_000;
/// First seed of the normal run.
const NORMAL_SEEDS: u64 = 900_000;
/// Tolerances that hits are counted within, stops.
const TOLERANCES: [f64; 2] = [1.0 / 6.0, 1.0 / 3.0];
/// Pieces of a bracket.
const BRACKET: usize = 3;
/// Days of printing drawn for each session.
const DAYS: usize = 200;
/// Seconds of the paper print.
const ON_PAPER: f64 = 8.0;

/// How far days and pieces lie apart, standard deviations in stops.
#[derive(Debug, Clone, Copy)]
struct World {
    name: &'static str,
    session: f64,
    piece: f64,
}

/// The day of the tests with pieces all alike: only what the strips tell is in doubt. And
/// another day, as the plan takes it to be when nobody says more.
const WORLDS: [World; 2] = [
    World {
        name: "day of the tests, pieces alike",
        session: 0.0,
        piece: 0.0,
    },
    World {
        name: "another day",
        session: SESSION_ERROR,
        piece: PIECE_SCATTER,
    },
];

/// Shares over the days of one session.
#[derive(Debug, Clone, Copy, Default)]
struct Hits {
    share: f64,
    said: f64,
}

#[derive(Debug, Clone, Default)]
struct Outcome {
    /// By world, tolerance, and one piece or a bracket.
    hits: Vec<Hits>,
    /// By world: share of pieces whose need lay within the prediction interval.
    covered: Vec<f64>,
    /// By world and change: share of pieces whose part came out within the bounds of its tone, where
    /// bounds were told.
    changes: Vec<Option<f64>>,
    /// By aim: whether the need of the day of the tests lay within its interval.
    aims: Vec<Option<bool>>,
}

/// The light on the coat over that on the paper, in stops, for a true lag and true apertures.
fn given(
    plan_seconds: f64,
    f_number: f64,
    opened: f64,
    paper: f64,
    on_paper: f64,
    lag: f64,
) -> f64 {
    let light = |seconds: f64, f_number: f64| (seconds - lag).log2() - 2.0 * f_number.log2();
    light(plan_seconds, f_number) + opened - light(on_paper, paper)
}

fn true_curve(strip: &StripTruth) -> TrueCurve {
    let curve = &strip.curve;
    TrueCurve::new(
        curve.shape,
        &Wanted {
            dmin: curve.dmin,
            dmax: curve.dmax,
            speed_point: curve.speed_point,
            range: curve.range,
        },
    )
}

fn basis(made: &Practice, asked: &Question, world: World) -> Option<Basis> {
    let analysis = analyse(asked, &Unwatched).expect("nothing cancels");
    let pair = analysis.pairs.first()?;
    let tested = |strip: usize| {
        Some(Tested {
            name: &asked.strips[strip].name,
            exposures: asked.strips[strip].exposures.as_ref()?,
        })
    };
    let mut basis = Basis::of_pair(
        &pair.answer,
        [tested(pair.reference)?, tested(pair.coupon)?],
        made.lag,
        asked.settings.aperture_error_stops,
        world.session,
    )
    .ok()?;
    basis.piece_scatter = world.piece;
    Some(basis)
}

fn outcome(recipe: &PracticeRecipe) -> Option<Outcome> {
    let made = make(recipe);
    let truth = made.truth.pairs[0];
    let asked = question(&made);
    let [paper, coat] = [truth.reference, truth.coupon].map(|strip| &made.truth.strips[strip]);
    let curves = [paper, coat].map(true_curve);
    let need = |net: f64| {
        (curves[1].log_exposure_at_net(net) - curves[0].log_exposure_at_net(net)) / DECADES_PER_STOP
    };
    let mut rng = ChaCha8Rng::seed_from_u64(recipe.seed ^ 0x9e37_79b9);
    let mut draw = move || -> f64 { StandardNormal.sample(&mut rng) };
    let mut found = Outcome::default();
    let same_day = basis(&made, &asked, WORLDS[0])?;
    let f_number = same_day.paper.f_number?;
    let print = Recipe::straight(Seconds(ON_PAPER), Aperture::exactly(f_number).ok()?);
    // An aperture that no test strip was exposed at is off by as much as any click stop.
    let fresh = asked.settings.aperture_error_stops * draw();
    let light = |seconds: f64, aperture: &Aperture| {
        let near = |strip: &Option<f64>| {
            strip.is_some_and(|other| (aperture.exact / other).ln().abs() < 0.01)
        };
        let opened = if near(&same_day.paper.f_number) {
            paper.aperture_error_stops
        } else if near(&same_day.coating.f_number) {
            coat.aperture_error_stops
        } else {
            fresh
        };
        let opened = opened - paper.aperture_error_stops;
        given(
            seconds,
            aperture.exact,
            opened,
            f_number,
            ON_PAPER,
            made.truth.lag,
        )
    };
    for world in WORLDS {
        let mut basis = same_day.clone();
        basis.stops = basis.stops.widened(world.session);
        basis.piece_scatter = world.piece;
        let mut covered = None;
        for tolerance in TOLERANCES {
            for pieces in [1, BRACKET] {
                let choices = Choices {
                    pieces,
                    tolerance,
                    ..Choices::default()
                };
                let plan = carry(&print, &Piece::default(), &basis, &choices);
                let exposure = plan.exposure.as_ref()?;
                let bracket = plan.bracket.as_ref()?;
                let lights: Vec<f64> = bracket
                    .times
                    .iter()
                    .map(|&seconds| light(seconds, &exposure.aperture))
                    .collect();
                let (low, high) = exposure.time.bounds()?;
                let (low, high) = (
                    light(low, &exposure.aperture),
                    light(high, &exposure.aperture),
                );
                let (mut hits, mut inside) = (0, 0);
                for _ in 0..DAYS {
                    let day = need(SPEED_NET) + world.session * draw();
                    let own: Vec<f64> = lights.iter().map(|_| day + world.piece * draw()).collect();
                    let hit = lights
                        .iter()
                        .zip(&own)
                        .any(|(light, need)| (light - need).abs() <= tolerance);
                    hits += usize::from(hit);
                    inside += usize::from((low..=high).contains(&own[0]));
                }
                found.hits.push(Hits {
                    share: hits as f64 / DAYS as f64,
                    said: bracket.chance,
                });
                covered.get_or_insert(inside as f64 / DAYS as f64);
            }
        }
        found.covered.push(covered?);
    }
    let mut changed = print.clone();
    for line in CHANGES {
        changed.changes.push(changed.read_change(line).ok()?);
    }
    for world in WORLDS {
        let mut basis = same_day.clone();
        basis.stops = basis.stops.widened(world.session);
        basis.piece_scatter = world.piece;
        let plan = carry(&changed, &Piece::default(), &basis, &Choices::default());
        let exposure = plan.exposure.as_ref()?;
        let time = exposure.time.value?;
        let base = light(time, &exposure.aperture);
        let lag = made.truth.lag;
        for (asked, carried) in changed.changes.iter().zip(&plan.changes) {
            let net = carried.net_density;
            let bounds = carried.comes_out.bounds().filter(|_| carried.reached);
            let unburned = curves[0].log_exposure_at_net(net)
                - changed.stops_of(asked, lag) * DECADES_PER_STOP;
            let more = match carried.way {
                Way::Burn => 1.0 + (carried.time - lag) / (time - lag),
                Way::Dodge => 1.0 - carried.time / (time - lag),
            };
            let inside = |(low, high): (f64, f64)| {
                let came = (0..DAYS).filter(|_| {
                    let own = world.session * draw() + world.piece * draw();
                    let light = base + more.log2() - own;
                    let x = unburned + light * DECADES_PER_STOP;
                    (low..=high).contains(&(curves[1].density(x) - coat.curve.dmin))
                });
                came.count() as f64 / DAYS as f64
            };
            found.changes.push(bounds.map(inside));
        }
    }
    for (aim, net) in AIMS {
        let choices = Choices {
            aim,
            ..Choices::default()
        };
        let plan = carry(&print, &Piece::default(), &basis_alike(&same_day), &choices);
        found.aims.push(holds(&plan, net, &need, &light));
    }
    Some(found)
}

fn basis_alike(basis: &Basis) -> Basis {
    Basis {
        piece_scatter: 0.0,
        ..basis.clone()
    }
}

/// Burns and dodges of the prints, in all parts of the scale.
const CHANGES: [&str; 4] = [
    "burn sky: 1/2 stop, to 0.3",
    "burn hull: 1 stop, to 0.9",
    "dodge boat: 1/2 stop, to 0.5",
    "dodge mast: 2/3 stop, to 1.1",
];

const AIMS: [(Aim, f64); 3] = [
    (Aim::SpeedPoint, SPEED_NET),
    (Aim::Highlights, Tone::HIGHLIGHTS),
    (Aim::Shadows, Tone::SHADOWS),
];

/// Whether the interval of a plan holds what the true coat needs at a tone; `None` when the
/// plan met another tone because the curves don't come to this one.
fn holds(
    plan: &Plan,
    net: f64,
    need: &dyn Fn(f64) -> f64,
    light: &dyn Fn(f64, &Aperture) -> f64,
) -> Option<bool> {
    let elsewhere = plan
        .findings
        .iter()
        .any(|finding| finding.seen.contains("don't both come to"));
    let exposure = plan.exposure.as_ref().filter(|_| !elsewhere)?;
    let (low, high) = exposure.time.bounds()?;
    let (low, high) = (
        light(low, &exposure.aperture),
        light(high, &exposure.aperture),
    );
    Some((low..=high).contains(&need(net)))
}

fn mean(values: impl Iterator<Item = f64> + Clone) -> f64 {
    values.clone().sum::<f64>() / values.count().max(1) as f64
}

/// How much is done: sessions a level, first seed, and whether the published limits are held.
fn size() -> (usize, u64, bool) {
    let first = std::env::var("TWINSTRIP_SEED")
        .ok()
        .and_then(|seed| seed.parse().ok());
    match std::env::var("TWINSTRIP_STUDY").as_deref() {
        Ok("full") => (100, first.unwrap_or(PUBLISHED_SEEDS), true),
        Ok(count) => (count.parse().unwrap_or(20), first.unwrap_or(1), false),
        Err(_) => (4, NORMAL_SEEDS, false),
    }
}

/// How far the stated chance may be from the share of hits over all sessions.
const RIGHT_WITHIN: f64 = 0.03;
/// The normal run is too short for that: 12 sessions' ratios are off by what they are.
const SHORT_RUN: f64 = 0.25;

#[test]
fn pieces_exposed_as_planned_hit_as_often_as_the_plan_says() {
    let (count, first, full) = size();
    let mut all: Vec<Outcome> = vec![];
    let mut asked = 0;
    for level in [Level::Easy, Level::Ordinary, Level::Hard] {
        let outcomes: Vec<Outcome> = (0..count as u64)
            .into_par_iter()
            .filter_map(|index| outcome(&PracticeRecipe::new(level, first + index)))
            .collect();
        println!("{level:?}: {} of {count} planned", outcomes.len());
        asked += count;
        all.extend(outcomes);
    }
    assert!(
        all.len() * 10 >= asked * 8,
        "{} of {asked} planned",
        all.len()
    );
    println!("| printed on | within | pieces | hit % | said % |");
    println!("| --- | --- | --- | --- | --- |");
    let mut wrong = vec![];
    let limit = if full { RIGHT_WITHIN } else { SHORT_RUN };
    let mut place = 0;
    for world in WORLDS {
        for tolerance in TOLERANCES {
            for pieces in [1, BRACKET] {
                let share = mean(all.iter().map(|outcome| outcome.hits[place].share));
                let said = mean(all.iter().map(|outcome| outcome.hits[place].said));
                println!(
                    "| {} | 1/{:.0} stop | {pieces} | {:.1} | {:.1} |",
                    world.name,
                    1.0 / tolerance,
                    100.0 * share,
                    100.0 * said
                );
                if (share - said).abs() > limit {
                    wrong.push(format!("{}: hit {share:.3}, said {said:.3}", world.name));
                }
                place += 1;
            }
        }
    }
    println!("| interval of | holds % | of |");
    println!("| --- | --- | --- |");
    for (index, world) in WORLDS.iter().enumerate() {
        let share = mean(all.iter().map(|outcome| outcome.covered[index]));
        println!(
            "| a piece, {} | {:.1} | {} |",
            world.name,
            100.0 * share,
            all.len()
        );
        if full && !(0.92..=0.98).contains(&share) {
            wrong.push(format!("{}: interval holds {share:.3}", world.name));
        }
    }
    let mut place = 0;
    for world in WORLDS {
        for change in CHANGES {
            let told: Vec<f64> = all.iter().filter_map(|o| o.changes[place]).collect();
            let share = mean(told.iter().copied());
            place += 1;
            println!(
                "| {change}, {} | {:.1} | {} |",
                world.name,
                100.0 * share,
                told.len()
            );
            let held = if full { 0.92..=0.98 } else { 0.70..=1.0 };
            if !told.is_empty() && !held.contains(&share) {
                wrong.push(format!("{change}, {}: within in {share:.3}", world.name));
            }
        }
    }
    for (index, (aim, _)) in AIMS.iter().enumerate() {
        let told: Vec<bool> = all.iter().filter_map(|o| o.aims[index]).collect();
        let share = told.iter().filter(|held| **held).count() as f64 / told.len().max(1) as f64;
        println!(
            "| {aim:?}, day of the tests | {:.1} | {} |",
            100.0 * share,
            told.len()
        );
    }
    assert!(wrong.is_empty(), "{}", wrong.join("; "));
}
