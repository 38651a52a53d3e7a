//! Densities of areas against what the practice model painted there, from raw scans with no
//! geometry given: what is the program's reading worth beside a densitometer's?

use rayon::prelude::*;
use twinstrip::measure::analysis::{Analysis, Question, analyse};
use twinstrip::measure::geometry::{Field, StripShape};
use twinstrip::measure::raster::Channel;
use twinstrip::measure::reading::Cell;
use twinstrip::measure::reading::areas::{StrayLight, area_density};
use twinstrip::measure::reading::cells::{self, CellOptions};
use twinstrip::measure::scale::{DensityScale, NearStray, assumed_white, fit_wedge};
use twinstrip::measure::watch::Unwatched;
use twinstrip::simulate::{Level, Practice, Recipe, Twist, make, question};

/// Borders of the density levels.
pub const BANDS: [f64; 6] = [0.0, 0.4, 0.8, 1.2, 1.6, 2.0];

/// Areas from this density on are dark.
const DARK: f64 = 1.4;
/// How much worse a scan's dark areas must be to count as harmed, density.
const HARM: f64 = 0.001;
/// And how much worse none may become: a third of the last digit that densitometers show.
const MOST_HARM: f64 = 0.0033;
/// An error that no scale makes, density: another place was read.
const GROSS: f64 = 0.1;
/// Sessions a level of the full study.
const FULL: u64 = 120;
/// First seed of the published tables; tuning stays below 10,000.
const PUBLISHED_SEEDS: u64 = 4_000_000;
/// First seed of the normal run.
const NORMAL_SEEDS: u64 = 71_000;

/// One area of one strip.
#[derive(Debug, Clone, Copy)]
pub struct Area {
    /// Seed and scan.
    pub scan: (u64, usize),
    pub truth: f64,
    /// Error as the program reads it, and its stated standard error.
    pub error: f64,
    pub stated: f64,
    /// Error with the stray light left in.
    pub left_in: f64,
}

/// The stray light of one scan: as found, its standard error, and as it was.
#[derive(Debug, Clone, Copy)]
pub struct Stray {
    pub share: (f64, f64, f64),
    pub reach: (f64, f64, f64),
}

fn cells_of(asked: &Question, shape: &StripShape) -> Vec<Cell> {
    let raster = &asked.scans[shape.scan];
    let options = CellOptions::default();
    cells::measure(raster, shape, Channel::Luminance, &options, &Unwatched).unwrap()
}

/// Cells of the strips that surely lie on a scan.
fn strips_of(asked: &Question, found: &Analysis, scan: usize) -> Vec<Vec<Cell>> {
    let located = found.strips.iter().filter_map(|s| s.located.as_ref());
    located
        .filter(|located| located.is_sure() && located.shape.scan == scan)
        .map(|located| cells_of(asked, &located.shape))
        .collect()
}

/// The scale of a scan as the program makes it, and the stray light it found.
fn scale_of(
    asked: &Question,
    found: &Analysis,
    scan: usize,
) -> Option<(Box<dyn DensityScale>, NearStray)> {
    let strips = strips_of(asked, found, scan);
    let strips: Vec<&[Cell]> = strips.iter().map(Vec::as_slice).collect();
    let wedge = found.wedges.iter().find(|wedge| wedge.shape.scan == scan);
    match (wedge, &asked.wedge) {
        (Some(wedge), Some(told)) => {
            let cells = cells_of(asked, &wedge.shape);
            let fit = fit_wedge(&cells, &wedge.shape, &told.densities, told.uncertainty).ok()?;
            let scale = fit.scale.beside(&strips);
            let stray = scale.near_stray().clone();
            Some((Box::new(scale), stray))
        }
        (None, None) => {
            let scale = assumed_white(asked.scans[scan].white(Channel::Luminance));
            let scale = scale.beside(&strips);
            let stray = scale.near_stray().clone();
            Some((Box::new(scale), stray))
        }
        _ => None,
    }
}

/// What was read in some sessions.
#[derive(Debug, Clone, Default)]
pub struct Read {
    pub areas: Vec<Area>,
    pub strays: Vec<Stray>,
}

