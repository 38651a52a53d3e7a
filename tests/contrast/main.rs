//! Do the bounds of contrast hold on curves that are not our formula? From step densities with
//! known truth, no pixels.
//!
//! A small version runs with the other tests; the tables of docs/accuracy.md come from
//! `TWINSTRIP_STUDY=full cargo test --release --test contrast -- --nocapture`, on seeds of their
//! own.

mod families;
mod strips;

use families::{CHOSEN_ON, Family, LEFT_OUT};
use rand::SeedableRng as _;
use rand_chacha::ChaCha8Rng;
use rayon::prelude::*;
use strips::Strip;
use twinstrip::measure::analysis::Settings;
use twinstrip::measure::compare;
use twinstrip::measure::estimate::Estimate;
use twinstrip::measure::units::DECADES_PER_STOP;

/// First seed of the published tables.
const PUBLISHED_SEEDS: u64 = 7_100_000;
/// First seed of the normal run.
const NORMAL_SEEDS: u64 = 41_000;

/// One bound held against its truth.
#[derive(Debug, Clone, Copy)]
struct Said {
    holds: bool,
    /// Half the width of the bounds; `None` when an end is open.
    half_width: Option<f64>,
    error: Option<f64>,
}

impl Said {
    fn of(estimate: &Estimate, truth: f64) -> Option<Self> {
        let said = estimate.lower.at().is_some() || estimate.upper.at().is_some();
        (said && truth.is_finite()).then(|| Self {
            holds: estimate.holds(truth),
            half_width: estimate.half_width(),
            error: estimate.value.map(|value| value - truth),
        })
    }
}

/// What one pair said.
#[derive(Debug, Clone)]
struct Pair {
    family: Family,
    reached: [(bool, bool); 2],
    range: [Option<Said>; 2],
    dmax: [Option<Said>; 2],
    speed: [Option<Said>; 2],
    stops: Option<Said>,
    range_difference: Option<Said>,
    tones: Option<Said>,
    quotient: Option<Said>,
}

fn pair(family: Family, seed: u64) -> Pair {
    let mut rng = ChaCha8Rng::seed_from_u64(seed);
    let shared = strips::Shared::draw(&mut rng);
    let [paper, coat] = [false, true].map(|coat| strips::draw(family, coat, shared, &mut rng));
    let settings = Settings {
        lag: (0.0, 0.0),
        ..Settings::default()
    };
    let (answer, _) = compare::solve(&paper.evidence, &coat.evidence, &settings);
    let curves = [&answer.reference, &answer.coupon];
    let both = [&paper, &coat];
    let of_strips = |said: &dyn Fn(usize) -> Option<Said>| [said(0), said(1)];
    let has_speed = |strip: &Strip| strip.truth.net > 0.7;
    let contrast = &answer.contrast_by_tones;
    let gained = |strip: &Strip| {
        let (light, dark) = (contrast.light?, contrast.dark?);
        Some((strip.truth.x_at(dark) - strip.truth.x_at(light)) / DECADES_PER_STOP)
    };
    let gained = gained(&paper).zip(gained(&coat));
    Pair {
        family,
        reached: [paper.reached, coat.reached],
        range: of_strips(&|i| Said::of(&curves[i].range, both[i].truth.range)),
        dmax: of_strips(&|i| Said::of(&curves[i].dmax, both[i].truth.dmin + both[i].truth.net)),
        speed: of_strips(&|i| {
            let point = &curves[i].speed_point;
            Said::of(point, both[i].speed_x).filter(|_| has_speed(both[i]))
        }),
        stops: (has_speed(&paper) && has_speed(&coat))
            .then(|| {
                let truth = (coat.speed_x - paper.speed_x) / DECADES_PER_STOP;
                Said::of(&answer.stops, truth)
            })
            .flatten(),
        range_difference: Said::of(
            &answer.contrast_difference,
            coat.truth.range - paper.truth.range,
        ),
        tones: gained.and_then(|(paper, coat)| Said::of(&contrast.stops, coat - paper)),
        quotient: gained.and_then(|(paper, coat)| {
            let log = |quotient: f64| quotient.log2();
            let value = contrast.quotient.value?;
            Said::of(&contrast.quotient.map(log, 1.0 / value), log(coat / paper))
        }),
    }
}

/// Coverage and median half-width of what was said with both bounds, or with one.
#[derive(Debug, Clone, Default)]
struct Cell {
    two: Vec<Said>,
    one: Vec<Said>,
    asked: usize,
}

impl Cell {
    fn of(said: impl Iterator<Item = Option<Said>>) -> Self {
        let mut cell = Self::default();
        for said in said {
            cell.asked += 1;
            match said {
                Some(said) if said.half_width.is_some() => cell.two.push(said),
                Some(said) => cell.one.push(said),
                None => {}
            }
        }
        cell
    }

    fn coverage(said: &[Said]) -> f64 {
        said.iter().filter(|said| said.holds).count() as f64 / said.len().max(1) as f64
    }

    fn half_width(&self) -> f64 {
        let mut widths: Vec<f64> = self.two.iter().filter_map(|said| said.half_width).collect();
        widths.sort_by(f64::total_cmp);
        widths.get(widths.len() / 2).copied().unwrap_or(f64::NAN)
    }

    fn rmse(&self) -> f64 {
        let errors = || self.two.iter().filter_map(|said| said.error);
        (errors().map(|e| e * e).sum::<f64>() / errors().count().max(1) as f64).sqrt()
    }

