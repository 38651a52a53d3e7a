//! How often the checks of the scan see a fault, and how often they cry wolf, on practice
//! sessions with the true geometry given. The table in docs/scan-checks.md is made by
//!
//!     SCAN_CHECK_SESSIONS=40 cargo test --release --test scan_checks -- --nocapture
//!
//! Without the variable a few sessions a fault are looked at.

use rayon::prelude::*;
use twinstrip::measure::analysis::StripSpec;
use twinstrip::measure::check::{self, Wedge, colour, wedge};
use twinstrip::measure::finding::{Finding, Kind, Weight};
use twinstrip::measure::geometry::StripShape;
use twinstrip::measure::raster::{Channel, Raster, Samples};
use twinstrip::simulate::{Level, Practice, Recipe, Twist, make};

/// First seed; thresholds were chosen on others.
const FIRST_SEED: u64 = 20_000;

/// Sessions a fault without the variable.
const FEW: u64 = 5;

/// Sessions a fault.
fn sessions() -> u64 {
    std::env::var("SCAN_CHECK_SESSIONS")
        .ok()
        .and_then(|text| text.parse().ok())
        .unwrap_or(FEW)
}

fn first_seed() -> u64 {
    std::env::var("SCAN_CHECK_FIRST_SEED")
        .ok()
        .and_then(|text| text.parse().ok())
        .unwrap_or(FIRST_SEED)
}

/// A fault, the finding that should tell of it, and whether a session has it at all: software
/// may cut off what no strip reaches.
struct Fault {
    name: &'static str,
    twist: Twist,
    kind: Kind,
    present: fn(&Practice) -> bool,
}

const ALWAYS: fn(&Practice) -> bool = |_| true;

const FAULTS: [Fault; 14] = [
    fault(
        "blacks cut off",
        Twist::ClippedBlacks,
        Kind::ClippedBlacks,
        |p| at_end(p, 0.0),
    ),
    fault(
        "whites cut off",
        Twist::ClippedWhites,
        Kind::ClippedWhites,
        |p| at_end(p, 1.0),
    ),
    fault(
        "histogram stretched",
        Twist::AutoLevels,
        Kind::AutoLevels,
        ALWAYS,
    ),
    fault("sharpened", Twist::Sharpened, Kind::SharpeningHalos, ALWAYS),
    fault(
        "JPEG, quality 50",
        Twist::Jpeg(50),
        Kind::CompressionBlocks,
        ALWAYS,
    ),
    fault(
        "JPEG, quality 80",
        Twist::Jpeg(80),
        Kind::CompressionBlocks,
        ALWAYS,
    ),
    fault(
        "JPEG, quality 95",
        Twist::Jpeg(95),
        Kind::CompressionBlocks,
        ALWAYS,
    ),
    fault("8 bits", Twist::EightBits, Kind::CoarseQuantisation, ALWAYS),
    fault(
        "wedge shadowed",
        Twist::ShadowedWedge,
        Kind::WedgeShadowed,
        ALWAYS,
    ),
    fault(
        "wedge out of order",
        Twist::WedgeNotMonotone,
        Kind::WedgeNotMonotone,
        ALWAYS,
    ),
    fault(
        "20 dots per inch",
        Twist::LowResolution,
        Kind::ResolutionTooLow,
        ALWAYS,
    ),
    fault(
        "through a negative",
        Twist::PictureDetail,
        Kind::PictureDetail,
        ALWAYS,
    ),
    fault("brown coat", Twist::ColourCast, Kind::ColourCast, ALWAYS),
    fault(
        "scans disagree",
        Twist::ScansDisagree,
        Kind::ScansDisagree,
        ALWAYS,
    ),
];

const fn fault(
    name: &'static str,
    twist: Twist,
    kind: Kind,
    present: fn(&Practice) -> bool,
) -> Fault {
    Fault {
        name,
        twist,
        kind,
        present,
    }
}

/// Whether more than a tenth of the pixels in the middle of some field are at an end of the
/// code range in every channel.
fn at_end(practice: &Practice, end: f32) -> bool {
    let wedges = practice.truth.wedges.iter().map(|wedge| &wedge.shape);
    strips(practice)
        .into_iter()
        .map(|(_, shape)| shape)
        .chain(wedges)
        .any(|shape| {
            let raster = &practice.scans[shape.scan];
            (0..shape.fields.len()).any(|field| {
                let centre = shape.field_centre(field);
                let (x, y) = (centre.x as usize, centre.y as usize);
                let stuck = (0..400)
                    .filter(|at| {
                        (0..raster.channels).all(|channel| {
                            raster.code_share(x + at % 20 - 10, y + at / 20 - 10, channel) == end
                        })
                    })
                    .count();
                stuck > 40
            })
        })
}

fn strips(practice: &Practice) -> Vec<(usize, &StripShape)> {
    practice
        .truth
        .strips
        .iter()
        .enumerate()
        .filter_map(|(index, strip)| Some((index, strip.shape.as_ref()?)))
        .collect()
}