fn of_session(practice: &Practice, asked: &Question) -> Read {
    let found = analyse(asked, &Unwatched).unwrap();
    let scales: Vec<_> = (0..asked.scans.len())
        .map(|scan| scale_of(asked, &found, scan))
        .collect();
    let mut read = Read::default();
    let known = practice.truth.near_haze;
    for (_, stray) in scales.iter().flatten() {
        read.strays.push(Stray {
            share: (stray.share().0, stray.share().1, known.0),
            reach: (stray.reach_mm().0, stray.reach_mm().1, known.1),
        });
    }
    for (strip, truth) in found.strips.iter().zip(&practice.truth.strips) {
        let Some(located) = strip.located.as_ref().filter(|located| located.is_sure()) else {
            continue;
        };
        let scan = located.shape.scan;
        let Some((scale, _)) = &scales[scan] else {
            continue;
        };
        let cells = cells_of(asked, &located.shape);
        for step in &strip.steps {
            let (field, truth) = match step.step.checked_sub(1) {
                None => (Field::Margin, truth.margin_area_density),
                Some(number) => (Field::Step(number), truth.steps[number].area_density),
            };
            let Some(truth) = truth else { continue };
            let own = || {
                let fields = &located.shape.fields;
                cells.iter().filter(|cell| fields[cell.field] == field)
            };
            let (Some(off), Some(left)) = (
                area_density(own(), &**scale, StrayLight::TakenOff),
                area_density(own(), &**scale, StrayLight::LeftIn),
            ) else {
                continue;
            };
            read.areas.push(Area {
                scan: (practice.truth.recipe.seed, scan),
                truth,
                error: off.density - truth,
                stated: off.standard_error,
                left_in: left.density - truth,
            });
        }
    }
    read
}

/// How a session is read.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum By {
    /// By the wedge and its list as told.
    Wedge,
    /// By the wedge and a list without error: what is left is the scanner's.
    ExactWedge,
    /// Relative to white.
    White,
}

/// Areas of so many sessions of a level.
pub fn sessions(level: Level, by: By, seeds: std::ops::Range<u64>) -> Read {
    let read: Vec<Read> = seeds
        .into_par_iter()
        .map(|seed| {
            let mut recipe = Recipe::new(level, seed);
            recipe.twist = (by == By::White).then_some(Twist::NoWedge);
            let practice = make(&recipe);
            let mut asked = question(&practice);
            if let (By::ExactWedge, Some(wedge)) = (by, &mut asked.wedge) {
                wedge.densities = practice.truth.wedges[0].densities.clone();
                wedge.uncertainty = 0.001;
            }
            of_session(&practice, &asked)
        })
        .collect();
    Read {
        areas: read.iter().flat_map(|read| read.areas.clone()).collect(),
        strays: read.into_iter().flat_map(|read| read.strays).collect(),
    }
}

/// Root mean square.
fn rms(values: impl Iterator<Item = f64>) -> f64 {
    let (sum, count) = values.fold((0.0, 0.0), |(sum, n), v| (sum + v * v, n + 1.0));
    (sum / f64::max(count, 1.0)).sqrt()
}

/// Prints the rows of the table of errors by density level; gives the largest root mean square
/// up to 1.6 D and that from there to 2.0.
fn table(name: &str, level: Level, read: &Read) -> (f64, f64) {
    let mut worst = (0f64, 0f64);
    for band in BANDS.windows(2) {
        let here: Vec<&Area> = read
            .areas
            .iter()
            .filter(|area| (band[0]..band[1]).contains(&area.truth))
            .collect();
        let off = rms(here.iter().map(|area| area.error));
        let part = if band[1] <= 1.6 {
            &mut worst.0
        } else {
            &mut worst.1
        };
        *part = part.max(off);
        let count = here.len().max(1) as f64;
        let held = here
            .iter()
            .filter(|a| a.error.abs() < 1.96 * a.stated)
            .count();
        println!(
            "| {name} | {level:?} | {:.1} to {:.1} | {} | {:.4} | {off:.4} | {:+.4} | {:.4} | {:.1} % |",
            band[0],
            band[1],
            here.len(),
            rms(here.iter().map(|area| area.left_in)),
            here.iter().map(|area| area.error).sum::<f64>() / count,
            rms(here.iter().map(|area| area.stated)),
            100.0 * held as f64 / count,
        );
    }
    worst
}