    fn row(&self, decimals: usize) -> String {
        let percent = |said: &[Said]| {
            if said.is_empty() {
                "-".into()
            } else {
                format!("{:.1}", 100.0 * Self::coverage(said))
            }
        };
        format!(
            "{:.0} | {} | {:.decimals$} | {}",
            100.0 * self.two.len() as f64 / self.asked.max(1) as f64,
            percent(&self.two),
            self.half_width(),
            percent(&self.one)
        )
    }
}

fn cells(pairs: &[&Pair]) -> Vec<(&'static str, Cell, usize)> {
    let strips = |of: fn(&Pair) -> [Option<Said>; 2]| Cell::of(pairs.iter().flat_map(|p| of(p)));
    let whole = |of: fn(&Pair) -> Option<Said>| Cell::of(pairs.iter().map(|p| of(p)));
    vec![
        ("R", strips(|p| p.range), 1),
        ("Dmax", strips(|p| p.dmax), 3),
        ("speed point, decades", strips(|p| p.speed), 3),
        ("ratio, stops", whole(|p| p.stops), 3),
        ("R difference", whole(|p| p.range_difference), 1),
        ("contrast by tones, stops", whole(|p| p.tones), 3),
        ("its quotient, log2", whole(|p| p.quotient), 3),
    ]
}

fn table(title: &str, pairs: &[&Pair]) {
    println!("\n{title}, {} pairs", pairs.len());
    println!("| | both bounds in % | they hold in % | half-width | one bound holds in % |");
    println!("| --- | --- | --- | --- | --- |");
    for (name, cell, decimals) in cells(pairs) {
        println!(
            "| {name} | {} | rmse {:.decimals$}",
            cell.row(decimals),
            cell.rmse()
        );
    }
}

fn study(families: &[Family], each: u64, first_seed: u64) -> Vec<Pair> {
    let asked: Vec<(Family, u64)> = families
        .iter()
        .enumerate()
        .flat_map(|(i, &family)| {
            let first = first_seed + 10_000 * i as u64;
            (first..first + each).map(move |seed| (family, seed))
        })
        .collect();
    asked
        .par_iter()
        .map(|&(family, seed)| pair(family, seed))
        .collect()
}

/// Pairs of each family in the normal run.
const NORMAL: u64 = 5;

/// Least shares that must hold, of bounds on both sides and of one bound: 95 % and what chance may
/// take off it with so few pairs (three standard deviations of a binomial).
fn must_hold(cell: &Cell, name: &str, at_least: f64) {
    for said in [&cell.two, &cell.one] {
        let by_chance = 3.0 * (at_least * (1.0 - at_least) / said.len().max(1) as f64).sqrt();
        let found = Cell::coverage(said);
        assert!(
            said.is_empty() || found >= at_least - by_chance,
            "{name}: {:.1} % of {} hold",
            100.0 * found,
            said.len()
        );
    }
}

#[test]
fn bounds_of_contrast_hold_on_curves_that_are_not_our_formula() {
    let full = std::env::var("TWINSTRIP_STUDY").ok();
    let (each, seeds) = match full.as_deref() {
        Some("full") => (240, PUBLISHED_SEEDS),
        Some(count) => (count.parse().unwrap_or(20), NORMAL_SEEDS),
        None => (NORMAL, NORMAL_SEEDS),
    };
    // Left out of everything, a family may be as odd as it likes: what is asked of it is less.
    for (title, families, first, least) in [
        (
            "Families that sizes were chosen on",
            &CHOSEN_ON[..],
            seeds,
            0.94,
        ),
        ("Families left out", &LEFT_OUT[..], seeds + 500_000, 0.85),
    ] {
        let pairs = study(families, each, first);
        if full.is_some() {
            for &family in families {
                let own: Vec<&Pair> = pairs.iter().filter(|p| p.family == family).collect();
                table(family.name(), &own);
            }
            let ends = |wanted: bool| -> Vec<&Pair> {
                let all = |p: &&Pair| p.reached.iter().all(|&(toe, shoulder)| toe && shoulder);
                pairs.iter().filter(|p| all(p) == wanted).collect()
            };
            table("both ends of both strips reached", &ends(true));
            table("an end not reached", &ends(false));
        }
        let all: Vec<&Pair> = pairs.iter().collect();
        table(title, &all);
        for (name, cell, _) in cells(&all) {
            must_hold(&cell, &format!("{title}: {name}"), least);
        }
    }
}

#[test]
fn a_strip_that_stops_short_of_its_shoulder_has_a_range_of_at_least_what_it_shows() {
    let pairs = study(&CHOSEN_ON, NORMAL, NORMAL_SEEDS);
    let strips = || pairs.iter().flat_map(|p| (0..2).map(move |i| (p, i)));
    let far_short: Vec<_> = strips()
        .filter_map(|(pair, i)| pair.range[i].map(|said| (pair.reached[i], said)))
        .collect();
    let open = |said: &Said| said.half_width.is_none();
    let short = far_short.iter().filter(|(reached, _)| !reached.1);
    assert!(short.clone().filter(|(_, said)| open(said)).count() * 2 > short.count());
    let whole = far_short
        .iter()
        .filter(|(reached, _)| reached.0 && reached.1);
    assert!(whole.clone().filter(|(_, said)| !open(said)).count() * 4 > 3 * whole.count());
}
