//! How often the checks of the scan see a fault, and how often they cry wolf, on practice
//! sessions with the true geometry given. The table in docs/scan-checks.md is made by
//!
//!     SCAN_CHECK_SESSIONS=40 cargo test --release --test scan_checks -- --nocapture
//!
//! Without the variable a few sessions a fault are looked at.

use rayon::prelude::*;
use twinstrip::measure::analysis::StripSpec;
use twinstrip::measure::check::sample::Target;
use twinstrip::measure::check::{self, Wedge, colour, count, wedge};
use twinstrip::measure::finding::{Finding, Kind, Weight};
use twinstrip::measure::geometry::{Area, Edge, Field, StripShape};
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
        let whole: Vec<(usize, &StripShape, &[Area])> = here
            .iter()
            .map(|&(strip, shape)| (strip, shape, &[][..]))
            .collect();
        let seen = check::scan(raster, index, &whole, wedge, Channel::Luminance);
        found.extend(seen.findings);
        found.extend(counts(raster, index, &here, wedge));
        wedges.extend(seen.wedge.map(|fields| (index, fields)));
    }
    found.extend(wedge::scans_differ(&wedges));
    let by_channel: Vec<colour::ByChannel> = strips
        .iter()
        .filter_map(|&(strip, shape)| {
            let exposures = log_exposures(&practice.strips[strip], practice.lag.0)?;
            let raster: &Raster = &practice.scans[shape.scan];
            colour::ByChannel::read(
                raster,
                strip,
                &Target::whole(Some(strip), shape),
                &exposures,
            )
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

/// What the shapes say of their own counts.
fn counts(
    raster: &Raster,
    scan: usize,
    strips: &[(usize, &StripShape)],
    wedge: Option<Wedge<'_>>,
) -> Vec<Finding> {
    let strips = strips
        .iter()
        .map(|&(strip, shape)| Target::whole(Some(strip), shape));
    let wedge = wedge.map(|wedge| Target::whole(None, wedge.shape));
    strips
        .chain(wedge)
        .filter_map(|target| count::goes_on(raster, scan, &target, Channel::Luminance))
        .collect()
}

/// The shape as it would be found with a step less in the series: without the darkest field, or
/// without the margin, the step beside it being taken for the margin. `None` with a margin at
/// both ends. A wedge has none and loses its last field.
fn one_less(shape: &StripShape, light_end: bool) -> Option<StripShape> {
    let count = shape.fields.len();
    let ends = [shape.fields.first()?, shape.fields.last()?].map(|field| *field == Field::Margin);
    let at_start = match ends {
        [true, false] => light_end,
        [false, true] => !light_end,
        [false, false] => false,
        [true, true] => return None,
    };
    let (from, to) = if at_start {
        (shape.edges[1], shape.edges[count])
    } else {
        (shape.edges[0], shape.edges[count - 1])
    };
    let kept = if at_start { 1..count } else { 0..count - 1 };
    let mut fields = shape.fields[kept.clone()].to_vec();
    if light_end {
        let beside = if at_start { 0 } else { fields.len() - 1 };
        fields[beside] = Field::Margin;
    }
    Some(StripShape {
        scan: shape.scan,
        corners: [
            shape.on_scan(from.left, 0.0),
            shape.on_scan(from.right, 1.0),
            shape.on_scan(to.right, 1.0),
            shape.on_scan(to.left, 0.0),
        ],
        edges: shape.edges[kept.start..=kept.end]
            .iter()
            .map(|edge| Edge {
                left: (edge.left - from.left) / (to.left - from.left),
                right: (edge.right - from.right) / (to.right - from.right),
            })
            .collect(),
        fields,
        unexposed: vec![],
    })
}

/// Density of the lightest step above the margin from which the two can be told apart.
const VISIBLE: f64 = 0.03;

#[test]
fn a_count_that_is_one_short_is_seen_at_either_end() {
    let mut tally = [(0, 0); 3];
    for session in 0..sessions() {
        let practice = make(&recipe(20_000 + session));
        for (strip, shape) in strips(&practice) {
            let raster = &practice.scans[shape.scan];
            let truth = &practice.truth.strips[strip];
            let densities = truth.steps.iter().map(|step| step.density);
            let lightest = densities.fold(f64::INFINITY, f64::min);
            let visible = lightest > truth.curve.dmin + VISIBLE;
            for (place, light_end) in [(0, false), (1, true)] {
                let Some(short) = one_less(shape, light_end) else {
                    continue;
                };
                if light_end && !visible {
                    continue;
                }
                let found = counts(raster, shape.scan, &[(strip, &short)], None);
                tally[place].0 += usize::from(found.iter().any(|f| f.kind == Kind::StepCount));
                tally[place].1 += 1;
            }
        }
        for wedge in &practice.truth.wedges {
            let Some(short) = one_less(&wedge.shape, false) else {
                continue;
            };
            let raster = &practice.scans[short.scan];
            let wedge = Wedge {
                shape: &short,
                listed: &[],
            };
            let found = counts(raster, short.scan, &[], Some(wedge));
            let seen = found.iter().any(|f| f.kind == Kind::WedgeFieldCount);
            tally[2].0 += usize::from(seen);
            tally[2].1 += 1;
        }
    }
    let least = [
        ("darkest step not listed", 0.85),
        ("step taken for margin", 0.6),
        ("wedge field not listed", 0.5),
    ];
    for ((name, least), (seen, count)) in least.into_iter().zip(tally) {
        println!("{name:<24} {seen} of {count}");
        assert!(count > 0, "{name}");
        assert!(seen as f64 >= least * count as f64 - 1.0, "{name}");
    }
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