/// Prints what taking off stray light does to the dark areas, scan by scan; gives the root mean
/// square errors with it left in and taken off, the share of scans made worse, and the most of that.
fn dark_areas(level: Level, read: &Read) -> [f64; 4] {
    // Where another place was read there is nothing to learn of stray light.
    let dark: Vec<Area> = read
        .areas
        .iter()
        .copied()
        .filter(|area| area.truth > DARK && area.left_in.abs() < GROSS)
        .collect();
    let left = rms(dark.iter().map(|area| area.left_in));
    let off = rms(dark.iter().map(|area| area.error));
    let (mut scans, mut worse, mut most) = (0.0, 0.0, 0f64);
    for scan in dark.chunk_by(|a, b| a.scan == b.scan) {
        let harm =
            rms(scan.iter().map(|area| area.error)) - rms(scan.iter().map(|area| area.left_in));
        scans += 1.0;
        worse += f64::from(u8::from(harm > HARM));
        most = most.max(harm);
    }
    let of = |each: &dyn Fn(&Stray) -> (f64, f64, f64)| -> (f64, f64) {
        let all = || read.strays.iter().map(each);
        let held = all().filter(|(got, error, true_)| (got - true_).abs() < 1.96 * error);
        let share = held.count() as f64 / read.strays.len().max(1) as f64;
        (rms(all().map(|(got, _, true_)| got - true_)), 100.0 * share)
    };
    let (share, reach) = (of(&|stray| stray.share), of(&|stray| stray.reach));
    println!(
        "| {level:?} | {scans} | {left:.4} | {off:.4} | {:.2} | {:.1} % | {most:.4} | {:.4} | {:.0} % | {:.1} | {:.0} % |",
        off / left,
        100.0 * worse / f64::max(scans, 1.0),
        share.0,
        share.1,
        reach.0,
        reach.1,
    );
    [left, off, worse / f64::max(scans, 1.0), most]
}

fn seeds() -> (bool, std::ops::Range<u64>) {
    let asked = std::env::var("TWINSTRIP_STUDY").ok();
    let full = asked.is_some();
    let count = asked.map_or(4, |count| count.parse().unwrap_or(FULL));
    let usual = if full { PUBLISHED_SEEDS } else { NORMAL_SEEDS };
    let first = std::env::var("TWINSTRIP_SEED").ok();
    let first = first.and_then(|seed| seed.parse().ok()).unwrap_or(usual);
    (full, first..first + count)
}

#[test]
fn a_densitometer_on_the_same_areas_would_agree() {
    let (full, seeds) = seeds();
    println!(
        "| read by | level | density | areas | stray light left in | taken off | mean error | stated | within 95 % bounds |"
    );
    for level in Level::ALL {
        let read = sessions(level, By::Wedge, seeds.clone());
        let (light, dark) = table("wedge", level, &read);
        let gross = read.areas.iter().filter(|area| area.error.abs() > GROSS);
        let gross: Vec<&Area> = gross.collect();
        println!("grossly off: {gross:?}");
        // The target stands for ordinary sessions; a few sessions may miss what many keep. On
        // hard ones a step taken for its neighbour is as wrong as the steps are apart.
        let lax = if full { 1.0 } else { 1.5 };
        if level != Level::Hard {
            assert!(light < 0.010 * lax && dark < 0.020 * lax, "{light} {dark}");
        }
        assert!(gross.len() * 200 <= read.areas.len(), "{gross:?}");
    }
    for level in Level::ALL {
        let (light, dark) = table("white", level, &sessions(level, By::White, seeds.clone()));
        assert!(light < 0.2 && dark < 0.25, "{light} {dark}");
    }
}

#[test]
fn taking_off_stray_light_halves_the_error_of_dark_areas() {
    let (full, seeds) = seeds();
    println!(
        "| level | scans | left in | taken off | ratio | scans made worse by 0.001 | most | error of the share | within its bounds | of the reach, mm | within its bounds |"
    );
    for level in Level::ALL {
        let read = sessions(level, By::ExactWedge, seeds.clone());
        let [left, off, worse, most] = dark_areas(level, &read);
        let lax = if full { 1.0 } else { 1.4 };
        assert!(off < 0.5 * lax * left, "{left} {off}");
        // Of a few scans one may be among the few that are harmed.
        assert!(worse <= if full { 0.10 } else { 0.35 }, "{worse}");
        assert!(most < MOST_HARM, "{most}");
    }
}