fn wedge_on(practice: &Practice, scan: usize) -> Option<Wedge<'_>> {
    let wedge = practice
        .truth
        .wedges
        .iter()
        .find(|wedge| wedge.shape.scan == scan)?;
    Some(Wedge {
        shape: &wedge.shape,
        listed: &practice.wedge.as_ref()?.densities,
    })
}

/// Everything the checks say of a session, with the true geometry.
fn look(practice: &Practice) -> Vec<Finding> {
    let strips = strips(practice);
    let mut found = vec![];
    let mut wedges = vec![];
    for (index, raster) in practice.scans.iter().enumerate() {
        let here: Vec<(usize, &StripShape)> = strips
            .iter()
            .copied()
            .filter(|(_, shape)| shape.scan == index)
            .collect();
        let wedge = wedge_on(practice, index);
        let seen = check::scan(raster, index, &here, wedge, Channel::Luminance);
        found.extend(seen.findings);
        wedges.extend(seen.wedge.map(|fields| (index, fields)));
    }
    found.extend(wedge::scans_differ(&wedges));
    let by_channel: Vec<colour::ByChannel> = strips
        .iter()
        .filter_map(|&(strip, shape)| {
            let exposures = log_exposures(&practice.strips[strip], practice.lag.0)?;
            let raster: &Raster = &practice.scans[shape.scan];
            colour::ByChannel::read(raster, strip, shape, &exposures)
        })
        .collect();
    if let [reference, coupons @ ..] = &by_channel[..] {
        found.extend(
            coupons
                .iter()
                .filter_map(|coupon| colour::cast(reference, coupon, Channel::Luminance)),
        );
    }
    found
}

fn log_exposures(spec: &StripSpec, lag: f64) -> Option<Vec<f64>> {
    Some(spec.exposures.as_ref()?.log_exposures(lag))
}

fn recipe(index: u64) -> Recipe {
    let level = Level::ALL[index as usize % 3];
    let mut recipe = Recipe::new(level, first_seed() + index);
    recipe.dpi = Some([200.0, 300.0][index as usize / 3 % 2]);
    recipe
}

#[test]
fn faults_of_a_scan_are_seen_and_told() {
    let mut low = vec![];
    for (index, fault) in FAULTS.iter().enumerate() {
        let outcomes: Vec<(bool, bool, u64)> = (0..sessions())
            .map(|session| {
                let mut recipe = recipe(1000 * (index as u64 + 1) + session).with(fault.twist);
                if fault.twist == Twist::LowResolution {
                    recipe.dpi = None;
                }
                let practice = make(&recipe);
                let seen = look(&practice).iter().any(|found| found.kind == fault.kind);
                ((fault.present)(&practice), seen, recipe.seed)
            })
            .collect();
        let present: Vec<_> = outcomes.iter().filter(|(present, ..)| *present).collect();
        let seen = present.iter().filter(|(_, seen, _)| *seen).count();
        let missed: Vec<u64> = present
            .iter()
            .filter(|(_, seen, _)| !seen)
            .map(|(.., seed)| *seed)
            .collect();
        println!("{:<22} {seen} of {} {missed:?}", fault.name, present.len());
        if (seen as f64) < 0.95 * present.len() as f64 - 1.0 {
            low.push(fault.name);
        }
    }
    assert!(low.is_empty(), "too rarely seen: {low:?}");
}

#[test]
fn sessions_without_a_fault_are_left_in_peace() {
    let count = 3 * sessions();
    let alarms: Vec<(u64, Vec<Finding>)> = (0..count)
        .map(|session| {
            let mut recipe = recipe(session);
            if session % 4 == 0 {
                recipe.bits = Some(8);
            }
            (recipe.seed, look(&make(&recipe)))
        })
        .collect();
    let mut loud = 0;
    for (seed, findings) in &alarms {
        for found in findings {
            println!("{seed} {:?} {:?} {}", found.kind, found.weight, found.seen);
        }
        // 8 bits that are too coarse are no false alarm.
        loud +=
            usize::from(findings.iter().any(|found| {
                found.weight > Weight::Note && found.kind != Kind::CoarseQuantisation
            }));
    }
    println!("{loud} of {count} clean sessions with a caution or worse");
    assert!(loud as f64 <= 0.02 * count as f64 + 1.0);
}

#[test]
fn checks_say_the_same_on_one_thread_and_on_many() {
    let practice = make(&recipe(3).with(Twist::AutoLevels));
    let pool = rayon::ThreadPoolBuilder::new()
        .num_threads(1)
        .build()
        .expect("one thread");
    let alone = pool.install(|| look(&practice));
    let together: Vec<Vec<Finding>> = (0..4).into_par_iter().map(|_| look(&practice)).collect();
    assert!(!alone.is_empty());
    assert!(together.iter().all(|found| *found == alone));
    assert!(matches!(practice.scans[0].samples, Samples::Eight(_)));
}
